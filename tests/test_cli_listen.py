"""`fieldlog listen` on a file played as if spoken: output, Ctrl-C, kill -9, no sound system."""

from __future__ import annotations

import atexit
import os
import re
import shlex
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import cast

import numpy as np
import pytest
import soundfile as sf

from fieldlog.audio.capture import Spoken
from fieldlog.audio.clip import RATE, Clip
from fieldlog.cli.ears import open_ears
from fieldlog.cli.listen import told_text
from fieldlog.errors import StoreError
from fieldlog.grammar.tagged import TaggedLanguage
from fieldlog.hearing import Judge
from fieldlog.language.files import load_language
from fieldlog.listeners.base import Listener
from fieldlog.listeners.worker import WorkerListener
from fieldlog.shop.ears import Ears
from fieldlog.shop.events import NotSaved
from fieldlog.shop.live import LiveInspection
from fieldlog.shop.workshop import Workshop
from fieldlog.store.base import AsSeen, NewRow, Stored
from fieldlog.store.repository import Repository
from fieldlog.store.rescue import rescue
from tests.shared import shared_path
from tests.spoken import GRAMMAR, WORDS, Stub, stub_opener

DEMO = Path(__file__).parents[1] / "demo_media"
PATIENCE_S = 300
"""Until a command counts as hung: nothing else is told by it, and a machine may be busy."""
HOME = Path(tempfile.mkdtemp(prefix="fieldlog-listen-"))
atexit.register(shutil.rmtree, HOME, ignore_errors=True)


def speech(tmp_path: Path) -> Path:
    """Real or synthetic speech with silence around it, from what lies beside the tests."""
    folder = shared_path("speech/orders/audio")
    source = (
        sorted(folder.iterdir())[0] if folder else next(iter(sorted(DEMO.glob("*.flac"))), None)
    )
    if source is None:
        pytest.skip("neither demo_media nor shared/speech holds any speech")
    sound, rate = sf.read(source, dtype="float32", frames=6 * 48_000)
    path = tmp_path / "speech.flac"
    silence = np.zeros((rate * 2, *sound.shape[1:]), dtype=np.float32)
    sf.write(path, np.concatenate([sound, silence, sound, silence]), rate)
    return path


Start = Callable[..., "subprocess.Popen[str]"]


@pytest.fixture
def start() -> Iterator[Start]:
    """Starts `fieldlog listen`; what a failing test leaves running would fail another one."""
    started: list[subprocess.Popen[str]] = []

    def begin(*arguments: str) -> subprocess.Popen[str]:
        process = subprocess.Popen(
            [sys.executable, "-m", "fieldlog", "listen", *arguments],
            env=os.environ | {"FIELDLOG_HOME": str(HOME)},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        started.append(process)
        return process

    yield begin
    for process in started:
        with process:
            process.kill()


def kept(folder: Path, at_least: int, process: subprocess.Popen[str]) -> None:
    """Wait until a recording in ``folder`` has grown to ``at_least`` bytes."""
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        if any(path.stat().st_size >= at_least for path in folder.glob("*.wav")):
            return
        assert process.poll() is None, process.communicate()
        time.sleep(0.05)
    pytest.fail(f"nothing was recorded in {PATIENCE_S} s")


def test_ctrl_c_ends_cleanly_with_the_last_utterance_flushed(tmp_path: Path, start: Start) -> None:
    path = speech(tmp_path)
    process = start("--source", str(path), "--keep", str(tmp_path / "keep"))
    kept(tmp_path / "keep", 44 + 3 * RATE * 2, process)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 0, err
    assert "Traceback" not in err
    (count,) = re.findall(r"^(\d+) utterance", err, re.MULTILINE)
    assert len(re.findall(r"^ +[\d.]+ - ", out, re.MULTILINE)) == int(count) >= 1
    (recording,) = (tmp_path / "keep").iterdir()
    assert sf.info(recording).frames >= 3 * RATE
    assert not recording.name.endswith(".recording.wav")


def test_kill_9_loses_no_sound_and_the_next_start_says_so(tmp_path: Path, start: Start) -> None:
    if not hasattr(signal, "SIGKILL"):
        pytest.skip("this system has no kill -9")
    path = speech(tmp_path)
    keep = tmp_path / "keep"
    process = start("--source", str(path), "--keep", str(keep))
    kept(keep, 44 + RATE * 2, process)
    process.kill()
    process.communicate()
    process = start("--source", str(path), "--fast", "--keep", str(keep))
    out, err = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 0, err
    assert "recovered" in err
    assert sorted(sf.info(p).frames > RATE / 2 for p in keep.iterdir()) == [True, True]
    assert len(out.strip().splitlines()) >= 2


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (["--source", "nowhere.wav"], 5, "nowhere.wav: no such file"),
        (["--help"], 0, "fieldlog listen --source"),
        (["--inspection", "last", "--vehicle", "red one"], 2, "keeps its vehicle and its rules"),
        (["--inspection", "last", "--walk", "usual"], 2, "keeps the walk it was begun with"),
    ],
)
def test_bad_input_is_one_line(arguments: list[str], code: int, says: str, start: Start) -> None:
    out, err = (process := start(*arguments)).communicate(timeout=PATIENCE_S)
    assert process.returncode == code
    assert says in out + err
    assert "Traceback" not in err


