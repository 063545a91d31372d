"""What to do, as it reads: the aim of a lamp, a line to buy, a fastener to tick (pure)."""

from __future__ import annotations

from fractions import Fraction

from fieldlog.model.finding import Finding
from fieldlog.words import tell, telling
from fieldlog.words.telling import say

AS_THE_SCREEN_SHOWS = "as the screen shows"
_PUT_RIGHT = {
    "down": ("too low", "raise it"),
    "low": ("too low", "raise it"),
    "up": ("too high", "lower it"),
    "high": ("too high", "lower it"),
    "left": ("too far left", "turn it right"),
    "right": ("too far right", "turn it left"),
}
REACHED = "reached ________"
"""Room for what a fastener was tightened to."""


def not_yet_told(advice: str, reason: str) -> tuple[str, ...]:
    """``advice``, unless ``reason`` ends in it; nothing for none."""
    return () if not advice or advice in reason else (advice,)


def aim(finding: Finding) -> str:
    """``5 in too low: raise it``; what was found decides, by the side that was said."""
    said = (*(finding.position or "").split(), finding.condition or "")
    for word in said:
        if word in _PUT_RIGHT:
            off, remedy = _PUT_RIGHT[word]
            by = f"{tell.quantity(finding.quantity)} " if finding.quantity is not None else ""
            return f"{by}{off}: {remedy}"
    return AS_THE_SCREEN_SHOWS


def to_buy(text: str, count: int, each: str, place: str | None, amount: str) -> str:
    """``1 x 160/60-17 tyre, rear``; ``1 set brake pads, front``; ``brake fluid DOT 4, 0.5 L``."""
    if amount:
        return f"{text}, {telling.figure(say(amount))}"
    number = f"{count} {say(each + 's' * (count > 1))}" if each else f"{count} x"
    return ", ".join(part for part in (f"{number} {text}", telling.place(place)) if part)


def summed(amounts: tuple[str, ...]) -> str:
    """``0.5 L`` and ``0.5 L`` as ``1 L``; the first where they are no amounts of one unit."""
    parts = [amount.partition(" ") for amount in amounts]
    units = {unit for _, _, unit in parts}
    try:
        total = sum((Fraction(value) for value, _, _ in parts), Fraction(0))
    except ValueError:
        return amounts[0]
    return f"{float(total):g} {units.pop()}" if len(units) == 1 else " + ".join(amounts)


def to_tighten(fastener: str, place: str | None, value: str, source: str) -> str:
    """``[ ] axle nut, rear: 100 N·m (manual p. 3), reached ________``."""
    called = telling.part(fastener)
    name = f"{called}, {telling.place(place)}" if place else called
    told = f"{value} ({say(source)})" if value else say(source)
    return f"[ ] {name}: {told}; {say(REACHED)}"
