"""The intervals, the default walk and the facts that shape it as one page of Markdown (pure)."""

from __future__ import annotations

from collections.abc import Iterator

from fieldlog.aftercare.due import Interval
from fieldlog.aftercare.plan import Care
from fieldlog.aftercare.walk_list import DefaultWalk
from fieldlog.quantities.units import convert

TITLE = "# Usual intervals, what wears, and the default walk"
MADE_BY = "fieldlog vehicle intervals --markdown > docs/intervals.md"


def every_text(interval: Interval) -> str:
    """``12 months or 6000 mi``, ``2 x new chain``, or ``when worn``."""
    parts = []
    if interval.months is not None:
        parts.append("1 month" if interval.months == 1 else f"{interval.months} months")
    if interval.km is not None:
        miles = convert(interval.km, "km", "mi")
        shown = f"{miles} mi" if miles.denominator == 1 else f"{float(interval.km):g} km"
        parts.append(shown)
    if interval.count is not None:
        parts.append(f"{interval.count} x {interval.of}")
    told = " or ".join(parts) or "when worn"
    return f"{told}, once, after {', '.join(interval.after)}" if interval.after else told


def _walk(name: str, walk: DefaultWalk) -> Iterator[str]:
    """One walk as a table."""
    yield f"## The walk `{name}`: {walk.about}"
    yield ""
    yield "| system | item | what has to be seen (stage) | also | needs | how often |"
    yield "|---|---|---|---|---|---|"
    for place in walk.places:
        item = place.item
        needs = ", ".join(f"{key}={value}" for key, value in place.needs.items())
        often = "monthly" if item.monthly else "every time"
        seen = ", ".join(f"{each.name or 'it'} ({each.stage.name})" for each in item.sees)
        also = ", ".join((*item.also, *item.all_in))
        yield f"| {item.system} | {item.key} | {seen} | {also} | {needs} | {often} |"
    yield ""


def page(care: Care) -> str:
    """The whole page."""
    return "\n".join(_lines(care)) + "\n"


def _lines(care: Care) -> Iterator[str]:
    yield TITLE
    yield ""
    yield f"Generated from the data: `{MADE_BY}`."
    yield ""
    yield "## Intervals"
    yield ""
    yield "| id | work | every | needs | source | status |"
    yield "|---|---|---|---|---|---|"
    for each in care.intervals.rows.values():
        needs = ", ".join(f"{key}={value}" for key, value in each.needs.items())
        every = every_text(each)
        yield f"| {each.id} | {each.do} | {every} | {needs} | {each.source} | {each.status} |"
    yield ""
    yield "## What makes a due item of its wear"
    yield ""
    for component, characteristic in care.intervals.wears:
        yield f"* {component}: {characteristic}"
    yield ""
    yield "## Facts that shape the walk"
    yield ""
    yield "| fact | about | values | when nobody set it |"
    yield "|---|---|---|---|"
    for fact in care.walk.facts.values():
        unset = fact.assumed or "everything that needs it is asked for"
        yield f"| {fact.key} | {fact.about} | {', '.join(fact.choices)} | {unset} |"
    yield ""
    yield "## Stages"
    yield ""
    for stage in care.walk.stages.values():
        yield f"* {stage.name}: {stage.about}"
    yield ""
    yield f"Read and no look at the part: {', '.join(care.walk.tells_nothing)}."
    yield ""
    yield from _walk("usual", care.walk)
    for name, walk in care.others.items():
        yield from _walk(name, walk)
    yield "## Fasteners a job undoes"
    yield ""
    yield "| job on | fasteners |"
    yield "|---|---|"
    for component, fasteners in care.work.undoes.items():
        yield f"| {component} | {', '.join(fasteners)} |"
