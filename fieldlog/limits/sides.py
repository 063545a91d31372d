"""On which side each measure goes wrong, and that a limit stands there everywhere (pure)."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from fieldlog.catalogue.component import Catalogue
from fieldlog.model.limit import Limit, Relation

Measure = tuple[str, str]
"""Component and characteristic."""


class Side(StrEnum):
    """Where the wrong values of a measure lie."""

    LESS = "less"
    MORE = "more"


@dataclass(frozen=True)
class Sides:
    """Every measure with its wrong sides, or with the reason why it has none."""

    wrong: Mapping[Measure, frozenset[Side]]
    none: Mapping[Measure, str]


def read_sides(text: str) -> Sides:
    """The table ``less``, ``more`` and ``none`` of one TOML text."""
    raw = tomllib.loads(text)
    wrong: dict[Measure, frozenset[Side]] = {}
    for side in Side:
        for component, names in raw[side].items():
            for name in names:
                wrong[component, name] = wrong.get((component, name), frozenset()) | {side}
    none: dict[Measure, str] = {}
    for measure, reason in raw["none"].items():
        component, _, name = measure.rpartition(".")
        none[component, name] = reason
    return Sides(wrong, none)


def ends_of(limit: Limit, side: Side) -> Fraction | None:
    """The end of ``limit`` beyond which a value of that side lies; None where it has none there."""
    if limit.value is None or limit.relation is Relation.IS:
        return None
    if side is Side.LESS:
        return None if limit.relation.is_upper else limit.value
    return limit.high if limit.relation is Relation.BETWEEN else _upper(limit)


def _upper(limit: Limit) -> Fraction | None:
    return limit.value if limit.relation.is_upper else None


def sides_faults(limits: Sequence[Limit], catalogue: Catalogue, sides: Sides) -> list[str]:
    """Measures without a wrong side or a reason, and wrong sides where no limit speaks everywhere."""
    return [*_unknown(catalogue, sides), *_unheld(limits, sides)]


def _unknown(catalogue: Catalogue, sides: Sides) -> Iterable[str]:
    measured = {
        (component.name, characteristic.name)
        for component in catalogue
        for characteristic in component.characteristics
        if characteristic.units
    }
    listed = sides.wrong.keys() | sides.none.keys()
    for component, name in sorted(measured - listed):
        yield f"sides: {component}, {name}: on which side does it go wrong, or why on none?"
    for component, name in sorted(listed - measured):
        yield f"sides: {component}, {name} is not measured"
    for component, name in sorted(sides.wrong.keys() & sides.none.keys()):
        yield f"sides: {component}, {name} has a wrong side and a reason why it has none"


def _unheld(limits: Sequence[Limit], sides: Sides) -> Iterable[str]:
    everywhere = [limit for limit in limits if "jurisdiction" not in limit.applies]
    for measure, wrong in sides.wrong.items():
        rows = [each for each in everywhere if (each.component, each.characteristic) == measure]
        for side in wrong:
            if not any(ends_of(row, side) is not None for row in rows):
                yield f"sides: {', '.join(measure)}: no limit holds {side.value} everywhere"
