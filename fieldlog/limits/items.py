"""What a rule consists of, item by item, and how much of it a pack holds (pure).

A pack of a rule names its parts (``[[part]]``, a section) and every item of each (``[[item]]``). An item
is a row, or it says why it cannot be one, or that it was not read.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from fieldlog.words import tell

_SHARED = ("source", "edition", "read_on", "seen", "where")
"""What a part says for its items, and an item for its rows."""
_PART_KEYS = (*_SHARED, "id", "title", "items", "rest", "superseded")
_ITEM_KEYS = (*_SHARED, "id", "part", "text", "cut", "cannot", "unread")


class Held(StrEnum):
    """How a pack holds one item of its rule."""

    ROW = "row"
    CANNOT = "cannot be expressed"
    UNREAD = "not read"


@dataclass(frozen=True, slots=True)
class RuleItem:
    """One numbered item of a rule. ``why`` says why it is no row; ``text`` is the sentence read."""

    id: str
    part: str
    held: Held
    text: str = ""
    cut: str = ""
    why: str = ""


@dataclass(frozen=True, slots=True)
class RulePart:
    """A section of a rule: the items whose numbers are known, and what follows unread behind them."""

    id: str
    title: str
    items: tuple[RuleItem, ...]
    rest: str = ""
    """What of the section was not read, so that nobody knows how many items it has."""
    superseded: bool = False


@dataclass(frozen=True, slots=True)
class Coverage:
    """How many items of a rule a pack holds, and how many of its sections go on unread."""

    rows: int
    cannot: int
    unread: int
    sections: int = 0

    @property
    def items(self) -> int:
        """Items whose numbers are known."""
        return self.rows + self.cannot + self.unread

    def __str__(self) -> str:
        """As it is listed and printed."""
        return tell.coverage(self.rows, self.cannot, self.unread, self.sections)


def coverage(parts: Sequence[RulePart]) -> Coverage:
    """What the pack's parts hold together."""
    held = Counter(item.held for part in parts for item in part.items)
    sections = sum(bool(part.rest) for part in parts)
    return Coverage(held[Held.ROW], held[Held.CANNOT], held[Held.UNREAD], sections)


def shared(
    parts: Iterable[Mapping[str, Any]], items: Iterable[Mapping[str, Any]]
) -> dict[str, dict[str, Any]]:
    """Item -> what its rows take from it and from its part: source, edition, date, address, sentence."""
    of_part = {part.get("id"): part for part in parts}
    found: dict[str, dict[str, Any]] = {}
    for item in items:
        part = of_part.get(item.get("part"), {})
        keys = {key: value for key, value in part.items() if key in _SHARED}
        keys |= {key: item[key] for key in (*_SHARED, "text", "cut") if key in item}
        if part.get("superseded"):
            keys["superseded"] = True
        found[str(item.get("id", ""))] = {"section": item.get("id", ""), **keys}
    return found


def read_parts(
    parts: Sequence[Mapping[str, Any]], items: Sequence[Mapping[str, Any]], used: Collection[str]
) -> tuple[tuple[RulePart, ...], list[str]]:
    """The parts with their items and every fault; ``used`` are the items that rows name.

    A fault is also: an item with a row and a reason to have none, with neither, with a row but no
    sentence, or a part whose items are not as many as it says.
    """
    faults: list[str] = []
    known = {str(part.get("id", "")) for part in parts}
    made: dict[str, RuleItem] = {}
    for each in items:
        label = f"item {each.get('id')!r}"
        faults += [f"{label}: unknown key {key!r}" for key in each if key not in _ITEM_KEYS]
        item, wrong = _item(each, str(each.get("id", "")) in used)
        faults += [f"{label}: {fault}" for fault in wrong]
        if item.part not in known:
            faults.append(f"{label}: no part {item.part!r}")
        if item.id in made:
            faults.append(f"{label}: named twice")
        made[item.id] = item
    faults += [f"no item {name!r}, which a row names" for name in sorted(set(used) - set(made))]
    found = []
    for part in parts:
        label = f"part {part.get('id')!r}"
        faults += [f"{label}: unknown key {key!r}" for key in part if key not in _PART_KEYS]
        own = tuple(item for item in made.values() if item.part == part.get("id"))
        if part.get("items") != len(own):
            faults.append(f"{label}: says {part.get('items')} items, has {len(own)}")
        if not own and not part.get("rest"):
            faults.append(f"{label}: neither items nor a rest that was not read")
        found.append(
            RulePart(
                str(part.get("id", "")),
                str(part.get("title", "")),
                own,
                str(part.get("rest", "")),
                part.get("superseded") is True,
            )
        )
    return tuple(found), faults


def _item(raw: Mapping[str, Any], row: bool) -> tuple[RuleItem, list[str]]:
    text, cannot, unread = (str(raw.get(key, "")) for key in ("text", "cannot", "unread"))
    faults = []
    if row + bool(cannot) + bool(unread) != 1:
        faults.append("is to be one of: a row, 'cannot' with the reason, 'unread' with the reason")
    if not text and not unread:
        faults.append("without the sentence that was read (text)")
    held = Held.ROW if row else Held.CANNOT if cannot else Held.UNREAD
    made = RuleItem(
        str(raw.get("id", "")),
        str(raw.get("part", "")),
        held,
        text,
        str(raw.get("cut", "")),
        cannot or unread,
    )
    return made, faults
