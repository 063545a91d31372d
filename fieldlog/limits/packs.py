"""Limit packs: TOML files, one per source, read into ``Limit`` rows with every fault named.

A pack is a table ``[pack]`` with what its rows share and a list ``[[limit]]``; a row may override
anything shared. The value is written once, as the source prints it (``printed = "2/32 in"``), and
read from there exactly. docs/limits-how.md describes every key.
"""

from __future__ import annotations

import re
import stat
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from fieldlog.config import limit_packs
from fieldlog.errors import LimitError, UsageError
from fieldlog.kept import kept
from fieldlog.limits.applies import holds
from fieldlog.limits.context import JURISDICTIONS, SETTINGS, Holds, reach
from fieldlog.limits.items import Coverage, RulePart, coverage, read_parts, shared
from fieldlog.limits.provenance import outright_faults, provenance_faults
from fieldlog.limits.sides import Sides, read_sides
from fieldlog.model.limit import (
    Aggregation,
    KOfN,
    Layer,
    Limit,
    LimitStatus,
    Relation,
    SeverityFrom,
    aggregation,
)
from fieldlog.model.state import Severity, State
from fieldlog.quantities.units import UNITS, convert

MOST_BYTES = 4 << 20
"""A larger file is no pack."""
_PACK_KEYS = (
    "id title layer jurisdiction source edition read_on status seen where scope applies severity "
    "severity_from advice note section text"
)
_ROW_KEYS = (
    "id component characteristic relation printed aggregation applies conditions codes outcome "
    "source section edition read_on status seen where scope severity advice layer "
    "jurisdiction outright silent exact superseded steps step item text cut asks severity_from"
)
_NUMBER = r"[+-]?(?:\d+ \d+/\d+|\d+/\d+|\d+(?:\.\d+)?)"
_PRINTED = re.compile(  # the space before the unit is needed: "2/32" is not 2/3 of a unit "2"
    rf"(?P<low>{_NUMBER})(?: to (?P<high>{_NUMBER}))? (?P<unit>[^\s()]+)"
    rf"(?: \((?P<other>{_NUMBER}) (?P<other_unit>[^\s()]+)\))?"
)
_E = TypeVar("_E", bound=StrEnum)


@dataclass(frozen=True, slots=True)
class Pack:
    """One source's limits. ``name`` is the file's name; ``note`` says what a reader must know."""

    name: str
    id: str
    title: str
    layer: str
    jurisdiction: str | None
    limits: tuple[Limit, ...]
    note: str = ""
    parts: tuple[RulePart, ...] = ()
    """The sections of the rule with every item of them; none where the source is no list of items."""


@dataclass(frozen=True, slots=True)
class Printed:
    """A printed value taken apart: exact value(s), unit, and the second unit in parentheses."""

    low: Fraction
    high: Fraction | None
    unit: str
    other: Fraction | None = None
    other_unit: str = ""
    places: tuple[int, int] = (0, 0)
    """Decimal places printed of the value and of the second value (-1: a fraction)."""


def read_printed(text: str) -> Printed:
    """``"3/16 in (4.8 mm)"`` -> 3/16 in with its pair; ``"1.24 to 1.28 1"`` a two-sided value.

    Raises ``ValueError`` when it is not a number (or two, or a pair) with a unit.
    """
    match = _PRINTED.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"{text!r} is not a printed value like '2/32 in' or '3/16 in (4.8 mm)'")
    other = match["other"]
    return Printed(
        _number(match["low"]),
        _number(match["high"]) if match["high"] else None,
        match["unit"],
        _number(other) if other else None,
        match["other_unit"] or "",
        (_places(match["low"]), _places(other) if other else 0),
    )


