"""What takes long to make of files, kept in the user's cache folder under the hash of all it is made of.

The name is the hash of the files it was read from, of the code that reads them and of the Python that
runs it: what is kept can be missing, but not stale. A file that is cut, changed or another user's is
passed over and made anew; so is one that holds anything but plain values of our own.
"""

from __future__ import annotations

import gc
import io
import os
import pickle
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from enum import Enum
from fractions import Fraction
from functools import cache
from hashlib import sha256
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from fieldlog.config import cache_folder

_T = TypeVar("_T")
READS_AND_IS_READ = (
    "added", "catalogue", "config", "derived", "errors", "grammar", "kept", "language", "limits", "model",
    "quantities", "whole", "words",
)  # fmt: skip
"""The code that reads what is kept, and whose values it is."""
_PACKAGE = Path(__file__).resolve().parent
_DIGEST = 32
_MOST_KEPT = 6
"""Files of one kind: a few versions and folders side by side; older ones go."""


def kept(kind: str, read: Sequence[Path], make: Callable[[], _T]) -> _T:
    """What ``make`` makes of the files ``read``, with code of ``READS_AND_IS_READ``, made once and kept.

    Whatever is wrong with the folder or the file, ``make`` is called and nothing is said.
    """
    folder = cache_folder()
    if folder is None:
        return make()
    try:
        file = folder / f"{kind}-{_name(read)}"
    except OSError:
        return make()  # it says what is wrong with the files
    with nothing_collected():
        found = _loaded(file)
        if found is not None:
            return found[0]  # type: ignore[no-any-return]
        made = make()
        with suppress(OSError):
            if _name(read) == file.name.removeprefix(f"{kind}-"):  # nobody wrote to them meanwhile
                _keep(file, kind, made)
        return made


@contextmanager
def nothing_collected() -> Iterator[None]:
    """Hardly one of some 200,000 objects is thrown away: to look for waste takes a third of the time."""
    collects = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collects:
            gc.freeze()  # they stay: no later look for waste goes through them, which takes 0.1 s and more
            gc.enable()


def _name(read: Sequence[Path]) -> str:
    """The hash of everything that the result depends on; raises ``OSError``.

    Where the files are counts too: faults and words that nobody can say are told with their place.
    """
    whole = sha256(_code())
    for file in read:
        _add(whole, str(file), file)
    return whole.hexdigest()


@cache
def _code() -> bytes:
    whole = sha256(sys.version.encode())
    for name in READS_AND_IS_READ:
        place = _PACKAGE / name
        for file in sorted(place.rglob("*.py")) if place.is_dir() else (place.with_suffix(".py"),):
            _add(whole, file.relative_to(_PACKAGE).as_posix(), file)
    return whole.digest()


def _add(whole: Any, name: str, file: Path) -> None:
    content = file.read_bytes()
    whole.update(f"\n{name} {len(content)}\n".encode())
    whole.update(content)


def _loaded(file: Path) -> tuple[Any] | None:
    """What the file holds, None where it is not there or is not what was kept."""
    try:
        with file.open("rb") as opened:
            status = os.fstat(opened.fileno())
            if hasattr(os, "getuid") and (status.st_uid != os.getuid() or status.st_mode & 0o022):
                return None
            content = opened.read()
        if _seal(file, content[_DIGEST:]) != content[:_DIGEST]:
            return None
        return (_OursOnly(io.BytesIO(content[_DIGEST:])).load(),)
    except Exception:  # whatever a file can hold: it is made anew
        return None


def _seal(file: Path, content: bytes) -> bytes:
    """Of the content and of the name that it is kept under: what another name holds is not taken for it."""
    return sha256(f"{file.name}\n".encode() + content).digest()


def _keep(file: Path, kind: str, made: object) -> None:
    """Write it under another name and rename it; the oldest of its kind go."""
    new = file.with_name(f"{file.name}.{os.getpid()}")
    try:
        buffer = io.BytesIO()
        _Plainly(buffer, protocol=5).dump(made)
        content = buffer.getvalue()
        file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        with os.fdopen(os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as opened:
            opened.write(_seal(file, content) + content)
        new.replace(file)
        aged = sorted(file.parent.glob(f"{kind}-*"), key=lambda one: one.stat().st_mtime)
        for old in aged[:-_MOST_KEPT]:
            old.unlink(missing_ok=True)
    except (OSError, pickle.PicklingError, AttributeError, TypeError, RecursionError):
        new.unlink(missing_ok=True) if new.is_file() else None


def _read_only(values: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(values)


_OTHERS: dict[tuple[str, str], object] = {
    ("fractions", "Fraction"): Fraction,
    (__name__, "_read_only"): _read_only,
    ("builtins", "frozenset"): frozenset,
}


class _Plainly(pickle.Pickler):
    """Frozen objects as a call of their class: three times as fast to read as field by field."""

    def reducer_override(self, one: Any) -> Any:
        if isinstance(one, MappingProxyType):
            return _read_only, (dict(one),)
        fields = getattr(type(one), "__dataclass_fields__", None)
        if fields is None or not hasattr(type(one), "__slots__"):
            return NotImplemented
        if not all(field.init for field in fields.values()):
            return NotImplemented
        return type(one), tuple(getattr(one, name) for name in fields)


class _OursOnly(pickle.Unpickler):
    """Makes values of our own classes that are data, and of the few that they are made of."""

    def find_class(self, module: str, name: str) -> Any:
        known = _OTHERS.get((module, name))
        if known is not None:
            return known
        if module.partition(".")[0] == "fieldlog":
            found = super().find_class(module, name)
            if isinstance(found, type) and (
                hasattr(found, "__dataclass_fields__") or issubclass(found, Enum | tuple)
            ):
                return found
        raise pickle.UnpicklingError(f"{module}.{name} is no value of ours")
