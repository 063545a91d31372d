"""What is said in one breath -> its findings in order, or one question or refusal for all (pure).

A breath is cut where what stands before a cut and what stands behind it are findings by the rules
that hold for one; every word belongs to one of them or joins two ("and", "then", "but"). The fewest
findings that cover all words are what was said; where two such ways mean different things it is
asked. A finding that leaves out what the one before said is read as said of that (place, part,
characteristic, unit). All of a breath counts, or nothing of it does: what stands alone in its first
half is never taken.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property
from itertools import combinations

from fieldlog.catalogue.component import SOUND, WORK, Axis, Catalogue, Characteristic, Component
from fieldlog.catalogue.phrases import expand
from fieldlog.grammar.expression import Rule
from fieldlog.language.decide import decide, meaning_key
from fieldlog.language.lexicon import Words, phrases
from fieldlog.language.shape import SIDE
from fieldlog.language.subjects import About, SubjectReader, about_of
from fieldlog.language.values import REPAIR, ValueReader
from fieldlog.model import Asks, Decision, Finding, Flag, Kind, Quantity, Question, Understanding
from fieldlog.quantities.dates import DATE_WORDS
from fieldlog.quantities.number_words import DENOMINATORS, NUMBER_WORDS
from fieldlog.quantities.units import SPOKEN
from fieldlog.quantities.values import DOUBTFUL
from fieldlog.words import questions, tell

_BOTH = "both"
_AND = "and"
_ONES = ("one", "ones")
VALUE_WORDS = NUMBER_WORDS.union(DATE_WORDS, *SPOKEN)
"""Words that a value may be begun with before it is put right."""
_LIKE = Fraction(4)
"""How many times another a value may be that was said without its unit: "thirty two psi, rear two
point four" means bar."""
_ENDS = {"ends": "end", "sides": "side"}
"""Behind "both": the axis whose two values are meant."""
_BEHIND = ((), ("at", "the"), ("on", "the"))

Core = Callable[[Words], Understanding | None]
"""Words -> what they mean as one finding; None: nothing."""
AxesOf = Mapping[str, Sequence[str]]
"""Axis -> its values."""


@dataclass(frozen=True, slots=True)
class Breath:
    """What one utterance holds."""

    text: str
    parts: tuple[Understanding, ...]
    """One for each finding, all of them accepted; or one alone, whatever it is."""
    left_over: Words = ()
    """Words of a breath that is asked about or refused which no finding covers."""
    agreed: tuple[Understanding, ...] = ()
    """What its parts are once they were asked about as ``Asks.ALL_OF_IT`` and *affirm* was said."""

    @property
    def several(self) -> bool:
        """Whether it holds more than one finding."""
        return len(self.parts) > 1

    @property
    def whole(self) -> Understanding:
        """The breath as one: its only part, or that several findings were understood."""
        if not self.several:
            return self.parts[0]
        flags = dict.fromkeys(flag for part in self.parts for flag in part.flags)
        reason = f"understood: {len(self.parts)} findings in one breath"
        return Understanding(
            Decision.ACCEPT,
            Kind.FINDING,
            reason,
            self.text,
            flags=tuple(flags),
            parts=self.parts,
        )

    def asked(self, reason: str) -> Breath:
        """The same, with nothing of it accepted: all of it is asked about."""
        return _asked(self.text, self.parts, reason)


@dataclass(frozen=True, slots=True)
class Phrases:
    """The phrases of breath.jsgf and of the places, by what they do."""

    joined: tuple[Words, ...]
    meant: tuple[Words, ...]
    taken_back: tuple[Words, ...]
    limits: tuple[Words, ...]
    """What takes back, doubts or limits what was said before it."""
    places: Mapping[str, Mapping[Words, str]]
    """Axis -> words before a name -> the value they mean."""

    @classmethod
    def of(cls, breath: Mapping[str, Rule], rules: Mapping[str, Rule], axes: AxesOf) -> Phrases:
        """From breath.jsgf and the closed grammar; ``axes``: every axis -> its values."""

        def longest_first(*names: str) -> tuple[Words, ...]:
            found = [phrase for name in names for phrase in phrases(breath, f"breath.{name}")]
            return tuple(sorted(found, key=len, reverse=True))

        places: dict[str, dict[Words, str]] = {}
        for axis, values in axes.items():
            rule = f"positions.{axis.replace(' ', '_')}_before"
            if rule not in rules:
                continue
            own = {
                phrase: value
                for value in values
                for phrase in phrases(rules, f"positions.{value.replace(' ', '_')}")
            }
            places[axis] = {
                phrase: value
                for phrase in phrases(rules, rule)
                for words, value in own.items()
                if phrase[-len(words) :] == words
            }
        taken_back = longest_first("taken_back")
        meant = longest_first("meant")
        limits = longest_first("turned", "taken_back", "apart", "at_times")
        limits = tuple(phrase for phrase in limits if phrase not in meant)
        return cls(longest_first("joined"), meant, taken_back, limits, places)


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


