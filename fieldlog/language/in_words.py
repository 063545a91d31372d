"""A text in the words of the grammar: in every way that its figures can be read (pure)."""

from __future__ import annotations

import re

from fieldlog.language.diagnose import UNKNOWN
from fieldlog.language.dialogue import CORRECTION
from fieldlog.language.lexicon import Words
from fieldlog.language.spellings import respell, respell_written
from fieldlog.model.understanding import Understanding
from fieldlog.quantities.normalise import normalise
from fieldlog.quantities.number_words import DIGITS, TENS
from fieldlog.quantities.written import DecimalSign, Way, Written, read_written

_LONGEST_OPENING = 8
"""Typed words, fillers among them, that a remark may open with."""
_FILLERS = frozenset({"um", "uh", "er", "erm", "ah", "hm", "hmm"})


def in_words(text: str) -> list[Words]:
    """Every way to read ``text`` in the words of the grammar, the likeliest first."""
    return ways_of(written_ways(text), text)


def ways_of(written: Written, text: str) -> list[Words]:
    """The words of each way; of ``text`` as it stands where there is none."""
    return [words_of(way.text) for way in written.ways] or [words_of(text.lower())]


def written_ways(text: str, sign: DecimalSign | None = None) -> Written:
    """Every way to read what is written in figures; ``sign``: the one before decimals, if known."""
    plain = text.lower()
    if UNKNOWN in plain:
        return Written((Way(plain),))
    return read_written(respell_written(plain), sign)


def words_of(plain: str) -> Words:
    """The words of a text in lower case, as the grammar writes them."""
    if UNKNOWN in plain:
        return tuple(plain.split())
    return respell(tuple(word for word in normalise(plain).words if word not in _FILLERS))


def commas_in(plain: str, words: Words) -> frozenset[int]:
    """Before which of ``words`` a comma was typed; none where the figures do not tell."""
    at: list[int] = []
    told: Words = ()
    for stretch in re.split(r"[,;](?!\d)", plain):
        told += words_of(stretch)
        at.append(len(told))
    return frozenset(at[:-1]) if told == words else frozenset()


def number_parted(text: str) -> bool:
    """Whether a comma stands between words that are one number without it: "thirty, five"."""
    plain = text.lower()
    if "," not in plain:
        return False
    words = words_of(plain)
    return any(
        0 < at < len(words) and words[at - 1] in TENS and words[at] in DIGITS
        for at in commas_in(plain, words)
    )


def value_said(said: Understanding) -> str:
    """The value of a bare correction as it was typed, so that doubts about its figures are not lost.

    Empty for everything else.
    """
    value = said.slots.get("value", "") if said.dialogue is CORRECTION else ""
    word, *rest = said.text.split(maxsplit=1) or [""]
    return rest[0] if value and rest and in_words(word) == [(CORRECTION,)] else value


def as_it_was_typed(text: str, rest: str) -> str:
    """The remark as it was typed, if its words can be found there; else the normalised words."""
    typed = text.split()
    for at in range(1, min(len(typed), _LONGEST_OPENING + 1)):
        written = " ".join(typed[at:])
        if " ".join(in_words(written)[0]) == rest:
            return written
    return rest
