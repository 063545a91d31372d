"""``fieldlog photos``: read, align, import and attach photos."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import click

from fieldlog.errors import PartialError
from fieldlog.photos.facts import PhotoFacts


@click.group()
def photos() -> None:
    """Read photos, find their camera's clock error, and put them with the right findings.

    \b
    Example:
      fieldlog photos scan DCIM/
    """


@photos.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="One JSON object per file and line.")
def scan(folder: Path, as_json: bool) -> None:
    """Say for every file in FOLDER (and below) when, with what and how it was taken.

    Files are judged by content, not by name. Exit code 9 when some could not be read.

    \b
    Example:
      fieldlog photos scan DCIM/ --json
    """
    from fieldlog.photos.scan import scan_folder

    unread = 0
    total = 0
    for name, facts in scan_folder(folder, datetime.now(UTC).date()):
        total += 1
        unread += facts.unread
        if as_json:
            click.echo(json.dumps(facts.scan_row(name)))
        else:
            click.echo(_line(name, facts))
    if unread:
        raise PartialError(
            f"{unread} of {total} files could not be read (each is named above)",
            where=str(folder),
            todo="copy those files again from the camera",
        )


def _line(name: str, facts: PhotoFacts) -> str:
    """One readable line: time, kind, camera, name and what is wrong."""
    time = f"{facts.capture_local or '-'}{facts.offset or ''}"
    text = f"{time:<32} {facts.kind:<8} {facts.camera or '-':<32} {name}"
    return f"{text}  ! {facts.problem}" if facts.problem else text
