"""The walk round one vehicle as a checklist, and what of it is still open (pure).

The catalogue gives the default walk; a vehicle's own list may add, remove and reorder items and
make some of them monthly. Skipping an item needs a reason, and the reason is kept.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from fieldlog.errors import UsageError
from fieldlog.model import Finding

MONTH_DAYS = 30
"""A monthly item checked within this many days is not asked for again."""


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to look at: a component, at one position where it has several."""

    system: str
    component: str
    position: str | None = None
    monthly: bool = False

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
    position checks only an item with none. Skips without a reason are refused (``UsageError``).
    """
    seen = {(f.component, place) for f in findings for place in _covers(f.position)}
    reasons: dict[str, str] = {}
    for skip in skips:
        if not skip.reason.strip():
            raise UsageError(f"skipping {skip.key!r} needs a reason", where="checklist")
        reasons[skip.key] = skip.reason
    checked, skipped, still_open, not_due = [], [], [], []
    for item in walk:
        if (item.component, item.position) in seen:
            checked.append(item)
        elif item.key in reasons:
            skipped.append((item, reasons[item.key]))
        elif item.monthly and _recent(item.key, last_checked, today):
            not_due.append(item)
        else:
            still_open.append(item)
    return Progress(tuple(checked), tuple(skipped), tuple(still_open), tuple(not_due))


def _covers(position: str | None) -> tuple[str | None, ...]:
    if position is None:
        return (None,)
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
