"""A checkpoint: what a record was at one moment, as a text that others keep and anybody can check.

The form is that of C2SP's signed note and tlog-checkpoint::

    fieldlog/<copy of the record>      origin
    57                                 rows
    <base64>                           Merkle root over the hashes of the rows (``merkle``)
    at 2026-05-04T09:12:00.000000Z     further lines: a word, a blank, its text
    ...
    <an empty line>
    — fieldlog/<key> <base64 of 4 bytes of key id and 64 bytes of signature>

The signature is over everything before the empty line, as OpenSSH signs (``sshsig``), so that it checks
with ``ssh-keygen`` too. A note without a signature line is *not signed*.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import html
import json
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from fieldlog.proof import sshsig

ORIGIN = "fieldlog/"
MOST_CHARACTERS = 50_000
"""A longer text is no note of ours."""
_MOST_TRIED = 1000
_TYPE = b"\xfffieldlog-sshsig"
"""C2SP: a kind of signature that has no number of its own, by its name."""
_SIGNED = re.compile(r"— (\S+) ([A-Za-z0-9+/]+={0,2})")
_NOTE = re.compile(r"fieldlog/[0-9a-z]+\n(?:[^\n]+\n)+\n(— \S+ \S+)?")
_JSON_TEXT = re.compile(r'(?:[^"\\\x00-\x1f]|\\.)*')
_ORIGIN = re.compile(r"fieldlog/[0-9a-z]{1,64}")
_SIZE = re.compile(r"0|[1-9][0-9]{0,17}")


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """A record at one moment."""

    origin: str
    """``fieldlog/`` and the name of the copy that made it."""
    size: int
    root: bytes
    lines: tuple[tuple[str, str], ...] = ()
    """Word and text of every further line, in order; a word may stand several times."""
    signature: bytes = b""
    """64 bytes; empty: not signed."""

    def all(self, word: str) -> tuple[str, ...]:
        """The texts of every line with that word."""
        return tuple(text for each, text in self.lines if each == word)

    def one(self, word: str) -> str:
        """The text of the first line with that word, or ""."""
        return next(iter(self.all(word)), "")

    @property
    def at(self) -> datetime | None:
        """When it was made, by the clock of who made it."""
        try:
            found = datetime.fromisoformat(self.one("at"))
        except ValueError:
            return None
        return found.astimezone(UTC) if found.tzinfo else None

    @property
    def key(self) -> str:
        """The public key that signed it, as OpenSSH writes it; "" where none did."""
        return self.one("key")

    @property
    def heads(self) -> tuple[bytes, ...]:
        """Hashes of the newest rows; every other one stands behind them."""
        try:
            found = base64.b64decode(self.one("heads"), validate=True)
        except (binascii.Error, ValueError):
            return ()
        return tuple(found[at : at + 32] for at in range(0, len(found) - 31, 32))

    @property
    def body(self) -> str:
        """What is signed."""
        rows = (f"{word} {text}\n" for word, text in self.lines)
        return f"{self.origin}\n{self.size}\n{_base64(self.root)}\n{''.join(rows)}"

    @property
    def text(self) -> str:
        """The whole note."""
        if not self.signature:
            return f"{self.body}\n"
        name = key_name(self.key)
        return f"{self.body}\n— {name} {_base64(_key_id(name, self.key) + self.signature)}\n"

    @property
    def is_signed(self) -> bool:
        """Whether the signature is that of the key that it names."""
        return bool(self.signature) and sshsig.is_signed(
            self.body.encode("utf-8"), self.key, self.signature
        )

    def signed(self, signature: bytes) -> Checkpoint:
        """The same with ``signature`` (64 bytes over ``body``, by the key of its line ``key``)."""
        return replace(self, signature=signature)


def heads_line(hashes: Iterable[bytes]) -> tuple[str, str]:
    """The line that names the newest rows."""
    return "heads", _base64(b"".join(sorted(hashes)))


def plain(text: str) -> str:
    """``text`` on one line, without anything that a terminal or a reader of lines acts on."""
    return "".join(c if c.isprintable() else " " for c in text).strip()


def key_name(line: str) -> str:
    """A name for a public key without blanks: what signature lines and ``ssh-keygen`` call it."""
    raw = sshsig.public_bytes(line) or b""
    return f"{ORIGIN}{hashlib.sha256(raw).hexdigest()[:16]}"


def parse(text: str) -> Checkpoint | None:
    """The checkpoint that ``text`` is, to the letter; None for anything else.

    A signature is not looked at here; ``Checkpoint.is_signed`` does.
    """
    if len(text) > MOST_CHARACTERS or "\r" in text:
        return None
    body, gap, after = text.partition("\n\n")
    rows = body.split("\n")
    if not gap or len(rows) < 3 or not _ORIGIN.fullmatch(rows[0]) or not _SIZE.fullmatch(rows[1]):
        return None
    root = _bytes(rows[2])
    lines = tuple(row.partition(" ") for row in rows[3:])
    if root is None or len(root) != 32 or any(not gap or not text for _, gap, text in lines):
        return None
    found = Checkpoint(rows[0], int(rows[1]), root, tuple((w, t) for w, _, t in lines))
    if after:
        match = _SIGNED.fullmatch(after.removesuffix("\n"))
        signature = _bytes(match[2]) if match else None
        if signature is None or len(signature) != 68:
            return None
        found = found.signed(signature[4:])
    return found if found.text == text else None


def found_in(text: str) -> tuple[Checkpoint, ...]:
    """Every checkpoint that stands somewhere in ``text`` (a report, a JSON file, what a QR code says).

    In a page the signs ``&``, ``<`` and ``>`` may be written as a page writes them, and in JSON line
    ends as ``\\n``.
    """
    found: dict[Checkpoint, None] = {}
    at = text.find(ORIGIN)
    for _ in range(_MOST_TRIED):
        if at < 0:
            break
        piece = text[at : at + MOST_CHARACTERS]
        for way in (piece, html.unescape(piece), _from_json(piece)):
            match = _NOTE.match(way)
            one = parse(
                f"{match[0].rstrip()}\n" if match and match[1] else match[0] if match else ""
            )
            if one is not None:
                found[one] = None
                break
        at = text.find(ORIGIN, at + 1)
    return tuple(found)


def _from_json(piece: str) -> str:
    """What stands in ``piece`` up to the end of the JSON text that it is in, or ""."""
    match = _JSON_TEXT.match(piece)
    try:
        return str(json.loads(f'"{match[0]}"')) if match else ""
    except ValueError:
        return ""


def _key_id(name: str, line: str) -> bytes:
    raw = sshsig.public_bytes(line) or b""
    return hashlib.sha256(name.encode() + b"\n" + _TYPE + raw).digest()[:4]


def _base64(data: bytes) -> str:
    return base64.b64encode(data).decode("ascii")


def _bytes(text: str) -> bytes | None:
    try:
        return base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError):
        return None