def pair_fault(printed: Printed) -> str:
    """What is wrong with a dual-unit pair, or "" when each value is a rounding of the other.

    The second value must equal the first converted, to half the last place printed of either:
    3/16 in (4.8 mm) is a rounded pair, 96 lbf.in (1018 N.cm) a misprint (96 lbf.in = 10.85 N.m).
    """
    if printed.other is None:
        return ""
    if printed.other_unit not in UNITS or printed.unit not in UNITS:
        return f"the pair has an unknown unit {printed.other_unit!r}"
    if UNITS[printed.unit].dimension != UNITS[printed.other_unit].dimension:
        return f"{printed.unit} and {printed.other_unit} are not units of the same kind"
    exact = convert(printed.low, printed.unit, printed.other_unit)
    slack = _half_place(printed.places[1])
    per_unit = convert(Fraction(1), printed.unit, printed.other_unit, difference=True)
    slack += 0 if printed.places[0] <= 0 else _half_place(printed.places[0]) * per_unit
    if abs(exact - printed.other) <= slack:
        return ""
    return (
        f"the pair does not agree: {printed.low} {printed.unit} is {float(exact):.4g} "
        f"{printed.other_unit}, printed as {float(printed.other):g}"
    )


def parse_pack(text: str, name: str) -> tuple[Pack | None, list[str]]:
    """The pack written in ``text`` and every fault found in it, each with where it is.

    Pure. Rows with faults are left out of the pack; the pack is None when nothing can be read.
    """
    try:
        raw = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # not TOML, or nested or long beyond reading
        return None, [f"{name}: not TOML: {error}"]
    faults: list[str] = []
    head, rows = raw.get("pack"), raw.get("limit", [])
    if not isinstance(head, dict) or not _tables(rows):
        return None, [f"{name}: needs a table [pack] and a list [[limit]]"]
    parts, items = raw.get("part", []), raw.get("item", [])
    if not _tables(parts) or not _tables(items):
        return None, [f"{name}: [[part]] and [[item]] are lists of tables"]
    faults += [
        f"{name}: unknown table [{key}]"
        for key in raw
        if key not in ("pack", "limit", "part", "item")
    ]
    faults += [
        f"{name}: [pack] has an unknown key {key!r}" for key in head if key not in _PACK_KEYS
    ]
    for key in ("id", "title", "layer"):
        if not head.get(key):
            faults.append(f"{name}: [pack] has no {key}")
    jurisdiction = head.get("jurisdiction")
    for each in str(jurisdiction or "none").split("|"):
        if each not in JURISDICTIONS and each != "none":
            faults.append(f"{name}: unknown jurisdiction {each!r}")
    limits: list[Limit] = []
    of_item = shared(parts, items)
    for number, row in enumerate(rows, 1):
        label = row.get("id") or f"number {number}"
        of_row = {**head, **of_item.get(str(row.get("item", "")), {})}
        for step in _steps(row):
            found, wrong = _row(of_row, step)
            faults += [f"{name}: limit {label}: {fault}" for fault in wrong]
            limits += [] if wrong else found
    used = {str(row["item"]) for row in rows if row.get("item")}
    held, wrong = read_parts(parts, items, used)
    faults += [f"{name}: {fault}" for fault in wrong]
    pack = Pack(
        name,
        str(head.get("id", name)),
        str(head.get("title", "")),
        str(head.get("layer", "")),
        jurisdiction,
        tuple(limits),
        str(head.get("note", "")),
        held,
    )
    return pack, faults


def read_packs(paths: Iterable[Path]) -> tuple[Pack, ...]:
    """Read the pack files ``paths``; raises ``LimitError`` with every fault of all of them."""
    packs, faults = packs_and_faults(paths)
    if faults:
        raise faults_error(faults)
    return tuple(packs)


def packs_and_faults(paths: Iterable[Path]) -> tuple[list[Pack], list[str]]:
    """What can be read of the pack files ``paths``, and every fault of all of them."""
    packs: list[Pack] = []
    faults: list[str] = []
    for path in paths:
        try:
            status = path.stat()
            if status.st_size > MOST_BYTES or stat.S_ISFIFO(status.st_mode):
                faults.append(
                    f"{path.name}: is no pack: a file of at most {MOST_BYTES >> 20} MB is one"
                )
                continue
            text = path.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as error:
            faults.append(f"{path.name}: cannot be read: {error}")
            continue
        pack, wrong = parse_pack(text, path.name)
        faults += wrong
        if pack is not None:
            packs.append(pack)
    return packs, faults


def faults_error(faults: Sequence[str]) -> LimitError:
    """One error that lists all faults."""
    count = f"{len(faults)} fault{'s' if len(faults) != 1 else ''} in the limit packs"
    return LimitError(
        count + "\n  " + "\n  ".join(faults),
        todo="put them right; docs/limits-how.md describes every key",
    )


