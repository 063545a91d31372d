"""Decoding by FFmpeg out of a wheel, for kinds libsndfile lacks: M4A, AAC, WebM, 3GP...

avioflow comes with fieldlog: the decoders alone, in a tenth of the room. PyAV, which has all of FFmpeg,
is an extra and is asked for what avioflow does not know: AMR, and what Apple puts into CAF.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from fieldlog.errors import AudioError

EXTRA = "fieldlog[any-sound]"
"""What brings PyAV."""
EXPORT = "export it as WAV or FLAC and try again"


class OtherReader(Protocol):
    """The first sound of one file, decoded to float32 at its own rate."""

    rate: int
    channels: int
    duration_s: float
    complaint: str
    """What the decoder said when the rest could not be read, else empty."""

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        """Blocks of (frames, channels) from the beginning."""

    def close(self) -> None:
        """Close the file; calling it twice is harmless."""


def open_other(path: Path) -> OtherReader:
    """The reader that knows what is in ``path``.

    Raises ``AudioError`` where there is no sound that can be read, and says what would know more kinds.
    """
    try:
        return FlowReader(path)
    except AudioError as error:
        try:
            return PyAvReader(path)
        except ImportError:
            raise AudioError(
                error.what, where=error.where, todo=f"{EXPORT}, or pip install '{EXTRA}' (AMR, CAF)"
            ) from None


class FlowReader:
    """By avioflow, which is asked for nothing but the decoder's own frames.

    Its resampler reads past the end of a frame where rate or channels change in mid-stream (0.8.1, seen
    here): a stream that does so ends there.
    """

    def __init__(self, path: Path) -> None:
        """Look what is inside; raises ``AudioError`` where there is no sound that it can read."""
        self._path = path.resolve()  # a name alone may be taken for a device or an address
        self._decoder: Any = None
        self.complaint = ""
        told = self._open()
        self.duration_s = told.duration or math.nan
        try:
            self._frame()
        except RuntimeError as error:
            raise _unreadable(self._path, _told(error)) from None
        # As decoded, whatever the file names: HE-AAC doubles its rate.
        self.rate, self.channels = self._form()
        if not self.rate or not self.channels:
            raise _unreadable(self._path, told.container)

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        """Blocks of (frames, channels) from the beginning."""
        self._open()
        try:
            while (planes := self._frame()) is not None:
                if (self._form(), len(planes)) != ((self.rate, self.channels), self.channels):
                    self.complaint = "rate or channels change in mid-stream"
                    return
                yield planes.T
        except RuntimeError as error:
            self.complaint = _told(error)

    def close(self) -> None:
        """Close the file; calling it twice is harmless."""
        self._decoder = None

    def _frame(self) -> NDArray[np.float32] | None:
        """The next frame, [channels, samples]; None behind the last."""
        found: NDArray[np.float32] | None = self._decoder.get_frame()
        return found

    def _form(self) -> tuple[int, int]:
        """Rate and channels of the frame that was decoded last."""
        told = self._decoder.get_metadata()
        return told.sample_rate, told.num_channels

    def _open(self) -> Any:
        try:
            import avioflow
        except ImportError as error:
            raise AudioError(
                f"needs avioflow, which cannot be imported ({error})",
                where=str(self._path),
                todo=f"pip install avioflow, or {EXPORT}",
            ) from None
        avioflow.set_log_level("quiet")
        self._decoder = avioflow.AudioDecoder()
        try:
            return self._decoder.load_file(self._path)
        except (RuntimeError, OSError, ValueError) as error:
            raise _unreadable(self._path, _told(error)) from None


class PyAvReader:
    """By PyAV."""

    def __init__(self, path: Path) -> None:
        """Look what is inside; raises ``AudioError`` where there is no sound, ``ImportError`` without PyAV."""
        self._path = path
        self._file: Any = None
        self.complaint = ""
        file = self._open()
        sound = file.streams.audio[0]
        context = sound.codec_context
        self.rate = int(context.sample_rate)
        self.channels = 1 if context.layout.nb_channels == 1 else 2
        self.duration_s = math.nan
        if sound.duration is not None:
            self.duration_s = float(sound.duration * sound.time_base)
        elif file.duration is not None:
            self.duration_s = file.duration / 1_000_000  # AV_TIME_BASE: microseconds
        file.close()

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        """Blocks of (frames, channels) from the beginning."""
        import av

        self.close()
        self._file = self._open()
        layout = "mono" if self.channels == 1 else "stereo"
        even = av.AudioResampler(format="flt", layout=layout, rate=self.rate)
        try:
            for frame in self._file.decode(audio=0):
                yield from self._samples(even.resample(frame))
            yield from self._samples(even.resample(None))
        except av.FFmpegError as error:
            self.complaint = _told(error)

    def _samples(self, frames: list[Any]) -> Iterator[NDArray[np.float32]]:
        for frame in frames:
            flat: NDArray[np.float32] = frame.to_ndarray()
            yield flat.reshape(-1, self.channels)

    def close(self) -> None:
        """Close the file; calling it twice is harmless."""
        file, self._file = self._file, None
        if file is not None:
            file.close()

    def _open(self) -> Any:
        import av

        try:
            file = av.open(f"file:{self._path}", metadata_errors="ignore")
        except (av.FFmpegError, OSError, ValueError) as error:
            raise _unreadable(self._path, _told(error)) from None
        sound = file.streams.audio[0].codec_context if file.streams.audio else None
        if sound is None or not sound.sample_rate:
            kind = file.format.long_name
            file.close()
            raise _unreadable(self._path, kind)
        return file


def _unreadable(path: Path, why: str) -> AudioError:
    return AudioError(f"holds no sound that can be read ({why})", where=str(path), todo=EXPORT)


def _told(error: Exception) -> str:
    """What a decoder says went wrong, in one line without the file's name."""
    text = str(getattr(error, "strerror", None) or error).splitlines()[0]
    return text.rpartition(": ")[2].removesuffix(".").lower()
