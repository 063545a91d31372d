"""One file -> ``PhotoFacts``: its kind by content, then what its metadata says.

Only DateTimeOriginal with its own SubSecTimeOriginal and OffsetTimeOriginal counts as the time of
capture (field reports X4, X11); where a file has no Exif DateTimeOriginal, the same property in
its XMP packet (exif:DateTimeOriginal) does. Times of the file system are never used (X6).
"""

from __future__ import annotations

import html
import os
import re
import stat
from dataclasses import replace
from datetime import date
from pathlib import PurePath
from typing import Any

from fieldlog.photos import tiff
from fieldlog.photos.containers import (
    Parts,
    heif_kind,
    heif_parts,
    png_parts,
    swaps_sides,
    webp_parts,
)
from fieldlog.photos.facts import PhotoFacts, PhotoFault
from fieldlog.photos.jpeg import jpeg_parts
from fieldlog.photos.source import DamagedError, Source
from fieldlog.photos.when import (
    exif_offset,
    exif_subsec,
    exif_time,
    implausible,
    local_time,
    name_date,
    xmp_time,
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

_EDIT_SLACK_S = 2.0
"""Cameras write DateTime up to this long after DateTimeOriginal (common practice)."""


def read_photo(file: str, today: date) -> PhotoFacts:
    """Read one file's facts; never raises for anything the file may contain.

    ``today`` is the day against which a capture time in the future is judged.
    """
    try:
        facts = _read(file)
    except DamagedError as error:
        return _unread(file, "unknown", str(error))
    except OSError as error:
        return _unread(file, "unknown", _reason(error))
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
    if found := heif_kind(head):
        return found
    for mark, place, name in _OTHER_KINDS:
        if head[place:].startswith(mark):
            return name
    if head and b"\0" not in head[:512]:
        return "text"
    return "unknown"


def _read(file: str) -> PhotoFacts:
    fd = os.open(file, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_CLOEXEC", 0))
    try:
        status = os.fstat(fd)
        if not stat.S_ISREG(status.st_mode):
            return _unread(file, "not a file", "not a regular file")
        if status.st_size == 0:
            return _unread(file, "empty", "the file is empty (zero bytes)")
        source = Source(fd, status.st_size)
        kind = photo_kind(source.at(0, 512))
        base = PhotoFacts(file=file, kind=kind, size=status.st_size)
        if kind in ("jpeg", "png", "webp", "heic", "heif", "avif"):
            return _from_container(base, source)
        if kind == "tiff":
            return _from_tiff(base, source)
        return _not_a_photo(base)
    finally:
        os.close(fd)


def _from_container(base: PhotoFacts, source: Source) -> PhotoFacts:
    heif = base.kind in ("heic", "heif", "avif")
    try:
        if base.kind == "jpeg":
            parts = jpeg_parts(source)
        elif base.kind == "png":
            parts = png_parts(source)
        elif base.kind == "webp":
            parts = webp_parts(source)
        else:
            parts = heif_parts(source)
    except DamagedError as error:
        return _unread(base.file, base.kind, str(error), base.size)
    tags = None
    broken = parts.damage
    if parts.exif is not None:
        block = parts.exif
        try:
            tags = tiff.read_tags(lambda at, count: block[at : at + count])
            broken = broken or tags.broken
        except DamagedError as error:
            broken = broken or str(error)
    facts = _filled(base, tags, parts, parts.exif_at)
    recorded = facts.orientation or (parts.orientation if parts.orientation != 1 else None)
    facts = replace(facts, orientation=recorded, turn=1 if heif else recorded or 1)
    swap = swaps_sides(parts.orientation if heif else facts.orientation)
    facts = _sized(facts, parts.width, parts.height, swap)
    return _damaged(facts, broken, complete=parts.damage is None)


def _from_tiff(base: PhotoFacts, source: Source) -> PhotoFacts:
    try:
        tags = tiff.read_tags(source.at)
    except DamagedError as error:
        return _unread(base.file, base.kind, str(error), base.size)
    if tiff.DNG_VERSION in tags.ifd0:
        base = replace(base, kind="dng")
    xmp = tags.ifd0.get(tiff.XMP, (0, 0, b""))[2] or None
    facts = _filled(base, tags, Parts(xmp=xmp), 0)
    facts = replace(facts, turn=facts.orientation or 1)
    sizes = [
        (tags.number(tiff.WIDTH, entries), tags.number(tiff.HEIGHT, entries))
        for entries in (tags.ifd0, *(tags.others if base.kind == "dng" else ()))
    ]
    width, height = max(sizes)
    facts = _sized(facts, width or None, height or None, swaps_sides(facts.orientation))
    return _damaged(facts, tags.broken, complete=bool(tags.ifd0))


def _filled(
    base: PhotoFacts, tags: tiff.Tags | None, parts: Parts, tiff_at: int | None
) -> PhotoFacts:
    """Facts from the Exif tags, and from XMP where Exif is silent."""
    found: dict[str, Any] = {"trailer": parts.trailer}
    edited = None
    if tags is not None:
        raw = tags.text(tiff.ORIGINAL)
        local = exif_time(raw) if raw else None
        digits = exif_subsec(tags.text(tiff.SUBSEC_ORIGINAL))
        orientation = tags.number(tiff.ORIENTATION, tags.ifd0)
        edited = exif_time(tags.text(tiff.DATE_TIME) or "")
        preview = tiff.preview(tags)
        found |= {
            "capture_raw": raw or None,
            "capture_local": f"{local}.{digits}" if local and digits else local,
            "offset": exif_offset(tags.text(tiff.OFFSET_ORIGINAL)) if local else None,
            "make": _name(tags.text(tiff.MAKE)),
            "model": _name(tags.text(tiff.MODEL)) or _name(tags.text(tiff.UNIQUE_MODEL)),
            "serial": _name(tags.text(tiff.BODY_SERIAL)) or _name(tags.text(tiff.DNG_SERIAL)),
            "orientation": orientation if 1 <= orientation <= 8 else None,
            "software": _name(tags.text(tiff.SOFTWARE)),
            "latitude": tags.degrees(tiff.GPS_LAT, tiff.GPS_LAT_REF, "S"),
            "longitude": tags.degrees(tiff.GPS_LON, tiff.GPS_LON_REF, "W"),
        }
        if preview is not None and tiff_at is not None:
            found |= {"preview_at": tiff_at + preview[0], "preview_bytes": preview[1]}
    if parts.xmp:
        _add_xmp(found, parts.xmp)
    if edited and found.get("capture_local"):
        gap = local_time(edited) - local_time(found["capture_local"])
        if abs(gap.total_seconds()) > _EDIT_SLACK_S:
            found["edited"] = edited
    return replace(base, **found)


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


def _sized(facts: PhotoFacts, width: int | None, height: int | None, swap: bool) -> PhotoFacts:
    if swap:
        width, height = height, width
    facts = replace(facts, width=width, height=height)
    pixels = (width or 0) * (height or 0)
    if pixels <= MOST_PIXELS:
        return facts
    problem = f"refused: it claims {pixels // 1_000_000} megapixels, more than any camera records"
    return replace(facts, fault=PhotoFault.UNREADABLE.value, problem=problem)


def _damaged(facts: PhotoFacts, broken: str | None, *, complete: bool) -> PhotoFacts:
    if broken is None or facts.fault:
        return facts
    if complete and facts.capture_local:
        return facts
    what = broken if not complete else f"metadata unreadable: {broken}"
    return replace(facts, fault=PhotoFault.DAMAGED.value, problem=what)


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
    day = name_date(PurePath(facts.file).name)
    hint = f"; the file name gives the date {day} but no time" if day else ""
    raw = (facts.capture_raw or "").rstrip("\0")
    if raw:
        problem, fault = (
            f"capture time unknown: recorded as {raw[:40]!r}{hint}",
            PhotoFault.BAD_TIME,
        )
    else:
        problem, fault = f"no capture time recorded{hint}", PhotoFault.NO_TIME
    return replace(facts, fault=fault.value, problem=problem, name_date=day)


def _not_a_photo(base: PhotoFacts) -> PhotoFacts:
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


def _reason(error: OSError) -> str:
    """The operating system's reason in its own words, without the path."""
    return (error.strerror or str(error)).lower()
