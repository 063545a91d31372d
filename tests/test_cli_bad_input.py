"""Bad input to the commands: one clear line that says what, where and what to do; the right exit
code; nothing lost; no traceback.
"""

from __future__ import annotations

import errno
import json
import os
import shutil
import sqlite3
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from click.testing import Result

from fieldlog.errors import UsageError
from fieldlog.model.context import Context
from fieldlog.shop.workshop import Workshop
from fieldlog.store.database import FILE
from fieldlog.store.repository import Repository
from tests.spoken import WORDS, grammar, hear, run, sentence, spoken, stub_listener


def refused(result: Result, code: int, *told: str) -> None:
    """Exactly one line on stderr, with every text of ``told`` and a next step; exit ``code``."""
    lines = result.stderr.splitlines()
    assert result.exit_code == code, result.output
    assert isinstance(result.exception, SystemExit), result.exception
    assert len(lines) == 1, lines
    assert lines[0].startswith("fieldlog: "), lines
    assert "Next: " in lines[0], lines
    assert "fault of fieldlog" not in lines[0], lines
    for text in told:
        assert text in lines[0], lines
    assert not result.stdout


# audio


def empty(path: Path) -> None:
    path.write_bytes(b"")


def header_only(path: Path) -> None:
    path.write_bytes(spoken(path).read_bytes()[:44])


def text(path: Path) -> None:
    path.write_text("front tread four thirty seconds\n" * 40, encoding="utf-8")


def noise(path: Path) -> None:
    path.write_bytes(np.random.default_rng(7).bytes(5000))


def folder(path: Path) -> None:
    path.mkdir()


def missing(path: Path) -> None:
    assert not path.exists()


def broken_flac(path: Path) -> None:
    path.write_bytes(b"fLaC" + bytes(60))


UNUSABLE = [
    (empty, "a.wav", "is empty (0 bytes)"),
    (header_only, "a.wav", "holds no sound"),
    (text, "a.wav", "is text, not audio"),
    (noise, "a.mp3", "no sound that can be read"),
    (folder, "a.wav", "is a folder"),
    (missing, "a.wav", "no such file"),
    (broken_flac, "a.flac", "a.flac"),
]


@pytest.mark.parametrize(
    ("make", "name", "told"), UNUSABLE, ids=lambda v: getattr(v, "__name__", v)
)
def test_an_audio_file_that_cannot_be_used(
    make: object, name: str, told: str, tmp_path: Path
) -> None:
    path = tmp_path / name
    assert callable(make)
    make(path)
    refused(hear(path, folder=tmp_path), 5, str(path), told)


def test_an_audio_file_that_may_not_be_read(tmp_path: Path) -> None:
    if not hasattr(os, "geteuid") or os.geteuid() == 0:
        pytest.skip("the superuser may read everything")
    path = spoken(tmp_path / "a.wav")
    path.chmod(0)
    refused(hear(path, folder=tmp_path), 5, str(path), "may not be read", "chmod u+r")


@pytest.mark.parametrize(
    ("make", "name", "told"), UNUSABLE, ids=lambda v: getattr(v, "__name__", v)
)
def test_one_bad_file_among_several_leaves_the_others_heard(
    make: object, name: str, told: str, tmp_path: Path
) -> None:
    bad = tmp_path / name
    assert callable(make)
    make(bad)
    good = [spoken(tmp_path / "before.wav"), spoken(tmp_path / "behind.flac")]
    result = hear(good[0], bad, good[1], folder=tmp_path)
    assert result.exit_code == 9
    rows = [json.loads(line) for line in result.stdout.splitlines()]
    assert [(row["file"], row["text"]) for row in rows] == [(str(path), WORDS) for path in good]
    first, last = result.stderr.splitlines()
    assert str(bad) in first
    assert told in first
    assert f"1 of 3 files left out: {bad}" in last


def test_all_of_several_files_bad_is_no_half_success(tmp_path: Path) -> None:
    result = hear(tmp_path / "a.wav", tmp_path / "b.wav", folder=tmp_path)
    assert result.exit_code == 5
    assert "none of the 2 files could be heard" in result.stderr.splitlines()[-1]
    assert len(result.stderr.splitlines()) == 3


def test_a_cut_recording_gives_what_it_holds_and_says_so(tmp_path: Path) -> None:
    path = spoken(tmp_path / "a.wav")
    whole = path.read_bytes()
    path.write_bytes(whole[: 44 + 4 * 16_000 * 2])
    result = hear(path, folder=tmp_path)
    assert result.exit_code == 9, "a part of it was left out"
    assert json.loads(result.stdout)["text"] == WORDS
    told, end = result.stderr.splitlines()
    assert told == f"fieldlog: {path}: cut short: 4.00 of 5.00 s are there"
    assert f"not heard to its end: {path}" in end


