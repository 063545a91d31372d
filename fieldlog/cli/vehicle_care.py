"""``fieldlog vehicle trend | due | done | interval | checklist``: aftercare of one vehicle."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from pathlib import Path

import click

from fieldlog.cli.store_option import (
    as_day,
    distance,
    opened,
    store_option,
    sure_option,
    told_if_ahead,
    workshop,
)
from fieldlog.errors import UsageError

_vehicle_argument = click.argument("key", metavar="VEHICLE")
_json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
_on_option = click.option(
    "--on",
    "day",
    callback=as_day,
    default=None,
    metavar="DATE",
    help="As seen on this day.  [default: today]",
)


def _today(day: datetime | None) -> date:
    return day.date() if day is not None else date.today()


@click.command()
@_vehicle_argument
@click.option("--component", default=None, help="Only this component, such as tyre.")
@click.option("--position", default=None, help="Only at this place, such as rear.")
@click.option("--all", "everything", is_flag=True, help="Also what does not wear.")
@_on_option
@_json_option
@store_option
def trend(
    key: str,
    component: str | None,
    position: str | None,
    everything: bool,
    day: datetime | None,
    as_json: bool,
    folder: Path | None,
) -> None:
    """Show how what was measured on a VEHICLE wears, and when it meets its limit.

    A straight line is fitted by date and by distance; the dates and distances given hold with 95 %
    confidence. Three readings of the same part are needed. A reading that goes back by more than
    its uncertainty means a new part, and a new line.

    \b
    Example:
      fieldlog vehicle trend "blue roadster" --component tyre
    """
    from fieldlog.aftercare.files import load_care
    from fieldlog.cli.care_lines import trend_json, trend_lines

    care = load_care()
    if component is not None and care.catalogue.get(component) is None:
        raise UsageError(f"{component!r} is not in the catalogue", where="--component")
    with workshop(folder, reading=True) as shop:
        found = shop.vehicle(key)
        planned = shop.due(found, _today(day))
    for note in planned.notes:
        click.echo(f"fieldlog: {note}", err=True)
    wanted = [
        each
        for each in planned.trends
        if (component is None or each.component == component)
        and (position is None or each.position == position)
        and (
            everything or component or (each.component, each.characteristic) in care.intervals.wears
        )
    ]
    if as_json:
        click.echo(json.dumps([trend_json(each, found.unit) for each in wanted]))
        return
    if not wanted:
        click.echo("nothing that wears was measured yet")
    for each in wanted:
        for line in trend_lines(each, found.unit, drawn=True):
            click.echo(line)
        click.echo()


@click.command()
@_vehicle_argument
@_on_option
@_json_option
@store_option
def due(key: str, day: datetime | None, as_json: bool, folder: Path | None) -> None:
    """Show what comes due on a VEHICLE: from intervals, papers and wear, most urgent first.

    What was never entered as done is one line, as in the report; --json lists each.

    \b
    Example:
      fieldlog vehicle due "blue roadster"
    """
    from fieldlog.aftercare.due import folded
    from fieldlog.cli.care_lines import due_lines
    from fieldlog.report.follows import due_json

    with workshop(folder, reading=True) as shop:
        found = shop.vehicle(key)
        planned = shop.due(found, _today(day))
    for note in planned.notes:
        click.echo(f"fieldlog: {note}", err=True)
    items = planned.due
    if as_json:
        click.echo(json.dumps([due_json(item, found.unit) for item in items]))
        return
    for item in folded(items):
        for line in due_lines(item, found.unit):
            click.echo(line)


@click.command()
@_vehicle_argument
@click.argument("words", nargs=-1, required=True)
@_on_option
@click.option("--odometer", metavar="'N km|mi'", help="Distance done then.")
@sure_option
@store_option
def done(
    key: str,
    words: tuple[str, ...],
    day: datetime | None,
    odometer: str | None,
    sure: bool,
    folder: Path | None,
) -> None:
    """Save that work was done on a VEHICLE, in WORDS such as "brake fluid changed".

    Its interval starts anew; a part that was replaced begins a new wear trend.

    \b
    Examples:
      fieldlog vehicle done 1 brake fluid changed
      fieldlog vehicle done 1 "rear tyre replaced" --on 2026-04-02 --odometer "14200 mi"
    """
    from fieldlog.aftercare.done import DONE, done_entry, meant
    from fieldlog.aftercare.files import load_care

    if day is not None:
        told_if_ahead(day)
    text = " ".join(words)
    work = meant(text, load_care().intervals)
    read = distance(odometer)
    with opened(folder) as store:
        found = store.vehicle(key)
        if read is not None and not sure:
            store.hold_against_known(
                found.id, read, day.replace(tzinfo=UTC) if day else datetime.now(UTC)
            )
        for each in work:
            store.add_log(found.id, DONE, done_entry(text, each, _today(day), read))
    for each in work:
        place = f" ({each.position})" if each.position else ""
        click.echo(f"vehicle {found.number}: {each.interval.id}{place} done on {_today(day)}")


@click.command()
@_vehicle_argument
@click.argument("name", metavar="ID")
@click.option("--months", type=click.IntRange(1), default=None, help="Every so many months.")
@click.option("--every", default=None, metavar="'N km|mi'", help="Every so far.")
@click.option("--source", required=True, help='Where it stands: "maker\'s manual p. 45".')
@store_option
def interval(
    key: str, name: str, months: int | None, every: str | None, source: str, folder: Path | None
) -> None:
    """Give a VEHICLE its maker's interval for ID over the usual one; neither limit: never due.

    \b
    Example:
      fieldlog vehicle interval 1 "engine oil" --months 12 --every "8000 km" --source "manual p. 45"
    """
    from fieldlog.aftercare.done import INTERVAL, km_of
    from fieldlog.aftercare.files import load_care

    known = load_care().intervals.rows
    if name not in known:
        raise UsageError(f"{name!r} is no interval", todo="use one of: " + ", ".join(known))
    if not source.strip():
        raise UsageError("where does it stand?", where="--source", todo="name manual and page")
    km = km_of(distance(every))
    entry = {"id": name, "source": source.strip()}
    entry |= {"months": str(months)} if months is not None else {}
    entry |= {"km": str(km)} if km is not None else {}
    with opened(folder) as store:
        found = store.vehicle(key)
        store.add_log(found.id, INTERVAL, entry)
    click.echo(f"vehicle {found.number}: interval {name} saved")


@click.command()
@_vehicle_argument
@click.option("--add", multiple=True, metavar="ITEM", help="Put ITEM on the list; repeatable.")
@click.option("--remove", multiple=True, metavar="ITEM", help="Take ITEM off; repeatable.")
@click.option(
    "--move", nargs=2, multiple=True, metavar="ITEM BEFORE", help="Put ITEM before BEFORE."
)
@click.option("--monthly", multiple=True, metavar="ITEM", help="Ask for ITEM once a month.")
@click.option("--always", multiple=True, metavar="ITEM", help="Ask for ITEM every time again.")
@_json_option
@store_option
def checklist(
    key: str,
    add: tuple[str, ...],
    remove: tuple[str, ...],
    move: tuple[tuple[str, str], ...],
    monthly: tuple[str, ...],
    always: tuple[str, ...],
    as_json: bool,
    folder: Path | None,
) -> None:
    """Show the checklist of a VEHICLE, or change it.

    It starts from the usual walk without what the vehicle has not: set facts such as drive=shaft,
    rear_brake=drum, wheels=cast, cooling=air with `fieldlog vehicle set`.

    \b
    Examples:
      fieldlog vehicle checklist 1
      fieldlog vehicle checklist 1 --add "chain slider" --remove mirror --monthly "vent hose"
      fieldlog vehicle checklist 1 --move horn "front tyre"
    """
    from fieldlog.aftercare.done import CHECKLIST
    from fieldlog.aftercare.equipment import unknown
    from fieldlog.aftercare.files import load_care
    from fieldlog.aftercare.plan import vehicle_walk
    from fieldlog.aftercare.walk_list import Do, edited

    care = load_care()
    edits = [{"do": Do.ADD, "item": item} for item in add]
    edits += [{"do": Do.REMOVE, "item": item} for item in remove]
    edits += [{"do": Do.MOVE, "item": item, "to": before} for item, before in move]
    edits += [{"do": Do.MONTHLY, "item": item} for item in monthly]
    edits += [{"do": Do.ALWAYS, "item": item} for item in always]
    with opened(folder) as store:
        found = store.vehicle(key)
        items = vehicle_walk(found, care).items
        for edit in edits:  # all of them must fit before one is saved
            items = edited(items, edit, care.catalogue, care.walk.tells_nothing)
        for edit in edits:
            store.add_log(found.id, CHECKLIST, edit)
        walk = vehicle_walk(store.vehicle(found.id), care)
    for note in (*walk.notes, *unknown(found.facts, care.walk.facts)):
        click.echo(f"fieldlog: {note}", err=True)
    if as_json:
        shown = [
            {"item": i.key, "system": i.system, "component": i.component, "position": i.position,
             "monthly": i.monthly, "see": [sight.name for sight in i.sees if sight.name]}
            for i in walk.items
        ]  # fmt: skip
        click.echo(json.dumps(shown))
        return
    for item in walk.items:
        seen = ", ".join(sight.name for sight in item.sees if sight.name)
        what = f": {seen}" if seen else ""
        click.echo(f"{item.system:<20} {item.key}{what}{'  (monthly)' if item.monthly else ''}")


@click.command()
@click.option("--markdown", is_flag=True, help="Intervals, walk and facts as one page.")
def intervals(markdown: bool) -> None:
    """List the usual intervals; `fieldlog vehicle interval` sets a vehicle's own.

    
    Example:
      fieldlog vehicle intervals
    """
    from fieldlog.aftercare.files import load_care
    from fieldlog.aftercare.page import every_text, page

    care = load_care()
    if markdown:
        click.echo(page(care), nl=False)
        return
    for each in care.intervals.rows.values():
        click.echo(f"{each.id:<18} {every_text(each):<22} {each.do}")


COMMANDS = (trend, due, done, interval, intervals, checklist)
