"""Three questions that a shop has after years, and any other in SQL, asked of the Parquet files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fieldlog.errors import StoreError, UsageError
from fieldlog.years.chart import ChartRow, chart_svg
from fieldlog.years.tables import TABLES
from fieldlog.years.write import engine


@dataclass(frozen=True, slots=True)
class YearsQuestion:
    """A worked question: what it is after, in SQL, and which columns its picture shows."""

    name: str
    says: str
    sql: str
    shown: str
    """Column whose value is drawn."""
    drawn: str
    """What it is, told under the picture's title."""
    of: tuple[str, ...]
    """Columns that name a bar."""
    spread: tuple[str, str] | None = None
    """Columns between which most of it lies."""


@dataclass(frozen=True, slots=True)
class YearsAnswer:
    """What came back: names of columns, and rows."""

    columns: tuple[str, ...]
    rows: tuple[tuple[Any, ...], ...]

    def column(self, name: str) -> list[Any]:
        """Every value of one column."""
        at = self.columns.index(name)
        return [row[at] for row in self.rows]


QUESTIONS: Mapping[str, YearsQuestion] = {
    each.name: each
    for each in (
        YearsQuestion(
            "beyond",
            "what is found beyond its limit or faulty most often, by component and model",
            """
            SELECT component, coalesce(model, '-') AS model,
                   count(*) FILTER (state = 'beyond') AS beyond,
                   count(*) FILTER (state = 'faulty') AS faulty,
                   beyond + faulty AS together,
                   count(*) AS found,
                   round(100.0 * together / found, 2) AS per_cent
            FROM findings GROUP BY component, model HAVING together > 0
            ORDER BY together DESC, beyond DESC, component, model LIMIT 20
            """,
            "together",
            "findings beyond a limit, or faulty",
            ("component", "model"),
        ),
        YearsQuestion(
            "wear",
            "how fast parts wear, by component and model: the middle one, and where 8 of 10 lie",
            """
            SELECT component, characteristic, coalesce(model, '-') AS model, unit,
                   count(*) AS parts,
                   quantile_cont(abs(in_1000_km), 0.5) AS middle,
                   quantile_cont(abs(in_1000_km), 0.1) AS low,
                   quantile_cont(abs(in_1000_km), 0.9) AS high
            FROM wear WHERE in_1000_km IS NOT NULL
            GROUP BY component, characteristic, model, unit
            ORDER BY component, characteristic, parts DESC, model LIMIT 20
            """,
            "middle",
            "change in 1,000 km, in the unit of the table",
            ("component", "characteristic", "model"),
            ("low", "high"),
        ),
        YearsQuestion(
            "asked",
            "how much is asked about and not understood, by inspector and by noise",
            """
            SELECT coalesce(nullif(inspector, ''), '-') AS inspector,
                   CASE WHEN over_noise_db IS NULL THEN 'unknown' WHEN over_noise_db < 15 THEN 'under 15 dB'
                        WHEN over_noise_db < 30 THEN '15 to 30 dB' ELSE '30 dB and over' END AS over_noise,
                   count(*) AS said,
                   round(100.0 * count(*) FILTER (decision = 'ask') / said, 2) AS asked_per_cent,
                   round(100.0 * count(*) FILTER (decision = 'refuse') / said, 2) AS refused_per_cent
            FROM utterances GROUP BY 1, 2 ORDER BY 1, min(coalesce(over_noise_db, -1)), 2
            """,
            "asked_per_cent",
            "per cent of what was said",
            ("inspector", "over_noise"),
        ),
    )
}


def ask(folder: Path, sql: str) -> YearsAnswer:
    """The answer to ``sql`` over the tables in ``folder``: ``findings``, ``utterances``, ``wear``.

    Nothing outside ``folder`` can be read and nothing written. Raises ``StoreError`` where no tables
    are, ``UsageError`` for SQL that the database does not take, with what it says of it.
    """
    connection = engine()
    import duckdb

    with connection:
        there = 0
        for name, columns in TABLES.items():
            files = sorted(str(path) for path in (folder / name).glob("*.parquet"))
            if files:
                there += 1
                listed = ", ".join("'" + file.replace("'", "''") + "'" for file in files)
                connection.execute(f"CREATE VIEW {name} AS SELECT * FROM read_parquet([{listed}])")
            else:
                empty = ", ".join(f'NULL::{kind} AS "{column}"' for column, kind in columns.items())
                connection.execute(f"CREATE VIEW {name} AS SELECT {empty} WHERE false")
        if not there:
            raise StoreError(
                "no tables are here", where=str(folder), todo="fieldlog years write --out DIR"
            )
        allowed = str(folder.resolve()).replace("'", "''")
        connection.execute(f"SET allowed_directories = ['{allowed}/', '{_as_named(folder)}/']")
        connection.execute("SET enable_external_access = false")
        connection.execute("SET lock_configuration = true")
        try:
            statements = connection.extract_statements(sql)
            if [each.type for each in statements] != [duckdb.StatementType.SELECT]:
                raise UsageError("one SELECT is asked, nothing else", where="the question")
            found = connection.execute(statements[0])
            names = tuple(each[0] for each in found.description or ())
            rows = tuple(found.fetchall())
        except duckdb.Error as error:
            raise UsageError(str(error).splitlines()[0], where="the question") from None
    return YearsAnswer(names, rows)


def picture_of(question: YearsQuestion, answer: YearsAnswer) -> str:
    """The answer to a worked question as an SVG picture."""
    names = zip(*(answer.column(each) for each in question.of), strict=True)
    ends = [answer.column(each) for each in question.spread or ()]
    spreads: Sequence[Any] = list(zip(*ends, strict=True)) if ends else [None] * len(answer.rows)
    bars = [
        ChartRow(
            ", ".join(str(each).replace("_", " ") for each in name if each != "-"), value, spread
        )
        for name, value, spread in zip(names, answer.column(question.shown), spreads, strict=True)
    ]
    return chart_svg(question.says, question.drawn, bars)


def _as_named(folder: Path) -> str:
    return str(folder).rstrip("/").replace("'", "''")
