"""Decoding through PyAV, whose wheels carry the decoders, for kinds libsndfile lacks: M4A, WebM, AMR..."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldlog.errors import AudioError

EXPORT = "export it as WAV or FLAC and try again"


class PyAvReader:
    """The first sound of one file, decoded to mono or stereo float32 at its own rate."""

    def __init__(self, path: Path) -> None:
        """Look what is inside; raises ``AudioError`` where there is no sound that can be read."""
        self._path = path
        self._file: Any = None
        self.complaint = ""
        """What the decoder said when the rest could not be read, else empty."""
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
        try:
            import av
        except ImportError as error:
            raise AudioError(
                f"needs PyAV, which cannot be imported ({error})",
                where=str(self._path),
                todo=f"pip install av, or {EXPORT}",
            ) from None
        try:
            file = av.open(f"file:{self._path}", metadata_errors="ignore")
        except (av.FFmpegError, OSError, ValueError) as error:
            raise AudioError(
                f"holds no sound that can be read ({_told(error)})",
                where=str(self._path),
                todo=EXPORT,
            ) from None
        sound = file.streams.audio[0].codec_context if file.streams.audio else None
        if sound is None or not sound.sample_rate:
            kind = file.format.long_name
            file.close()
            raise AudioError(
                f"holds no sound that can be read ({kind})", where=str(self._path), todo=EXPORT
            )
        return file


def _told(error: Exception) -> str:
    """What a decoder says went wrong, in one line without the file's name."""
    text = getattr(error, "strerror", None) or str(error)
    return str(text).splitlines()[0].removesuffix(".").lower()
