"""A job over a whole folder of bundles: each comes to a result or to a fault, told by name."""

from __future__ import annotations

import os
import secrets
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from fieldlog.archive.bench import TARGET, Bench
from fieldlog.archive.job import ArchiveJob, Ended, index_of
from fieldlog.errors import StoreError, UsageError

Progress = Callable[[int, int, int], None]
"""Bundles gone through, of how many, and how many of them have a fault."""
Spread = Callable[[ArchiveJob, Path, tuple[str, ...], Path, float], Iterator[Ended]]
"""Goes through bundles in any order: each is told once."""
_OLD_S = 86_400
"""A part of a result that old is of a process that was killed."""


@dataclass(frozen=True, slots=True)
class GoneThrough:
    """What became of an archive."""

    index: Path
    done: int
    kept: int
    """Of ``done``, how many results were there already."""
    faults: tuple[Ended, ...]


def bundles_in(folder: Path) -> tuple[str, ...]:
    """The bundles below ``folder``, whatever is in them: paths with ``/``, in order.

    Raises ``UsageError`` where there is none.
    """
    if not folder.is_dir():
        raise UsageError("there is no such folder", where=str(folder))
    found = []
    for place, folders, files in os.walk(folder, onerror=_unread):
        folders.sort()
        found += [Path(place, file) for file in files if file.lower().endswith(".zip")]
    if not found:
        raise UsageError(
            "holds no bundle (*.zip)", where=str(folder), todo="fieldlog bundle make --help"
        )
    return tuple(sorted(each.relative_to(folder).as_posix() for each in found))


def _unread(error: OSError) -> None:
    raise StoreError(
        f"cannot be looked through ({(error.strerror or str(error)).lower()})",
        where=str(error.filename),
        todo="no bundle in it would be missed silently: make it readable, or name another folder",
    ) from error


def alone(
    job: ArchiveJob,
    folder: Path,
    bundles: tuple[str, ...],
    out: Path,
    longest_s: float,
    target: str = TARGET,
) -> Iterator[Ended]:
    """One after the other on this machine, without any other library."""
    with Bench(job, out, longest_s, target) as bench:
        for each in bundles:
            yield bench.done(folder, each)


def go_through(
    job: ArchiveJob,
    folder: Path,
    out: Path,
    *,
    spread: Spread = alone,
    longest_s: float = 600.0,
    progress: Progress = lambda done, total, faults: None,
) -> GoneThrough:
    """Do ``job`` to every bundle below ``folder``; results and their index go to ``out``.

    Results that are there already are kept, so that a run that was ended goes on where it was. The index
    names every bundle with its result or its fault, also when the run is broken off. Raises
    ``UsageError``, ``StoreError`` (``out`` cannot be written).
    """
    bundles = tuple(each for each in bundles_in(folder) if not _is_result(folder / each, out))
    if not bundles:
        raise UsageError("holds no bundle besides results", where=str(folder))
    out = out.absolute()
    try:
        out.mkdir(parents=True, exist_ok=True)
        _cleaned(out)
    except OSError as error:
        raise _unwritten(out, error) from error
    ended: dict[str, Ended] = {}
    try:
        for one in spread(job, folder.absolute(), bundles, out, longest_s):
            ended[one.bundle] = one
            progress(len(ended), len(bundles), sum(bool(each.fault) for each in ended.values()))
    finally:
        index = out / job.index
        partial = out / f".{job.index}.{secrets.token_hex(4)}"
        try:
            partial.write_text(index_of(ended, bundles), encoding="utf-8")
            partial.replace(index)
        except OSError as error:
            raise _unwritten(out, error) from error
    missing = [Ended(each, fault="nothing was told of it") for each in bundles if each not in ended]
    faults = [each for each in (*ended.values(), *missing) if each.fault]
    return GoneThrough(
        index,
        len(bundles) - len(faults),
        sum(each.kept for each in ended.values()),
        tuple(sorted(faults, key=lambda each: each.bundle)),
    )


def _is_result(file: Path, out: Path) -> bool:
    return file.parent.resolve() == out.resolve() and file.name.startswith("report-")


def _cleaned(out: Path) -> None:
    """Take away what processes that were killed left of results, once nobody can be writing it."""
    for part in out.glob(".*.*"):
        if part.is_file() and time.time() - part.stat().st_mtime > _OLD_S:
            part.unlink(missing_ok=True)


def _unwritten(out: Path, error: OSError) -> StoreError:
    return StoreError(
        f"results cannot be written ({(error.strerror or str(error)).lower()})",
        where=str(out),
        todo="name another folder with --out, or free some space",
    )
