"""The beam search against a decoder whose every probability is written down."""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np
import pytest

from fieldlog.listeners.whisper.listener import LARGEST_MARGIN, hypotheses_of
from fieldlog.listeners.whisper.search import Result, SearchSettings, distinct, search
from fieldlog.listeners.whisper.tokens import TokenGraph
from tests.phrase_language import PhraseLanguage

# One token per written form; the fake decoder's vocabulary is this list.
FORMS = ["<start>", "<end>", " front", " rear", " pads", " tread", " worn", " one", ",", "-"]
COLUMN = {form: index for index, form in enumerate(FORMS)}


MORE = {" treadworn": (COLUMN[" tread"], COLUMN[" worn"]), " tred": (COLUMN[" tread"],)}
"""A word of two tokens, and another spelling of a word."""


def encode(text: str) -> tuple[int, ...]:
    """One token per form; anything else (capitals, figures) is a token nobody has."""
    return MORE.get(text, (COLUMN.get(text, 999),))


@dataclass
class Table:
    """Next-token probabilities by what has been said; what is not listed shares the rest."""

    table: dict[tuple[str, ...], dict[str, float]]

    def prefill(
        self, sound: object, columns: np.ndarray, capacity: int = 0
    ) -> tuple[np.ndarray, None]:
        self.said: list[tuple[str, ...]] = [()]
        self.steps = 0
        return np.array([self._row(())]), None

    def step(
        self, sound: object, memory: object, parents: np.ndarray, columns: np.ndarray
    ) -> np.ndarray:
        self.said = [
            (*self.said[parent], FORMS[column].strip())
            for parent, column in zip(parents, columns, strict=True)
        ]
        self.steps += 1
        return np.array([self._row(said) for said in self.said])

    def _row(self, said: tuple[str, ...]) -> np.ndarray:
        given = self.table.get(said, {})
        rest = max(1e-6, 1.0 - sum(given.values())) / (len(FORMS) - len(given))
        chances = [given.get(form.strip(), rest) for form in FORMS]
        return np.log(np.array(chances, np.float32)) + np.float32(3.0)  # logits, any offset


PHRASES = ["front pads worn", "rear pads worn", "rear tread worn", "rear tread one"]
TABLE = {
    (): {"front": 0.30, "rear": 0.60},
    ("front",): {"pads": 0.95},
    ("front", "pads"): {"worn": 0.95},
    ("front", "pads", "worn"): {"<end>": 0.9},
    ("rear",): {"pads": 0.10, "tread": 0.20},
    ("rear", "pads"): {"worn": 0.90},
    ("rear", "pads", "worn"): {"<end>": 0.9},
    ("rear", "tread"): {"worn": 0.50, "one": 0.40},
    ("rear", "tread", "worn"): {"<end>": 0.9},
    ("rear", "tread", "one"): {"<end>": 0.9},
}


def run(
    settings: SearchSettings,
    phrases: list[str] = PHRASES,
    seconds: float = 2.0,
    table: dict[tuple[str, ...], dict[str, float]] = TABLE,
) -> Result:
    graph = TokenGraph(
        PhraseLanguage(phrases).word_graph(), encode, {i: i for i in range(len(FORMS))}
    )
    return search(
        Table(table),  # type: ignore[arg-type]
        SimpleNamespace(seconds=seconds),  # type: ignore[arg-type]
        graph,
        np.array([0]),
        np.array([1]),
        settings,
    )


def test_the_best_phrase_is_found_behind_a_worse_first_word() -> None:
    result = run(SearchSettings(stop=20.0))
    assert [found.text for found in result.found] == [
        "front pads worn",
        "rear tread worn",
        "rear pads worn",
        "rear tread one",
    ]
    best = result.found[0]
    assert best.logprob == pytest.approx(math.log(0.30 * 0.95 * 0.95 * 0.9), abs=1e-4)
    # a pause ("front, pads") is another way to the same words: its probability is added
    assert best.score == pytest.approx(best.logprob + 4.5, abs=0.03)
    assert best.score > best.logprob + 4.5
    assert best.tokens == 4
    # the largest logit at the first word was "rear"; everywhere else the answer was the largest
    assert best.bend == pytest.approx(math.log(0.30 / 0.60), abs=1e-4)
    assert best.worst == pytest.approx(best.bend, abs=1e-6)
    assert best.tail == pytest.approx(0.0, abs=1e-4)
    bent_at_its_end = result.found[3]  # "worn" was likelier than "one"
    assert bent_at_its_end.tail == pytest.approx(math.log(0.40 / 0.50), abs=1e-4)
    assert bent_at_its_end.worst == pytest.approx(bent_at_its_end.tail, abs=1e-4)


