"""Bundles handed over by way of a place that both sides reach: a folder, an object store, a shop's server.

Whatever is cut off, at either end, goes on where it was: parts lie under the hash of their content, are written
beside and renamed, and a list is put there after the last of its parts. A bundle that is there is not put there
again; one that was taken is not taken again, and would change nothing. What is damaged or hostile is set
aside under its name, with why, and the others go on.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Protocol

from fieldlog.bundle.archive import Archive
from fieldlog.bundle.checking import check_bundle, take_checked
from fieldlog.bundle.parts import (
    HASH,
    LARGEST,
    LONGEST_LIST,
    NAME,
    BundlePart,
    PartList,
    cuts,
    list_bytes,
    read_list,
)
from fieldlog.errors import OwnTroubleError, StoreError
from fieldlog.store.merging import Merged
from fieldlog.store.repository import Repository
from fieldlog.whole import refused, write_whole
from fieldlog.words.english import counted

FOLDER = "handed-over"
"""Beside the record: what was taken (``taken``), set aside (``set-aside``), and is on its way (``arriving``)."""


class HandoverPlace(Protocol):
    """Where bundles are handed over."""

    @property
    def named(self) -> str:
        """How it is called in messages."""

    def lists(self) -> frozenset[str]:
        """Names of the bundles that are there whole."""

    def has(self, part: BundlePart) -> bool:
        """Whether the part is there."""

    def put(self, part: BundlePart, data: bytes) -> None:
        """Put a part there, whole or not at all."""

    def put_list(self, name: str, data: bytes) -> str:
        """Put a list there, after its parts; what the other side says to it ("" where nobody is there)."""

    def get(self, part: BundlePart) -> bytes | None:
        """The bytes that lie there under the part's name, no more than its size and one; None: none."""

    def get_list(self, name: str) -> bytes | None:
        """A list, or its first ``LONGEST_LIST`` bytes and one; None: none."""

    def close(self) -> None:
        """Let go of it; calling it twice is harmless."""


class FolderPlace:
    """A folder: a stick, a share, a folder that is synchronised. All errors are ``StoreError``."""

    def __init__(self, folder: Path, *, new: bool = False) -> None:
        """``new``: the folder is made where there is none."""
        self.folder = folder
        self.named = str(folder)
        if new:
            with _told(self.named):
                folder.mkdir(parents=True, exist_ok=True)

    def lists(self) -> frozenset[str]:
        """Names of the bundles that are there whole."""
        with _told(self.named):
            if not self.folder.is_dir():
                raise StoreError(
                    "there is no such folder", where=self.named, todo="name one that is there"
                )
            found = self.folder / "lists"
            return frozenset(os.listdir(found)) if found.is_dir() else frozenset()  # noqa: PTH208

    def has(self, part: BundlePart) -> bool:
        """Whether a file with those bytes is there; one that a stick damaged is put there anew."""
        with contextlib.suppress(OSError):
            return _is(part, _bounded(self._part(part), part.size))
        return False

    def put(self, part: BundlePart, data: bytes) -> None:
        """Put a part there, by writing it beside and renaming it."""
        self._write(self._part(part), data)

    def put_list(self, name: str, data: bytes) -> str:
        """Put a list there."""
        self._write(self.folder / "lists" / name, data)
        return ""

    def get(self, part: BundlePart) -> bytes | None:
        """The bytes of a part."""
        return self._read(self._part(part), part.size)

    def get_list(self, name: str) -> bytes | None:
        """A list."""
        return self._read(self.folder / "lists" / name, LONGEST_LIST)

    def _read(self, path: Path, most: int) -> bytes | None:
        with _told(self.named):
            try:
                return _bounded(path, most)
            except (FileNotFoundError, PermissionError):  # one that cannot be had stops no other
                return None

    def close(self) -> None:
        """A folder holds nothing."""

    def _part(self, part: BundlePart) -> Path:
        return self.folder / "parts" / part.sha256[:2] / part.sha256

    def _write(self, target: Path, data: bytes) -> None:
        with _told(self.named):
            write_whole(target, data)


