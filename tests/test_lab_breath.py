"""The benchmark of one breath: what it says is two findings, and what is gone is counted as gone."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from click.testing import CliRunner

from fieldlog.audio.clip import RATE, Clip
from fieldlog.doubt.files import shipped_rules
from fieldlog.doubt.question import telling_more
from fieldlog.hearing import Heard
from fieldlog.lab.benchmarks import breath, breath_takes
from fieldlog.lab.benchmarks.breath import (
    ASKED,
    PARTLY,
    REFUSED,
    RIGHT,
    SWALLOWED,
    TOLD,
    WRONG,
    hear_takes,
    page,
    result_of,
    upper_bound,
)
from fieldlog.lab.benchmarks.breath_takes import (
    JOINERS,
    PAIR,
    PAUSES_S,
    SINGLE,
    SPLIT,
    TALK,
    Take,
    findings_of,
    halves_of,
    planned,
    sound_of,
    spoken,
)
from fieldlog.lab.command import lab
from fieldlog.lab.speech_set.voices import TEST, Job, Voice
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model import Asks, Decision, Hearing, Hypothesis, Question, Understanding

VOICES = [Voice(name, "toy", name, TEST) for name in ("one", "two", "three")]
PADS, MIRROR = "front pads two millimetres", "left mirror cracked"


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


@pytest.fixture(scope="module")
def takes(language: InspectionLanguage) -> list[Take]:
    return planned(language, VOICES, TEST, 8)


def test_pairs_singles_and_split_phrases(takes: list[Take], language: InspectionLanguage) -> None:
    pairs = [take for take in takes if take.kind == PAIR]
    singles = [take for take in takes if take.kind == SINGLE]
    splits = [take for take in takes if take.kind == SPLIT]
    assert (len(pairs), len(singles), len(splits)) == (8, 16, 4 * len(PAUSES_S))
    assert [take.said[0] for take in singles] == [each for take in pairs for each in take.said]
    assert {take.voice.name for take in pairs} == {"one", "two", "three"}
    assert len({take.joiner for take in pairs}) == len(JOINERS)
    for take in pairs:
        one, other = (findings_of(language, words) for words in take.said)
        assert one is not None
        assert other is not None
        assert one.component != other.component
    assert {take.pause_s for take in splits} == set(PAUSES_S)
    for take in splits:
        assert " ".join(take.texts) == take.said[0]
    talk = [take for take in takes if take.kind == TALK]
    assert len(talk) == 4 * len(PAUSES_S)
    for take in talk:
        assert take.said == ()
        assert language.understand(" ".join(take.texts)).decision is not Decision.ACCEPT
    assert planned(language, VOICES, TEST, 8) == takes


@pytest.mark.parametrize(
    ("words", "halves"),
    [
        (PADS, ("front pads", "two millimetres")),
        ("rear tyre tread four thirty seconds", ("rear tyre tread", "four thirty seconds")),
        (MIRROR, ("left mirror", "cracked")),
        ("horn works", None),  # its condition is not named in these words
        ("saddle cracked", None),  # one word is no half worth waiting for
        ("take photo", None),
    ],
)
def test_a_phrase_is_cut_before_what_it_states(
    language: InspectionLanguage, words: str, halves: tuple[str, str] | None
) -> None:
    assert halves_of(words, language) == halves


def heard(understanding: Understanding) -> Heard:
    clip = Clip(np.zeros(160, np.float32))
    return Heard(clip, Hearing("x", (), 0.0), understanding, (), 0.0)


def asked(understanding: Understanding, *, more: bool = False) -> Understanding:
    from dataclasses import replace

    one = replace(
        understanding, decision=Decision.ASK, question=Question(Asks.HEARD, "Did you say that?")
    )
    return telling_more(one) if more else one


def test_what_is_gone_counts_as_gone(language: InspectionLanguage) -> None:
    pads, mirror = language.understand(PADS), language.understand(MIRROR)
    other, nothing = language.understand("horn works"), language.understand("what a day")
    said = (PADS, MIRROR)

    def came(*understandings: Understanding) -> str:
        return result_of(said, [heard(each) for each in understandings], language)

    assert came(pads, mirror) == RIGHT
    assert came(pads) == came(mirror) == SWALLOWED
    assert came(pads, asked(mirror)) == came(pads, nothing) == PARTLY
    assert came(other) == came(pads, other) == came(pads, pads) == came(mirror, pads, pads) == WRONG
    assert came(asked(pads, more=True)) == TOLD
    assert came(asked(pads)) == ASKED
    assert came(nothing) == came() == REFUSED
    assert result_of((PADS,), [heard(pads)], language) == RIGHT
    assert result_of((), [heard(pads)], language) == WRONG
    assert result_of((), [heard(nothing)], language) == result_of((), [], language) == REFUSED
    assert result_of((), [heard(asked(pads))], language) == ASKED


def test_the_upper_bound_is_clopper_and_pearsons() -> None:
    # NIST/SEMATECH e-Handbook, 7.2.4.1: 4 defectives of 20, 90 % two-sided, upper limit 0.401029.
    assert upper_bound(4, 20) == pytest.approx(0.401029, abs=1e-6)
    # None of n: 1 - 0.05 ** (1 / n), the exact form of the rule of three.
    assert upper_bound(0, 1500) == pytest.approx(1.0 - 0.05 ** (1 / 1500))
    assert upper_bound(0, 0) == upper_bound(7, 7) == 1.0


class Ear:
    """Hears the first finding of whatever is said, with the tail it is told."""

    name = "whisper"

    def __init__(self, tail: float = 0.0) -> None:
        self.tail, self.times = tail, 0

    def load(self, language: object) -> None:
        """Nothing to load."""

    def hear(self, clip: Clip) -> Hearing:
        self.times += 1
        sure = {"bend": 0.0, "margin": 8.0, "tokens": 4.0, "logprob": -0.1, "tail": self.tail}
        return Hearing(self.name, (Hypothesis(PADS, 0.0, sure),), 0.0)

    def close(self) -> None:
        """Nothing to close."""


def buzz(jobs: Sequence[Job]) -> None:
    for job in jobs:
        sf.write(job.path, 0.3 * np.sign(np.sin(np.arange(RATE // 2) * 0.05)), RATE)


@pytest.fixture
def whole(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every take is spoken as a buzz, and cut as one utterance."""
    monkeypatch.setattr(breath_takes, "speak", buzz)
    monkeypatch.setattr(breath, "utterances", lambda blocks: [Clip(blocks[0])])


