"""An inspection that is read again reads what came since: it has to be what is read from the start."""

from __future__ import annotations

import random
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from fieldlog.language.files import load_language
from fieldlog.model.context import Context
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.workshop import Workshop
from fieldlog.store.records import NewEntry, NewEvent
from fieldlog.store.repository import Repository
from fieldlog.store.standing import Correction, WhatStands, standing

SAID = (
    "left mirror loose",
    "correction left mirror cracked",
    "rear brake pads three millimetres then front two millimetres",
    "brake fluid low",
    "front",
    "disregard that",
    "remark it pulls to the left",
    "disregard that",
    "take photo",
    "skip the horn, no time",
    "cell one one point two six",
    "cell two one point one five",
    "correction cell two one point two five",
    "sign off the inspection",
    "affirm",
    "rear sprocket is hooked",
    "correction rear sprocket is worn",
)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Workshop]:
    with Workshop.open(tmp_path / "one", language=load_language()) as opened:
        yield opened


def begun(shop: Workshop) -> Inspecting:
    return shop.inspecting(shop.begin(context=Context("US-VA")).id)


def anew(shop: Workshop, inspecting: Inspecting) -> object:
    with Repository.look(shop.store.folder) as other:
        return other.inspection_record(inspecting.head.id)


def test_what_is_read_onward_is_what_is_read_from_the_start(shop: Workshop) -> None:
    inspecting = begun(shop)
    for words in (*SAID, *SAID[:6]):
        inspecting.type(words)
        assert inspecting.record == anew(shop, inspecting), words
    assert any(not each.stands for each in inspecting.record.findings)
    assert any(each.made_after_signature for each in inspecting.record.findings)
    assert inspecting.record is inspecting.record


def test_what_another_program_wrote_meanwhile_is_read(shop: Workshop) -> None:
    inspecting = begun(shop)
    inspecting.type("left mirror loose")
    with Workshop.open(shop.store.folder, language=load_language()) as other:
        other.inspecting(inspecting.head.id).type("correction left mirror cracked")
    assert inspecting.record == anew(shop, inspecting)
    assert [each.finding.condition for each in inspecting.record.findings if each.stands] == [
        "cracked"
    ]


def test_what_was_merged_in_between_is_read(shop: Workshop, tmp_path: Path) -> None:
    """Another copy corrected the same finding earlier: its rows come before those that were read already."""
    inspecting = begun(shop)
    inspecting.type("left mirror loose")
    shutil.copytree(shop.store.folder, tmp_path / "other")
    with Workshop.open(tmp_path / "other", language=load_language()) as other:
        other.inspecting(inspecting.head.id).type("correction left mirror cracked")
    inspecting.type("correction left mirror missing")
    assert inspecting.record.findings
    shop.store.merge(tmp_path / "other")
    assert inspecting.record == anew(shop, inspecting)
    assert any(each.rivals for each in inspecting.record.findings)


def test_more_rows_than_are_asked_for_by_their_ids_are_read_once(shop: Workshop) -> None:
    """Two hundred photos came between two utterances: every utterance before them was told twice."""
    inspecting = begun(shop)
    inspecting.type("left mirror loose")
    assert inspecting.record.utterances
    came = tuple(NewEvent("came", str(number)) for number in range(300))
    shop.store.save(inspecting.head.id, NewEntry(events=came))
    assert inspecting.record == anew(shop, inspecting)
    assert len(inspecting.record.utterances) == 1


def test_corrections_one_after_the_other_come_to_what_they_come_to_together() -> None:
    rng = random.Random(3)
    for _ in range(300):
        corrections: list[Correction] = []
        made = [f"f{n}" for n in range(4)]
        for n in range(rng.randrange(1, 9)):
            new = rng.choice((None, f"r{n}"))
            hash = bytes([rng.randrange(256)])
            corrections.append(Correction(rng.choice(made), new, n // 2, hash, "", f"c{n}"))
            made += [new] if new else []
        step = WhatStands(())
        for each in corrections:
            step.take([each])
        whole = standing(corrections)
        assert (step.fallen, step.supersedes) == (whole.fallen, whole.supersedes)
        assert (step.rivals, step.kept) == (whole.rivals, whole.kept)
