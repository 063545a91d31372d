"""The file of a bundle: a plain ZIP archive, always the same for the same content, read with no trust.

Written: members stored (not compressed), in order of name, with the first time that ZIP knows, no extra
fields, no comments. Read: exactly that and nothing else. Whatever a ZIP could hide, or mean differently to
another program, ends in a ``StoreError``: other names than a bundle has, names twice, links, compressed or
encrypted members (so nothing can grow), sizes or names that differ between the two headers of a member,
gaps, overlaps, data before, between or behind, ZIP64. Nothing is ever unpacked to a name from inside.
"""

from __future__ import annotations

import os
import re
import stat
import struct
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Self

from fieldlog.errors import StoreError
from fieldlog.whole import reason

BAG = "fieldlog-bundle/"
"""The one folder that everything in a bundle is in (RFC 8493, section 5: serialization)."""
TAGS = ("bag-info.txt", "bagit.txt", "manifest-sha256.txt", "tagmanifest-sha256.txt")
DATA = (
    *("about.json", "allowed_signers", "checkpoint.txt", "elsewhere.jsonl", "limits.jsonl"),
    *("places.jsonl", "proof.json", "rows.jsonl", "schema.json", "signed.txt", "signed.txt.sig"),
)
NAME = re.compile(
    "|".join(
        [
            *map(re.escape, TAGS),
            *(re.escape(f"data/{name}") for name in DATA),
            r"data/media/[0-9a-f]{64}\.[a-z0-9]{1,8}",
        ]
    )
)
"""Names of what may be in a bundle, within ``BAG``."""
MOST_BYTES = 0xFFFFFFFE
MOST_MEMBERS = 0xFFFE
CHUNK = 1 << 20
_LONGEST_ENTRY = 200
"""Bytes of one entry of the list of members; ours have at most 140."""
_TIME = (1980, 1, 1, 0, 0, 0)
_MODE = (stat.S_IFREG | 0o644) << 16
_LOCAL, _CENTRAL, _END = struct.Struct("<4s5H3I2H"), struct.Struct("<4s6H3I5H2I"), struct.Struct("<4s4H2IH")  # fmt: skip
_DATE = 0x21
"""1 January 1980 as ZIP writes it."""

Content = bytes | Path


def write(target: BinaryIO, members: Mapping[str, Content]) -> None:
    """Write ``members`` (names within ``BAG``). Raises ``StoreError`` where they are too large."""
    with zipfile.ZipFile(target, "w", allowZip64=False) as archive:
        try:
            for name, content in sorted(members.items()):
                info = zipfile.ZipInfo(BAG + name, _TIME)
                info.create_system, info.external_attr = 3, _MODE
                with archive.open(info, "w") as stream:
                    for chunk in chunks_of(content):
                        stream.write(chunk)
        except (zipfile.LargeZipFile, RuntimeError) as error:
            raise StoreError("is too large for one bundle (4 GB)", todo="bundle less") from error


def chunks_of(content: Content) -> Iterator[bytes]:
    """``content``, or that of its file, piece by piece."""
    if isinstance(content, bytes):
        yield content
        return
    with content.open("rb") as stream:
        while chunk := stream.read(CHUNK):
            yield chunk


@dataclass(frozen=True, slots=True)
class Member:
    """Where a member's bytes lie."""

    name: str
    """Within ``BAG``."""
    at: int
    size: int
    crc: int


