"""The laboratory of live sessions: cut off, timed, spoken from a script; the parts that need no recogniser."""

from __future__ import annotations

import itertools
import shutil
from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
import soundfile as sf

from fieldlog import config
from fieldlog.audio.clip import FRAME_S, RATE, Clip
from fieldlog.audio.files import open_audio
from fieldlog.audio.tones import Tone
from fieldlog.lab.benchmarks.phone_person import Holder
from fieldlog.lab.crash.command import report
from fieldlog.lab.crash.evidence import Rows
from fieldlog.lab.crash.rounds import Fell, Whole, _compared, excerpt
from fieldlog.lab.crash.victim import lines_of
from fieldlog.lab.live_session.account import account
from fieldlog.lab.live_session.bench import Waited, in_a_phrase, last_voice_s, resident_mb
from fieldlog.lab.live_session.command import breakdown
from fieldlog.lab.live_session.person import Line, Person, Reply, Sound, load, reply
from fieldlog.lab.live_session.scripted import Played, Script, differences, scripts, written
from fieldlog.lab.live_session.stage import ECHO, LATEST_S, Room, sounddevice
from fieldlog.lab.live_session.strung import SAID, strung
from fieldlog.language.files import load_language
from fieldlog.model.context import Context
from fieldlog.model.finding import Finding
from fieldlog.shop.demo import read_manifest
from fieldlog.shop.live import Told
from fieldlog.shop.saying import Saying
from fieldlog.shop.workshop import Workshop

NOW = datetime(2026, 5, 4, 8, 30, tzinfo=UTC)
MEDIA = config.demo_media()


def test_a_record_is_held_against_the_session_that_nobody_cut_off(tmp_path: Path) -> None:
    language = load_language()
    with Workshop.open(tmp_path, now=lambda: NOW, language=language) as shop:
        inspecting = shop.inspecting(shop.begin("roadster", Context("US-VA")).id)
        for words in ("horn works", "left mirror cracked", "left mirror cracked", "chain dry"):
            inspecting.type(words)
        record = inspecting.record

    def meaning(words: str) -> tuple[object, ...]:
        finding = language.understand(words).finding
        assert finding is not None
        return finding.meaning

    said = [meaning(each) for each in ("horn works", "left mirror cracked", "right mirror loose")]
    whole = Whole(Counter(said), ((3.0, (said[0],)), (9.0, (said[1],)), (15.0, (said[2],))), 20.0)
    announced = {record.utterances[0].id, "gone"}
    lost, doubled, wrong = _compared(record, whole, announced, 16.5, ())
    assert lost == ("utterance gone", str(said[2]))
    assert doubled == (str(said[1]),)
    assert wrong == (str(meaning("chain dry")),)
    assert _compared(record, whole, set(), 15.5, ())[0] == ()  # not yet said to its end


def test_the_page_sums_up_and_says_where_each_fell() -> None:
    fell = [
        Fell(1, True, 7.3, "hearing", 2, 1, 1),
        Fell(2, False, 24.0, "writing", 0, 5, 0, lost=("utterance x",)),
    ]
    page = report(fell, [], 3, "the command")
    assert "| killed | 2 | 2 | 6 | 1 | 1 | 0 | 0 |" in page
    assert "Killed while: hearing 1, writing 1. 3 more were over" in page
    assert "| 2 | fast | 24.0 s | writing | 0 | 5 | 0 | utterance x |" in page


def test_what_a_victim_tells_is_read_whatever_else_it_prints() -> None:
    told: list[tuple[str, str]] = []
    lines = iter([b"@sound 0.10\n", b"horn: sound\n", b"@written abc\n", b"@told \n"])
    lines_of(lines, lambda stage, what: told.append((stage, what)))
    assert told == [("sound", "0.10"), ("written", "abc"), ("told", "")]


def test_an_excerpt_is_the_beginning_and_some_silence(tmp_path: Path) -> None:
    path = excerpt(sorted(MEDIA.glob("*.flac"))[0], 3.0, tmp_path / "part.wav")
    sound, rate = sf.read(path)
    assert (rate, len(sound)) == (RATE, 5 * RATE)
    assert np.abs(sound[: 3 * RATE]).max() > 0.05
    assert np.abs(sound[3 * RATE :]).max() == 0.0


