"""A bundle as parts under the hash of their content, so that handing it over goes on after any cut (pure).

A bundle's members are stored as they are, so a large clip or photo in it is a part of its own, the same in every
bundle that has it: what was handed over once is not handed over again. A list names the parts in their order; it
is put there last, so whoever sees a list finds every part of it.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise

from fieldlog.bundle.archive import MOST_BYTES, Member

LARGEST = 4 << 20
"""Bytes of a part: what a cut costs at most."""
ALONE = 64 << 10
"""An original from this size on is a part of its own."""
LONGEST_LIST = 4 << 20
"""Bytes of a list; every part in it has at least one byte, nearly all have ``ALONE`` or more."""
FORMAT = "fieldlog parts 1"
HASH = re.compile(r"[0-9a-f]{64}")
NAME = re.compile(r"(inspection|vehicle)-[0-9a-z]{16,40}-[0-9a-f]{16}-([0-9a-f]{64})")
"""Of a list: what the bundle is of, which rows of it (``key``), the hash of its file."""


@dataclass(frozen=True, slots=True)
class BundlePart:
    """Some bytes of a bundle."""

    sha256: str
    size: int


@dataclass(frozen=True, slots=True)
class PartList:
    """The parts of one bundle, in order."""

    sha256: str
    """Of the bundle's file."""
    parts: tuple[BundlePart, ...]

    @property
    def size(self) -> int:
        """Bytes of the bundle's file."""
        return sum(part.size for part in self.parts)


def cuts(size: int, members: Iterable[Member]) -> Iterator[tuple[int, int]]:
    """``(where, bytes)`` of each part of a bundle's file with ``size`` bytes, in order."""
    edges = {0, size}
    for member in members:
        if member.size >= ALONE:
            edges |= {member.at, member.at + member.size}
    marks = sorted(edges)
    for begin, end in pairwise(marks):
        for at in range(begin, end, LARGEST):
            yield at, min(LARGEST, end - at)


def key_of(fingerprints: Iterable[str]) -> str:
    """What a list's name says of the rows in the bundle, from the ``fingerprints`` of their owners."""
    return hashlib.sha256("\n".join(fingerprints).encode("ascii")).hexdigest()[:16]


def list_bytes(parts: PartList) -> bytes:
    """A list as it is written."""
    document = {
        "format": FORMAT,
        "sha256": parts.sha256,
        "parts": [[part.sha256, part.size] for part in parts.parts],
    }
    return (json.dumps(document, separators=(",", ":")) + "\n").encode("ascii")


def read_list(name: str, data: bytes) -> PartList:
    """The reverse, with no trust in who wrote it; raises ``ValueError`` with what does not fit."""
    named = NAME.fullmatch(name)
    if named is None:
        raise ValueError("has no name of a bundle")
    if len(data) > LONGEST_LIST:
        raise ValueError("its list is longer than any")
    try:
        told = json.loads(data.decode("ascii"))
        found = PartList(
            told["sha256"], tuple(BundlePart(sha256, size) for sha256, size in told["parts"])
        )
    except (ValueError, KeyError, TypeError, RecursionError):
        raise ValueError("its list cannot be read") from None
    for part in found.parts:
        if not isinstance(part.sha256, str) or not HASH.fullmatch(part.sha256):
            raise ValueError("its list names a part that is none")
        if type(part.size) is not int or not 0 < part.size <= LARGEST:
            raise ValueError("its list names a part of a size that none has")
    if told.get("format") != FORMAT or found.sha256 != named[2] or list_bytes(found) != data:
        raise ValueError("its list is not written as such a list is")
    if found.size > MOST_BYTES:
        raise ValueError("is larger than any bundle")
    return found
