"""The small JSGF expansions in which the catalogue writes spoken words: every phrase they mean (pure).

``"[brake] (pads | pad)"`` -> "brake pads", "brake pad", "pads", "pad". Words, ``[optional]``, groups and
choices are all there is: no tags, weights, repeats or references.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache
from itertools import product

_TOKEN = re.compile(r"\s*([\[\]()|]|[^\s\[\]()|]+)")
_WORD = re.compile(r"[a-z]+")
_CLOSING = {"[": "]", "(": ")"}


@lru_cache(maxsize=16_384)
def expand(text: str) -> tuple[str, ...]:
    """Every phrase of ``text``, each once, longest way first.

    Raises ``ValueError`` with the reason when it is malformed or can match no words at all.
    """
    tokens = [match[1] for match in _TOKEN.finditer(text)]
    phrases, at = _choices(tokens, 0, "")
    if at != len(tokens):
        raise ValueError(f"'{tokens[at]}' closes nothing")
    if any(not phrase for phrase in phrases):
        raise ValueError("it can match without any word")
    return tuple(dict.fromkeys(" ".join(phrase) for phrase in phrases))


_NO_S = ("s", "x", "ch", "sh", "y")
"""Ends of an English name behind which "s" makes no plural."""


def plurals(texts: Iterable[str]) -> tuple[str, ...]:
    """The English plurals of the phrases that ``texts`` mean, but for those that are among these already."""
    said = dict.fromkeys(phrase for text in texts for phrase in expand(text))
    made = (f"{phrase}s" for phrase in said if not phrase.endswith(_NO_S))
    return tuple(each for each in made if each not in said)


def _choices(tokens: list[str], at: int, opened: str) -> tuple[list[tuple[str, ...]], int]:
    found: list[tuple[str, ...]] = []
    while True:
        branch: list[tuple[str, ...]] = [()]
        items = 0
        while at < len(tokens) and tokens[at] not in "])|":
            part, at = _item(tokens, at)
            branch = [left + right for left, right in product(branch, part)]
            items += 1
        if not items:
            raise ValueError("a choice without words")
        found += branch
        if at < len(tokens) and tokens[at] == "|":
            at += 1
            continue
        if opened and (at == len(tokens) or tokens[at] != _CLOSING[opened]):
            raise ValueError(f"'{opened}' is not closed")
        return found, at + (1 if opened else 0)


def _item(tokens: list[str], at: int) -> tuple[list[tuple[str, ...]], int]:
    token = tokens[at]
    if token in _CLOSING:
        inside, at = _choices(tokens, at + 1, token)
        return ([*inside, ()] if token == "[" else inside), at
    if not _WORD.fullmatch(token):
        raise ValueError(f"'{token}' is no word (lower-case letters only)")
    return [(token,)], at + 1