def _bounded(path: Path, most: int) -> bytes:
    if not path.is_file():  # a pipe would be waited for
        raise FileNotFoundError(2, "is no file", str(path))
    with path.open("rb") as stream:
        return stream.read(most + 1)


def _told(where: str) -> AbstractContextManager[None]:
    after = "see to it and repeat: what was handed over stays, and the rest follows"
    return refused("", where, after, OwnTroubleError)


# -- sending --------------------------------------------------------------------------------------


def put_bundle(
    place: HandoverPlace, path: Path, name: str, *, again: bool = False
) -> tuple[int, str]:
    """Put the bundle ``path`` to ``place`` as ``name`` and its hash.

    Returns how many bytes were not there yet, and what the other side says. ``again``: every part anew.
    """
    with Archive(path) as archive:
        members = list(archive.members.values())
    size, sent = path.stat().st_size, 0
    sha, parts = hashlib.sha256(), []
    with path.open("rb") as stream:
        for at, length in cuts(size, members):
            stream.seek(at)
            data = stream.read(length)
            sha.update(data)
            part = BundlePart(hashlib.sha256(data).hexdigest(), len(data))
            parts.append(part)
            if again or not place.has(part):
                place.put(part, data)
                sent += part.size
    whole = PartList(sha.hexdigest(), tuple(parts))
    return sent, place.put_list(f"{name}-{whole.sha256}", list_bytes(whole))


# -- fetching -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SetAside:
    """A bundle that nothing was taken of."""

    name: str
    why: str


@dataclass(frozen=True, slots=True)
class Fetched:
    """What one fetching came to."""

    bundles: int
    """Taken now."""
    rows: int
    """That came in by them."""
    originals: int
    owners: frozenset[str]
    """Ids of the vehicles and inspections that something came in for."""
    known: int
    """Bundles that were taken before."""
    aside: tuple[SetAside, ...]
    """Set aside, now or before."""
    waiting: tuple[str, ...]
    """Names of bundles that are not whole there."""


def fetch(
    store: Repository,
    place: HandoverPlace,
    now: datetime,
    *,
    again: bool = False,
    only: str | None = None,
    told: Callable[[str], None] = lambda _: None,
) -> Fetched:
    """Take every bundle at ``place`` that was not taken yet. ``told``: the name of each, before it is.

    Raises ``StoreError`` where the place or this machine's own record cannot go on; what was taken is
    taken. ``again``: those that were set aside are looked at once more. ``only``: that one alone.
    """
    box = Box(store.folder / FOLDER)
    there = {name for name in place.lists() if NAME.fullmatch(name)} if only is None else {only}
    taken, aside = box.taken(), {} if again else box.set_aside()
    known = there & taken
    bundles = rows = originals = 0
    owners: set[str] = set()
    waiting: list[str] = []
    for name in sorted(there - taken - aside.keys()):
        told(name)
        data = place.get_list(name)
        if data is None:
            waiting.append(name)
            continue
        try:
            parts = read_list(name, data)
        except ValueError as error:
            box.put_aside(name, str(error), None)
            aside[name] = str(error)
            continue
        with box.whole(place, parts) as path:
            if path is None:
                waiting.append(name)
                continue
            merged, why = _taken(store, path, now)
            if merged is None:
                box.put_aside(name, why, path)
                aside[name] = why
                continue
        box.note(name)
        bundles, rows = bundles + 1, rows + merged.rows
        originals += merged.originals
        owners |= merged.owners
    box.tidy()
    return Fetched(
        bundles,
        rows,
        originals,
        frozenset(owners),
        len(known),
        tuple(SetAside(name, aside[name]) for name in sorted(aside)),
        tuple(waiting),
    )


def _taken(store: Repository, path: Path, now: datetime) -> tuple[Merged | None, str]:
    """What came in by a bundle from elsewhere, or why nothing did."""
    try:
        content = check_bundle(path, now)
        if content.faults:
            return None, f"{counted(len(content.faults), 'fault')}; the first: {content.faults[0]}"
        return take_checked(store, path, content), ""
    except OwnTroubleError:
        raise
    except StoreError as error:
        return None, error.what


