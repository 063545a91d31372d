"""Finding metadata inside PNG, WebP and HEIF files (PNG 1.2 + eXIf, RIFF/WebP, ISO 23008-12)."""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass

from fieldlog.photos.source import DamagedError, Source

_MAX_META = 4 << 20
_MAX_EXIF = 4 << 20
_MAX_CHUNKS = 200_000
_MAX_BOXES = 512
_MAX_ITEMS = 65_536

HEIF_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs"})
_HEIF_GENERAL = frozenset({b"mif1", b"msf1", b"mif2"})

# Orientation as (mirrored left-right first, quarter turns clockwise afterwards), Exif 4.6.5.1.6.
_AS_TURN = {1: (0, 0), 2: (1, 0), 3: (0, 2), 4: (1, 2), 5: (1, 3), 6: (0, 1), 7: (1, 1), 8: (0, 3)}
_FROM_TURN = {turn: orientation for orientation, turn in _AS_TURN.items()}


@dataclass(slots=True)
class Parts:
    """What a container holds: where its Exif block lies, its XMP, its size in pixels."""

    exif: bytes | None = None
    exif_at: int | None = None
    """Offset of the TIFF header in the file; None when the block is not stored in one piece."""
    xmp: bytes | None = None
    width: int | None = None
    height: int | None = None
    orientation: int | None = None
    """From irot and imir (HEIF only)."""
    trailer: str | None = None
    damage: str | None = None


def png_parts(source: Source) -> Parts:
    """Walk a PNG's chunks without touching its pixels."""
    parts = Parts()
    at = 8
    for _ in range(_MAX_CHUNKS):
        head = source.at(at, 8)
        if len(head) < 8:
            parts.damage = "the file ends before its IEND chunk (truncated)"
            return parts
        length, name = struct.unpack(">I4s", head)
        body = at + 8
        if name == b"IHDR":
            parts.width, parts.height = struct.unpack(">II", source.exactly(body, 8))
        elif name == b"eXIf" and length <= _MAX_EXIF:
            parts.exif, parts.exif_at = source.at(body, length), body
        elif name == b"iTXt" and length <= _MAX_META:
            keyword, _, rest = source.at(body, length).partition(b"\0")
            if keyword == b"XML:com.adobe.xmp" and rest[:1] == b"\0":
                parts.xmp = rest[2:].split(b"\0", 2)[-1]
        elif name in (b"zTXt", b"tEXt") and length <= _MAX_META and parts.exif is None:
            parts.exif = _raw_profile(name, source.at(body, length))
        elif name == b"IEND":
            return parts
        at = body + length + 4
    parts.damage = f"more than {_MAX_CHUNKS} chunks"
    return parts


def _raw_profile(name: bytes, data: bytes) -> bytes | None:
    """The Exif block that older tools write as hexadecimal text, or None when it is none."""
    keyword, _, rest = data.partition(b"\0")
    if keyword not in (b"Raw profile type exif", b"Raw profile type APP1"):
        return None
    if name == b"zTXt":
        try:
            rest = zlib.decompressobj().decompress(rest[1:], _MAX_META)
        except zlib.error:
            return None
    try:
        block = bytes.fromhex(b"".join(rest.split()[2:]).decode("ascii"))
    except ValueError:
        return None
    return block[6:] if block.startswith(b"Exif\0\0") else None