def test_no_sound_system_is_one_line_with_the_cure(tmp_path: Path) -> None:
    """`import sounddevice` fails where PortAudio is missing; only the microphone minds."""
    (tmp_path / "sounddevice.py").write_text("raise OSError('PortAudio library not found')\n")
    done = subprocess.run(
        [sys.executable, "-c", "import fieldlog.cli as c; c.main(['listen'])"],
        capture_output=True,
        text=True,
        env={"PYTHONPATH": str(tmp_path), "PATH": ""},
        check=False,
        cwd=DEMO.parent,
    )
    assert done.returncode == 5
    assert "PortAudio library not found" in done.stderr
    assert "sudo apt install libportaudio2" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


@pytest.mark.parametrize(
    ("listener", "isolated"), [("whisper", False), ("vosk", True), ("pocketsphinx", True)]
)
def test_listeners_that_may_crash_run_in_a_process_of_their_own(
    listener: str, isolated: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: dict[str, object] = {}
    told: list[object] = []

    def opener(name: str, model: object, **how: object) -> Stub:
        asked.update(how)
        return Stub()

    monkeypatch.setattr("fieldlog.listeners.choose.open_listener", opener)
    with open_ears(load_language(), listener, None, on_crash=told.append):
        assert asked["isolated"] is isolated
        assert asked["on_crash"] == told.append
    with open_ears(load_language(), listener, None):
        assert asked["isolated"] is False


def test_ctrl_c_to_every_process_leaves_the_worker_to_hear_what_was_just_said() -> None:
    worker = WorkerListener("stub", opener=stub_opener)
    worker.load(TaggedLanguage.from_text(GRAMMAR, "small.jsgf"))
    try:
        assert worker.pid is not None
        os.kill(worker.pid, signal.SIGINT)
        time.sleep(0.2)
        clip = Clip(np.full(RATE, 0.1, dtype=np.float32), 0.0)
        assert worker.hear(clip).hypotheses[0].text == WORDS
        assert not worker.crashes
        os.kill(worker.pid, signal.SIGSEGV)
        assert not worker.hear(clip).hypotheses
        assert [str(crash) for crash in worker.crashes] == [
            "the recogniser crashed (signal 11) and was restarted; say it again"
        ]
        assert worker.hear(clip).hypotheses[0].text == WORDS
    finally:
        worker.close()


class FullDisk(Repository):
    """A record that takes nothing while ``full``."""

    full = False

    def append(
        self, rows: Sequence[NewRow], now: datetime, seen: AsSeen | None = None
    ) -> tuple[Stored, ...]:
        if self.full:
            raise StoreError("the original cannot be kept (no space left)", where="media")
        return super().append(rows, now, seen)


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[FullDisk]:
    with FullDisk(tmp_path / "shop") as store:
        yield store


def live_on(disk: FullDisk) -> LiveInspection:
    judge: Judge = lambda said, hearing, clip: said  # noqa: E731
    shop = Workshop(disk)
    head = shop.begin("grey twin", started_at=datetime(2026, 3, 14, 9, tzinfo=UTC))
    disk.full = True
    return LiveInspection(
        shop.inspecting(head.id, Ears(shop.language, cast(Listener, Stub()), judge))
    )


def utterance(at: float) -> Spoken:
    clip = Clip(np.full(RATE, at / 100, dtype=np.float32), at)
    return Spoken(clip, 0.0, datetime(2026, 3, 14, 9, tzinfo=UTC) + timedelta(seconds=at), "mic")


def test_what_a_full_disk_refuses_waits_and_is_saved_in_order(
    disk: FullDisk, tmp_path: Path
) -> None:
    live = live_on(disk)
    for count, at in enumerate((1.0, 5.0), start=1):
        (told,) = live.spoken(utterance(at))
        (event,) = told.events
        assert isinstance(event, NotSaved)
        assert (event.waiting, event.words) == (count, WORDS)
        assert f"NOT SAVED YET, {count} waiting" in told_text(told).plain
    disk.full = False
    assert [each.late for each in live.spoken(utterance(9.0))] == [True, True, False]
    record = disk.inspection_record("last")
    assert [each.start_s for each in record.utterances] == [1.0, 5.0, 9.0]
    live.finish(tmp_path / "streams")
    assert not (tmp_path / "streams").exists()


def test_what_could_never_be_saved_leaves_its_sound_and_says_where(
    disk: FullDisk, tmp_path: Path
) -> None:
    live = live_on(disk)
    live.spoken(utterance(1.5))
    with pytest.raises(StoreError, match="1 utterance is not in the record") as raised:
        live.finish(tmp_path / "streams")
    (kept_file,) = (tmp_path / "streams").iterdir()
    assert kept_file.name == "utterance-20260314T090001.500Z.flac"
    assert str(kept_file.parent) in str(raised.value)
    command = raised.value.todo.partition("then: ")[2]
    assert shlex.split(command) == [
        "fieldlog", "inspection", "hear", str(kept_file),
        "--inspection", "1", "--store", str(disk.folder),
    ]  # fmt: skip
    assert sf.info(kept_file).frames == RATE


def test_sound_goes_to_another_disk_when_its_folder_takes_nothing(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("in the way", encoding="utf-8")
    clip = Clip(np.full(RATE, 0.1, dtype=np.float32), 0.0)
    files = rescue([(datetime(2026, 3, 14, 9, tzinfo=UTC), clip)], blocked / "streams")
    assert [each.name for each in files] == ["utterance-20260314T090000.000Z.flac"]
    assert blocked not in files[0].parents
    shutil.rmtree(files[0].parent)
