"""What somebody meets who uses it for the first time: slips that are asked about or suggested, not punished."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from fieldlog.cli import main
from fieldlog.language.files import load_language
from fieldlog.model.understanding import Decision
from fieldlog.quantities.normalise import normalise
from fieldlog.quantities.unit_table import ROWS, Unit
from fieldlog.quantities.written_dates import dates_in_words
from fieldlog.store.repository import Repository

Run = Callable[..., Result]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    monkeypatch.setenv("FIELDLOG_HOME", str(tmp_path / "shop"))

    def call(*arguments: str, code: int = 0) -> Result:
        result = CliRunner().invoke(main, list(arguments))
        assert result.exit_code == code, result.output
        assert "Traceback" not in result.output
        return result

    return call


def test_a_vehicle_is_found_in_any_case_and_two_are_asked_about(run: Run) -> None:
    run("vehicle", "add", "Blue Roadster")
    assert "Blue Roadster" in run("vehicle", "show", "blue  roadster").output
    run("inspection", "start", "BLUE ROADSTER")
    run("vehicle", "add", "blue ROADSTER")
    asked = run("vehicle", "show", "blue roadster", code=2).output
    assert "can be vehicle 1 (Blue Roadster), 2 (blue ROADSTER)" in asked
    assert "   2  blue ROADSTER" in run("vehicle", "show", "blue ROADSTER").output


def test_a_session_of_a_vehicle_in_another_case_makes_no_second_one(tmp_path: Path) -> None:
    from fieldlog.shop.workshop import Workshop

    with Workshop.open(tmp_path) as shop:
        shop.add_vehicle("Blue Roadster")
        assert shop.begin("blue roadster").vehicle_name == "Blue Roadster"
        assert len(shop.store.vehicles()) == 1


def test_a_vehicle_is_renamed_everywhere_and_its_old_name_stays_in_the_log(run: Run) -> None:
    run("vehicle", "add", "red single")
    run("inspection", "start", "1")
    run("vehicle", "rename", "red single", "red single, sold")
    assert "red single, sold" in run("inspection", "list").output
    run("vehicle", "show", "red single", code=2)
    assert "named: name red single, sold" in run("vehicle", "show", "Red Single, sold").output
    assert "agrees with itself" in run("inspection", "verify").output
    assert "a vehicle has a name" in run("vehicle", "rename", "1", " ", code=2).output


def test_a_name_that_another_program_garbled_hides_no_vehicle(run: Run, tmp_path: Path) -> None:
    run("vehicle", "add", "red single")
    with Repository.open(tmp_path / "shop") as store:
        vehicle = store.vehicle("1")
        for data in ({"name": "  "}, {"nom": "x"}):
            store.add_log(vehicle.id, "named", data)
        store.set_facts(vehicle.id, {"colour": "red"})
    assert "red single" in run("vehicle", "list").output
    run("vehicle", "rename", "1", "7")
    assert "7" in run("vehicle", "show", "1").output


def test_a_tyre_written_with_dashes_is_no_date() -> None:
    said = load_language().understand("front tyre size 90-90-21")
    assert "slash" not in said.reason
    assert dates_in_words("front tyre 90-90-21") == "front tyre 90-90-21"
    assert dates_in_words("front tyre 90/90-21") == "front tyre 90/90-21"


def test_what_is_open_or_was_not_taken_is_listed_with_its_clip(run: Run, tmp_path: Path) -> None:
    run("vehicle", "add", "red single")
    run("inspection", "start", "1")
    run("inspection", "enter", "tyre 36 psi")
    run("inspection", "enter", "purple monkey", code=2)
    shown = run("inspection", "show").output
    assert "open       Which end: front or rear?  heard: tyre 36 psi" in shown
    assert re.search(r"not taken  .*purple", shown)
    run("inspection", "enter", "rear")
    assert "Which end" not in run("inspection", "show").output


def test_a_remark_is_put_to_a_finding_and_goes_with_its_correction(
    run: Run, tmp_path: Path
) -> None:
    run("vehicle", "add", "red single")
    run("inspection", "start", "1")
    run("inspection", "enter", "rear tread four thirty-seconds")
    run("inspection", "remark", "--finding", "1", "measured twice")
    run("inspection", "correct", "1", "rear tread three thirty-seconds")
    assert "measured twice (of no. 1)" in run("inspection", "show").output
    kept = json.loads(run("inspection", "show", "--json").output)
    assert kept["remarks"][0]["finding_id"] == kept["findings"][0]["id"]
    run("report", "--html", "--out", str(tmp_path))
    page = next(tmp_path.glob("*.html")).read_text(encoding="utf-8")
    assert "remark: measured twice" in page
    told = run("inspection", "remark", "--finding", "9", "x", code=2).output
    assert "no finding 9 stands" in told


@pytest.mark.parametrize(
    ("code", "close"),
    [("usva", "US-VA"), ("us va", "US-VA"), ("GBR", "GB"), ("US-VAA", "US-VA")],
)
def test_a_jurisdiction_written_otherwise_is_suggested(run: Run, code: str, close: str) -> None:
    told = run("parse", "left mirror loose", "--jurisdiction", code, code=2).output
    assert "did you mean " in told
    assert close in told


@pytest.mark.parametrize(
    "command", ["parse", "hear", "why", "listen", "inspection start", "limits list"]
)
def test_jurisdictions_in_help_texts_exist(run: Run, command: str) -> None:
    from fieldlog.limits.context import JURISDICTIONS

    help_ = run(*command.split(), "--help").output
    named = set(re.findall(r"(?<![\w-])(?:US|GB|DE|FR|EU|NZ|CA|AU|UK)(?:-[A-Z]{2,3})?\b", help_))
    assert named
    assert named <= set(JURISDICTIONS)


def test_an_empty_store_is_refused(run: Run) -> None:
    told = run("vehicle", "list", "--store", "", code=2).output
    assert "names no folder" in told


def test_an_odometer_has_a_range(run: Run) -> None:
    for text in ("99999999 km", "1300000 mi"):
        assert "farther than" in run("vehicle", "add", "x", "--odometer", text, code=2).output
    run("vehicle", "add", "x", "--odometer", "1250000 mi")


def test_the_word_last_before_words_is_told(run: Run) -> None:
    run("vehicle", "add", "x")
    run("inspection", "start", "1")
    told = run("inspection", "enter", "last", "rear", "tread", "4/32", "in", code=2).output
    assert "--inspection last" in told
    run("inspection", "enter", "--inspection", "last", "rear tread 4/32 in")


def test_an_odd_entry_of_the_log_is_told_and_hides_nothing(run: Run, tmp_path: Path) -> None:
    run("vehicle", "add", "x")
    run("vehicle", "done", "1", "brake fluid changed")
    with Repository.open(tmp_path / "shop") as store:
        for data in ({"words": "oil"}, {"interval": "engine oil", "on": "soon"}):
            store.add_log(store.vehicle("1").id, "done", data)
    told = run("vehicle", "due", "1").output
    assert told.count("cannot be read") == 2
    assert "brake fluid" in told


DATES = {
    "03/04/2026": {"2026-03-04", "2026-04-03"},
    "3.4.2026": {"2026-03-04", "2026-04-03"},
    "3-4-2026": {"2026-03-04", "2026-04-03"},
    "3/4/26": {"2026-03-04", "2026-04-03"},
    "03.04.26": {"2026-03-04", "2026-04-03", "2003-04-26"},
    "31/12/26": {"2026-12-31", "2031-12-26"},
    "12/26": {"2026-12"},  # or the 26th of December, of which year nobody said: asked
    "31/12/2026": {"2026-12-31"},
    "12/31/2026": {"2026-12-31"},
    "31. 12. 2026": {"2026-12-31"},
    "2026/12/31": {"2026-12-31"},
    "2026.12.31": {"2026-12-31"},
    "20261231": {"2026-12-31"},
    "31 Dec 2026": {"2026-12-31"},
    "31-Dec-2026": {"2026-12-31"},
    "Dec 31, 2026": {"2026-12-31"},
    "3 sept 2026": {"2026-09-03"},
    "12/2026": {"2026-12"},
    "12.2026": {"2026-12"},
    "2026-12": {"2026-12"},
    "Dec 2026": {"2026-12"},
    "31/2/2026": set(),
    "90-90-21": set(),
    "30/2/26": set(),
}


@pytest.mark.parametrize("written", DATES)
def test_a_date_as_people_write_it_is_taken_or_asked(written: str) -> None:
    """One that can be several days is asked about; one that is no day is refused."""
    said = load_language().understand(f"insurance expires {written}")
    meant = {one.code for one in said.candidates} or {said.finding.code if said.finding else None}
    assert meant - {None} == DATES[written]
    if len(meant) > 1:
        assert said.decision is Decision.ASK


def test_days_of_options_may_be_written_so_too(run: Run) -> None:
    run("vehicle", "add", "x")
    run("inspection", "start", "1", "--on", "14.3.2026")
    assert "2026-03-14" in run("inspection", "list").output
    told = run("inspection", "start", "1", "--on", "4.3.2026", code=2).output
    assert "2026-03-04 or 2026-04-03" in told
    told = run("vehicle", "due", "1", "--on", "soon", code=2).output
    assert "write it like" in told
    run("vehicle", "due", "1", "--on", "14 Mar 2026")


@pytest.mark.parametrize("unit", [row for row in ROWS if row.printed], ids=lambda row: row.symbol)
def test_a_unit_is_typed_as_it_is_printed(unit: Unit) -> None:
    words = normalise(f"7 {unit.printed}".lower()).text
    assert words == f"seven {unit.typed_as or unit.many}"


@pytest.mark.parametrize(
    "written",
    ["80 lbf·ft", "80 ft-lb", "80 foot pounds", "80 lb-ft", "80 ft lbs", "80 lbs ft", "80 lb/ft"],
)
def test_pound_feet_are_typed_as_people_do(written: str) -> None:
    said = load_language().understand(f"rear axle nut {written}")
    assert said.finding is not None
    assert said.finding.quantity is not None
    assert (said.finding.quantity.value, said.finding.quantity.unit) == (80, "lbf.ft")
