"""Settings of the machine fieldlog runs on: the only module that reads the environment."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from fieldlog.errors import FieldlogError

VERSION = "0.1.0"
"""Of the program, as ``pyproject.toml`` has it."""


def store_folder(
    environ: Mapping[str, str] | None = None,
    *,
    platform: str = sys.platform,
    home: Path | None = None,
) -> Path:
    """Folder of the database and its media, unless a command names another with ``--store``.

    ``FIELDLOG_HOME`` when set; otherwise the platform's place for application data: on Linux
    ``$XDG_DATA_HOME`` or ``~/.local/share`` (XDG Base Directory Specification 0.8), on macOS
    ``~/Library/Application Support``, on Windows ``%LOCALAPPDATA%``. The folder need not exist.
    """
    env = os.environ if environ is None else environ
    if env.get("FIELDLOG_HOME"):
        return Path(env["FIELDLOG_HOME"]).expanduser()
    user = Path.home() if home is None else home
    if platform == "darwin":
        return user / "Library" / "Application Support" / "fieldlog"
    if platform == "win32":
        return Path(env.get("LOCALAPPDATA") or user / "AppData" / "Local") / "fieldlog"
    xdg = env.get("XDG_DATA_HOME", "")
    base = Path(xdg) if xdg and Path(xdg).is_absolute() else user / ".local" / "share"
    return base / "fieldlog"


def keys_folder(record: Path) -> Path:
    """Folder of this machine's own keys, beside the record and never in it: a copy carries none away."""
    return record.with_name(f"{record.name}-keys")


def trace_wanted(environ: Mapping[str, str] | None = None) -> bool:
    """Whether ``FIELDLOG_TRACE`` asks for the traceback of a fault instead of one line."""
    env = os.environ if environ is None else environ
    return bool(env.get("FIELDLOG_TRACE"))


def policy_name(environ: Mapping[str, str] | None = None) -> str:
    """How risk is traded against questions: ``FIELDLOG_POLICY``, by default ``balanced``."""
    env = os.environ if environ is None else environ
    return env.get("FIELDLOG_POLICY", "").strip().lower() or "balanced"


def decimal_sign(environ: Mapping[str, str] | None = None) -> str:
    """Which sign is typed before decimals: ``FIELDLOG_DECIMAL``, ``point`` or ``comma``; "" not set.

    It settles "12,340" and "12.340", which are asked about otherwise.
    """
    env = os.environ if environ is None else environ
    return env.get("FIELDLOG_DECIMAL", "").strip().lower()


def for_a_child(**more: str) -> dict[str, str]:
    """The environment as a program that is started gets it, with ``more`` over it."""
    return {**os.environ, **more}


def local_zone() -> str:
    """This machine's time zone by its IANA name, which knows when its clocks change.

    Where no name can be found out (or none that is known here), its offset from UTC at the moment,
    such as ``+02:00``.
    """
    import warnings

    import tzlocal

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # settings that contradict each other, told on each start
        try:
            name = tzlocal.get_localzone_name()
            ZoneInfo(name)
        except (ZoneInfoNotFoundError, ValueError, OSError, TypeError):
            return datetime.now().astimezone().isoformat()[-6:]
    return str(name)


# --- files that ship with the package ---------------------------------------------------------

_PACKAGE = Path(__file__).resolve().parent


def grammars() -> Path:
    """Folder of the grammars, the catalogue and the pronunciation additions."""
    return _shipped("_grammars", "grammars")


def demo_media() -> Path:
    """Folder of the demo's audio, photos and manifest."""
    return _shipped("_demo_media", "demo_media")


def limit_packs() -> Path:
    """Folder of the limit packs that ship with fieldlog."""
    return _PACKAGE / "limits" / "packs"


def _shipped(inside: str, beside: str) -> Path:
    for folder in (_PACKAGE / inside, _PACKAGE.parent / beside):
        if folder.is_dir():
            return folder
    raise FieldlogError(
        "what ships with fieldlog is not beside its code",
        where=str(_PACKAGE),
        todo="install it as folders, with pip install; out of a zip it cannot be read",
    )


@contextmanager
def one_openmp_thread() -> Iterator[None]:
    """For as long as a library is loaded whose OpenMP shall never start a second thread.

    OpenMP reads ``OMP_THREAD_LIMIT`` once, when it is loaded; what is set already stays as it is.
    """
    name = "OMP_THREAD_LIMIT"
    if name in os.environ:
        yield
        return
    os.environ[name] = "1"
    try:
        yield
    finally:
        del os.environ[name]
