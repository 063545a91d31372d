"""`fieldlog listen` on a real sound server: heard, moved, cut off, back, and ended."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from fieldlog.store.repository import Repository
from tests.sound_server import SoundServer, needs_a_sound_server
from tests.spoken import spoken

PATIENCE_S = 120.0


class Listening:
    """The command, with the instant of every line it printed."""

    def __init__(self, server: SoundServer, store: Path) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "fieldlog", "listen", "--store", str(store), "--say", "nothing"],
            env={**server.env, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        )  # fmt: skip
        self.lines: list[tuple[float, str]] = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.append((time.monotonic(), line.rstrip()))

    def wait_for(self, words: str, times: int = 1) -> float:
        """When a line with these words came (for the ``times``th time)."""
        until = time.monotonic() + PATIENCE_S
        while time.monotonic() < until:
            found = [at for at, line in self.lines if words in line]
            if len(found) >= times:
                return found[times - 1]
            assert self.process.poll() is None, self.lines
            time.sleep(0.02)
        pytest.fail(f"nothing said {words!r}: {self.lines}")

    def close(self) -> None:
        with self.process:
            self.process.kill()
            self._reader.join(PATIENCE_S)

    def end(self) -> str:
        self.process.send_signal(signal.SIGINT)
        assert self.process.wait(PATIENCE_S) == 0, self.lines
        self._reader.join(PATIENCE_S)
        return "\n".join(line for _, line in self.lines)


@pytest.fixture
def server(tmp_path: Path) -> Iterator[SoundServer]:
    needs_a_sound_server()
    with SoundServer(tmp_path / "sound") as running:
        yield running


BUSY_S = 3.0
"""What two other workers of the test run may cost: 3.2 s were seen for the first."""


def test_heard_moved_cut_off_and_back_without_a_new_start(  # spatialaudio/python-sounddevice#627, bastibe/SoundCard#123, pure-data/pure-data PR#474
    server: SoundServer, tmp_path: Path
) -> None:
    said, store = spoken(tmp_path / "said.wav"), tmp_path / "record"
    listening = Listening(server, store)
    try:
        listening.wait_for("listening on Monitor of Bench")
        time.sleep(2.0)  # a source that nobody used wakes up
        server.play(said)
        listening.wait_for("front tyre, tread depth: 4/32 in")
        server.unplug("bench")
        moved = time.monotonic()
        assert listening.wait_for("now listening on Monitor of Door") - moved < 3.0 + BUSY_S
        server.kill()
        cut = time.monotonic()
        assert listening.wait_for("microphone lost") - cut < 2.0 + BUSY_S
        server.start()
        listening.wait_for("Monitor of Bench", times=2)
        time.sleep(2.0)
        server.play(said)
        listening.wait_for("front tyre, tread depth: 4/32 in", times=2)
        told = listening.end()
    finally:
        listening.close()
    assert "pa_linux_alsa" not in told  # no library's own messages
    assert "ALSA lib" not in told
    with Repository.open(store) as kept:
        record = kept.inspection_record("last")
    assert [each.finding.words for each in record.findings] == [
        "front tread four thirty seconds"
    ] * 2
    assert [each.source for each in record.utterances] == ["Monitor of Bench"] * 2
    assert not list((store / "streams").glob("*.session"))
