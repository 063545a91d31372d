"""A private sound server with a microphone that plays what it is given: PulseAudio and a null sink.

It has a folder of its own for its socket and its settings, runs as whoever runs the tests, touches no sound
server of the machine and is ended by its own process. Needs Debian's ``pulseaudio``, ``pulseaudio-utils``,
``libasound2-plugins`` and ``libportaudio2`` (``python -m tests.system``).
"""

from __future__ import annotations

import os
import shutil
import subprocess
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Self

import pytest

PATIENCE_S = 30.0


class SoundServer:
    """The server; ``env`` is what a program needs to record from it."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._process: subprocess.Popen[bytes] | None = None
        home, run = folder / "home", folder / "run"
        home.mkdir(parents=True)
        run.mkdir(mode=0o700)
        (home / ".asoundrc").write_text(
            "pcm.!default { type pulse }\nctl.!default { type pulse }\n"
        )
        self._socket = run / "native"
        self._script = folder / "start.pa"
        self._script.write_text(
            f"load-module module-native-protocol-unix socket={self._socket} auth-anonymous=1\n"
            "load-module module-null-sink sink_name=bench sink_properties=device.description=Bench\n"
            "load-module module-null-sink sink_name=door sink_properties=device.description=Door\n"
            "set-default-sink bench\nset-default-source bench.monitor\n"
        )
        self.env: Mapping[str, str] = os.environ | {
            "HOME": str(home),
            "XDG_RUNTIME_DIR": str(run),
            "PULSE_SERVER": f"unix:{self._socket}",
        }

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.kill()

    def start(self) -> None:
        """Start it, and wait until it answers."""
        self._process = subprocess.Popen(
            ["pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no",
             "-F", str(self._script)],
            env=self.env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        until = time.monotonic() + PATIENCE_S
        while self._ask("info").returncode:
            if time.monotonic() > until or self._process.poll() is not None:
                self.kill()
                pytest.skip("pulseaudio does not start here")
            time.sleep(0.05)

    def kill(self) -> None:
        """As a cable that is pulled: nobody is told."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None

    def play(self, path: Path) -> None:
        """Play a file into the microphone, to its end."""
        subprocess.run(["paplay", str(path)], env=self.env, check=True)

    def unplug(self, sink: str) -> None:
        """Take one microphone away: the server moves whoever recorded from it."""
        modules = self._ask("list", "short", "modules").stdout.splitlines()
        (number,) = (line.split()[0] for line in modules if f"sink_name={sink} " in line)
        assert self._ask("unload-module", number).returncode == 0

    def _ask(self, *words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(["pactl", *words], env=self.env, capture_output=True, text=True)


def needs_a_sound_server() -> None:
    """Skip, with the reason, where there is none."""
    for program in ("pulseaudio", "pactl", "paplay"):
        if shutil.which(program) is None:
            pytest.skip(f"{program} is missing (python -m tests.system)")
    found = [Path("/usr/lib"), Path("/usr/lib64"), Path("/usr/local/lib")]
    if not any(folder.rglob("libasound_module_pcm_pulse.so") for folder in found):
        pytest.skip("the pulse plugin of ALSA is missing (Debian: libasound2-plugins)")
