"""Typed or heard text of another language -> the words of its grammars (pure).

Figures become words, compounds and long numbers are taken apart, what a keyboard lacks is put right where
the word is then known. Nothing is dropped but punctuation and fillers: a sign without words stays, and no
grammar has it. Where a text can be written words in more than one way ("12.340"), all are given.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property
from itertools import product

from fieldlog.language.lexicon import Words
from fieldlog.language.tongue import Tongue

_MOST_WAYS = 16
_TOKEN = re.compile(
    r"(?P<part>[13]/[24](?!\d))|(?P<number>\d+(?:[.,]\d+)*)|(?P<word>[^\W\d_]+)|(?P<sign>\S)"
)
_GROUPED = re.compile(r"(?<![\d.,])[1-9]\d{0,2}(?:[ \u00a0\u202f]\d{3})+(?=\s*[^\W\d_])")
"""Figures in groups of three before a unit, as DIN 5008 writes them: 12 340 km."""
_PUNCTUATION = frozenset(",;:!?.()\"'„“”»«-–")
_DASHES = frozenset("-–")


@dataclass(frozen=True)
class Writing:
    """Reads texts of one tongue into the words that its grammars know."""

    tongue: Tongue
    known: frozenset[str]
    numbers: tuple[str, ...]
    """The words of 0 to 99."""

    def ways(self, text: str) -> tuple[Words, ...]:
        """Every way to have ``text`` in words, the likeliest first; none where there are too many."""
        plain = self._respelled(_GROUPED.sub(_together, text.lower()))
        pieces: list[tuple[Words, ...]] = []
        at, number = 0, False
        while (found := _TOKEN.search(plain, at)) is not None:
            at = found.end()
            unit = self._unit(plain, found.start(), number)
            if unit is not None:
                written, at = unit
                pieces.append((written,))
                number = False
            elif found["number"]:
                pieces.append(self._figures(found["number"]))
                number = True
            elif found["part"]:
                part = tuple(self.tongue.written[found["part"]].split())
                pieces.append((("und", *part) if number and self._is_and else part,))
                number = True
            elif found["word"]:
                pieces.append((self._word(found["word"]),))
                number = False
            else:
                pieces.append((self._sign(plain, found.start(), number),))
        count = 1
        for piece in pieces:
            count *= len(piece)
        if count > _MOST_WAYS:
            return ()
        ways = (tuple(word for part in way for word in part) for way in product(*pieces))
        return tuple(dict.fromkeys(ways))

    @property
    def _is_and(self) -> bool:
        return "und" in self.known

    def _respelled(self, plain: str) -> str:
        return self._spellings.sub(lambda found: self.tongue.respelled[found.group()], plain)

    @cached_property
    def _spellings(self) -> re.Pattern[str]:
        known = sorted(self.tongue.respelled, key=len, reverse=True)
        return re.compile("|".join(rf"(?<!\w){re.escape(each)}(?!\w)" for each in known))

    @cached_property
    def _units(self) -> re.Pattern[str]:
        known = sorted(self.tongue.written, key=len, reverse=True)
        return re.compile(
            "|".join(f"{re.escape(k)}(?![^\\W\\d_])" for k in known if not k[0].isdigit())
        )

    def _unit(self, plain: str, at: int, behind: bool) -> tuple[Words, int] | None:
        """The unit written at ``at`` with the end of it: behind a figure, or a word by itself."""
        found = self._units.match(plain, at)
        if found is None or (
            found.group() == "/" and not plain[found.end() : found.end() + 1].isdigit()
        ):
            return None
        if not behind and len(found.group()) == 1:
            return None
        return tuple(self.tongue.written[found.group()].split()), found.end()

    def _sign(self, plain: str, at: int, number: bool) -> Words:
        sign = plain[at]
        if sign in _DASHES and plain[at + 1 : at + 2].isdigit():
            if number:
                return (self.tongue.numbers["to"],)
            return (self.tongue.numbers["minus"],) if not plain[at - 1 : at].isalnum() else ()
        digits = plain[at - 1 : at].isdigit() and plain[at + 1 : at + 2].isdigit()
        return () if sign in _PUNCTUATION and not digits else (sign,)

    # --- figures -------------------------------------------------------------------------------

    def _figures(self, written: str) -> tuple[Words, ...]:
        """The words of a number as it is written, in every way it may be meant."""
        decimal, grouping = re.escape(self.tongue.decimal), re.escape(self.tongue.grouping)
        grouped = re.fullmatch(
            rf"([1-9]\d{{0,2}}(?:{grouping}\d{{3}})+)(?:{decimal}(\d+))?", written
        )
        plain = re.fullmatch(rf"(\d+)(?:{decimal}(\d+))?", written)
        pointed = re.fullmatch(rf"(\d+){grouping}(\d+)", written)
        ways: list[Words] = []
        if plain is not None:
            ways.append(self._number(plain[1], plain[2]))
            if len(written) == 4 and plain[2] is None:
                ways.append(self._one_by_one(written))  # a date code is read figure by figure
        if grouped is not None:
            ways.append(self._number(grouped[1].replace(self.tongue.grouping, ""), grouped[2]))
        if pointed is not None:
            ways.append(self._number(pointed[1], pointed[2]))
        return tuple(dict.fromkeys(ways)) or ((written,),)

    def _number(self, whole: str, places: str | None) -> Words:
        lost = (len(whole) > 1 and whole[0] == "0") or len(whole) > 6
        head = self._one_by_one(whole) if lost else self.spelled(int(whole))
        return (
            head
            if places is None
            else (*head, self.tongue.numbers["point"], *self._one_by_one(places))
        )

    def _one_by_one(self, digits: str) -> Words:
        return tuple(self.numbers[int(digit)] for digit in digits)

    def spelled(self, value: int) -> Words:
        """The words of a whole number below a million."""
        if value < 100:
            return (self.numbers[value],)
        base, word = (1000, "thousand") if value >= 1000 else (100, "hundred")
        many, rest = divmod(value, base)
        head = (self.tongue.numbers["one"],) if many == 1 else self.spelled(many)
        return (*head, self.tongue.numbers[word], *(self.spelled(rest) if rest else ()))

    def readings(self, run: str) -> tuple[Words, ...]:
        """Ways to say a run of up to three digits: as one number, digit by digit, in two pieces."""
        cuts = [(run,), tuple(run), *((run[:at], run[at:]) for at in range(1, len(run)))]
        found: list[Words] = []
        for pieces in cuts:
            if any(len(piece) > 1 and piece[0] == "0" for piece in pieces):
                continue
            ways: list[Words] = [()]
            for piece in pieces:
                said = [self.spelled(int(piece))]
                said += [(self.tongue.numbers["one"],)] if piece == "1" else []
                said += [said[0][1:]] if piece.startswith("1") and len(piece) == 3 else []
                ways = [(*way, *more) for way in ways for more in said]
            found += ways
        return tuple(dict.fromkeys(found))

    # --- words ---------------------------------------------------------------------------------

    def _word(self, word: str) -> Words:
        if word in self.tongue.fillers and word not in self.known:
            return ()
        return self._known_as(word) or (word,)

    def _known_as(self, word: str) -> Words | None:
        if word in self.known:
            return (word,)
        for other in self._with_letters(word):
            if other in self.known:
                return (other,)
        return self._joined_number(word) or self._compound(word)

    def _with_letters(self, word: str) -> tuple[str, ...]:
        """``word`` with some or all of what the keyboard lacked put right."""
        found = [word]
        for typed, meant in self.tongue.letters:
            found += [each.replace(typed, meant) for each in found if typed in each]
        return tuple(found[1:])

    def _joined_number(self, word: str) -> Words | None:
        """ "zweihundertfünfzig", "hundertundeins" as the words that are in it."""
        joints = "|".join(self.tongue.joints)
        parts = [part for part in re.split(f"({joints})", word) if part]
        if len(parts) < 2 or not any(part in self.tongue.joints for part in parts):
            return None
        known: list[str] = []
        for part in parts:
            plain = (
                part
                if part in self.known
                else next((o for o in self._with_letters(part) if o in self.known), "")
            )
            bare = part.removeprefix("und")
            if not plain and bare != part and bare in self.known:
                plain = bare
            if not plain or not (plain in self.tongue.joints or self._is_number(plain)):
                return None
            known.append(plain)
        return tuple(known)

    def _is_number(self, word: str) -> bool:
        return word in self.numbers or word == self.tongue.numbers["one"]

    def _compound(self, word: str) -> Words | None:
        for prefix in self.tongue.prefixes:
            rest = self._known_as(word.removeprefix(prefix)) if word.startswith(prefix) else None
            if rest is not None:
                return (prefix, *rest)
        return None


def _together(found: re.Match[str]) -> str:
    return re.sub(r"\D", "", found.group())
