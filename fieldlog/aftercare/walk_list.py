"""The default walk as data, and a vehicle's own list: the default with its edits (pure)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Any, assert_never

from fieldlog.aftercare import checklist
from fieldlog.aftercare.checklist import Item
from fieldlog.aftercare.data import Faults, rows, table, texts
from fieldlog.aftercare.equipment import Fact, check_needs, has, read_facts
from fieldlog.aftercare.sights import STANDING, Sight, WalkStage, whole_of
from fieldlog.catalogue.component import Catalogue, Component
from fieldlog.errors import UsageError

_KEYS = ("component", "at", "also", "all_in", "needs", "monthly", "stage", "see")
_SEE_KEYS = frozenset(("name", "stage", "measures", "conditions", "whole", "of", "at", "each"))
_ENDS = ("front", "rear")
_PLACES = frozenset(("front", "rear", "left", "right", "upper", "lower", "positive", "negative"))
NOT_FITTED = "not_fitted"
"""Fact of a vehicle: items it does not have, separated by commas."""


@dataclass(frozen=True)
class WalkStop:
    """One row of a walk at one place, with the facts it needs."""

    item: Item
    needs: Mapping[str, str]


@dataclass(frozen=True)
class DefaultWalk:
    """A walk as data: the usual one, which every vehicle's list starts from, or one of the others."""

    places: tuple[WalkStop, ...]
    facts: Mapping[str, Fact]
    stages: Mapping[str, WalkStage]
    tells_nothing: tuple[str, ...]
    """Characteristics that name or date a part: reading them is no look at it."""
    about: str = ""


@dataclass(frozen=True)
class Walk:
    """One vehicle's list, and edits of it that no longer fit anything."""

    items: tuple[Item, ...]
    notes: tuple[str, ...] = ()


def read_walk(
    text: str, catalogue: Catalogue, file: str = "walk.toml", usual: DefaultWalk | None = None
) -> DefaultWalk:
    """The walk of one TOML text. Raises ``LimitError`` that lists every fault.

    ``usual``: the one whose facts, stages and characteristics that tell nothing a further walk shares;
    None: the text is that one, has these itself and an item of every system that it does not leave to
    be logged ``when_spoken``.
    """
    faults = Faults(file)
    document = table(text, faults)
    facts = read_facts(document, faults) if usual is None else usual.facts
    stages = _stages(document, faults) if usual is None else usual.stages
    silent = texts(document, "tells_nothing", "", faults) if usual is None else usual.tells_nothing
    found: list[WalkStop] = []
    for called, row in rows(document, "item", _KEYS, faults):
        needs = dict(row.get("needs", {}))
        check_needs(needs, facts, called, faults)
        reader = _Row(called, row, catalogue, stages, silent, faults)
        for item in reader.items():
            if any(place.item.key == item.key for place in found):
                faults.add(called, f"{item.key!r} is on the walk twice")
            found.append(WalkStop(item, MappingProxyType(needs)))
    if usual is None:
        aside = texts(document, "when_spoken", "", faults)
        for system in (each for each in catalogue.systems if each not in aside):
            if not any(place.item.system == system for place in found):
                faults.add("", f"no item of the system {system!r}")
    faults.stop()
    about = str(document.get("about", ""))
    return DefaultWalk(tuple(found), MappingProxyType(facts), stages, silent, about)


def _stages(document: Mapping[str, Any], faults: Faults) -> Mapping[str, WalkStage]:
    """The ``[[stage]]`` rows in the order they are gone through."""
    found: dict[str, WalkStage] = {}
    for called, row in rows(document, "stage", ("name", "about"), faults):
        name, about = str(row.get("name", "")), str(row.get("about", ""))
        if not name or not about or name in found:
            faults.add(called, "a name of its own and what it is about are needed")
        found[name] = WalkStage(name, about, len(found))
    if STANDING.name not in found:
        faults.add("", f"no stage {STANDING.name!r}, which is that of every other item")
    return MappingProxyType(found)


