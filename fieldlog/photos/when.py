"""Exif date, sub-second and offset strings as CIPA DC-008 defines them (pure).

DateTimeOriginal is "YYYY:MM:DD HH:MM:SS"; all blank or zero means unknown. SubSecTimeOriginal is a
left-aligned fraction padded with blanks ("9" is 0.9 s). OffsetTimeOriginal is "+HH:MM" or
"-HH:MM", daylight saving included. Nothing that deviates is repaired: it is unknown.
"""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta

_EXIF = re.compile(r"(\d{4}):(\d\d):(\d\d) (\d\d):(\d\d):(\d\d)", re.ASCII)
_OFFSET = re.compile(r"([+-])(\d\d):(\d\d)", re.ASCII)
_XMP = re.compile(r"(\d{4})-(\d\d)-(\d\d)T(\d\d):(\d\d)(?::(\d\d)(?:\.(\d+))?)?(Z|[+-]\d\d:\d\d)?")
_NAME_DAY = re.compile(r"(?<!\d)((?:19|20)\d\d)([-_]?)(\d\d)\2(\d\d)(?!\d)", re.ASCII)
_NAME_CLOCK = re.compile(
    r"(?:[-_ T]| at )([01]\d|2[0-3])([-._]?)([0-5]\d)\2([0-5]\d)(?:\d{3})?(?!\d)", re.ASCII
)

EARLIEST_YEAR = 2005
"""Photos dated before are taken for a reset clock (public thread RhetTbull/photos_time_warp#24; common practice)."""


def exif_time(raw: str) -> str | None:
    """ISO form of an Exif date-time, or None when it is blank, malformed or no date at all."""
    match = _EXIF.fullmatch(raw.rstrip(" \0"))
    if match is None:
        return None
    year, month, day, hour, minute, second = (int(part) for part in match.groups())
    try:
        return datetime(year, month, day, hour, minute, second).isoformat()
    except ValueError:
        return None


def exif_subsec(raw: str | None) -> str:
    """Fraction digits as recorded ("054", "9"), or "" when blank or not digits."""
    digits = (raw or "").strip(" \0")
    return digits if digits.isascii() and digits.isdigit() and len(digits) <= 12 else ""


def exif_offset(raw: str | None) -> str | None:
    """``+HH:MM`` when it is one and lies within the world's zones (-12:00 to +14:00), else None."""
    text = (raw or "").strip(" \0")
    return text if offset_delta(text) is not None else None


def offset_delta(text: str | None) -> timedelta | None:
    """The difference local - UTC of a ``+HH:MM`` text, or None when it is not a zone's."""
    match = _OFFSET.fullmatch(text or "")
    if match is None:
        return None
    hours, minutes = int(match[2]), int(match[3])
    if minutes > 59:
        return None
    delta = timedelta(hours=hours, minutes=minutes) * (-1 if match[1] == "-" else 1)
    return delta if timedelta(hours=-12) <= delta <= timedelta(hours=14) else None


def xmp_time(raw: str) -> tuple[str, str | None] | None:
    """(ISO local time with its fraction, offset or None) of an XMP date, or None when unusable.

    A date without a time says nothing of the instant and is None. "Z" is the offset "+00:00".
    """
    match = _XMP.fullmatch(raw.strip())
    if match is None or match[6] is None:
        return None
    try:
        whole = datetime(*(int(match[i]) for i in range(1, 7)))  # type: ignore[arg-type]
    except ValueError:
        return None
    local = whole.isoformat() + (f".{match[7][:12]}" if match[7] else "")
    offset = "+00:00" if match[8] == "Z" else exif_offset(match[8])
    return local, offset


def local_time(iso: str) -> datetime:
    """Naive datetime of an ISO text with any number of fraction digits (cut at microseconds)."""
    whole, _, digits = iso.partition(".")
    moment = datetime.fromisoformat(whole)
    return moment.replace(microsecond=int(digits[:6].ljust(6, "0"))) if digits else moment


def implausible(local: datetime, today: date, *, not_before: date | None = None) -> str | None:
    """Why a capture time cannot be true, or None.

    Before 2005, before ``not_before`` (the vehicle's first possible day), more than a day after
    ``today``, or within the first hour of a year, where a camera clock without power restarts.
    """
    day = local.date()
    if day.year < EARLIEST_YEAR:
        return f"before {EARLIEST_YEAR}"
    if not_before is not None and day < not_before:
        return f"before {not_before.isoformat()}, when the vehicle was made"
    if (day - today).days > 1:
        return "in the future"
    if (day.month, day.day, local.hour) == (1, 1, 0):
        return "the first hour of a year, where a reset clock starts"
    return None


def name_hint(file_name: str) -> str | None:
    """The day, and the time of day, that a file name shows, as ISO text; None when it shows none.

    Phones and messengers name a picture when it is taken, sent, received or saved, in whatever zone:
    it is shown to people and never used.
    """
    day = _NAME_DAY.search(file_name)
    if day is None:
        return None
    try:
        found = date(int(day[1]), int(day[3]), int(day[4])).isoformat()
    except ValueError:
        return None
    clock = _NAME_CLOCK.match(file_name, day.end())
    return f"{found} {clock[1]}:{clock[3]}:{clock[4]}" if clock is not None else found
