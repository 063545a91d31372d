"""Our own voice and the microphone: what was played when, and the canceller that takes it out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from fieldlog.audio.capture import Capture, Spoken
from fieldlog.audio.clip import FRAME, FRAME_S, LEAD_S, RATE, Clip
from fieldlog.audio.echo import TAIL_S, EchoCanceller
from fieldlog.audio.endpointer import Endpointer, join, utterances
from fieldlog.audio.loudspeaker import Loudspeaker
from fieldlog.audio.playback import Playback
from fieldlog.audio.recorder import Recorder
from fieldlog.audio.source import FileSource
from fieldlog.audio.tones import Tone, tone
from fieldlog.audio.vad import voice_activity
from fieldlog.audio.voice import bundled_voice
from fieldlog.doubt.decide import judge_for
from fieldlog.doubt.echo import minding_echo
from fieldlog.doubt.files import shipped_rules
from fieldlog.hearing import Heard, hear_clip
from fieldlog.language.files import load_language
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.understanding import Decision, Flag, Kind
from fieldlog.shop.ears import open_ears
from fieldlog.shop.left_behind import _clips
from fieldlog.shop.mouth import Mouth, sound_of
from fieldlog.shop.played import Played, beside
from fieldlog.shop.saying import Say, Saying
from fieldlog.words.aloud import aloud, phrases, sentence
from fieldlog.words.spoken import read_back
from tests.test_tones_told import FakeOutput

Samples = NDArray[np.float32]
SENTENCE = tuple(phrases("front brake pads, thickness, two millimetres."))


@pytest.fixture(scope="module")
def spoken_sentence() -> Samples:
    return bundled_voice().say(tuple(phrases(aloud("confirm, front brake pads, thickness: 2 mm"))))


def room(sound: Samples, seconds: float, at_s: float, gain: float) -> Samples:
    """A microphone in a room: hiss, and ``sound`` with three reflections."""
    near = np.random.default_rng(5).normal(0.0, 5e-4, round(seconds * RATE)).astype(np.float32)
    for delay_s, level in ((0.0, 1.0), (0.011, 0.5), (0.023, -0.35), (0.047, 0.2)):
        at = round((at_s + delay_s) * RATE)
        near[at : at + len(sound)] += sound * np.float32(gain * level)
    return near


def through(near: Samples, playback: Playback, begins: dict[int, Samples], block: int) -> Samples:
    """``near`` through the canceller; ``begins``: what starts to be played at which sample."""
    echo, out = EchoCanceller(playback), []
    for at in range(0, len(near), block):
        for sample, sound in begins.items():
            if at <= sample < at + block:
                playback.begins(sound, "read back")
        out.append(echo.clean(near[at : at + block]))
    out.append(echo.flush())
    return np.concatenate(out)


@pytest.mark.parametrize("block", [160, 512, 777, 1600])
def test_what_nobody_plays_over_comes_out_as_it_came_in(block: int) -> None:
    near = np.random.default_rng(3).normal(0.0, 0.1, 2 * RATE + 123).astype(np.float32)
    assert np.array_equal(through(near, Playback(), {}, block), near)


@pytest.mark.parametrize("delay_s", [0.02, 0.1, 0.25, 0.4])
@pytest.mark.uncounted
def test_our_own_voice_is_taken_out_so_that_none_is_found(
    spoken_sentence: Samples, delay_s: float
) -> None:
    begin, block = 2 * RATE, 320
    near = room(spoken_sentence, 9.0, begin / RATE + delay_s, 0.5)
    cleaned = through(near, Playback(), {begin: spoken_sentence}, block)
    assert len(cleaned) == len(near)
    assert np.array_equal(cleaned[:begin], near[:begin])
    behind = begin + len(spoken_sentence) + round((TAIL_S + 0.5) * RATE)
    assert np.array_equal(cleaned[behind:], near[behind:])
    voice = voice_activity().activity
    assert len(list(utterances([near], voice=voice))) >= 1
    assert list(utterances([cleaned], voice=voice)) == []


class Plays:
    """A loudspeaker that plays at once."""

    def __init__(self) -> None:
        self.playback = Playback()

    def play(self, samples: Samples, name: str = "") -> None:
        self.playback.begins(samples, name)

    def cut(self) -> None:
        """Nothing is ever out of date here."""


def test_a_recording_that_is_heard_again_is_heard_without_what_was_played(tmp_path: Path) -> None:
    """After a power cut: the stream holds the echo, the notes beside it say what was played."""
    finding = load_language().understand("front pads two millimetres").finding
    assert finding is not None
    said = Saying(Tone.BEYOND, sentence("Confirm", read_back(finding)), (finding,))
    stream = tmp_path / "stream-20261129T101500.000Z.wav"
    plays = Plays()
    plays.playback.at(2.0)
    Mouth(Say.VALUES, plays, bundled_voice(), kept=beside(stream)).say(said)
    near = room(sound_of(said, bundled_voice()), 12.0, 2.1, 0.5)
    soundfile.write(stream, near, RATE)
    with beside(stream).open("a") as torn:
        torn.write('{"at_s": 9')
    played = Played.read(stream, bundled_voice())
    assert played is not None
    assert len(list(_clips(stream, 0.0))) >= 1
    assert list(_clips(stream, 0.0, played)) == []
    clip = Clip(near[4 * RATE : 6 * RATE], 4.0)
    understood = load_language().understand("front pads two millimetres")
    heard = Heard(clip, Hearing("told", (), 0.0), understood, (), 0.0)
    assert Flag.OWN_VOICE in played.overheard(heard, [finding]).understanding.flags
    later = replace(heard, clip=replace(clip, start_s=11.0))
    assert played.overheard(later, [finding]) is later
    assert Played.read(tmp_path / "stream-20261129T111500.000Z.wav", bundled_voice()) is None


def test_what_is_recovered_is_heard_as_the_session_would_have(tmp_path: Path) -> None:
    """Somebody speaks over a tone of ours: the microphone without that, and the microphone beside it."""
    near = room(bundled_voice().say(SENTENCE), 6.0, 2.0, 0.5)
    near += room(tone(Tone.SAVED), 6.0, 2.25, 0.3)
    stream = tmp_path / "stream-20261129T101500.000Z.wav"
    soundfile.write(stream, near, RATE, subtype="FLOAT")
    note = '{"at_s": 2.2, "tone": "saved", "words": ""}\n'
    beside(stream).write_text(note, encoding="utf-8")
    played = Played.read(stream, bundled_voice())
    for from_s in (0.0, 1.0):
        (clip,) = _clips(stream, from_s, played)
        begin = round(clip.start_s * RATE)
        came = clip.as_it_came
        assert came is not None
        assert np.allclose(came, near[begin : begin + len(came)], atol=1e-4)
        assert not np.array_equal(clip.samples, came)
    (alone,) = _clips(stream, 0.0)
    assert alone.as_it_came is None


def test_what_is_played_lies_where_it_was_played_and_one_behind_the_other() -> None:
    playback = Playback()
    playback.at(3.0)
    first = playback.begins(np.ones(RATE, np.float32), "one")
    second = playback.begins(np.full(RATE, 2.0, np.float32), "two", later_s=0.25)
    assert (first.start_s, first.end_s, second.start_s) == (3.0, 4.0, 4.0)
    around = playback.reference(2.5, 2 * RATE)
    assert not around[: RATE // 2].any()
    assert (around[RATE // 2 : 3 * RATE // 2] == 1.0).all()
    assert (around[3 * RATE // 2 :] == 2.0).all()
    assert [each.name for each in playback.around(4.2, 4.3, 0.3)] == ["one", "two"]
    assert [each.name for each in playback.around(4.31, 4.4, 0.3)] == ["two"]
    assert playback.around(0.0, 3.0, 0.3) == ()


def test_what_is_kept_is_the_microphone_and_what_is_heard_is_cleaned(tmp_path: Path) -> None:
    class Silences:
        """Takes everything out, and lags a block behind."""

        def __init__(self) -> None:
            self.held = np.zeros(0, np.float32)

        def clean(self, samples: Samples) -> Samples:
            given, self.held = self.held, samples * np.float32(0.0)
            return given

        def flush(self) -> Samples:
            return self.held

        def for_the_ear(self, clip: Clip) -> Clip:
            return clip

    sound = np.concatenate([np.zeros(RATE, np.float32), bundled_voice().say(SENTENCE)])
    soundfile.write(tmp_path / "said.wav", np.append(sound, np.zeros(RATE)), RATE)
    for echo, count in ((None, 1), (Silences(), 0)):
        with (
            FileSource(tmp_path / "said.wav", fast=True) as source,
            Recorder(tmp_path, f"kept-{count}") as recorder,
        ):
            events = list(Capture(source, Endpointer(), recorder, echo=echo).events())
        assert len([each for each in events if isinstance(each, Spoken)]) >= count
        assert count or not [each for each in events if isinstance(each, Spoken)]
        kept, _ = soundfile.read(recorder.close(), dtype="float32")
        assert np.abs(kept[: len(sound)] - sound).max() < 1e-3


def test_what_is_being_said_is_cut_when_somebody_went_on_and_a_tone_is_not() -> None:
    system = FakeOutput()
    with Loudspeaker(backend=system) as speaker:
        words = np.full(RATE, 0.5, np.float32)
        speaker.play(np.full(800, 0.3, np.float32))
        speaker.play(words, "old")
        speaker.play(words, "older")
        system.heard(800 + 1600)
        speaker.cut()
        speaker.play(np.full(800, 0.2, np.float32), "new")
        rest = system.heard(4000)
        fade = RATE // 50
        assert rest[0] == pytest.approx(0.5, abs=0.01)
        assert abs(rest[fade - 1]) < 0.01
        assert (rest[fade : fade + 800] == np.float32(0.2)).all()
        assert not rest[fade + 800 :].any()
        around = speaker.playback.around(0.0, 100.0, 0.0)
        assert [each.name for each in around] == ["", "old", "new"]
        assert len(around[1].samples) == 1600 + fade
        speaker.play(np.full(800, 0.3, np.float32))
        system.heard(100)
        speaker.cut()
        assert (system.heard(700) == np.float32(0.3)).all()


def test_the_ear_gets_the_microphone_without_what_was_played(spoken_sentence: Samples) -> None:
    voice = np.random.default_rng(7).normal(0.0, 0.05, RATE).astype(np.float32)
    near = room(spoken_sentence[: 2 * RATE], 5.0, 1.3, 0.3)
    near[2 * RATE : 3 * RATE] += voice
    playback = Playback()
    echo, given = EchoCanceller(playback), []
    for at in range(0, len(near), 1600):
        playback.at(at / RATE)
        if at == RATE:
            playback.begins(spoken_sentence, "read back")
        if at == 2 * RATE + 4800:
            playback.cut()
            behind = at + round(0.4 * RATE)
            near[behind:] = room(np.zeros(1, np.float32), 5.0, 0.0, 0.0)[behind:]
        given.append(echo.clean(near[at : at + 1600]))
    given.append(echo.flush())
    cleaned = np.concatenate(given)
    over = slice(2 * RATE, 2 * RATE + 4800)
    clip = Clip(cleaned[3 * RATE // 2 : 4 * RATE], 1.5)
    heard = echo.for_the_ear(clip)
    assert np.array_equal(heard.uncancelled(lead=False).samples, near[3 * RATE // 2 : 4 * RATE])
    began = RATE // 2
    left = heard.samples[began : began + 4800] - voice[:4800]
    assert power(left) < power(near[over] - voice[:4800]) / 10
    assert power(left) < power(cleaned[over] - voice[:4800]) / 10  # the canceller took of the voice
    quiet = Clip(cleaned[: RATE // 2], 0.0)
    assert echo.for_the_ear(quiet) is quiet
    both_of_it = join(quiet, heard)
    assert both_of_it.as_it_came is not None
    assert np.array_equal(
        both_of_it.as_it_came[-len(heard.samples) :], near[3 * RATE // 2 : 4 * RATE]
    )
    assert join(quiet, quiet).as_it_came is None


def test_an_utterance_begins_where_somebody_was_heard_first(spoken_sentence: Samples) -> None:
    """The canceller took the first half of a second, but nothing of the utterance before."""
    somebody = bundled_voice().say(tuple(phrases("chain, slack, thirty five millimetres."))) * 0.6
    near = room(spoken_sentence[: 2 * RATE], 6.0, 1.1, 0.3)
    near[2 * RATE : 2 * RATE + len(somebody)] += somebody

    def ear(*cuts: tuple[int, int]) -> list[Clip]:
        playback = Playback()
        echo, given = EchoCanceller(playback), []
        for at in range(0, len(near), 1600):
            playback.at(at / RATE)
            if at == RATE:
                playback.begins(spoken_sentence[: 2 * RATE], "read back")
            given.append(echo.clean(near[at : at + 1600]))
        cleaned = np.concatenate([*given, echo.flush()])
        voices = [(0.9,) * ((end - begin) // FRAME) for begin, end in cuts]
        return [
            echo.for_the_ear(Clip(cleaned[begin:end], begin / RATE, voice=voice))
            for (begin, end), voice in zip(cuts, voices, strict=True)
        ]

    late = 80 * FRAME  # 2.56 s
    draft, heard = ear((late, 130 * FRAME), (late, 140 * FRAME))
    assert 1.6 < heard.start_s < 2.1
    assert heard.end_s == pytest.approx(140 * FRAME_S)
    assert len(heard.voice) * FRAME == len(heard.samples)
    assert draft.start_s == heard.start_s
    begin = round(heard.start_s * RATE)
    came = heard.uncancelled(lead=False)
    assert np.array_equal(came.samples, near[begin : 140 * FRAME])
    assert heard.uncancelled(lead=True).start_s == pytest.approx(heard.start_s - LEAD_S)
    _, second = ear((50 * FRAME, 68 * FRAME), (late, 140 * FRAME))
    assert second.start_s == pytest.approx(68 * FRAME_S)
    assert second.uncancelled(lead=True).start_s == second.start_s


def power(sound: Samples) -> float:
    return float(np.mean(np.square(sound, dtype=np.float64)))


class HearsBoth:
    """Hears what it was told of a clip, and something else of the microphone as it came in."""

    name = "whisper"

    def __init__(
        self, ear: str, came: str, sure: Mapping[str, float], came_sure: Mapping[str, float]
    ) -> None:
        self.ear, self.came = ear, came
        self.sure, self.came_sure = sure, came_sure
        self.heard: list[Clip] = []

    def load(self, language: object) -> None:
        """Nothing to load."""

    def hear(self, clip: Clip) -> Hearing:
        self.heard.append(clip)
        of_it = (self.came, self.came_sure) if clip.samples[-1] else (self.ear, self.sure)
        text, sure = of_it
        return Hearing(self.name, (Hypothesis(text, 0.0, sure),) if text else (), 1.0)

    def close(self) -> None:
        """Nothing to close."""


SURE = {"margin": 8.0, "logprob": -0.1, "tail": 0.0, "bend": 0.0, "tokens": 6.0}
UNSURE = SURE | {"bend": -1.0, "margin": 1.0}


def judged(
    ear: str,
    came: str,
    *,
    played: bool = True,
    sure: Mapping[str, float] = SURE,
    came_sure: Mapping[str, float] = SURE,
) -> Heard:
    language = load_language()
    judge = minding_echo(judge_for(language, shipped_rules()), language)
    raw = np.ones(3 * FRAME + RATE, np.float32) if played else None
    clip = Clip(np.zeros(RATE, np.float32), 5.0, voice=(0.9,) * 32, as_it_came=raw)
    listener = HearsBoth(ear, came, sure, came_sure)
    heard = hear_clip(clip, listener, language, judge)
    asked = heard.hearing.as_it_came is None or not heard.accepted
    if len(listener.heard) > 1 and not asked:  # by itself as long as it is, else with its lead
        assert len(listener.heard[1].samples) in (RATE, RATE + 3 * FRAME)
    assert heard.clip is clip
    return heard


def test_what_counts_must_not_mean_something_else_as_it_came() -> None:
    """Unclear there it is our own sound; something else there is asked about, however unclear."""
    assert judged("the oil filter okay", "the oil filter okay").accepted
    assert judged("the oil filter okay", "the oil filter okay", came_sure=UNSURE).accepted
    assert judged("the oil filter okay", "").accepted
    assert judged("the oil filter okay", "mumble").accepted
    other = judged("the oil filter okay", "the air filter okay", came_sure=UNSURE)
    assert other.understanding.decision is Decision.ASK
    assert other.hearing.as_it_came == "the air filter okay"


def test_what_was_unclear_counts_where_it_is_heard_with_what_came_before_it() -> None:
    alone = judged("the lug is all okay", "", sure=UNSURE)
    assert Flag.UNSURE in alone.understanding.flags
    clear = judged("the lug is all okay", "the lug is all okay", sure=UNSURE)
    assert clear.accepted
    assert clear.hearing.cleared
    other = judged("the lug is all okay", "the plug is all okay", sure=UNSURE)
    assert other.text == "the lug is all okay"
    assert not other.accepted
    assert not judged("horn works", "horn works", sure=UNSURE, came_sure=UNSURE).accepted
    whole = judged("brake pads thickness two millimetres", "front brake pads two millimetres")
    assert whole.accepted  # its first word is what the canceller took
    assert whole.understanding.finding is not None
    assert whole.understanding.finding.position == "front"
    assert not judged("brake pads two millimetres", "front brake disc two millimetres").accepted
    assert not judged("brake pads two millimetres", "front brake pads three millimetres").accepted


def test_a_twin_is_asked_about_however_it_is_heard() -> None:
    twin = judged("front tyre pressure thirty p s i", "front tyre pressure thirty p s i")
    assert twin.accepted
    language = load_language()
    judge = judge_for(language, shipped_rules())
    near = (
        Hypothesis("front tyre pressure thirty p s i", 0.0, SURE),
        Hypothesis("front tyre pressure thirteen p s i", -0.1, SURE),
    )

    class HearsATwin(HearsBoth):
        def hear(self, clip: Clip) -> Hearing:
            return Hearing(self.name, near if not clip.samples[-1] else near[:1], 1.0)

    words = near[0].text
    clip = Clip(np.zeros(RATE, np.float32), as_it_came=np.ones(RATE, np.float32))
    heard = hear_clip(clip, HearsATwin(words, words, SURE, SURE), language, judge)
    assert Flag.TWIN in heard.understanding.flags
    assert not heard.accepted


def test_the_lead_is_of_what_was_played_over_and_of_no_other_utterance() -> None:
    near = np.linspace(0.0, 1.0, 6 * RATE, dtype=np.float32)
    playback = Playback()
    echo = EchoCanceller(playback)
    echo.clean(near[:RATE])
    playback.begins(np.full(3 * RATE, 0.1, np.float32), "read back")
    for at in range(RATE, len(near), 1600):
        echo.clean(near[at : at + 1600])
    echo.flush()

    def of(begin: int, end: int) -> Clip:
        heard = echo.for_the_ear(Clip(np.zeros(end - begin, np.float32), begin / RATE))
        return heard.uncancelled(lead=True)

    assert len(of(0, 2 * FRAME).samples) == 2 * FRAME  # somebody speaks from the first sample on
    begin, frames = 2 * RATE, round(LEAD_S / FRAME_S)
    early = of(RATE + 2 * FRAME, RATE + 4 * FRAME)
    assert len(early.samples) == 4 * FRAME  # nothing was played before
    first = of(begin, begin + 10 * FRAME)
    assert first.start_s == pytest.approx(2.0 - LEAD_S)
    assert np.array_equal(first.samples, near[begin - frames * FRAME : begin + 10 * FRAME])
    assert len(of(begin, begin + 12 * FRAME).samples) == (12 + frames) * FRAME  # behind its draft
    second = of(begin + 14 * FRAME, begin + 30 * FRAME)
    assert np.array_equal(second.samples, near[begin + 12 * FRAME : begin + 30 * FRAME])


def test_what_is_another_finding_with_our_sound_left_in_it_is_asked_about() -> None:
    heard = judged("motor is dirty", "air filter is dirty")
    assert heard.understanding.decision is Decision.ASK
    assert {one.component for one in heard.understanding.offered} == {"engine casing", "air filter"}
    assert heard.understanding.question is not None
    breath = "motor is dirty and clutch cable frayed"
    assert judged(breath, breath).accepted
    assert (
        judged(breath, "air filter is dirty and clutch cable frayed").understanding.decision
        is Decision.ASK
    )


def test_what_means_the_same_either_way_counts_and_so_does_what_nothing_was_played_over() -> None:
    assert judged("horn works", "the horn is working").accepted
    assert judged("motor is dirty", "air filter is dirty", played=False).accepted
    assert judged("remark the horn is odd", "").understanding.kind is Kind.REMARK


def test_the_ears_of_a_session_mind_it() -> None:
    language = load_language()
    hearing = Hearing("whisper", (Hypothesis("motor is dirty", 0.0, SURE),), 1.0)
    clip = Clip(np.zeros(RATE, np.float32))
    with open_ears(language, "whisper") as ears:
        said = language.understand("motor is dirty")
        assert ears.judge(said, hearing, clip).decision is Decision.ACCEPT
        other = replace(hearing, as_it_came="air filter is dirty")
        assert ears.judge(said, other, clip).decision is Decision.ASK
        assert ears.judging(language)(said, other, clip).decision is Decision.ASK
