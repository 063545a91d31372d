"""Small upright copies, made within limits; the original is only read.

JPEGs are decoded at a reduced scale (the decoder's own 1/2, 1/4, 1/8), so that a 200 Mpx phone
photo stays far below the memory limit. Some decoders (HEIF, TIFF) turn the picture themselves,
others leave it to the recorded orientation: it is done once, never twice.
"""

from __future__ import annotations

import io
import os
import warnings
from typing import Any

from PIL import Image, ImageOps
from PIL.JpegImagePlugin import JpegImageFile

from fieldlog.errors import PhotoError
from fieldlog.photos.exif import MOST_PIXELS
from fieldlog.photos.facts import PhotoFacts, from_row

MOST_DECODED_PIXELS = 40_000_000
"""Decoded at once at most (120 MB as RGB); larger ones use a reduced scale or their preview."""

_TURN = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}


def small_copy(facts: PhotoFacts, pixels: int) -> Image.Image:
    """The upright picture, RGB, no side longer than ``pixels``.

    Raises ValueError (in words) when it cannot be made within the limits; Pillow's own errors
    pass through.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", Image.DecompressionBombWarning)
        Image.MAX_IMAGE_PIXELS = MOST_PIXELS
        if facts.kind in ("heic", "heif", "avif"):
            _heif_opener()
        elif facts.kind == "dng" and facts.preview_at is not None:
            return _finished(_preview(facts), facts.orientation or 1, pixels)
        image: Image.Image = Image.open(facts.file)
        if isinstance(image, JpegImageFile):
            # The decoder makes it smaller by itself, to no less than asked: half the time of decoding it at
            # twice the size, and within 8 of 255 levels of that in every block of 16 pixels.
            image.draft("RGB", (pixels, pixels))
        if image.width * image.height > MOST_DECODED_PIXELS:
            inside = embedded_preview(image.info.get("exif"))
            if inside is None:
                raise PhotoError(f"{image.width} x {image.height} pixels are too many to decode")
            return _finished(Image.open(io.BytesIO(inside)), facts.orientation or 1, pixels)
        turn = facts.turn
        if facts.kind not in ("jpeg", "png", "webp"):
            # These decoders may turn the picture themselves; the tag then says what is left to do.
            image.load()
            turn = int(image.getexif().get(0x0112) or 1)
        return _finished(image, turn, pixels)


def _finished(image: Image.Image, orientation: int, pixels: int) -> Image.Image:
    image.thumbnail((pixels, pixels), Image.Resampling.BICUBIC, reducing_gap=2.0)
    turn = _TURN.get(orientation)
    upright = image.transpose(turn) if turn is not None else image
    return _on_white(upright)


def _on_white(image: Image.Image) -> Image.Image:
    """RGB without alpha or palette; 16-bit greys are scaled to 8 bits."""
    if image.mode in ("I;16", "I", "F"):
        return ImageOps.autocontrast(image.convert("L")).convert("RGB")
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        with_alpha = image.convert("RGBA")
        paper = Image.new("RGB", image.size, "white")
        paper.paste(with_alpha, mask=with_alpha.getchannel("A"))
        return paper
    return image.convert("RGB")


def _preview(facts: PhotoFacts) -> Image.Image:
    with open(facts.file, "rb") as stream:  # noqa: PTH123 (a worker imports no pathlib)
        stream.seek(facts.preview_at or 0)
        return Image.open(io.BytesIO(stream.read(min(facts.preview_bytes or 0, 64 << 20))))


def embedded_preview(exif: bytes | None) -> bytes | None:
    """The small JPEG that an Exif block holds, or None."""
    import exifread

    if not exif:
        return None
    block = io.BytesIO(exif.removeprefix(b"Exif\0\0"))
    found = exifread.process_file(block, details=False).get("JPEGThumbnail")
    return found if isinstance(found, bytes) else None


def _heif_opener() -> None:
    import pillow_heif

    pillow_heif.options.THUMBNAILS = False
    pillow_heif.options.DECODE_THREADS = 1
    pillow_heif.register_heif_opener()


def write_thumbnail(facts: PhotoFacts, target: str, pixels: int) -> tuple[int, int]:
    """Write the upright small copy as JPEG without any metadata; return its size in pixels.

    The file appears under its name only when it is complete.
    """
    image = small_copy(facts, pixels)
    partial = f"{target}.part{os.getpid()}"
    try:
        image.save(partial, "JPEG", quality=82, optimize=True)
        os.replace(partial, target)  # noqa: PTH105
    except BaseException:
        if os.path.exists(partial):  # noqa: PTH110
            os.unlink(partial)  # noqa: PTH108
        raise
    return image.size


def worker_job(order: Any) -> Any:
    """Order of the worker task ``thumbnail``: [target, pixels, row of facts] -> [width, height]."""
    target, pixels, row = order
    return list(write_thumbnail(from_row(row), target, pixels))
