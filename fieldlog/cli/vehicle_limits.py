"""``fieldlog vehicle limit | limits``: what the vehicle's own manual asks for."""

from __future__ import annotations

import json
from pathlib import Path

import click

from fieldlog.cli.store_option import opened, store_option
from fieldlog.errors import UsageError
from fieldlog.model.limit import Relation

_RELATIONS = tuple(each.value for each in Relation if each is not Relation.IS)


@click.command()
@click.argument("key", metavar="VEHICLE")
@click.argument("component")
@click.argument("characteristic")
@click.argument("relation", type=click.Choice(_RELATIONS))
@click.argument("printed", metavar="VALUE")
@click.option("--source", required=True, help='Where it stands: "maker\'s manual p. 112".')
@click.option("--position", default="", help="Only at this place, such as front.")
@click.option("--severity", type=click.Choice(["minor", "major", "dangerous"]), default="major")
@click.option("--advice", default="", help="What to do when it is not met.")
@store_option
def limit(
    key: str,
    component: str,
    characteristic: str,
    relation: str,
    printed: str,
    source: str,
    position: str,
    severity: str,
    advice: str,
    folder: Path | None,
) -> None:
    """Give a VEHICLE a limit of its own, as printed in its manual. It gates, beside all others.

    \b
    Examples:
      fieldlog vehicle limit 1 "axle nut" torque between "85 to 95 N.m" --source "manual p. 112"
      fieldlog vehicle limit 1 "brake disc" thickness "at least" "4.5 mm" --source "stamped on it"
    """
    from fieldlog.aftercare.files import load_care
    from fieldlog.limits.own import own_limit

    made = own_limit(
        component, characteristic, relation, printed, source, load_care().catalogue,
        position=position, severity=severity, advice=advice,
    )  # fmt: skip
    with opened(folder) as store:
        found = store.vehicle(key)
        store.set_vehicle_limit(found.id, made)
    click.echo(f"vehicle {found.number}: {made.id} saved")


@click.command()
@click.argument("key", metavar="VEHICLE")
@click.option(
    "--from", "file", type=click.Path(path_type=Path, dir_okay=False, exists=True),
    help="Take every row of this limit pack.",
)  # fmt: skip
@click.option("--drop", multiple=True, metavar="ID", help="Let a row no longer count; repeatable.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@store_option
def limits(
    key: str, file: Path | None, drop: tuple[str, ...], as_json: bool, folder: Path | None
) -> None:
    """Show the limits of a VEHICLE's own; take them from a pack, or let them go.

    A row with the id of one of ours replaces it for this vehicle; ours stay untouched.

    \b
    Example:
      fieldlog vehicle limits 1 --from roadster.toml
    """
    from fieldlog.aftercare.files import load_care
    from fieldlog.limits.pack_faults import pack_faults
    from fieldlog.limits.packs import faults_error, read_packs

    packs = read_packs([file]) if file is not None else ()
    faults = pack_faults(packs, load_care().catalogue)
    if faults:
        raise faults_error(faults)
    with opened(folder) as store:
        found = store.vehicle(key)
        known = {each.id for each in found.limits}
        missing = [name for name in drop if name not in known]
        if missing:
            raise UsageError(f"the vehicle has no limit {missing[0]!r}", where="--drop")
        for pack in packs:
            for row in pack.limits:
                store.set_vehicle_limit(found.id, row)
        for name in drop:
            store.drop_vehicle_limit(found.id, name)
        found = store.vehicle(found.id)
    if as_json:
        from fieldlog.words.as_json import limit_json

        click.echo(json.dumps([limit_json(each) for each in found.limits]))
        return
    for each in found.limits:
        at = each.applies.get("position", "")
        what = f"{at} {each.component} {each.characteristic}".strip()
        click.echo(f"{each.id}  {what} {each.relation} {each.printed}; {each.source}")


COMMANDS = (limit, limits)