class Archive:
    """A bundle's file, open to be read; its form is checked by opening it."""

    def __init__(self, path: Path) -> None:
        """Open ``path``; raises ``StoreError`` for whatever is not a bundle's file to the byte."""
        self.path = path
        try:
            # Without blocking: a pipe is refused, and never waited for.
            descriptor = os.open(
                path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
            )
            status = os.fstat(descriptor)
        except (OSError, ValueError) as error:
            told = getattr(error, "strerror", None) or str(error)
            raise StoreError(f"cannot be read ({told.lower()})", where=str(path)) from error
        self._stream = os.fdopen(descriptor, "rb") if stat.S_ISREG(status.st_mode) else None
        if self._stream is None:
            os.close(descriptor)
            raise self._bad("is no file")
        try:
            if status.st_size > MOST_BYTES:
                raise self._bad("is larger than any bundle")
            self.members = {member.name: member for member in self._members(status.st_size)}
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Self:
        """The archive itself."""
        return self

    def __exit__(self, *failed: object) -> None:
        """Close the file."""
        self.close()

    def close(self) -> None:
        """Close the file; calling it twice is harmless."""
        if self._stream is not None:
            self._stream.close()

    def chunks(self, name: str) -> Iterator[bytes]:
        """The bytes of a member, piece by piece; ``StoreError`` when they do not fit their sum."""
        member = self.members.get(name)
        if member is None:
            raise self._bad(f"{name} is not in it")
        crc, done = 0, 0
        while done < member.size:
            chunk = self._at(member.at + done, min(CHUNK, member.size - done))
            crc = zlib.crc32(chunk, crc)
            done += len(chunk)
            yield chunk
        if crc != member.crc:
            raise self._bad(f"{name}: does not fit its sum")

    def read(self, name: str, most: int) -> bytes:
        """A member of at most ``most`` bytes as a whole."""
        if name in self.members and self.members[name].size > most:
            raise self._bad(f"{name}: is larger than it can be")
        return b"".join(self.chunks(name))

    def lines(self, name: str, longest: int) -> Iterator[bytes]:
        """The lines of a member, each ended and of at most ``longest`` bytes."""
        rest = b""
        for chunk in self.chunks(name):
            *lines, rest = (rest + chunk).split(b"\n")
            if len(rest) > longest or any(len(line) > longest for line in lines):
                raise self._bad(f"{name}: a line is longer than it can be")
            yield from lines
        if rest:
            raise self._bad(f"{name}: its last line is not ended")

    def _bad(self, what: str) -> StoreError:
        return StoreError(
            f"this is no bundle that can be trusted: {what}",
            where=str(self.path),
            todo="ask whoever sent it for another copy",
        )

    def _at(self, at: int, size: int) -> bytes:
        assert self._stream is not None
        try:
            self._stream.seek(at)
            data = self._stream.read(size)
        except OSError as error:
            raise self._bad(f"cannot be read ({reason(error)})") from error
        if len(data) != size:
            raise self._bad("it is cut short")
        return data

    def _members(self, size: int) -> Iterable[Member]:
        if size < _END.size:
            raise self._bad("it is too short for an archive")
        mark, disk, first, here, count, length, at, comment = _END.unpack(
            self._at(size - _END.size, _END.size)
        )
        if mark != b"PK\x05\x06" or comment:
            raise self._bad("it does not end as an archive does")
        if (
            disk
            or first
            or here != count
            or count > MOST_MEMBERS
            or at + length + _END.size != size
        ):
            raise self._bad("its list of members is not where it says")
        if length > count * _LONGEST_ENTRY:
            raise self._bad("its list of members is longer than any")
        table, offset, end = self._at(at, length), 0, 0
        found: list[Member] = []
        for _ in range(count):
            if offset + _CENTRAL.size > length:
                raise self._bad("its list of members is cut short")
            fields = _CENTRAL.unpack_from(table, offset)
            mark, _, needs, flags, way, time, date, crc, packed, plain = fields[:10]
            named, extra, told, part, _, outside, begins = fields[10:]
            raw = table[offset + _CENTRAL.size : offset + _CENTRAL.size + named]
            offset += _CENTRAL.size + named
            name = self._name(raw)
            if mark != b"PK\x01\x02" or extra or told or part or flags or way or packed != plain:
                raise self._bad(f"{name}: is compressed, encrypted or has more to it than a file")
            if outside != _MODE or (time, date) != (0, _DATE):
                raise self._bad(f"{name}: is no plain file")
            head = self._at(begins, _LOCAL.size + named) if begins == end else b""
            same = (b"PK\x03\x04", needs, flags, way, time, date, crc, packed, plain, named, 0)
            if begins != end or _LOCAL.unpack_from(head) != same or head[_LOCAL.size :] != raw:
                raise self._bad(f"{name}: its two headers differ, or there is something before it")
            end = begins + _LOCAL.size + named + plain
            if end > at or (found and found[-1].name >= name):
                raise self._bad(
                    f"{name}: is in it twice, out of order, or reaches into something else"
                )
            found.append(Member(name, end - plain, plain, crc))
        if end != at or offset != length:
            raise self._bad("there is something in it that no member is")
        return found

    def _name(self, raw: bytes) -> str:
        whole = raw.decode("ascii", "replace")
        name = whole.removeprefix(BAG)
        if name == whole or not NAME.fullmatch(name):
            raise self._bad(f"no bundle has a member named {whole[:100]!r}")
        return name
