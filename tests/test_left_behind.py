"""A session that was cut off: what was said last is taken at the next start, once, and whole or asked."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from fieldlog.audio.capture import Capture, Spoken
from fieldlog.audio.clip import RATE, Clip, SoundFlag
from fieldlog.audio.endpointer import Endpointer
from fieldlog.audio.recorder import Recorder, marks_beside, marks_of, stream_name
from fieldlog.audio.source import Block
from fieldlog.cli.left_behind import take_what_was_left
from fieldlog.cli.terminal import Terminal
from fieldlog.doubt.decide import asked_instead
from fieldlog.doubt.question import telling_more
from fieldlog.errors import StoreError, UsageError
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.context import Context
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.question import Asks
from fieldlog.model.understanding import Decision, Flag, Understanding
from fieldlog.photos.importer import import_files
from fieldlog.shop import events as ev
from fieldlog.shop.ears import Ears
from fieldlog.shop.happened import understood_by
from fieldlog.shop.left_behind import FOLDER, CutOff, Listening, cut_off, taken_again
from fieldlog.shop.live import LiveInspection
from fieldlog.shop.workshop import Workshop
from tests.fake_sound import Scripted
from tests.photo_files import save
from tests.spoken import run, sentence, stub_listener

START = datetime(2026, 5, 4, 8, 30, tzinfo=UTC)
QUIET = np.zeros(RATE, dtype=np.float32)
MIC = "USB mic"


class InTurn:
    """Hears one sentence after the other, whatever the clip."""

    name = "in turn"

    def __init__(self, *words: str) -> None:
        self.words = list(words)
        self.clips: list[Clip] = []

    def load(self, language: object) -> None:
        """Nothing to load."""

    def hear(self, clip: Clip) -> Hearing:
        self.clips.append(clip)
        return Hearing(self.name, (Hypothesis(self.words.pop(0), 0.0),), 1.0)

    def close(self) -> None:
        """Nothing to close."""


def as_parsed(said: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
    return said


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


@dataclass
class Bench:
    folder: Path
    language: InspectionLanguage

    def ears(self, *words: str) -> Ears:
        return Ears(self.language, InTurn(*words), as_parsed)

    def shop(self) -> Workshop:
        return Workshop.open(self.folder, now=lambda: START, language=self.language)

    def cut(
        self,
        sound: NDArray[np.float32],
        *saved: str,
        gap_at_s: float | None = None,
        key: str | None = None,
    ) -> None:
        """A session of ``sound`` that is cut off behind as many utterances as are ``saved``.

        ``gap_at_s``: some is missing there, as a phone's page tells with the block behind it.
        """
        with self.shop() as shop:
            if key is None:
                head = shop.begin("roadster", Context("US-VA"), started_at=START)
            else:
                head = shop.store.inspection(key)
            inspecting = shop.inspecting(head.id, self.ears(*saved))
            live = LiveInspection(inspecting)
            before = [each.id for each in inspecting.record.utterances]
            name = stream_name(START + timedelta(seconds=5))
            recorder = Recorder(self.folder / FOLDER, name)
            session = Listening(self.folder, recorder.path, head.id, MIC, before)
            parts = np.array_split(sound, len(sound) // 1600)
            gap = -1 if gap_at_s is None else round(gap_at_s * 10)
            source = Scripted(
                [
                    Block(part, marks=(SoundFlag.GAP,) if number == gap else ())
                    for number, part in enumerate(parts)
                ]
            )
            source.name = MIC
            begins = START + timedelta(seconds=5)
            spoken = [
                event
                for event in Capture(source, Endpointer(), recorder, now=lambda: begins).events()
                if isinstance(event, Spoken)
            ]
            for each in spoken[: len(saved)]:
                live.spoken(each)
            assert recorder._file is not None
            recorder._file.close()  # as the system does it for a program that was killed
            session.__exit__(KeyboardInterrupt, None, None)

    def left(self) -> CutOff:
        (cut,) = cut_off(self.folder)
        return cut

    def take(self, *words: str) -> list[tuple[ev.Event, ...]]:
        with self.shop() as shop:
            cut = self.left()
            inspecting = shop.inspecting(cut.inspection, self.ears(*words))
            return [events for _, events in taken_again(cut, inspecting)]

    def standing(self) -> list[str]:
        with self.shop() as shop:
            found = shop.inspecting("last").record.findings
            return [each.finding.words for each in found if each.stands]


@pytest.fixture
def bench(tmp_path: Path, language: InspectionLanguage) -> Bench:
    return Bench(tmp_path, language)


def test_what_was_said_last_is_taken_at_the_next_start(
    bench: Bench,
) -> None:  # island-io/mila#151, pasrom/meeting-transcriber PR#384
    bench.cut(np.concatenate([sentence(), sentence(), QUIET]), "horn works")
    (events,) = bench.take("left mirror cracked")
    assert isinstance(events[0], ev.FindingSaved)
    assert bench.standing() == ["horn works", "left mirror cracked"]
    with bench.shop() as shop:
        first, second = shop.inspecting("last").record.utterances
    assert second.source == MIC
    assert second.clip is not None
    assert second.said_at - first.said_at == pytest.approx(
        timedelta(seconds=5), abs=timedelta(seconds=0.3)
    )
    assert cut_off(bench.folder) == []


def test_its_photos_are_put_to_what_is_taken_then(bench: Bench) -> None:
    bench.cut(np.concatenate([sentence(), sentence(), QUIET]), "horn works")
    with bench.shop() as shop:
        said = shop.inspecting("last").record.utterances[-1]
        at = said.said_at + timedelta(
            seconds=6.5
        )  # the second sentence begins five behind the first
        save(bench.folder / "one.jpg", original=f"{at:%Y:%m:%d %H:%M:%S}", offset="+00:00")
        import_files(
            shop.store, shop.inspecting("last").head.id, bench.folder, ["one.jpg"], at.date()
        )
        take_what_was_left(shop, bench.ears("left mirror cracked"), Terminal.here())
        record = shop.inspecting("last").record
    (photo,) = record.photos
    assert photo.attachment is not None
    assert (
        record.findings[-1].id in photo.attachment.candidates
    )  # with no other photo its clock is uncertain


def test_nothing_is_taken_twice_however_often_it_is_cut_off(bench: Bench) -> None:
    bench.cut(np.concatenate([sentence(), sentence(), sentence(), QUIET]), "horn works")
    with bench.shop() as shop:
        cut = bench.left()
        ears = bench.ears("left mirror cracked", "right mirror cracked")
        next(
            taken_again(cut, shop.inspecting(cut.inspection, ears))
        )  # and the power goes out again
    assert len(bench.take("right mirror cracked")) == 1
    assert bench.standing() == ["horn works", "left mirror cracked", "right mirror cracked"]


def test_a_phrase_that_the_power_cut_off_is_asked_about_and_never_taken(bench: Bench) -> None:
    said = sentence()
    end = int(np.flatnonzero(np.abs(said) > 0.05)[-1]) - RATE // 4
    bench.cut(np.concatenate([sentence(), said[:end]]), "horn works")
    ((asked,),) = bench.take("front tread four thirty seconds")
    assert isinstance(asked, ev.Asked)
    assert asked.said.understanding.asks is Asks.HEARD
    assert bench.standing() == ["horn works"]
    with bench.shop() as shop:  # and a short word settles it in the session that follows
        (saved, *_) = shop.inspecting("last").type("affirm")
    assert isinstance(saved, ev.FindingSaved)


def test_a_question_before_the_cut_gets_its_answer_behind_it(bench: Bench) -> None:
    bench.cut(np.concatenate([sentence(), sentence(), QUIET]), "pads two millimetres")
    ((saved,),) = bench.take("front")
    assert isinstance(saved, ev.FindingSaved)


def test_a_session_that_ended_well_leaves_nothing(bench: Bench) -> None:
    with bench.shop() as shop:
        head = shop.begin("roadster", Context("US-VA"), started_at=START)
        stream = bench.folder / FOLDER / f"{stream_name(START)}.recording.wav"
        with Listening(bench.folder, stream, head.id, MIC) as session:
            session.heard_from("headset")
            assert cut_off(bench.folder) == []  # it runs
    assert cut_off(bench.folder) == []
    assert list((bench.folder / FOLDER).iterdir()) == []


def test_two_that_listen_for_one_inspection_are_refused(
    bench: Bench,
) -> None:  # larsimmisch/pyalsaaudio#47
    with bench.shop() as shop:
        head = shop.begin("roadster", Context("US-VA"), started_at=START)
    stream = bench.folder / FOLDER / f"{stream_name(START)}.recording.wav"
    other = stream.with_name(f"{stream_name(START + timedelta(seconds=9))}.recording.wav")
    with Listening(bench.folder, stream, head.id, MIC):
        with pytest.raises(UsageError, match="hears for this inspection already"):
            Listening(bench.folder, other, head.id, MIC)
        with Listening(bench.folder, other, "another inspection", MIC):
            pass


def test_what_an_earlier_session_said_by_a_clock_that_was_ahead_hides_nothing(
    bench: Bench,
) -> None:  # the machine's clock was set back between the two
    with bench.shop() as shop:
        head = shop.begin("roadster", Context("US-VA"), started_at=START)
        live = LiveInspection(shop.inspecting(head.id, bench.ears("horn works")))
        ahead = START + timedelta(hours=2)
        live.spoken(Spoken(Clip(sentence(), 600.0), 0.9, ahead, MIC))
    bench.cut(np.concatenate([sentence(), QUIET]), key="last")
    assert len(bench.take("left mirror cracked")) == 1
    assert bench.standing() == ["horn works", "left mirror cracked"]


def test_a_record_that_was_moved_keeps_what_was_left_unheard(
    tmp_path: Path, language: InspectionLanguage
) -> None:
    Bench(tmp_path / "record", language).cut(np.concatenate([sentence(), QUIET]))
    moved = (tmp_path / "record").rename(tmp_path / "moved")
    (cut,) = cut_off(moved)
    assert cut.stream.parent == moved / FOLDER
    assert cut.stream.is_file()


def test_sound_that_is_not_there_now_is_told_and_taken_when_it_is(
    bench: Bench, tmp_path: Path
) -> None:  # recorded with --keep onto a stick, which is not plugged in
    bench.cut(np.concatenate([sentence(), sentence(), QUIET]), "horn works")
    away = bench.left().stream
    stick = away.rename(tmp_path / "elsewhere.wav")
    with bench.shop() as shop:
        cut = bench.left()
        inspecting = shop.inspecting(cut.inspection, bench.ears())
        with pytest.raises(StoreError, match=r"is not there.*connect what it lies on"):
            list(taken_again(cut, inspecting))
    stick.rename(away)
    assert len(bench.take("left mirror cracked")) == 1
    assert cut_off(bench.folder) == []


@pytest.mark.parametrize(
    "note", [b"", b"{", b"[]", b'{"stream": 3}', b'{"stream": "/nowhere.wav"}']
)
def test_a_note_that_says_nothing_holds_nobody_up(bench: Bench, note: bytes) -> None:
    (bench.folder / FOLDER).mkdir(parents=True)
    path = bench.folder / FOLDER / "stream-20260504T083000.000Z.session"
    path.write_bytes(note)
    assert cut_off(bench.folder) == []
    assert not path.exists()


def test_listen_takes_it_first_by_itself(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    import soundfile as sf

    bench.cut(np.concatenate([sentence(), sentence(), QUIET]), "horn works")
    stub_listener(monkeypatch)
    source = tmp_path / "walk.wav"
    sf.write(source, sentence(), RATE)
    done = run("listen", "--source", source, "--fast", "--vehicle", "roadster", "--store", tmp_path)
    assert done.exit_code == 0, done.stderr
    assert "inspection 1 was cut off" in done.stderr
    assert "1 utterance taken" in done.stderr
    with bench.shop() as shop:
        assert [len(shop.store.inspection_record(key).findings) for key in ("1", "2")] == [2, 1]


def test_a_disk_that_is_still_full_holds_nobody_up(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    bench.cut(np.concatenate([sentence(), sentence(), QUIET]), "horn works")
    stub_listener(monkeypatch)

    def full(*_: object, **__: object) -> None:
        raise StoreError("no space left")

    with monkeypatch.context() as patch:
        patch.setattr("fieldlog.shop.inspecting.Inspecting.say", full)
        done = run("inspection", "hear", tmp_path / "none.wav", "--store", tmp_path)
    assert "not taken yet: no space left" in done.stderr
    assert bench.left().stream.is_file()


# --- sound that is missing --------------------------------------------------------------------------


@pytest.mark.parametrize("flag", [SoundFlag.OVERFLOW, SoundFlag.CLOCK])
@pytest.mark.parametrize(
    ("words", "decision"),
    [
        ("rear tread four thirty seconds", Decision.ASK),
        ("left mirror cracked right mirror fine", Decision.ASK),
        ("disregard that", Decision.ASK),
        ("take photo", Decision.ACCEPT),
        ("remark it squeals", Decision.ACCEPT),
    ],
)
def test_an_utterance_with_a_gap_is_never_taken_unasked(
    bench: Bench, flag: SoundFlag, words: str, decision: Decision
) -> None:  # spatialaudio/python-sounddevice#155
    with bench.shop() as shop:
        head = shop.begin("roadster", Context("US-VA"), started_at=START)
        inspecting = shop.inspecting(head.id, bench.ears("horn works", words, "affirm"))
        live = LiveInspection(inspecting)
        clip = Clip(sentence(), 1.0)
        live.spoken(Spoken(clip, 0.0, START, MIC))
        flagged = replace(clip, start_s=20.0, flags=frozenset({flag}))
        (told,) = live.spoken(Spoken(flagged, 0.0, START, MIC))
        assert understood_by(told.events).decision is decision
        assert (Flag.GAP in inspecting.record.utterances[-1].flags) is (decision is Decision.ASK)
        if decision is Decision.ASK and words != "disregard that":
            (told,) = live.spoken(Spoken(replace(clip, start_s=30.0), 0.0, START, MIC))
            assert isinstance(told.events[0], ev.FindingSaved)


@pytest.mark.parametrize("of", [0, 1])
def test_what_was_missing_before_the_power_went_out_is_asked_about_behind_it(
    bench: Bench, of: int
) -> None:
    """Sound from a phone had gaps: which utterance they fell into is on the disk with the sound."""
    sound = np.concatenate([sentence(), QUIET, sentence(), QUIET])
    whole = len(sound) / 2 / RATE
    bench.cut(sound, gap_at_s=of * whole + 1.0)
    told = [understood_by(each) for each in bench.take("horn works", "left mirror cracked")]
    decisions = [Decision.ACCEPT, Decision.ACCEPT]
    decisions[of] = Decision.ASK
    assert [each.decision for each in told] == decisions


def test_a_note_of_missing_sound_that_is_broken_holds_nobody_up(tmp_path: Path) -> None:
    stream = tmp_path / "stream-20260301T101500.250Z.wav"
    with Recorder(tmp_path, "stream-20260301T101500.250Z") as recorder:
        recorder.write(QUIET)
        recorder.mark(SoundFlag.GAP)
    with marks_beside(stream).open("ab") as file:
        file.write(b'{"at_s": "x", "flag": "gap"}\n[1]\n{"at_s": 2.0, "flag": "none"}\n{"at_s": 3')
    assert marks_of(stream) == ((1.0, SoundFlag.GAP),)
    marks_beside(stream).write_bytes(b"\xff\xfe")
    assert marks_of(stream) == ()
    assert marks_of(tmp_path / "none.wav") == ()


def test_did_you_say_with_more_behind_it_is_answered_after_a_new_start(bench: Bench) -> None:
    """The power went out between "three millimetres until it is warm" and "affirmative"."""

    def more(said: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
        return telling_more(asked_instead(said, (), "more was said", Flag.UNSURE))

    with bench.shop() as shop:
        head = shop.begin("roadster", Context("US-VA"), started_at=START)
        ears = Ears(bench.language, InTurn("throttle free play is three millimetres"), more)
        live = LiveInspection(shop.inspecting(head.id, ears))
        (told,) = live.spoken(Spoken(Clip(sentence(), 1.0), 0.0, START, MIC))
        assert isinstance(told.events[0], ev.Asked)
    with bench.shop() as shop:
        (saved, *_) = shop.inspecting("last").type("affirmative")
    assert isinstance(saved, ev.FindingSaved)
