"""Two versions of the code on the same clips: what each came to, and the page of it."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldlog.lab.benchmarks.earlier import (
    ASKED,
    LEFT,
    OFFERED,
    REFUSED,
    RIGHT,
    WRONG,
    Came,
    Spoken,
    came_to,
    page,
)

BOTH = Spoken(Path("a.flac"), "clean", "both wheels drag", True)
HALF = Spoken(Path("b.flac"), "10 dB", "front wheel", False)
MEANINGS = {
    "both wheels drag": {"front", "rear"},
    "both of the wheels drag": {"front", "rear"},
    "front wheel drags": {"front"},
    "rear wheel drags": {"rear"},
}


def meanings(text: str) -> frozenset[str]:
    return frozenset(MEANINGS.get(text, ()))


@pytest.mark.parametrize(
    ("said", "heard", "outcome"),
    [
        (BOTH, [("accept", "front wheel drags"), ("accept", "rear wheel drags")], RIGHT),
        (BOTH, [("accept", "front wheel drags")], WRONG),
        (BOTH, [("accept", "front wheel drags"), ("ask", "rear wheel drags")], WRONG),
        (BOTH, [("accept", "nothing that is known")], WRONG),
        (BOTH, [("ask", "both of the wheels drag")], OFFERED),
        (BOTH, [("ask", "front wheel drags")], ASKED),
        (BOTH, [("refuse", "both wheels drag")], REFUSED),
        (BOTH, [], REFUSED),
        (HALF, [("accept", "front wheel drags")], WRONG),
        (HALF, [("ask", "front wheel drags")], ASKED),
        (HALF, [("refuse", "")], LEFT),
    ],
)
def test_what_a_clip_came_to(said: Spoken, heard: list[tuple[str, str]], outcome: str) -> None:
    lines = [{"decision": decision, "text": text} for decision, text in heard]
    assert came_to(said, lines, meanings).outcome == outcome


def test_what_is_accepted_without_a_meaning_is_never_right() -> None:
    lines = [{"decision": "accept", "text": "nothing that is known"}]
    assert came_to(HALF, lines, meanings).outcome == WRONG


def test_the_page_lists_what_differs_and_what_is_wrong_in_both() -> None:
    same = (BOTH, Came(RIGHT, "both wheels drag"), Came(RIGHT, "both wheels drag"))
    wrong = (BOTH, Came(WRONG, "front wheel drags"), Came(WRONG, "rear wheel drags"))
    asked = (HALF, Came(LEFT, ""), Came(ASKED, "front wheel drags"))
    text = page("1234567", [same, wrong, asked])
    assert "| right | 1 | 1 |" in text
    assert "| something else | 1 | 1 |" in text
    assert "| asked otherwise | 0 | 1 |" in text
    assert text.count("| both wheels drag |") == 1
    assert "| front wheel | 10 dB | nothing taken | asked otherwise: front wheel drags |" in text
