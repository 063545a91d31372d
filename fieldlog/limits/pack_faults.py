"""The linter of limit packs: every fault of every pack together (pure)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from itertools import combinations

from fieldlog.catalogue.component import CONDITION, Catalogue, Component
from fieldlog.limits.from_finding import CHARACTERISTICS
from fieldlog.limits.packs import Pack
from fieldlog.model.limit import Limit, Relation
from fieldlog.quantities.units import UNITS, convert, dimension

DERIVED = frozenset(
    (component, characteristic, dimension(unit))
    for component, characteristic, unit in CHARACTERISTICS
)
"""Characteristics that are computed, not spoken: component, name, dimension."""


def pack_faults(packs: Sequence[Pack], catalogue: Catalogue) -> list[str]:
    """Faults of packs that were read without one: names, units, duplicates, contradictions."""
    faults: list[str] = []
    for pack in packs:
        for limit in pack.limits:
            label = f"{pack.name}: limit {limit.id}"
            faults += [f"{label}: {fault}" for fault in _name_faults(limit, catalogue)]
    faults += _duplicates(packs)
    faults += _contradictions(packs)
    return faults


def _name_faults(limit: Limit, catalogue: Catalogue) -> Iterable[str]:
    component = catalogue.get(limit.component)
    if component is None:
        yield f"the catalogue has no component {limit.component!r}"
        return
    if limit.relation is Relation.IS:
        yield from _word_faults(limit, component)
        return
    found = component.characteristic(limit.characteristic)
    dimensions = set(found.dimensions) if found else set()
    dimensions |= {
        kind
        for name, characteristic, kind in DERIVED
        if (name, characteristic) == (component.name, limit.characteristic)
    }
    if not dimensions:
        yield f"{component.name} has no measured characteristic {limit.characteristic!r}"
    elif limit.unit in UNITS and UNITS[limit.unit].dimension not in dimensions:
        kinds = " or ".join(sorted(dimensions))
        yield f"{limit.characteristic} is measured in units of {kinds}, not in {limit.unit}"


def _word_faults(limit: Limit, component: Component) -> Iterable[str]:
    if limit.characteristic != CONDITION and component.characteristic(limit.characteristic) is None:
        yield f"{component.name} has no characteristic {limit.characteristic!r}"
        return
    found = component.characteristic(limit.characteristic)
    if found is not None and found.code:
        return
    known = found.conditions if found is not None else component.conditions
    for word in limit.words:
        if word not in known:
            yield f"{component.name} ({limit.characteristic}) is never found {word!r}"


def _duplicates(packs: Sequence[Pack]) -> Iterable[str]:
    seen: dict[str, str] = {}
    for pack in packs:
        for limit in pack.limits:
            if limit.id in seen:
                yield f"{pack.name}: limit {limit.id}: the id is used in {seen[limit.id]} too"
            seen.setdefault(limit.id, pack.name)


def _contradictions(packs: Sequence[Pack]) -> Iterable[str]:
    """Rows of one pack that say different things of the same case, or that nothing can meet."""
    for pack in packs:
        rows = [limit for limit in pack.limits if limit.value is not None]
        for one, other in combinations(rows, 2):
            if not _same_case(one, other):
                continue
            if one.relation == other.relation:
                if _in_unit_of(one, other) != one.value:
                    yield (
                        f"{pack.name}: limits {one.id} and {other.id} contradict each other: "
                        f"{one.printed} and {other.printed} for the same case"
                    )
            elif _nothing_passes(one, other):
                yield (
                    f"{pack.name}: limits {one.id} and {other.id} leave no value that meets both"
                )


def _same_case(one: Limit, other: Limit) -> bool:
    return (
        (one.component, one.characteristic, one.aggregation, one.layer)
        == (other.component, other.characteristic, other.aggregation, other.layer)
        and dict(one.applies) == dict(other.applies)
        and (one.step, one.silent) == (other.step, other.silent)
        and one.unit in UNITS
        and other.unit in UNITS
        and UNITS[one.unit].dimension == UNITS[other.unit].dimension
    )


def _in_unit_of(one: Limit, other: Limit) -> Fraction:
    assert other.value is not None  # rows without a value are never compared
    return convert(other.value, other.unit, one.unit)


def _nothing_passes(one: Limit, other: Limit) -> bool:
    low, high = (one, other) if one.relation.is_lower else (other, one)
    if not low.relation.is_lower or not high.relation.is_upper or low.value is None:
        return False
    top = _in_unit_of(low, high)
    closed = not low.relation.is_open and not high.relation.is_open
    return top < low.value or (top == low.value and not closed)
