"""``fieldlog inspection jobs | open``: what follows from an inspection, and what of it is open."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fieldlog.cli.language_option import language_option
from fieldlog.cli.store_option import store_option, workshop
from fieldlog.words.telling import key as named
from fieldlog.words.telling import say, told_in

if TYPE_CHECKING:
    from fieldlog.aftercare.crosschecks import Unanswered
    from fieldlog.shop.workshop import Workshop
    from fieldlog.store.records import InspectionRecord

_key = click.argument("key", metavar="[INSPECTION]", default="last")
_json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")


@click.command()
@_key
@click.option("--cautions", "all_cautions", is_flag=True, help="Show every caution of the work.")
@_json_option
@store_option
@language_option
def jobs(key: str, all_cautions: bool, as_json: bool, folder: Path | None) -> None:
    """Show what to do and to buy after an INSPECTION, in the order the work is done.

    The cautions of that work come first, those of what is most dangerous; the report has all of them.

    Torque values are the vehicle's own first; a guideline is advice only, where a fact such as
    thread_caliper_bolt="M8 8.8" names the fastener.

    \b
    Example:
      fieldlog inspection jobs last
      fieldlog inspection jobs last --cautions
    """
    from fieldlog.aftercare.job_lines import shopping
    from fieldlog.cli.care_lines import job_text
    from fieldlog.cli.terminal import Terminal
    from fieldlog.cli.verdict_lines import caution_lines
    from fieldlog.limits.cautions import cautions_of_work, foremost
    from fieldlog.report.follows import cross_json, job_json, needed_json
    from fieldlog.report.lines import needed

    with workshop(folder, reading=True) as shop, ExitStack() as told:
        record = shop.store.inspection_record(key)
        if not as_json:
            told.enter_context(told_in(shop.telling(record.inspection)))
        lines = shop.jobs(record)
        crossed = shop.cross_checks(record)
        worked = [(name, line.severity) for line in lines for name in line.components]
        warned = cautions_of_work(worked, shop.care.catalogue)
        shown = warned if all_cautions else foremost(worked, shop.care.catalogue)
        bought = shopping(lines)
        if as_json:
            numbers = {each.id: each.number for each in record.findings}
            document = {
                "cautions": list(warned),
                "jobs": [job_json(line, numbers) for line in lines],
                "shopping": [needed_json(each) for each in bought],
                "cross_checks": [cross_json(each) for each in crossed],
            }
            click.echo(json.dumps(document))
            return
        if not lines:
            click.echo(say("no job follows from the findings"))
            return
        for caution in caution_lines(map(say, shown)):
            Terminal.here().lines.print(caution)
        if hidden := len(warned) - len(shown):
            click.echo(
                f"  {say('{hidden} more cautions', hidden=hidden)}: fieldlog inspection jobs {key} --cautions"
            )
        for number, line in enumerate(lines, start=1):
            first, *rest = job_text(line)
            click.echo(f"{number:>2}. {first}")
            for more in rest:
                click.echo(more)
        click.echo(f"{say('to buy')}:" if bought else say("to buy: nothing"))
        for each in bought:
            click.echo(f"    {needed(each)}")
        _still_to_look_at(crossed)


@click.command("open")
@_key
@_json_option
@store_option
@language_option
def open_(key: str, as_json: bool, folder: Path | None) -> None:
    """Show what of the vehicle's checklist nobody has looked at yet, stage by stage.

    An item is done when all there is to see of it was: of a tyre tread, pressure and sidewall.

    \b
    Example:
      fieldlog inspection open
    """
    from fieldlog.aftercare.checklist import told
    from fieldlog.report.follows import cross_json, left_json

    with workshop(folder, reading=True) as shop:
        record = shop.store.inspection_record(key)
        state, crossed = shop.progress(record), shop.cross_checks(record)
        language = shop.telling(record.inspection)
    if as_json:
        document = {
            "open": [item.key for item in state.open],
            "left": [left_json(each) for each in state.left],
            "checked": [item.key for item in state.checked],
            "skipped": {item.key: reason for item, reason in state.skipped},
            "not_due": [item.key for item in state.not_due],
            "cross_checks": [cross_json(each) for each in crossed],
        }
        click.echo(json.dumps(document))
        return
    with told_in(language):
        for stage, texts in told(state.left).items():
            click.echo(f"{say(stage.name)} ({say(stage.about)})")
            for text in texts:
                click.echo(f"    {text}")
        _still_to_look_at(crossed)
        left_out = "".join(
            f"\n  {say('left out')}: {named(item.component, item.position, item.key)} ({why})"
            for item, why in state.skipped
        )
        rest = (
            say(", {count} checked within the month", count=len(state.not_due))
            if state.not_due
            else ""
        )
        counts = say(
            "{open} open, {checked} checked", open=len(state.open), checked=len(state.checked)
        )
        click.echo(f"{counts}{rest}{left_out}")


def _still_to_look_at(crossed: Sequence[Unanswered]) -> None:
    from fieldlog.report.lines import cross_check

    if crossed:
        click.echo(say("still to be looked at, after what was found:"))
    for each in crossed:
        click.echo(f"    {cross_check(each)}")


def what_follows(shop: Workshop, record: InspectionRecord) -> Iterator[str]:
    """The conclusion, the jobs and what comes due on the day of the inspection, a line each."""
    from fieldlog.aftercare.due import When
    from fieldlog.cli.care_lines import job_text
    from fieldlog.report.lines import due_row

    yield shop.conclusion(record).headline
    for line in shop.jobs(record):
        yield f"to do: {next(job_text(line))}"
    day, unit = record.inspection.started_at.date(), record.vehicle.unit
    items = shop.due(record.vehicle, day, until=record.inspection).due
    for item in items:
        if item.when is not When.UNKNOWN:
            row = due_row(item, unit)
            yield f"due ({row.nearness}): {row.what} by {row.by}"
    unknown = [item.component for item in items if item.when is When.UNKNOWN]
    if unknown:
        yield f"never recorded as done: {', '.join(unknown)}"


COMMANDS = (jobs, open_)
