"""The tool's own time code: UTC in a QR code on the screen, photographed and read back.

The code holds ``FIELDLOG <UTC to the second>``; the photo that shows it pairs the camera's clock
with the session clock to a second, whatever the camera's clock says.
"""

from __future__ import annotations

import io
import re
from datetime import UTC, datetime
from typing import Any

from fieldlog.photos.facts import PhotoFacts, from_row

_TEXT = re.compile(r"FIELDLOG (\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d)Z", re.ASCII)
_LOOK_PIXELS = (1600, 2800)
"""Sides at which a photo is searched: the smaller is quick, the larger finds a distant screen."""


def code_text(moment: datetime) -> str:
    """What the code shows for an aware instant. Raises ValueError for a naive one."""
    if moment.tzinfo is None:
        raise ValueError("a time code needs an instant with its zone")
    return f"FIELDLOG {moment.astimezone(UTC):%Y-%m-%dT%H:%M:%S}Z"


def read_code(text: str) -> datetime | None:
    """The instant of a code's text, or None when the text is not one of ours."""
    match = _TEXT.fullmatch(text.strip())
    if match is None:
        return None
    try:
        return datetime.fromisoformat(match[1]).replace(tzinfo=UTC)
    except ValueError:
        return None


def terminal_code(moment: datetime) -> str:
    """The code as block characters for a terminal, two rows of modules to a line."""
    import segno

    out = io.StringIO()
    segno.make(code_text(moment), error="m", micro=False).terminal(out, border=4, compact=True)
    return out.getvalue()


def png_code(moment: datetime, scale: int = 12) -> bytes:
    """The code as a PNG, ``scale`` pixels per module, with its quiet zone."""
    import segno

    out = io.BytesIO()
    segno.make(code_text(moment), error="m", micro=False).save(
        out, kind="png", scale=scale, border=4
    )
    return out.getvalue()


def find_code(facts: PhotoFacts) -> str | None:
    """Text of the first time code visible in a photo, or None.

    Raises what decoding the picture raises; run it in the worker.
    """
    import zxingcpp

    from fieldlog.photos.thumbnail import small_copy

    kinds: Any = zxingcpp.BarcodeFormat.QRCode
    longest = max(facts.width or 0, facts.height or 0)
    for pixels in _LOOK_PIXELS:
        try:
            picture = small_copy(facts, pixels).convert("L")
        except ValueError:
            if pixels == _LOOK_PIXELS[0]:
                raise
            break  # a huge photo is searched at the smaller size only
        for found in zxingcpp.read_barcodes(picture, formats=kinds):
            if read_code(found.text) is not None:
                return str(found.text)
        if longest <= pixels:
            break
    return None


def worker_job(order: Any) -> Any:
    """Order of the worker task ``timecode``: row of facts -> text of the code, or None."""
    return find_code(from_row(order))
