"""Going through an inspection on the terminal, and hearing it once more."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from fieldlog.cli import inspection_review
from fieldlog.language.files import load_language
from fieldlog.shop.sheets import Sheets
from fieldlog.shop.workshop import Workshop
from fieldlog.store.reviews import Decided
from tests.demo_spoken import heard_demo
from tests.spoken import Stub, run, stub_listener

LANGUAGE = load_language()


@pytest.fixture
def record(tmp_path: Path) -> tuple[Path, str]:
    folder = tmp_path / "record"
    return folder, heard_demo(folder, LANGUAGE)


@pytest.mark.uncounted
def test_the_list_is_shown_where_nobody_can_answer(record: tuple[Path, str]) -> None:
    told = run("inspection", "questions", "--store", record[0])
    assert told.exit_code == 0, told.output
    assert "1  front brake pads, thickness: 2 mm" in told.stdout
    assert "too few to state" in told.stdout
    blind = told.stdout.split("drawn blind")[1]
    assert "stands:" not in blind
    listed = json.loads(run("inspection", "questions", "--json", "--store", record[0]).stdout)
    assert [each["group"] for each in listed["items"][:5]] == ["decide"] * 4 + ["blind"]


@pytest.mark.uncounted
def test_answers_are_typed(
    record: tuple[Path, str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    answers = iter([
        "7", "throttle free play four millimetres", "u", "x", "", "1", "", "2", "",
        "chain slack one and three quarter inches",
    ])  # fmt: skip
    monkeypatch.setattr("click.prompt", lambda *a, **k: next(answers, "q"))
    with Workshop.open(record[0], language=LANGUAGE) as shop:
        sheets = Sheets(shop)
        reviewing = sheets.reviewing(record[1], "R. Jones")
        inspection_review._gone_through(
            shop, sheets, lambda: sheets.sheet(record[1], "R. Jones"), reviewing
        )
        made = shop.store.inspection_record(record[1])
    assert [each.decided for each in made.decisions] == [
        Decided.NOTHING, Decided.ADDED, Decided.NOTHING, Decided.CORRECTED, Decided.AS_HEARD,
    ]  # fmt: skip
    assert "no such reading" in capsys.readouterr().out


def test_what_is_heard_otherwise_is_listed_and_changes_nothing_until_it_is_accepted(
    record: tuple[Path, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    stub_listener(monkeypatch)  # hears the same in everything
    before = _findings(record)
    told = run("inspection", "rehear", "--store", record[0], "--json")
    assert told.exit_code == 0, told.output
    lines = [json.loads(line) for line in told.stdout.splitlines()]
    one = next(each for each in lines if each["was"].startswith("the battery reads"))
    assert one["differs"] == "heard otherwise"
    assert one["heard"] == ["front tyre, tread depth: 4/32 in"]
    assert all(each["was"] != "front tyre tread is at four thirty seconds" for each in lines)
    assert _findings(record) == before
    number = str(one["utterance"])
    none = run("inspection", "rehear", "--store", record[0], "--accept", "99")
    assert "there is no utterance 99" in none.output
    taken = run(
        "inspection", "rehear", "--store", record[0], "--accept", number, "--as", "R. Jones"
    )
    assert "taken:" in taken.stdout, taken.output
    after = _findings(record)
    assert len(after) == len(before) + 1
    assert Stub.name == "stub"


def test_where_nothing_is_heard_nothing_is_told_as_heard(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stub_listener(monkeypatch)
    with Workshop.open(tmp_path, language=LANGUAGE) as shop:
        shop.inspecting(shop.begin("grey twin").id).type("horn works")
    told = run("inspection", "rehear", "--store", tmp_path)
    assert told.stdout.startswith("nothing is heard"), told.output


def _findings(record: tuple[Path, str]) -> list[tuple[str, bool]]:
    with Workshop.open(record[0], language=LANGUAGE) as shop:
        return [(each.id, each.stands) for each in shop.store.inspection_record(record[1]).findings]
