"""Names of rows: sorted by time, given once, and the same again for what is tried again."""

from __future__ import annotations

import re
import secrets
from datetime import datetime

from fieldlog.errors import UsageError

_ALPHABET = "0123456789abcdefghjkmnpqrstvwxyz"
_NAME = re.compile(r"[0-9a-z]{16,40}")


def new_id(now: datetime) -> str:
    """A name no other store will give: 9 characters of time (ms), 11 random ones (55 bits).

    Sorting by id is sorting by time, so new rows go to the end of every index.
    """
    number = (int(now.timestamp() * 1000) << 55) | secrets.randbits(55)
    letters = []
    for _ in range(20):
        number, rest = divmod(number, 32)
        letters.append(_ALPHABET[rest])
    return "".join(reversed(letters))


def part_id(whole: str, part: str) -> str:
    """Name of what belongs to the row ``whole`` (``finding``, ``verdict``...): always the same."""
    return f"{whole}-{part}"


def checked_id(name: str) -> str:
    """``name`` when a caller may give it to a row: 16 to 40 of ``0-9a-z`` (``new_id`` makes them).

    Raises ``UsageError``.
    """
    if not _NAME.fullmatch(name):
        raise UsageError(
            f"{name!r} cannot be the id of an utterance", todo="take 16 to 40 of 0-9 and a-z"
        )
    return name
