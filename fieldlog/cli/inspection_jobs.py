"""``fieldlog inspection jobs | open``: what follows from an inspection, and what of it is open."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fieldlog.cli.store_option import opened, store_option

if TYPE_CHECKING:
    from fieldlog.aftercare.job_lines import JobLine
    from fieldlog.store.records import InspectionRecord
    from fieldlog.store.repository import Repository

_key = click.argument("key", metavar="[INSPECTION]", default="last")
_json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")


@click.command()
@_key
@_json_option
@store_option
def jobs(key: str, as_json: bool, folder: Path | None) -> None:
    """Show what to do and to buy after an INSPECTION, in the order the work is done.

    Torque values are the vehicle's own first; a guideline is advice only, where a fact such as
    thread_caliper_bolt="M8 8.8" names the fastener.

    \b
    Example:
      fieldlog inspection jobs last
    """
    from fieldlog.aftercare.job_lines import shopping
    from fieldlog.cli.care_lines import job_json, job_text

    with opened(folder) as store:
        record = store.inspection_record(key)
    lines = _jobs(record)
    bought = shopping(lines)
    if as_json:
        numbers = {each.id: each.number for each in record.findings}
        document = {
            "jobs": [job_json(line, numbers) for line in lines],
            "shopping": [{"item": name, "count": count} for name, count in bought],
        }
        click.echo(json.dumps(document))
        return
    if not lines:
        click.echo("no job follows from the findings")
        return
    for number, line in enumerate(lines, start=1):
        first, *rest = job_text(line)
        click.echo(f"{number:>2}. {first}")
        for text in rest:
            click.echo(text)
    click.echo("to buy:")
    for name, count in bought:
        click.echo(f"    {count} x {name}" if count > 1 else f"    {name}")


@click.command("open")
@_key
@_json_option
@store_option
def open_(key: str, as_json: bool, folder: Path | None) -> None:
    """Show what of the vehicle's checklist an INSPECTION has not checked yet.

    \b
    Example:
      fieldlog inspection open
    """
    from fieldlog.aftercare.files import load_care, past_of
    from fieldlog.aftercare.plan import checked_before, progress_of, vehicle_walk

    care = load_care()
    with opened(folder) as store:
        record = store.inspection_record(key)
        past = past_of(store, record.vehicle)
    walk = vehicle_walk(record.vehicle, care).items
    state = progress_of(record, walk, checked_before(past, walk, record.inspection))
    if as_json:
        document = {
            "open": [item.key for item in state.open],
            "checked": [item.key for item in state.checked],
            "skipped": {item.key: reason for item, reason in state.skipped},
            "not_due": [item.key for item in state.not_due],
        }
        click.echo(json.dumps(document))
        return
    for item in state.open:
        click.echo(f"{item.system:<20} {item.key}")
    left_out = "".join(f"\n  left out: {item.key} ({why})" for item, why in state.skipped)
    rest = f", {len(state.not_due)} checked within the month" if state.not_due else ""
    click.echo(f"{len(state.open)} open, {len(state.checked)} checked{rest}{left_out}")


def leave_out(store: Repository, record: InspectionRecord, text: str, reason: str) -> Iterator[str]:
    """Skip the items of the vehicle's checklist that ``text`` names; ``UsageError`` for none."""
    from fieldlog.aftercare.checklist import Skip, named
    from fieldlog.aftercare.files import load_care
    from fieldlog.aftercare.plan import skipped_event, vehicle_walk

    walk = vehicle_walk(record.vehicle, load_care()).items
    for item in named(walk, text):
        event = skipped_event(Skip(item.key, reason))
        store.add_event(record.inspection.id, event.name, event.text, data=event.data)
        yield item.key


def conclusion(store: Repository, record: InspectionRecord) -> str:
    """The sentence that says what the inspection amounts to."""
    from fieldlog.aftercare.files import load_care, past_of
    from fieldlog.aftercare.plan import checked_before, conclusion_of, progress_of, vehicle_walk

    walk = vehicle_walk(record.vehicle, load_care()).items
    checked = checked_before(past_of(store, record.vehicle), walk, record.inspection)
    return conclusion_of(record, progress_of(record, walk, checked)).headline


def what_follows(store: Repository, record: InspectionRecord) -> Iterator[str]:
    """The conclusion, the jobs and what comes due on the day of the inspection, a line each."""
    from fieldlog.aftercare.due import When
    from fieldlog.aftercare.files import load_care, past_of
    from fieldlog.aftercare.plan import plan
    from fieldlog.cli.care_lines import job_text
    from fieldlog.limits.packs import shipped_limits, with_own
    from fieldlog.report.lines import due_row

    yield conclusion(store, record)
    for line in _jobs(record):
        yield f"to do: {next(job_text(line))}"
    past = past_of(store, record.vehicle).until(record.inspection)
    limits = with_own(shipped_limits(), record.vehicle.limits)
    items = plan(past, load_care(), limits, record.inspection.started_at.date()).due
    for item in items:
        if item.when is not When.UNKNOWN:
            row = due_row(item, past.unit)
            yield f"due ({row.nearness}): {row.what} by {row.by}"
    unknown = [item.component for item in items if item.when is When.UNKNOWN]
    if unknown:
        yield f"never recorded as done: {', '.join(unknown)}"


def _jobs(record: InspectionRecord) -> tuple[JobLine, ...]:
    from fieldlog.aftercare.files import load_care
    from fieldlog.aftercare.job_lines import Judged, job_lines
    from fieldlog.limits.packs import shipped_limits, with_own

    care = load_care()
    judged = [
        Judged(each.id, each.finding, each.verdict)
        for each in record.findings
        if each.stands and each.verdict
    ]
    limits = with_own(shipped_limits(), record.vehicle.limits)
    return job_lines(judged, care.catalogue, limits, care.work, record.vehicle.facts)


COMMANDS = (jobs, open_)
