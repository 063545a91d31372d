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
            "Brakes decide whether the vehicle stops: a fault here is put right before the next "
            "ride, and the brake is tried at walking pace first.",
            "Brake fluid harms eyes, skin and paint, and old and new grades are not mixed.",
            "Brake dust may hold harmful fibres: wipe it wet, never blow it off.",
        ),
        "tyres": (
            "A tyre that lets go takes the vehicle down: a worn-out or damaged one is replaced "
            "before the next ride.",
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
            "A rim or spoke that gives way can drop the vehicle: one that is cracked, bent or loose "
            "is put right before the next ride.",
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
    ("brakes", ("brake", "caliper", "master cylinder", "reservoir cap")),
    ("tyres", ("tyre", "valve stem")),
    ("steering", ("steering", "fork", "handlebar", "swing arm", "triple clamp")),
    ("fuel", ("fuel", "carburetor")),
    ("battery", ("battery", "electrolyte")),
    ("wheels", ("rim", "spokes", "wheel", "axle", "hub")),
    ("drive", ("chain", "belt", "sprocket", "pulley", "master link")),
    ("stand", ("stand", "jack")),
    ("heat", ("exhaust", "coolant", "engine oil", "radiator")),
)


_LAMPS = ("lamp", "lamps")
"""A brake lamp is a lamp: nothing of what is said of brakes is said of it."""


def system_of(component: str) -> str | None:
    """The caution heading a component belongs to, by the words of its name."""
    name = f" {component.lower()} "
    if any(f" {word} " in name for word in _LAMPS):
        return None
    for system, words in _SYSTEM_WORDS:
        if any(f" {word} " in name for word in words):
            return system
    return None


def cautions(finding: Finding, state: State) -> tuple[str, ...]:
    """Cautions for a finding that is not plainly within; none where nobody can come to harm."""
    system = system_of(finding.component)
    if system is None or state is State.WITHIN:
        return ()
    return (*CAUTIONS[system], DEFERS)
