"""One file -> ``PhotoFacts``: its kind by content, then what its metadata says.

Exif is read by ExifRead, without the MakerNote (a count in it can keep ExifRead busy for ever: public
thread ianare/exif-py#182), its block is found by Pillow and pillow-heif (``pictures.py``). Only
DateTimeOriginal with its own SubSecTimeOriginal and OffsetTimeOriginal counts as the time of capture;
where a file has no Exif DateTimeOriginal, the same property in its XMP packet (exif:DateTimeOriginal)
does. Times of the file system are never used.
"""

from __future__ import annotations

import html
import io
import logging
import os
import re
import stat
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import PurePath
from typing import Any, BinaryIO, cast

import exifread

from fieldlog.photos.facts import PhotoFacts, PhotoFault
from fieldlog.photos.pictures import Container, DamagedError, RawFacts, container, raw_facts
from fieldlog.photos.when import (
    exif_offset,
    exif_subsec,
    exif_time,
    implausible,
    name_hint,
    xmp_time,
)
from fieldlog.whole import reason

logging.getLogger("exifread").setLevel(logging.CRITICAL)

_RAW_MARKS: tuple[tuple[bytes, int], ...] = (
    (b"ftypcrx ", 4),
    (b"FUJIFILMCCD-RAW", 0),
    (b"IIRO", 0),
    (b"IIRS", 0),
    (b"MMOR", 0),
    (b"IIU\0", 0),
    (b"FOVb", 0),
    (b"HEAPCCDR", 6),
    (b"\0MRM", 0),
)
"""Starts of cameras' raw files that no reader here knows (from memory; their names count too)."""
_RAW_SUFFIXES = frozenset(
    [
        ".3fr",
        ".arw",
        ".cr2",
        ".cr3",
        ".crw",
        ".dcr",
        ".erf",
        ".iiq",
        ".kdc",
        ".mef",
        ".mos",
        ".mrw",
        ".nef",
        ".nrw",
        ".orf",
        ".pef",
        ".raf",
        ".raw",
        ".rw2",
        ".rwl",
        ".sr2",
        ".srf",
        ".srw",
        ".x3f",
    ]
)
_OTHER_KINDS: tuple[tuple[bytes, int, str], ...] = (
    (b"GIF8", 0, "gif"),
    (b"BM", 0, "bmp"),
    (b"ftyp", 4, "video"),
    (b"%PDF", 0, "pdf"),
    (b"PK\3\4", 0, "zip"),
    (b"RIFF", 0, "riff"),
    (b"OggS", 0, "ogg"),
    (b"fLaC", 0, "flac"),
    (b"\x1a\x45\xdf\xa3", 0, "video"),
    (b"\0\5\x16\7", 0, "appledouble"),
)
_PHOTO_SUFFIXES = frozenset(
    {".jpg", ".jpeg", ".jpe", ".heic", ".heif", ".hif", ".avif", ".png", ".webp", ".tif", ".tiff"}
    | {".dng"}
)
MOST_PIXELS = 500_000_000
"""More than any camera records (200 Mpx phones, 400 Mpx multi-shot): a decompression bomb."""


def read_photo(file: str, today: date) -> PhotoFacts:
    """Read one file's facts; never raises for anything the file may contain.

    ``today`` is the day against which a capture time in the future is judged.
    """
    try:
        facts = _read(file)
    except DamagedError as error:
        return _unread(file, "unknown", str(error))
    except OSError as error:
        return _unread(file, "unknown", reason(error))
    return _judge_time(facts, today)


def photo_kind(head: bytes) -> str:
    """Kind of the file that starts with ``head``: a photo kind, or what it is instead."""
    if head.startswith(b"\xff\xd8\xff"):
        return "jpeg"
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return "png"
    if head.startswith(b"RIFF") and head[8:12] == b"WEBP":
        return "webp"
    if head[:4] in (b"II*\0", b"MM\0*"):
        return "tiff"
    if found := _heif_kind(head):
        return found
    if any(head[place:].startswith(mark) for mark, place in _RAW_MARKS):
        return "raw"
    for mark, place, name in _OTHER_KINDS:
        if head[place:].startswith(mark):
            return name
    if head and b"\0" not in head[:512]:
        return "text"
    return "unknown"


_HEIC_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs"})


def _heif_kind(head: bytes) -> str | None:
    """``heic``, ``heif`` or ``avif`` from the ftyp box at the start of a file, else None."""
    size = int.from_bytes(head[:4], "big")
    if head[4:8] != b"ftyp" or size < 16:
        return None
    brands = {head[at : at + 4] for at in range(16, min(size, len(head), 256), 4)}
    major = head[8:12]
    if major in (b"avif", b"avis"):
        return "avif"
    if major in _HEIC_BRANDS:
        return "heic"
    if major not in (b"mif1", b"msf1", b"mif2"):
        return None
    if brands & _HEIC_BRANDS:
        return "heic"
    return "avif" if brands & {b"avif", b"avis"} else "heif"


