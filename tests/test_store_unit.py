"""An utterance and all that follows from it: all of it or nothing, and never twice."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from fieldlog.errors import StoreError, UsageError
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.state import State
from fieldlog.model.understanding import Kind
from fieldlog.store.ids import new_id
from fieldlog.store.records import NewEntry, NewEvent, NewFinding, NewUtterance, Saved
from fieldlog.store.repository import Repository
from tests.broken_connection import BrokenConnection
from tests.store_plain import plain
from tests.store_samples import CRACKED, RUN_OUT, START, fill, ticking, tread_verdict, understood

LATER = START + timedelta(minutes=5)
SAID = NewUtterance(
    understood("correction rear tread three thirty seconds"),
    said_at=LATER,
    hearings=(Hearing("whisper", (Hypothesis("rear tread three", -0.1),), 80.0),),
)
NEW = Finding("tyre", "rear", "tread depth", Quantity(Fraction(3, 32), "in"), readings=())


@dataclass(frozen=True)
class Standing:
    """A store in which one finding is to be corrected and another judged again."""

    store: Repository
    inspection: str
    old: str
    other: str
    name: str

    def say(self, **changes: Any) -> Saved:
        """Everything an utterance can bring with it, at once."""
        given = {
            "finding": replace(NEW, readings=RUN_OUT.readings),
            "verdict": tread_verdict(),
            "further": (NewFinding(CRACKED, tread_verdict(State.BEYOND)), NewFinding(NEW)),
            "remark": "worn in the middle",
            "mark": "photo",
            "corrects": self.old,
            "reason": "spoken correction",
            "events": (NewEvent("skipped", "no gauge", {"item": "front tyre"}),),
            "verdicts": ((self.other, tread_verdict(State.UNDECIDED)),),
            **changes,
        }
        name = given.pop("utterance_id", self.name)
        utterance = replace(given.pop("utterance", SAID), id=name)
        inspection = given.pop("inspection", self.inspection)
        return self.store.save(inspection, NewEntry(utterance, **given))

    def read(self) -> object:
        return plain(self.store.inspection_record(self.inspection))


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str, str, str]:
    folder = tmp_path_factory.mktemp("template")
    with Repository.open(folder / "shop", now=ticking()) as store:
        filled = fill(store, folder)
    return folder / "shop", filled.inspection_id, filled.corrected_id, filled.cracked_id


@pytest.fixture
def standing(tmp_path: Path, template: tuple[Path, str, str, str]) -> Iterator[Standing]:
    shutil.copytree(template[0], tmp_path / "shop")
    with Repository.open(tmp_path / "shop", now=ticking(LATER)) as store:
        yield Standing(store, *template[1:], new_id(LATER))


def test_all_that_follows_is_one_unit(standing: Standing) -> None:
    saved = standing.say()
    record = standing.store.inspection_record("last")
    by_id = {each.id: each for each in record.findings}
    assert saved.utterance_id == record.utterances[-1].id == standing.name
    assert by_id[standing.old].superseded_by == saved.finding_id
    assert by_id[standing.other].verdict == tread_verdict(State.UNDECIDED)
    assert saved.finding_id is not None
    assert by_id[saved.finding_id].verdict == tread_verdict()
    assert by_id[saved.finding_id].number == saved.number == 6
    assert [number for _, number in saved.further] == [7, 8]
    further = [by_id[name] for name, _ in saved.further]
    assert [each.finding for each in further] == [CRACKED, NEW]
    assert [each.verdict for each in further] == [tread_verdict(State.BEYOND), None]
    assert {each.utterance_id for each in further} == {standing.name}
    assert record.remarks[-1].id == saved.remark_id
    assert (record.marks[-1].id, record.marks[-1].finding_id) == (saved.mark_id, saved.finding_id)
    assert record.events[-1].text == "no gauge"
    assert standing.store.verify().agrees


def test_an_error_or_a_crash_at_any_write_leaves_nothing_and_no_retry_doubles(
    standing: Standing, tmp_path: Path
) -> None:
    """Each write in turn fails; the folder as it is at that instant is what a crash would leave."""
    before = standing.read()
    connection = standing.store.engine.connection
    failed = []
    for failing in range(100):
        crashed = tmp_path / f"crashed {failing}"
        broken = BrokenConnection(connection, failing, crashed)
        standing.store.engine.connection = broken
        try:
            first = standing.say()
        except StoreError:
            failed.append(broken.failed.split("(")[0])
        standing.store.engine.connection = connection
        if not broken.failed:
            break
        assert standing.read() == before
        with Repository.open(crashed) as left:
            assert plain(left.inspection_record("last")) == before
            assert left.verify().agrees
    tables = {sql.split()[2] for sql in failed if sql.startswith("INSERT INTO")}
    assert {"utterance", "hypothesis", "finding", "reading", "verdict", "judgement"} <= tables
    assert {"correction", "remark", "mark", "event", "record"} <= tables
    assert failed[0] == "BEGIN IMMEDIATE"
    assert failed[-1] == "COMMIT"
    after = standing.read()
    assert standing.say() == first
    assert standing.read() == after
    assert standing.store.verify().agrees


def test_trying_again_in_another_program_returns_what_was_saved(standing: Standing) -> None:
    first = standing.say()
    rows = standing.store.verify().rows
    with Repository.open(standing.store.folder, now=ticking(LATER)) as other:
        assert replace(standing, store=other).say() == first
        assert other.verify().rows == rows


@pytest.mark.parametrize(
    "change",
    [
        {"utterance": replace(SAID, start_s=1.0)},
        {"utterance": replace(SAID, hearings=())},
        {"finding": NEW},
        {"finding": CRACKED},
        {"verdict": tread_verdict(State.BEYOND)},
        {"verdict": None},
        {"further": ()},
        {"further": (NewFinding(NEW), NewFinding(CRACKED, tread_verdict(State.BEYOND)))},
        {"remark": None},
        {"remark": "worn at the edge"},
        {"mark": None},
        {"events": ()},
        {"corrects": None},
        {"reason": "misheard"},
        {"verdicts": ()},
        {"finding": None, "verdict": None},
    ],
    ids=str,
)
def test_the_same_id_with_other_content_is_refused(
    standing: Standing, change: dict[str, Any]
) -> None:
    standing.say()
    after = standing.read()
    with pytest.raises(StoreError, match="is in the record already, with other content"):
        standing.say(**change)
    assert standing.read() == after


def test_what_was_saved_alone_takes_nothing_in_later(standing: Standing) -> None:
    """The shorter call first: the longer one is no retry of it."""
    store = standing.store
    store.save(standing.inspection, NewEntry(replace(SAID, id=standing.name)))
    after = standing.read()
    with pytest.raises(StoreError, match="other content"):
        standing.say()
    assert standing.read() == after


def test_the_id_of_another_inspections_utterance_is_refused(standing: Standing) -> None:
    standing.say()
    record = standing.store.inspection_record("last")
    elsewhere = standing.store.start_inspection(record.vehicle.id)
    with pytest.raises(StoreError, match="other content"):
        standing.store.save(elsewhere.id, NewEntry(replace(SAID, id=standing.name)))


@pytest.mark.parametrize(
    "name", ["", "short", "with space 0123456789", "A" * 20, "x" * 41, "a-b" * 8]
)
def test_an_id_that_cannot_be_one_is_refused(standing: Standing, name: str) -> None:
    before = standing.read()
    with pytest.raises(UsageError, match="cannot be the id of an utterance"):
        standing.say(utterance_id=name)
    assert standing.read() == before


def test_a_verdict_on_a_finding_of_another_inspection_saves_nothing(standing: Standing) -> None:
    record = standing.store.inspection_record("last")
    elsewhere = standing.store.start_inspection(record.vehicle.id)
    foreign = standing.store.save(elsewhere.id, NewEntry(finding=CRACKED))
    before = standing.read()
    with pytest.raises(UsageError, match="belongs to another inspection"):
        standing.say(verdicts=[(foreign.finding_id, tread_verdict())])
    with pytest.raises(UsageError, match="there is no finding"):
        standing.say(verdicts=[("nothing", tread_verdict())])
    assert standing.read() == before


def test_without_an_id_each_call_is_an_utterance_of_its_own(standing: Standing) -> None:
    said = replace(SAID, understanding=understood("again", kind=Kind.REMARK))
    first = standing.store.save(standing.inspection, NewEntry(said))
    assert standing.store.save(standing.inspection, NewEntry(said)) != first
