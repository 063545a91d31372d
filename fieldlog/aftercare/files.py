"""Aftercare's data from the files that ship with fieldlog: the one place here that opens files."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from fieldlog import places
from fieldlog.aftercare.intervals import read_intervals
from fieldlog.aftercare.plan import Care
from fieldlog.aftercare.walk_list import read_walk
from fieldlog.aftercare.work import read_work
from fieldlog.catalogue.files import load_catalogue

_FOLDER = Path(__file__).resolve().parent


@lru_cache(maxsize=2)
def load_care(grammars: Path | None = None) -> Care:
    """Catalogue, default walk, intervals and work. Raises ``GrammarError`` or ``LimitError``."""
    catalogue = load_catalogue(grammars or places.grammars())
    walk = read_walk(_text("walk.toml"), catalogue)
    intervals = read_intervals(_text("intervals.toml"), catalogue, walk.facts)
    return Care(catalogue, walk, intervals, read_work(_text("work.toml"), catalogue))


def _text(name: str) -> str:
    return (_FOLDER / name).read_text(encoding="utf-8")