def test_speech_ends_behind_its_last_voiced_frame() -> None:
    clip = Clip(np.zeros(10 * 512, dtype=np.float32), 4.0, voice=(0.1, 0.9, 0.9, *(0.2,) * 7))
    assert last_voice_s(clip) == pytest.approx(4.0 + 3 * FRAME_S)
    assert resident_mb() > 20.0


def test_the_script_says_everything_of_the_manifest_and_what_was_cut_off_again() -> None:
    first, second = scripts(MEDIA)
    cut = first.lines[-1]
    assert cut.cut_at_s is not None
    assert 0.0 < cut.cut_at_s < len(cut.sound) / RATE  # within its phrase
    assert second.lines[0].id == cut.id
    assert sum(each.away_at_s is not None for each in second.lines) == 2
    assert len(first.lines) + len(second.lines) == 39 + 1  # one is said twice
    assert sum(each.interrupts for each in (*first.lines, *second.lines)) == 2


def test_what_stands_is_held_against_the_manifest(tmp_path: Path) -> None:
    with Workshop.open(tmp_path, now=lambda: NOW) as shop:
        inspecting = shop.inspecting(shop.begin("roadster", Context("US-VA")).id)
        for words in ("horn works", "left mirror cracked"):
            inspecting.type(words)
        found = differences(inspecting.record, read_manifest(MEDIA))
    assert not any(each.startswith("horn is not there") for each in found)
    assert any(each.startswith("chain") for each in found)
    assert found[-2:] == ["nobody said 'left mirror cracked'", "0 remarks instead of 2"]


def test_all_that_the_manifest_says_typed_stands_as_it_says(tmp_path: Path) -> None:
    manifest = read_manifest(MEDIA)
    instead = {"fuel-line": "fuel line sound", "throttle": "throttle free play three millimetres"}
    with Workshop.open(tmp_path, now=lambda: NOW) as shop:
        inspecting = shop.inspecting(shop.begin("roadster", Context("US-VA")).id)
        for said in (each for part in manifest["parts"] for each in part["utterances"]):
            inspecting.type(instead.get(said["id"], said["words"].replace(" ... ", " ")))
        assert differences(inspecting.record, manifest) == []
        manifest["parts"][0]["utterances"][0]["expect"][0]["state"] = "beyond"
        found = differences(inspecting.record, manifest)
    assert [each.split(":")[0] for each in found] == ["oil is judged 'within'"]


def test_who_holds_the_phone_answers_what_they_said_themselves(tmp_path: Path) -> None:
    """Behind the end of the line, for what cut it in two is told of as a whole."""
    part = read_manifest(MEDIA)["parts"][2]
    at_s = {each["id"]: each["start_s"] for each in part["utterances"]}
    holder = Holder(part)
    with Workshop.open(tmp_path, now=lambda: NOW) as shop:
        inspecting = shop.inspecting(shop.begin("roadster", Context("US-VA")).id)
        for name, words in (
            ("mirrors", "both mirrors are loose"),
            ("indicator", "chain dry"),
            ("headlamp", "nobody understands this"),
            ("horn", "mirror cracked"),
            ("throttle-cold", "mirror cracked"),
        ):
            told = Told(cast(Any, None), inspecting.type(words))
            holder.told(told, at_s[name] - 0.3, at_s[name] + 1.0)
    assert holder.due(at_s["mirrors"] + 1.0) == []  # the script has that asked about
    replies = {line.id: what for line, what in holder.due(at_s["horn"] + 4.0)}
    wanted = {"indicator": Reply.TAKE_BACK, "headlamp": Reply.AGAIN, "horn": Reply.NEGATIVE}
    assert replies == wanted
    assert not holder.waits


PADS = {"component": "brake pads", "position": "front", "value": "2", "unit": "mm"}
MIRROR = {"component": "mirror", "position": "left", "condition": "loose"}


def findings(*words: str) -> tuple[Finding, ...]:
    found = [load_language().understand(each).finding for each in words]
    return tuple(each for each in found if each is not None)


def line(name: str = "pads", *means: dict[str, str], **more: Any) -> Line:
    sound, around = np.full(1_600, 0.25, np.float32), np.zeros(160, np.float32)
    return Line(name, f"words of {name}", sound, around, means or (PADS,), **more)


