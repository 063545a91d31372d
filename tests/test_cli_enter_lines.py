"""``inspection enter -``: a phrase on each line; what was not taken is told with its line, nothing else is lost."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from fieldlog.cli import main
from fieldlog.errors import StoreError
from fieldlog.shop.inspecting import Inspecting


@pytest.fixture
def store(tmp_path: Path) -> str:
    place = str(tmp_path / "shop")
    for words in (["vehicle", "add", "blue"], ["inspection", "start", "blue"]):
        assert CliRunner().invoke(main, [*words, "--store", place]).exit_code == 0
    return place


def entered(store: str, lines: bytes) -> Result:
    return CliRunner().invoke(main, ["inspection", "enter", "-", "--store", store], input=lines)


def test_each_line_is_a_phrase_and_the_wrong_ones_are_named(store: str) -> None:
    result = entered(
        store,
        b"\xef\xbb\xbfleft mirror loose\r\n\nrubbish here\n\xff\xfe\nfront pads two\nyes\nwhy",
    )
    assert result.exit_code == 9
    for part in ("left mirror: loose", "front brake pads, thickness: 2 mm", "2 mm?"):
        assert part in result.stdout
    assert "2 lines of standard input not taken" in result.stderr
    assert "line 3: 'rubbish here' was not understood" in result.stderr
    assert "line 4: it is no text in UTF-8" in result.stderr
    assert "line 5" not in result.stderr
    shown = CliRunner().invoke(main, ["inspection", "show", "--store", store]).output
    assert "left mirror: loose" in shown
    assert "rubbish here" in shown


def test_what_the_record_cannot_take_is_named_with_all_behind_it(
    store: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    types = Inspecting.type

    def full(inspecting: Inspecting, text: str) -> object:
        if text == "horn weak":
            raise StoreError("the disk is full", todo="make room")
        return types(inspecting, text)

    monkeypatch.setattr(Inspecting, "type", full)
    result = entered(store, b"left mirror loose\nhorn weak\nchain dry\n")
    assert result.exit_code == 9
    assert "line 2: 'horn weak' was not saved: the disk is full" in result.stderr
    assert "line 3: 'chain dry' was not entered" in result.stderr
    assert "make room" in result.stderr
    shown = CliRunner().invoke(main, ["inspection", "show", "--store", store]).output
    assert "left mirror: loose" in shown
    assert "drive chain" not in shown


def test_all_taken_is_no_error(store: str) -> None:
    assert entered(store, b"left mirror loose\nchain dry\n").exit_code == 0
    assert entered(store, b"").exit_code == 0
