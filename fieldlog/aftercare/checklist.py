"""The walk round one vehicle as a checklist, and what of it is still open (pure).

The catalogue gives the default walk; a vehicle's own list may add, remove and reorder items and
make some of them monthly. Skipping an item needs a reason, and the reason is kept.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from difflib import get_close_matches
from itertools import groupby

from fieldlog.aftercare.sights import Sight, WalkStage, shown
from fieldlog.catalogue.component import DIRT_IS_LOOKED_FOR, DIRTY, SOUND
from fieldlog.errors import UsageError
from fieldlog.model.finding import Finding
from fieldlog.words import telling
from fieldlog.words import walk as walk_words

MONTH_DAYS = 30
"""A monthly item checked within this many days is not asked for again."""


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to look at: a component, at one position where it has several."""

    system: str
    component: str
    position: str | None = None
    monthly: bool = False
    also: tuple[str, ...] = ()
    """Other names of the same thing: their findings show it as well ("paper air filter")."""
    all_in: tuple[str, ...] = ()
    """What speaks for it where that is as it should be ("all lights work"), though not for a measure."""
    sees: tuple[Sight, ...] = (Sight(),)
    """What has to be seen of it, in the order of the stages."""

    @property
    def key(self) -> str:
        """``component`` or ``position component``: how the item is named to the user."""
        return f"{self.position} {self.component}" if self.position else self.component


@dataclass(frozen=True, slots=True)
class Skip:
    """An item left out on purpose, with the reason that was given."""

    key: str
    reason: str


@dataclass(frozen=True, slots=True)
class LeftOpen:
    """What nobody has looked at of an item, at one stage."""

    item: Item
    stage: WalkStage
    sights: tuple[Sight, ...]
    begun: bool
    """Whether something else of the item was looked at."""
    entire: bool
    """Whether this is all there is to see of the item."""


@dataclass(frozen=True, slots=True)
class Progress:
    """Where the walk stands."""

    checked: tuple[Item, ...]
    skipped: tuple[tuple[Item, str], ...]
    open: tuple[Item, ...]
    """Items of which something was not looked at."""
    not_due: tuple[Item, ...]
    """Monthly items that were checked recently enough."""
    left: tuple[LeftOpen, ...] = ()
    """The same stage by stage, with what is open of each; an item may be in two stages."""

    @property
    def complete(self) -> bool:
        """Nothing is open."""
        return not self.open


def add(walk: Sequence[Item], item: Item, after: str | None = None) -> tuple[Item, ...]:
    """``walk`` with ``item`` behind the item named ``after``, or at the end."""
    if any(each.key == item.key for each in walk):
        raise UsageError(f"{item.key!r} is on the list already", where="checklist")
    at = len(walk) if after is None else _index(walk, after) + 1
    return (*walk[:at], item, *walk[at:])


def remove(walk: Sequence[Item], key: str) -> tuple[Item, ...]:
    """``walk`` without the item named ``key``."""
    at = _index(walk, key)
    return (*walk[:at], *walk[at + 1 :])


def move(walk: Sequence[Item], key: str, before: str) -> tuple[Item, ...]:
    """``walk`` with the item named ``key`` in front of the one named ``before``."""
    item = walk[_index(walk, key)]
    rest = remove(walk, key)
    at = _index(rest, before)
    return (*rest[:at], item, *rest[at:])


def set_monthly(walk: Sequence[Item], key: str, monthly: bool) -> tuple[Item, ...]:
    """``walk`` with the item named ``key`` asked for monthly, or every time."""
    at = _index(walk, key)
    return (*walk[:at], replace(walk[at], monthly=monthly), *walk[at + 1 :])


def progress(
    walk: Sequence[Item],
    findings: Iterable[Finding],
    skips: Iterable[Skip] = (),
    last_checked: dict[str, date] | None = None,
    today: date | None = None,
) -> Progress:
    """What of ``walk`` is done, skipped and open after ``findings``.

    An item is done when all there is to see of it was found, whatever was found. A skip that names
    the component alone leaves out all its items. Skips without a reason are refused
    (``UsageError``).
    """
    by_component = _by_component(findings)
    reasons: dict[str, str] = {}
    for skip in skips:
        if not skip.reason.strip():
            raise UsageError(f"skipping {skip.key!r} needs a reason", where="checklist")
        reasons[skip.key] = skip.reason
    checked, skipped, still_open, not_due = [], [], [], []
    left: list[LeftOpen] = []
    for item in walk:
        reason = reasons.get(item.key) or reasons.get(item.component)
        unseen = _unseen(item, by_component)
        if not unseen:
            checked.append(item)
        elif reason:
            skipped.append((item, reason))
        elif item.monthly and _recent(item.key, last_checked, today):
            not_due.append(item)
        else:
            still_open.append(item)
            left += _by_stage(item, unseen)
    left.sort(key=lambda each: each.stage.order)  # within a stage the order of the walk stays
    return Progress(
        tuple(checked),
        tuple(skipped),
        tuple(still_open),
        tuple(not_due),
        tuple(left),
    )


