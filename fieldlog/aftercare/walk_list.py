"""The default walk as data, and a vehicle's own list: the default with its edits (pure)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import assert_never

from fieldlog.aftercare import checklist
from fieldlog.aftercare.checklist import Item
from fieldlog.aftercare.data import Faults, rows, table, texts
from fieldlog.aftercare.equipment import Fact, check_needs, has, read_facts
from fieldlog.catalogue.component import Catalogue, Component
from fieldlog.errors import UsageError

_KEYS = ("component", "at", "also", "needs", "monthly")
_ENDS = ("front", "rear")
NOT_FITTED = "not_fitted"
"""Fact of a vehicle: items it does not have, separated by commas."""


@dataclass(frozen=True)
class WalkStop:
    """One row of the default walk at one place, with the facts it needs."""

    item: Item
    needs: Mapping[str, str]


@dataclass(frozen=True)
class DefaultWalk:
    """What every vehicle's list starts from."""

    places: tuple[WalkStop, ...]
    facts: Mapping[str, Fact]


@dataclass(frozen=True)
class Walk:
    """One vehicle's list, and edits of it that no longer fit anything."""

    items: tuple[Item, ...]
    notes: tuple[str, ...] = ()


def read_walk(text: str, catalogue: Catalogue, file: str = "walk.toml") -> DefaultWalk:
    """The default walk of one TOML text. Raises ``LimitError`` that lists every fault."""
    faults = Faults(file)
    document = table(text, faults)
    facts = read_facts(document, faults)
    found: list[WalkStop] = []
    for called, row in rows(document, "item", _KEYS, faults):
        needs = dict(row.get("needs", {}))
        check_needs(needs, facts, called, faults)
        also = texts(row, "also", called, faults)
        for name in (called, *also):
            if name not in catalogue.components:
                faults.add(called, f"{name!r} is not in the catalogue")
        component = catalogue.get(called)
        if component is None:
            continue
        at = row.get("at")
        if at not in (None, "", *_ENDS):
            faults.add(called, f"at = {at!r}: use front, rear or nothing")
        for position in places_of(component) if at is None else (at or None,):
            item = Item(component.system, called, position, bool(row.get("monthly", False)), also)
            if any(place.item.key == item.key for place in found):
                faults.add(called, f"{item.key!r} is on the walk twice")
            found.append(WalkStop(item, MappingProxyType(needs)))
    for system in catalogue.systems:
        if not any(place.item.system == system for place in found):
            faults.add("", f"no item of the system {system!r}")
    faults.stop()
    return DefaultWalk(tuple(found), MappingProxyType(facts))


class Do(StrEnum):
    """How a vehicle's list is changed."""

    ADD = "add"
    REMOVE = "remove"
    MOVE = "move"
    MONTHLY = "monthly"
    ALWAYS = "always"


def places_of(component: Component) -> tuple[str | None, ...]:
    """Front and rear for a component that has one at each end, else no place."""
    ends = any(axis.name == "end" and axis.required for axis in component.axes)
    return _ENDS if ends else (None,)


def walk_for(
    default: DefaultWalk,
    catalogue: Catalogue,
    facts: Mapping[str, str],
    edits: Iterable[Mapping[str, str]] = (),
) -> Walk:
    """The list of a vehicle with ``facts``: the default without what it has not, then its edits.

    An edit is ``{"do": add | remove | move | monthly | always, "item": ..., "to": ...}`` (``to``:
    the item it goes before or, for add, behind). One that fits nothing any more is a note.
    """
    absent = {name.strip() for name in facts.get(NOT_FITTED, "").split(",")}
    items = tuple(
        place.item
        for place in default.places
        if has(place.needs, facts, default.facts)
        and not {place.item.key, place.item.component} & absent
    )
    notes = []
    for edit in edits:
        try:
            items = edited(items, edit, catalogue)
        except UsageError as error:
            notes.append(f"{edit.get('do', '')} {edit.get('item', '')}: {error.what}")
    return Walk(items, tuple(notes))


def edited(
    items: tuple[Item, ...], edit: Mapping[str, str], catalogue: Catalogue
) -> tuple[Item, ...]:
    """``items`` after one edit. Raises ``UsageError`` when it does not fit."""
    said, name, to = edit.get("do", ""), " ".join(edit.get("item", "").split()), edit.get("to")
    if said not in set(Do):
        raise UsageError(f"{said!r} is no edit of a checklist", todo="add, remove, move, monthly")
    do = Do(said)
    if do is Do.ADD:
        for item in new_items(name, catalogue):
            items = checklist.add(items, item, after=to)
            to = item.key
        return items
    for item in checklist.named(items, name):
        match do:
            case Do.REMOVE:
                items = checklist.remove(items, item.key)
            case Do.MOVE:
                items = checklist.move(items, item.key, before=to or "")
            case Do.MONTHLY | Do.ALWAYS:
                items = checklist.set_monthly(items, item.key, do is Do.MONTHLY)
            case _:
                assert_never(do)
    return items


def new_items(name: str, catalogue: Catalogue) -> tuple[Item, ...]:
    """Items for a component of the catalogue, with or without its place ("rear brake drum").

    Raises ``UsageError`` for a name that is not in the catalogue.
    """
    component = catalogue.get(name)
    if component is not None:
        return tuple(Item(component.system, name, place) for place in places_of(component))
    words = name.split()
    for at in range(len(words) - 1, 0, -1):
        component = catalogue.get(" ".join(words[at:]))
        if component is not None:
            return (Item(component.system, component.name, " ".join(words[:at])),)
    raise UsageError(
        f"{name!r} is not in the catalogue", where="checklist", todo="see `fieldlog grammar`"
    )
