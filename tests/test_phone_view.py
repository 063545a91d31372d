"""What the phone's page tells of what happened: what took nothing is not told as taken, and no danger is left out."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from fieldlog.serve.phone.view import Table, happened, stands
from fieldlog.shop import events as ev
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.workshop import Workshop


@pytest.fixture
def inspecting(tmp_path: Path) -> Iterator[Inspecting]:
    with Workshop.open(tmp_path / "record") as shop:
        yield shop.inspecting(shop.begin("grey twin").id)


def told(inspecting: Inspecting, words: str) -> list[Table]:
    return happened(inspecting.type(words))


def kinds(lines: list[Table]) -> list[str]:
    return [line["kind"] for line in lines]


def test_what_takes_nothing_is_not_told_as_taken(inspecting: Inspecting) -> None:
    assert kinds(told(inspecting, "disregard that")) == ["nothing to take"]
    assert kinds(told(inspecting, "skip the sidecar, no time")) != ["taken"]
    (asked,) = inspecting.type("fork seal leaking")
    assert isinstance(asked, ev.Asked)
    (line,) = happened([ev.AskedAgain(asked.said, asked.said.understanding)])
    assert (line["kind"], line["heard"]) == ("still asked", "fork seal leaking")
    assert "left or right" in line["words"]


def test_what_is_asked_for_is_shown(inspecting: Inspecting) -> None:
    assert told(inspecting, "read back")[0]["words"] == "no finding stands"
    told(inspecting, "rear tread one thirty-second")
    (read,) = told(inspecting, "read back")
    assert (read["kind"], read["verdict"], read["severity"]) == ("read back", "beyond", "dangerous")
    (how,) = told(inspecting, "how to check the chain")
    assert how["kind"] == "how to check"
    assert len(how["words"]) > 20
    assert kinds(told(inspecting, "stand by")) == ["standing by"]


def test_of_a_breath_the_worst_is_the_last_finding(tmp_path: Path) -> None:
    with Workshop.open(tmp_path / "record") as shop:
        inspecting = shop.inspecting(shop.begin("grey twin").id)
        inspecting.type("left mirror loose")
        inspecting.type("rear tread one thirty-second, horn works")
        record = inspecting.record
        last = stands(record, shop.progress(record), None, lambda text, asked: asked)["last"]
    assert (last["number"], last["dangerous"]) == (2, True)


def test_before_signing_the_worst_is_told_first_and_the_addendum_behind_it(
    inspecting: Inspecting,
) -> None:
    for words in ("left mirror loose", "rear tread one thirty-second", "front brake pads three"):
        told(inspecting, words)
    before = told(inspecting, "sign off the inspection")
    first = next(line for line in before if line["kind"] != "asked")
    assert (first["kind"], first["dangerous"]) == ("not put right", True)
    assert {"not answered", "not looked at"} <= set(kinds(before))
    assert "signed off" in kinds(told(inspecting, "affirm"))
    assert "addendum" in kinds(told(inspecting, "horn works"))
