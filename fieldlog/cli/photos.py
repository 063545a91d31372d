"""``fieldlog photos``: read, import and watch photos, and show the time code."""

from __future__ import annotations

import json
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fieldlog.cli.photos_look import compare, mark_up, sheet
from fieldlog.cli.photos_place import align, attach, echo_placed, list_, move, tray
from fieldlog.cli.store_option import opened, store_option
from fieldlog.errors import PartialError, UsageError
from fieldlog.whole import reason
from fieldlog.words.english import counted

if TYPE_CHECKING:
    from fieldlog.photos.facts import PhotoFacts
    from fieldlog.photos.importer import ImportResult, Progress
    from fieldlog.store.repository import Repository

_PROGRESS_AFTER = 50
_TRIES = 3
"""So often a watched file is read whose reader is too slow: then it is another program's doing no more."""


@click.group()
def photos() -> None:
    """Read photos, find their camera's clock error, and put them with the right findings.

    \b
    Examples:
      fieldlog photos scan DCIM/
      fieldlog photos import DCIM/ --inspection last
      fieldlog photos tray
    """


for _command in (align, attach, compare, list_, mark_up, move, sheet, tray):
    photos.add_command(_command)


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
        click.echo(json.dumps(facts.scan_row(name)) if as_json else _line(name, facts))
    if not total:
        click.echo(f"fieldlog: {folder}: no photos are in this folder", err=True)
    if unread:
        raise PartialError(
            f"{unread} of {counted(total, 'file')} could not be read (each is named above)",
            where=str(folder),
            todo="copy those files again from the camera, or take the JPEG beside a raw file",
        )


