"""JSGF text -> tokens with their position (pure).

Source: JSpeech Grammar Format V1.0 (W3C note of 5 June 2000), sections 2 and 4. Beyond it, a
backslash quotes the next character in plain words too, and faults are collected, not raised.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import NamedTuple

from fieldlog.grammar.expression import Fault, Position

WORD, RULE, TAG, WEIGHT, SIGN, HEADER, END = (
    "word",
    "rule",
    "tag",
    "weight",
    "sign",
    "header",
    "end",
)

_SPACE = re.compile(r"(?:[\s\ufeff]|//[^\n]*|/\*.*?\*/)+", re.DOTALL)
_HEADER = re.compile(r"#JSGF[^;\n]*;?")
_TOKEN = re.compile(
    r"""
      (?P<quoted>"(?:[^"\\]|\\.)*")
    | (?P<rule><[^<>;{}"]*>)
    | (?P<tag>\{(?:[^{}\\]|\\.)*\})
    | (?P<weight>/\s*[^\s/;]*\s*/)
    | (?P<sign>[;=|*+()\[\]])
    | (?P<word>(?:[^\s;=|*+<>()\[\]{}/"\\]|\\.)+)
    """,
    re.VERBOSE | re.DOTALL,
)
_ESCAPE = re.compile(r"\\(.)", re.DOTALL)


class Token(NamedTuple):
    """One token: its kind (``WORD``, ``RULE``...), its text without the signs around it."""

    kind: str
    text: str
    at: Position


def tokenize(text: str, file: str, faults: list[Fault]) -> Iterator[Token]:
    """Yield the tokens of ``text`` and one ``END``; what cannot be read goes to ``faults``."""
    line_starts = [0, *(found.end() for found in re.finditer("\n", text)), len(text) + 1]
    line = 1

    def at(offset: int) -> Position:
        """Asked in the order of the text."""
        nonlocal line
        while line_starts[line] <= offset:
            line += 1
        return Position(file, line, offset - line_starts[line - 1] + 1)

    here = 0
    if text.startswith("\ufeff"):
        here = 1
    header = _HEADER.match(text, here)
    if header:
        yield Token(HEADER, header.group(), at(here))
        here = header.end()
    end, token, space = len(text), _TOKEN.match, _SPACE.match
    while True:
        if found := space(text, here):
            here = found.end()
        if here >= end:
            break
        if text.startswith("/*", here):
            faults.append(Fault(at(here), "this comment is never closed with */"))
            break
        found = token(text, here)
        if not found:
            faults.append(Fault(at(here), _unreadable(text[here])))
            here += 1
            continue
        kind, written = str(found.lastgroup), found.group()
        if kind == SIGN:  # most of them
            yield Token(SIGN, written, at(here))
        elif kind == WORD:
            yield Token(WORD, _plain(written), at(here))
        elif kind == "quoted":
            # A listener says words, so a quoted token of several words is those words in a row.
            for word in _plain(written[1:-1]).split():
                yield Token(WORD, word, at(here))
        else:  # a rule, tag or weight between its signs
            inner = _plain(written[1:-1]) if kind == TAG else written[1:-1]
            yield Token(kind, inner.strip(), at(here))
        here = found.end()
    yield Token(END, "", at(len(text)))


def _plain(text: str) -> str:
    return _ESCAPE.sub(r"\1", text) if "\\" in text else text


def _unreadable(character: str) -> str:
    opened = {
        '"': "this quoted word is never closed",
        "<": "this rule name is never closed with >",
        "{": "this tag is never closed with }",
        "/": "a weight is written /number/",
        ">": "> without <",
        "}": "} without {",
        "\\": "a backslash at the end of the text quotes nothing",
    }
    return opened.get(character, f"unexpected character {character!r}")
