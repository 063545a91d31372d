"""Whose voice it is: a finding in another voice than those before is asked about, and no more."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from fieldlog.audio.capture import Spoken
from fieldlog.audio.clip import FRAME, RATE, Clip
from fieldlog.hearing import Heard
from fieldlog.language.files import load_language
from fieldlog.listeners.timbre import Vector, timbre
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.understanding import Decision
from fieldlog.report.lines import not_settled
from fieldlog.shop.ears import Ears
from fieldlog.shop.live import LiveInspection
from fieldlog.shop.settling import settles
from fieldlog.shop.whose_voice import FIRST, OTHER, KnownVoices
from fieldlog.shop.workshop import Workshop
from fieldlog.words import tell

LANGUAGE = load_language()
MINE, RADIO = np.array([1.0, 0.0]), np.array([0.0, 1.0])


def heard(words: str, answers: Heard | None = None) -> Heard:
    clip = Clip(np.zeros(RATE, np.float32))
    asked = None if answers is None else answers.understanding
    return Heard(clip, Hearing("told", (), 0.0), LANGUAGE.understand(words), (), 0.0, answers=asked)


class Voices:
    """Known voices, and who speaks next."""

    def __init__(self) -> None:
        self.speaks: Vector | None = MINE
        self.known = KnownVoices(lambda clip: self.speaks)

    def said(self, words: str, who: Vector | None, answers: Heard | None = None) -> Heard:
        self.speaks = who
        return self.known.minded(heard(words, answers))


@pytest.fixture
def voices() -> Voices:
    voices = Voices()
    for _ in range(FIRST):
        assert voices.said("horn works", MINE).accepted
    return voices


def test_a_finding_in_another_voice_is_asked_about(voices: Voices) -> None:
    asked = voices.said("front pads two millimetres", RADIO).understanding
    assert asked.decision is Decision.ASK
    assert asked.reason == OTHER
    assert [one.component for one in asked.offered] == ["brake pads"]
    assert settles(asked, LANGUAGE.understand("front pads two millimetres"))
    both = voices.said("motor is dirty and clutch cable frayed", RADIO).understanding
    assert both.decision is Decision.ASK
    assert len(both.offered) == 2
    assert voices.said("front pads two millimetres", MINE).accepted


def test_the_first_findings_are_taken_whoever_speaks_and_so_is_what_cannot_be_told(
    voices: Voices,
) -> None:
    fresh = Voices()
    assert fresh.said("horn works", MINE).accepted
    assert fresh.said("horn works", RADIO).accepted
    assert voices.said("horn works", None).accepted


def test_what_is_no_finding_or_does_not_count_is_left_as_it_is(voices: Voices) -> None:
    for words in ("stand by", "pink elephants", "mirror cracked"):
        one = heard(words)
        voices.speaks = RADIO
        assert voices.known.minded(one) is one


def test_who_answers_for_a_finding_in_a_new_voice_makes_it_known(voices: Voices) -> None:
    """A colleague takes over: one question, and the voice is known."""
    asked = voices.said("front pads two millimetres", RADIO)
    voices.said("pink elephants", RADIO)
    assert voices.said("front pads two millimetres", RADIO, answers=asked).accepted
    assert voices.said("chain tight", RADIO).accepted
    assert voices.said("chain tight", MINE).accepted


def test_a_question_that_nobody_answers_for_teaches_nothing(voices: Voices) -> None:
    asked = voices.said("front pads two millimetres", RADIO)
    voices.said("negative", MINE, answers=asked)
    assert voices.said("chain tight", RADIO).understanding.decision is Decision.ASK
    assert voices.said("chain tight", MINE).accepted
    voices.said("horn works", RADIO)
    assert voices.said("horn works", RADIO).understanding.decision is Decision.ASK


def hum(pitch: float, formants: tuple[float, ...], seed: int, noise: float = 1e-4) -> Clip:
    """A second of a voice that has nothing but a pitch and a throat, with silence around."""
    rng, t = np.random.default_rng(seed), np.arange(62 * FRAME) / RATE
    sound = np.zeros(len(t))
    for n in range(1, int(7000 / pitch)):
        loud = sum(np.exp(-(((n * pitch - f) / 300.0) ** 2)) for f in formants) + 0.01
        sound += loud * np.sin(2 * np.pi * n * pitch * t * (1 + 0.01 * rng.standard_normal()))
    voiced = np.zeros(len(t), bool)
    voiced[10 * FRAME : 50 * FRAME] = True
    sound = np.where(voiced, 0.05 * sound / np.abs(sound).max(), 0.0)
    sound += rng.normal(0.0, noise, len(t))
    voice = tuple(float(each) for each in voiced[::FRAME])
    return Clip(sound.astype(np.float32), voice=voice)


def test_two_throats_are_told_apart_and_one_is_like_itself() -> None:
    one, again = hum(120.0, (500.0, 1500.0), 1), hum(125.0, (500.0, 1500.0), 2)
    other = hum(210.0, (900.0, 2600.0), 3)
    a, b, c = (timbre(clip) for clip in (one, again, other))
    assert a is not None
    assert b is not None
    assert c is not None
    assert np.linalg.norm(a) == pytest.approx(1.0)
    assert a @ b > a @ c + 0.2
    louder = timbre(replace(one, samples=one.samples * 2))
    assert louder is not None
    assert a @ louder > 0.95


def test_nothing_is_told_of_what_is_short_noisy_or_no_sound() -> None:
    good = hum(120.0, (500.0, 1500.0), 1)
    assert timbre(hum(120.0, (500.0, 1500.0), 1, noise=0.01)) is None
    assert timbre(replace(good, voice=good.voice[:15])) is None
    assert timbre(replace(good, voice=())) is None
    assert timbre(replace(good, samples=good.samples * np.float32(np.nan))) is None
    assert timbre(Clip(np.zeros(0, np.float32))) is None


class InTurn:
    """Hears one sentence after the other, whatever the clip."""

    name = "in turn"

    def __init__(self, *words: str) -> None:
        self.words = list(words)

    def load(self, language: object) -> None:
        """Nothing to load."""

    def hear(self, clip: Clip) -> Hearing:
        return Hearing(self.name, (Hypothesis(self.words.pop(0), 0.0),), 1.0)

    def close(self) -> None:
        """Nothing to close."""


def session(folder: Path, *turns: tuple[Vector, str]) -> tuple[list[str], list[str], list[str]]:
    """What the last of ``turns`` led to, what stands then, and what is open."""
    turns = (*[(MINE, "horn works")] * FIRST, *turns)
    with Workshop.open(folder, language=LANGUAGE) as shop:
        ears = Ears(LANGUAGE, InTurn(*(words for _, words in turns)), lambda said, *_: said)
        inspecting = shop.inspecting(shop.begin("grey twin").id, ears)
        live, speaks = LiveInspection(inspecting), [MINE]
        inspecting.conversation.minded = KnownVoices(lambda _: speaks[0]).minded
        told: list[str] = []
        for at, (who, _) in enumerate(turns):
            speaks[0] = who
            clip = Clip(np.full(8000, at / 100, dtype=np.float32), 5.0 * at)
            spoken = Spoken(clip, 0.0, datetime(2026, 5, 4, tzinfo=UTC), "microphone")
            told = [type(each).__name__ for one in live.spoken(spoken) for each in one.events]
        record = inspecting.record
        stands = [tell.finding(each.finding) for each in record.findings if each.stands][FIRST:]
        return told, stands, [what for what, _ in not_settled(record)]


PADS = (MINE, "front pads two millimetres")


def test_what_is_of_the_finding_before_is_asked_about_in_another_voice(tmp_path: Path) -> None:
    """A colleague took a finding away, or put it right, whose own findings were asked about."""
    stands = ["front brake pads, thickness: 2 mm"]
    for name, words in (("1", "disregard that"), ("2", "correction three millimetres")):
        told = session(tmp_path / name, PADS, (RADIO, words))
        assert told == (["Asked"], stands, ["open"])
    told = session(tmp_path / "3", PADS, (RADIO, "disregard that"), (MINE, "yes"))
    assert told == (["FindingWithdrawn"], [], [])
    assert session(tmp_path / "4", PADS, (MINE, "disregard that"))[1] == []


def test_nothing_that_a_second_person_says_is_dropped(tmp_path: Path) -> None:
    both = (RADIO, "rear tread three millimetres and chain dry")
    assert session(tmp_path / "1", both, (MINE, "affirm"))[0] == ["FindingSaved"] * 2
    told = session(tmp_path / "2", (RADIO, "chain dry"), PADS, (MINE, "left mirror loose"))
    assert told[2] == ["open"]  # nobody answered: it is told at the end, and before signing
    place = (MINE, "pads two millimetres")
    told = session(tmp_path / "3", place, (RADIO, "disregard that"), (MINE, "no"), (MINE, "front"))
    assert told == (["FindingSaved"], ["front brake pads, thickness: 2 mm"], [])