def pack_files(folder: Path | None = None) -> list[Path]:
    """The pack files of a folder (ours when None), in order of name."""
    return sorted((folder or limit_packs()).glob("*.toml"))


@lru_cache(maxsize=1)
def shipped_packs() -> tuple[Pack, ...]:
    """The packs that ship with fieldlog, read once."""
    files = pack_files()
    return kept("limits", files, lambda: read_packs(files))


@lru_cache(maxsize=1)
def shipped_limits() -> tuple[Limit, ...]:
    """Every row of the packs that ship with fieldlog."""
    return tuple(limit for pack in shipped_packs() for limit in pack.limits)


@lru_cache(maxsize=1)
def shipped_sides() -> Sides:
    """On which side each measure goes wrong."""
    return read_sides((limit_packs().parent / "sides.toml").read_text(encoding="utf-8"))


def covered(jurisdiction: str | None) -> tuple[tuple[str, Coverage], ...]:
    """Id and coverage of every shipped pack of a rule that applies in ``jurisdiction``."""
    here = reach(jurisdiction)
    return tuple(
        (pack.id, coverage(pack.parts))
        for pack in shipped_packs()
        if pack.parts and pack.jurisdiction in here
    )


def with_own(limits: Sequence[Limit], own: Sequence[Limit]) -> tuple[Limit, ...]:
    """Ours plus a vehicle's own rows; an own row with the id of one of ours replaces it."""
    replaced = {limit.id for limit in own}
    return (*(limit for limit in limits if limit.id not in replaced), *own)


def _steps(row: dict[str, Any]) -> Iterable[dict[str, Any]]:
    """A graded row as one row per step (``near``, ``worn``, ``gone``), each with its own severity."""
    shared = {key: value for key, value in row.items() if key != "steps"}
    steps = row.get("steps")
    if steps is None:
        yield shared
        return
    for step in steps if isinstance(steps, list) else [steps]:
        own = step if isinstance(step, dict) else {}
        yield {**shared, **own, "id": f"{row.get('id', '')}.{own.get('step', '')}"}


def _row(head: Mapping[str, Any], row: Mapping[str, Any]) -> tuple[list[Limit], list[str]]:
    faults = [f"unknown key {key!r}" for key in row if key not in _ROW_KEYS.split()]

    def text(key: str, default: str = "") -> str:
        value = row.get(key, head.get(key, default))
        if isinstance(value, str):
            return value.strip()
        faults.append(f"{key} is not text")
        return default

    components = _words(row.get("component"))
    conditions, codes = _words(row.get("conditions")), _words(row.get("codes"))
    said = (*conditions, *codes)
    relation = _member(
        Relation, str(row.get("relation", Relation.IS if said else "")), "relation", faults
    )
    characteristic = str(row.get("characteristic", "condition" if conditions else ""))
    identity = str(row.get("id", ""))
    if not identity:
        faults.append("no id")
    if not components:
        faults.append("no component")
    if not characteristic:
        faults.append("no characteristic")
    value, high, unit, printed = None, None, "", ""
    if relation is Relation.IS:
        if not said:
            faults.append("relation 'is' needs conditions or codes")
    else:
        printed = str(row.get("printed", ""))
        value, high, unit = _value(printed, relation, faults)
    rule: Aggregation | KOfN = Aggregation.SINGLE
    try:
        rule = aggregation(str(row.get("aggregation", rule)))
    except ValueError as error:
        faults.append(str(error))
    status = _member(LimitStatus, text("status"), "status", faults)
    layer = _member(Layer, text("layer", "regulation"), "layer", faults)
    severity = _member(Severity, text("severity", "major"), "severity", faults)
    graded = _member(SeverityFrom, text("severity_from", "our own"), "severity_from", faults)
    outcome = _member(State, str(row.get("outcome", "beyond")), "outcome", faults)
    limits = [
        Limit(
            id=identity if len(components) == 1 else f"{identity}/{component}",
            pack=str(head.get("id", "")),
            component=component,
            characteristic=characteristic,
            relation=relation or Relation.IS,
            value=value,
            unit=unit,
            aggregation=rule,
            applies=_applies(head, row, faults if component == components[0] else []),
            source=text("source"),
            edition=text("edition"),
            read_on=text("read_on"),
            status=status or LimitStatus.MEMORY,
            severity=severity or Severity.MAJOR,
            advice=text("advice"),
            printed=printed,
            high=high,
            words=said,
            outcome=outcome or State.BEYOND,
            outright=row.get("outright", False) is True,
            silent=row.get("silent", False) is True,
            exact=row.get("exact", False) is True,
            superseded=row.get("superseded", head.get("superseded", False)) is True,
            step=text("step"),
            layer=layer or Layer.REGULATION,
            section=text("section"),
            scope=text("scope"),
            seen=text("seen"),
            where=text("where"),
            text=text("text"),
            cut=text("cut"),
            asks=text("asks"),
            severity_from=graded or SeverityFrom.OWN,
        )
        for component in components
    ]
    for key in ("outright", "silent", "exact", "superseded"):
        if not isinstance(row.get(key, False), bool):
            faults.append(f"{key} is neither true nor false")
    if identity.endswith("."):
        faults.append("a step has no name")
    if limits:
        faults += [*provenance_faults(limits[0]), *outright_faults(limits[0])]
    return limits, list(dict.fromkeys(faults))


