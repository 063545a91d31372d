"""Where a record lies: a folder with a database file in it, or with the address of a server's.

A folder is what everything above the store is given. What is of one machine lies in it whatever keeps the
rows: keys, small copies, sound that waits. On a server lie the rows; originals lie in the folder, or in
one that the machines of a shop share.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from fieldlog.config import ADDRESS, split_address
from fieldlog.errors import StoreError
from fieldlog.store.database import FILE
from fieldlog.store.media import MediaFolder

if TYPE_CHECKING:
    from fieldlog.store.sql_store import SqlStore


@dataclass(frozen=True, slots=True)
class OnServer:
    """A record on a server, as its folder names it."""

    url: str
    media: Path


def on_server(folder: Path) -> OnServer | None:
    """The server's record that ``folder`` stands for; None where a file is the record."""
    text = address_in(folder)
    if not text:
        return None
    url, media = split_address(text)
    return OnServer(url, folder / Path(media).expanduser())


def address_in(folder: Path) -> str:
    """The address that ``folder`` has of a server's record; "" for none."""
    try:
        return (folder / ADDRESS).read_text("utf-8").strip()
    except (FileNotFoundError, NotADirectoryError):
        return ""
    except (OSError, ValueError) as error:
        raise StoreError(
            "the address of the record cannot be read", where=str(folder / ADDRESS)
        ) from error


def media_of(folder: Path) -> MediaFolder:
    """The originals of the record in ``folder``."""
    there = on_server(folder)
    return MediaFolder(folder / "media" if there is None else there.media)


def open_store(folder: Path, media: MediaFolder, *, now: datetime, reading: bool) -> SqlStore:
    """The engine of the record in ``folder``; ``reading``: nothing is made or changed."""
    there = on_server(folder)
    if there is None:
        from fieldlog.store.sqlite_store import SqliteStore

        return SqliteStore(folder, media, now=now, reading=reading)
    from fieldlog.store.postgres_store import PostgresStore

    return PostgresStore(there.url, media, now=now, reading=reading)


def is_record(folder: Path) -> bool:
    """Whether there is a record in ``folder``, or where it points to. Raises ``StoreError``."""
    there = on_server(folder)
    if there is None:
        return (folder / FILE).is_file()
    from fieldlog.store.postgres_store import has_record

    return has_record(there.url)


def same(one: Path, other: Path) -> bool:
    """Whether both folders are of one record."""
    here, there = on_server(one), on_server(other)
    if here is not None or there is not None:
        return here is not None and there is not None and here.url == there.url
    files = (one / FILE, other / FILE)
    return all(file.exists() for file in files) and files[0].samefile(files[1])
