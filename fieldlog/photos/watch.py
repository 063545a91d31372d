"""A folder that fills from a phone or card reader: which files are complete, and bringing them in.

A file counts as complete when its size and change time have stayed the same for a while. Change
times are used for that only, never as a time of capture.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from fieldlog.photos.scan import list_files, natural_key

SETTLE_S = 2.0
"""Unchanged for this long: complete (common practice; synced folders write in bursts below 1 s)."""
EMPTY_SETTLE_S = 60.0
"""An empty file is waited for longer: some tools create the name long before the bytes."""
_UNFINISHED = (".part", ".tmp", ".temp", ".crdownload", ".partial", ".download", ".filepart", "~")

Stamp = tuple[int, int]
"""(size in bytes, change time in ns)."""


@dataclass(frozen=True, slots=True)
class Waiting:
    """A file that is being watched: how it looked last, and since when it has looked so (s)."""

    stamp: Stamp
    since: float
    taken: bool = False


@dataclass(frozen=True, slots=True)
class Watched:
    """All files of a watched folder after one look, and those that have just become complete."""

    files: Mapping[str, Waiting]
    ready: tuple[str, ...]


def look(before: Mapping[str, Waiting], now: Mapping[str, Stamp], at: float) -> Watched:
    """Compare two looks at a folder (pure). ``at``: seconds on any steady clock.

    A file is ready once; when it changes afterwards it is ready once more.
    """
    files: dict[str, Waiting] = {}
    ready: list[str] = []
    for name, stamp in now.items():
        old = before.get(name)
        if old is None or old.stamp != stamp:
            files[name] = Waiting(stamp, at)
            continue
        settle = EMPTY_SETTLE_S if stamp[0] == 0 else SETTLE_S
        complete = not old.taken and at - old.since >= settle
        if complete:
            ready.append(name)
        files[name] = Waiting(stamp, old.since, old.taken or complete)
    return Watched(files, tuple(sorted(ready, key=natural_key)))


def stamps(folder: Path) -> dict[str, Stamp]:
    """Size and change time of every file in a folder that is not named as unfinished.

    Raises PhotoError when the folder cannot be listed.
    """
    found: dict[str, Stamp] = {}
    for name in list_files(folder):
        last = name.rpartition("/")[2]
        if last.startswith(".") or last.lower().endswith(_UNFINISHED):
            continue
        try:
            status = os.stat(folder / name)  # noqa: PTH116 (one call for both values)
        except OSError:
            continue  # it was renamed or removed since it was listed
        if stat.S_ISREG(status.st_mode):
            found[name] = (status.st_size, status.st_mtime_ns)
    return found


def arrivals(
    folder: Path,
    *,
    clock: Callable[[], float],
    sleep: Callable[[float], None],
    every_s: float = 1.0,
) -> Iterator[Sequence[str]]:
    """Groups of files (relative to ``folder``) as they become complete; never ends by itself.

    Yields an empty group after a look that found nothing, so that the caller can stop.
    """
    files: Mapping[str, Waiting] = {}
    while True:
        watched = look(files, stamps(folder), clock())
        files = watched.files
        yield watched.ready
        sleep(every_s)