@dataclass(frozen=True)
class _Row:
    """One ``[[item]]`` under reading."""

    called: str
    row: Mapping[str, Any]
    catalogue: Catalogue
    stages: Mapping[str, WalkStage]
    tells_nothing: tuple[str, ...]
    faults: Faults

    def items(self) -> Iterator[Item]:
        """Its items, one at each place; none for a component that the catalogue has not."""
        also = self._components(self.row, "also")
        all_in = self._components(self.row, "all_in")
        component = self.catalogue.get(self.called)
        if component is None:
            self.faults.add(self.called, f"{self.called!r} is not in the catalogue")
            return
        stage = self._stage(self.row.get("stage", STANDING.name))
        sees = tuple(self._sight(see, component, stage) for see in self.row.get("see", []))
        if len({each.name for each in sees}) != len(sees):
            self.faults.add(self.called, "two of what is to be seen have one name")
        whole = whole_of(component, self.tells_nothing, stage)
        monthly = bool(self.row.get("monthly", False))
        for place in self._places(component):
            yield Item(
                component.system, component.name, place, monthly, also, all_in, sees or (whole,)
            )

    def _places(self, component: Component) -> tuple[str | None, ...]:
        at = self.row.get("at")
        if at is None:
            return places_of(component)
        if at == "":
            return (None,)
        places = (at,) if isinstance(at, str) else texts(self.row, "at", self.called, self.faults)
        for place in places:
            if not set(place.split()) <= _PLACES:
                self.faults.add(self.called, f"at = {place!r}: use {', '.join(sorted(_PLACES))}")
        return places

    def _stage(self, name: object) -> WalkStage:
        if name not in self.stages:
            self.faults.add(self.called, f"stage {name!r}: use {', '.join(self.stages)}")
        return self.stages.get(str(name), STANDING)

    def _components(self, table: Mapping[str, Any], key: str) -> tuple[str, ...]:
        names = texts(table, key, self.called, self.faults)
        for name in names:
            if name not in self.catalogue.components:
                self.faults.add(self.called, f"{name!r} is not in the catalogue")
        return names

    def _sight(self, see: Mapping[str, Any], component: Component, stage: WalkStage) -> Sight:
        name, faults = str(see.get("name", "")), self.faults
        called = f"{self.called}, {name or 'a sight'}"
        for key in sorted(see.keys() - _SEE_KEYS):
            faults.add(called, f"unknown key {key!r}; use {', '.join(sorted(_SEE_KEYS))}")
        of = self._components(see, "of")
        seen_on = [each for each in map(self.catalogue.get, of or (component.name,)) if each]
        measures = texts(see, "measures", called, faults)
        conditions = texts(see, "conditions", called, faults)
        whole = bool(see.get("whole", bool(of)))
        for measure in measures:
            if not any(each.characteristic(measure) for each in seen_on):
                faults.add(called, f"{measure!r} is measured on none of it")
        for condition in conditions:
            if not any(condition in each.conditions for each in seen_on):
                faults.add(called, f"{condition!r} is no condition of it")
        if not name or not (measures or conditions or whole):
            faults.add(called, "a name, and the measures or conditions that show it, are needed")
        at = see.get("at")
        own = self._stage(see["stage"]) if "stage" in see else stage
        return Sight(name, own, measures, whole, conditions, of, at, bool(see.get("each", False)))


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
            items = edited(items, edit, catalogue, default.tells_nothing)
        except UsageError as error:
            notes.append(f"{edit.get('do', '')} {edit.get('item', '')}: {error.what}")
    return Walk(items, tuple(notes))


def edited(
    items: tuple[Item, ...],
    edit: Mapping[str, str],
    catalogue: Catalogue,
    tells_nothing: tuple[str, ...],
) -> tuple[Item, ...]:
    """``items`` after one edit. Raises ``UsageError`` when it does not fit."""
    said, name, to = edit.get("do", ""), " ".join(edit.get("item", "").split()), edit.get("to")
    if said not in set(Do):
        raise UsageError(f"{said!r} is no edit of a checklist", todo="add, remove, move, monthly")
    do = Do(said)
    if do is Do.ADD:
        for item in new_items(name, catalogue, tells_nothing):
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


def new_items(name: str, catalogue: Catalogue, tells_nothing: tuple[str, ...]) -> tuple[Item, ...]:
    """Items for a component of the catalogue, with or without its place ("rear brake drum").

    Raises ``UsageError`` for a name that is not in the catalogue.
    """
    component, words = catalogue.get(name), name.split()
    places = places_of(component) if component else ()
    for at in range(len(words) - 1, 0, -1):
        if component is None:
            component = catalogue.get(" ".join(words[at:]))
            places = (" ".join(words[:at]),)
    if component is None:
        raise UsageError(
            f"{name!r} is not in the catalogue", where="checklist", todo="see `fieldlog grammar`"
        )
    sees = (whole_of(component, tells_nothing, STANDING),)
    return tuple(Item(component.system, component.name, each, sees=sees) for each in places)
