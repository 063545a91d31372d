"""Photos made for tests: good ones by Pillow and pillow-heif, hostile ones byte by byte."""

from __future__ import annotations

import io
import struct
from pathlib import Path
from typing import Any

import pillow_heif
from PIL import Image

pillow_heif.register_heif_opener()

EXIF_IFD = 0x8769
ORIGINAL, OFFSET_ORIGINAL, SUBSEC_ORIGINAL = 0x9003, 0x9011, 0x9291
SERIAL = 0xA431


def exif_block(
    original: str | None = "2024:06:01 10:00:00",
    *,
    offset: str | None = None,
    subsec: str | None = None,
    make: str = "Umberfold",
    model: str = "Ninth",
    serial: str | None = None,
    orientation: int | None = None,
    date_time: str | None = None,
    extra: dict[int, Any] | None = None,
) -> Image.Exif:
    """Exif written by Pillow; ``extra`` goes to the Exif directory."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = make, model
    if orientation is not None:
        exif[0x0112] = orientation
    if date_time is not None:
        exif[0x0132] = date_time
    inner = exif.get_ifd(EXIF_IFD)
    pairs = ((ORIGINAL, original), (OFFSET_ORIGINAL, offset), (SUBSEC_ORIGINAL, subsec))
    for tag, value in (*pairs, (SERIAL, serial)):
        if value is not None:
            inner[tag] = value
    inner.update(extra or {})
    return exif


def picture(size: tuple[int, int] = (48, 32)) -> Image.Image:
    """A small picture whose four corners differ: red top left, green, blue, white."""
    image = Image.new("RGB", size, "white")
    half = (size[0] // 2, size[1] // 2)
    image.paste("red", (0, 0, half[0], half[1]))
    image.paste("green", (half[0], 0, size[0], half[1]))
    image.paste("blue", (0, half[1], half[0], size[1]))
    return image


def save(path: Path, kind: str = "JPEG", *, size: tuple[int, int] = (48, 32), **exif: Any) -> Path:
    """Write a photo of ``kind`` (Pillow's name) with the given Exif values."""
    block = exif_block(**exif)
    options: dict[str, Any] = {"exif": block if kind in ("JPEG", "PNG") else block.tobytes()}
    if kind == "WEBP":
        options["lossless"] = True
    picture(size).save(path, kind, **options)
    return path


def tiff_block(entries: list[tuple[int, int, int, bytes]], *, next_ifd: int = 0) -> bytes:
    """A little-endian TIFF with one directory at 8: (tag, type, count, 4 bytes) as given."""
    body = struct.pack("<H", len(entries))
    body += b"".join(struct.pack("<HHI4s", *entry) for entry in entries)
    return b"II*\0" + struct.pack("<I", 8) + body + struct.pack("<I", next_ifd)


def jpeg_with(exif: bytes, *, size: tuple[int, int] = (48, 32)) -> bytes:
    """A JPEG by Pillow with an APP1 of ours put in front."""
    buffer = io.BytesIO()
    picture(size).save(buffer, "JPEG")
    plain = buffer.getvalue()
    segment = b"\xff\xe1" + struct.pack(">H", len(exif) + 8) + b"Exif\0\0" + exif
    return plain[:2] + segment + plain[2:]


def jpeg_header(width: int, height: int, exif: bytes = b"") -> bytes:
    """The start of a JPEG that claims ``width`` x ``height``, with no real pixels behind it."""
    app1 = b"\xff\xe1" + struct.pack(">H", len(exif) + 8) + b"Exif\0\0" + exif if exif else b""
    frame = b"\xff\xc0\0\x0b\x08" + struct.pack(">HH", height, width) + b"\x01\x01\x11\0"
    return (
        b"\xff\xd8" + app1 + frame + b"\xff\xda\0\x08\x01\x01\0\0\x3f\0" + b"\0" * 64 + b"\xff\xd9"
    )


def makernote_bomb() -> bytes:
    """A small JPEG whose MakerNote claims 0x3c000000 entries (exif-py issue 182)."""
    date = b"2024:06:01 10:00:00\0"
    note = struct.pack("<HHHI4s", 1, 0x0001, 3, 0x3C000000, struct.pack("<I", 8))
    inner_at = 8 + 2 + 2 * 12 + 4
    data_at = inner_at + 2 + 2 * 12 + 4
    make_at = data_at + len(date)
    note_at = make_at + 6
    outer = struct.pack("<H", 2)
    outer += struct.pack("<HHII", 0x010F, 2, 6, make_at)
    outer += struct.pack("<HHII", EXIF_IFD, 4, 1, inner_at) + struct.pack("<I", 0)
    inner = struct.pack("<H", 2)
    inner += struct.pack("<HHII", ORIGINAL, 2, 20, data_at)
    inner += struct.pack("<HHII", 0x927C, 7, 0x3C000000, note_at) + struct.pack("<I", 0)
    return jpeg_with(b"II*\0\x08\0\0\0" + outer + inner + date + b"Canon\0" + note)
