"""The page that lists every component and what is said of it, generated from the catalogue (pure)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction

from fieldlog.catalogue.component import Axis, Catalogue, Characteristic, Component, Given
from fieldlog.catalogue.phrases import expand
from fieldlog.model.state import Severity

_HEAD = """# Components

Generated from `grammars/catalogue/*.toml` by `fieldlog catalogue docs --out docs/components.md`; do not edit by hand.
How to add one: [catalogue.md](catalogue.md). The limits beside them: [limits.md](limits.md).

**How to check, cautions and advice are common practice of the trade unless a source is named; the maker's manual, local
rules and licensed practice come first.**

A place with `?` may be left out. Plausible ranges are what is believed without a question, not limits. U is the usual
expanded uncertainty (k = 2) of the reading.
"""


def components_page(catalogue: Catalogue) -> str:
    """The Markdown page, system by system."""
    parts = [_HEAD, *_caution_classes(catalogue)]
    for system in catalogue.systems:
        parts.append(f"\n## {system.capitalize()}\n")
        for component in catalogue.of_system(system):
            parts.append("\n".join(component_lines(component)) + "\n")
    return "\n".join(parts)


def _caution_classes(catalogue: Catalogue) -> Iterator[str]:
    """What each class of cautions says, once."""
    of_components = {each.name: each for one in catalogue for each in one.classes}
    classes = of_components | {each.name: each for each in catalogue.at_start}
    yield "\n## Cautions\n\nOne class each; a component names its own (`grammars/cautions.toml`).\n"
    yield "".join(f"- **{each.name}**: {' '.join(each.says)}\n" for each in classes.values())


def component_lines(component: Component) -> Iterator[str]:
    """One component as Markdown: names, places, conditions, measures, checks, what follows."""
    yield f"### {component.name}"
    yield ""
    said = [words for phrase in component.spoken or component.typed for words in expand(phrase)]
    how = "Said" if component.spoken else "Typed only"
    yield f"{how}: {', '.join(dict.fromkeys(said))}." + _places(component.axes)
    yield ""
    yield component.how_to_check
    for caution in component.cautions:
        yield f"*Caution: {caution}*"
    if component.classes:
        yield f"*Cautions of: {', '.join(each.name for each in component.classes)}*"
    yield ""
    yield f"- conditions: {_conditions(component.conditions)}" + "".join(
        f"; {told}" for told in _given(component.given)
    )
    for one in component.characteristics:
        yield f"- **{one.name}**: {characteristic_line(one)}"
    if component.beyond.do:
        beyond = component.beyond
        with_it = "; ".join(
            f"{what}: {', '.join(names)}"
            for what, names in (("parts", beyond.parts), ("consumables", beyond.consumables))
            if names
        )
        yield f"- beyond: {beyond.do}" + (f" ({with_it})" if with_it else "")


def characteristic_line(one: Characteristic) -> str:
    """Units, plausible range, uncertainty, conditions and codes of one characteristic."""
    told = []
    if one.units:
        told.append(" or ".join("a plain number" if unit == "1" else unit for unit in one.units))
    told += [
        f"plausible {_decimal(r.low)} to {_decimal(r.high)} {_unit(r.unit)}".strip()
        for r in one.ranges
    ]
    for known in one.uncertainties:
        size = f"{_decimal(known.value * 100)} %" if known.relative else _decimal(known.value)
        told.append(f"U {size} {_unit(known.unit)}".strip() + f" ({known.instrument})")
    if one.readings > 1:
        told.append(f"up to {one.readings} readings")
    told += _given(one.given)
    if one.code:
        told.append(one.code)
    if one.conditions:
        told.append(_conditions(one.conditions))
    if one.how_to_check:
        told.append(one.how_to_check)
    return "; ".join(told)


def _given(given: Sequence[Given]) -> Iterator[str]:
    """What may be said with a value, and what may be said before a condition."""
    beside = [fact.setting for fact in given if not fact.before]
    if beside:
        yield f"may be said with it: {', '.join(beside)}"
    for fact in given:
        if fact.before:
            how = "how many" if fact.counted else f"how much ({' or '.join(fact.units)})"
            yield f"{how} may be said before {' or '.join(fact.before)}"


def _conditions(conditions: Mapping[str, Severity | None]) -> str:
    return ", ".join(
        f"{name} ({severity.value})" if severity else name for name, severity in conditions.items()
    )


def _places(axes: tuple[Axis, ...]) -> str:
    if not axes:
        return ""
    return " Place: " + ", ".join(axis.name + ("" if axis.required else "?") for axis in axes) + "."


def _unit(unit: str) -> str:
    return "" if unit == "1" else unit


def _decimal(value: Fraction) -> str:
    return f"{float(value):g}"
