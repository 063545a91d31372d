"""A folder -> the facts of every file in it, in natural order, whatever the files contain."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path

from fieldlog.errors import PhotoError
from fieldlog.photos.crew import TIME_LIMIT_S, Crew
from fieldlog.photos.facts import PhotoFacts, PhotoFault, from_row

_DIGITS = re.compile(r"(\d+)")
_PATIENCE = 10
NaturalKey = tuple[tuple[int, int, str], ...]


def natural_key(name: str) -> NaturalKey:
    """Sort key under which IMG_2 comes before IMG_10 and "name" before "name(1)"."""
    stem, dot, suffix = name.rpartition(".")
    if not dot:
        stem, suffix = name, ""
    parts = [
        (0, int(part[:18]), part) if part.isdigit() and part.isascii() else (1, 0, part.lower())
        for part in _DIGITS.split(stem)
        if part
    ]
    return (*parts, (-1, 0, suffix.lower()))


def list_files(folder: Path) -> list[str]:
    """Paths relative to ``folder`` of everything in it that is no folder, in natural order.

    Sub-folders come after the files of their parent; links to folders are not followed. Raises
    PhotoError when ``folder`` is missing, no folder or may not be listed.
    """
    if not folder.is_dir():
        what = "not a folder" if folder.exists() else "no such folder"
        raise PhotoError(what, where=str(folder), todo="name the folder that holds the photos")

    def refuse(error: OSError) -> None:
        if error.filename == str(folder):
            raise PhotoError(
                (error.strerror or "cannot be listed").lower(),
                where=str(folder),
                todo="allow this user to read the folder",
            )

    found: list[str] = []
    root = str(folder)
    for here, folders, names in os.walk(root, onerror=refuse):
        folders.sort(key=natural_key)
        names.sort(key=natural_key)
        inside = os.path.relpath(here, root)
        prefix = "" if inside == "." else inside.replace(os.sep, "/") + "/"
        found.extend(prefix + name for name in names)
    return found


def read_facts(
    paths: Sequence[str], today: date, *, crew: Crew | None = None
) -> Iterator[PhotoFacts]:
    """Facts of ``paths`` in the same order, read in worker processes with limits."""
    own = crew is None
    crew = crew or Crew("facts", workers=1 if len(paths) <= 64 else None)
    orders = ([path, today.isoformat()] for path in paths)
    try:
        for path, answer in zip(paths, crew.run(orders), strict=True):
            if answer.error is None:
                yield from_row(answer.value)
            else:
                fault = PhotoFault.NOT_READ if answer.lost else PhotoFault.UNREADABLE
                yield PhotoFacts(path, "unknown", fault=fault.value, problem=answer.error)
    finally:
        if own:
            crew.close()


def read_kept_facts(paths: Sequence[str], today: date) -> Iterator[PhotoFacts]:
    """Facts of originals that were read before: one that is not read now is waited for ten times as long."""
    with Crew("facts", workers=1, time_limit_s=_PATIENCE * TIME_LIMIT_S) as patient:
        for path, facts in zip(paths, read_facts(paths, today), strict=True):
            if facts.fault == PhotoFault.NOT_READ:
                yield from read_facts([path], today, crew=patient)
            else:
                yield facts


def scan_folder(folder: Path, today: date) -> Iterator[tuple[str, PhotoFacts]]:
    """(path relative to the folder, facts) of every file in a folder and its sub-folders.

    Raises PhotoError when the folder itself cannot be used; a bad file is a value.
    """
    names = list_files(folder)
    paths = [f"{folder}{os.sep}{name}" for name in names]
    yield from zip(names, read_facts(paths, today), strict=True)
