"""Work by fault: what is done about a finding, what it replaces and what it uses up (pure).

A row speaks of conditions or measures, of some components or of all; the row that names most of what
was found wins. What no row names is put right as the catalogue says of the component.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType
from typing import Any

from fieldlog.aftercare.data import Faults, rows, table, texts
from fieldlog.catalogue.component import Catalogue
from fieldlog.limits.sides import Side
from fieldlog.model.finding import Finding
from fieldlog.model.limit import Relation
from fieldlog.model.verdict import Judgement, Verdict
from fieldlog.words.telling import translated

WHAT = "what"
"""Stands in a text for the component's name."""
ALWAYS_KNOWN: Mapping[str, str] = MappingProxyType({WHAT: "", "aim": ""})
"""What the last text of a row may name; anything else is a fact that may lack."""


class Covers(StrEnum):
    """How far a piece of work goes, or where a part belongs."""

    PLACE = "place"
    """Where it was found."""
    END = "end"
    BOTH = "both"
    """Left and right."""
    VEHICLE = "vehicle"

    def place(self, position: str | None) -> str | None:
        """The place it covers, of something found at ``position``."""
        match self:
            case Covers.PLACE:
                return position
            case Covers.END:
                return end_of(position)
            case Covers.BOTH:
                return " ".join(part for part in (end_of(position), "left and right") if part)
            case Covers.VEHICLE:
                return None


def end_of(position: str | None) -> str | None:
    """``front`` of ``front left``; None where no end is named."""
    return next((word for word in (position or "").split() if word in ("front", "rear")), None)


def side_of(position: str | None) -> str | None:
    """``left`` of ``front left``; None where no side is named."""
    return next((word for word in (position or "").split() if word in ("left", "right")), None)


@dataclass(frozen=True, slots=True)
class Uses:
    """A consumable that a row uses, with texts of how much where it is known better than usual."""

    item: str
    amount: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Repair:
    """What is done about one kind of fault."""

    do: tuple[str, ...]
    """The first whose facts are known is taken."""
    components: tuple[str, ...] = ()
    conditions: tuple[str, ...] = ()
    measures: tuple[str, ...] = ()
    side: Side | None = None
    parts: tuple[str, ...] = ()
    """``oil filter``, or ``2 fork seal``."""
    uses: tuple[Uses, ...] = ()
    covers: Covers = Covers.PLACE
    job: str = ""
    """Rows of one job are one line for what they cover."""
    tightens: bool = False
    fastens: tuple[str, ...] = ()
    """What it undoes and tightens, where that is less than any work on the component."""
    first: bool = False
    """It falls away where the thing itself is replaced at the same place."""
    gathers: bool = False
    """All of it is one line, done before anything else: the wash."""
    early: bool = False
    """It stands before all other work: what burns is stopped first."""
    settles: tuple[str, ...] = ()
    """Intervals that the work settles; no others."""
    recheck: str = ""
    then: str = ""

    def fits(self, finding: Finding, side: Side | None) -> int:
        """How much of the finding the row names; 0 where it does not speak of it."""
        if self.components and finding.component not in self.components:
            return 0
        if self.conditions and finding.condition not in self.conditions:
            return 0
        if self.measures and finding.characteristic not in self.measures:
            return 0
        if self.side is not None and self.side is not side:
            return 0
        named = (8 * bool(self.components), 4 * bool(self.measures), 2 * bool(self.conditions))
        return sum(named) + bool(self.side)


