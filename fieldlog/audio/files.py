"""Audio files of any common kind as a stream of mono float32 at 16 kHz, in bounded memory.

libsndfile reads WAV, FLAC, OGG, Opus, MP3 and more; what it cannot (M4A, AAC, WebM, 3GP) goes
through FFmpeg. Headers that lie about the length are put right while
reading; the file itself is never changed.
"""

from __future__ import annotations

import math
import stat
from collections.abc import Iterator
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path

import numpy as np
import soundfile as sf
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE, Clip, SoundFlag
from fieldlog.audio.convert import NARROW_BAND_RATE, Converter, sound_flags
from fieldlog.audio.ffmpeg import OtherReader, open_other
from fieldlog.audio.quiet import quiet_stderr
from fieldlog.audio.sniff import Window, is_text, whole_ogg_bytes
from fieldlog.audio.wav import WavLayout, read_layout
from fieldlog.errors import AudioError

Samples = NDArray[np.float32]

_READ_FRAMES = 16_384
_CAREFUL_FRAMES = 512
_MAX_RATE = 768_000
_FULL_SCALE_FLOATS = 8.0
"""Float samples beyond this are not on the +-1 scale (they are 16-bit numbers kept as floats)."""


class _Straight(sf.SoundFile):  # type: ignore[misc]
    """A sound file read from front to back only.

    soundfile seeks to where it already is after every read, which spoils MP3 from the second block
    on (soundfile 0.14 with libsndfile 1.2.2, seen here); it does not for files that cannot seek.
    """

    def seekable(self) -> bool:
        """False, whatever the file could do."""
        return False


