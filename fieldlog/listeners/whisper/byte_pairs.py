"""Words as Whisper's byte pairs and back, from the ``tokenizer.json`` of a model's folder.

The byte-level BPE of GPT-2 (Radford et al. 2019, "Language Models are Unsupervised Multitask Learners",
section 2.2; the byte alphabet and the split into pieces are of its released ``encoder.py``): a text is cut into
pieces, each piece is written in an alphabet of 256 letters, one for a byte, and the pair of neighbours that the
training merged first is merged until none is left. What a special token means is not looked for in a text.
"""

from __future__ import annotations

import json
import re
import unicodedata
from functools import cached_property
from itertools import pairwise
from pathlib import Path
from typing import Any

from fieldlog.errors import ModelError

_ENDINGS = re.compile("'(?:s|t|re|ve|m|ll|d)")
_PIECE = re.compile(r" ?L+| ?N+| ?O+|[ S]+(?![LNO])|[ S]+")
"""A piece in the kinds of its characters, as ``_kinds`` writes them."""


def _alphabet() -> dict[int, str]:
    """Byte -> the letter that stands for it: itself where it prints, else one behind U+0100."""
    prints = {*range(ord("!"), 0x7F), *range(0xA1, 0xAD), *range(0xAE, 0x100)}
    others = (byte for byte in range(256) if byte not in prints)
    return {byte: chr(byte) for byte in prints} | {
        byte: chr(0x100 + place) for place, byte in enumerate(others)
    }


_LETTER = _alphabet()
_BYTE = {letter: byte for byte, letter in _LETTER.items()}


def _kinds(text: str) -> str:
    """For each character ``L`` (letter), ``N`` (number), a space itself, ``S`` (other white space) or ``O``."""
    return "".join(" " if each == " " else "S" if each.isspace() else _kind(each) for each in text)


def _kind(each: str) -> str:
    found = unicodedata.category(each)[0]
    return found if found in "LN" else "O"


class BytePairs:
    """The tokens of one model. ``encode`` remembers the pieces that it has seen."""

    def __init__(
        self, vocabulary: dict[str, int], merges: list[Any], special: dict[str, int]
    ) -> None:
        """``merges``: pairs in the order in which they were learnt, as two texts or as one with a space."""
        self._ids = vocabulary
        self._special = special
        pairs = (tuple(pair.split(" ") if isinstance(pair, str) else pair) for pair in merges)
        self._ranks = {pair: rank for rank, pair in enumerate(pairs)}
        self._seen: dict[str, tuple[int, ...]] = {}

    @classmethod
    def read(cls, path: Path) -> BytePairs:
        """From ``tokenizer.json``. Raises ``ModelError`` where it cannot be read or is of another kind."""
        try:
            told = json.loads(path.read_text(encoding="utf-8"))
            model, splits = told["model"], told["pre_tokenizer"]
            if model["type"] != "BPE" or splits["type"] != "ByteLevel" or told["normalizer"]:
                raise ValueError("it is not Whisper's: no byte-level BPE")
            special = {each["content"]: each["id"] for each in told["added_tokens"]}
            return cls(model["vocab"], model["merges"], special)
        except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
            raise ModelError(
                f"the tokenizer cannot be read ({error})",
                where=str(path),
                todo="install the model again",
            ) from error

    def id_of(self, token: str) -> int | None:
        """The number of a token, special ones too, or None."""
        return self._special.get(token, self._ids.get(token))

    def encode(self, text: str) -> tuple[int, ...]:
        """Tokens of ``text``, nothing added."""
        kinds, at = _kinds(text), 0
        found: list[int] = []
        while at < len(text):
            piece = _ENDINGS.match(text, at) or _PIECE.match(kinds, at)
            assert piece is not None, "every kind of character begins a piece"
            found += self._merged(text[at : piece.end()])
            at = piece.end()
        return tuple(found)

    def decode(self, tokens: list[int]) -> str:
        """Text of tokens, those that are no words (marks, times) left out; bytes that are no text are marked."""
        written = "".join(self._tokens.get(token, "") for token in tokens)
        return bytes(_BYTE[letter] for letter in written).decode("utf-8", "replace")

    @cached_property
    def _tokens(self) -> dict[int, str]:
        special = {*self._special.values()}
        return {number: token for token, number in self._ids.items() if number not in special}

    def _merged(self, piece: str) -> tuple[int, ...]:
        if piece not in self._seen:
            parts = [_LETTER[byte] for byte in piece.encode()]
            while len(parts) > 1 and (first := self._first(parts)) is not None:
                parts = _joined(parts, *first)
            self._seen[piece] = tuple(self._ids[part] for part in parts)
        return self._seen[piece]

    def _first(self, parts: list[str]) -> tuple[str, str] | None:
        """The neighbours that were merged first in training; None where none were."""
        pairs = set(pairwise(parts)) & self._ranks.keys()
        return min(pairs, key=self._ranks.__getitem__, default=None)


def _joined(parts: list[str], left: str, right: str) -> list[str]:
    """``parts`` with each ``left`` and the ``right`` behind it as one."""
    made: list[str] = []
    at = 0
    while at < len(parts):
        if parts[at : at + 2] == [left, right]:
            made.append(left + right)
            at += 2
        else:
            made.append(parts[at])
            at += 1
    return made
