"""What one photo says about itself: the facts every later step works on (pure, frozen)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any

from fieldlog.photos.when import local_time, offset_delta


class PhotoFault(StrEnum):
    """Why a photo cannot be used fully; the first three mean that the file could not be read."""

    NOT_READ = "not read"
    """Its reader took too long or was ended: that may be the machine's doing, and says nothing of the file."""
    UNREADABLE = "unreadable"
    DAMAGED = "damaged"
    NOT_A_PHOTO = "not a photo"
    NO_TIME = "no time"
    BAD_TIME = "bad time"
    IMPLAUSIBLE = "implausible time"


PHOTO_KINDS = frozenset({"jpeg", "heic", "heif", "avif", "png", "webp", "tiff", "dng"})


@dataclass(frozen=True, slots=True)
class PhotoFacts:
    """One file as read by content; times are the camera's own, never the file system's.

    ``file`` is the path as it was asked for. ``kind`` is one of ``PHOTO_KINDS``, or names what the
    content is instead ("mp4 video", "text", "empty", ...). ``width`` and ``height`` are those of
    the upright picture in pixels.
    """

    file: str
    kind: str
    size: int = 0
    """Bytes."""
    capture_raw: str | None = None
    """DateTimeOriginal exactly as recorded."""
    capture_local: str | None = None
    """ISO 8601 local time of capture with the sub-seconds as recorded."""
    offset: str | None = None
    """OffsetTimeOriginal, ``+02:00``."""
    make: str | None = None
    model: str | None = None
    serial: str | None = None
    """BodySerialNumber (Exif) or CameraSerialNumber (DNG)."""
    orientation: int | None = None
    """Exif orientation 1..8 as recorded."""
    turn: int = 1
    """Orientation still to be applied to the pixels as stored; 1 for HEIF, whose decoder applies
    irot itself."""
    width: int | None = None
    height: int | None = None
    preview_at: int | None = None
    """Offset in the file of the largest JPEG inside a DNG."""
    preview_bytes: int | None = None
    fault: str | None = None
    """A ``PhotoFault`` value."""
    problem: str | None = None
    """The same in words."""

    @property
    def camera(self) -> str | None:
        """Camera key: ``Make Model`` and ``#serial`` when recorded; None when none is."""
        words = [part for part in (self.make, self.model) if part]
        if self.serial:
            words.append(f"#{self.serial}")
        return " ".join(words) or None

    @property
    def local(self) -> datetime | None:
        """Naive local time of capture, to the microsecond."""
        return local_time(self.capture_local) if self.capture_local else None

    @property
    def utc(self) -> datetime | None:
        """Instant of capture by the camera's clock, when it recorded its offset from UTC."""
        local, delta = self.local, offset_delta(self.offset)
        if local is None or delta is None:
            return None
        try:
            return (local - delta).replace(tzinfo=UTC)
        except OverflowError:
            return None

    @property
    def resolution_s(self) -> float:
        """Step of the recorded capture time in seconds: 1, or 10**-digits with sub-seconds."""
        digits = len((self.capture_local or "").partition(".")[2])
        return max(10.0**-digits, 1e-6)

    @property
    def is_photo(self) -> bool:
        """True when the content is a photo of a kind that is read."""
        return self.kind in PHOTO_KINDS

    @property
    def unread(self) -> bool:
        """True when the file could not be read properly (counts towards a partial result)."""
        return self.fault in (PhotoFault.NOT_READ, PhotoFault.UNREADABLE, PhotoFault.DAMAGED)

    def scan_row(self, name: str | None = None) -> dict[str, Any]:
        """The object ``photos scan --json`` prints for this file; location is left out."""
        return {
            "file": name if name is not None else self.file,
            "kind": self.kind,
            "capture_local": self.capture_local,
            "offset": self.offset,
            "utc": self._utc_text(),
            "camera": self.camera,
            "orientation": self.orientation,
            "problem": self.problem,
        }

    def _utc_text(self) -> str | None:
        utc = self.utc
        if utc is None or self.capture_local is None:
            return None
        whole = utc.replace(microsecond=0, tzinfo=None).isoformat()
        digits = self.capture_local.partition(".")[2]
        return f"{whole}.{digits}Z" if digits else f"{whole}Z"


FIELDS: tuple[str, ...] = tuple(field.name for field in fields(PhotoFacts))


def to_row(facts: PhotoFacts) -> list[Any]:
    """The facts as a plain list in the order of ``FIELDS`` (for JSON between processes)."""
    return [getattr(facts, name) for name in FIELDS]


def from_row(row: Sequence[Any]) -> PhotoFacts:
    """Inverse of ``to_row``. Raises ValueError when the row has the wrong length."""
    return PhotoFacts(**dict(zip(FIELDS, row, strict=True)))
