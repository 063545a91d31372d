"""pocketsphinx: words it cannot say, pronunciation additions, phrases that break off."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fieldlog.audio.clip import RATE, Clip
from fieldlog.errors import GrammarError, ModelError
from fieldlog.grammar import TaggedLanguage
from fieldlog.grammar.lexicon import read_lexicon
from fieldlog.language.files import load_language
from fieldlog.listeners import pocketsphinx as listener_module
from fieldlog.listeners.pocketsphinx import PocketsphinxListener
from fieldlog.model.understanding import Decision
from tests.listeners_contract import SMALL, clip_of

HEAD = "#JSGF V1.0;\ngrammar t;\n"


def language(text: str) -> TaggedLanguage:
    return TaggedLanguage.from_text(HEAD + text)


@pytest.fixture(scope="module")
def listener() -> Iterator[PocketsphinxListener]:
    made = PocketsphinxListener()
    yield made
    made.close()


def test_all_words_without_a_pronunciation_are_named_at_once(
    listener: PocketsphinxListener,
) -> None:
    """The decoder itself says only 'Failed to parse JSGF in decoder' (cmusphinx/pocketsphinx#349)."""
    with pytest.raises(GrammarError) as caught:
        listener.load(language("public <a> = swingarm zzyzx | blorft sidestand | front;"))
    assert "cannot say blorft, zzyzx. Next: add them to grammars/additions.dic" in str(caught.value)


def test_additions_make_words_sayable(listener: PocketsphinxListener) -> None:
    """Words that the bundled dictionary lacks, supplied by grammars/additions.dic (cmusphinx/pocketsphinx#349)."""
    words = (
        "swingarm notchy kickstand sidestand footpeg footpegs fairing preload tappets airbox"
        " monoshock carburettor calliper litre litres taillight amps kilopascals"
    )
    listener.load(language(f"public <a> = {words.replace(' ', ' | ')};"))
    assert all(listener.can_say(word) for word in words.split())


def test_own_additions(tmp_path: Path) -> None:
    lexicon = read_lexicon("zzyzx Z AY Z IH K S\nzzyzx(2) Z IH Z AH K S\nthou TH AW")
    listener = PocketsphinxListener(additions=lexicon)
    listener.load(language("public <a> = zzyzx thou;"))
    listener.close()


def test_every_word_of_the_inspection_can_be_said(listener: PocketsphinxListener) -> None:
    inspection = load_language()
    assert sorted(word for word in inspection.words() if not listener.can_say(word)) == []


def test_recursion_in_the_middle_of_a_rule_is_refused(listener: PocketsphinxListener) -> None:
    with pytest.raises(GrammarError, match="leads back to its own rule"):
        listener.load(language("public <a> = the <a> and <a> but <a> or | one | two | three;"))


def _write(folder: Path, *names: str) -> None:
    for name in names:
        (folder / name).write_bytes(b"x")


@pytest.mark.parametrize(
    ("prepare", "reason"),
    [
        (lambda folder: folder.rmdir(), "there is no such folder"),
        (lambda folder: None, "'mdef' is missing"),
        (lambda folder: (folder / "mdef").touch(), "'mdef' is empty"),
        (
            lambda folder: _write(folder, "mdef", "means", "variances"),
            "'transition_matrices' is mi",
        ),
        (
            lambda folder: _write(folder, "mdef", "means", "variances", "transition_matrices"),
            "no pronunciation dictionary here",
        ),
    ],
)
def test_broken_model_folders(tmp_path: Path, prepare: Any, reason: str) -> None:
    folder = tmp_path / "model"
    folder.mkdir()
    prepare(folder)
    with pytest.raises(ModelError, match=reason) as caught:
        PocketsphinxListener(folder).load(language("public <a> = one;"))
    assert str(folder) in str(caught.value)


def test_without_the_library_there_is_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    """I3, I4: no wheel here: one line with the command, not a traceback."""
    monkeypatch.setitem(sys.modules, "pocketsphinx", None)
    with pytest.raises(ModelError, match=r"pocketsphinx cannot be imported.*fieldlog\[listeners\]"):
        PocketsphinxListener().load(language("public <a> = one;"))


class _Said:
    """One answer of the library."""

    def __init__(self, hypstr: str, score: float = 0.5, prob: float = 0.9) -> None:
        self.hypstr, self.score, self.prob = hypstr, score, prob


class _Decoder:
    """A decoder with these answers, best first."""

    def __init__(self, *answers: _Said | None) -> None:
        self._answers = answers

    def hyp(self) -> _Said | None:
        return self._answers[0]

    def nbest(self) -> tuple[_Said | None, ...]:
        return self._answers


@pytest.mark.parametrize("answer", [None, _Said("")])
def test_no_hypothesis_is_no_finding(answer: _Said | None) -> None:
    """The library says "nothing" in two ways."""
    assert listener_module._hypotheses(_Decoder(answer), language("public <a> = one;")) == ()


def test_a_phrase_that_breaks_off_is_marked_and_refused() -> None:
    """The best path may end before the phrase does; it must not count as a shorter phrase."""
    said = language("public <a> = chain slack thirty (five millimeters | millimeters);")
    answers = (
        _Said("chain slack thirty five"),
        None,
        _Said("chain slack thirty five", 0.4),
        _Said("chain slack thirty millimeters", 0.3),
    )
    first, second = listener_module._hypotheses(_Decoder(*answers), said)
    assert first.evidence == {"finished": 0.0, "prob": 0.9}
    understood = said.understand(first.text)
    assert understood.decision is Decision.REFUSE
    assert understood.reason.endswith("is not finished: could go on with millimeters")
    assert second.evidence == {"finished": 1.0}
    assert second.score < first.score


def test_a_clip_heard_again_gets_the_same_answer(listener: PocketsphinxListener) -> None:
    """The library goes on from the clip before: the same sound got other scores each time."""
    listener.load(TaggedLanguage.from_text(SMALL))
    clip = clip_of("speech/battery_twelve.flac")
    other = Clip(np.random.default_rng(3).normal(0, 0.1, 2 * RATE).astype(np.float32))
    first = listener.hear(clip).hypotheses
    listener.hear(other)
    again = listener.hear(clip).hypotheses
    assert first
    assert [(h.text, h.score) for h in first] == [(h.text, h.score) for h in again]
