"""What a picture's container says besides its Exif block: by Pillow and pillow-heif, undecoded.

Only the readers of the kind that the content shows are asked, never whichever may answer. The time
and memory limits of the worker (``worker.py``) hold for all of them.
"""

from __future__ import annotations

import io
import os
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, BinaryIO

import pillow_heif
from PIL import Image, JpegImagePlugin, PngImagePlugin, TiffImagePlugin, WebPImagePlugin, features

pillow_heif.options.THUMBNAILS = False
pillow_heif.options.DECODE_THREADS = 1

_SUB_IFDS, _XMP, _WIDTH, _HEIGHT = 330, 700, 256, 257
_DNG_VERSION, _UNIQUE_MODEL, _DNG_SERIAL = 50706, 50708, 50735
_COMPRESSION, _STRIP_AT, _STRIP_BYTES, _JPEG_AT, _JPEG_BYTES = 259, 273, 279, 513, 514
_JPEG_COMPRESSIONS = (6, 7)
_MAX_SUB_IFDS = 8
_TAIL = 1 << 16
_MOST_MISSING = 32 << 20
_EOI = b"\xff\xd9"


class DamagedError(Exception):
    """The content does not follow its format; the text says how (internal to the readers)."""


@dataclass(frozen=True, slots=True)
class Container:
    """Exif block (from its TIFF header on), XMP packet and size in pixels, as far as they are there.

    ``size`` of a HEIF or AVIF picture is that of the upright picture; of others as stored.
    """

    exif: bytes | None = None
    xmp: bytes | None = None
    size: tuple[int, int] | None = None
    damage: str | None = None


@dataclass(frozen=True, slots=True)
class RawFacts:
    """What a TIFF's directories say beyond Exif: XMP, and for a DNG its camera and its preview."""

    dng: bool = False
    model: str | None = None
    serial: str | None = None
    xmp: bytes | None = None
    size: tuple[int, int] | None = None
    preview: tuple[int, int] | None = None
    """(offset in the file, bytes) of the largest JPEG inside."""


def container(kind: str, stream: BinaryIO) -> Container:
    """Read the container of a picture of ``kind`` (not TIFF).

    Raises ``DamagedError`` when nothing can be read of it.
    """
    damage = ending(kind, stream)
    stream.seek(0)
    try:
        if kind in ("heic", "heif"):
            return _heif(stream, damage)
        image = _opened(kind, stream)
    except DamagedError:
        raise
    except Exception as error:  # the decoders raise whatever a hostile header makes of them
        raise DamagedError(damage or "its header cannot be read (truncated or damaged)") from error
    if kind == "jpeg" and damage is None and not _complete_jpeg(stream):
        damage = "the picture ends in the middle (truncated)"
    exif = image.info.get("exif") or _raw_profile(image.info)
    return Container(_bare(exif), _packet(image.info.get("xmp")), image.size, damage)


class _Jpeg(JpegImagePlugin.JpegImageFile):
    """Pillow's reader without its look into Exif for a resolution: a fifth of the time of a file."""

    def _read_dpi_from_exif(self) -> None:
        """Leave Exif to ExifRead."""


def _opened(kind: str, stream: BinaryIO) -> Image.Image:
    if kind == "jpeg":
        return _Jpeg(stream)
    if kind == "png":
        return PngImagePlugin.PngImageFile(stream)
    if kind == "webp":
        return WebPImagePlugin.WebPImageFile(stream)
    if not features.check("avif"):
        raise DamagedError("this Pillow was built without AVIF")
    from PIL import AvifImagePlugin

    return AvifImagePlugin.AvifImageFile(stream)


def _heif(stream: BinaryIO, damage: str | None) -> Container:
    whole: BinaryIO = stream
    if damage is not None:
        # libheif refuses a file that ends early; with its end made up it tells what comes before
        size = stream.seek(0, os.SEEK_END)
        missing = _boxes_end(stream, size) - size
        if not 0 < missing <= _MOST_MISSING:
            raise DamagedError(damage)
        stream.seek(0)
        whole = io.BytesIO(stream.read() + bytes(missing))
    image = pillow_heif.open_heif(whole, convert_hdr_to_8bit=False)
    exif, xmp = image.info.get("exif"), image.info.get("xmp")
    return Container(_bare(exif), _packet(xmp), image.size, damage)


def _bare(exif: bytes | None) -> bytes | None:
    """An Exif block without the six bytes that JPEG puts before it."""
    return exif.removeprefix(b"Exif\0\0") if exif else None


def _packet(xmp: bytes | str | None) -> bytes | None:
    return xmp.encode("utf-8") if isinstance(xmp, str) else xmp or None


def _raw_profile(info: dict[Any, Any]) -> bytes | None:
    """The Exif block that older tools write into a PNG as hexadecimal text, or None."""
    text = info.get("Raw profile type exif") or info.get("Raw profile type APP1")
    try:
        return bytes.fromhex("".join(str(text).split()[2:])) if text else None
    except ValueError:
        return None