def webp_parts(source: Source) -> Parts:
    """Walk a WebP file's RIFF chunks."""
    parts = Parts()
    end = struct.unpack("<I", source.exactly(4, 4))[0] + 8
    if end > source.size:
        parts.damage = "the file ends in the middle (truncated)"
    at = 12
    for _ in range(_MAX_BOXES):
        head = source.at(at, 8)
        if len(head) < 8 or at >= end:
            break
        name, length = struct.unpack("<4sI", head)
        body = at + 8
        if name == b"VP8X":
            raw = source.exactly(body + 4, 6)
            parts.width = int.from_bytes(raw[:3], "little") + 1
            parts.height = int.from_bytes(raw[3:], "little") + 1
        elif name == b"VP8 " and parts.width is None:
            raw = source.exactly(body + 6, 4)
            parts.width, parts.height = (v & 0x3FFF for v in struct.unpack("<HH", raw))
        elif name == b"VP8L" and parts.width is None:
            bits = struct.unpack("<I", source.exactly(body + 1, 4))[0]
            parts.width, parts.height = (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1
        elif name == b"EXIF" and length <= _MAX_EXIF:
            skip = 6 if source.at(body, 6) == b"Exif\0\0" else 0
            parts.exif_at = body + skip
            parts.exif = source.at(parts.exif_at, length - skip)
        elif name == b"XMP " and length <= _MAX_META:
            parts.xmp = source.at(body, length)
        at = body + length + (length & 1)
    return parts


def heif_kind(head: bytes) -> str | None:
    """``heic``, ``heif`` or ``avif`` from the ftyp box at the start of a file, else None."""
    size = int.from_bytes(head[:4], "big")
    if head[4:8] != b"ftyp" or size < 16:
        return None
    brands = {head[8:12], *(head[at : at + 4] for at in range(16, min(size, len(head), 256), 4))}
    if head[8:12] in (b"avif", b"avis"):
        return "avif"
    if head[8:12] in HEIF_BRANDS:
        return "heic"
    if head[8:12] not in _HEIF_GENERAL:
        return None
    if brands & HEIF_BRANDS:
        return "heic"
    return "avif" if brands & {b"avif", b"avis"} else "heif"


def heif_parts(source: Source) -> Parts:
    """Read a HEIF file's meta box: Exif and XMP items, size and rotation of the primary item.

    Raises ``DamagedError`` when there is no meta box or it contradicts itself.
    """
    parts = Parts()
    meta: bytes | None = None
    at = 0
    for _ in range(_MAX_BOXES):
        head = source.at(at, 16)
        if len(head) < 8:
            break
        size, name, skip = _box(head, source.size - at)
        if name == b"meta" and meta is None:
            if size > _MAX_META:
                raise DamagedError(f"the meta box claims {size} bytes")
            meta = source.exactly(at + skip, size - skip)
        elif name == b"mpvd":
            parts.trailer = f"motion photo video, {size - skip} bytes"
        at += size
    if at > source.size:
        parts.damage = "the file ends in the middle (truncated)"
    if meta is None:
        raise DamagedError("no meta box: the picture cannot be found in the file")
    try:
        _Meta(meta).fill(parts, source)
    except DamagedError as error:
        parts.damage = parts.damage or str(error)
    except (struct.error, IndexError) as error:
        raise DamagedError("the meta box contradicts itself") from error
    return parts


def _box(head: bytes, room: int) -> tuple[int, bytes, int]:
    """(size with header, name, header length) of the box that starts with ``head``."""
    size, name = struct.unpack(">I4s", head[:8])
    skip = 8
    if size == 1 and len(head) >= 16:
        size, skip = struct.unpack(">Q", head[8:16])[0], 16
    elif size == 0:
        size = max(room, 8)
    if size < skip:
        raise DamagedError(f"a box claims {size} bytes, less than its own header")
    return size, name, skip


def _children(data: bytes, at: int = 0) -> list[tuple[bytes, bytes]]:
    found: list[tuple[bytes, bytes]] = []
    while at + 8 <= len(data) and len(found) < _MAX_ITEMS:
        size, name, skip = _box(data[at : at + 16], len(data) - at)
        found.append((name, data[at + skip : at + size]))
        at += size
    return found


class _Meta:
    """The boxes of a meta box that lead to the primary item's properties and the metadata."""

    def __init__(self, data: bytes) -> None:
        self._boxes = dict(reversed(_children(data, 4)))

    def fill(self, parts: Parts, source: Source) -> None:
        primary = self._primary()
        for name, body in self._properties(primary):
            if name == b"ispe":
                parts.width, parts.height = struct.unpack_from(">II", body, 4)
            elif name == b"clap":
                wide, per_wide, high, per_high = struct.unpack_from(">4I", body)
                if per_wide and per_high:
                    parts.width, parts.height = wide // per_wide, high // per_high
            elif name == b"irot":
                parts.orientation = _turned(parts.orientation, 0, -(body[0] & 3) % 4)
            elif name == b"imir":
                # axis 0 swaps top and bottom, axis 1 left and right (ISO 23008-12:2022 6.5.12)
                parts.orientation = _turned(parts.orientation, 1, 0 if body[0] & 1 else 2)
        for item, kind in self._items().items():
            if kind == b"Exif" and parts.exif is None:
                found = self._extent(item, source)
                if found is None or len(found[0]) < 8:
                    continue
                data, place = found
                skip = 4 + struct.unpack_from(">I", data)[0]
                parts.exif = data[skip:]
                parts.exif_at = place + skip if place is not None else None
            elif kind == b"xmp" and parts.xmp is None:
                found = self._extent(item, source)
                parts.xmp = found[0] if found else None

    def _primary(self) -> int:
        body = self._boxes.get(b"pitm", b"\0\0\0\0\0\0")
        return int(struct.unpack_from(">I" if body[0] else ">H", body, 4)[0])

    def _items(self) -> dict[int, bytes]:
        body = self._boxes.get(b"iinf", b"")
        if not body:
            return {}
        found: dict[int, bytes] = {}
        for name, entry in _children(body, 6 if body[0] == 0 else 8):
            if name == b"infe" and entry[0] >= 2:
                wide = entry[0] > 2
                item = struct.unpack_from(">I" if wide else ">H", entry, 4)[0]
                rest = entry[10:] if wide else entry[8:]
                kind = rest[:4]
                if kind == b"mime" and b"application/rdf+xml" in rest[4:64]:
                    kind = b"xmp"
                found[item] = kind
        return found

    def _properties(self, item: int) -> list[tuple[bytes, bytes]]:
        boxes = dict(_children(self._boxes.get(b"iprp", b"")))
        properties = _children(boxes.get(b"ipco", b""))
        body = boxes.get(b"ipma", b"")
        if not body:
            return []
        wide_item, wide_index = body[0] >= 1, body[3] & 1
        (count,) = struct.unpack_from(">I", body, 4)
        at = 8
        for _ in range(min(count, _MAX_ITEMS)):
            (owner,) = struct.unpack_from(">I" if wide_item else ">H", body, at)
            at += 4 if wide_item else 2
            number = body[at]
            at += 1
            step = 2 if wide_index else 1
            if owner == item:
                raw = [body[at + i * step : at + (i + 1) * step] for i in range(number)]
                mask = 0x7FFF if wide_index else 0x7F
                picked = [int.from_bytes(r, "big") & mask for r in raw]
                return [properties[i - 1] for i in picked if 0 < i <= len(properties)]
            at += number * step
        return []

    def _extent(self, wanted: int, source: Source) -> tuple[bytes, int | None] | None:
        """(bytes, offset in the file) of an item stored in one piece; None when it is not."""
        body = self._boxes.get(b"iloc", b"")
        if not body:
            return None
        version, sizes = body[0], struct.unpack_from(">H", body, 4)[0]
        o_size, l_size, b_size = sizes >> 12, sizes >> 8 & 15, sizes >> 4 & 15
        i_size = sizes & 15 if version else 0
        wide = ">I" if version == 2 else ">H"
        at = 6
        (count,) = struct.unpack_from(wide, body, at)
        at += struct.calcsize(wide)
        for _ in range(min(count, _MAX_ITEMS)):
            (item,) = struct.unpack_from(wide, body, at)
            at += struct.calcsize(wide)
            method = 0
            if version:
                method = struct.unpack_from(">H", body, at)[0] & 15
                at += 2
            at += 2
            base = int.from_bytes(body[at : at + b_size], "big")
            at += b_size
            (extents,) = struct.unpack_from(">H", body, at)
            at += 2
            if item != wanted:
                at += extents * (i_size + o_size + l_size)
                continue
            if extents != 1:
                return None
            at += i_size
            place = base + int.from_bytes(body[at : at + o_size], "big")
            length = int.from_bytes(body[at + o_size : at + o_size + l_size], "big")
            if length > _MAX_EXIF:
                raise DamagedError(f"a metadata item claims {length} bytes")
            if method == 0:
                return source.exactly(place, length), place
            inside = self._boxes.get(b"idat", b"")
            return (inside[place : place + length], None) if method == 1 else None
        return None


def _turned(orientation: int | None, mirror: int, quarter_turns: int) -> int:
    """The orientation after one more mirroring (left-right) and then turn of the picture."""
    mirrored, turns = _AS_TURN[orientation or 1]
    if mirror:
        mirrored, turns = 1 - mirrored, -turns % 4
    return _FROM_TURN[(mirrored, (turns + quarter_turns) % 4)]


def swaps_sides(orientation: int | None) -> bool:
    """True for the four orientations that exchange width and height."""
    return orientation in (5, 6, 7, 8)
