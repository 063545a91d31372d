"""The walk round one vehicle as a checklist, and what of it is still open (pure).

The catalogue gives the default walk; a vehicle's own list may add, remove and reorder items and
make some of them monthly. Skipping an item needs a reason, and the reason is kept.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence, Set
from dataclasses import dataclass, replace
from datetime import date
from difflib import get_close_matches

from fieldlog.errors import UsageError
from fieldlog.model import Finding

_WHOLE = "*"
"""Place of a finding that names none: it speaks of the whole vehicle."""

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
    """Other components whose findings check it too ("all lights")."""

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
class Progress:
    """Where the walk stands."""

    checked: tuple[Item, ...]
    skipped: tuple[tuple[Item, str], ...]
    open: tuple[Item, ...]
    not_due: tuple[Item, ...]
    """Monthly items that were checked recently enough."""

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

    A finding at a finer position ("front left") checks the coarser item ("front"); a finding with no
    position checks only an item with none, unless its component has no positions ("all lights").
    A skip that names the component alone leaves out all its items. Skips without a reason are
    refused (``UsageError``).
    """
    seen = {(f.component, place) for f in findings for place in _covers(f.position)}
    reasons: dict[str, str] = {}
    for skip in skips:
        if not skip.reason.strip():
            raise UsageError(f"skipping {skip.key!r} needs a reason", where="checklist")
        reasons[skip.key] = skip.reason
    checked, skipped, still_open, not_due = [], [], [], []
    for item in walk:
        reason = reasons.get(item.key) or reasons.get(item.component)
        if is_checked(item, seen):
            checked.append(item)
        elif reason:
            skipped.append((item, reason))
        elif item.monthly and _recent(item.key, last_checked, today):
            not_due.append(item)
        else:
            still_open.append(item)
    return Progress(tuple(checked), tuple(skipped), tuple(still_open), tuple(not_due))


def is_checked(item: Item, seen: Set[tuple[str, str | None]]) -> bool:
    """Whether ``seen`` (component, place) pairs check the item, through another entry as well."""
    if (item.component, item.position) in seen:
        return True
    return any((name, place) in seen for name in item.also for place in (item.position, _WHOLE))


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
    by_day: dict[date, set[tuple[str, str | None]]] = defaultdict(set)
    for day, finding in history:
        by_day[day] |= {(finding.component, place) for place in _covers(finding.position)}
    for day in sorted(by_day):
        found |= {item.key: day for item in walk if is_checked(item, by_day[day])}
    return found


def _covers(position: str | None) -> tuple[str | None, ...]:
    if position is None:
        return (None, _WHOLE)
    words = position.split()
    return (position, *words, None)


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