@pytest.mark.parametrize(
    ("told", "what"),
    [
        (None, Reply.AGAIN),
        (Saying(Tone.NOT_UNDERSTOOD), Reply.AGAIN),
        (Saying(Tone.SAVED), Reply.GOES_ON),
        (Saying(Tone.ASKED, "?", findings("front pads two millimetres"), asks=True), Reply.AFFIRM),
        (Saying(Tone.ASKED, "?", findings("front pads ten millimetres"), asks=True), Reply.NEGATIVE),
        (
            Saying(
                Tone.ASKED, "?",
                findings("front pads two millimetres", "rear pads two millimetres"), asks=True,
            ),
            Reply.AGAIN,
        ),
        (
            Saying(
                Tone.BEYOND, "beyond, pads. did you say rear pads?",
                findings("front pads two millimetres", "rear pads two millimetres"), asks=True,
            ),
            Reply.NEGATIVE,
        ),
        (Saying(Tone.ASKED, "say it again?", (), asks=True), Reply.NEGATIVE),
        (
            Saying(Tone.BEYOND, "confirm, pads", findings("front pads two millimetres")),
            Reply.AFFIRM,
        ),
        (
            Saying(Tone.BEYOND, "confirm, pads", findings("front pads ten millimetres")),
            Reply.NEGATIVE,
        ),
        (Saying(Tone.BEYOND, "beyond, pads", findings("front pads two millimetres")), Reply.GOES_ON),
        (Saying(Tone.SAVED, "pads", findings("front pads ten millimetres")), Reply.TAKE_BACK),
    ],
)  # fmt: skip
def test_whoever_speaks_answers_by_what_was_told(told: Saying | None, what: Reply) -> None:
    assert reply(line(), (), told) is what


def test_what_the_script_wants_asked_is_left_to_the_script() -> None:
    asks = Saying(Tone.ASKED, "?", findings("front pads two millimetres"), asks=True)
    assert reply(line(is_asked=True), (), asks) is Reply.GOES_ON
    assert reply(line("mirror", MIRROR), (line(is_asked=True),), asks) is Reply.GOES_ON
    assert reply(line("mirror", MIRROR), (line(),), asks) is Reply.AFFIRM  # said before
    assert reply(line("mirror", MIRROR), (), asks) is Reply.NEGATIVE


class Stage:
    """Somebody who speaks, in simulated time, in blocks of 10 ms."""

    def __init__(self, *lines: Line) -> None:
        self.now, self.rows = 100.0, list[Mapping[str, Any]]()
        sounds = {each.value: np.full(800, 0.125, np.float32) for each in Reply}
        self.person = Person(lines, sounds, self.rows.append, lambda: self.now)
        self.room = Room(self.person, lambda: self.now)

    def runs(self, seconds: float) -> Sound:
        blocks = []
        for _ in range(round(seconds * 100)):
            blocks.append(self.room.heard(160))
            self.now += 0.01
        return np.concatenate([each for each in blocks if each is not None])

    @property
    def said(self) -> list[str]:
        return [each["said"] for each in self.rows if "said" in each]


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[Stage]:
    stages: list[Stage] = []
    monkeypatch.setattr(
        "fieldlog.lab.live_session.stage.time.monotonic", lambda: stages[0].now if stages else 0.0
    )
    return stages


def test_a_question_is_affirmed_and_the_next_line_said(clock: list[Stage]) -> None:
    clock.append(stage := Stage(line(), line("mirror", MIRROR)))
    stage.runs(0.5)
    stage.person.told(Saying(Tone.ASKED, "?", findings("front pads two millimetres"), asks=True))
    stage.room.played(np.ones(160, np.float32))
    stage.runs(0.5)
    assert stage.said == ["pads"]  # whoever listens does not speak
    stage.runs(0.5)
    assert stage.said == ["pads", Reply.AFFIRM]
    stage.person.told(Saying(Tone.SAVED))
    stage.runs(1.0)
    assert stage.said == ["pads", Reply.AFFIRM, "mirror"]
    stage.person.told(Saying(Tone.SAVED))
    stage.runs(1.0)
    assert not stage.room.ended
    stage.runs(5.0)
    assert stage.room.ended


def test_what_was_not_understood_is_said_three_times_at_most(clock: list[Stage]) -> None:
    clock.append(stage := Stage(line(), line("mirror", MIRROR)))
    for _ in range(3):
        stage.runs(1.4)
        stage.person.told(Saying(Tone.NOT_UNDERSTOOD))
        stage.runs(0.2)
    stage.runs(1.5)
    assert stage.said == ["pads", "pads", "pads", "mirror"]
    stage.runs(8.0)  # nothing is told at all: once more
    assert stage.said[-1] == "mirror"
    assert len(stage.said) == 5