@dataclass
class BreathReader:
    """Cuts breaths with the rules that hold for one finding."""

    core: Core
    catalogue: Catalogue
    subjects: SubjectReader
    values: ValueReader
    phrases: Phrases
    _known: dict[tuple[object, ...], Understanding | None] = field(default_factory=dict)
    """What words say of a thing: asked again for every place where a breath is cut."""
    _pairs: dict[Words, tuple[Understanding, ...]] = field(default_factory=dict)
    """Words -> the two findings that they are, if any; for the same reason."""
    _tried: int = 0
    """Stretches looked at of the text that is being read."""

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
            limit = _starting(words[at:], self.phrases.limits)
            meant = _starting(words[at:], self.phrases.meant)
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
            if _starting(words[at:], self.phrases.joined):
                covers = self._covers(self._unjoined(words[at:]))
                if covers:
                    return min(covers, key=lambda cover: cover.rank).parts
        return ()

    def instead(self, words: Words) -> Words | None:
        """What was meant instead, where that is all the words say ("no, I meant six"); () for only
        taking back; None where they are something else."""
        meant = _starting(words, self.phrases.meant)
        if meant and len(meant) < len(words):
            return words[len(meant) :]
        return () if _starting(words, self.phrases.taken_back) else None

    # --- deciding ------------------------------------------------------------------------------

    def _decided(self, covers: Sequence[_Cover], text: str) -> Breath:
        best = min(cover.rank for cover in covers)
        chosen = {cover.meaning: cover for cover in covers if cover.rank == best}
        first = next(iter(chosen.values()))
        if len(first.parts) < 2:  # one finding only by joiners, or by a rule of breaths
            return Breath(text, (replace(first.parts[0], text=text),))
        if len(chosen) > 1:
            parts = tuple(part for cover in chosen.values() for part in cover.parts)
            return _asked(text, parts, "it can be cut into findings in more than one way")
        agreed = _agreed(first.parts)
        clash = self.clash(agreed or first.parts)
        asked = next((p for p in first.parts if p.decision is not Decision.ACCEPT), None)
        if asked is not None:
            reason = f"'{asked.text}': {asked.reason}"
            return _asked(text, first.parts, reason, agreed=() if clash else agreed)
        if clash:
            return _asked(text, first.parts, clash)
        return Breath(text, first.parts, agreed=agreed)

    def clash(self, parts: Sequence[Understanding]) -> str:
        """Why two findings cannot both be meant: two values of one thing, or as it should be and not."""
        findings = [part.finding for part in parts if part.finding is not None]
        for one, other in combinations(findings, 2):
            faults = self._adds_up(one) and self._adds_up(other)
            if one.subject == other.subject and (not faults or one.meaning == other.meaning):
                return f"two things were said of the {tell.place(one.component, one.position)}"
        return ""

    def _adds_up(self, one: Finding) -> bool:
        """Whether it is a fault, or work that was done: a thing may have two of these."""
        if one.characteristic == WORK:
            return True
        component = self.catalogue.get(one.component)
        if component is None or one.condition in (None, SOUND):
            return False
        return component.severity(str(one.condition), one.characteristic) is not None

    def _left_over(self, words: Words, text: str) -> Breath | None:
        """No cut covers all words: what was not understood behind findings is named."""
        for at in range(len(words) - 1, 1, -1):
            cover = self._cut(words, at)
            if cover is None or not cover.accepted:
                continue
            rest = self._unjoined(words[at:])
            named = " ".join(rest or words[at:])
            reason = f"'{named}' was not understood behind '{' '.join(words[:at])}'"
            told = f"{reason}: nothing of it is taken"
            refused = Understanding(Decision.REFUSE, Kind.NOTHING, told, text)
            return Breath(text, (refused,), words[at:])
        return None

    @staticmethod
    def _limited(words: Words, at: int, cover: _Cover, text: str) -> Breath:
        """ "horn works now and then": what limits a finding is no part of any, and changes it."""
        rest = words[at:]
        return _asked(text, cover.parts, f"'{' '.join(rest)}' may change what was said", rest)

    def _repaired(self, words: Words, at: int, size: int, cover: _Cover, text: str) -> Breath:
        """ "rear pads five millimetres, no, I meant six": of one finding, its value or condition."""
        rest = words[at + size :]
        first = cover.parts[-1]
        if len(cover.parts) == 1 and rest:
            for part in self._alone(rest, first):
                was, now = first.offered, part.finding
                about = now is not None and any(one.subject == now.subject for one in was)
                if about and part.decision is Decision.ACCEPT:
                    flags = tuple(dict.fromkeys((*part.flags, Flag.REPAIRED)))
                    return Breath(text, (replace(part, text=text, flags=flags),))
        return _asked(text, cover.parts, "what is to be put right is not certain", words[at:])

    def _cut(self, words: Words, at: int) -> _Cover | None:
        """The best way to cut the first ``at`` words, an end that joins left out."""
        covers = self._covers(self._stripped(words[:at]))
        return min(covers, key=lambda cover: cover.rank, default=None)

    def _stripped(self, words: Words) -> Words:
        """Without a joining word at their end."""
        ends = (joined for joined in self.phrases.joined if words[-len(joined) :] == joined)
        return words[: len(words) - len(next(ends, ()))]

    def _unjoined(self, words: Words) -> Words:
        return words[len(_starting(words, self.phrases.joined)) :]

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
                        joined = _starting(words[end:], self.phrases.joined)
                        last = parts[-1] if len(parts) == 1 else None
                        goes_on = end + len(joined)
                        if joined and goes_on == len(words):
                            continue
                        across = sum(start < comma < end for comma in commas)
                        for rest in behind(goes_on, last):
                            whole = (*parts, *rest.parts)
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
        both = self._pairs.get(said)
        if both is None:
            if len(self._pairs) > _MOST_KNOWN:
                self._pairs.clear()
            both = self._pairs[said] = self._both(said)
        if both:
            yield both
            return
        inside = start > 0 and {words[start - 1], words[start]} <= NUMBER_WORDS - {_AND}
        for part in self._alone(said, before):
            yield (_doubted(part, "where one number ends is not certain") if inside else part,)

    def _alone(self, said: Words, before: Understanding | None) -> Iterator[Understanding]:
        """What ``said`` is by itself, else said of what the finding ``before`` was about."""
        own = self._one(said)
        if own is not None:
            yield self._completed(own, said, before)
        elif before is not None and before.offered:
            yield from self._carried(said, before)

    def _one(self, said: Words) -> Understanding | None:
        found = self.core(said)
        if found is None or found.kind is not Kind.FINDING:
            return None
        if REPAIR in said[1:-1] and self.lost_to_repair(said, found):
            return None  # it repairs one finding, and swallows no other
        return replace(found, text=" ".join(said))

    # --- both, front and rear ---------------------------------------------------------------------

    def _both(self, said: Words) -> tuple[Understanding, ...]:
        """ "both mirrors loose", "pads dirty at both ends", "front and rear tyre worn": two findings."""
        if said[:1] == (_BOTH,):
            return self._both_named(said[1:])
        for behind in (("at",), ("on",), ()):
            size = len(behind) + 2
            if said[-size:-1] == (*behind, _BOTH) and said[-1] in _ENDS:
                return self._each(self._values(_ENDS[said[-1]]), said[:-size], ())
        for axis in self.phrases.places:
            for first, at, second, end in self._paired(said, axis):
                if found := self._each([first, second], said[:at], said[end:]):
                    return found  # "left and right side panel": side is a word of either
        return ()

    def _both_named(self, rest: Words) -> tuple[Understanding, ...]:
        """The two of a kind, where only one thing tells them apart."""
        said = self._one(rest)
        for about in self.subjects.read(rest)[:1]:
            left = [axis for axis in about.axes if axis.name not in about.places]
            if not any(axis.required for axis in left):  # "both pegs": left and right of one rider
                left = [axis for axis in left if axis.name == SIDE] or left
            unsaid = [axis.name for axis in left]
            if len(unsaid) == 1 and len(self._values(unsaid[0])) == 2:
                return self._each(self._values(unsaid[0]), (), rest)
            if said is not None and said.offered:
                return (_doubted(said, "which two are meant was not said", Asks.IN_FULL),)
        return ()

    def _values(self, axis: str) -> list[Words]:
        return [(value,) for value in self.subjects.values(axis)]

    def _each(self, places: Sequence[Words], head: Words, tail: Words) -> tuple[Understanding, ...]:
        """One finding for each place: before the words, or behind them with its preposition."""
        found = []
        for place in places:
            tried = [(*place, *head)] if head and not tail else []
            tried += [(*head, *by, *place, *tail) for by in (() if tail else _BEHIND)]
            part = next(
                (one for way in tried or [(*head, *place, *tail)] if (one := self._one(way))), None
            )
            if part is None:
                return ()
            found.append(part)
        return tuple(found)

    def _paired(self, said: Words, axis: str) -> Iterator[tuple[Words, int, Words, int]]:
        """ "front and rear" in ``said``: both places, where they begin and end."""
        known = self.phrases.places[axis]
        for at in range(1, len(said) - 1):
            if said[at] != _AND:
                continue
            for first, value in known.items():
                for second, other in known.items():
                    begins, ends = at - len(first), at + 1 + len(second)
                    if begins < 0 or value == other:
                        continue
                    if said[begins:at] == first and said[at + 1 : ends] == second:
                        yield first, begins, second, ends

    # --- carried over ----------------------------------------------------------------------------

    def _completed(
        self, own: Understanding, said: Words, before: Understanding | None
    ) -> Understanding:
        """A finding that names its part, with the place or unit that it leaves to the one before."""
        was = before.finding if before and before.decision is Decision.ACCEPT else None
        if was is None or own.decision is not Decision.ASK:
            return own
        for tail in _unit_words(was) if _lacks_unit(own) else ():
            whole = self._one((*said, *tail))
            same = {(one.component, one.characteristic) for one in whole.offered} if whole else ()
            if whole and same == {(was.component, was.characteristic)}:
                placed = self._placed(replace(whole, text=own.text), was)
                if _is_sure(placed, was):
                    return placed
        return self._placed(own, was)

    @staticmethod
    def _placed(own: Understanding, was: Finding) -> Understanding:
        """Where only the place lacks, that of the same component before."""
        if own.asks is not Asks.PLACE:
            return own
        fitting = [
            one
            for one in own.candidates
            if one.position == was.position and one.component == was.component
        ]
        if len(fitting) != 1 or not _ASKED_ALL_THE_SAME.isdisjoint(own.flags):
            return own
        return replace(
            own,
            decision=Decision.ACCEPT,
            reason="understood",
            finding=fitting[0],
            candidates=(),
            question=None,
        )

    def _carried(self, said: Words, before: Understanding) -> Iterator[Understanding]:
        """What is said of the part of the finding before: of another place of it, or of the same."""
        was = before.offered
        base = about_of(was[0], self.catalogue, self.subjects.values) if len(was) == 1 else None
        if base is not None:
            for about, rest, certain in self._places(base, said):
                for one, told in self._measures(base, rest):
                    found = self._said_of(about, one, told, said, before)
                    if found is not None:
                        sure = certain and before.decision is Decision.ACCEPT
                        yield found if sure else _doubted(found, UNSURE_OF_WHAT)
                        return  # the characteristic before goes before any other
        for phrase, of in self._own_to_one.items():
            if said[: len(phrase)] == phrase and len(said) > len(phrase):
                about = About(of[0], of[1], of[1].axes, {}, 0)
                found = self._said_of(about, of[1], said[len(phrase) :], said, before)
                if found is not None:
                    yield _doubted(found, UNSURE_OF_WHAT)
                    return

    @cached_property
    def _own_to_one(self) -> Mapping[Words, tuple[Component, Characteristic]]:
        """Words of a characteristic that only one component has: "charging" -> of the battery."""
        owners: dict[Words, dict[tuple[str, str], tuple[Component, Characteristic]]] = {}
        for component in self.catalogue:
            for one in component.characteristics:
                for phrase in (tuple(p.split()) for text in one.words for p in expand(text)):
                    owners.setdefault(phrase, {})[component.name, one.name] = component, one
        alone = {words: [*of.values()] for words, of in owners.items() if len(of) == 1}
        return {words: alone[words][0] for words in sorted(alone, key=len, reverse=True)}

    def _places(self, base: About, said: Words) -> Iterator[tuple[About, Words, bool]]:
        """The places that the first words name, and whether nothing else of the place is carried."""
        rest = said[1:] if said[:1] == ("the",) else said
        places: dict[str, str] = {}
        while found := self._place(base.axes, places, rest):
            axis, value, size = found
            places[axis] = value
            rest = rest[size:]
        if not places:
            if said == rest:
                yield base, said, True
        elif rest:
            carried = set(base.places) - set(places)
            about = About(
                base.component, base.characteristic, base.axes, {**base.places, **places}, 0
            )
            yield about, rest, not carried
            if rest[0] in _ONES and len(rest) > 1:  # "the right one missing"
                yield about, rest[1:], not carried

    def _place(
        self, axes: Sequence[Axis], known: Mapping[str, str], said: Words
    ) -> tuple[str, str, int] | None:
        best: tuple[str, str, int] | None = None
        for axis in axes:
            if axis.name in known:
                continue
            for phrase, value in self.phrases.places.get(axis.name, {}).items():
                longer = best is None or len(phrase) > best[2]
                if longer and said[: len(phrase)] == phrase:
                    best = axis.name, value, len(phrase)
        return best

    @staticmethod
    def _measures(base: About, rest: Words) -> Iterator[tuple[Characteristic | None, Words]]:
        """The characteristic that ``rest`` names, else the one before, else whatever fits."""
        for one in base.component.characteristics:
            for text in (*one.words, *one.alone):
                for phrase in (tuple(each.split()) for each in expand(text)):
                    if len(rest) > len(phrase) and rest[: len(phrase)] == phrase:
                        yield one, rest[len(phrase) :]
        if base.characteristic is not None:
            yield base.characteristic, rest
        yield None, rest

    def _said_of(
        self,
        about: About,
        one: Characteristic | None,
        told: Words,
        said: Words,
        before: Understanding,
    ) -> Understanding | None:
        axes = about.component.axes if one is None else one.axes
        places = {axis: at for axis, at in about.places.items() if axis in {a.name for a in axes}}
        if len(places) < len(about.places):
            return None
        of = About(about.component, one, axes, places, 0)
        found = self._decided_of(of, told, said)
        was = before.finding if before.decision is Decision.ACCEPT else None
        if was is not None and (found is None or _lacks_unit(found)):
            for tail in _unit_words(was):
                whole = self._decided_of(of, (*told, *tail), said)
                if whole is not None and _is_sure(whole, was):
                    return whole
        return found

    def _decided_of(self, of: About, told: Words, said: Words) -> Understanding | None:
        one = None if of.characteristic is None else of.characteristic.name
        key = (of.component.name, one, tuple(of.places.items()), told, said)
        if key not in self._known:
            if len(self._known) > _MOST_KNOWN:
                self._known.clear()
            self._known[key] = self._decided_anew(of, told, said)
        return self._known[key]

    def _decided_anew(self, of: About, told: Words, said: Words) -> Understanding | None:
        text = " ".join(said)
        if REPAIR in told[1:-1]:
            first = told[: told.index(REPAIR)]
            if self._decided_of(of, first, said) is None and not VALUE_WORDS.issuperset(first):
                return None  # what is put right is something else
        return decide(self.values.read(of, told, text)[0], text, self.subjects.values)


