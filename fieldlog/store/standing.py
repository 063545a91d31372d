"""Which findings stand, when several writers may have corrected the same one (pure).

A correction never undoes another. Where two copies of the record corrected one finding, both
corrections are kept, and the newest rules: the one with the later turn, then the larger hash. What
was put in its place in the other copy no longer stands, and says by what it is superseded.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

RIVALLED = "corrected in two copies of the record; the newer correction stands"
OVERTAKEN = "corrected in one copy of the record and withdrawn later in another"


@dataclass(frozen=True, slots=True)
class Correction:
    """One correction as kept."""

    finding_id: str
    replacement_id: str | None
    """None: the finding was withdrawn."""
    turn: int
    hash: bytes
    reason: str
    id: str = ""
    """Of its row."""


@dataclass(frozen=True, slots=True)
class Fallen:
    """What became of a finding that no longer stands."""

    superseded_by: str | None
    """None: withdrawn."""
    reason: str


@dataclass(frozen=True, slots=True)
class Corrected:
    """What the corrections of an inspection, or of several, come to."""

    fallen: dict[str, Fallen]
    """Finding id -> what became of it; a finding that is not in it stands."""
    supersedes: dict[str, str]
    """Finding id -> the finding it was put in the place of."""
    rivals: dict[str, tuple[str, ...]]
    """Finding id -> what another copy of the record had put in the same place, and lost. The id of
    one that was withdrawn is here where another copy had corrected it.
    """
    kept: frozenset[str]
    """Ids of findings that stand though another copy had withdrawn what they are put in place of."""


class WhatStands:
    """What corrections come to, one after the other: with each only those that hang together with it are gone through."""

    def __init__(self, corrections: Sequence[Correction]) -> None:
        """After all of ``corrections``."""
        self.corrections: list[Correction] = []
        self.fallen: dict[str, Fallen] = {}
        self.supersedes: dict[str, str] = {}
        self.rivals: dict[str, tuple[str, ...]] = {}
        self.kept: set[str] = set()
        self._of: dict[str, list[Correction]] = defaultdict(list)
        self.take(corrections)

    @property
    def touched(self) -> set[str]:
        """Ids of all findings of which anything is said."""
        return {name for each in self.corrections for name in _both(each)}

    def take(self, corrections: Sequence[Correction]) -> set[str]:
        """Take further ones; ids of the findings of which something else may be said now."""
        self.corrections += corrections
        for each in corrections:
            self._of[each.finding_id].append(each)
            if each.replacement_id:
                self.supersedes[each.replacement_id] = each.finding_id
        firsts = {self._first(each.finding_id) for each in corrections}
        together = [one for first in firsts for one in self._together(first)]
        changed = {name for each in together for name in _both(each)}
        for name in changed:
            self.fallen.pop(name, None)
            self.rivals.pop(name, None)
        self.kept -= changed
        part = standing(together)
        self.fallen |= part.fallen
        self.rivals |= part.rivals
        self.kept |= part.kept
        return changed

    def _first(self, name: str) -> str:
        """The finding that is put in the place of no other, from which it goes to ``name``."""
        seen = set[str]()
        while name in self.supersedes and name not in seen:
            seen.add(name)
            name = self.supersedes[name]
        return name

    def _together(self, first: str) -> list[Correction]:
        """All corrections from the finding ``first`` on."""
        found, waiting = dict[Correction, None](), [first]
        while waiting:
            for each in self._of.get(waiting.pop(), ()):
                if each not in found:
                    found[each] = None
                    waiting.append(each.replacement_id or "")
        return [*found]


def _both(each: Correction) -> tuple[str, ...]:
    return (each.finding_id, each.replacement_id) if each.replacement_id else (each.finding_id,)


def standing(corrections: Sequence[Correction]) -> Corrected:
    """What ``corrections`` come to; their order does not matter."""
    of: dict[str, list[Correction]] = defaultdict(list)
    for each in corrections:
        of[each.finding_id].append(each)
    supersedes = {c.replacement_id: c.finding_id for c in corrections if c.replacement_id}
    fallen: dict[str, Fallen] = {}
    rivals: dict[str, tuple[str, ...]] = {}
    kept: set[str] = set()
    for first in sorted(set(of) - set(supersedes)):
        trails = sorted(_trails(first, of), key=lambda trail: (trail[-1].turn, trail[-1].hash))
        ruling = trails[-1]
        for trail in trails:  # the ruling one last: what it says of a finding stays
            fallen |= {each.finding_id: Fallen(each.replacement_id, each.reason) for each in trail}
        winner = ruling[-1].replacement_id
        ends = {trail[-1].replacement_id for trail in trails}
        lost = tuple(sorted(name for name in ends if name not in (winner, None)))
        for name in lost:
            fallen[name] = Fallen(winner, RIVALLED if winner else OVERTAKEN)
        if lost:
            rivals[winner or ruling[-1].finding_id] = lost
        if winner is not None and None in ends:
            kept.add(winner)
    return Corrected(fallen, supersedes, rivals, frozenset(kept))


def _trails(first: str, of: dict[str, list[Correction]]) -> Iterator[tuple[Correction, ...]]:
    """Every way from the finding ``first`` to what was last put in its place, or its withdrawal."""
    begun: list[tuple[Correction, ...]] = [(each,) for each in of[first]]
    while begun:
        trail = begun.pop()
        replacement = trail[-1].replacement_id
        further = [each for each in of.get(replacement or "", ()) if each not in trail]
        if not further:
            yield trail
        begun += [(*trail, each) for each in further]
