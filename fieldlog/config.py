"""Settings of the machine fieldlog runs on: the only module that reads the environment."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from urllib.parse import parse_qsl, urlencode, urlsplit

from fieldlog.errors import FieldlogError, UsageError
from fieldlog.whole import refused, write_whole

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
    It may be the address of a server's record, too (``server_folder``). Raises ``UsageError`` for the
    home of somebody who is not there, and where this user has none.
    """
    env = os.environ if environ is None else environ
    if "://" in env.get("FIELDLOG_HOME", ""):
        usual = store_folder(_without_home(env), platform=platform, home=home)
        return server_folder(env["FIELDLOG_HOME"], usual)
    named = env.get("FIELDLOG_HOME", "")
    try:
        if named:
            return Path(named).expanduser()
        user = Path.home() if home is None else home
    except RuntimeError as error:  # ~nobody, or an account without a home
        raise UsageError(
            "there is no such home folder" if named else "this account has no home folder",
            where=f"FIELDLOG_HOME={named}" if named else "",
            todo="name the record's folder in full with FIELDLOG_HOME, or with --store DIR",
        ) from error
    if platform == "darwin":
        return user / "Library" / "Application Support" / "fieldlog"
    if platform == "win32":
        return Path(env.get("LOCALAPPDATA") or user / "AppData" / "Local") / "fieldlog"
    xdg = env.get("XDG_DATA_HOME", "")
    base = Path(xdg) if xdg and Path(xdg).is_absolute() else user / ".local" / "share"
    return base / "fieldlog"


def _without_home(env: Mapping[str, str]) -> dict[str, str]:
    return {name: value for name, value in env.items() if name != "FIELDLOG_HOME"}


ADDRESS = "record.url"
"""File in a folder whose record is on a server: the server's address, in one line."""


def server_folder(address: str, beside: Path | None = None) -> Path:
    """This machine's folder for the record on the server ``address``, made with that in it.

    It lies beside the usual one (``beside``), so that keys, copies and sound that waits have a place.
    Raises ``UsageError`` for no such address, ``StoreError`` where it cannot be made.
    """
    import hashlib

    url, _ = split_address(address)
    elsewhere = "://" in os.environ.get("FIELDLOG_HOME", "")
    usual = beside or store_folder(_without_home(os.environ) if elsewhere else None)
    name = re.sub(r"[^A-Za-z0-9_-]+", "-", url.partition("?")[0].rpartition("/")[2]) or "record"
    known = hashlib.sha256(address.encode("utf-8")).hexdigest()[:8]
    folder = usual.with_name(f"{usual.name}-servers") / f"{name}-{known}"
    todo = "name a folder that can be written with FIELDLOG_HOME"
    with refused("this machine's folder for it cannot be made", folder, todo):
        if not (folder / ADDRESS).is_file():
            write_whole(folder / ADDRESS, f"{address}\n".encode())
    return folder


def split_address(address: str) -> tuple[str, str]:
    """The server's own address, and the folder of the originals (``?media=DIR``; else ``media``).

    A password in it is refused: who lists programs, or reads the history of a shell, would see it.
    """
    parts = urlsplit(address.strip())
    if parts.scheme not in {"postgresql", "postgres"}:
        raise UsageError(
            f"{parts.scheme or address[:40]!r} is no address of a record",
            todo="write it like postgresql:///shop, or postgresql://server/shop?media=/srv/shop",
        )
    settings = parse_qsl(parts.query, keep_blank_values=True)
    if parts.password is not None or any(name == "password" for name, _ in settings):
        raise UsageError(
            "a password does not belong into an address",
            todo="put it into ~/.pgpass (or PGPASSWORD) and leave it out here",
        )
    media = next((value for name, value in settings if name == "media"), "") or "media"
    kept = urlencode([pair for pair in settings if pair[0] != "media"])
    plain = f"{parts.scheme}://{parts.netloc}{parts.path}"
    return plain + (f"?{kept}" if kept else ""), media


def cache_folder(
    environ: Mapping[str, str] | None = None,
    *,
    platform: str = sys.platform,
    home: Path | None = None,
) -> Path | None:
    """Folder for what can be made again at any time; None where nothing shall be kept.

    ``FIELDLOG_CACHE`` when set (empty: nothing is kept); otherwise the platform's: on Linux
    ``$XDG_CACHE_HOME`` or ``~/.cache`` (XDG Base Directory Specification 0.8), on macOS
    ``~/Library/Caches``, on Windows ``%LOCALAPPDATA%``. The folder need not exist.
    """
    env = os.environ if environ is None else environ
    own = env.get("FIELDLOG_CACHE")
    try:
        if own is not None:
            return Path(own).expanduser() if own else None
        user = Path.home() if home is None else home
    except RuntimeError:  # an account without a home
        return None
    if platform == "darwin":
        return user / "Library" / "Caches" / "fieldlog"
    if platform == "win32":
        return Path(env.get("LOCALAPPDATA") or user / "AppData" / "Local") / "fieldlog" / "cache"
    xdg = env.get("XDG_CACHE_HOME", "")
    base = Path(xdg) if xdg and Path(xdg).is_absolute() else user / ".cache"
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


def language(environ: Mapping[str, str] | None = None) -> str:
    """The language that is spoken and typed: ``FIELDLOG_LANGUAGE``, an ISO 639-1 code; "" not set."""
    env = os.environ if environ is None else environ
    return env.get("FIELDLOG_LANGUAGE", "").strip().lower()


@contextmanager
def speaking(code: str) -> Iterator[None]:
    """``FIELDLOG_LANGUAGE`` is ``code`` inside: also for the programs that are started there."""
    before = os.environ.get("FIELDLOG_LANGUAGE")
    os.environ["FIELDLOG_LANGUAGE"] = code
    try:
        yield
    finally:
        if before is None:
            del os.environ["FIELDLOG_LANGUAGE"]
        else:
            os.environ["FIELDLOG_LANGUAGE"] = before


def for_a_child(**more: str) -> dict[str, str]:
    """The environment as a program that is started gets it, with ``more`` over it."""
    return {**os.environ, **more}


def local_zone() -> str:
    """This machine's time zone by its IANA name, which knows when its clocks change.

    Where no name can be found out (or none that is known here), its offset from UTC at the moment,
    such as ``+02:00``.
    """
    import warnings
    from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

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
