"""Aftercare's data from files and from the store: the one place of it that opens either."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType

from fieldlog import config
from fieldlog.aftercare.crosschecks import read_crosschecks
from fieldlog.aftercare.intervals import read_intervals
from fieldlog.aftercare.plan import WALKS, Care, Past
from fieldlog.aftercare.repairs import read_repairs
from fieldlog.aftercare.walk_list import read_walk
from fieldlog.aftercare.work import read_work
from fieldlog.catalogue.files import load_catalogue
from fieldlog.limits.from_finding import CHARACTERISTICS
from fieldlog.store.records import Vehicle
from fieldlog.store.repository import Repository

_FOLDER = Path(__file__).resolve().parent


@lru_cache(maxsize=2)
def load_care(grammars: Path | None = None) -> Care:
    """Catalogue, walks, intervals, work and cross-checks. Raises ``GrammarError`` or ``LimitError``."""
    catalogue = load_catalogue(grammars or config.grammars())
    walk = read_walk(_text("walk.toml"), catalogue)
    intervals = read_intervals(_text("intervals.toml"), catalogue, walk.facts)
    others = {
        name: read_walk(_text(f"walk_{name}.toml"), catalogue, f"walk_{name}.toml", walk)
        for name in WALKS
    }
    computed = [name for _, name, _ in CHARACTERISTICS]
    repairs = read_repairs(_text("repairs.toml"), catalogue, intervals.rows, computed)
    work = replace(read_work(_text("work.toml"), catalogue), repairs=repairs)
    crosschecks = read_crosschecks(_text("crosschecks.toml"), catalogue, intervals.rows)
    return Care(catalogue, walk, intervals, work, MappingProxyType(others), crosschecks)


def past_of(store: Repository, vehicle: Vehicle) -> Past:
    """What the record holds of a vehicle, as aftercare takes it."""
    heads = store.inspections(vehicle.id)
    began = {each.id: each.started_at for each in heads}
    # a walk belongs to the day it began, whenever its findings were typed in
    history = [replace(row, at=began[row.inspection_id]) for row in store.history(vehicle.id)]
    return Past(vehicle, heads, history, store.remarks(vehicle.id))


def _text(name: str) -> str:
    return (_FOLDER / name).read_text(encoding="utf-8")
