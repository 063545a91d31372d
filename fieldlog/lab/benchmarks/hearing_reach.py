"""How much of the catalogue was said in the benchmark and heard right at least once (pure)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from fieldlog.catalogue.component import Catalogue
from fieldlog.lab.benchmarks.calibrate_cases import is_right, understood
from fieldlog.lab.benchmarks.calibrate_evidence import Line
from fieldlog.lab.benchmarks.hearing_parts import POSITIVE
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.finding import Finding

COMPONENT, CHARACTERISTIC, UNIT, CONDITION = "component", "characteristic", "unit", "condition"
Entry = tuple[str, str]
"""One of the four, and what it is called ("rear tyre, tread depth in mm")."""


@dataclass(frozen=True, slots=True)
class Reach:
    """Entries of one kind: how many there are, were said, were heard right at least once."""

    kind: str
    entries: int
    said: int
    right: int
    never_said: tuple[str, ...]
    never_right: tuple[str, ...]
    """Said, but not once heard right."""


def entries(catalogue: Catalogue) -> Iterator[Entry]:
    """Everything of the catalogue that can be said."""
    for component in catalogue.heard:
        yield COMPONENT, component.name
        for one in component.characteristics:
            yield CHARACTERISTIC, f"{component.name}, {one.name}"
            for unit in one.units:
                yield UNIT, f"{component.name}, {one.name} in {unit}"
        for characteristic, condition, _ in component.judged():
            yield CONDITION, f"{component.name}, {characteristic}: {condition}"


def of_findings(findings: Iterable[Finding]) -> Iterator[Entry]:
    """What findings are about."""
    for finding in findings:
        name = f"{finding.component}, {finding.characteristic}"
        yield COMPONENT, finding.component
        yield CHARACTERISTIC, name
        if finding.quantity is not None:
            yield UNIT, f"{name} in {finding.quantity.unit}"
        if finding.condition:
            yield CONDITION, f"{name}: {finding.condition}"


def reach(lines: Sequence[Line], language: InspectionLanguage) -> list[Reach]:
    """The four kinds over everything that was said; all cells count."""
    said: set[Entry] = set()
    right: set[Entry] = set()
    for line in lines:
        if line.kind not in POSITIVE:
            continue
        meant = language.understand(line.words)
        about = set(of_findings((meant.finding,) if meant.finding else meant.candidates))
        said |= about
        heard = understood(line, language)
        if heard is not None and is_right(line, heard, language):
            right |= about
    every = dict.fromkeys(entries(language.catalogue))
    found = []
    for kind in (COMPONENT, CHARACTERISTIC, UNIT, CONDITION):
        mine = [entry for entry in every if entry[0] == kind]
        found.append(
            Reach(
                kind,
                len(mine),
                sum(entry in said for entry in mine),
                sum(entry in right for entry in mine),
                tuple(entry[1] for entry in mine if entry not in said),
                tuple(entry[1] for entry in mine if entry in said and entry not in right),
            )
        )
    return found


def page(found: Sequence[tuple[str, Sequence[Reach]]], command: str) -> str:
    """The tables of several recognisers as Markdown."""
    lines = [
        "# What of the catalogue was heard",
        "",
        f"Printed by `{command}`. An entry counts as right when it was heard right at least once.",
    ]
    for name, rows in found:
        lines += ["", f"## {name}", "", "| | in the catalogue | said | heard right |"]
        lines.append("|---|---:|---:|---:|")
        lines += [f"| {r.kind} | {r.entries} | {r.said} | {r.right} |" for r in rows]
        for row in rows:
            for title, names in (("never said", row.never_said), ("never right", row.never_right)):
                if names:
                    lines += ["", f"{row.kind}, {title}: {'; '.join(names)}."]
    return "\n".join(lines) + "\n"
