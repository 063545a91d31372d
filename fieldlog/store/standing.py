"""Which findings stand, when several writers may have corrected the same one (pure).

A correction never undoes another. Where two copies of the record corrected one finding, both
corrections are kept, and the newest rules: the one with the later turn, then the larger hash. What
was put in its place in the other copy no longer stands, and says by what it is superseded.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
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

    def differs(self, other: Corrected) -> set[str]:
        """Ids of findings of which ``other`` says anything else."""
        pairs: tuple[tuple[Mapping[str, object], Mapping[str, object]], ...] = (
            (self.fallen, other.fallen),
            (self.supersedes, other.supersedes),
            (self.rivals, other.rivals),
        )
        changed = {
            name for was, now in pairs for name in {*was, *now} if was.get(name) != now.get(name)
        }
        return changed | (self.kept ^ other.kept)


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
