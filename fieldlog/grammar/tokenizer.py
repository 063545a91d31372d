"""JSGF text -> tokens with their position (pure).

Source: JSpeech Grammar Format V1.0 (W3C note of 5 June 2000), sections 2 and 4. Beyond it, a
backslash quotes the next character in plain words too, and faults are collected, not raised.
"""

from __future__ import annotations

import bisect
import re
from collections.abc import Iterator
from dataclasses import dataclass

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


@dataclass(frozen=True, slots=True)
class Token:
    """One token: its kind (``WORD``, ``RULE``...), its text without the signs around it."""

    kind: str
    text: str
    at: Position


def tokenize(text: str, file: str, faults: list[Fault]) -> Iterator[Token]:
    """Yield the tokens of ``text`` and one ``END``; what cannot be read goes to ``faults``."""
    line_starts = [0, *(found.end() for found in re.finditer("\n", text))]

    def at(offset: int) -> Position:
        line = bisect.bisect_right(line_starts, offset)
        return Position(file, line, offset - line_starts[line - 1] + 1)

    here = 0
    if text.startswith("\ufeff"):
        here = 1
    header = _HEADER.match(text, here)
    if header:
        yield Token(HEADER, header.group(), at(here))
        here = header.end()
    while True:
        space = _SPACE.match(text, here)
        if space:
            here = space.end()
        if here >= len(text):
            break
        if text.startswith("/*", here):
            faults.append(Fault(at(here), "this comment is never closed with */"))
            break
        found = _TOKEN.match(text, here)
        if not found:
            faults.append(Fault(at(here), _unreadable(text[here])))
            here += 1
            continue
        yield from _tokens(found, at(here))
        here = found.end()
    yield Token(END, "", at(len(text)))


def _tokens(found: re.Match[str], at: Position) -> Iterator[Token]:
    kind, text = str(found.lastgroup), found.group()
    match kind:
        case "quoted":
            # A listener says words, so a quoted token of several words is those words in a row.
            words = _ESCAPE.sub(r"\1", text[1:-1]).split()
            for word in words:
                yield Token(WORD, word, at)
        case "rule":
            yield Token(RULE, text[1:-1].strip(), at)
        case "tag":
            yield Token(TAG, _ESCAPE.sub(r"\1", text[1:-1]).strip(), at)
        case "weight":
            yield Token(WEIGHT, text[1:-1].strip(), at)
        case "sign":
            yield Token(SIGN, text, at)
        case _:
            yield Token(WORD, _ESCAPE.sub(r"\1", text), at)


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