def test_a_beam_of_one_is_greedy() -> None:
    assert run(SearchSettings(beam=1, wide=1)).found[0].text == "rear tread worn"


def test_the_bonus_counts_tokens() -> None:
    plain = run(SearchSettings(bonus=0.0, stop=20.0)).found[0]
    assert plain.score == pytest.approx(plain.logprob, abs=0.02)


def test_meanings_are_kept_apart_and_meaningless_ones_left_out() -> None:
    found = run(SearchSettings(stop=20.0)).found
    kept = distinct(found, lambda text: "pads" if "pads" in text else "")
    assert [item.text for item in kept] == ["front pads worn"]


def test_the_margin_is_bounded_by_what_was_never_finished() -> None:
    result = run(SearchSettings(stop=20.0))
    first, second = hypotheses_of(result.found, result.rest)[:2]
    assert first.evidence["margin"] == pytest.approx(first.score - second.score, abs=1e-6)
    assert second.evidence["margin"] == pytest.approx(second.score - first.score, abs=1e-6)
    alone = hypotheses_of(result.found[:1], -math.inf)
    assert alone[0].evidence["margin"] == LARGEST_MARGIN
    near = hypotheses_of(result.found[:1], result.found[0].score - 1.5)
    assert near[0].evidence["margin"] == pytest.approx(1.5)


def test_what_was_never_finished_is_told_apart_from_other_meanings() -> None:
    found = run(SearchSettings(stop=20.0)).found
    best = found[0].score
    assert hypotheses_of(found, best - 1.5)[0].evidence["unfinished"] == pytest.approx(1.5)
    assert hypotheses_of(found, best + 1.5)[0].evidence["unfinished"] == pytest.approx(-1.5)
    first, second = hypotheses_of(found, -math.inf)[:2]
    assert first.evidence["unfinished"] == LARGEST_MARGIN
    assert "unfinished" not in second.evidence


def test_a_phrase_cut_short_is_a_rival() -> None:
    table = {
        (): {"rear": 0.9},
        ("rear",): {"pads": 0.9},
        ("rear", "pads"): {"worn": 0.5, "<end>": 0.4},
        ("rear", "pads", "worn"): {"<end>": 0.9},
    }
    result = run(SearchSettings(), ["rear pads worn"], table=table)
    best = result.found[0]
    behind = math.log(0.5 * 0.9 / 0.4) + SearchSettings().bonus
    assert best.score - result.rest == pytest.approx(behind, abs=0.05)
    assert hypotheses_of(result.found, result.rest)[0].evidence["margin"] == pytest.approx(
        best.score - result.rest
    )


def test_the_beginning_of_a_word_is_no_phrase_cut_short() -> None:
    table = {
        (): {"rear": 0.99},
        ("rear",): {"tread": 0.99},
        ("rear", "tread"): {"worn": 0.5, "<end>": 0.4},
        ("rear", "tread", "worn"): {"<end>": 0.9},
    }
    result = run(SearchSettings(), ["rear treadworn"], table=table)
    assert result.found[0].text == "rear treadworn"
    assert result.rest < result.found[0].score - 4.0


def test_what_makes_a_whole_phrase_as_well_is_not_cut_short() -> None:
    table = {
        (): {"rear": 0.99},
        ("rear",): {"tread": 0.99},
        ("rear", "tread"): {"<end>": 0.9},
    }
    result = run(SearchSettings(), ["rear tread", "rear tred one"], table=table)
    assert result.found[0].text == "rear tread"
    assert result.rest < result.found[0].score - 2.0


def test_a_grammar_that_needs_tokens_nobody_has_finds_nothing() -> None:
    assert run(SearchSettings(), ["elsewhere"]).found == []


def test_nobody_says_more_than_the_sound_is_long() -> None:
    assert run(SearchSettings(), seconds=0.1).found == []
    assert run(SearchSettings(longest=2)).found == []