def breath_key(breath: Breath) -> str:
    """A key equal for breaths that mean the same; "" for one that is refused."""
    return " and ".join(meaning_key(part) for part in breath.parts)


UNSURE_OF_WHAT = "what it is said of is not certain"
_MOST_KNOWN = 20_000
_MOST_TRIED = 600
"""Stretches; the longest breath of the tests needs 314."""
_ASKED_ALL_THE_SAME = frozenset({*DOUBTFUL, Flag.UNIT_ASSUMED})


def _is_sure(carried: Understanding, was: Finding) -> bool:
    """Whether a value with the unit of the one before would be said so, and is of like size."""
    if carried.decision is not Decision.ACCEPT or Flag.AGREEMENT in carried.flags:
        return False
    one, other = _first_value(carried.finding), _first_value(was)
    if one is None or other is None or one.unit != other.unit:
        return False
    small, large = sorted((one.value, other.value))
    return one.value == 0 or 0 < small <= large <= _LIKE * small


def _first_value(finding: Finding | None) -> Quantity | None:
    if finding is None:
        return None
    return finding.quantity or (finding.readings[0] if finding.readings else None)


def _lacks_unit(found: Understanding) -> bool:
    kinds = (Asks.UNIT, Asks.ASSUMED_UNIT, Asks.PLACE_AND_UNIT)
    return found.asks in kinds or (found.asks is not None and Flag.UNIT_ASSUMED in found.flags)