def _value(
    text: str, relation: Relation | None, faults: list[str]
) -> tuple[Fraction | None, Fraction | None, str]:
    if not text:
        faults.append("no printed value")
        return None, None, ""
    try:
        printed = read_printed(text)
    except (ValueError, ZeroDivisionError) as error:
        faults.append(str(error))
        return None, None, ""
    if printed.unit not in UNITS:
        faults.append(f"unknown unit {printed.unit!r}")
    if (relation is Relation.BETWEEN) != (printed.high is not None):
        faults.append("'between' takes two values, every other relation one")
    if printed.high is not None and printed.high <= printed.low:
        faults.append("the upper end is not above the lower one")
    if fault := pair_fault(printed):
        faults.append(fault)
    return printed.low, printed.high, printed.unit


def _applies(
    head: Mapping[str, Any], row: Mapping[str, Any], faults: list[str]
) -> Mapping[str, str]:
    merged: dict[str, str] = {}
    for source in (head.get("applies", {}), row.get("applies", {})):
        if not isinstance(source, dict):
            faults.append("applies is not a table")
            continue
        merged |= {str(key): str(value) for key, value in source.items()}
    for key, wanted in merged.items():
        if key != "position" and key not in SETTINGS:
            faults.append(f"applies to an unknown key {key!r}")
        elif key in SETTINGS and SETTINGS[key].kind is Holds.CHOICE:
            named = [part.strip() for part in wanted.lstrip("!").split("|")]
            unknown = [part for part in named if part not in SETTINGS[key].choices]
            faults += [f"{key} can never be {part!r}" for part in unknown]
        elif key in SETTINGS and SETTINGS[key].kind is not Holds.TEXT:
            try:
                holds(wanted, wanted.lstrip("<>= "))
            except UsageError as error:
                faults.append(f"applies {key} = {wanted!r} cannot be compared: {error}")
    if jurisdiction := row.get("jurisdiction", head.get("jurisdiction")):
        merged["jurisdiction"] = str(jurisdiction)
    return MappingProxyType(merged)


def _tables(value: object) -> bool:
    return isinstance(value, list) and all(isinstance(each, dict) for each in value)


def _member(kind: type[_E], text: str, key: str, faults: list[str]) -> _E | None:
    try:
        return kind(text)
    except ValueError:
        faults.append(f"{key} {text!r} is none of {', '.join(kind)}")
        return None


def _words(value: object) -> tuple[str, ...]:
    if isinstance(value, str):
        return (value,)
    return tuple(str(word) for word in value) if isinstance(value, list) else ()


def _number(text: str) -> Fraction:
    whole, _, part = text.rpartition(" ")
    return Fraction(whole) + Fraction(part) if whole else Fraction(part)


def _places(text: str) -> int:
    if "/" in text:
        return -1
    return len(text.partition(".")[2])


def _half_place(places: int) -> Fraction:
    return Fraction(1, 2 * 10**places) if places >= 0 else Fraction(0)
