"""What is said in one breath -> its findings in order, or one question or refusal for all (pure).

A breath is cut where what stands before a cut and what stands behind it are findings by the rules
that hold for one; every word belongs to one of them or joins two ("and", "then", "but"). The fewest
findings that cover all words are what was said; where two such ways mean different things it is
asked. A finding that leaves out what the one before said is read as said of that (place, part,
characteristic, unit). All of a breath counts, or nothing of it does: what stands alone in its first
half is never taken.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from fieldlog.catalogue.component import SOUND, WORK, Catalogue
from fieldlog.catalogue.phrases import expand
from fieldlog.language.both import BothOf
from fieldlog.language.breath import Breath, Core, Phrases, agreed_of, asked_of, doubted, starting
from fieldlog.language.carried_over import VALUE_WORDS, CarriedOver
from fieldlog.language.lexicon import Words
from fieldlog.language.subjects import SubjectReader
from fieldlog.language.values import REPAIR, ValueReader
from fieldlog.model.finding import Finding
from fieldlog.model.question import Asks
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding
from fieldlog.quantities.number_words import HOMOPHONES, NUMBER_WORDS
from fieldlog.words import tell

_AND = "and"
_OF_DEGREE = frozenset(
    (
        *(
            "low",
            "high",
            "worn",
            "slack",
            "loose",
            "tight",
            "stretched",
            "buckled",
            "warped",
            "bent",
        ),
        *("over full", "out of true", "out of line", "weak", "has play", "uneven", "at wear bars"),
    )
)
"""What may be so by an amount."""
_WHICH_OF_BOTH = "whether it is so much, or so by so much, was not said"
_ADDED = "added"
"""What is measured of a fluid by putting it right: "topped up half a litre"."""
_CHANGES_NO_VALUE = frozenset({"cleaned", "lubricated"})
"""Work behind which a value that was read before still holds."""
_MOST_TRIED = 600
"""Stretches; the longest breath of the tests needs 314."""


@dataclass(frozen=True, slots=True)
class _Cover:
    """One way to cut words into findings."""

    parts: tuple[Understanding, ...] = ()
    pieces: int = 0
    """Stretches of words; "both mirrors loose" is one with two findings."""
    across: int = 0
    """Commas inside them."""

    @property
    def accepted(self) -> bool:
        return all(part.decision is Decision.ACCEPT for part in self.parts)

    @property
    def rank(self) -> tuple[bool, int]:
        """Of as many pieces: what needs no question first, then what is cut at commas."""
        return not self.accepted, self.across

    @property
    def meaning(self) -> tuple[object, ...]:
        return tuple(tuple(one.meaning for one in part.offered) for part in self.parts)


def _by_how_much(one: Understanding, other: Understanding) -> bool:
    """ "Disc two mil below minimum", "pads worn two mil": of the same, with nothing between."""
    findings = (*one.offered[:1], *other.offered[:1])
    if len({each.component for each in findings}) > 1:
        return False
    values = [each for each in findings if each.quantity is not None]
    return len(values) == 1 and any(each.condition in _OF_DEGREE for each in findings)


@dataclass
class BreathReader:
    """Cuts breaths with the rules that hold for one finding."""

    core: Core
    catalogue: Catalogue
    subjects: SubjectReader
    values: ValueReader
    phrases: Phrases
    _tried: int = 0
    """Stretches looked at of the text that is being read."""

    def __post_init__(self) -> None:
        """What leans on the finding before, and what names two places, are read by their own readers."""
        places = self.phrases.places
        self._carried = CarriedOver(self._one, self.catalogue, self.subjects, self.values, places)
        self._both = BothOf(self._one, self.subjects, places)

    def afresh(self) -> None:
        """Another text is read from now on."""
        self._tried = 0

    @property
    def overrun(self) -> bool:
        """Whether the text can be cut in more ways than were looked at: nothing is said of it then."""
        return self._tried > _MOST_TRIED

    def read(self, words: Words, text: str, commas: frozenset[int] = frozenset()) -> Breath | None:
        """What the words hold; None where they are nothing that can be cut.

        ``words`` are no single finding or command; ``commas``: before which of them one was typed.
        What is asked or refused is so as a whole. A heap of numbers that can be cut in more ways than
        anybody means is nothing.
        """
        if not words:  # behind "correction", said alone
            return None
        covers = self._covers(words, commas)
        if covers:
            return self._decided(covers, text)
        for at, size, repairs in self._turns(words):
            cover = self._cut(words, at)
            if cover is not None and repairs:
                return self._repaired(words, at, size, cover, text)
            if cover is not None:
                return self._limited(words, at, cover, text)
        return self._left_over(words, text)

    def _turns(self, words: Words) -> Iterator[tuple[int, int, bool]]:
        """Where a phrase begins that repairs or limits what stands before it, its size, and which."""
        for at in range(1, len(words)):
            limit = starting(words[at:], self.phrases.limits)
            meant = starting(words[at:], self.phrases.meant)
            if limit or meant:
                yield at, max(len(limit), len(meant)), len(meant) > len(limit)

    def lost_to_repair(self, words: Words, found: Understanding) -> tuple[Understanding, ...]:
        """The findings before the last self-repair in ``words`` besides the one it repairs.

        ``found``: what all of the words mean as one. "left mirror cracked front pads, correction, rear
        pads ...": the mirror is not what is repaired. Where it is a value that is put right, and what
        stands before it is of something else, or not of one thing, ``found`` itself is uncertain.
        """
        at = len(words) - words[::-1].index(REPAIR) - 1 if REPAIR in words else 0
        words, behind = words[:at], words[at + 1 :]
        if not self.subjects.read(behind) and not self._is_value(words, found):
            cover = self._cut(words, len(words))
            return (found, *(cover.parts if cover else ()))
        cover = self._cut(words, len(words))
        if cover is not None:
            about = {one.component for one in found.offered}
            same = about.issuperset(one.component for one in cover.parts[-1].offered)
            goes_on = self._stripped(words) != words  # "... and correction ..." begins nothing anew
            return cover.parts if cover.pieces > 1 or goes_on or not same else ()
        for at in range(len(words) - 1, 1, -1):
            cover = self._cut(words, at)
            if cover and self.subjects.read(self._unjoined(words[at:])):
                return cover.parts
        return (found,) if self.overrun else ()

    def _is_value(self, words: Words, found: Understanding) -> bool:
        """Whether ``words`` are one finding about what ``found`` is about, or its beginning."""
        before = self.core(words)
        if before is not None:
            about = {(one.component, one.position) for one in found.offered}
            return any((one.component, one.position) in about for one in before.offered)
        used = max((about.used for about in self.subjects.read(words)), default=0)
        return VALUE_WORDS.issuperset(words[used:])

    def behind(self, words: Words) -> tuple[Understanding, ...]:
        """The findings behind a joining word in ``words``, which are something else at first."""
        for at in range(1, len(words)):
            if starting(words[at:], self.phrases.joined):
                covers = self._covers(self._unjoined(words[at:]))
                if covers:
                    return min(covers, key=lambda cover: cover.rank).parts
        return ()

    def instead(self, words: Words) -> Words | None:
        """What was meant instead, where that is all the words say ("no, I meant six"); () for only
        taking back; None where they are something else."""
        meant = starting(words, self.phrases.meant)
        if meant and len(meant) < len(words) and meant not in self.phrases.target:
            return words[len(meant) :]
        return () if starting(words, self.phrases.taken_back) else None

    # --- deciding ------------------------------------------------------------------------------

    def _decided(self, covers: Sequence[_Cover], text: str) -> Breath:
        best = min(cover.rank for cover in covers)
        chosen = {cover.meaning: cover for cover in covers if cover.rank == best}
        if len(chosen) > 1:
            chosen = self._least_leaning(chosen)
        first = next(iter(chosen.values()))
        if len(first.parts) < 2:  # one finding only by joiners, or by a rule of breaths
            return Breath(text, (replace(first.parts[0], text=text),))
        if len(chosen) > 1:
            either = tuple(part for cover in chosen.values() for part in cover.parts)
            return asked_of(text, either, "it can be cut into findings in more than one way")
        parts = self._carried.with_unit_behind(first.parts)
        agreed = agreed_of(parts)
        clash = self.clash(agreed or parts)
        asked = next((part for part in parts if part.decision is not Decision.ACCEPT), None)
        if asked is not None:
            reason = f"'{asked.text}': {asked.reason}"
            return asked_of(text, parts, reason, agreed=() if clash else agreed)
        if clash:
            return asked_of(text, parts, clash)
        return Breath(text, parts, agreed=agreed)

    def _least_leaning(
        self, chosen: dict[tuple[object, ...], _Cover]
    ) -> dict[tuple[object, ...], _Cover]:
        """Of several ways those in which the fewest findings lean on the one before.

        "Battery 12.6 volts, charging voltage 14.2": nobody says "battery 12.6 volts charging" and "voltage 14.2".
        """
        lean = {
            meaning: sum(self._one(tuple(part.text.split())) is None for part in cover.parts)
            for meaning, cover in chosen.items()
        }
        fewest = min(lean.values())
        return {meaning: cover for meaning, cover in chosen.items() if lean[meaning] == fewest}

    def clash(self, parts: Sequence[Understanding]) -> str:
        """Why two findings cannot both be meant: two values of one thing, or as it should be and not."""
        findings = [part.finding for part in parts if part.finding is not None]
        for one, other in combinations(findings, 2):
            faults = self._adds_up(one) and self._adds_up(other)
            if self._put_right(one, other):
                told = tell.place(other.component, other.position)
                return f"how the {told} is now, after what was done, was not said"
            if one.subject == other.subject and (not faults or one.meaning == other.meaning):
                return f"two things were said of the {tell.place(one.component, one.position)}"
        return ""

    def _put_right(self, one: Finding, other: Finding) -> bool:
        """Whether work that was done follows what it puts right: "was loose, tightened"."""
        done = other.characteristic in (WORK, _ADDED)
        of_one = one.component == other.component and done
        if not of_one or one.characteristic == WORK or one.condition == SOUND:
            return False
        return one.condition is not None or other.condition not in _CHANGES_NO_VALUE

    def _adds_up(self, one: Finding) -> bool:
        """Whether it is a fault, or work that was done: a thing may have two of these."""
        if one.characteristic == WORK:
            return True
        component = self.catalogue.get(one.component)
        if component is None or one.condition in (None, SOUND):
            return False
        return component.severity(str(one.condition), one.characteristic) is not None

    def with_left_over(
        self, words: Words, text: str, commas: frozenset[int] = frozenset()
    ) -> Breath | None:
        """What is understood at the beginning, to be asked about: the rest may change it."""
        self.afresh()
        return None if self._covers(words, commas) else self._left_over(words, text, asks=True)

    def _left_over(self, words: Words, text: str, *, asks: bool = False) -> Breath | None:
        """No cut covers all words: what was not understood behind findings is named."""
        for at in range(len(words) - 1, 1, -1):
            cover = self._cut(words, at)
            if cover is None or not cover.accepted:
                continue
            rest = self._unjoined(words[at:])
            named = " ".join(rest or words[at:])
            reason = f"'{named}' was not understood behind '{' '.join(words[:at])}'"
            if asks:
                return asked_of(text, cover.parts, reason, words[at:])
            told = f"{reason}: nothing of it is taken"
            refused = Understanding(Decision.REFUSE, Kind.NOTHING, told, text)
            return Breath(text, (refused,), words[at:])
        return None

    @staticmethod
    def _limited(words: Words, at: int, cover: _Cover, text: str) -> Breath:
        """ "horn works now and then": what limits a finding is no part of any, and changes it."""
        rest = words[at:]
        return asked_of(text, cover.parts, f"'{' '.join(rest)}' may change what was said", rest)

    def _repaired(self, words: Words, at: int, size: int, cover: _Cover, text: str) -> Breath:
        """ "rear pads five millimetres, no, I meant six": of one finding, its value or condition."""
        rest = words[at + size :]
        if words[at : at + size] in self.phrases.target:
            return asked_of(text, cover.parts, "what it should be is no reading", words[at:])
        first = cover.parts[-1]
        if len(cover.parts) == 1 and rest:
            for part in self._alone(rest, first):
                was, now = first.offered, part.finding
                about = now is not None and any(one.subject == now.subject for one in was)
                if about and part.decision is Decision.ACCEPT:
                    flags = tuple(dict.fromkeys((*part.flags, Flag.REPAIRED)))
                    return Breath(text, (replace(part, text=text, flags=flags),))
        return asked_of(text, cover.parts, "what is to be put right is not certain", words[at:])

    def _named(self, words: Words, rest: _Cover) -> bool:
        """Whether ``rest`` begins by naming what it has a value of: "chain worn, slack fifty millimetres" is two things."""
        finding = rest.parts[0].finding
        component = self.catalogue.get(finding.component) if finding is not None else None
        if finding is None or component is None or finding.quantity is None:
            return False
        one = component.characteristic(finding.characteristic)
        said = (each.split() for text in (one.words if one else ()) for each in expand(text))
        return bool(starting(words, [tuple(each) for each in said]))

    def _cut(self, words: Words, at: int) -> _Cover | None:
        """The best way to cut the first ``at`` words, an end that joins left out."""
        covers = self._covers(self._stripped(words[:at]))
        return min(covers, key=lambda cover: cover.rank, default=None)

    def _stripped(self, words: Words) -> Words:
        """Without a joining word at their end."""
        ends = (joined for joined in self.phrases.joined if words[-len(joined) :] == joined)
        return words[: len(words) - len(next(ends, ()))]

    def _unjoined(self, words: Words) -> Words:
        return words[len(starting(words, self.phrases.joined)) :]

    # --- cutting -------------------------------------------------------------------------------

    def _covers(self, words: Words, commas: frozenset[int] = frozenset()) -> list[_Cover]:
        """The ways to cut all of ``words`` into the fewest findings."""
        memo: dict[tuple[int, tuple[object, ...] | None], list[_Cover]] = {}

        def behind(start: int, before: Understanding | None) -> list[_Cover]:
            if start == len(words):
                return [_Cover()]
            if self.overrun:
                return []
            key = (start, None if before is None else (before.offered, before.decision))
            if key not in memo:
                memo[key] = found = []
                for end in range(start + 1, len(words) + 1):
                    for parts in self._piece(words, start, end, before):
                        joined = starting(words[end:], self.phrases.joined)
                        last = parts[-1] if len(parts) == 1 else None
                        goes_on = end + len(joined)
                        if joined and goes_on == len(words):
                            continue
                        across = sum(start < comma < end for comma in commas)
                        apart = bool(joined) or end in commas
                        for rest in behind(goes_on, last):
                            whole = (*parts, *rest.parts)
                            doubtful = rest.parts and _by_how_much(parts[-1], rest.parts[0])
                            if doubtful and not apart and not self._named(words[goes_on:], rest):
                                told = doubted(parts[-1], _WHICH_OF_BOTH, Asks.IN_FULL)
                                whole = (*parts[:-1], told, *rest.parts)
                            found.append(_Cover(whole, rest.pieces + 1, across + rest.across))
                fewest = min((cover.pieces for cover in found), default=0)
                memo[key] = [cover for cover in found if cover.pieces == fewest]
            return memo[key]

        found = behind(0, None)
        return [] if self.overrun else found  # not all of them were looked at

    def _piece(
        self, words: Words, start: int, end: int, before: Understanding | None
    ) -> Iterator[tuple[Understanding, ...]]:
        """The findings that one stretch of words is, as one way or several."""
        said = words[start:end]
        self._tried += 1
        # "done up to seventy": no two begins a finding there; "seven hundred too low": no two ends one
        if (start and said[0] in HOMOPHONES) or (end < len(words) and said[-1] in HOMOPHONES):
            return
        both = self._both.read(said)
        if both:
            yield both
            return
        inside = start > 0 and {words[start - 1], words[start]} <= NUMBER_WORDS - {_AND}
        for part in self._alone(said, before):
            yield (doubted(part, "where one number ends is not certain") if inside else part,)

    def _alone(self, said: Words, before: Understanding | None) -> Iterator[Understanding]:
        """What ``said`` is by itself, else said of what the finding ``before`` was about."""
        own = self._one(said)
        if own is not None:
            yield self._carried.completed(own, said, before)
        elif before is not None and before.offered:
            yield from self._carried.carried(said, before)

    def _one(self, said: Words) -> Understanding | None:
        found = self.core(said)
        if found is None or found.kind is not Kind.FINDING:
            return None
        if REPAIR in said[1:-1] and self.lost_to_repair(said, found):
            return None  # it repairs one finding, and swallows no other
        return replace(found, text=" ".join(said))