def test_silence_is_said_and_gives_no_utterance(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    sf.write(path, np.zeros(3 * 16_000, dtype=np.float32), 16_000)
    result = hear(path, folder=tmp_path)
    assert (result.exit_code, result.stdout) == (0, "")
    assert "no speech was found in 3.0 s" in result.stderr
    assert "every sample is zero" in result.stderr


@pytest.mark.parametrize("name", ["a.mp3", "a.txt", "a", "a.WAV"])
def test_a_name_that_does_not_fit_the_contents_changes_nothing(name: str, tmp_path: Path) -> None:
    path = tmp_path / name
    path.write_bytes(spoken(tmp_path / "source.wav").read_bytes())
    assert json.loads(hear(path, folder=tmp_path).stdout)["text"] == WORDS


SHAPES = [
    (8_000, 1, "PCM_16"), (16_000, 6, "PCM_16"), (22_050, 2, "PCM_24"), (44_100, 2, "PCM_16"),
    (48_000, 1, "PCM_32"), (96_000, 2, "FLOAT"), (44_100, 1, "DOUBLE"), (16_000, 1, "PCM_U8"),
]  # fmt: skip


@pytest.mark.parametrize(("rate", "channels", "width"), SHAPES)
def test_every_rate_channel_count_and_width_is_heard(
    rate: int, channels: int, width: str, tmp_path: Path
) -> None:
    import soxr

    sound = soxr.resample(sentence(), 16_000, rate)
    path = tmp_path / "a.wav"
    sf.write(path, np.column_stack([sound] * channels), rate, subtype=width)
    result = hear(path, folder=tmp_path)
    assert result.exit_code == 0, result.stderr
    row = json.loads(result.stdout)
    assert row["text"] == WORDS
    assert abs(row["start_s"] - 0.7) < 0.2
    assert ("narrow band" in row["sound"]) == (rate == 8_000)


def test_samples_that_are_no_numbers_become_silence_and_are_told(tmp_path: Path) -> None:
    sound = sentence()
    sound[::1000] = np.nan
    sound[5] = np.inf
    path = tmp_path / "a.wav"
    sf.write(path, sound, 16_000, subtype="FLOAT")
    result = hear(path, folder=tmp_path)
    assert json.loads(result.stdout)["text"] == WORDS
    assert "81 samples were not numbers" in result.stderr


# models and grammars


def test_models_that_cannot_be_used(tmp_path: Path) -> None:
    path = spoken(tmp_path / "a.wav")
    hollow = tmp_path / "model"
    hollow.mkdir()
    ours = ("--grammar", grammar(tmp_path))
    for listener in ("whisper", "vosk", "pocketsphinx"):
        for model in (hollow, tmp_path / "nowhere"):
            result = run("hear", path, *ours, "--listener", listener, "--model", model)
            refused(result, 4, str(model))
    refused(run("hear", path, *ours, "--listener", "vosk"), 4, "no model", "--model")


def test_a_model_is_refused_before_any_audio_is_opened(tmp_path: Path) -> None:
    result = run("hear", tmp_path / "missing.wav", "--listener", "vosk", "--model", tmp_path)
    assert result.exit_code == 4


def test_a_grammar_with_faults_names_all_of_them_with_their_places(tmp_path: Path) -> None:
    path = tmp_path / "bad.jsgf"
    path.write_text("#JSGF V1.0;\ngrammar bad;\npublic <a> = <b> one;\n<c> = <c> x;\n", "utf-8")
    result = run("hear", spoken(tmp_path / "a.wav"), "--grammar", path)
    assert result.exit_code == 3
    assert "bad.jsgf:3" in result.stderr
    assert "bad.jsgf:4" in result.stderr
    assert "Traceback" not in result.stderr
    refused(run("hear", tmp_path / "a.wav", "--grammar", tmp_path / "no.jsgf"), 3, "no.jsgf")


def test_words_a_listener_cannot_say_are_listed_before_it_listens(tmp_path: Path) -> None:
    path = tmp_path / "odd.jsgf"
    path.write_text("#JSGF V1.0;\ngrammar odd;\npublic <a> = zzyzxq | qwrtpl;\n", "utf-8")
    result = run(
        "hear", spoken(tmp_path / "a.wav"), "--grammar", path, "--listener", "pocketsphinx"
    )
    assert result.exit_code == 3, result.output
    assert "zzyzxq" in result.stderr
    assert "qwrtpl" in result.stderr


# arguments


@pytest.mark.parametrize(
    ("option", "told"),
    [
        (("--jurisdiction", "ZZ"), "'ZZ'"),
        (("--set", "rim"), "'rim' is not key=value"),
        (("--set", "rim=wood"), "'wood'"),
        (("--set", "colour=red"), "'colour'"),
        (("--set", "date=yesterday"), "'yesterday'"),
    ],
)
def test_a_context_that_cannot_be_meant(option: tuple[str, str], told: str, tmp_path: Path) -> None:
    refused(run("parse", "rear tread four thirty seconds", *option), 2, told)
    refused(run("hear", spoken(tmp_path / "a.wav"), *option), 2, told)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("flux capacitor two millimetres", "flux"),
        ("rear tread four furlongs", "furlongs"),
        ("", "nothing was said"),
        ("rear tread thirty oh millimetres", "rear tread thirty oh"),
    ],
)
def test_words_that_mean_nothing_are_an_outcome_not_a_fault(words: str, told: str) -> None:
    result = run("parse", words, "--json")
    assert (result.exit_code, result.stderr) == (0, "")
    row = json.loads(result.stdout)
    assert row["decision"] == "refuse"
    assert row["finding"] is None
    assert told in row["reason"] + row["text"]


