"""`fieldlog listen` on a file played as if spoken: output, Ctrl-C, kill -9, no sound system."""

from __future__ import annotations

import atexit
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from fieldlog.audio.clip import RATE
from tests.shared import shared_path

DEMO = Path(__file__).parents[1] / "demo_media"
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


def start(*arguments: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "fieldlog", "listen", *arguments],
        env=os.environ | {"FIELDLOG_HOME": str(HOME)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def kept(folder: Path, at_least: int, process: subprocess.Popen[str]) -> None:
    """Wait until a recording in ``folder`` has grown to ``at_least`` bytes."""
    for _ in range(400):
        if any(path.stat().st_size >= at_least for path in folder.glob("*.wav")):
            return
        assert process.poll() is None, process.communicate()
        time.sleep(0.05)
    pytest.fail("nothing was recorded in 20 s")


def test_ctrl_c_ends_cleanly_with_the_last_utterance_flushed(tmp_path: Path) -> None:
    path = speech(tmp_path)
    process = start("--source", str(path), "--keep", str(tmp_path / "keep"))
    kept(tmp_path / "keep", 44 + 3 * RATE * 2, process)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=20)
    assert process.returncode == 0, err
    assert "Traceback" not in err
    assert "1 utterance" in err
    assert out.strip()
    (recording,) = (tmp_path / "keep").iterdir()
    assert sf.info(recording).frames >= 3 * RATE
    assert not recording.name.endswith(".recording.wav")


def test_kill_9_loses_no_sound_and_the_next_start_says_so(tmp_path: Path) -> None:
    if not hasattr(signal, "SIGKILL"):
        pytest.skip("this system has no kill -9")
    path = speech(tmp_path)
    keep = tmp_path / "keep"
    process = start("--source", str(path), "--keep", str(keep))
    kept(keep, 44 + RATE * 2, process)
    process.kill()
    process.communicate()
    process = start("--source", str(path), "--fast", "--keep", str(keep))
    out, err = process.communicate(timeout=60)
    assert process.returncode == 0, err
    assert "recovered" in err
    assert sorted(sf.info(p).frames > RATE / 2 for p in keep.iterdir()) == [True, True]
    assert len(out.strip().splitlines()) >= 2


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (["--source", "nowhere.wav"], 5, "nowhere.wav: no such file"),
        (["--help"], 0, "fieldlog listen --source"),
    ],
)
def test_bad_input_is_one_line(arguments: list[str], code: int, says: str) -> None:
    out, err = (process := start(*arguments)).communicate(timeout=30)
    assert process.returncode == code
    assert says in out + err
    assert "Traceback" not in err


def test_no_sound_system_is_one_line_with_the_cure(tmp_path: Path) -> None:
    """A6: `import sounddevice` fails where PortAudio is missing; only the microphone minds."""
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