@photos.command("import")
@click.argument("directory", metavar="FOLDER", type=click.Path(path_type=Path))
@click.option("--inspection", "key", default="last", show_default=True, help="Where they belong.")
@click.option("--no-attach", is_flag=True, help="Only keep them; place them later.")
@click.option("--all-codes", is_flag=True, help="Look for the time code in every photo.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@store_option
def import_(
    directory: Path,
    key: str,
    no_attach: bool,
    all_codes: bool,
    as_json: bool,
    folder: Path | None,
) -> None:
    """Keep every photo in FOLDER (and below) with an inspection and place it.

    Originals are kept byte for byte; importing the same photo again adds nothing, and an import
    that was interrupted is finished by running it again. Exit code 9 when some files were left out.

    \b
    Example:
      fieldlog photos import DCIM/ --inspection last
    """
    from fieldlog.photos.importer import import_folder
    from fieldlog.photos.placing import place_photos

    today = datetime.now(UTC).date()
    with opened(folder) as store:
        head = store.inspection(key)
        with _progress("importing") as progress:
            result = import_folder(store, head.id, directory, today, progress=progress)
        _make_thumbnails(store, result, today)
        if not (result.added or result.known or result.left):
            click.echo(f"fieldlog: {directory}: no photos are in this folder", err=True)
        if as_json:
            click.echo(json.dumps(_import_row(result)))
        else:
            _echo_import(result)
        if not no_attach:
            placed = place_photos(store, head.id, today, everywhere=all_codes)
            if not as_json:
                echo_placed(placed, store.inspection_record(head.id))
    unread = result.unread
    if unread:
        raise PartialError(
            f"{counted(len(unread), 'file')} could not be read (each is named above)",
            where=str(directory),
            todo="copy those files again from the camera, or take the JPEG beside a raw file, and import again",
        )


@photos.command()
@click.argument("directory", metavar="FOLDER", type=click.Path(path_type=Path))
@click.option("--inspection", "key", default="last", show_default=True, help="Where they belong.")
@click.option("--for", "seconds", type=float, default=None, help="Stop after so many seconds.")
@store_option
def watch(directory: Path, key: str, seconds: float | None, folder: Path | None) -> None:
    """Import photos from FOLDER as they arrive, each once it is complete. Ctrl-C ends it.

    \b
    Example:
      fieldlog photos watch ~/Phone/Camera --inspection last
    """
    from fieldlog.photos.importer import import_files
    from fieldlog.photos.placing import place_photos
    from fieldlog.photos.watch import arrivals

    until = None if seconds is None else time.monotonic() + seconds
    with opened(folder) as store:
        head = store.inspection(key)
        click.echo(f"watching {directory} for inspection {head.number}; Ctrl-C ends it")
        try:
            late: list[str] = []
            tried = Counter[str]()
            for ready in arrivals(directory, clock=time.monotonic, sleep=time.sleep):
                if wanted := [*ready, *late]:
                    today = datetime.now(UTC).date()
                    result = import_files(store, head.id, directory, wanted, today)
                    tried.update(wanted)
                    late = [each.file for each in result.left if each.later]
                    late = [file for file in late if tried[file] < _TRIES]
                    _make_thumbnails(store, result, today)
                    _echo_import(result)
                    if result.added:
                        echo_placed(
                            place_photos(store, head.id, today), store.inspection_record(head.id)
                        )
                if until is not None and time.monotonic() >= until and not late:
                    return
        except KeyboardInterrupt:
            click.echo("stopped watching; what arrived is kept")


@photos.command()
@click.option("--png", type=click.Path(path_type=Path, dir_okay=False), help="Write a picture.")
@click.option("--once", is_flag=True, help="Show it once instead of every second.")
@click.option("--for", "seconds", type=float, default=None, help="Stop after so many seconds.")
def code(png: Path | None, once: bool, seconds: float | None) -> None:
    """Show the time code: photograph it with each camera, at the start and at the end.

    It holds UTC to the second; a photo of it tells how far the camera's clock is off.

    \b
    Examples:
      fieldlog photos code
      fieldlog photos code --png code.png
    """
    from fieldlog.photos.timecode import code_text, png_code, terminal_code

    if png is not None:
        moment = datetime.now(UTC)
        try:
            png.write_bytes(png_code(moment))
        except OSError as error:
            why = reason(error)
            raise UsageError(why, where=str(png), todo="name a file that can be written") from error
        click.echo(f"{png}: {code_text(moment)}; show it within a second, or it is late")
        return
    until = None if seconds is None else time.monotonic() + seconds
    try:
        while True:
            moment = datetime.now(UTC)
            if not once:
                click.clear()
            click.echo(terminal_code(moment))
            click.echo(f"{code_text(moment)}   photograph this with each camera")
            if once or (until is not None and time.monotonic() >= until):
                return
            time.sleep(1.0 - datetime.now(UTC).microsecond / 1e6)
    except KeyboardInterrupt:
        click.echo("")


@contextmanager
def _progress(what: str) -> Iterator[Progress]:
    """A progress bar on stderr, shown only when there is enough to wait for."""
    from fieldlog.cli.terminal import Terminal

    with Terminal.here().progress() as bar:
        task = None

        def step(done: int, total: int) -> None:
            nonlocal task
            if total < _PROGRESS_AFTER:
                return
            if task is None:
                task = bar.add_task(what, total=total)
            bar.update(task, completed=done)

        yield step


def _make_thumbnails(store: Repository, result: ImportResult, today: object) -> None:
    from datetime import date

    from fieldlog.photos.derived import DerivedFolder
    from fieldlog.photos.importer import kept_facts

    assert isinstance(today, date)
    kept = [(media, name) for name, media in result.added]
    pairs = zip([m for m, _ in kept], kept_facts(store, kept, today), strict=True)
    with _progress("small copies") as progress:
        copies = DerivedFolder(store.folder).small_copies(pairs)
        for done, _copy in enumerate(copies, start=1):
            progress(done, len(kept))


def _import_row(result: ImportResult) -> dict[str, object]:
    return {
        "added": [name for name, _media in result.added],
        "known": [name for name, _media in result.known],
        "left_out": [{"file": left.file, "problem": left.problem} for left in result.left],
        "doubtful": [{"file": left.file, "problem": left.problem} for left in result.doubtful],
    }


def _echo_import(result: ImportResult) -> None:
    for left in result.left:
        click.echo(f"left out   {left.file}: {left.problem}")
    for left in result.doubtful:
        click.echo(f"note       {left.file}: {left.problem}")
    click.echo(
        f"{counted(len(result.added), 'photo')} added, {counted(len(result.known), 'was', 'were')} already kept"
    )


def _line(name: str, facts: PhotoFacts) -> str:
    """One readable line: time, kind, camera, name and what is wrong."""
    moment = f"{facts.capture_local or '-'}{facts.offset or ''}"
    text = f"{moment:<32} {facts.kind:<8} {facts.camera or '-':<32} {name}"
    return f"{text}  ! {facts.problem}" if facts.problem else text
