"""Pronunciations for words that a listener's dictionary lacks (.dic files in ARPAbet).

Nothing is guessed from spelling: a word is in the dictionary, in the additions, or reported.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from fieldlog.errors import GrammarError
from fieldlog.grammar.expression import Fault, Position

_VOWELS = ("AA", "AE", "AH", "AO", "AW", "AY", "EH", "ER", "EY", "IH", "IY", "OW", "OY", "UH", "UW")
_STOPS = ("B", "CH", "D", "G", "JH", "K", "P", "T")
_OTHERS = ("DH", "F", "HH", "L", "M", "N", "NG", "R", "S", "SH", "TH", "V", "W", "Y", "Z", "ZH")
PHONES = frozenset(_VOWELS + _STOPS + _OTHERS)
"""The 39 phones of the CMU Pronouncing Dictionary (0.7b), without stress."""

_ENTRY = re.compile(r"(?P<word>\S+?)(?:\((?P<number>\d+)\))?\s+(?P<phones>\S.*)")


@dataclass(frozen=True, slots=True)
class Lexicon:
    """Word -> its pronunciations, each a string of phones, the usual one first."""

    entries: Mapping[str, tuple[str, ...]]

    def missing(self, words: Iterable[str], known: Callable[[str], bool]) -> list[str]:
        """The ``words`` that are neither ``known`` to the listener nor pronounced here, sorted."""
        return sorted(w for w in set(words) if w not in self.entries and not known(w))


def read_lexicon(text: str, file: str = "<lexicon>") -> Lexicon:
    """Read ``.dic`` text (pure); raises ``GrammarError`` listing every faulty line.

    A line is ``word PH OH N``; a second pronunciation is ``word(2) ...``; ``;;;`` begins a comment.
    """
    entries: dict[str, tuple[str, ...]] = {}
    faults: list[Fault] = []
    for number, line in enumerate(text.splitlines(), 1):
        line = line.partition(";;;")[0].strip()
        if not line:
            continue
        at = Position(file, number, 1)
        found = _ENTRY.fullmatch(line)
        if not found:
            faults.append(Fault(at, f"not 'word PHONES': {line!r}"))
            continue
        word, phones = found["word"], found["phones"].split()
        unknown = [phone for phone in phones if phone not in PHONES]
        if unknown:
            faults.append(Fault(at, f"'{word}' has unknown phones: {' '.join(unknown)}"))
        if (found["number"] is None) != (word not in entries):
            again = (
                "is already there; write the second as " if word in entries else "has no first; "
            )
            faults.append(Fault(at, f"'{word}' {again}'{word}(2)'"))
        entries[word] = (*entries.get(word, ()), " ".join(phones))
    if faults:
        raise GrammarError(
            "\n  ".join([f"{len(faults)} faults in the pronunciations", *map(str, faults)]),
            where=file,
            todo="correct the lines named",
        )
    return Lexicon(entries)


def as_two_words(word: str, can_say: Callable[[str], bool], shortest: int = 3) -> str | None:
    """``word`` cut in two that can be said ("swingarm" -> "swing arm"); None when there is no cut.

    Of several the one with the most even parts; it is a hint for the author, never used unasked.
    """
    cuts = sorted(range(shortest, len(word) - shortest + 1), key=lambda n: abs(2 * n - len(word)))
    return next(
        (f"{word[:n]} {word[n:]}" for n in cuts if can_say(word[:n]) and can_say(word[n:])), None
    )