class AudioFile:
    """An open audio file. Use as a context manager; ``blocks`` starts at the beginning each time.

    ``notes`` tells what was put right or found odd while reading (complete after the last block).
    """

    def __init__(self, path: Path) -> None:
        """Open ``path``; raises ``AudioError`` with the reason and what to do."""
        self.path = path
        self.notes: list[str] = []
        self.whole = True
        """Whether all of it could be read (known after the last block); ``notes`` say what is missing."""
        self._layout: WavLayout | None = None
        self._window: Window | None = None
        self._sound: _Straight | None = None
        self._fresh = False
        self._other: OtherReader | None = None
        self._gain = 1.0
        self._talkative = False
        """Whether the decoder of this kind prints by itself."""
        self._check_file()
        try:
            self._open()
            if self.rate > _MAX_RATE or self.rate < 1000:
                raise AudioError(
                    f"claims {self.rate} samples a second, which no recorder makes",
                    where=str(path),
                    todo="export the recording again as WAV or FLAC",
                )
        except BaseException:
            self.close()
            raise

    @property
    def flags(self) -> frozenset[SoundFlag]:
        """Reasons for doubt that concern the whole file: ``narrow band``."""
        return frozenset({SoundFlag.NARROW_BAND}) if self.rate <= NARROW_BAND_RATE else frozenset()

    def blocks(self, seconds: float = 1.0) -> Iterator[Samples]:
        """Mono float32 at ``RATE`` from the beginning, ``seconds`` each, the last one shorter.

        Raises ``AudioError`` when nothing at all can be read; a file that breaks off gives what it
        holds and a note.
        """
        wanted = max(1, round(seconds * RATE))
        converter = Converter(self.rate, self.channels, self._gain)
        held: list[Samples] = []
        count = 0
        total = 0
        loud = False
        for piece in self._converted(converter):
            held.append(piece)
            count += len(piece)
            total += len(piece)
            loud = loud or bool(np.any(piece))
            while count >= wanted:
                joined = np.concatenate(held)
                yield joined[:wanted]
                held, count = [joined[wanted:]], count - wanted
        if count:
            yield np.concatenate(held)
        if not total:
            raise AudioError(
                "holds no sound that can be read",
                where=str(self.path),
                todo="record it again, or check that the copy was complete",
            )
        if converter.broken_samples:
            self._note(f"{converter.broken_samples} samples were not numbers and became silence")
        if not loud:
            self._note("every sample is zero: was the microphone muted?")

    def close(self) -> None:
        """Close the file; calling it twice is harmless."""
        if self._sound is not None:
            self._sound.close()
        if self._window is not None:
            self._window.close()
        if self._other is not None:
            self._other.close()

    def __enter__(self) -> AudioFile:
        """The file itself."""
        return self

    def __exit__(self, *failed: object) -> None:
        """Close the file."""
        self.close()

    def _note(self, text: str) -> None:
        if text not in self.notes:
            self.notes.append(text)

    def _lacks(self, text: str) -> None:
        self.whole = False
        self._note(text)

    def _check_file(self) -> None:
        where = str(self.path)
        try:
            if self.path.is_dir():
                raise AudioError(
                    "is a folder, not an audio file", where=where, todo="name a file inside it"
                )
            status = self.path.stat()
            if not stat.S_ISREG(status.st_mode):
                raise AudioError(
                    "is no file that can be read to its end", where=where, todo="name an audio file"
                )
            size = status.st_size
            with self.path.open("rb"):
                pass
        except FileNotFoundError:
            raise AudioError("no such file", where=where, todo="check the path") from None
        except PermissionError:
            raise AudioError(
                "may not be read", where=where, todo=f"allow reading: chmod u+r '{where}'"
            ) from None
        except OSError as error:
            raise AudioError(
                f"cannot be read ({error.strerror})", where=where, todo="check the disk or share"
            ) from None
        if size == 0:
            raise AudioError(
                "is empty (0 bytes)", where=where, todo="record it again or copy it again"
            )

    def _open(self) -> None:
        length = self.path.stat().st_size
        with self.path.open("rb") as file:
            layout = read_layout(file, length)
            file.seek(0)
            head = file.read(4096)
        if layout is not None and (layout.lies or layout.data_bytes == 0):
            self._open_layout(layout)
            return
        if head.startswith(b"OggS"):
            self._cut_broken_ogg(length)
        self._talkative = True
        try:
            self._sound = self._start()
        except (sf.LibsndfileError, RuntimeError):
            self._open_otherwise(head)
            return
        self._talkative = self._sound.format == "MPEG"
        self.rate: int = self._sound.samplerate
        self.channels: int = self._sound.channels
        frames = self._sound.frames
        self.duration_s: float = frames / self.rate if 0 <= frames < 2**60 else math.nan
        if self._sound.subtype in ("FLOAT", "DOUBLE"):
            self._gain = self._float_gain()
            if self._gain != 1.0:
                self._note("samples are not on the +-1 scale and were scaled down")

    def _open_layout(self, layout: WavLayout) -> None:
        where = str(self.path)
        if layout.data_bytes == 0:
            raise AudioError(
                "holds no sound (a header and nothing after it)",
                where=where,
                todo="record it again or copy it again",
            )
        self._layout = layout
        self.rate, self.channels = layout.rate, layout.channels
        self.duration_s = layout.data_bytes / layout.frame_bytes / layout.rate
        claimed = layout.declared_bytes / layout.frame_bytes / layout.rate
        if layout.declared_bytes > layout.data_bytes and layout.declared_bytes < 0xFFFFFF00:
            self._lacks(f"cut short: {self.duration_s:.2f} of {claimed:.2f} s are there")
        else:
            self._note(
                f"the header claims {claimed:.2f} s but {self.duration_s:.2f} s are there; "
                "all of it was read"
            )
        self._window = Window(self.path, layout.data_start, layout.data_bytes)
        self._sound = self._start()

    def _start(self) -> _Straight:
        """The file opened afresh, at its beginning."""
        self._fresh = True
        if self._window is None:
            with self._hushed():
                return _Straight(str(self.path))
        self._window.seek(0)
        if self._layout is None:
            return _Straight(self._window)
        return _Straight(
            self._window,
            samplerate=self._layout.rate,
            channels=self._layout.channels,
            format="RAW",
            subtype=self._layout.subtype,
            endian="LITTLE",
        )

    def _cut_broken_ogg(self, length: int) -> None:
        with self.path.open("rb") as file:
            whole, finished = whole_ogg_bytes(file, length)
        if not finished and whole:
            self._window = Window(self.path, 0, whole)
            self._lacks("cut short: the end of the file is missing")

    def _open_otherwise(self, head: bytes) -> None:
        if is_text(head):
            raise AudioError("is text, not audio", where=str(self.path), todo="name an audio file")
        self._other = open_other(self.path)
        self.rate, self.channels = self._other.rate, self._other.channels
        self.duration_s = self._other.duration_s

    def _float_gain(self) -> float:
        peak = 0.0
        for block in self._decoded():
            finite = block[np.isfinite(block)]
            peak = max(peak, float(np.abs(finite).max()) if len(finite) else 0.0)
        if peak <= _FULL_SCALE_FLOATS:
            return 1.0
        return 1.0 / 32_768.0 if peak <= 32_768.0 else 1.0 / peak

    def _converted(self, converter: Converter) -> Iterator[Samples]:
        for block in self._other.blocks() if self._other is not None else self._decoded():
            yield converter.process(block)
        yield converter.flush()
        if self._other is not None and self._other.complaint:
            self._lacks(f"cut short or damaged: {self._other.complaint}")

    def _decoded(self) -> Iterator[Samples]:
        assert self._sound is not None
        if not self._fresh:
            self._sound.close()
            self._sound = self._start()
        self._fresh = False
        expected = self._sound.frames
        seen = 0
        try:
            while len(block := self._read(self._sound, _READ_FRAMES)):
                seen += len(block)
                yield block
        except (sf.LibsndfileError, RuntimeError):
            for block in self._what_is_left(seen):
                seen += len(block)
                yield block
        if seen < expected - self.rate // 20:
            self._lacks(
                f"cut short: {seen / self.rate:.2f} of {expected / self.rate:.2f} s can be read"
            )

    def _read(self, sound: _Straight, frames: int) -> Samples:
        with self._hushed():
            block: Samples = sound.read(frames, dtype="float32", always_2d=True)
        return block

    def _hushed(self) -> AbstractContextManager[None]:
        return quiet_stderr() if self._talkative else nullcontext()

    def _what_is_left(self, seen: int) -> Iterator[Samples]:
        """After a decoding error: the readable frames behind ``seen``, in small steps."""
        if self._window is not None:
            return
        with _Straight(str(self.path)) as again:
            at = 0
            try:
                while len(block := self._read(again, _CAREFUL_FRAMES)):
                    if at >= seen:
                        yield block
                    at += len(block)
            except (sf.LibsndfileError, RuntimeError):
                return


def open_audio(path: Path | str) -> AudioFile:
    """Open an audio file of any kind; raises ``AudioError`` (what, where, what to do)."""
    return AudioFile(Path(path))


def read_clip(path: Path | str, *, longest_s: float = 60.0) -> Clip:
    """A whole short file as one clip; raises ``AudioError`` when it is longer than ``longest_s``.

    Flags: ``clipped``, ``narrow band``, and ``damaged`` when something had to be put right.
    """
    with open_audio(path) as audio:
        pieces: list[Samples] = []
        seconds = 0.0
        for block in audio.blocks(5.0):
            pieces.append(block)
            seconds += len(block) / RATE
            if seconds > longest_s:
                raise AudioError(
                    f"lasts longer than {longest_s:.0f} s, too long for one utterance",
                    where=str(path),
                    todo="use `fieldlog hear`, which cuts a recording into utterances",
                )
        samples = np.concatenate(pieces)
        flags = sound_flags(samples) | audio.flags
        if audio.notes and np.any(samples):
            flags |= {SoundFlag.DAMAGED}
        return Clip(samples, 0.0, flags)