def _unseen(item: Item, findings: Mapping[str, Sequence[Finding]]) -> tuple[Sight, ...]:
    """What of the item no finding shows."""
    spoken_for = any(
        each.condition == SOUND and each.position in (None, item.position)
        for name in item.all_in
        for each in findings.get(name, ())
    )
    return tuple(
        sight
        for sight in item.sees
        if not (spoken_for and (sight.whole or SOUND in sight.conditions))
        and not any(
            shown(sight, item.position, finding)
            for name in sight.of or (item.component, *item.also)
            for finding in findings.get(name, ())
            if not _hidden(item, finding) and not _of_another(item, sight, finding)
        )
    )


def _of_another(item: Item, sight: Sight, finding: Finding) -> bool:
    """Whether what was found tells another sight of the item: a dead battery tells nothing of its case and strap."""
    if finding.condition in (None, SOUND):
        return False
    named = {name for each in item.sees if each is not sight for name in each.conditions}
    return finding.condition in named and finding.condition not in sight.conditions


def _hidden(item: Item, finding: Finding) -> bool:
    """Whether all that was seen is dirt: it is looked at again when it is clean."""
    return finding.condition == DIRTY and item.system not in DIRT_IS_LOOKED_FOR


def _by_stage(item: Item, unseen: tuple[Sight, ...]) -> Iterator[LeftOpen]:
    for stage in dict.fromkeys(sight.stage for sight in unseen):
        here = tuple(sight for sight in unseen if sight.stage == stage)
        begun, entire = len(unseen) < len(item.sees), here == item.sees
        yield LeftOpen(item, stage, here, begun, entire)


def _by_component(findings: Iterable[Finding]) -> Mapping[str, Sequence[Finding]]:
    found: dict[str, list[Finding]] = defaultdict(list)
    for finding in findings:
        found[finding.component].append(finding)
    return found


def told(left: Iterable[LeftOpen], *, headed: bool = False) -> Mapping[WalkStage, tuple[str, ...]]:
    """What is left open as it reads, stage by stage; places of one component together.

    ``headed``: under a heading that says "not looked at" already.
    """
    found: dict[WalkStage, list[str]] = defaultdict(list)
    for (stage, _, _), group in groupby(left, _alike):
        alike = list(group)
        first = alike[0]
        if _plain(first) and first.item.position:
            where = [each.item.position or "" for each in alike]
            found[stage].append(walk_words.places(first.item.component, where))
        else:
            found[stage] += (left_text(each, headed=headed) for each in alike)
    return {stage: tuple(texts) for stage, texts in found.items()}


def left_text(one: LeftOpen, *, headed: bool = False) -> str:
    """``rear tyre: sidewall not looked at``."""
    names = [sight.name for sight in one.sights]
    called = telling.key(one.item.component, one.item.position, one.item.key)
    return walk_words.left(called, names, begun=one.begun, entire=one.entire, headed=headed)


def _alike(one: LeftOpen) -> tuple[WalkStage, str, bool]:
    return one.stage, one.item.component, _plain(one)


def _plain(one: LeftOpen) -> bool:
    """Whether its name says all of it."""
    return one.entire and not one.begun


def named(walk: Sequence[Item], text: str) -> tuple[Item, ...]:
    """The items that ``text`` names: ``front tyre``, or ``tyre`` for both.

    Raises ``UsageError`` with the nearest names when there is none.
    """
    plain = " ".join(text.lower().split())
    found = tuple(item for item in walk if plain in (item.key, item.component))
    if not found:
        near = get_close_matches(plain, [item.key for item in walk], n=3, cutoff=0.5)
        raise UsageError(
            f"{text!r} is not on the list",
            where="checklist",
            todo=f"one of: {', '.join(near)}" if near else "see `fieldlog inspection open`",
        )
    return found


def last_checked(walk: Sequence[Item], history: Iterable[tuple[date, Finding]]) -> dict[str, date]:
    """Item -> the last day it was checked in ``history`` (day and finding, any order)."""
    found: dict[str, date] = {}
    by_day: dict[date, list[Finding]] = defaultdict(list)
    for day, finding in history:
        by_day[day].append(finding)
    for day in sorted(by_day):
        seen = _by_component(by_day[day])
        found |= {item.key: day for item in walk if not _unseen(item, seen)}
    return found


def _recent(key: str, last: dict[str, date] | None, today: date | None) -> bool:
    if not last or today is None or key not in last:
        return False
    return (today - last[key]).days <= MONTH_DAYS


def _index(walk: Sequence[Item], key: str) -> int:
    for at, item in enumerate(walk):
        if item.key == key:
            return at
    raise UsageError(
        f"{key!r} is not on the list", where="checklist", todo="see the list for the names"
    )