def _read(file: str) -> PhotoFacts:
    fd = os.open(file, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_CLOEXEC", 0))
    with os.fdopen(fd, "rb") as stream:
        status = os.fstat(fd)
        if not stat.S_ISREG(status.st_mode):
            return _unread(file, "not a file", "not a regular file")
        if status.st_size == 0:
            return _unread(file, "empty", "the file is empty (zero bytes)")
        kind = photo_kind(stream.read(512))
        base = PhotoFacts(file=file, kind=kind, size=status.st_size)
        if kind == "tiff":
            return _from_tiff(base, stream)
        if kind in ("jpeg", "png", "webp", "heic", "heif", "avif"):
            return _from_container(base, stream)
        return _not_a_photo(base)


def _from_container(base: PhotoFacts, stream: BinaryIO) -> PhotoFacts:
    try:
        found = container(base.kind, stream)
        tags = exif_tags(io.BytesIO(found.exif)) if found.exif else {}
    except DamagedError as error:
        found = Container(damage=str(error))
        tags = exif_tags(stream)  # of a picture that was cut off the Exif is often whole
        if not tags and base.kind != "jpeg":
            return _unread(base.file, base.kind, str(error), base.size)
    known = _filled(tags, found.xmp)
    turn = known["orientation"] or 1
    if base.kind in ("heic", "heif", "avif"):
        turn = 1  # their decoders turn the picture, and have done so with its size
    if found.damage is not None:
        known |= {"fault": PhotoFault.DAMAGED.value, "problem": found.damage}
    return replace(base, turn=turn, **(known | _sized(found.size, turn)))


def _from_tiff(base: PhotoFacts, stream: BinaryIO) -> PhotoFacts:
    try:
        raw, broken = raw_facts(stream), None
    except DamagedError as error:
        raw, broken = RawFacts(), str(error)
    known = _filled(exif_tags(stream), raw.xmp)
    known["model"] = known["model"] or _name(raw.model)
    known["serial"] = known["serial"] or _name(raw.serial)
    known["turn"] = known["orientation"] or 1
    if raw.preview is not None:
        known |= {"preview_at": raw.preview[0], "preview_bytes": raw.preview[1]}
    if broken is not None and not known["capture_local"]:
        known |= {"fault": PhotoFault.DAMAGED.value, "problem": broken}
    kind = "dng" if raw.dng else base.kind
    return replace(base, kind=kind, **(known | _sized(raw.size, known["turn"])))


_MOST_READS = 200_000
"""More than ExifRead needs for any photo; in a box that is damaged it may go round without end."""


class _FewReads:
    """A stream that ends what reads it without end."""

    def __init__(self, stream: BinaryIO) -> None:
        self._stream, self._left = stream, _MOST_READS
        self.seek, self.tell = stream.seek, stream.tell

    def read(self, size: int = -1) -> bytes:
        """As of the stream; ``EOFError`` after too many."""
        self._left -= 1
        if self._left < 0:
            raise EOFError
        return self._stream.read(size)


def exif_tags(stream: BinaryIO) -> Mapping[str, Any]:
    """ExifRead's tags of a TIFF structure or a whole file; empty where it can make nothing of it."""
    try:
        found: Mapping[str, Any] = exifread.process_file(
            cast(BinaryIO, _FewReads(stream)), details=False, extract_thumbnail=False
        )
    except Exception:  # it raises whatever a hostile block makes of it, and says no more by it
        return {}
    return found


def _text(tags: Mapping[str, Any], name: str) -> str | None:
    """An ASCII value (or one written as bytes) of the Exif or the first directory, or None."""
    for directory in ("EXIF", "Image"):
        tag = tags.get(f"{directory} {name}")
        values = tag.values if tag is not None else None
        if isinstance(values, list) and all(isinstance(v, int) and 0 <= v < 256 for v in values):
            values = bytes(values).partition(b"\0")[0]
        if isinstance(values, bytes):
            values = values.decode("utf-8", "replace")
        if isinstance(values, str):
            return values
    return None


def _filled(tags: Mapping[str, Any], xmp: bytes | None) -> dict[str, Any]:
    """Fields of ``PhotoFacts`` from the Exif tags, and from XMP where Exif is silent."""
    raw = _text(tags, "DateTimeOriginal")
    local = exif_time(raw) if raw else None
    digits = exif_subsec(_text(tags, "SubSecTimeOriginal"))
    values = getattr(tags.get("Image Orientation"), "values", None)
    orientation = values[0] if isinstance(values, list) and values else 0
    found: dict[str, Any] = {
        "capture_raw": raw or None,
        "capture_local": f"{local}.{digits}" if local and digits else local,
        "offset": exif_offset(_text(tags, "OffsetTimeOriginal")) if local else None,
        "make": _name(_text(tags, "Make")),
        "model": _name(_text(tags, "Model")),
        "serial": _name(_text(tags, "BodySerialNumber")),
        "orientation": orientation if orientation in range(1, 9) else None,
    }
    if xmp:
        _add_xmp(found, xmp)
    return found


def _add_xmp(found: dict[str, Any], packet: bytes) -> None:
    """Fill what Exif left open from an XMP packet, read with patterns and never as XML.

    No XML parser runs on hostile input; a property written in an unusual way is simply not found.
    """
    text = packet.decode("utf-8", "replace")
    if not found.get("capture_raw"):
        raw = _xmp_value(text, "exif:DateTimeOriginal")
        timed = xmp_time(raw) if raw else None
        if raw:
            found["capture_raw"] = raw
        if timed:
            found["capture_local"], found["offset"] = timed
    for name, prop in (("make", "tiff:Make"), ("model", "tiff:Model")):
        if not found.get(name):
            found[name] = _name(_xmp_value(text, prop))
    if not found.get("orientation"):
        value = _xmp_value(text, "tiff:Orientation") or ""
        found["orientation"] = int(value) if value in "12345678" and len(value) == 1 else None


def _xmp_value(text: str, prop: str) -> str | None:
    match = re.search(rf"{prop}(?:=[\"']([^\"'<]{{0,200}})[\"']|>([^<]{{0,200}})</{prop}>)", text)
    return html.unescape(match[1] or match[2] or "") if match else None


def _name(text: str | None) -> str | None:
    """A make, model or serial on one line without padding, or None when it is blank."""
    if text is None:
        return None
    words = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return words[:120] or None


def _sized(size: tuple[int, int] | None, turn: int) -> dict[str, Any]:
    """Fields of ``PhotoFacts`` for a size in pixels as stored: upright, or why it is refused."""
    if size is None:
        return {}
    width, height = reversed(size) if turn >= 5 else size
    found: dict[str, Any] = {"width": width, "height": height}
    pixels = width * height
    if pixels > MOST_PIXELS:
        found["fault"] = PhotoFault.UNREADABLE.value
        found["problem"] = (
            f"refused: it claims {pixels // 1_000_000} megapixels, more than any camera records"
        )
    return found


def _judge_time(facts: PhotoFacts, today: date) -> PhotoFacts:
    """Say why the capture time cannot be used, when it cannot."""
    if facts.fault or not facts.is_photo:
        return facts
    local = facts.local
    if local is not None:
        why = implausible(local, today)
        if why is None:
            return facts
        said = facts.capture_local
        return replace(
            facts,
            fault=PhotoFault.IMPLAUSIBLE.value,
            problem=f"implausible capture time {said}: {why}",
        )
    said = name_hint(PurePath(facts.file).name)
    hint = f"; its name says {said}, perhaps when it was received: not used" if said else ""
    raw = (facts.capture_raw or "").rstrip("\0")
    if raw:
        problem, fault = (
            f"capture time unknown: recorded as {raw[:40]!r}{hint}",
            PhotoFault.BAD_TIME,
        )
    else:
        problem, fault = f"no capture time recorded{hint}", PhotoFault.NO_TIME
    return replace(facts, fault=fault.value, problem=problem)


def _not_a_photo(base: PhotoFacts) -> PhotoFacts:
    if base.kind == "raw" or PurePath(base.file).suffix.lower() in _RAW_SUFFIXES:
        return replace(
            base,
            fault=PhotoFault.UNREADABLE.value,
            problem="a camera's raw file of a kind that is not read: left out",
        )
    if PurePath(base.file).suffix.lower() in _PHOTO_SUFFIXES:
        return replace(
            base,
            fault=PhotoFault.UNREADABLE.value,
            problem=f"named like a photo, but the content is not one ({base.kind})",
        )
    return replace(
        base, fault=PhotoFault.NOT_A_PHOTO.value, problem=f"not a photo ({base.kind}): left out"
    )


def _unread(file: str, kind: str, problem: str, size: int = 0) -> PhotoFacts:
    return PhotoFacts(file, kind, size=size, fault=PhotoFault.UNREADABLE.value, problem=problem)
