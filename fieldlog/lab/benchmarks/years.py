"""``python -m fieldlog.lab years``: how long questions over many findings take, and whether the answers are so."""

from __future__ import annotations

import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    import duckdb

YEARS = range(2015, 2027)
MODELS = 40
WORN = ("model 07", "drive chain")
"""Planted: of this model this component is found beyond its limit five times as often."""
FAST = ("model 11", "brake pads", 3.0)
"""Planted: on this model these wear so many times as fast."""
HARD = "under 15 dB"
"""Planted: what is said into this noise is asked about four times as often."""
PEER = "SELECT component, model, sum(state = 'beyond') AS beyond, count(*) FROM findings GROUP BY 1, 2 ORDER BY 3 DESC LIMIT 20"


@click.command()
@click.option("--findings", default=10_000_000, show_default=True, help="Findings to be made up.")
@click.option(
    "--of", "kept", type=click.Path(path_type=Path, file_okay=False), help="Keep the tables here."
)
@click.option(
    "--pictures", type=click.Path(path_type=Path, file_okay=False), help="Draw the answers here."
)
def years(findings: int, kept: Path | None, pictures: Path | None) -> None:
    """Ask the three worked questions of made-up years of a fleet, with planted truths that must come out.

    The same question of the same tenth of the findings goes to SQLite as well.

    \b
    Example:
      python -m fieldlog.lab years --findings 10000000
    """
    from fieldlog.years.ask import QUESTIONS, ask, picture_of

    with tempfile.TemporaryDirectory(prefix="fieldlog-years-") as scratch:
        folder = kept or Path(scratch, "tables")
        began = time.perf_counter()
        make_up(folder, findings)
        size = sum(path.stat().st_size for path in folder.rglob("*.parquet"))
        click.echo(
            f"{findings:,} findings made up in {time.perf_counter() - began:.0f} s, {size / 1e6:.0f} MB of Parquet"
        )
        for question in QUESTIONS.values():
            took = _median(partial(ask, folder, question.sql))
            answer = ask(folder, question.sql)
            click.echo(
                f"{question.name}: {took * 1000:.0f} ms, {len(answer.rows)} rows; {_truth(question.name, answer)}"
            )
            if pictures is not None:
                pictures.mkdir(parents=True, exist_ok=True)
                (pictures / f"{question.name}.svg").write_text(
                    picture_of(question, answer), encoding="utf-8"
                )
        one = _median(
            lambda: ask(
                folder,
                "SELECT count(*) FROM findings WHERE component = 'drive chain' AND year = 2020",
            )
        )
        click.echo(f"one component of one year: {one * 1000:.0f} ms")
        tenth = Path(scratch, "tenth")
        make_up(tenth, findings // 10)
        ours = _median(
            lambda: ask(
                tenth, PEER.replace("sum(state = 'beyond')", "count(*) FILTER (state = 'beyond')")
            )
        )
        theirs = _sqlite(tenth, Path(scratch, "peer.sqlite3"))
        click.echo(
            f"beyond by component and model, {findings // 10:,} findings: {ours * 1000:.0f} ms, "
            f"SQLite {theirs * 1000:.0f} ms: {theirs / ours:.1f} times as long"
        )


def _median(run: Callable[[], Any]) -> float:
    times = []
    for _ in range(5):
        began = time.perf_counter()
        run()
        times.append(time.perf_counter() - began)
    return statistics.median(times)


def _truth(name: str, answer: Any) -> str:
    """What was planted, as the answer has it; raises ``ClickException`` where it does not."""
    rows = [dict(zip(answer.columns, row, strict=True)) for row in answer.rows]
    if name == "beyond":
        right = (rows[0]["model"], rows[0]["component"]) == WORN
        told = f"first: {rows[0]['component']} of {rows[0]['model']}, {rows[0]['per_cent']} %"
    elif name == "wear":
        model, component, factor = FAST
        of = {row["model"]: row["middle"] for row in rows if row["component"] == component}
        fastest = max(of, key=lambda each: of[each]) if of else None
        right = fastest == model
        told = f"fastest {component}: {fastest}, planted {factor} times"
    else:
        shares = {row["over_noise"]: row["asked_per_cent"] for row in rows}
        right = max(shares, key=lambda each: shares[each]) == HARD
        told = f"most asked: {HARD}, {shares.get(HARD)} %"
    if not right:
        raise click.ClickException(f"{name}: what was planted does not come out: {told}")
    return told


def make_up(folder: Path, findings: int) -> None:
    """Fill ``folder`` with tables of so many findings; always the same ones."""
    from fieldlog import config
    from fieldlog.catalogue.files import load_catalogue
    from fieldlog.years.tables import TABLES
    from fieldlog.years.write import engine

    names = [each.name for each in load_catalogue(config.grammars())][:60]
    names += [each for each in (WORN[1], FAST[1]) if each not in names]
    with engine() as connection:
        # What two numbers hash to together is alike in its last bits: hashed once more.
        connection.execute("CREATE MACRO drawn(i, k) AS hash(xor(hash(i), k::UBIGINT))")
        for name, columns in TABLES.items():
            for year in YEARS:
                rows = max(1, (findings if name != "wear" else findings // 20) // len(YEARS))
                _one_file(connection, folder, name, columns, year, rows, names)


def _one_file(
    connection: duckdb.DuckDBPyConnection,
    folder: Path,
    name: str,
    columns: Any,
    year: int,
    rows: int,
    names: Sequence[str],
) -> None:
    quoted = "[" + ", ".join(f"'{each}'" for each in names) + "]"
    made = {
        "inspection": "'i' || (i // 250)",
        "year": str(year),
        "started_at": f"TIMESTAMP '{year}-01-01' + to_seconds((drawn(i, 1) % 31000000)::BIGINT)",
        "inspector": "'inspector ' || (drawn(i // 250, 2) % 12)",
        "place": "'bay ' || (drawn(i // 250, 3) % 20)",
        "jurisdiction": "['GB', 'DE', 'FR', 'US-VA'][1 + (drawn(i // 250, 4) % 4)::INT]",
        "vehicle": "'v' || (drawn(i // 250, 5) % 20000)",
        "model": f"printf('model %02d', (drawn(i // 250, 6) % {MODELS})::INT)",
        "finding": "'f' || i",
        "utterance": "'u' || i",
        "component": f"{quoted}[1 + (drawn(i, 7) % {len(names)})::INT]",
        "position": "['front', 'rear', 'left', 'right', NULL][1 + (drawn(i, 8) % 5)::INT]",
        "characteristic": "'thickness'",
        "condition": "NULL",
        "value_num": "(drawn(i, 9) % 200)::BIGINT",
        "value_den": "10::BIGINT",
        "value": "(drawn(i, 9) % 200) / 10.0",
        "unit": "'mm'",
        "state": f"CASE WHEN drawn(i, 10) % 100 < CASE WHEN model = '{WORN[0]}' AND component = '{WORN[1]}' THEN 30 "
        "ELSE 6 END THEN 'beyond' ELSE 'within' END",
        "severity": "NULL",
        "limit_id": "'common.' || component",
        "listener": "'whisper'",
        "decision": "CASE WHEN drawn(i, 11) % 100 < CASE WHEN over_noise_db < 15 THEN 12 ELSE 3 END THEN 'ask' "
        "WHEN drawn(i, 11) % 100 = 99 THEN 'refuse' ELSE 'accept' END",
        "kind": "'finding'",
        "seconds": "1 + (drawn(i, 12) % 300) / 100.0",
        "over_noise_db": "5 + (drawn(i, 13) % 400) / 10.0",
        "part": "0",
        "readings": "3 + (drawn(i, 14) % 5)::INT",
        "days": "400",
        "km": "8000.0",
        "first": "5.0",
        "last": "5.0 + 8 * in_1000_km",
        "a_year": "7 * in_1000_km",
        "in_1000_km": f"-(0.05 + (drawn(i, 15) % 100) / 1000.0) * CASE WHEN model = '{FAST[0]}' AND component = '{FAST[1]}' "
        f"THEN {FAST[2]} ELSE 1 END",
    }  # fmt: skip
    if name == "wear":  # few parts are measured on: the planted one among them
        made |= {
            "component": f"['{FAST[1]}', 'tyre'][1 + (drawn(i, 7) % 2)::INT]",
            "model": "printf('model %02d', 5 + (drawn(i, 6) % 8)::INT)",
        }
    listed = ", ".join(
        f'({made[column]})::{kind} AS "{column}"' for column, kind in _in_order(columns).items()
    )
    path = folder / name / f"{year}.parquet"
    path.parent.mkdir(parents=True, exist_ok=True)
    order = "component" if "component" in columns else "started_at"
    start = rows * (year - YEARS[0])
    connection.execute(
        f"COPY (SELECT {', '.join(chr(34) + each + chr(34) for each in columns)} FROM "
        f"(SELECT {listed} FROM range({start}, {start + rows}) AS t(i)) ORDER BY {order}) "
        f"TO '{path}' (FORMAT parquet, COMPRESSION zstd)"
    )


def _in_order(columns: Any) -> dict[str, str]:
    """Columns that others are made of first."""
    first = [
        each for each in ("model", "component", "over_noise_db", "in_1000_km") if each in columns
    ]
    return {each: columns[each] for each in (*first, *(c for c in columns if c not in first))}


def _sqlite(folder: Path, file: Path) -> float:
    """The same rows in SQLite, and how long the same question takes there."""
    from fieldlog.years.ask import ask

    answer = ask(folder, "SELECT component, model, state FROM findings")
    with sqlite3.connect(file) as peer:
        peer.execute("CREATE TABLE findings (component TEXT, model TEXT, state TEXT)")
        peer.executemany("INSERT INTO findings VALUES (?, ?, ?)", answer.rows)
        return _median(lambda: peer.execute(PEER).fetchall())
