"""Finding metadata in a JPEG file: markers after ITU-T T.81 annex B, Exif in APP1 (DC-008)."""

from __future__ import annotations

import struct

from fieldlog.photos.containers import Parts
from fieldlog.photos.source import DamagedError, Source

_EXIF = b"Exif\0"
_XMP = b"http://ns.adobe.com/xap/1.0/\0"
_EOI = b"\xff\xd9"
_MAX_SEGMENTS = 4096
_FRAMES = frozenset({*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC})
_BARE = frozenset({0x01, *range(0xD0, 0xD8)})
_SCAN, _END = 0xDA, 0xD9
_TRAILER_NAMES = ((b"ftyp", 4, "motion photo video"), (b"\xff\xd8", 0, "another picture"))


def jpeg_parts(source: Source) -> Parts:
    """Walk the segments up to the first scan, then look at the file's end.

    Raises ``DamagedError`` when the markers cannot be followed before anything useful was found.
    """
    parts = Parts()
    try:
        scan_at = _segments(source, parts)
    except DamagedError as error:
        parts.damage = str(error)
        return parts
    if scan_at is None:
        parts.damage = "no picture data: the file ends before its first scan (truncated)"
    else:
        _ending(source, scan_at, parts)
    return parts


def _segments(source: Source, parts: Parts) -> int | None:
    """Fill ``parts`` from the header segments; the offset of the first scan, or None."""
    at = 2
    for _ in range(_MAX_SEGMENTS):
        head = source.at(at, 4)
        if len(head) < 2:
            return None
        if head[0] != 0xFF:
            raise DamagedError(f"no marker where one must be, at byte {at}")
        marker = head[1]
        if marker == 0xFF:
            at += 1
            continue
        if marker in _BARE:
            at += 2
            continue
        if marker == _END or len(head) < 4:
            return None
        length = int.from_bytes(head[2:4], "big")
        if marker == _SCAN:
            return at + 2 + length
        if length < 2:
            raise DamagedError(f"a segment claims {length} bytes, at byte {at}")
        if marker == 0xE1:
            _app1(source, at + 4, length - 2, parts)
        elif marker in _FRAMES and parts.width is None:
            parts.height, parts.width = struct.unpack(">HH", source.exactly(at + 5, 4))
        at += 2 + length
    raise DamagedError(f"more than {_MAX_SEGMENTS} segments before the picture")


def _app1(source: Source, at: int, length: int, parts: Parts) -> None:
    start = source.at(at, min(length, len(_XMP)))
    if start.startswith(_EXIF) and parts.exif is None:
        parts.exif_at = at + 6
        parts.exif = source.at(at + 6, max(length - 6, 0))
    elif start == _XMP and parts.xmp is None:
        parts.xmp = source.at(at + len(_XMP), length - len(_XMP))


def _ending(source: Source, scan_at: int, parts: Parts) -> None:
    """Tell a complete picture from a truncated one, and what lies behind a complete one.

    Inside entropy-coded data 0xFF is always followed by 0x00 or a restart marker (T.81 B.1.1.5),
    so the first FF D9 after a scan ends the picture.
    """
    size = source.size
    if source.at(size - 2, 2) == _EOI:
        return
    end = source.find(_EOI, scan_at)
    if end < 0:
        parts.damage = "the picture ends in the middle (truncated)"
        return
    end += 2
    after = source.at(end, 64)
    if not after.strip(b"\0\xff \r\n"):
        return
    for mark, place, name in _TRAILER_NAMES:
        if after[place:].startswith(mark):
            parts.trailer = f"{name}, {size - end} bytes"
            return
    parts.trailer = f"unknown data, {size - end} bytes"