@pytest.mark.usefixtures("whole")
def test_with_the_rule_and_without_it(language: InspectionLanguage, tmp_path: Path) -> None:
    rules = shipped_rules()
    pair = Take(PAIR, (PADS, MIRROR), (PADS, MIRROR), 0.5, "pause of 0.5 s", VOICES[0])
    single = Take(SINGLE, (PADS,), (PADS,), 0.0, "", VOICES[0])
    spoken([pair, single], tmp_path)
    assert len(sound_of(pair, tmp_path)) > len(sound_of(single, tmp_path)) + RATE // 2
    ear = Ear(rules.more_said["whisper"] - 1.0)
    swallowed, questioned = hear_takes([pair, single], tmp_path, ear, language, rules)
    assert (swallowed.without, swallowed.result) == (SWALLOWED, TOLD)
    assert (questioned.without, questioned.result) == (RIGHT, TOLD)
    assert ear.times == 2  # heard once, decided twice
    text = page([swallowed, questioned], TEST, rules, "command")
    assert f"| {SWALLOWED} | 1 (100.0 %, at most 100.0 %) | 0 (0.0 %, at most 95.0 %) |" in text
    assert "| -2.5 | 0 (0.0 %, at most 95.0 %) | 1 (100.0 %, at most 100.0 %) |" in text
    assert f"| {PADS} |  | one | {PADS} | -3.50 |" in text
    (gone,) = hear_takes([pair], tmp_path, Ear(0.0), language, rules)
    assert gone.result == SWALLOWED
    assert f"| {PADS} + {MIRROR} |" in page([gone], TEST, rules, "command")


@pytest.mark.usefixtures("whole")
def test_the_command_keeps_its_takes_and_prints_the_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        "fieldlog.lab.speech_set.voices.available", lambda: (VOICES, {"x": "no x here"})
    )
    monkeypatch.setattr("fieldlog.listeners.whisper.listener.WhisperListener", Ear)
    arguments = ["breath", "--takes", str(tmp_path / "takes"), "--pairs", "2"]
    done = CliRunner().invoke(lab, [*arguments, "--docs", str(tmp_path)])
    assert done.exit_code == 0, done.output
    assert (tmp_path / "breath.md").read_text().splitlines()[4:] == done.stdout.splitlines()[4:]
    assert "no x here" in done.stderr
    kept = {path: path.stat().st_mtime_ns for path in (tmp_path / "takes").iterdir()}
    assert kept
    again = CliRunner().invoke(lab, [*arguments, "--json"])
    assert {path: path.stat().st_mtime_ns for path in (tmp_path / "takes").iterdir()} == kept
    kinds = [json.loads(line)["take"]["kind"] for line in again.stdout.splitlines()]
    assert kinds.count(PAIR) == 2
    assert kinds.count(SINGLE) == 4
    none = CliRunner().invoke(lab, [*arguments, "--voice", "nobody"])
    assert none.exit_code != 0
    assert "no voice" in none.output
