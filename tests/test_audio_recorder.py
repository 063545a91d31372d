"""The stream on disk survives a killed program and repairs only what needs it."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
import wave
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from fieldlog.audio.clip import RATE
from fieldlog.audio.recorder import RUNNING, Recorder, recover, repair, stream_name
from fieldlog.audio.wav import header
from fieldlog.errors import StoreError

RAMP = (np.arange(RATE, dtype=np.float32) / RATE - 0.5).astype(np.float32)

VICTIM = """
import sys, time
import numpy as np
from pathlib import Path
from fieldlog.audio.recorder import Recorder
ramp = (np.arange(16000, dtype=np.float32) / 16000 - 0.5).astype(np.float32)
recorder = Recorder(Path(sys.argv[1]), "walk")
for _ in range(5):
    recorder.write(ramp)
print("written", flush=True)
time.sleep(60)
"""


def frames(path: Path) -> int:
    """By the standard library, which is not ours."""
    with wave.open(str(path)) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, RATE)
        count: int = file.getnframes()
        assert len(file.readframes(count)) == 2 * count
        return count


def test_a_finished_recording_is_a_plain_wav(tmp_path: Path) -> None:
    with Recorder(tmp_path, "walk") as recorder:
        for block in np.array_split(RAMP, 7):
            recorder.write(block)
        assert recorder.seconds == 1.0
    final = tmp_path / "walk.wav"
    assert recorder.close() == final
    assert frames(final) == RATE
    heard, rate = sf.read(final, dtype="float32")
    assert rate == RATE
    assert np.abs(heard - RAMP).max() < 1e-4


def test_loud_samples_are_limited_not_wrapped(tmp_path: Path) -> None:
    with Recorder(tmp_path, "loud") as recorder:
        recorder.write(np.array([2.0, -2.0], dtype=np.float32))
    heard, _ = sf.read(tmp_path / "loud.wav")
    assert heard == pytest.approx([1.0, -1.0], abs=1e-3)


def test_the_header_is_put_right_while_recording(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path, "walk")
    for _ in range(3):
        recorder.write(RAMP)
    assert frames(recorder.path) >= 2 * RATE
    recorder.close()


def test_killed_program_loses_nothing_that_was_written(tmp_path: Path) -> None:
    if not hasattr(signal, "SIGKILL"):
        pytest.skip("this system has no kill -9")
    with subprocess.Popen(
        [sys.executable, "-c", VICTIM, str(tmp_path)], stdout=subprocess.PIPE
    ) as victim:
        assert victim.stdout is not None
        assert victim.stdout.readline().strip() == b"written"
        assert recover(tmp_path) == [], "a recording in progress must be left alone"
        victim.kill()
    (found,) = recover(tmp_path)
    assert found.path == tmp_path / "walk.wav"
    assert found.seconds == 5.0
    assert frames(found.path) == 5 * RATE
    assert recover(tmp_path) == []


@pytest.mark.parametrize("lost", [0, 1, 2, 777])
def test_a_lying_header_is_repaired_from_the_length(tmp_path: Path, lost: int) -> None:
    data = np.arange(1000, dtype="<i2").tobytes()
    path = tmp_path / f"walk{RUNNING}"
    path.write_bytes(header(RATE, 1, 0) + data[: len(data) - lost])
    (found,) = recover(tmp_path)
    assert frames(found.path) == (2000 - lost) // 2


def test_healthy_and_foreign_files_stay_byte_for_byte(  # agfline/wavfix#12
    tmp_path: Path,
) -> None:
    sf.write(tmp_path / "a.wav", RAMP, RATE, subtype="PCM_24")
    sf.write(tmp_path / "b.wav", np.stack([RAMP, RAMP], axis=1), 44_100, subtype="FLOAT")
    sf.write(tmp_path / "c.flac", RAMP, RATE)
    (tmp_path / "d.wav").write_bytes(b"not a wav at all")
    (tmp_path / "e.wav").write_bytes(header(RATE, 1, 4) + bytes(4) + b"LIST\x04\0\0\0INFO")
    for path in sorted(tmp_path.iterdir()):
        before = path.read_bytes()
        assert repair(path) is False
        assert path.read_bytes() == before


def test_an_empty_recording_is_removed(tmp_path: Path) -> None:
    (tmp_path / f"walk{RUNNING}").write_bytes(header(RATE, 1, 0))
    assert recover(tmp_path) == []
    assert list(tmp_path.iterdir()) == []


def test_full_disk_is_one_line_and_keeps_what_is_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    recorder = Recorder(tmp_path, "walk")
    recorder.write(RAMP)

    def full(data: bytes) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(recorder, "_append", full)
    with pytest.raises(StoreError, match=r"No space left.*free some space"):
        recorder.write(RAMP)
    recorder.close()
    assert frames(tmp_path / "walk.wav") == RATE


def test_folder_that_cannot_be_used_and_name_that_exists(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(StoreError, match="cannot start recording"):
        Recorder(tmp_path / "file", "walk")
    Recorder(tmp_path, "walk").close()
    with pytest.raises(StoreError, match="exists"):
        Recorder(tmp_path, "walk")
    if os.name == "posix":
        assert (tmp_path / "walk.wav").exists()


def test_names_are_the_utc_instant() -> None:
    instant = datetime(2026, 3, 1, 10, 15, 0, 250_000, tzinfo=UTC)
    assert stream_name(instant) == "stream-20260301T101500.250Z"
