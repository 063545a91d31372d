"""``fieldlog bundle``: an inspection or a vehicle as one file that anybody can check and merge."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fieldlog.cli.handover import fetch, receive, send
from fieldlog.cli.key import pin_option, signer_for
from fieldlog.cli.store_option import is_record, opened, store_option, workshop
from fieldlog.config import store_folder
from fieldlog.errors import StoreError
from fieldlog.words.english import counted, originals

if TYPE_CHECKING:
    from fieldlog.bundle.checking import Content

_file = click.argument("file", type=click.Path(path_type=Path))


@click.group()
def bundle() -> None:
    """One file with a whole inspection or vehicle: rows, clips, photos and what proves them.

    Whoever gets it needs no trust in the sender: `bundle verify`, or the page that `bundle page` writes,
    checks it, in any browser and without a network.

    \b
    Examples:
      fieldlog bundle make last --out handed-over/
      fieldlog bundle verify handed-over/inspection-2026-05-04-1.zip
      fieldlog bundle merge inspection-2026-05-04-1.zip
    """


@bundle.command()
@click.argument("key", metavar="[INSPECTION]", default="last")
@click.option("--vehicle", default=None, help="A vehicle with all its inspections instead.")
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path(),
    help="Folder for the file.  [default: this one]",
)
@click.option("--sign", "name", default=None, metavar="NAME", help="Sign with the key of NAME.")
@pin_option
@store_option
def make(
    key: str,
    vehicle: str | None,
    out: Path,
    name: str | None,
    pin_file: Any,
    folder: Path | None,
) -> None:
    """Make a bundle of an INSPECTION (number, id or `last`), or of a vehicle.

    It is signed with the key of the person who is named, else with that of the record itself, and verified
    before its name is printed. Any archive program opens it.

    \b
    Examples:
      fieldlog bundle make last --sign "A. Smith"
      fieldlog bundle make --vehicle "blue roadster" --out handed-over/
    """
    from fieldlog.shop.witness import keyring

    with workshop(folder, reading=True) as shop:
        ring = keyring(shop.store)
        signer = None
        if name is not None:
            signer = signer_for(ring, name, pin_file, False) or ring.open(name, "")
        made = shop.bundle(key, vehicle=vehicle, out=out, signer=signer)
    click.echo(str(made))


@bundle.command()
@_file
@click.option(
    "--against",
    multiple=True,
    metavar="FILE|TEXT",
    help="Hold it against a report, a checkpoint, or the text of a QR code; repeatable.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def verify(file: Path, against: tuple[str, ...], as_json: bool) -> None:
    """Check a bundle FILE without any record and without trust in whoever sent it.

    Everything that is wrong with it is named; the exit code is then 8. That it is an older one, or one
    written anew by its sender, shows when it is held --against a report.

    \b
    Examples:
      fieldlog bundle verify inspection-2026-05-04-1.zip
      fieldlog bundle verify inspection-2026-05-04-1.zip --against report.html
    """
    from dataclasses import replace

    from fieldlog.bundle.checking import check_bundle, held_against
    from fieldlog.shop.proving import witnesses
    from fieldlog.store.repository import utc_now

    content = check_bundle(file, utc_now())
    shown: list[str] = []
    for each in (witness for told in against for witness in witnesses(told)):
        faults, proved = held_against(content, each.checkpoint, each.held_by)
        content = replace(content, faults=(*content.faults, *faults))
        shown += proved
    if as_json:
        click.echo(json.dumps(_document(content)))
    else:
        click.echo(f"{content.kind} {content.id}" if content.kind else "no bundle of ours")
        click.echo(f"{counted(len(content.rows), 'row')}, {originals(len(content.media))}")
        for line in (*(f"  {fault}" for fault in content.faults), *content.told, *shown):
            click.echo(line)
    if content.faults:
        raise StoreError(
            f"the bundle cannot be trusted ({counted(len(content.faults), 'fault')})",
            where=str(file),
            todo="ask whoever sent it for another copy",
        )
    if not as_json:
        click.echo(proven(content))


@bundle.command()
@_file
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@store_option
def merge(file: Path, as_json: bool, folder: Path | None) -> None:
    """Add what a bundle FILE has and the record has not: rows, clips and photos.

    It is checked first; of one with a fault nothing is taken. Merging again changes nothing, and the order
    of several does not matter.

    \b
    Example:
      fieldlog bundle merge inspection-2026-05-04-1.zip
    """
    from fieldlog.bundle.checking import check_bundle
    from fieldlog.bundle.checking import merge as merge_bundle
    from fieldlog.store.repository import utc_now

    if not is_record(folder or store_folder()):
        check_bundle(file, utc_now())  # nothing is made here for what is no bundle
    with opened(folder, new=True) as ours:
        merged = merge_bundle(ours, file, utc_now())
    if as_json:
        told = {"rows": merged.rows, "originals": merged.originals}
        click.echo(
            json.dumps(told | {"rows_there": merged.rows_there, "fingerprint": merged.fingerprint})
        )
        return
    if merged.rows:
        click.echo(
            f"{merged.rows} of {counted(merged.rows_there, 'row')} came in, {originals(merged.originals)}"
        )
    else:
        click.echo(f"nothing new: all that is in it ({counted(merged.rows_there, 'row')}) is here")
    from fieldlog.cli.store import rivalled

    for record, finding in merged.rivalled:
        click.echo(f"inspection {record.inspection.number}: {rivalled(record, finding)}")
    click.echo(f"fingerprint {merged.fingerprint}")


@bundle.command()
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    default=Path("verify-bundle.html"),
    show_default=True,
    help="The file to write.",
)
def page(out: Path) -> None:
    """Write the page that checks bundles in any browser, without a network and without fieldlog.

    \b
    Example:
      fieldlog bundle page --out verify-bundle.html
    """
    from fieldlog.bundle.make import whole
    from fieldlog.bundle.page import page as text

    with whole(out) as partial:
        partial.write_text(text(), encoding="utf-8")
    click.echo(str(out))


def proven(content: Content) -> str:
    """What is proven of a bundle without fault."""
    from fieldlog.proof import note, sshsig

    one = content.checkpoint
    assert one is not None  # a bundle without one has a fault
    when = f"{one.at:%Y-%m-%d %H:%M} UTC" if one.at else "no time that can be read"
    if not one.signature:
        who = "not signed"
    else:
        name = one.one("by")
        whose = f"as {note.plain(name)} with key" if name else "with the key of a record,"
        who = f"signed {whose} {sshsig.fingerprint(one.key)}"
    return (
        f"agrees with itself, and is whole by checkpoint {one.size} of {when} ({who}): whose key that is, "
        "you have to know; hold it against a report of that record, too"
    )


def _document(content: Content) -> dict[str, object]:
    return {
        "agrees": not content.faults,
        "of": {"kind": content.kind, "id": content.id},
        "rows": len(content.rows),
        "media": len(content.media),
        "checkpoint": content.checkpoint.text if content.checkpoint else None,
        "faults": list(content.faults),
        "told": list(content.told),
    }


for _command in (send, fetch, receive):
    bundle.add_command(_command)
