"""What has to be seen of an item of the walk, and which findings show it (pure).

A tyre is tread, pressure and sidewall; each is a sight of its own, at its stage of the walk. What only
names or dates a part (its size, grade, age) shows nothing.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from fieldlog.catalogue.component import CONDITION, Component
from fieldlog.model.finding import Finding


@dataclass(frozen=True, slots=True)
class WalkStage:
    """One part of the walk: before start, standing, running, loaded, test ride, recheck."""

    name: str
    about: str = ""
    order: int = 0


STANDING = WalkStage("standing")
"""The stage of what nobody gave one."""


@dataclass(frozen=True, slots=True)
class Sight:
    """One thing to see of an item. ``name`` is empty where the item is seen as a whole."""

    name: str = ""
    stage: WalkStage = STANDING
    measures: tuple[str, ...] | None = None
    """Characteristics of which any finding shows it; None: every one."""
    whole: bool = True
    """Whether any condition of the component as a whole shows it."""
    conditions: tuple[str, ...] = ()
    """Conditions of the component as a whole that show it, where not every one does."""
    of: tuple[str, ...] = ()
    """Components that it is seen on, where it is not the item's own."""
    at: str | None = None
    """Its place, where it is not the item's."""
    each: bool = False
    """Whether its place must be said: "brake lamp works" tells neither of lever nor of pedal."""


def whole_of(component: Component, tells_nothing: Collection[str], stage: WalkStage) -> Sight:
    """The sight of an item that has no further ones."""
    names = (each.name for each in component.characteristics)
    return Sight(stage=stage, measures=tuple(name for name in names if name not in tells_nothing))


def shown(sight: Sight, place: str | None, finding: Finding) -> bool:
    """Whether ``finding``, of a component that the sight is seen on, shows it at ``place``."""
    return _there(sight.at or place, finding, each=sight.each) and _tells(sight, finding)


def _tells(sight: Sight, finding: Finding) -> bool:
    measured = finding.characteristic
    if measured in (None, CONDITION):
        return sight.whole or finding.condition in sight.conditions
    return sight.measures is None or measured in sight.measures


def _there(wanted: str | None, finding: Finding, *, each: bool) -> bool:
    """A finer place shows the coarser; a condition of no place or a coarser one is of the whole."""
    if wanted is None:
        return True
    want, said = set(wanted.split()), set((finding.position or "").split())
    of_whole = said < want and finding.quantity is None and not each
    return want <= said or of_whole
