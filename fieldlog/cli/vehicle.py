"""``fieldlog vehicle``: the machines under care."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fieldlog.cli import vehicle_care, vehicle_limits
from fieldlog.cli.store_option import distance, opened, pairs, store_option, sure_option
from fieldlog.errors import UsageError
from fieldlog.words import tell
from fieldlog.words.as_json import exact, picked
from fieldlog.words.english import counted

if TYPE_CHECKING:
    from fieldlog.store.records import Vehicle


@click.group()
def vehicle() -> None:
    """Keep the machines under care: class, sizes, odometer, limits of their own.

    \b
    Example:
      fieldlog vehicle add "blue roadster" --set vehicle_class=L3e --odometer "12345 km"
    """


for _care in (*vehicle_care.COMMANDS, *vehicle_limits.COMMANDS):
    vehicle.add_command(_care)


@vehicle.command()
@click.argument("name")
@click.option("--set", "facts", multiple=True, metavar="KEY=VALUE", help="A fact; repeatable.")
@click.option("--odometer", metavar="'N km|mi'", help="Distance done so far.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@store_option
def add(
    name: str, facts: tuple[str, ...], odometer: str | None, as_json: bool, folder: Path | None
) -> None:
    """Add a vehicle called NAME.

    \b
    Example:
      fieldlog vehicle add "red single" --set rim=steel --set chain=520 --odometer "8000 mi"
    """
    told, done = _meant(pairs(facts)), distance(odometer)  # before a record is made for them
    with opened(folder, new=True) as store:
        so = [each.number for each in store.vehicles() if each.name == name.strip()]
        added = store.add_vehicle(name, facts=told, odometer=done)
    _print(added, as_json)
    if so:
        others = "no. " + ", no. ".join(map(str, so))
        note = f"{others} {'is' if len(so) == 1 else 'are'} called so too: by name the newest is meant, no. {added.number}"
        click.echo(f"fieldlog: {note}", err=True)


@vehicle.command("list")
@click.option("--json", "as_json", is_flag=True, help="One JSON object per vehicle and line.")
@store_option
def list_(as_json: bool, folder: Path | None) -> None:
    """List every vehicle.

    \b
    Example:
      fieldlog vehicle list
    """
    with opened(folder, reading=True) as store:
        for each in store.vehicles():
            _print(each, as_json)


@vehicle.command()
@click.argument("key", metavar="VEHICLE")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@store_option
def show(key: str, as_json: bool, folder: Path | None) -> None:
    """Show a VEHICLE (number, name or id) with its inspections.

    \b
    Example:
      fieldlog vehicle show 1
    """
    with opened(folder, reading=True) as store:
        found = store.vehicle(key)
        inspections = store.inspections(found.id)
    if as_json:
        document = _document(found)
        document["inspections"] = [each.number for each in inspections]
        click.echo(json.dumps(document))
        return
    _print(found, as_json=False)
    for fact, value in found.facts.items():
        click.echo(f"  {fact} = {value}")
    for reading in found.odometer:
        click.echo(f"  odometer {tell.quantity(reading.distance)}  {reading.read_at:%Y-%m-%d}")
    for entry in found.log:
        told = ", ".join(f"{key} {value}" for key, value in entry.data.items())
        click.echo(f"  {entry.kind}: {told}")
    for limit in found.limits:
        click.echo(f"  own limit: {limit.component} {limit.characteristic} ({limit.source})")
    for each in inspections:
        click.echo(
            f"  inspection {each.number}  {each.started_at:%Y-%m-%d}  {counted(each.findings, 'finding')}"
        )


@vehicle.command("set")
@click.argument("key", metavar="VEHICLE")
@click.argument("facts", nargs=-1, required=True, metavar="KEY=VALUE...")
@store_option
def set_(key: str, facts: tuple[str, ...], folder: Path | None) -> None:
    """Give facts of a VEHICLE newer values; an empty value takes a fact back.

    \b
    Example:
      fieldlog vehicle set 1 rim=alloy chain=525
    """
    with opened(folder) as store:
        found = store.vehicle(key)
        store.set_facts(found.id, _meant(pairs(facts)))
    click.echo(f"vehicle {found.number}: {len(facts)} facts saved")


@vehicle.command()
@click.argument("key", metavar="VEHICLE")
@click.argument("name")
@store_option
def rename(key: str, name: str, folder: Path | None) -> None:
    """Give a VEHICLE another NAME, also in the inspections it had; the old one stays in its log.

    \b
    Example:
      fieldlog vehicle rename "red single" "red single, sold 2026"
    """
    with opened(folder) as store:
        found = store.vehicle(key)
        store.rename(found.id, name)
    click.echo(f"vehicle {found.number}: {found.name} is now called {name.strip()}")


@vehicle.command()
@click.argument("key", metavar="VEHICLE")
@click.argument("reading", metavar="'N km|mi'")
@sure_option
@store_option
def odometer(key: str, reading: str, sure: bool, folder: Path | None) -> None:
    """Save an odometer reading of a VEHICLE.

    One below the last that is known, or far above it, is saved only with --sure.

    \b
    Examples:
      fieldlog vehicle odometer 1 "12480 km"
      fieldlog vehicle odometer 1 "12 km" --sure
    """
    done = distance(reading)
    with opened(folder) as store:
        found = store.vehicle(key)
        if done is not None:
            store.add_odometer(found.id, done, sure=sure)
    click.echo(f"vehicle {found.number}: odometer {reading} saved")


def _meant(facts: dict[str, str]) -> dict[str, str]:
    """``facts`` when each can be meant; ``UsageError`` for a value that a known fact cannot hold.

    Facts that nothing here knows (make, year...) are kept as they are said; where one is nearly a known one, that is told.
    """
    from difflib import get_close_matches

    from fieldlog.aftercare.equipment import unknown
    from fieldlog.aftercare.files import load_care
    from fieldlog.limits.context import SETTINGS, parse_context

    known = {*SETTINGS, *(fitted := load_care().walk.facts)}
    plain = {key: key.strip().lower().replace("-", "_").replace(" ", "_") for key in facts}
    facts = {(plain[key] if plain[key] in known else key): value for key, value in facts.items()}
    for key in facts.keys() - known:
        if close := get_close_matches(plain[key], known, 1, 0.8):
            click.echo(
                f"fieldlog: {key}: no limit and no item asks for that; was {close[0]} meant? Kept as it is said.",
                err=True,
            )
    given = {key: value for key, value in facts.items() if value}
    parse_context(None, {key: value for key, value in given.items() if key in SETTINGS})
    wrong = unknown(given, fitted)
    if wrong:
        raise UsageError(wrong[0])
    return facts


def _print(vehicle: Vehicle, as_json: bool) -> None:
    if as_json:
        click.echo(json.dumps(_document(vehicle)))
        return
    newest = vehicle.odometer[-1].distance if vehicle.odometer else None
    done = f"  {tell.quantity(newest)}" if newest else ""
    click.echo(f"{vehicle.number:>4}  {vehicle.name}{done}")


def _document(vehicle: Vehicle) -> dict[str, Any]:
    return {
        **picked(vehicle, "number", "id", "name", "facts"),
        "odometer": [
            {**exact(o.distance.value), "unit": o.distance.unit, "read_at": o.read_at.isoformat()}
            for o in vehicle.odometer
        ],
        "limits": [limit.id for limit in vehicle.limits],
    }
