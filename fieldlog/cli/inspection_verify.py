"""``fieldlog inspection verify``: what is proven of the record, and everything that is found wrong."""

from __future__ import annotations

import json
from pathlib import Path

import click

from fieldlog.cli.store_option import store_option
from fieldlog.config import store_folder
from fieldlog.errors import StoreError
from fieldlog.words.as_json import picked
from fieldlog.words.english import counted, originals


@click.command()
@click.argument("key", metavar="[INSPECTION]", default="")
@click.option(
    "--against",
    multiple=True,
    metavar="FILE|TEXT",
    help="Hold it against a report, a bundle, a checkpoint, or the text of a QR code; repeatable.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@store_option
def verify(key: str, against: tuple[str, ...], as_json: bool, folder: Path | None) -> None:
    """Check an INSPECTION, or the whole record, and say what is proven.

    Everything found wrong is named: a row changed, taken out, put in or moved, a clip, photo or small copy
    missing or changed, damaged pages, other tables or triggers; the exit code is then 8. The record is only
    read. By itself it can only agree with itself: rows cut off the end, and a record written anew from its
    first row, show when it is held --against what somebody else has. An INSPECTION by itself takes seconds in a
    large record: it and its vehicle in full, and the order of all rows behind it; what is left out is said.

    \b
    Examples:
      fieldlog inspection verify
      fieldlog inspection verify --against reports/inspection-2026-05-04-1.html
    """
    from fieldlog.shop.proving import prove
    from fieldlog.store.repository import utc_now

    found = prove(folder or store_folder(), key or None, against, utc_now())
    result = found.checked
    if as_json:
        document = {
            "agrees": not found.faults,
            **picked(found, "proven", "told", "faults"),
            **picked(result, "writers", "rows", "media", "elsewhere", "unread"),
            **picked(result, "fingerprint", "earlier"),
            "in_order": result.linked,
        }
        click.echo(json.dumps(document))
    else:
        click.echo(f"{counted(result.rows, 'row')}, {originals(result.media)}")
        click.echo(f"fingerprint {result.fingerprint}")
        if result.earlier:
            click.echo(f"on reports printed before records could merge: {result.earlier}")
        for fault in found.faults:
            click.echo(f"  {fault}")
        for line in (*found.told, *found.proven):
            click.echo(line)
    if found.faults:
        count = len(found.faults)
        raise StoreError(
            f"the record does not agree with itself ({count} fault{'s' if count > 1 else ''})"
            if found.checked.faults or not against
            else f"the record does not agree with what was held against it ({count})",
            todo="compare it with an earlier copy of this folder, or with what others hold of it",
        )
