"""The picture of an utterance's life is made from the calls that one makes."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from fieldlog.lab.life import BOTH, SPOKEN, TYPED_ONLY, Call, Traced, lives, picture, rows

DOCS = Path(__file__).resolve().parents[1] / "docs"


@pytest.fixture(scope="module")
def both() -> tuple[Traced, Traced]:
    return lives()


def test_the_picture_is_current(tmp_path: Path) -> None:
    """Drawn in a process of its own: what other tests had remembered already would not be called."""
    now = tmp_path / "now.svg"
    command = [sys.executable, "-m", "fieldlog.lab", "life", "--out", str(now)]
    subprocess.run(command, cwd=DOCS.parent, check=True, capture_output=True)
    drawn = (DOCS / "life-of-an-utterance.svg").read_text(encoding="utf-8")
    assert now.read_text(encoding="utf-8") == drawn, "run: python -m fieldlog.lab life"


def test_typed_and_spoken_words_are_judged_and_saved_by_the_same_calls(
    both: tuple[Traced, Traced],
) -> None:
    made = dict(rows(both[0].calls, both[1].calls))
    for call in (
        Call("shop", "store", "Repository.inspection_record"),
        Call("shop", "limits", "assess.assess"),
        Call("shop", "store", "Repository.save"),
        Call("shop", "face", "FindingSaved"),
    ):
        assert made[call] == BOTH
    assert made[Call("shop", "hearing", "hearing.hear_clip")] == SPOKEN


def test_the_page_speaks_of_every_package_of_the_picture(both: tuple[Traced, Traced]) -> None:
    page = (DOCS / "life-of-an-utterance.md").read_text(encoding="utf-8")
    for call in both[0].calls + both[1].calls:
        assert f"`{call.callee}`" in page, call


def test_a_way_of_its_own_would_show() -> None:
    save, judge, own = (Call("shop", "store", name) for name in ("save", "judge", "save_typed"))
    assert rows([judge, save], [judge, save]) == [(judge, BOTH), (save, BOTH)]
    assert rows([judge, save], [judge, own]) == [(judge, BOTH), (save, SPOKEN), (own, TYPED_ONLY)]
    one, two = Traced((judge, save), frozenset()), Traced((judge, own), frozenset())
    assert picture(one, two) != picture(one, one)
