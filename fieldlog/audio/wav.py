"""The RIFF/WAVE header read by its structure, so that a header that lies can be put right (pure).

Layout after Microsoft/IBM "Multimedia Programming Interface and Data Specifications 1.0" (1991):
``RIFF`` u32 ``WAVE`` then chunks of id, u32 size, data, pad to even. Programs that are killed while
recording leave the sizes at 0 or 0xFFFFFFFF although the sound is in the file.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import BinaryIO

_PCM, _FLOAT, _ALAW, _ULAW, _EXTENSIBLE = 1, 3, 6, 7, 0xFFFE
_SUBTYPES: dict[tuple[int, int], str] = {
    (_PCM, 8): "PCM_U8",
    (_PCM, 16): "PCM_16",
    (_PCM, 24): "PCM_24",
    (_PCM, 32): "PCM_32",
    (_FLOAT, 32): "FLOAT",
    (_FLOAT, 64): "DOUBLE",
    (_ALAW, 8): "ALAW",
    (_ULAW, 8): "ULAW",
}


@dataclass(frozen=True, slots=True)
class WavLayout:
    """Where the sound lies in a WAVE file and how it is coded."""

    rate: int
    channels: int
    subtype: str
    """libsndfile's name of the coding ("PCM_16", ...)."""
    frame_bytes: int
    data_start: int
    """Byte at which the samples begin."""
    data_bytes: int
    """Bytes of whole frames that are really there."""
    declared_bytes: int
    """Bytes the header claims."""

    @property
    def lies(self) -> bool:
        """Whether the header claims another length than the file holds (up to a partial frame)."""
        return self.declared_bytes // self.frame_bytes != self.data_bytes // self.frame_bytes


def read_layout(file: BinaryIO, length: int) -> WavLayout | None:
    """Layout of the WAVE ``file`` of ``length`` bytes; None when it is not one that can be read.

    The declared size of the data chunk is believed only when the file ends there or goes on with
    something that looks like another chunk; else the data reach to the end of the file.
    """
    file.seek(0)
    if length < 12:
        return None
    head = file.read(12)
    if head[:4] not in (b"RIFF", b"RF64") or head[8:12] != b"WAVE":
        return None
    form: bytes | None = None
    while True:
        chunk = file.read(8)
        if len(chunk) < 8:
            return None
        name, size = chunk[:4], struct.unpack("<I", chunk[4:])[0]
        start = file.tell()
        if name == b"fmt ":
            form = file.read(size)
            file.seek(start + size + (size & 1))
        elif name == b"data":
            return _with_data(file, length, form, start, size)
        elif start + size > length:
            return None
        else:
            file.seek(start + size + (size & 1))


def _with_data(
    file: BinaryIO, length: int, form: bytes | None, start: int, size: int
) -> WavLayout | None:
    if form is None or len(form) < 16:
        return None
    code, channels, rate, _, frame, bits = struct.unpack("<HHIIHH", form[:16])
    if code == _EXTENSIBLE and len(form) >= 26:
        code = struct.unpack("<H", form[24:26])[0]
    subtype = _SUBTYPES.get((code, bits))
    if subtype is None or not channels or not rate:
        return None
    frame = channels * bits // 8
    there = length - start
    if size < there and not _chunk_follows(file, start + size + (size & 1), length):
        held = there
    else:
        held = min(size, there)
    return WavLayout(rate, channels, subtype, frame, start, held - held % frame, size)


def _chunk_follows(file: BinaryIO, at: int, length: int) -> bool:
    """Whether the file ends at byte ``at`` (or before) or a believable chunk begins there."""
    if at >= length:
        return True
    file.seek(at)
    chunk = file.read(8)
    if len(chunk) < 8:
        return not chunk.strip(b"\0")
    name, size = chunk[:4], struct.unpack("<I", chunk[4:])[0]
    return all(32 <= byte < 127 for byte in name) and at + 8 + size <= length + 1


def header(rate: int, channels: int, data_bytes: int) -> bytes:
    """44 bytes of a 16-bit PCM WAVE header for ``data_bytes`` bytes of sound."""
    frame = channels * 2
    return (
        b"RIFF"
        + struct.pack("<I", min(36 + data_bytes, 0xFFFFFFFF))
        + b"WAVEfmt "
        + struct.pack("<IHHIIHH", 16, _PCM, channels, rate, rate * frame, frame, 16)
        + b"data"
        + struct.pack("<I", min(data_bytes, 0xFFFFFFFF))
    )
