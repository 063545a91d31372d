"""A remark that is taken back: by voice right behind it, by hand, by a reviewer; it stays in the record."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from fieldlog.cli import main
from fieldlog.errors import UsageError
from fieldlog.language.files import load_language
from fieldlog.report.lines import after_signature
from fieldlog.review.exchanges import exchanges_of
from fieldlog.shop import events as ev
from fieldlog.shop.proving import prove
from fieldlog.shop.saying import Say, saying
from fieldlog.shop.workshop import Workshop
from fieldlog.store.repository import Repository
from fieldlog.store.reviews import Decided
from fieldlog.words import spoken
from fieldlog.words.aloud import aloud

START = datetime(2026, 5, 4, 9, tzinfo=UTC)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Workshop]:
    count = iter(range(100_000))
    with Workshop.open(
        tmp_path / "shop",
        language=load_language(),
        now=lambda: START + timedelta(seconds=next(count)),
    ) as opened:
        opened.begin("blue roadster", started_at=START, inspector="A. Smith")
        yield opened


def test_disregard_behind_a_remark_is_of_the_remark(shop: Workshop) -> None:
    """It took the finding before it, which nobody had meant."""
    inspecting = shop.inspecting()
    inspecting.type("rear tyre bulging")
    inspecting.type("remark it pulls to the left")
    inspecting.type("read back")
    (gone, *_) = inspecting.type("disregard that")
    assert isinstance(gone, ev.RemarkTakenBack)
    assert "pulls to the left" in gone.text
    assert saying((gone,), Say.VALUES).words == aloud(spoken.REMARK_TAKEN_BACK)
    assert [each.stands for each in inspecting.record.findings] == [True]
    assert [each.taken_back for each in inspecting.record.remarks] == [True]
    (withdrawn, *_) = inspecting.type("disregard that")
    assert isinstance(withdrawn, ev.FindingWithdrawn)


def test_a_finding_behind_the_remark_comes_first(shop: Workshop) -> None:
    inspecting = shop.inspecting()
    inspecting.type("remark it pulls to the left")
    inspecting.remark("typed by hand")
    inspecting.type("rear tyre bulging")
    first, *_ = inspecting.type("disregard that")
    assert isinstance(first, ev.FindingWithdrawn)
    again, *_ = shop.inspecting().type("disregard that")  # another process: the record tells
    assert isinstance(again, ev.RemarkTakenBack)
    nothing, *_ = shop.inspecting().type("disregard that")  # by hand is nothing that was said
    assert isinstance(nothing, ev.NothingToTake | ev.GoneAlready)
    assert [each.taken_back for each in inspecting.record.remarks] == [True, False]


def test_work_that_a_remark_told_is_not_done_once_it_is_taken_back(shop: Workshop) -> None:
    inspecting = shop.inspecting()
    inspecting.remark("engine oil changed today")
    (one,) = inspecting.record.remarks
    vehicle = inspecting.record.vehicle.id
    assert [text for _, text in shop.store.remarks(vehicle)] == ["engine oil changed today"]
    inspecting.take_back_remark(one.id)
    assert shop.store.remarks(vehicle) == ()
    with pytest.raises(UsageError, match="taken back already"):
        inspecting.take_back_remark(one.id)
    with pytest.raises(UsageError, match="no such remark"):
        inspecting.take_back_remark("nothing")
    assert prove(shop.store.folder, None, (), START).faults == ()


def test_a_reviewer_takes_back_what_he_remarked_and_what_others_did(shop: Workshop) -> None:
    inspecting = shop.inspecting()
    inspecting.type("rear tyre bulging")
    desk = shop.reviewing("last", "R. Jones")
    one = exchanges_of(desk.record)[0]
    desk.remark(one.id, one.state, "seen twice")
    desk.undo()
    one = exchanges_of(desk.record)[0]
    desk.remark(one.id, one.state, "seen by two")
    with pytest.raises(UsageError, match="there is nothing to take back"):
        shop.reviewing("last", "B. Brown").undo()
    other, one = shop.reviewing("last", "B. Brown"), exchanges_of(desk.record)[0]
    other.take_back_remark(one.id, one.state, desk.record.remarks[-1].id)
    with pytest.raises(UsageError, match="taken back already"):
        desk.undo()
    with pytest.raises(UsageError, match="not brought back"):
        other.undo()
    assert [each.taken_back for each in desk.record.remarks] == [True, True]
    assert desk.record.decisions[-1].decided is Decided.UNREMARKED


def test_it_is_told_in_every_output(shop: Workshop, tmp_path: Path) -> None:
    inspecting = shop.inspecting()
    inspecting.remark("owner was told")
    inspecting.sign_off("A. Smith", as_it_stands=True)
    folder = str(shop.store.folder)

    def run(*words: str) -> str:
        result = CliRunner().invoke(main, ["inspection", *words, "--store", folder])
        assert result.exit_code in (0, 2), result.output
        return result.output

    assert "remark taken back: owner was told" in run("remark", "--take-back", "1")
    assert "there is no remark 2" in run("remark", "--take-back", "2")
    assert "give the words" in run("remark")
    assert "owner was told" not in run("show")
    assert "owner was told  (taken back)" in run("show", "--all")
    assert after_signature(inspecting.record) == ("1 remark taken back",)
    shop.report(out=tmp_path, formats=("html", "json"))
    html, document = (
        next(tmp_path.glob(f"*.{kind}")).read_text("utf-8") for kind in ("html", "json")
    )
    assert "taken back, counts for nothing" in html
    assert json.loads(document)["remarks"][0]["taken_back"] is True
    with Repository.look(shop.store.folder) as looked:
        assert looked.inspection_record("last").remarks[0].taken_back
