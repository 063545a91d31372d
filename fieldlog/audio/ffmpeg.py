"""Decoding through the ``ffmpeg`` program, where a machine has it, for kinds libsndfile lacks."""

from __future__ import annotations

import math
import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fieldlog.errors import AudioError

_BLOCK_FRAMES = 16_384
_RATE = re.compile(r"Stream #.*?Audio: (\w+).*?(\d+) Hz")
_DURATION = re.compile(r"Duration: (\d+):(\d+):(\d+(?:\.\d+)?)")


def ffmpeg_path() -> str | None:
    """Where ffmpeg is, or None."""
    return shutil.which("ffmpeg")


class FfmpegReader:
    """One file decoded by an ffmpeg process to stereo or mono float32 at the file's own rate."""

    def __init__(self, path: Path) -> None:
        """Ask ffmpeg what is inside; raises ``AudioError`` when it finds no sound."""
        self._path = path
        program = ffmpeg_path()
        if program is None:
            raise AudioError("needs ffmpeg, which is not installed", where=str(path))
        self._program = program
        self._process: subprocess.Popen[bytes] | None = None
        self.complaint = ""
        """The last line ffmpeg printed when decoding went wrong, else empty."""
        said = subprocess.run(
            [program, "-hide_banner", "-nostdin", "-i", self._name()],
            capture_output=True,
            check=False,
        ).stderr.decode("utf-8", "replace")
        stream = _RATE.search(said)
        if stream is None:
            last = [line.strip() for line in said.splitlines() if line.strip()][-1:] or ["nothing"]
            raise AudioError(
                f"holds no sound that ffmpeg can read ({last[0]})",
                where=str(path),
                todo="export it as WAV or FLAC and try again",
            )
        self.rate = int(stream.group(2))
        self.channels = 1 if ", mono" in said[stream.start() : stream.end() + 40] else 2
        length = _DURATION.search(said)
        self.duration_s = math.nan
        if length is not None:
            hours, minutes, seconds = length.groups()
            self.duration_s = int(hours) * 3600 + int(minutes) * 60 + float(seconds)

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        """Blocks of (frames, channels) from the beginning."""
        self.close()
        command = [self._program, "-hide_banner", "-nostdin", "-v", "error", "-i", self._name()]
        command += ["-map", "0:a:0", "-ac", str(self.channels), "-ar", str(self.rate)]
        command += ["-f", "f32le", "-"]
        frame = 4 * self.channels
        with tempfile.TemporaryFile() as said:
            self._process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=said)
            out = self._process.stdout
            assert out is not None
            while data := out.read(_BLOCK_FRAMES * frame):
                whole = len(data) - len(data) % frame
                yield np.frombuffer(data[:whole], dtype="<f4").reshape(-1, self.channels)
            self._process.wait()
            said.seek(0)
            lines = said.read().decode("utf-8", "replace").strip().splitlines()
            self.complaint = lines[-1].strip() if lines else ""

    def close(self) -> None:
        """End the process if it still runs."""
        process, self._process = self._process, None
        if process is not None:
            if process.poll() is None:
                process.kill()
            if process.stdout is not None:
                process.stdout.close()
            process.wait()

    def _name(self) -> str:
        """The path in a form that cannot be taken for an option or a protocol."""
        return f"file:{self._path}"
