"""The usual cautions, by system, in our own words; every one defers to manual, rules and practice.

Shown with a verdict where what was found can hurt somebody. Common practice throughout.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from fieldlog.model import Finding, State

DEFERS = (
    "The vehicle maker's manual, the local rules and a licensed workshop have the last word; "
    "fieldlog reports what was found and against which limit."
)
"""Ends every list of cautions."""

CAUTIONS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "brakes": (
            "Brakes decide whether the vehicle stops: do not ride on a fault here; "
            "have it put right and the brake tried at walking pace first.",
            "Brake fluid harms eyes, skin and paint, and old and new grades are not mixed.",
            "Brake dust may hold harmful fibres: wipe it wet, never blow it off.",
        ),
        "tyres": (
            "A tyre that lets go takes the vehicle down: ride again only after it is replaced.",
            "Seat a bead from a distance and never above the pressure marked on the sidewall.",
        ),
        "steering": (
            "Play or binding in steering or fork can end in a fall: "
            "it is put right before the next ride.",
        ),
        "fuel": (
            "Petrol vapour ignites from a spark far off: no flame, no hot lamp, doors open, "
            "battery disconnected.",
        ),
        "battery": (
            "A charging battery gives off hydrogen: no sparks, vent hose open, eyes protected.",
            "Battery acid burns: rinse with plenty of water at once and see a doctor for eyes.",
            "A frozen battery is not charged and not jump-started: it can burst.",
        ),
        "wheels": (
            "A rim or spoke that gives way can drop the vehicle: "
            "it stays parked until the wheel has been rebuilt or replaced.",
        ),
        "drive": (
            "Keep fingers and rags away from chain, belt and sprockets; "
            "turn the wheel by hand with the engine off.",
        ),
        "stand": ("Secure the vehicle before working on it: it can tip off a stand or lift.",),
        "heat": ("Exhaust, oil and coolant burn long after the engine has stopped.",),
    }
)
"""System -> cautions."""

_SYSTEM_WORDS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("brakes", ("brake",)),
    ("tyres", ("tyre", "valve stem", "sidewall")),
    ("steering", ("steering", "fork", "handlebar", "swingarm", "head bearing")),
    ("fuel", ("fuel", "petcock", "carburettor", "petrol")),
    ("battery", ("battery", "electrolyte")),
    ("wheels", ("rim", "spoke", "wheel", "axle", "hub")),
    ("drive", ("chain", "belt", "sprocket", "pulley")),
    ("stand", ("stand", "jack")),
    ("heat", ("exhaust", "coolant", "engine oil", "radiator")),
)


def system_of(component: str) -> str | None:
    """The caution heading a component belongs to, by the words of its name."""
    name = component.lower()
    for system, words in _SYSTEM_WORDS:
        if any(word in name for word in words):
            return system
    return None


def cautions(finding: Finding, state: State) -> tuple[str, ...]:
    """Cautions for a finding that is not plainly within; none where nobody can come to harm."""
    system = system_of(finding.component)
    if system is None or state is State.WITHIN:
        return ()
    return (*CAUTIONS[system], DEFERS)