def test_what_was_denied_is_said_again(clock: list[Stage]) -> None:
    clock.append(stage := Stage(line(), line("mirror", MIRROR)))
    stage.runs(0.5)
    stage.person.told(Saying(Tone.ASKED, "?", findings("front pads ten millimetres"), asks=True))
    stage.runs(1.0)
    stage.person.told(Saying(Tone.SAVED, "nothing of it is taken."))
    stage.runs(1.0)
    assert stage.said == ["pads", Reply.NEGATIVE, "pads"]


def test_what_is_saved_is_not_said_again_whatever_is_asked_behind_it(clock: list[Stage]) -> None:
    """The tool mishears itself: that is denied, and the line, which is saved, is not said twice."""
    clock.append(stage := Stage(line(), line("mirror", MIRROR)))
    stage.runs(0.5)
    stage.person.told(Saying(Tone.BEYOND, "confirm", findings("front pads two millimetres")))
    stage.runs(1.0)
    assert stage.said == ["pads", Reply.AFFIRM]
    stage.person.told(Saying(Tone.ASKED, "did you say photo of battery?", (), asks=True))
    stage.runs(1.0)
    assert stage.said[-1] == Reply.NEGATIVE
    stage.person.told(Saying(Tone.SAVED, "nothing of it is taken."))
    stage.runs(1.0)
    assert stage.said[-1] == "mirror"


def test_did_you_say_affirmative_is_answered_by_saying_it_again(clock: list[Stage]) -> None:
    clock.append(stage := Stage(line(), line("mirror", MIRROR)))
    stage.runs(0.5)
    stage.person.told(Saying(Tone.BEYOND, "confirm", findings("front pads two millimetres")))
    stage.runs(1.0)
    stage.person.told(Saying(Tone.ASKED, "did you say affirmative? say it again.", (), asks=True))
    stage.runs(1.0)
    assert stage.said == ["pads", Reply.AFFIRM, Reply.AFFIRM]


def test_somebody_talks_into_the_words(clock: list[Stage]) -> None:
    clock.append(stage := Stage(line(), line("mirror", MIRROR, interrupts=True)))
    stage.runs(0.5)
    stage.person.told(Saying(Tone.BEYOND, "confirm", findings("front pads two millimetres")))
    for _ in range(12):
        stage.room.played(np.ones(160, np.float32))
        stage.runs(0.1)
    assert stage.said == ["pads", "mirror"]


def test_a_microphone_that_is_pulled_out_comes_back_and_the_line_is_said_again(
    clock: list[Stage],
) -> None:
    clock.append(stage := Stage(line(away_at_s=0.05), line("mirror", MIRROR)))
    system = sounddevice(stage.room)
    stage.runs(0.5)
    assert stage.room.heard(320) is None
    assert system.query_devices() == []
    stage.room.played(np.full(RATE, 0.5, dtype=np.float32))  # no microphone hears it
    stage.now += 5.0
    assert len(system.query_devices()) == 1
    heard = stage.runs(1.0)
    assert stage.said == ["pads", "pads"]
    assert float(heard.max()) == 0.25


def test_what_is_played_comes_back_into_the_microphone(clock: list[Stage]) -> None:
    clock.append(stage := Stage(line()))
    stage.runs(0.05)
    stage.room.played(np.full(160, 0.5, np.float32))
    assert 0.25 in np.unique(stage.runs(0.2))


def test_no_echo_is_later_than_that_of_a_wireless_loudspeaker() -> None:
    stage = Stage(line())
    stage.room.played(np.concatenate([np.zeros(RATE - 100, np.float32), np.ones(100, np.float32)]))
    first = stage.room.heard(round(LATEST_S * RATE))
    assert first is not None
    assert float(first.max()) == ECHO


def test_a_script_is_read_back_as_it_was_written(tmp_path: Path) -> None:
    if shutil.which("flite") is None:
        pytest.skip("needs flite")
    script = Script([line(away_at_s=0.05, interrupts=True)])
    lines, replies = load(written(script, tmp_path))
    (back,) = lines
    one = script.lines[0]
    assert (back.id, back.words, back.means) == (one.id, one.words, one.means)
    assert (back.away_at_s, back.interrupts, back.cut_at_s) == (0.05, True, None)
    assert np.array_equal(back.sound, one.sound)
    assert set(replies) == {Reply.AFFIRM, Reply.NEGATIVE, Reply.TAKE_BACK}
    assert float(np.abs(replies[Reply.AFFIRM]).max()) > 0.1


