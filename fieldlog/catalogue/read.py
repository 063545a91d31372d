"""TOML texts -> ``Catalogue``: everything is checked, and every fault is reported at once (pure)."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from types import MappingProxyType
from typing import Any

from fieldlog.catalogue.component import (
    SOUND,
    Axis,
    Beyond,
    Catalogue,
    Characteristic,
    Component,
    Given,
    Range,
    UsualUncertainty,
)
from fieldlog.catalogue.phrases import expand
from fieldlog.errors import GrammarError
from fieldlog.model.state import Severity
from fieldlog.quantities.code_reading import CodeKind
from fieldlog.quantities.units import UNITS, dimension

_NAME = re.compile(r"[a-z]+(?:[ -][a-z]+)*")
_RANGE = re.compile(r"(-?[\d.]+) \.\. (-?[\d.]+) (\S+)")
_UNCERTAINTY = re.compile(r"([\d.]+) (\S+): (.+)")
_SEVERITIES: Mapping[str, Severity | None] = MappingProxyType(
    {"good": None} | {severity.value: severity for severity in Severity}
)
_FUNCTION = frozenset({"not working", "sticking", "stiff", "slipping"})
"""Conditions of what has a function: of these alone it is said that they work."""
_WORKS = "(works | work | working)"
"""Of anything else it is most likely the beginning of "looks ..."."""
_COMPONENT_KEYS = frozenset(
    [
        "name",
        "spoken",
        "positions",
        "conditions",
        "say",
        "measures",
        "given",
        "how_to_check",
        "cautions",
        "holds",
        "typed",
        "typed_say",
        "beyond",
    ]
)
_MEASURE_KEYS = frozenset(
    (
        *("words", "alone", "behind", "named", "units", "said", "code", "positions"),
        *("readings", "dial", "given", "typed", "typed_say"),
        *("plausible", "uncertainty", "conditions", "say", "how_to_check", "beyond"),
    )
)
_MOST_READINGS = 12
_VOLUMES = frozenset(("qt", "L", "mL", "fl.oz"))
"""Units of what may lack: those of the rule <lacking> of quantities.jsgf."""


@dataclass(frozen=True)
class Known:
    """What an entry may refer to, as the grammars define it."""

    conditions: Collection[str]
    axes: Collection[str]
    codes: Collection[str]
    said: Collection[str]


def read_catalogue(texts: Mapping[str, str], known: Known) -> Catalogue:
    """Read one text per system (file name -> TOML).

    Raises ``GrammarError`` that lists every fault of every file with the entry and key.
    """
    faults: list[str] = []
    components: dict[str, Component] = {}
    for file, text in texts.items():
        try:
            table = tomllib.loads(text)
        except (ValueError, RecursionError) as error:  # not TOML, or nested beyond reading
            faults.append(f"{file}: {error}")
            continue
        system = table.get("system")
        if not isinstance(system, str) or not system:
            faults.append(f'{file}: system: name the system, e.g. system = "brakes"')
            continue
        for number, entry in enumerate(_tables(table.get("component", [])), start=1):
            name = str(entry.get("name", ""))
            reader = _Entry(f"{file}: {name or f'component {number}'}", entry, known, faults)
            component = reader.component(name, system)
            if name in components:
                reader.fault("name", f"'{name}' is already in the catalogue")
            components.setdefault(name, component)
    if faults:
        count = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
        raise GrammarError(
            "\n  ".join([f"{count} in the catalogue", *faults]),
            where="catalogue",
            todo="correct the entries named and try again",
        )
    return Catalogue(MappingProxyType(components))


@dataclass
class _Entry:
    """One ``[[component]]`` table under reading; faults are appended, reading goes on."""

    where: str
    table: dict[str, Any]
    known: Known
    faults: list[str]
    prefix: str = ""
    seen: dict[str, str] = field(default_factory=dict)

    def fault(self, key: str, message: str) -> None:
        self.faults.append(f"{self.where}: {self.prefix}{key}: {message}")

    def component(self, name: str, system: str) -> Component:
        if not _NAME.fullmatch(name):
            self.fault("name", 'a name is lower-case words, e.g. name = "brake pads"')
        self._no_other_keys(_COMPONENT_KEYS)
        conditions = self._conditions()
        axes = self._axes()
        component = Component(
            name=name,
            system=system,
            spoken=self._phrases("spoken", required="typed" not in self.table),
            axes=axes,
            conditions=conditions,
            say=self._say(conditions),
            characteristics=tuple(self._measures(axes)),
            given=tuple(self._given(conditions)),
            how_to_check=self._text("how_to_check", required=True),
            cautions=tuple(self._strings("cautions")),
            holds=tuple(self._strings("holds")),
            typed=self._phrases("typed"),
            typed_say=self._said_so("typed_say", conditions),
            beyond=self._beyond() or Beyond(),
        )
        if not component.beyond.do and any(severity for *_, severity in component.judged()):
            self.fault("beyond.do", "say what is done when it is beyond")
        self._unnamed_apart(component)
        return component

    def _beyond(self) -> Beyond | None:
        table = self.table.get("beyond")
        if not table:
            return None
        return Beyond(
            do=str(table.get("do", "")),
            parts=tuple(map(str, table.get("parts", ()))),
            consumables=tuple(map(str, table.get("consumables", ()))),
        )

    def _measures(self, axes: tuple[Axis, ...]) -> Iterable[Characteristic]:
        for name, table in self.table.get("measures", {}).items():
            inner = _Entry(self.where, table, self.known, self.faults, f"measures.{name}.")
            if not _NAME.fullmatch(name):
                inner.fault("", "a characteristic's name is lower-case words")
            yield inner.characteristic(name, axes)

    def characteristic(self, name: str, axes: tuple[Axis, ...]) -> Characteristic:
        self._no_other_keys(_MEASURE_KEYS)
        units = tuple(self._strings("units"))
        for unit in units:
            if unit not in UNITS:
                self.fault("units", f"'{unit}' is no unit; use {' '.join(UNITS)}")
        units = tuple(unit for unit in units if unit in UNITS)
        code = self._one_of("code", self.known.codes)
        conditions = self._conditions()
        if not units and not code and not conditions:
            self.fault("units", "give units, a code or conditions: nothing can be said of it")
        readings = self.table.get("readings", 1)
        if not isinstance(readings, int) or not 1 <= readings <= _MOST_READINGS:
            self.fault("readings", f"a count from 1 to {_MOST_READINGS}")
            readings = 1
        said = tuple(self._strings("said"))
        for way in said:
            if way not in self.known.said:
                self.fault("said", f"'{way}' is none of {', '.join(sorted(self.known.said))}")
        return Characteristic(
            name=name,
            words=self._phrases("words", required="alone" not in self.table),
            alone=self._phrases("alone"),
            behind=self._phrases("behind"),
            named=bool(self.table.get("named", False)),
            units=units,
            said=said,
            code=CodeKind(code) if code else None,
            axes=self._axes() if "positions" in self.table else axes,
            readings=readings,
            dial=bool(self.table.get("dial", False)),
            given=tuple(self._given(conditions)),
            ranges=tuple(self._ranges(units)),
            uncertainties=tuple(self._uncertainties(units)),
            conditions=conditions,
            say=self._say(conditions),
            typed=self._phrases("typed"),
            typed_say=self._said_so("typed_say", conditions),
            how_to_check=self._text("how_to_check"),
            beyond=self._beyond(),
        )

    # --- keys ----------------------------------------------------------------------------

    def _no_other_keys(self, allowed: frozenset[str]) -> None:
        for key in self.table.keys() - allowed:
            self.fault(key, f"unknown key; use {', '.join(sorted(allowed))}")

    def _text(self, key: str, required: bool = False) -> str:
        value = self.table.get(key, "")
        if not isinstance(value, str) or (required and not value):
            self.fault(key, "a text is needed")
            return ""
        return value

    def _strings(self, key: str) -> list[str]:
        value = self.table.get(key, [])
        value = [value] if isinstance(value, str) else value
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            self.fault(key, "a list of texts is needed")
            return []
        return value

    def _phrases(self, key: str, required: bool = False) -> tuple[str, ...]:
        phrases = self._strings(key)
        if required and not phrases:
            self.fault(key, "at least one way to say it is needed")
        for phrase in phrases:
            self._expandable(key, phrase)
        return tuple(phrases)

    def _expandable(self, key: str, phrase: str) -> None:
        try:
            expand(phrase)
        except ValueError as error:
            self.fault(key, f"{phrase!r}: {error}")

    def _one_of(self, key: str, allowed: Collection[str]) -> str:
        value = self._text(key)
        if value and value not in allowed:
            self.fault(key, f"'{value}' is none of {', '.join(sorted(allowed))}")
            return ""
        return value

    def _axes(self) -> tuple[Axis, ...]:
        axes = []
        for written in self._strings("positions"):
            name = written.removesuffix("?")
            if name not in self.known.axes:
                self.fault("positions", f"'{name}' is none of {', '.join(sorted(self.known.axes))}")
                continue
            axes.append(Axis(name, required=not written.endswith("?")))
        return tuple(axes)

    def _conditions(self) -> Mapping[str, Severity | None]:
        found: dict[str, Severity | None] = {}
        table = self.table.get("conditions", {})
        if not isinstance(table, dict):
            self.fault("conditions", "conditions.good, .minor, .major, .dangerous are lists")
            return MappingProxyType(found)
        for severity, names in table.items():
            if severity not in _SEVERITIES:
                self.fault(f"conditions.{severity}", f"use {', '.join(_SEVERITIES)}")
                continue
            for name in names:
                if name not in self.known.conditions:
                    self.fault(f"conditions.{severity}", f"'{name}' is not in conditions.jsgf")
                elif name in found:
                    self.fault(f"conditions.{severity}", f"'{name}' is named twice")
                else:
                    found[name] = _SEVERITIES[severity]
        if found.get(SOUND) is not None:
            self.fault("conditions", f"'{SOUND}' is always good")
        return MappingProxyType(found)

    def _said_so(
        self, key: str, conditions: Mapping[str, Severity | None]
    ) -> Mapping[str, tuple[str, ...]]:
        found: dict[str, tuple[str, ...]] = {}
        for condition, phrases in self.table.get(key, {}).items():
            if condition not in conditions:
                self.fault(f"{key}.{condition}", "is none of this entry's conditions")
            for phrase in phrases:
                self._expandable(f"{key}.{condition}", phrase)
            found[condition] = tuple(phrases)
        return MappingProxyType(found)

    def _say(self, conditions: Mapping[str, Severity | None]) -> Mapping[str, tuple[str, ...]]:
        found = dict(self._said_so("say", conditions))
        if SOUND in conditions and not _FUNCTION.isdisjoint(conditions):
            found[SOUND] = (*found.get(SOUND, ()), _WORKS)
        return MappingProxyType(found)

    def _given(self, conditions: Collection[str]) -> Iterable[Given]:
        for setting, table in self.table.get("given", {}).items():
            inner = _Entry(self.where, table, self.known, self.faults, f"given.{setting}.")
            inner._no_other_keys(frozenset(("words", "units", "before")))
            before = tuple(inner._strings("before"))
            for condition in before:
                if condition not in conditions:
                    inner.fault("before", f"'{condition}' is none of this entry's conditions")
            if before and "words" in table:
                inner.fault("words", "what is said before a condition has no words of its own")
            units = tuple(inner._strings("units"))
            if before and units != ("1",) and not _VOLUMES.issuperset(units):
                inner.fault("units", 'before a condition: "1" for a count, or volumes')
            if not units or not all(unit in UNITS for unit in units):
                inner.fault("units", f"give units out of {' '.join(UNITS)}")
            yield Given(setting, inner._phrases("words", required=not before), units, before)

    def _ranges(self, units: tuple[str, ...]) -> Iterable[Range]:
        found: dict[str, Range] = {}
        for written in self._strings("plausible"):
            match = _RANGE.fullmatch(written)
            if match is None or match[3] not in UNITS or Fraction(match[1]) > Fraction(match[2]):
                self.fault("plausible", f'{written!r}: write it like "0 .. 12 mm"')
                continue
            found[dimension(match[3])] = Range(Fraction(match[1]), Fraction(match[2]), match[3])
        self._one_per_dimension("plausible", "range", found, units)
        return found.values()

    def _uncertainties(self, units: tuple[str, ...]) -> Iterable[UsualUncertainty]:
        found: dict[str, UsualUncertainty] = {}
        for written in self._strings("uncertainty"):
            match = _UNCERTAINTY.fullmatch(written)
            if match is None or match[2] not in UNITS:
                self.fault("uncertainty", f'{written!r}: write it like "0.2 mm: tread gauge"')
                continue
            value, unit = Fraction(match[1]), match[2]
            if unit == "%" and "%" not in units:
                share = UsualUncertainty(value / 100, "1", True, match[3])
                found |= {dimension(symbol): share for symbol in units}
            else:
                found[dimension(unit)] = UsualUncertainty(value, unit, False, match[3])
        self._one_per_dimension("uncertainty", "default", found, units)
        return dict.fromkeys(found.values())

    def _one_per_dimension(
        self, key: str, what: str, found: Mapping[str, object], units: tuple[str, ...]
    ) -> None:
        wanted = {dimension(unit) for unit in units}
        for missing in sorted(wanted - found.keys()):
            self.fault(key, f"a {what} for its units of {missing} is missing")
        for extra in sorted(found.keys() - wanted):
            self.fault(key, f"none of its units is a {extra}")

    def _unnamed_apart(self, component: Component) -> None:
        """Two characteristics that need no name must not share a unit, code or condition."""
        owners: dict[str, str] = {}
        for one in component.characteristics:
            if one.named:
                continue
            claims = [*one.units, one.code, *one.conditions]
            for claim in filter(None, claims):
                if claim == SOUND:
                    continue
                other = owners.setdefault(claim, one.name)
                if other != one.name:
                    self.fault(
                        f"measures.{one.name}",
                        f"{other} has {claim} too: set named = true for one of them",
                    )


def _tables(value: object) -> list[dict[str, Any]]:
    return [item for item in value if isinstance(item, dict)] if isinstance(value, list) else []