def ending(kind: str, stream: BinaryIO) -> str | None:
    """That a file ends before its format says, in words, or None; JPEG is told while it is read.

    The readers above read the header only and say nothing of a picture that was cut off; the
    originals are kept all the same, and the note goes with them.
    """
    size = stream.seek(0, os.SEEK_END)
    if kind == "png":
        stream.seek(max(size - _TAIL, 0))
        return (
            None if b"IEND" in stream.read() else "the file ends before its IEND chunk (truncated)"
        )
    stream.seek(0)
    if kind == "webp":
        head = stream.read(8)
        whole = int.from_bytes(head[4:], "little") + 8 <= size
    else:
        whole = kind not in ("heic", "heif", "avif") or 0 < _boxes_end(stream, size) <= size
    return None if whole else "the file ends in the middle (truncated)"


def _boxes_end(stream: BinaryIO, size: int) -> int:
    """Where the top-level boxes (ISO 14496-12) end, which is the file's size when it is whole.

    0 when a box contradicts itself.
    """
    at = 0
    while at + 8 <= size:
        stream.seek(at)
        head = stream.read(16)
        length = int.from_bytes(head[:4], "big")
        if length == 1:
            length = int.from_bytes(head[8:], "big")
        if length == 0:
            return size
        if length < 8:
            return 0
        at += length
    return at


def _complete_jpeg(stream: BinaryIO) -> bool:
    """True when the picture whose scan begins where ``stream`` stands has an end.

    Inside entropy-coded data 0xFF is always followed by 0x00 or a restart marker (ITU-T T.81
    B.1.1.5), so the first FF D9 ends the picture; what follows (a motion photo) is none of it.
    """
    scan = stream.tell()
    stream.seek(-2, os.SEEK_END)
    if stream.read(2) == _EOI:
        return True
    stream.seek(scan)
    last = b""
    while block := stream.read(1 << 20):
        if _EOI in last + block:
            return True
        last = block[-1:]
    return False


def raw_facts(stream: BinaryIO) -> RawFacts:
    """Read the directories of a TIFF. Raises ``DamagedError`` when they cannot be followed."""
    try:
        first = _directory(stream, None)
        inner = [
            _directory(stream, at)
            for at in _numbers(first.get(_SUB_IFDS))[:_MAX_SUB_IFDS]
            if _DNG_VERSION in first
        ]
    except Exception as error:  # Pillow raises whatever a hostile directory makes of it
        raise DamagedError("its directories cannot be read") from error
    if _WIDTH not in first:
        raise DamagedError("no picture is in it")
    try:
        sizes = [
            (int(each[_WIDTH]), int(each[_HEIGHT]))
            for each in (first, *inner)
            if _WIDTH in each and _HEIGHT in each
        ]
    except (
        TypeError,
        ValueError,
        OverflowError,
    ) as error:  # text, a pair or nothing where a size belongs
        raise DamagedError("the size of its picture cannot be read") from error
    previews = [found for each in (first, *inner) if (found := _jpeg_inside(each)) is not None]
    xmp = first.get(_XMP)
    return RawFacts(
        _DNG_VERSION in first,
        _text(first.get(_UNIQUE_MODEL)),
        _text(first.get(_DNG_SERIAL)),
        xmp if isinstance(xmp, bytes) else None,
        max(sizes, default=None),
        max(previews, key=lambda one: one[1], default=None),
    )


def _directory(stream: BinaryIO, at: int | None) -> dict[int, Any]:
    """The entries of the directory at ``at`` (None: the first), those that can be decoded."""
    stream.seek(0)
    entries = TiffImagePlugin.ImageFileDirectory_v2(stream.read(8))
    stream.seek(entries.next if at is None else at)
    entries.load(stream)
    found: dict[int, Any] = {}
    for tag in (
        *(_SUB_IFDS, _XMP, _WIDTH, _HEIGHT, _DNG_VERSION, _UNIQUE_MODEL, _DNG_SERIAL),
        *(_COMPRESSION, _STRIP_AT, _STRIP_BYTES, _JPEG_AT, _JPEG_BYTES),
    ):
        if tag in entries:
            found[tag] = entries[tag]
    return found


def _jpeg_inside(entries: dict[int, Any]) -> tuple[int, int] | None:
    at, count = entries.get(_JPEG_AT), entries.get(_JPEG_BYTES)
    if at is None and entries.get(_COMPRESSION) in _JPEG_COMPRESSIONS:
        strips = _numbers(entries.get(_STRIP_AT))
        if len(strips) == 1:
            at, count = strips[0], next(iter(_numbers(entries.get(_STRIP_BYTES))), None)
    return (int(at), int(count)) if at and count else None


def _numbers(value: Any) -> list[int]:
    if value is None:
        return []
    return [int(v) for v in value] if isinstance(value, Iterable) else [int(value)]


def _text(value: Any) -> str | None:
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    return value if isinstance(value, str) else None