class Box:
    """What this machine keeps of handing over, beside its record."""

    def __init__(self, folder: Path) -> None:
        """``folder``: beside the record."""
        self.folder = folder
        self._used: set[str] = set()

    def taken(self) -> frozenset[str]:
        """Names of bundles that were taken."""
        return self._names("taken")

    def set_aside(self) -> dict[str, str]:
        """Name -> why, of bundles that were set aside."""
        found = {}
        for name in self._names("set-aside"):
            if name.endswith(".txt"):
                with _told(str(self.folder)):
                    text = (self.folder / "set-aside" / name).read_text("utf-8", "replace")
                found[name.removesuffix(".txt")] = text.strip()
        return found

    def _names(self, kind: str) -> frozenset[str]:
        with _told(str(self.folder)):
            there = self.folder / kind
            return frozenset(os.listdir(there)) if there.is_dir() else frozenset()  # noqa: PTH208

    def note(self, name: str) -> None:
        """That a bundle was taken. Until this is written it would be taken again, which changes nothing."""
        with _told(str(self.folder)):
            write_whole(self.folder / "taken" / name, b"")
            (self.folder / "set-aside" / f"{name}.txt").unlink(missing_ok=True)
            (self.folder / "set-aside" / f"{name}.zip").unlink(missing_ok=True)

    def put_aside(self, name: str, why: str, path: Path | None) -> None:
        """Keep a bundle (where there is one) and why nothing of it was taken."""
        with _told(str(self.folder)):
            target = self.folder / "set-aside" / f"{name}.zip"
            target.parent.mkdir(parents=True, exist_ok=True)
            if path is not None and path.exists():
                path.replace(target)
            write_whole(target.with_suffix(".txt"), f"{why}\n".encode("utf-8", "replace"))

    @contextlib.contextmanager
    def whole(self, place: HandoverPlace, parts: PartList) -> Iterator[Path | None]:
        """The bundle put together from its parts; None where one is missing, or is not what it is called."""
        with _told(str(self.folder)):
            (self.folder / "arriving").mkdir(parents=True, exist_ok=True)
        path = self.folder / "arriving" / f"{secrets.token_hex(8)}.zip"
        try:
            yield path if self._together(place, parts, path) else None
        finally:
            with contextlib.suppress(OSError):
                path.unlink(missing_ok=True)

    def _together(self, place: HandoverPlace, parts: PartList, path: Path) -> bool:
        with _told(str(self.folder)), path.open("xb") as stream:
            for part in parts.parts:
                data = self._brought(place, part)
                if data is None:
                    return False
                stream.write(data)
        return True

    def _brought(self, place: HandoverPlace, part: BundlePart) -> bytes | None:
        """A part that is on this machine now, from this time or from one that was cut off."""
        kept = self._kept(part)
        self._used.add(part.sha256)
        with contextlib.suppress(OSError):
            data = kept.read_bytes()
            if _is(part, data):
                return data
        found = place.get(part)
        if found is None or not _is(part, found):
            return None
        with _told(str(self.folder)):
            write_whole(kept, found)
        return found

    def _kept(self, part: BundlePart) -> Path:
        return self.folder / "arriving" / "parts" / part.sha256

    def tidy(self) -> None:
        """Let go of parts that were put together; what is waited for begins anew, which costs a little."""
        with contextlib.suppress(OSError):
            for name in self._used:
                (self.folder / "arriving" / "parts" / name).unlink(missing_ok=True)


def _is(part: BundlePart, data: bytes) -> bool:
    return len(data) == part.size and hashlib.sha256(data).hexdigest() == part.sha256


def part_named(name: str, size: int) -> BundlePart:
    """A part from outside; raises ``ValueError`` for what is no part."""
    if not HASH.fullmatch(name) or not 0 < size <= LARGEST:
        raise ValueError("is no part of a bundle")
    return BundlePart(name, size)