@dataclass(frozen=True, slots=True)
class Part:
    """How a part is bought: where it belongs, what one of it is, how it is told with known facts."""

    at: Covers = Covers.PLACE
    each: str = ""
    told: tuple[str, ...] = ()
    counted: bool = False
    """As many as were said: "two missing"."""
    pair: str = ""
    """The fact that says ``two`` where one is bought for each of two; a side that was said says it as well."""
    pair_at: str = ""
    """The only end where that may be; empty: wherever it is."""
    instead: Mapping[str, Mapping[str, str]] = field(default_factory=lambda: MappingProxyType({}))
    """Fact -> its value -> what is bought then: an inner tube in place of a valve stem."""

    def count_at(self, position: str | None, values: Mapping[str, str]) -> int:
        """How many one piece of work at ``position`` buys: two for two discs, two shock absorbers."""
        if not self.pair or self.pair_at not in ("", end_of(position)):
            return 1
        sided = side_of(position) is not None
        return 2 if sided or values.get(self.pair, "").lower() == "two" else 1


@dataclass(frozen=True, slots=True)
class Consumable:
    """How much of it is bought, and whether one place's amount adds to another's."""

    amount: str = ""
    adds: bool = False
    told: tuple[str, ...] = ()


@dataclass(frozen=True)
class Repairs:
    """The rows, what they buy, and how every work ends."""

    rows: tuple[Repair, ...] = ()
    parts: Mapping[str, Part] = field(default_factory=lambda: MappingProxyType({}))
    uses: Mapping[str, Consumable] = field(default_factory=lambda: MappingProxyType({}))
    rechecks: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    test_ride: str = ""
    recheck: str = ""
    no_ride_for: tuple[str, ...] = ()
    """Systems whose work alone needs no test ride."""

    def of(self, finding: Finding, verdict: Verdict) -> Repair | None:
        """The row that names most of what was found; the first of several."""
        side = wrong_side(verdict.gate)
        fitting = max(self.rows, key=lambda row: row.fits(finding, side), default=None)
        return fitting if fitting is not None and fitting.fits(finding, side) else None


NO_REPAIRS = Repairs()


def wrong_side(gate: Judgement | None) -> Side | None:
    """On which side of the gating limit the reading lies, where the limit has sides."""
    if gate is None or gate.limit.value is None or gate.limit.relation is Relation.IS:
        return None
    if gate.limit.relation.is_lower:
        return Side.LESS
    if gate.limit.relation.is_upper or gate.reading is None:
        return Side.MORE
    middle = (gate.limit.value + (gate.limit.high or gate.limit.value)) / 2
    return Side.LESS if gate.reading < middle else Side.MORE


def filled(
    options: Iterable[str], values: Mapping[str, str], *, canonical: bool = False
) -> str | None:
    """The first text whose ``{facts}`` are all in ``values``, with them; None where none is.

    ``canonical``: as the table has it, whatever language is told in.
    """
    for text in options:
        try:
            return (text if canonical else translated(text)).format_map(values)
        except KeyError:
            continue
    return None


# --- reading ---------------------------------------------------------------------------------------

_KEYS = [
    "conditions",
    "measures",
    "side",
    "components",
    "do",
    "parts",
    "uses",
    "covers",
    "job",
    "tightens",
    "fastens",
    "gathers",
    "early",
    "first",
    "settles",
    "recheck",
    "then",
]


