"""Words as one finding: by the plain rules, then by every other way that never guesses (pure)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import cached_property

from fieldlog.catalogue.component import WORK, Catalogue
from fieldlog.catalogue.phrases import expand
from fieldlog.grammar.grammar import Grammar
from fieldlog.language.asked import (
    NOT_SURE,
    as_sound,
    asked_if_sound,
    asked_in_full,
    is_fault,
    noted,
    refused,
)
from fieldlog.language.decide import decide
from fieldlog.language.diagnose import UNKNOWN, meant, why_not
from fieldlog.language.dialogue import CORRECTION, Dialogue
from fieldlog.language.left_open import Open, Worded, left_open
from fieldlog.language.lexicon import Words, phrases
from fieldlog.language.reading import Reading, Unread
from fieldlog.language.sides import by_what_is_there, sided
from fieldlog.language.subjects import About, SubjectReader
from fieldlog.language.trade import TradeReader
from fieldlog.language.values import NONE, ValueReader
from fieldlog.model.question import Asks, Question
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding
from fieldlog.words import questions

HELD = "that is in it anyway; whether something is wrong was not said"
ITS_LIMIT = "a limit is no part of a finding: it is entered for the vehicle"
FOUND_IN = (("on",), ("at",), ("in",), ("from",), ("of",), ("across",))
"""Before what something was found in: "a leak at the drain plug"."""
_TORQUED = (("torqued",), ("torqued", "up"), ("tightened",), ("did", "up"), ("done", "up"))
_SET = (*reversed(_TORQUED), ("adjusted",), ("set",), ("pumped", "up"))
"""Before what was set to a value."""
_LOW_ON = ("low", "on")
"""Said of the part before: "battery corroded and low on water" is of no coolant."""


class FindingReader:
    """Reads what the words are as one finding, what of it has to be asked, or why they are none."""

    def __init__(
        self,
        grammar: Grammar,
        catalogue: Catalogue,
        subjects: SubjectReader,
        values: ValueReader,
        trade: TradeReader,
        typed: frozenset[str],
        dialogue: Dialogue,
    ) -> None:
        """``typed``: words that are only typed; ``dialogue``: what is said to the tool."""
        self._grammar = grammar
        self._catalogue = catalogue
        self._subjects = subjects
        self._values = values
        self._trade = trade
        self._typed_words = typed
        self._dialogue = dialogue

    @cached_property
    def known_words(self) -> frozenset[str]:
        """Every word that can stand in what is said or typed."""
        commands = {word for phrase in self._dialogue.whole for word in phrase}
        return self._grammar.words | commands | self._typed_words

    def whole(self, words: Words, text: str) -> Understanding:
        """All that was said in ``words``: a correction or a finding."""
        if words[:1] == (CORRECTION,) and len(words) > 1:
            return self.correction(words[1:], text)
        if UNKNOWN in words:
            return refused(text, why_not(words, (), (), self._values, lambda _: 0))
        return self._finding(words, text)

    def part(self, words: Words) -> Understanding | None:
        """What the words are as one finding by any rule that never guesses."""
        text = " ".join(words)
        found = self._one_finding_of(words, text)
        return found if found is None else sided(words, found)

    def _one_finding_of(self, words: Words, text: str) -> Understanding | None:
        return (
            decide(self._readings(words, text)[0], text, self._subjects.values)
            or self._restarted(words, text)
            or self._counted(words, text)
            or (None if words[:2] == _LOW_ON else self._turned_round(words, text))
            or self._in_trade_words(words, text, part=True)
        )

    def _finding(self, words: Words, text: str) -> Understanding:
        if "side" in words:
            sided = by_what_is_there(words, self._trade.sides, lambda said: self.plain(said, text))
            if sided is not None:
                return sided
        return self.plain(words, text)

    def plain(self, words: Words, text: str) -> Understanding:
        """The finding, what of it is asked, or why it is none."""
        share = self._trade.share_of(words)
        if share is not None:
            return left_open(share, text)
        readings, reasons, abouts = self._readings(words, text)
        decided = decide(readings, text, self._subjects.values)
        if decided is not None:
            return self._of_one(decided, abouts)
        return (
            self._restarted(words, text)
            or self._counted(words, text)
            or self._turned_round(words, text)
            or self._in_trade_words(words, text)
            or self._verb_first(words, text)
            or self._thought(words, text)
            or self._of_some(words, text)
            or self._did_you_mean(words, text)
            or self._refusal(words, text, abouts, reasons)
        )

    @staticmethod
    def _of_one(decided: Understanding, abouts: tuple[About, ...]) -> Understanding:
        """Asked about where its name is that of several parts, and only one can be so: "hoses soft"."""
        found = decided.finding
        named = {about.component.name for about in abouts if about.used == abouts[0].used}
        one_word = abouts[0].used == 1
        if found is None or found.condition is None or len(named) < 2 or not one_word:
            return decided
        if found.characteristic == WORK:
            return decided
        if decided.decision is not Decision.ACCEPT or found.component not in named:
            return decided
        return asked_in_full(decided, "what it is said of may be another part")

    def _readings(
        self, words: Words, text: str = ""
    ) -> tuple[list[Reading], list[Unread], tuple[About, ...]]:
        """Every reading of the words as a finding, why others were refused, the subjects named."""
        abouts = self._subjects.read(words)
        readings: list[Reading] = []
        reasons: list[Unread] = []
        for about in abouts:
            if about.used < len(words):
                found, why = self._values.read(about, words[about.used :], text)
                readings += found
                if about.used == abouts[0].used:
                    reasons += why
        return readings, reasons, abouts

    def correction(self, words: Words, text: str) -> Understanding:
        """ "correction rear pads four millimetres": a finding that supersedes an earlier one."""
        found = self._finding(words, text)
        if found.kind is Kind.FINDING:
            return replace(found, dialogue=CORRECTION)
        said = " ".join(words)
        reason = "a correction of the last finding's value; say what it is about if it is another"
        return Understanding(
            Decision.ASK,
            Kind.DIALOGUE,
            reason,
            text,
            question=Question(Asks.OF_WHAT, questions.OF_WHAT),
            slots={"value": said},
            dialogue=CORRECTION,
        )

    def _restarted(self, words: Words, text: str) -> Understanding | None:
        """ "front pads correction rear pads two millimetres": the sentence begun anew."""
        if CORRECTION not in words[1:-1]:
            return None
        at = len(words) - words[::-1].index(CORRECTION)
        found = self._finding(words[at:], text)
        if found.kind is not Kind.FINDING:
            return None
        return replace(found, flags=(*found.flags, Flag.REPAIRED))

    def _counted(self, words: Words, text: str) -> Understanding | None:
        """ "two front spokes missing", "two of the front spokes are missing": the count first."""
        readings: list[Reading] = []
        for at in range(1, min(4, len(words))):
            behind = words[at + 1 :] if words[at : at + 1] == ("of",) else words[at:]
            for about in self._subjects.read(behind):
                if any(fact.counted for fact in about.component.given):
                    said = behind[about.used :]
                    said = said[1:] if said[:1] in (("is",), ("are",)) else said
                    readings += self._values.read(about, (*words[:at], *said), text)[0]
        return decide([one for one in readings if one.finding.given], text, self._subjects.values)

    def _turned_round(self, words: Words, text: str) -> Understanding | None:
        """What is said of it first: "two millimetres on the front pads", "nail in the rear tyre"."""
        for at in range(1, len(words)):
            for linked in (words[at : at + 1] in FOUND_IN, False):
                start = at + 1 if linked else at
                whole = [
                    a for a in self._subjects.read(words[start:]) if a.used == len(words) - start
                ]
                readings = [
                    reading
                    for about in whole
                    for reading in (
                        *self._values.read(about, words[:at], text)[0],
                        *(self._values.found_in(about, words[:at], text) if linked else ()),
                    )
                ]
                decided = decide(readings, text, self._subjects.values)
                if decided is not None and linked and _holds(whole, words[at - 1 : at + 1]):
                    return asked_in_full(decided, HELD)
                if decided is not None:
                    return asked_if_sound(decided) if NONE in words[:at] else decided
        return None

    def _in_trade_words(
        self, words: Words, text: str, *, part: bool = False
    ) -> Understanding | None:
        """What only a mechanic's words tell; a ``part`` of a breath leaves nothing open."""
        if not self._typed_words.intersection(words):
            return None
        told = self._trade.read(words, text, part=part)
        if told is None or (part and told.open is not Open.NOTHING):
            return None
        decided = decide(told.readings, text, self._subjects.values)
        match told.open:
            case Open.NOTHING:
                return decided
            case Open.SOUND if decided is not None:
                return asked_if_sound(decided)
            case Open.NEARLY if decided is not None:
                return asked_in_full(decided, NOT_SURE)
            case Open.LIMIT if decided is not None:
                return asked_in_full(decided, ITS_LIMIT)
            case _:
                return left_open(told, text)

    def _verb_first(self, words: Words, text: str) -> Understanding | None:
        """ "Torqued the front pinch bolts to nineteen newton metres": what it is set to."""
        verb = next((each for each in _SET if words[: len(each)] == each), ())
        body = words[len(verb) :] if verb else ()
        for about in self._subjects.read(body):
            rest = body[about.used :]
            if rest[:1] in (("to",), ("at",)) and len(rest) > 1:
                kind = "torqued" if verb in _TORQUED else "adjusted"
                said = (*body[: about.used], kind, *rest)
                found = decide(self._readings(said, text)[0], text, self._subjects.values)
                if found is not None:
                    return found
        return None

    def _thought(self, words: Words, text: str) -> Understanding | None:
        """ "I think the rear disc is bent", "chain good, probably": asked, with what is thought."""
        if not self._typed_words.intersection(words):
            return None
        ways = [self._trade.less_unsure(words)]
        for about in self._subjects.read(words)[:1]:  # "rear pads could be below two mil"
            ways.append((*words[: about.used], *self._trade.less_unsure(words[about.used :])))
        for said in dict.fromkeys(ways):
            found = self.plain(said, text) if said != words else None
            if found is not None and found.kind is Kind.FINDING and found.offered:
                return asked_in_full(found, NOT_SURE)
        return None

    def _of_some(self, words: Words, text: str) -> Understanding | None:
        """ "A few of the front spokes are loose", "neither mirror is cracked", "no lights work"."""
        for phrase in self._trade.some_of.before(words):
            found = self.plain(words[len(phrase) :], text)
            if is_fault(found, self._catalogue):
                return noted(found, " ".join(phrase[: 2 if "of" in phrase[1:2] else len(phrase)]))
            return asked_in_full(found, NOT_SURE) if found.offered else None
        for phrase in self._trade.none_of.before(words):
            found = self.plain(words[len(phrase) :], text)
            if not found.offered or found.offered[0].condition is None:
                continue
            if is_fault(found, self._catalogue):
                return asked_if_sound(as_sound(found))
            first = found.offered[0]
            about = About(self._catalogue[first.component], None, (), {}, 0)
            return left_open(Worded(about, (), Open.HOW), text)
        return None

    def _did_you_mean(self, words: Words, text: str) -> Understanding | None:
        """A question about a mistyped noun; never an answer."""
        unknown = [n for n, word in enumerate(words) if word not in self.known_words]
        if len(unknown) != 1:
            return None
        at = unknown[0]
        noun = meant(words[at], self._nouns)
        if noun is None:
            return None
        changed = (*words[:at], noun, *words[at + 1 :])
        found = self._finding(changed, text)
        if found.decision is Decision.REFUSE:
            return None
        candidates = (found.finding,) if found.finding else found.candidates
        return replace(
            found,
            decision=Decision.ASK,
            reason=f"'{words[at]}' is not known; the nearest word is '{noun}'",
            question=Question(Asks.DID_YOU_MEAN, questions.did_you_mean_words(" ".join(changed))),
            finding=None,
            candidates=candidates,
            flags=(*found.flags, Flag.DID_YOU_MEAN),
        )

    def _are_two(self, words: Words) -> bool:
        """Whether the words are two findings one after the other."""
        return any(
            all(
                decide(self._readings(part)[0], "", self._subjects.values) is not None
                for part in (words[:at], words[at + 1 :] if words[at] == "and" else words[at:])
            )
            for at in range(2, len(words) - 1)
        )

    def _refusal(
        self, words: Words, text: str, abouts: tuple[About, ...], reasons: list[Unread]
    ) -> Understanding:
        if words[:1] == ("both",) or self._are_two(words):
            return refused(text, "more than one finding in one utterance: say them one by one")
        graph = self._grammar.word_graph()
        told = why_not(words, abouts, reasons, self._values, lambda said: graph.follow(said)[1])
        return refused(text, told)

    @cached_property
    def _nouns(self) -> tuple[str, ...]:
        """Words of components' names: the only ones that may be put right, by asking."""
        places_said = {
            word
            for name in self._grammar.rules
            if name.startswith("positions.")
            for phrase in phrases(self._grammar.rules, name)
            for word in phrase
        }
        said = [
            (
                *(c.spoken or c.typed),
                *(alone for k in c.characteristics for alone in k.alone),
            )
            for c in self._catalogue
        ]
        words = {w for names in said for text in names for p in expand(text) for w in p.split()}
        return tuple(sorted(word for word in words - places_said if len(word) > 2))


def _holds(abouts: Iterable[About], words: Words) -> bool:
    """Whether "oil in" is said of what holds oil anyway."""
    return words[1:] == ("in",) and any(words[0] in about.component.holds for about in abouts)
