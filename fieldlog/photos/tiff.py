"""The few TIFF tags that fieldlog needs, read without trusting a single count or offset.

Structure after TIFF 6.0 and CIPA DC-008 (Exif). Only named tags are looked at: the MakerNote,
whose counts crash other readers, is never entered. Directories are reached through a fixed set of
pointers, so no cycle can be followed.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from fieldlog.photos.source import DamagedError

ReadAt = Callable[[int, int], bytes]
"""(offset from the TIFF header, count) -> up to count bytes."""

WIDTH, HEIGHT = 0x0100, 0x0101
COMPRESSION = 0x0103
MAKE, MODEL, ORIENTATION = 0x010F, 0x0110, 0x0112
STRIP_OFFSETS, STRIP_BYTES = 0x0111, 0x0117
SOFTWARE, DATE_TIME = 0x0131, 0x0132
SUB_IFDS, THUMB_AT, THUMB_BYTES = 0x014A, 0x0201, 0x0202
XMP = 0x02BC
EXIF_IFD, GPS_IFD = 0x8769, 0x8825
ORIGINAL, OFFSET_ORIGINAL, SUBSEC_ORIGINAL = 0x9003, 0x9011, 0x9291
EXIF_WIDTH, EXIF_HEIGHT = 0xA002, 0xA003
BODY_SERIAL = 0xA431
DNG_VERSION, UNIQUE_MODEL, DNG_SERIAL = 0xC612, 0xC614, 0xC62F
GPS_LAT_REF, GPS_LAT, GPS_LON_REF, GPS_LON = 1, 2, 3, 4

_IFD0 = frozenset(
    {WIDTH, HEIGHT, COMPRESSION, MAKE, MODEL, ORIENTATION, STRIP_OFFSETS, STRIP_BYTES, SOFTWARE}
    | {DATE_TIME, SUB_IFDS, THUMB_AT, THUMB_BYTES, XMP, EXIF_IFD, GPS_IFD}
    | {DNG_VERSION, UNIQUE_MODEL, DNG_SERIAL}
    | {ORIGINAL, OFFSET_ORIGINAL, SUBSEC_ORIGINAL}  # TIFF/EP and some tools keep them here
)
_EXIF = frozenset(
    {ORIGINAL, OFFSET_ORIGINAL, SUBSEC_ORIGINAL, EXIF_WIDTH, EXIF_HEIGHT, BODY_SERIAL}
)
_GPS = frozenset({GPS_LAT_REF, GPS_LAT, GPS_LON_REF, GPS_LON})

_TYPE_BYTES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 13: 4, 129: 1}
_TEXT_TYPES = (1, 2, 7, 129)
_MAX_ENTRIES = 1024
_MAX_TEXT = 4096
_MAX_XMP = 1 << 20
_MAX_SUB_IFDS = 8
_JPEG_COMPRESSIONS = (6, 7)


@dataclass(slots=True)
class Tags:
    """What was found: directory name -> tag -> (type, count, bytes), and what was broken."""

    order: str = "<"
    ifd0: dict[int, tuple[int, int, bytes]] = field(default_factory=dict)
    exif: dict[int, tuple[int, int, bytes]] = field(default_factory=dict)
    gps: dict[int, tuple[int, int, bytes]] = field(default_factory=dict)
    others: list[dict[int, tuple[int, int, bytes]]] = field(default_factory=list)
    """The second directory (thumbnail) and the sub-directories (DNG previews and raw)."""
    broken: str | None = None

    def text(self, tag: int) -> str | None:
        """An ASCII or UTF-8 value of IFD0 or the Exif IFD up to its first NUL, or None."""
        entry = self.exif.get(tag) or self.ifd0.get(tag)
        if entry is None or entry[0] not in _TEXT_TYPES:
            return None
        return entry[2].split(b"\0", 1)[0].decode("utf-8", "replace")

    def number(self, tag: int, directory: dict[int, tuple[int, int, bytes]] | None = None) -> int:
        """First whole number of a tag, or 0 when it is absent or of another type."""
        if directory is None:
            directory = self.exif if tag in self.exif else self.ifd0
        numbers = self.numbers(tag, directory, 1)
        return numbers[0] if numbers else 0

    def numbers(
        self, tag: int, directory: dict[int, tuple[int, int, bytes]], most: int
    ) -> tuple[int, ...]:
        """Up to ``most`` whole numbers of a BYTE, SHORT, LONG or IFD tag."""
        kind, count, data = directory.get(tag, (0, 0, b""))
        letter = {1: "B", 3: "H", 4: "I", 13: "I"}.get(kind)
        if letter is None:
            return ()
        fit = min(count, most, len(data) // _TYPE_BYTES[kind])
        return struct.unpack_from(f"{self.order}{fit}{letter}", data)

    def degrees(self, tag: int, ref_tag: int, negative: str) -> float | None:
        """Latitude or longitude in degrees from three rationals and their hemisphere letter."""
        kind, _count, data = self.gps.get(tag, (0, 0, b""))
        ref = self.gps.get(ref_tag, (0, 0, b""))[2][:1].decode("ascii", "replace").upper()
        if kind != 5 or len(data) < 24 or not ref.strip("\0 "):
            return None
        parts: tuple[int, ...] = struct.unpack_from(f"{self.order}6I", data)
        if 0 in parts[1::2]:
            return None
        value = parts[0] / parts[1] + parts[2] / parts[3] / 60 + parts[4] / parts[5] / 3600
        if value > 180:
            return None
        return -value if ref == negative else value


def read_tags(read_at: ReadAt) -> Tags:
    """Read the wanted tags of a TIFF structure; what is broken is named in ``Tags.broken``.

    Raises ``DamagedError`` when it is no TIFF structure at all.
    """
    header = read_at(0, 8)
    if header[:4] == b"II*\0":
        order = "<"
    elif header[:4] == b"MM\0*":
        order = ">"
    else:
        raise DamagedError("the Exif block has no TIFF header")
    if len(header) < 8:
        raise DamagedError("the Exif block is cut off")
    tags = Tags(order)
    reader = _TiffReader(read_at, order)
    try:
        tags.ifd0, following = reader.directory(
            struct.unpack_from(order + "I", header, 4)[0], _IFD0
        )
        for pointer, wanted, into in ((EXIF_IFD, _EXIF, "exif"), (GPS_IFD, _GPS, "gps")):
            if at := tags.number(pointer, tags.ifd0):
                setattr(tags, into, reader.directory(at, wanted)[0])
        places = [following, *tags.numbers(SUB_IFDS, tags.ifd0, _MAX_SUB_IFDS)]
        for place in places:
            if place:
                tags.others.append(reader.directory(place, _IFD0)[0])
    except DamagedError as error:
        tags.broken = str(error)
    return tags


def preview(tags: Tags) -> tuple[int, int] | None:
    """(offset from the TIFF header, bytes) of the largest embedded JPEG, or None."""
    found = []
    for directory in (tags.ifd0, *tags.others):
        at, count = tags.number(THUMB_AT, directory), tags.number(THUMB_BYTES, directory)
        if not at and tags.number(COMPRESSION, directory) in _JPEG_COMPRESSIONS:
            strips = directory.get(STRIP_OFFSETS, (0, 0, b""))[1]
            if strips == 1:
                at = tags.number(STRIP_OFFSETS, directory)
                count = tags.number(STRIP_BYTES, directory)
        if at and count:
            found.append((count, at))
    if not found:
        return None
    count, at = max(found)
    return at, count


class _TiffReader:
    def __init__(self, read_at: ReadAt, order: str) -> None:
        self._read_at = read_at
        self._order = order
        self._entry = struct.Struct(order + "HHI4s")

    def directory(
        self, at: int, wanted: frozenset[int]
    ) -> tuple[dict[int, tuple[int, int, bytes]], int]:
        """The wanted entries of the directory at ``at`` and the offset of the next one (or 0)."""
        head = self._read_at(at, 2)
        if len(head) < 2:
            raise DamagedError("a metadata directory lies outside the file")
        (count,) = struct.unpack(self._order + "H", head)
        if count > _MAX_ENTRIES:
            raise DamagedError(f"a metadata directory claims {count} entries")
        body = self._read_at(at + 2, count * 12 + 4)
        entries = dict(self._entries(body, count, wanted))
        link = body[count * 12 : count * 12 + 4]
        following = struct.unpack(self._order + "I", link)[0] if len(link) == 4 else 0
        return entries, following

    def _entries(
        self, body: bytes, count: int, wanted: frozenset[int]
    ) -> Iterator[tuple[int, tuple[int, int, bytes]]]:
        for start in range(0, min(count, len(body) // 12) * 12, 12):
            tag, kind, number, inline = self._entry.unpack_from(body, start)
            if tag not in wanted or kind not in _TYPE_BYTES:
                continue
            length = number * _TYPE_BYTES[kind]
            limit = _MAX_XMP if tag == XMP else _MAX_TEXT
            if length <= 4:
                yield tag, (kind, number, inline[:length])
            elif length <= limit or tag in (STRIP_OFFSETS, STRIP_BYTES):
                (where,) = struct.unpack(self._order + "I", inline)
                yield tag, (kind, number, self._read_at(where, min(length, limit)))