def read_repairs(
    text: str,
    catalogue: Catalogue,
    intervals: Collection[str],
    derived: Collection[str] = (),
    file: str = "repairs.toml",
) -> Repairs:
    """The rows of one TOML text. Raises ``LimitError`` that lists every fault.

    ``intervals``: ids that a row may settle; ``derived``: characteristics that are computed.
    """
    faults = Faults(file)
    document = table(text, faults)
    parts = {
        name: Part(
            _covers(row, "at", name, faults),
            str(row.get("each", "")),
            _texts(row, "told"),
            row.get("counted") is True,
            str(row.get("pair", "")),
            str(row.get("pair_at", "")),
            row.get("instead", {}),
        )
        for name, row in document.get("part", {}).items()
    }
    # what the vehicle has one of is bought once, wherever the work that asks for it is
    single = {each.name: Part(Covers.VEHICLE) for each in catalogue if not each.axes}
    parts = {**single, **parts}
    uses = {
        name: Consumable(str(row.get("amount", "")), row.get("adds") is True, _texts(row, "told"))
        for name, row in document.get("use", {}).items()
    }
    rechecks = {name: str(told) for name, told in document.get("recheck", {}).items()}
    found = []
    for called, row in rows(document, "repair", _KEYS, faults):
        repair = _repair(row, called, faults)
        _names(repair, called, catalogue, faults, derived)
        items = [use.item for use in repair.uses if "{" not in use.item]
        for item in items:
            if item not in uses:
                faults.add(called, f"uses {item!r}, which has no [use] of its own")
        if repair.recheck and repair.recheck not in rechecks:
            faults.add(called, f"recheck {repair.recheck!r} is none of {', '.join(rechecks)}")
        for name in repair.settles:
            if "{" not in name and name not in intervals:
                faults.add(called, f"settles {name!r}, which is no interval")
        found.append(repair)
    closing = document.get("closing", {})
    faults.stop()
    return Repairs(
        tuple(found),
        MappingProxyType(parts),
        MappingProxyType(uses),
        MappingProxyType(rechecks),
        str(closing.get("test_ride", "")),
        str(closing.get("recheck", "")),
        _texts(closing, "not_for"),
    )


def _repair(row: Mapping[str, Any], called: str, faults: Faults) -> Repair:
    do = _texts(row, "do")
    conditions, measures = _texts(row, "conditions"), _texts(row, "measures")
    if not do or filled(do[-1:], ALWAYS_KNOWN) is None:
        faults.add(called, "do: a last text is needed that leans on no fact")
    if not conditions and not measures:
        faults.add(called, "conditions or measures are needed")
    side = row.get("side")
    if side is not None and side not in set(Side):
        faults.add(called, f"side {side!r} is none of {', '.join(Side)}")
        side = None
    return Repair(
        do=do,
        components=texts(row, "components", called, faults),
        conditions=conditions,
        measures=measures,
        side=None if side is None else Side(side),
        parts=_texts(row, "parts"),
        uses=tuple(_uses(each) for each in row.get("uses", ())),
        covers=_covers(row, "covers", called, faults),
        job=str(row.get("job", "")),
        tightens=row.get("tightens") is True,
        fastens=_texts(row, "fastens"),
        first=row.get("first") is True,
        gathers=row.get("gathers") is True,
        early=row.get("early") is True,
        settles=_texts(row, "settles"),
        recheck=str(row.get("recheck", "")),
        then=str(row.get("then", "")),
    )


def _names(
    repair: Repair, called: str, catalogue: Catalogue, faults: Faults, derived: Collection[str]
) -> None:
    """Whether every name is one of the catalogue's, and may be found there at all."""
    known = [catalogue.get(name) for name in repair.components] or list(catalogue)
    for name, component in zip(repair.components, known, strict=False):
        if component is None:
            faults.add(called, f"{name!r} is not in the catalogue")
    there = [component for component in known if component is not None]
    words = {word for component in there for _, word, _ in component.judged()}
    measures = {each.name for component in there for each in component.characteristics}
    for word in repair.conditions:
        if word not in words:
            faults.add(called, f"is never found {word!r}")
    for name in repair.measures:
        if name not in measures and name not in derived:
            faults.add(called, f"has no {name!r}")


def _uses(each: object) -> Uses:
    if isinstance(each, dict):
        return Uses(str(each.get("item", "")), _texts(each, "amount"))
    return Uses(str(each))


def _covers(row: Mapping[str, Any], key: str, called: str, faults: Faults) -> Covers:
    value = str(row.get(key, Covers.PLACE))
    if value not in set(Covers):
        faults.add(called, f"{key} {value!r} is none of {', '.join(Covers)}")
        return Covers.PLACE
    return Covers(value)


def _texts(row: Mapping[str, Any], key: str) -> tuple[str, ...]:
    value = row.get(key, ())
    return (value,) if isinstance(value, str) else tuple(map(str, value))
