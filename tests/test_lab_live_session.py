"""The laboratory of live sessions: cut off, timed, spoken from a script; the parts that need no recogniser."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from fieldlog import config
from fieldlog.audio.clip import FRAME_S, RATE, Clip
from fieldlog.lab.crash.command import report
from fieldlog.lab.crash.rounds import Fell, Whole, _compared, excerpt
from fieldlog.lab.crash.victim import lines_of
from fieldlog.lab.live_session.bench import last_voice_s, resident_mb
from fieldlog.lab.live_session.scripted import differences, scripts
from fieldlog.lab.live_session.stage import ECHO, LATEST_S, Room, sounddevice
from fieldlog.language.files import load_language
from fieldlog.model.context import Context
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
    first, second = scripts(MEDIA, 2.0)
    assert first.cut_s is not None
    assert first.at_s - 8.0 < first.cut_s < first.at_s  # within its last phrase
    assert len(second.away) == 2
    assert len(first.begins) + len(second.begins) == 39 + 2  # two are said twice


def test_what_stands_is_held_against_the_manifest(tmp_path: Path) -> None:
    with Workshop.open(tmp_path, now=lambda: NOW) as shop:
        inspecting = shop.inspecting(shop.begin("roadster", Context("US-VA")).id)
        for words in ("horn works", "left mirror cracked"):
            inspecting.type(words)
        found = differences(inspecting.record, MEDIA)
    assert not any(each.startswith("horn is not there") for each in found)
    assert any(each.startswith("chain") for each in found)
    assert found[-1] == "nobody said 'left mirror cracked'"


def test_the_stand_in_for_a_sound_system_echoes_goes_away_and_waits(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    now = [100.0]
    monkeypatch.setattr("fieldlog.lab.live_session.stage.time.monotonic", lambda: now[0])
    monkeypatch.setattr("fieldlog.lab.live_session.stage.os.write", lambda *_: None)
    sound = np.full(RATE, 0.25, dtype=np.float32)
    room = Room(sound, [(0.5, 4.0)], [0.2])
    system = sounddevice(room)
    block = room.heard(3_200)
    assert block is not None
    assert block[0] == 0.25
    room.played(np.full(1_600, 0.5, dtype=np.float32))
    waits = room.heard(3_200)  # it is being spoken to: the next phrase waits, the echo comes
    assert waits is not None
    assert {0.0, 0.25} == set(np.unique(waits))
    assert waits[0] == 0.0
    now[0] += 2.0
    assert room.heard(4_800) is not None
    assert room.heard(320) is None
    assert system.query_devices() == []
    room.played(np.full(RATE, 0.5, dtype=np.float32))  # no microphone hears it
    now[0] += 5.0
    assert len(system.query_devices()) == 1
    back = room.heard(3_200)
    assert back is not None
    assert 0.25 in np.unique(back)
    assert float(back.max()) == 0.25


def test_no_echo_is_later_than_that_of_a_wireless_loudspeaker() -> None:
    room = Room(np.zeros(10 * RATE, np.float32), [], [])
    room.played(np.concatenate([np.zeros(RATE - 100, np.float32), np.ones(100, np.float32)]))
    first = room.heard(round(LATEST_S * RATE))
    assert first is not None
    assert float(first.max()) == ECHO
