"""A backup of a record that may be in use: copied, restored and verified before it is said to be one."""

from __future__ import annotations

import contextlib
import shutil
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from fieldlog.errors import StoreError, UsageError
from fieldlog.shop.proving import prove
from fieldlog.shop.witness import HANDED_OUT, checkpoint
from fieldlog.store.database import translated
from fieldlog.store.merging import borrowed
from fieldlog.store.repository import Repository
from fieldlog.words.english import counted


@dataclass(frozen=True, slots=True)
class BackedUp:
    """A backup that was restored and verified."""

    folder: Path
    rows: int
    originals: int
    proven: tuple[str, ...]


def backup(folder: Path, target: Path, now: datetime) -> BackedUp:
    """Copy the record in ``folder`` to the new folder ``target``, and restore and verify the copy.

    Keys are not copied: a lost key is a new key. Raises ``UsageError`` where ``target`` is there already,
    ``StoreError`` for what cannot be read or written, and for a copy that does not verify; then nothing
    of it is left.
    """
    if target.exists():
        raise UsageError("is there already", where=str(target), todo="name a folder that is not")
    partial = target.with_name(f".{target.name}.unchecked")
    with contextlib.ExitStack() as stack:
        stack.callback(shutil.rmtree, partial, ignore_errors=True)
        with translated(target), Repository.look(folder, now=lambda: now) as store:
            partial.mkdir(parents=True)
            store.engine.copy_to(partial, now)
        with translated(target), Repository.look(partial, now=lambda: now) as copy:
            # What the copy names is copied: the record may have gone on meanwhile.
            names = copy.engine.originals()
            for name in names:
                place = copy.media.path(name)
                place.parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(store.media.path(name), place)
            given = checkpoint(copy, "backup", now)
            if (folder / HANDED_OUT).is_dir():
                shutil.copytree(folder / HANDED_OUT, partial / HANDED_OUT)
        shutil.rmtree(partial / "keys", ignore_errors=True)  # made for that checkpoint alone
        with borrowed(partial, now) as restored:
            for head in restored.inspections(None):
                restored.read(head.id)
        found = prove(partial, None, [given.text], now)
        if found.faults:
            raise StoreError(
                f"the backup is none: it has {counted(len(found.faults), 'fault')}; the first: {found.faults[0]}",
                where=str(target),
                todo="fieldlog inspection verify",
            )
        with translated(target):
            partial.replace(target)
        return BackedUp(target, found.checked.rows, len(names), found.proven)
    raise AssertionError  # the stack swallows nothing
