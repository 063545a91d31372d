"""Two records become one: what the other has and this one lacks is added, nothing else happens.

Rows are named by content and by id, a correction is a row, and numbers are local, so there is nothing
to reconcile: any stores merge, in any order, as often as one likes, to the same rows and the same
fingerprint. Of the other store nothing is changed; it is read from a private copy.
"""

from __future__ import annotations

import contextlib
import sqlite3
import tempfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from enum import Enum
from pathlib import Path

from fieldlog.config import server_folder
from fieldlog.errors import StoreError
from fieldlog.store import database
from fieldlog.store.base import Store, StoredRow
from fieldlog.store.database import FILE, back_up, code_of, damage, translated
from fieldlog.store.media import MediaFolder
from fieldlog.store.records import InspectionRecord, RecordedFinding
from fieldlog.store.sql_store import SqlStore
from fieldlog.store.sqlite_store import SqliteStore
from fieldlog.store.where import address_in, media_of, on_server, open_store


class Stage(Enum):
    """What merging is at."""

    CHECK = "checking the other record"
    ORIGINALS = "clips and photos"
    ROWS = "rows"


Told = Callable[[Stage, int], None]
"""Called with the step and how much of it is done (clips and photos, rows)."""


@dataclass(frozen=True, slots=True)
class Merged:
    """What came in, and what the record holds now."""

    rows: int
    originals: int
    rows_there: int
    """Rows of the other record."""
    fingerprint: str
    rivalled: tuple[tuple[InspectionRecord, RecordedFinding], ...] = ()
    """Findings, of the inspections that something came in for, that both records corrected, or that
    one corrected and the other withdrew."""
    owners: frozenset[str] = frozenset()
    """Ids of the vehicles and inspections that rows came in for."""


def merge(
    ours: Store, media: MediaFolder, other: Path, *, now: datetime, told: Told = lambda *_: None
) -> Merged:
    """Add to ``ours`` what the store in the folder ``other`` has besides.

    The other is checked first: ``StoreError`` when it is missing, damaged, newer, locked or does not
    agree with itself. Clips and photos come in before the rows that name them, the rows in one
    transaction; whatever is raised, no row was added.
    """
    told(Stage.CHECK, 0)
    with checked(other, now) as (theirs, there):
        originals = _bring_originals(media, theirs, media_of(other), told)
        with contextlib.closing(theirs.rows()) as rows:
            taken = ours.take(_counted(rows, told), theirs.elsewhere())
    return Merged(
        taken.rows,
        originals,
        there,
        ours.fingerprint(),
        tuple(rivalled(ours, taken.owners)),
        taken.owners,
    )


@contextlib.contextmanager
def checked(folder: Path, now: datetime) -> Iterator[tuple[SqlStore, int]]:
    """The store in ``folder``, ``borrowed``, and its rows; ``StoreError`` where it has a fault."""
    with borrowed(folder, now) as theirs:
        found = theirs.verify()
        if not found.agrees:
            raise StoreError(
                f"does not agree with itself, so nothing of it was taken ({len(found.faults)} "
                f"faults; the first: {found.faults[0]})",
                where=str(folder),
                todo=f"fieldlog inspection verify --store {folder}",
            )
        yield theirs, found.rows


@contextlib.contextmanager
def borrowed(folder: Path, now: datetime) -> Iterator[SqlStore]:
    """A private copy of the database in ``folder``, brought up to date, beside its own media.

    A server's record is read where it is. Nothing in ``folder`` is changed. Raises ``StoreError``.
    """
    if on_server(folder) is not None:
        if folder.resolve() != server_folder(address_in(folder)).resolve():
            raise StoreError(
                "names a server, and whoever made the folder chose which",
                where=str(folder),
                todo="name the server itself, like postgresql:///shop",
            )
        with contextlib.closing(
            open_store(folder, media_of(folder), now=now, reading=True)
        ) as there:
            yield there
        return
    path = folder / FILE
    if not path.is_file():
        raise StoreError(
            "there is no record here", where=str(folder), todo=f"name the folder that holds {FILE}"
        )
    if path.stat().st_size == 0 and (reason := damage(path)):
        raise _damaged(path, reason)
    with tempfile.TemporaryDirectory(prefix="fieldlog-") as made:
        copy = Path(made) / FILE
        _copy(path, copy)
        with translated(copy):
            reason = damage(copy)
        if reason is not None:
            raise _damaged(path, reason)
        try:
            store = SqliteStore(copy.parent, MediaFolder(folder / "media"), now=now)
        except StoreError as error:
            raise StoreError(error.what, where=str(path), todo=error.todo) from error
        with contextlib.closing(store):
            yield store


def _copy(path: Path, copy: Path) -> None:
    """Copy a database that other programs may be using; it stays as it is."""
    plain, alone = path.resolve().as_uri(), not path.with_name(f"{path.name}-wal").exists()
    with translated(path):
        try:
            _copy_from(f"{plain}?mode=rw", copy)
        except sqlite3.OperationalError as error:
            # Where the folder cannot be written, SQLite reads a closed database only when told that
            # nobody will write it meanwhile (sqlite.org/uri.html, immutable).
            cannot_write = {sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN}
            if code_of(error) not in cannot_write or not alone:
                raise
            _copy_from(f"{plain}?mode=ro&immutable=1", copy)
        except sqlite3.DatabaseError as error:
            if code_of(error) in {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}:
                raise _damaged(path, f"the file is damaged ({error})") from error
            raise


def _copy_from(uri: str, copy: Path) -> None:
    with contextlib.closing(sqlite3.connect(uri, uri=True, timeout=database.BUSY_S)) as source:
        back_up(source, copy)


def _damaged(path: Path, reason: str) -> StoreError:
    return StoreError(
        f"{reason}; nothing of it was taken",
        where=str(path),
        todo="take another copy",
    )


def _bring_originals(
    media: MediaFolder, theirs: Store, their_media: MediaFolder, told: Told
) -> int:
    """Copy clips and photos that are not here; how many."""
    copied = 0
    for done, name in enumerate(theirs.originals()):
        told(Stage.ORIGINALS, done)
        if media.path(name).exists():
            continue
        if media.save_file(their_media.path(name), name.rpartition(".")[2]) != name:
            raise StoreError(
                "changed while it was copied; no row was added",
                where=str(their_media.path(name)),
                todo="repeat",
            )
        copied += 1
    return copied


def _counted(rows: Iterable[StoredRow], told: Told) -> Iterator[StoredRow]:
    for done, row in enumerate(rows):
        told(Stage.ROWS, done)
        yield row


def rivalled(
    ours: Store, owners: Iterable[str]
) -> Iterator[tuple[InspectionRecord, RecordedFinding]]:
    """Findings of ``owners`` that two records corrected, or one corrected and the other withdrew."""
    inspections = {each.id for each in ours.inspections(None)}
    for owner in sorted(inspections.intersection(owners)):
        record = ours.read(owner)
        for finding in record.findings:
            if finding.rivalled:
                yield record, finding