def _unit_words(was: Finding) -> Iterator[Words]:
    """The last words of a value that are its unit: "millimetres", "thirty seconds" and "second"."""
    value = _first_value(was)
    words = tuple(value.words.split()) if value is not None else ()
    for size in range(min(5, len(words) - 1), 0, -1):
        tail = words[-size:]
        if tail in SPOKEN or tail in DENOMINATORS:
            part = DENOMINATORS.get(tail, (0,))[0]
            yield tail
            yield from (other for other, known in DENOMINATORS.items() if part == known[0])
            return


def _starting(words: Words, known: Sequence[Words]) -> Words:
    """The longest of the phrases with which ``words`` begin; () for none."""
    return next((phrase for phrase in known if words[: len(phrase)] == phrase), ())


def _doubted(part: Understanding, reason: str, kind: Asks = Asks.ALL_OF_IT) -> Understanding:
    """The same, to be asked about."""
    if not part.offered:
        return part
    told = questions.together(part.offered)
    return replace(
        part,
        decision=Decision.ASK,
        reason=reason,
        question=Question(kind, questions.in_full(told) if kind is Asks.IN_FULL else told),
        finding=None,
        candidates=part.offered,
    )


def _asked(
    text: str,
    parts: Sequence[Understanding],
    reason: str,
    left_over: Words = (),
    agreed: tuple[Understanding, ...] = (),
) -> Breath:
    """Nothing of a breath counts; what it may have said is offered, all of it or (``agreed`` empty)
    with no short word that settles it."""
    offered: dict[tuple[object, ...], Finding] = {}
    for part in parts:
        for one in part.offered:
            offered.setdefault(one.meaning, one)
    candidates = tuple(offered.values())
    told = questions.together(candidates) if agreed else questions.each(parts)
    whole = Understanding(
        Decision.ASK,
        Kind.FINDING,
        f"{reason}; nothing of it is taken yet",
        text,
        candidates=candidates,
        question=Question(Asks.ALL_OF_IT, told)
        if agreed
        else Question(Asks.IN_FULL, questions.in_full(told)),
        flags=tuple(dict.fromkeys(flag for part in parts for flag in part.flags)),
    )
    return Breath(text, (whole,), left_over, agreed)


def _agreed(parts: Sequence[Understanding]) -> tuple[Understanding, ...]:
    """The parts of a breath as *affirm* would take them: each as the one thing that is offered.

    Empty where yes would not say which, where a value may be a slip, and where a unit was assumed
    that another value of the same kind was not said in.
    """
    units: dict[tuple[str, str | None], set[str]] = {}
    taken = []
    for part in parts:
        known = part.asks in (None, Asks.ASSUMED_UNIT, Asks.ALL_OF_IT)
        if not known or len(part.offered) != 1 or not DOUBTFUL.isdisjoint(part.flags):
            return ()
        one = part.offered[0]
        value = _first_value(one)
        if value is not None:
            units.setdefault((one.component, one.characteristic), set()).add(value.unit)
        flags = (*(flag for flag in part.flags if flag is not Flag.UNIT_ASSUMED), Flag.ANSWERED)
        taken.append(
            replace(
                part,
                decision=Decision.ACCEPT,
                reason="answered",
                finding=one,
                candidates=(),
                question=None,
                flags=flags,
            )
        )
    mixed = any(len(said) > 1 for said in units.values())
    assumed = any(Flag.UNIT_ASSUMED in part.flags for part in parts)
    return () if mixed and assumed else tuple(taken)
