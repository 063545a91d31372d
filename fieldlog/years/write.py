"""The tables of ``fieldlog.years.tables`` out of a record, into Parquet files.

One file for each table and year, sorted by component inside: what is asked of one component or one year reads
little of it. Each file appears whole or not at all, so that an interrupted run leaves the older one.
"""

from __future__ import annotations

import csv
import tempfile
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from fieldlog.audio.clip import RATE
from fieldlog.audio.files import read_clip
from fieldlog.errors import FieldlogError, ModelError, StoreError
from fieldlog.shop.workshop import Workshop
from fieldlog.store.records import InspectionRecord
from fieldlog.years import tables
from fieldlog.years.tables import TABLES, Row

if TYPE_CHECKING:
    import duckdb

_NULL = "\\N"
_ORDER = {
    "findings": "component, started_at",
    "utterances": "started_at",
    "wear": "component, vehicle, part",
}
_FRAME_S = 0.02
_QUIET, _LOUD = 10, 95
"""Per cent of the frames of a clip below which its noise, and its speech, are taken."""
LONGEST_S = 120.0


@dataclass(frozen=True, slots=True)
class TablesWritten:
    """What a run of writing came to."""

    rows: Mapping[str, int]
    """Table -> rows."""
    left_out: tuple[str, ...]
    """Clips that could not be listened to, each with the reason; their rows have no noise."""


def engine() -> duckdb.DuckDBPyConnection:
    """A fresh connection of the database that asks; ``ModelError`` where it is not installed."""
    try:
        import duckdb
    except ImportError:
        raise ModelError(
            "the database that asks over years is not installed",
            where="duckdb",
            todo="pip install 'fieldlog[years]'",
        ) from None
    return duckdb.connect(":memory:")


def write(
    shop: Workshop, out: Path, today: date, told: Callable[[int, int], None] = lambda *_: None
) -> TablesWritten:
    """Write the tables of everything in the record of ``shop`` into the folder ``out``.

    ``told`` how many inspections are done, of how many. What ``out`` held of these tables is replaced,
    years that the record no longer has included. Raises ``StoreError`` where it cannot be written.
    """
    connection = engine()
    left_out: list[str] = []
    with connection, tempfile.TemporaryDirectory(prefix="fieldlog-years-") as folder:
        parts = {name: Path(folder, f"{name}.csv") for name in TABLES}
        rows = _gathered(shop, parts, today, left_out, told)
        try:
            for name, part in parts.items():
                _into_parquet(connection, name, part, out)
        except OSError as error:
            raise StoreError(
                error.strerror or str(error), where=str(error.filename or out)
            ) from error
    return TablesWritten(rows, tuple(left_out))


def _gathered(
    shop: Workshop,
    parts: Mapping[str, Path],
    today: date,
    left_out: list[str],
    told: Callable[[int, int], None],
) -> dict[str, int]:
    """Every row of the record into one plain file for each table; how many there are of each."""
    heads = shop.store.inspections()
    done = 0
    files = {name: part.open("w", newline="", encoding="utf-8") for name, part in parts.items()}
    try:
        into = {name: _Counted(csv.writer(file)) for name, file in files.items()}
        for vehicle in shop.store.vehicles():
            for trend in shop.due(vehicle, today).worn(shop.care.intervals):
                into["wear"].take(tables.wear(vehicle, trend, shop.care.catalogue))
        for head in heads:
            record = shop.store.inspection_record(head.id)
            into["findings"].take(tables.findings(record))
            into["utterances"].take(tables.utterances(record, _noise(shop, record, left_out)))
            done += 1
            told(done, len(heads))
    finally:
        for file in files.values():
            file.close()
    return {name: each.count for name, each in into.items()}


class _Counted:
    """A plain file that counts what it is given."""

    def __init__(self, writer: object) -> None:
        self._writer = writer
        self.count = 0

    def take(self, rows: Iterable[Row]) -> None:
        for row in rows:
            self._writer.writerow([_NULL if cell is None else cell for cell in row])  # type: ignore[attr-defined]
            self.count += 1


def _noise(shop: Workshop, record: InspectionRecord, left_out: list[str]) -> dict[str, float]:
    found = {}
    for each in record.utterances:
        if not tables.was_spoken(each) or each.clip is None:
            continue
        try:
            clip = read_clip(shop.store.media.path(each.clip), longest_s=LONGEST_S)
        except FieldlogError as error:
            left_out.append(f"inspection {record.inspection.number}: {error}")
            continue
        level = over_noise_db(clip.samples, RATE)
        if level is not None:
            found[each.id] = level
    return found


def over_noise_db(samples: np.ndarray, rate: int) -> float | None:
    """How far the loud frames of a clip are over its quiet ones, in dB; None for one too short to say.

    The quiet tenth of the 20 ms frames stands for the noise, the loudest twentieth for the speech: a measure
    to group by, not the ratio that a laboratory mixes at (the pauses of clean speech are never silent).
    """
    frame = max(1, round(_FRAME_S * rate))
    whole = len(samples) // frame
    if whole < 10:
        return None
    power = np.mean(np.square(samples[: whole * frame].reshape(whole, frame), dtype=np.float64), 1)
    quiet, loud = np.percentile(power, (_QUIET, _LOUD))
    if loud <= 0:
        return None
    return float(10 * np.log10(loud / max(quiet, 1e-10)))


def _into_parquet(connection: duckdb.DuckDBPyConnection, name: str, part: Path, out: Path) -> None:
    columns = ", ".join(f"'{column}': '{kind}'" for column, kind in TABLES[name].items())
    connection.execute(
        f"CREATE TABLE {name} AS SELECT * FROM read_csv(?, columns={{{columns}}}, header=false, "
        f"nullstr='{_NULL}', delim=',', quote='\"', escape='\"', auto_detect=false)",
        [str(part)],
    )
    years = [row[0] for row in connection.execute(f"SELECT DISTINCT year FROM {name}").fetchall()]
    folder = out / name
    folder.mkdir(parents=True, exist_ok=True)
    for year in sorted(years):
        whole, arriving = folder / f"{year}.parquet", folder / f".{year}.arriving"
        connection.execute(
            f"COPY (SELECT * FROM {name} WHERE year = {int(year)} ORDER BY {_ORDER[name]}) "
            f"TO '{_quoted(arriving)}' (FORMAT parquet, COMPRESSION zstd)"
        )
        arriving.replace(whole)
    for old in folder.glob("*.parquet"):
        if old.stem.isdecimal() and int(old.stem) not in years:
            old.unlink()
    connection.execute(f"DROP TABLE {name}")


def _quoted(path: Path) -> str:
    return str(path).replace("'", "''")