def test_the_page_of_a_session_tells_said_and_told(tmp_path: Path) -> None:
    with Workshop.open(tmp_path, now=lambda: NOW) as shop:
        inspecting = shop.inspecting(shop.begin("roadster", Context("US-VA")).id)
        inspecting.type("horn works")
        record = inspecting.record
    rows = (
        {"at_s": 1.0, "said": "horn", "words": "the horn is working", "reply": False},
        {"at_s": 2.0, "told": "horn, sound.", "tone": "saved"},
        {"at_s": 9.0, "said": "affirmative", "words": "affirmative", "reply": True},
    )
    page = account([Played("", rows)], record, [])
    assert "| 1.0 | the horn is working | |" in page
    assert "| 2.0 | | (saved) horn, sound. |" in page
    assert "1 answers and repetitions; 1 findings" in page
    assert "**Exactly the findings of the manifest.**" in page
    assert "**1 differences" in account([Played("", rows)], record, ["x"])


def test_a_pause_within_a_phrase_is_no_end_of_speech() -> None:
    phrases = [(22.0, 26.9), (28.5, 29.7)]
    assert in_a_phrase(24.0, phrases)
    assert not in_a_phrase(26.8, phrases)
    assert not in_a_phrase(27.5, phrases)


def test_phrases_of_a_set_are_strung_so_far_apart_that_no_two_are_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Few:
        def __init__(self, folder: Path) -> None: ...

        def part(self, name: str) -> list[SimpleNamespace]:
            kinds = ["phrase"] * 22 + ["chatter"] * 9
            return [
                SimpleNamespace(kind=each, speech_start_s=0.5, speech_end_s=1.0) for each in kinds
            ]

        def clean(self, item: SimpleNamespace) -> np.ndarray:
            assert item.kind in SAID
            return np.full(RATE * 2, 0.1, np.float32)

    monkeypatch.setattr("fieldlog.lab.live_session.strung.SpeechSet", Few)
    made = list(strung(tmp_path, 30, tmp_path))
    assert [len(said) for _, said in made] == [20, 2]
    for path, said in made:
        with open_audio(path) as audio:
            sound = np.concatenate(list(audio.blocks(1.0)))
        assert all(sound[round(begin * RATE)] > 0.05 for begin, _ in said)
        between = [later - end for (_, end), (later, _) in itertools.pairwise(said)]
        assert all(each >= 2.5 for each in between)


def test_the_delay_is_told_stage_by_stage() -> None:
    one = Waited(4.0, 0.05, 0.42, 0.01, 0.0, 0.02, 0.01, ("FindingSaved",), ahead_s=0.1)
    two = Waited(9.0, 0.05, 1.2, 0.3, 0.1, 0.02, 0.01, ("RemarkKept",))
    assert one.delay_s == pytest.approx(0.51)
    lines = breakdown([one, two, replace(two, goes_on=True)])
    assert lines[1].startswith("1 more were told of in a pause")
    assert lines[0].startswith("2 utterances: median 1.10 s")
    assert "| silence lasts | 0.81 s | 1.16 s | 1.20 s |" in lines
    assert any(each.startswith("| 1.68 s |") and "RemarkKept" in each for each in lines)


def test_a_campaign_goes_on_from_its_rows(tmp_path: Path) -> None:
    path = tmp_path / "rows.jsonl"
    first = Rows(path)
    first.add("kill", Fell(1, True, 7.3, "hearing", 2, 1, 1, lost=("utterance x",)))
    first.add_late()
    first.add("disk", Fell(1, False, 9.0, "full", 2, 1, 0))
    again = Rows(path)
    assert again.of("kill") == first.of("kill")
    assert again.of("kill")[0].lost == ("utterance x",)
    assert (again.count, again.late, sum(again.codes.values())) == (2, 1, 2)
    assert again.missing("kill", 2)
    assert not again.missing("disk", 1)
    page = report(again.of("kill"), again.of("disk"), again.late, "the command", {"abc": 2})
    assert "Sessions of each commit: abc 2." in page
    assert "| utterance x |" in page
