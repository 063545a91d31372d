"""Photos into the record: originals byte for byte under their hash, each once, whatever happens.

An import that was killed is simply run again: what is already kept is recognised by its hash. The
record's rows are written in batches, after the originals they speak of are on the disk.
"""

from __future__ import annotations

import hashlib
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from fieldlog.errors import PhotoError, StoreError
from fieldlog.photos.facts import PhotoFacts, PhotoFault
from fieldlog.photos.scan import list_files, read_facts, read_kept_facts
from fieldlog.store.media import MediaFolder
from fieldlog.store.records import NewPhoto
from fieldlog.store.repository import Repository
from fieldlog.whole import reason

Progress = Callable[[int, int], None]
"""(files done, files in all)."""

SUFFIXES = {"jpeg": "jpg", "tiff": "tif"}
"""Suffix of the kept original where it is not the kind itself; the content decides, not the name."""
_BATCH = 64
_WRITERS = 8
_CHUNK = 1 << 20


@dataclass(frozen=True, slots=True)
class Left:
    """A file that was not imported, and why in words."""

    file: str
    problem: str
    unread: bool
    """True when it should have been a photo and could not be read."""
    later: bool = False
    """Whether its reader was lost, as on a busy machine: another time it may be read."""


@dataclass(slots=True)
class ImportResult:
    """What an import did; ``added`` and ``known`` are the kept photos' (file, media) pairs."""

    added: list[tuple[str, str]] = field(default_factory=list)
    known: list[tuple[str, str]] = field(default_factory=list)
    left: list[Left] = field(default_factory=list)
    doubtful: list[Left] = field(default_factory=list)
    """Imported, but with something to tell: truncated, no time, implausible time."""

    @property
    def unread(self) -> list[Left]:
        """Files that could not be read, or only in part."""
        return [left for left in (*self.left, *self.doubtful) if left.unread]


def import_folder(
    store: Repository,
    inspection_id: str,
    folder: Path,
    today: date,
    *,
    progress: Progress | None = None,
) -> ImportResult:
    """Import every photo in ``folder`` and its sub-folders into an inspection.

    Raises PhotoError when the folder cannot be used and StoreError when the record cannot be
    written; a bad file is left out and named in the result.
    """
    names = list_files(folder)
    return import_files(store, inspection_id, folder, names, today, progress=progress)


def import_files(
    store: Repository,
    inspection_id: str,
    folder: Path,
    names: Sequence[str],
    today: date,
    *,
    progress: Progress | None = None,
) -> ImportResult:
    """Import the files ``names`` (relative to ``folder``) into an inspection."""
    result = ImportResult()
    known = {photo.media for photo in store.inspection_record(inspection_id).photos}
    batch: list[NewPhoto] = []
    facts_of = read_facts([str(folder / name) for name in names], today)
    kept = _kept_in_order(store.media, zip(names, facts_of, strict=True))
    for done, (name, facts, media) in enumerate(kept, start=1):
        if isinstance(media, Left):
            result.left.append(media)
        else:
            if facts.problem:
                result.doubtful.append(Left(name, facts.problem, facts.unread))
            if media in known:
                result.known.append((name, media))
            else:
                known.add(media)
                result.added.append((name, media))
                batch.append(_described(name, facts, media))
        if len(batch) >= _BATCH:
            store.add_photos(inspection_id, batch)
            batch = []
        if progress is not None:
            progress(done, len(names))
    if batch:
        store.add_photos(inspection_id, batch)
    return result


def _kept_in_order(
    media: MediaFolder, photos: Iterable[tuple[str, PhotoFacts]]
) -> Iterator[tuple[str, PhotoFacts, str | Left]]:
    """(name, facts, media name or why it was left out), in order.

    Several originals are written at once: each waits for the disk, not for the processor.
    """
    waiting: deque[tuple[str, PhotoFacts, Future[str | Left]]] = deque()
    with ThreadPoolExecutor(_WRITERS) as pool:
        for name, facts in photos:
            waiting.append((name, facts, pool.submit(_keep, media, name, facts)))
            if len(waiting) >= 4 * _WRITERS:
                first, its_facts, future = waiting.popleft()
                yield first, its_facts, future.result()
        while waiting:
            first, its_facts, future = waiting.popleft()
            yield first, its_facts, future.result()


def _keep(media: MediaFolder, name: str, facts: PhotoFacts) -> str | Left:
    """Keep one file's bytes and return the media name, or say why it is left out."""
    if not facts.is_photo or facts.fault == PhotoFault.UNREADABLE:
        later = facts.fault == PhotoFault.NOT_READ
        return Left(name, facts.problem or "not a photo", facts.unread, later)
    try:
        return keep_original(media, Path(facts.file), facts.kind)
    except PhotoError as error:
        return Left(name, error.what, unread=True, later=True)


def _described(name: str, facts: PhotoFacts, media: str) -> NewPhoto:
    return NewPhoto(
        media=media,
        file=name.rpartition("/")[2].encode("utf-8", "replace").decode("utf-8"),
        kind=facts.kind,
        capture_local=facts.capture_local,
        offset=facts.offset,
        utc=facts.utc,
        camera=facts.camera,
        orientation=facts.orientation,
        problem=facts.problem,
    )


def keep_original(media: MediaFolder, source: Path, kind: str) -> str:
    """Keep a file's bytes in the media folder, unless they are there; return the media name.

    Raises PhotoError when ``source`` cannot be read and StoreError when the copy cannot be kept or
    the file changed while it was read.
    """
    suffix = SUFFIXES.get(kind, kind)
    sha256, size = _hash(source)
    name = f"{sha256}.{suffix}"
    place = media.path(name)
    if place.exists() and place.stat().st_size == size:
        return name
    kept = media.save_file(source, suffix)
    if kept != name:
        raise StoreError(
            "the file changed while it was copied",
            where=str(source),
            todo="import it again when nothing writes to it",
        )
    return kept


def _hash(source: Path) -> tuple[str, int]:
    sha, size = hashlib.sha256(), 0
    try:
        with source.open("rb") as stream:
            while chunk := stream.read(_CHUNK):
                sha.update(chunk)
                size += len(chunk)
    except OSError as error:
        why = reason(error)
        raise PhotoError(why, where=str(source), todo="allow this user to read it") from error
    return sha.hexdigest(), size


def kept_facts(
    store: Repository, photos: Iterable[tuple[str, str]], today: date
) -> Iterator[PhotoFacts]:
    """Facts of kept photos, read again from their originals: (media, original file name) each.

    ``file`` of the facts is the path of the original in the media folder.
    """
    wanted = list(photos)
    paths = [str(store.media.path(media)) for media, _file in wanted]
    for (_media, _file), facts in zip(wanted, read_kept_facts(paths, today), strict=True):
        yield facts