# the record


@pytest.fixture
def record(tmp_path: Path) -> Path:
    place = tmp_path / "record"
    assert run("vehicle", "add", "grey twin", "--store", place).exit_code == 0
    assert run("inspection", "start", "grey twin", "--store", place).exit_code == 0
    assert run("inspection", "enter", "front tread 4 mm", "--store", place).exit_code == 0
    return place


def findings(place: Path) -> int:
    with Repository.open(place) as store:
        return len(store.inspection_record("last").findings)


def test_names_that_are_not_in_the_record(record: Path) -> None:
    refused(run("inspection", "show", "77", "--store", record), 2, "'77'")
    refused(run("report", "77", "--store", record), 2, "'77'")
    refused(run("inspection", "withdraw", "9", "--reason", "x", "--store", record), 2, "finding 9")
    refused(run("inspection", "start", "nobody", "--store", record), 2, "nobody")
    refused(run("vehicle", "show", "nobody", "--store", record), 2, "nobody")
    refused(run("inspection", "hear", "a.wav", "--inspection", "9", "--store", record), 2, "'9'")


def test_an_empty_record_says_how_to_begin(tmp_path: Path) -> None:
    with Repository.open(tmp_path / "new"):
        pass
    for command in ("inspection show", "inspection open", "report", "inspection jobs"):
        refused(run(*command.split(), "--store", tmp_path / "new"), 2, "no inspection yet")


def test_a_record_of_a_newer_version_is_left_alone(record: Path) -> None:
    with sqlite3.connect(record / FILE) as db:
        db.execute(
            "insert into _sqlite_migrations (migration_set, name, applied_at) "
            "select migration_set, 'm999_from_the_future', applied_at from _sqlite_migrations limit 1"
        )
    db.close()
    before = (record / FILE).read_bytes()
    refused(run("inspection", "show", "--store", record), 8, "newer", "update fieldlog")
    assert (record / FILE).read_bytes() == before


def test_a_corrupt_record_is_refused_and_never_deleted(record: Path) -> None:
    path = record / FILE
    for extra in record.glob(f"{FILE}-*"):
        extra.unlink()
    damaged = path.read_bytes()[:100] + bytes(5000) + path.read_bytes()[5100:]
    path.write_bytes(damaged)
    result = run("vehicle", "list", "--store", record)
    assert "Traceback" not in result.output
    assert "corrupt" in result.stderr or "malformed" in result.stderr
    kept = [each for each in record.iterdir() if each.is_file() and each.read_bytes() == damaged]
    assert kept, sorted(record.iterdir())


