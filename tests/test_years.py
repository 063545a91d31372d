"""Years of a record as tables: every finding that stands, exactly, and answers that follow from them."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from fieldlog.cli import main
from fieldlog.errors import StoreError, UsageError
from fieldlog.language.files import load_language
from fieldlog.model.context import Context
from fieldlog.shop import events as ev
from fieldlog.shop.workshop import Workshop
from fieldlog.years.ask import QUESTIONS, ask
from fieldlog.years.chart import ChartRow, chart_svg
from fieldlog.years.write import over_noise_db, write

START = datetime(2024, 3, 14, 9, 0, tzinfo=UTC)
TODAY = date(2026, 6, 1)


@pytest.fixture(scope="module")
def years(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Workshop, Path]]:
    """Two machines gone over four times in two years, and the tables of it."""
    folder = tmp_path_factory.mktemp("years")
    today = [START]
    shop = Workshop.open(folder / "shop", language=load_language(), now=lambda: today[0])
    for name, model, wears in (("grey twin", "Aster 500", 1), ("red single", "Borea 250", 2)):
        shop.add_vehicle(name, facts={"model": model})
        for turn in range(4):
            today[0] = START + timedelta(days=200 * turn)
            head = shop.begin(name, Context("GB"), inspector="Ines")
            going = shop.inspecting(head.id)
            going.type(f"odometer reading {10000 + 3000 * turn} km")
            going.type(f"front pads {8 - wears * turn} mm")
            going.type("rear tread four thirty-seconds")
            (taken,) = going.type("left mirror cracked")
            assert isinstance(taken, ev.FindingSaved)
            if turn:
                going.type("disregard that")
    write(shop, folder / "tables", TODAY)
    yield shop, folder / "tables"
    shop.close()


Years = tuple[Workshop, Path]


def test_every_finding_that_stands_is_a_row_and_no_other(years: Years) -> None:
    shop, folder = years
    kept = {
        each.id
        for head in shop.store.inspections()
        for each in shop.store.inspection_record(head.id).findings
        if each.stands
    }
    found = ask(folder, "SELECT finding FROM findings").column("finding")
    assert sorted(found) == sorted(kept)
    assert ask(folder, "SELECT count(*) FROM findings WHERE component = 'mirror'").rows == ((2,),)


def test_a_value_is_the_fraction_that_was_said(years: Years) -> None:
    rows = ask(
        years[1],
        "SELECT DISTINCT value_num, value_den, unit FROM findings WHERE characteristic = 'tread depth'",
    ).rows
    assert rows == ((1, 8, "in"),)
    assert Fraction(1, 8) == Fraction(4, 32)


def test_wear_has_each_part_with_its_rate_and_the_model(years: Years) -> None:
    answer = ask(years[1], QUESTIONS["wear"].sql)
    of = {
        model: middle
        for component, model, middle in zip(
            *(answer.column(each) for each in ("component", "model", "middle")), strict=True
        )
        if component == "brake pads"
    }
    assert of["Aster 500"] == pytest.approx(1 / 3)  # 1 mm in 3,000 km
    assert of["Borea 250"] == pytest.approx(2 / 3)


def test_what_is_beyond_most_often_comes_first(years: Years) -> None:
    answer = ask(years[1], QUESTIONS["beyond"].sql)
    for column, states in {
        "beyond": "'beyond'",
        "faulty": "'faulty'",
        "together": "'beyond', 'faulty'",
    }.items():
        told = dict(
            zip(
                zip(answer.column("component"), answer.column("model"), strict=True),
                answer.column(column),
                strict=True,
            )
        )
        counted = ask(
            years[1],
            f"SELECT component, model, count(*) FROM findings WHERE state IN ({states}) GROUP BY ALL",
        ).rows
        of_each = {(component, model): count for component, model, count in counted}
        assert {which: count for which, count in told.items() if count} == of_each
    together = list(answer.column("together"))
    assert together == sorted(together, reverse=True)


def test_a_year_that_is_gone_leaves_no_file(years: Years, tmp_path: Path) -> None:
    (tmp_path / "findings").mkdir()
    (tmp_path / "findings" / "1999.parquet").write_bytes(b"old")
    write(years[0], tmp_path, TODAY)
    assert sorted(path.name for path in (tmp_path / "findings").iterdir()) == [
        "2024.parquet",
        "2025.parquet",
    ]


@pytest.mark.parametrize(
    "sql",
    [
        "COPY findings TO 'out.csv'",
        "SELECT 1; SELECT 2",
        "SELECT * FROM read_csv('/etc/hostname')",
        "ATTACH 'x.db'",
        "SELECT nothing FROM findings",
        "INSTALL httpfs",
    ],
)
def test_a_question_only_reads_these_tables(years: Years, sql: str) -> None:
    before = sorted(years[1].rglob("*"))
    with pytest.raises(UsageError, match="the question"):
        ask(years[1], sql)
    assert sorted(years[1].rglob("*")) == before


def test_no_tables_is_a_clear_error(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="no tables are here"):
        ask(tmp_path, "SELECT 1")


def test_the_measure_of_noise_grows_with_the_speech_over_it() -> None:
    rng = np.random.default_rng(1)
    noise = rng.standard_normal(32_000) * 0.01
    speech = np.where(np.arange(32_000) // 8_000 % 2, 1.0, 0.0) * rng.standard_normal(32_000)
    levels = [
        over_noise_db((noise + gain * speech).astype(np.float32), 16_000) for gain in (0.02, 0.2)
    ]
    assert levels[0] is not None
    assert levels[1] is not None
    assert levels[1] - levels[0] == pytest.approx(
        19, abs=2
    )  # ten times the speech: 20 dB, less the noise in it
    assert over_noise_db(np.zeros(100, dtype=np.float32), 16_000) is None
    assert over_noise_db(np.zeros(16_000, dtype=np.float32), 16_000) is None


def test_the_command_prints_and_draws(years: Years, tmp_path: Path) -> None:
    picture = tmp_path / "wear.svg"
    given = ["years", "ask", "wear", "--of", str(years[1]), "--json", "--picture", str(picture)]
    done = CliRunner().invoke(main, given)
    assert done.exit_code == 0, done.output
    rows = [json.loads(line) for line in done.stdout.splitlines()]
    assert {row["model"] for row in rows} == {"Aster 500", "Borea 250"}
    assert "Aster 500" in picture.read_text(encoding="utf-8")
    refused = CliRunner().invoke(main, ["years", "ask", "rust", "--of", str(years[1])])
    assert refused.exit_code == 2


def test_a_picture_of_nothing_says_so_and_names_are_no_markup() -> None:
    assert "nothing of this" in chart_svg("worn", "mm", [])
    drawn = chart_svg("worn", "mm", [ChartRow("<script>", 2.0, (1.0, 3.0))])
    assert "<script>" not in drawn
    assert "&lt;script&gt;" in drawn