def test_a_locked_record_says_who_to_look_for(
    record: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fieldlog.store.database.BUSY_S", 0.2)
    other = sqlite3.connect(record / FILE, isolation_level=None)
    try:
        other.execute("begin exclusive")
        result = run("inspection", "enter", "rear tread 4 mm", "--store", record)
        refused(result, 8, "lock")
    finally:
        other.execute("rollback")
        other.close()
    assert findings(record) == 1


def test_a_full_disk_loses_nothing_that_was_there(
    record: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Repository.open(record) as store:
        rows = store.verify().rows

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    sound = spoken(record / "a.wav")
    stub_listener(monkeypatch)
    monkeypatch.setattr("fieldlog.store.media.os.fsync", full)
    result = run("inspection", "hear", sound, "--store", record)
    monkeypatch.undo()
    assert result.exit_code == 8, result.output
    (told,) = [line for line in result.stderr.splitlines() if line.startswith("fieldlog: ")]
    assert "no space left" in told
    assert "free some space" in told
    assert findings(record) == 1
    with Repository.open(record) as store:
        assert store.verify().rows == rows


def test_a_folder_that_cannot_be_written(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("in the way", encoding="utf-8")
    refused(run("vehicle", "add", "x", "--store", blocked / "record"), 8, str(blocked), "--store")
    if hasattr(os, "geteuid") and os.geteuid() != 0:
        place = tmp_path / "readonly"
        place.mkdir()
        place.chmod(0o500)
        refused(run("vehicle", "add", "x", "--store", place / "record"), 8, str(place), "--store")


def test_a_report_that_cannot_be_written(record: Path, tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("in the way", encoding="utf-8")
    result = run("report", "--json", "--out", blocked / "there", "--store", record)
    assert result.exit_code != 0
    assert "Traceback" not in result.output
    assert str(blocked) in result.stderr
    assert len(result.stderr.splitlines()) == 1


# photos


def test_photos_that_cannot_be_used(record: Path, tmp_path: Path) -> None:
    refused(run("photos", "scan", tmp_path / "nowhere"), 6, "nowhere")
    hollow = tmp_path / "hollow"
    hollow.mkdir()
    result = run("photos", "scan", hollow)
    assert result.exit_code == 0
    assert "no photos" in result.stderr
    bad = tmp_path / "photos"
    bad.mkdir()
    (bad / "a.jpg").write_bytes(b"not a photo")
    (bad / "b.jpg").write_bytes(b"")
    result = run("photos", "scan", bad, "--json")
    rows = [json.loads(line) for line in result.stdout.splitlines()]
    assert {Path(row["file"]).name for row in rows} == {"a.jpg", "b.jpg"}
    assert all(row["problem"] for row in rows)
    result = run("photos", "import", bad, "--store", record)
    assert "Traceback" not in result.output
    assert "a.jpg" in result.output
    with Repository.open(record) as store:
        assert not store.inspection_record("last").photos
    shutil.rmtree(bad)


# what an inspection is begun with


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (["--jurisdiction", "XX"], "'XX'"),
        (["--set", "rimm=steel"], "'rimm'"),
        (["--set", "rim=stel"], "'stel'"),
        (["--zone", "Mars"], "'Mars'"),
        (["--zone", "Europe"], "'Europe'"),
        (["--zone", "Mars", "--on", "2026-03-14"], "'Mars'"),
    ],
)
def test_an_inspection_is_not_begun_with_what_no_later_command_can_use(
    record: Path, given: list[str], told: str
) -> None:
    """It stood in the record, and whatever was said into it was refused from then on."""
    with Repository.open(record) as store:
        before = len(store.inspections())
    refused(run("inspection", "start", "1", *given, "--store", record), 2, told)
    with Repository.open(record) as store:
        assert len(store.inspections()) == before
    with Workshop.open(record) as shop:
        with pytest.raises(UsageError, match="XX"):
            shop.begin("1", Context("XX"))
        assert len(shop.store.inspections()) == before


def test_a_fact_that_is_nearly_one_that_is_asked_for_is_told(tmp_path: Path) -> None:
    """A slip leaves verdicts undecided, and nobody would look for it there."""
    result = run("vehicle", "add", "x", "--set", "rimm=steel", "--json", "--store", tmp_path)
    assert "was rim meant?" in result.stderr
    assert json.loads(result.stdout)["facts"] == {"rimm": "steel"}
    result = run("vehicle", "set", "1", "Pressure-rear=42 psi", "year=1998", "--store", tmp_path)
    assert not result.stderr
    with Repository.open(tmp_path) as store:
        assert set(store.vehicle("1").facts) == {"rimm", "pressure_rear", "year"}
    result = run("vehicle", "set", "1", "disc-minimum=5 apples", "--store", tmp_path)
    assert result.exit_code == 2


def test_a_second_vehicle_of_the_same_name_is_told(tmp_path: Path) -> None:
    """By the name it hides the first one, its limits and all that was measured on it."""
    assert not run("vehicle", "add", "red single", "--store", tmp_path).stderr
    result = run("vehicle", "add", "red single", "--store", tmp_path)
    assert "no. 1 is called so too" in result.stderr
    assert result.exit_code == 0


def test_a_day_that_is_to_come_is_told(tmp_path: Path) -> None:
    """A slip in the year counts what comes due from it."""
    run("vehicle", "add", "x", "--store", tmp_path)
    for words in (
        ["vehicle", "done", "1", "brake fluid changed", "--on", "2071-01-01"],
        ["inspection", "start", "1", "--on", "2071-01-01"],
    ):
        result = run(*words, "--store", tmp_path)
        assert result.exit_code == 0
        assert "2071-01-01 is still to come" in result.stderr
    result = run(
        "vehicle", "done", "1", "brake fluid changed", "--on", "2020-01-01", "--store", tmp_path
    )
    assert not result.stderr
    refused(
        run(
            "vehicle", "done", "1", "brake fluid changed", "--on", "2099-01-01", "--store", tmp_path
        ),
        2,
        "of the years 1980 to 2079",
    )
