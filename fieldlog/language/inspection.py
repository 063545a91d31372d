"""``InspectionLanguage``: the grammars and the catalogue as one language, and what its texts mean.

Everything is closed at load: a fault in a grammar or an entry stops the start with all faults
listed, before a microphone is opened. ``load`` reads the files; all else is pure.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from functools import cached_property, lru_cache

from fieldlog.catalogue.component import SOUND, WORK, Catalogue, Component
from fieldlog.catalogue.phrases import expand
from fieldlog.grammar.check import references
from fieldlog.grammar.expression import Rule
from fieldlog.grammar.grammar import Grammar
from fieldlog.grammar.offered import OfferedGrammar
from fieldlog.language.answering import AnsweringLanguage, with_answers
from fieldlog.language.answers import Answers
from fieldlog.language.as_written import as_written
from fieldlog.language.breath import Breath, Phrases, asked_of, breath_key
from fieldlog.language.breath_reader import BreathReader
from fieldlog.language.decide import decide
from fieldlog.language.diagnose import UNKNOWN, meant, why_not
from fieldlog.language.dialogue import CORRECTION, Dialogue
from fieldlog.language.hint import HINT
from fieldlog.language.led import Led, LedLanguage, with_bare
from fieldlog.language.lexicon import Words, phrases, spoken_name
from fieldlog.language.shape import GRAMMAR, Shaped
from fieldlog.language.shared import shared
from fieldlog.language.sides import NEARSIDE, by_what_is_there
from fieldlog.language.spellings import owned_ways, respell, respell_written
from fieldlog.language.subjects import About, SubjectReader
from fieldlog.language.trade import NOTED, Open, TradeReader, Worded, left_open
from fieldlog.language.typed import only_typed, other_number, typed_words, widened
from fieldlog.language.values import NONE, Reading, Standing, Unread, ValueReader, Vocabulary
from fieldlog.model.command import Command
from fieldlog.model.finding import Finding
from fieldlog.model.question import Asks, Question
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding
from fieldlog.quantities.normalise import normalise
from fieldlog.quantities.number_words import DIGITS, TENS
from fieldlog.quantities.written import DecimalSign, Way, Written, read_written
from fieldlog.words import questions

HELD = "that is in it anyway; whether something is wrong was not said"
NOT_SURE = "it is nearly so, or thought to be so: whether it is was not said"
ITS_LIMIT = "a limit is no part of a finding: it is entered for the vehicle"
NOT_THERE = "that one fault is not there; whether all is as it should be was not said"
_BEGINS_A_QUESTION = frozenset(
    ("is", "are", "was", "were", "did", "does", "do", "has", "have", "had", "any")
)
"""No finding begins so: "is play in the rear wheel bearing"."""
_SEEMS = frozenset({"seems", "seem", "appears"})
PARTED = "a comma parts its number"
_FOUND = (("on",), ("at",), ("in",), ("from",), ("of",), ("across",))
"""Before what something was found in: "a leak at the drain plug"."""
_TORQUED = (("torqued",), ("torqued", "up"), ("tightened",), ("did", "up"), ("done", "up"))
_SET = (*reversed(_TORQUED), ("adjusted",), ("set",), ("pumped", "up"))
"""Before what was set to a value."""
_LOW_ON = ("low", "on")
"""Said of the part before: "battery corroded and low on water" is of no coolant."""
_MOST_PARTS = 5
"""Parts that are offered where one was named in part."""
_SO_FAR = (("on", "it"), ("on", "the", "clock"), ("so", "far"))
_PLACES = frozenset({"front", "rear", "back", "left", "right"})
_UNNAMED = (("test", "ride"), ("engine",), ("gearbox",), ("idle",), ("odometer",))
"""What is spoken of where nothing is named: "pulls to the left", "smokes"."""
_ENDS = frozenset({"front", "rear", "back"})
_MOST_OFFERED = 3
"""Parts that a place and a value may be of, where none was named: of more it is no question."""
_LONGEST_OPENING = 8
"""Typed words, fillers among them, that a remark may open with."""
_LONGEST_BREATH = 1500
"""Characters: a minute of fast speech has fewer. Reading takes time with the square of the words."""
_ENDLESS_FIGURES = re.compile(r"\d{25}")
"""More figures in a row than any number that is measured, or frame number, has."""
TOO_LONG = "longer than what is said at once: say it in parts"
_FILLERS = frozenset({"um", "uh", "er", "erm", "ah", "hm", "hmm"})


class InspectionLanguage(OfferedGrammar):
    """Our own language; implements ``fieldlog.listeners.base.Language``."""

    name = "inspection"
    hint = HINT
    """A text of its kind, for listeners that can use one."""
    in_shop_words = True
    """Listeners trained on speech of this kind may tell themselves so."""

    def __init__(
        self,
        spoken: Grammar,
        shaped: Shaped,
        catalogue: Catalogue,
        dialogue: Grammar,
        answers: Grammar,
        breath: Grammar,
        trade: Grammar,
        decimal_sign: DecimalSign | None = None,
    ) -> None:
        """``spoken`` closed over the made text; ``dialogue``: dialogue.jsgf with its typed forms.

        ``answers``: what may be said besides while a question is open; ``breath``: what may stand
        between the findings of one breath; ``trade``: what is only typed; ``decimal_sign``: which one
        is typed, where that is known.
        """
        self._made_of = (spoken, shaped, catalogue, dialogue, answers, breath, trade, decimal_sign)
        self._sign = decimal_sign
        grammar = spoken.of("inspection.utterance", further="spoken.further")
        super().__init__(grammar)
        self.answer_grammar = answers
        self.catalogue = catalogue
        rules = grammar.rules
        subjects, names = only_typed(catalogue)
        self._subjects = SubjectReader(
            {**rules, **names}, {**shaped.subjects, **subjects}, widened(catalogue, trade.rules)
        )
        vocabulary = _vocabulary(rules, dialogue.rules, trade.rules, self._subjects, catalogue)
        self._values = ValueReader(vocabulary)
        self._trade = TradeReader(
            trade.rules, trade.words, self._subjects, self._values, lambda: self._name_words
        )
        self._dialogue = Dialogue.of(rules, self._subjects, dialogue.rules)
        self._answers = Answers(
            catalogue,
            _place_words(answers.rules),
            self._values,
            self._subjects.values,
            lambda text: self._alone(text),
            self._dialogue,
        )
        axes = {a.name for c in catalogue for a in c.axes} | {
            a.name for c in catalogue for k in c.characteristics for a in k.axes
        }
        self._breath_words = breath.words
        self._typed_words = self._trade.words | typed_words(catalogue)
        self._breaths = BreathReader(
            lru_cache(maxsize=4096)(self._one_finding),
            catalogue,
            self._subjects,
            self._values,
            Phrases.of(breath.rules, rules, {a: self._subjects.values(a) for a in axes}),
        )
        self._alone = lru_cache(maxsize=4096)(self._understand)
        self._breath = lru_cache(maxsize=4096)(self._as_marked)

    @property
    def made_of(
        self,
    ) -> tuple[Grammar, Shaped, Catalogue, Grammar, Grammar, Grammar, Grammar, DecimalSign | None]:
        """What it was made of."""
        return self._made_of

    @property
    def rules(self) -> Mapping[str, Rule]:
        """Every rule of its grammars, what is only typed and what is said between findings included."""
        spoken, _, _, dialogue, answers, breath, *_ = self._made_of
        return {**answers.rules, **breath.rules, **dialogue.rules, **spoken.rules}

    def __reduce__(self) -> tuple[object, ...]:
        """Sent to another process (``listeners.worker``) as its parts; the rest is made there."""
        return InspectionLanguage, self._made_of

    # --- for listeners -------------------------------------------------------------------------

    def answering(self, asked: Understanding) -> AnsweringLanguage:
        """The language while ``asked`` is open: everything of this one, and short answers to it."""
        return AnsweringLanguage(self._with_answers, lambda text: self.answer(asked, text))

    @cached_property
    def _with_answers(self) -> Grammar:
        return with_answers(self.grammar, self.answer_grammar)

    def led(self, led: Led) -> LedLanguage:
        """The language while the walk has asked for something: this one, and bare answers to that."""
        return LedLanguage(self._with_bare, led, self.understand)

    @cached_property
    def _with_bare(self) -> Grammar:
        return with_bare(self.grammar, self.answer_grammar)

    # --- meaning -------------------------------------------------------------------------------

    def understand(self, text: str) -> Understanding:
        """Parse ``text``: the finding or findings, dialogue word or remark it is, what to ask, or why
        not."""
        return self.breath(text).whole

    def _sided(self, words: Words, found: Understanding) -> Understanding:
        """``found`` with its flag, where its side depends on the side on which traffic keeps."""
        if NEARSIDE.isdisjoint(words) or found.kind is not Kind.FINDING:
            return found
        return replace(found, flags=tuple(dict.fromkeys((*found.flags, Flag.NEARSIDE))))

    def breath(self, text: str) -> Breath:
        """All that ``text`` says: several findings in order, or the one thing it is.

        One finding, command or remark is what it is by itself. What is longer than anybody says at once is
        refused whole.
        """
        if len(text) > _LONGEST_BREATH or _ENDLESS_FIGURES.search(text):
            return Breath(text, (_refused(text, TOO_LONG),))
        found = self._breath(text)
        if found.whole.decision is Decision.REFUSE and "'" in text.replace("\u2019", "'"):
            for owned in owned_ways(text):  # "the left mirror's glass is cracked"
                other = self._breath(owned)
                if other.whole.decision is not Decision.REFUSE:
                    parts = tuple(replace(one, text=text) for one in other.parts)
                    return replace(
                        other, text=text, parts=parts if len(parts) == 1 else other.parts
                    )
        return found

    def _as_marked(self, text: str) -> Breath:
        """All of it, asked about where a mark that was typed with it leaves it open."""
        found = self._all_of(text)
        whole = found.whole
        if whole.decision is not Decision.ACCEPT or whole.kind is not Kind.FINDING:
            return found
        if "?" in text or text.split()[0].lower() in _BEGINS_A_QUESTION:
            return found.asked(NOT_SURE)
        if any(_seems_sound(part) for part in found.parts):
            if found.several:
                return found.asked(NOT_SURE)
            return Breath(text, (replace(_asked_if_sound(whole), reason=NOT_SURE),))
        if any(one.quantity is not None for one in whole.offered) and _parted(text):
            return found.asked(PARTED)
        return found

    def _all_of(self, text: str) -> Breath:
        said = self._alone(text)
        one = Breath(text, (said,))
        if said.dialogue is Command.SKIP:
            self._breaths.afresh()
            return self._beside_reason(one, said)
        is_one = said.decision is not Decision.REFUSE and said.asks is not Asks.OF_WHAT
        if is_one and Flag.REPAIRED not in said.flags:
            return one
        self._breaths.afresh()
        written = _written(text, self._sign)
        found = [(way, self._cut(_words(way.text), said, text)) for way in written.ways]
        if any(way.sure and _is_accepted(breath) for way, breath in found):
            found = [(way, breath) for way, breath in found if way.sure or _is_accepted(breath)]
        cut = [(way, breath) for way, breath in found if breath is not None]
        if not cut or all(b.whole.decision is not Decision.ACCEPT for _, b in cut):
            found_shared = self._shared(_ways(written, text)[0], text) if len(found) == 1 else None
            if found_shared is not None:
                return found_shared
        if all(b.whole.decision is Decision.REFUSE for _, b in cut) and len(found) == 1:
            asked = self._last_resort(_ways(written, text)[0], text)
            if asked is not None and said.decision is Decision.REFUSE:
                return Breath(text, (asked,))
        if not cut:
            return one
        way, breath = cut[0]
        if breath.whole.decision is not Decision.ACCEPT or (
            len(found) == 1 and way.sure and self._as_typed(way, breath)
        ):
            return breath
        return breath.asked("its figures can be read in more than one way")

    def _shared(self, words: Words, text: str) -> Breath | None:
        """What one thing was said of several, where all of it is understood."""
        asked: Breath | None = None
        if CORRECTION in words:
            return None
        for pieces in shared(words, self._subjects, self._trade.each):
            parts = [self._one_finding(piece) for piece in pieces]
            known = tuple(part for part in parts if part is not None and part.offered)
            if len(known) < len(pieces):
                continue
            clash = self._breaths.clash(known)
            if not clash and all(part.decision is Decision.ACCEPT for part in known):
                return Breath(text, known)
            asked = asked or Breath(text, known).asked(clash or "not all of it was said in full")
        return asked

    @staticmethod
    def _as_typed(way: Way, breath: Breath) -> bool:
        ways = [as_written(Written((way,)), (part,), part.text) for part in breath.parts]
        return all(one.decision is Decision.ACCEPT for one in ways)

    def _cut(self, words: Words, said: Understanding, text: str) -> Breath | None:
        """More than the one thing that ``said`` is; None where it is nothing more."""
        if UNKNOWN in words or not words:
            return None
        meant = self._breaths.instead(words)
        known = self._known_words | self._breath_words
        if said.decision is Decision.REFUSE and meant is not None and known.issuperset(words):
            return Breath(text, (self._correction(meant, text),))
        commas = _commas(text.lower(), words)
        if words[:1] == (CORRECTION,):
            found = self._breaths.read(words[1:], text, frozenset(at - 1 for at in commas))
            if found is None or found.whole.decision is not Decision.ACCEPT:
                return found
            return found.asked("whether all of it corrects is not certain")
        if Flag.REPAIRED not in said.flags:
            return self._breaths.read(words, text, commas)
        lost = self._breaths.lost_to_repair(words, said)
        if not lost:
            return None
        found = self._breaths.read(words, text, commas)
        if found is not None and found.whole.decision is not Decision.REFUSE:
            return found
        return Breath(text, (*lost, said)).asked("not all of it is what was corrected")

    def _beside_reason(self, one: Breath, said: Understanding) -> Breath:
        """The speaker's own reason for a skip must not swallow a finding said behind it."""
        reason = tuple(said.slots.get("reason", "").split())
        beside = self._breaths.behind(reason)
        if self._breaths.overrun:
            told = "too long for a reason: whether it holds a finding cannot be told"
            return Breath(one.text, (_refused(one.text, told),))
        return Breath(one.text, beside).asked("a finding behind a reason") if beside else one

    def _one_finding(self, words: Words) -> Understanding | None:
        """What the words are as one finding by any rule that never guesses."""
        text = " ".join(words)
        found = self._one_finding_of(words, text)
        return found if found is None else self._sided(words, found)

    def _one_finding_of(self, words: Words, text: str) -> Understanding | None:
        return (
            decide(self._readings(words, text)[0], text, self._subjects.values)
            or self._restarted(words, text)
            or self._counted(words, text)
            or (None if words[:2] == _LOW_ON else self._turned_round(words, text))
            or self._in_trade_words(words, text, part=True)
        )

    def answer(self, asked: Understanding, text: str) -> Understanding:
        """What ``text`` means as an answer to what was ``asked`` (an understanding that asks)."""
        written = _written(text, self._sign)
        ways = [self._answers.answer(asked, text, _words(way.text)) for way in written.ways]
        found = as_written(written, ways, text)
        if "?" in text and found.decision is Decision.ACCEPT:  # "psi?", "yes?" settle nothing
            return replace(asked, text=text, reason=NOT_SURE)
        return self._sided(_ways(written, text)[0], found)

    def conditions_of(self, component: Component) -> frozenset[tuple[str, ...]]:
        """Every phrase that judges ``component`` as a whole."""
        return frozenset(self._values.conditions_of(component, None))

    def meaning(self, text: str) -> str:
        """A key equal for texts that mean the same; "" when the text is refused."""
        return breath_key(self.breath(text))

    def _understand(self, text: str) -> Understanding:
        written = _written(text, self._sign)
        words = _ways(written, text)
        found = self._dialogue.understand(words[0], text)
        if found is not None:
            if found.kind is Kind.REMARK:
                return replace(found, slots={"remark": _spoken_rest(text, found.slots["remark"])})
            return found
        said = as_written(written, [self._said(one, text) for one in words], text)
        return self._sided(words[0], said)

    def _said(self, words: Words, text: str) -> Understanding:
        if words[:1] == (CORRECTION,) and len(words) > 1:
            return self._correction(words[1:], text)
        if UNKNOWN in words:
            return _refused(text, why_not(words, (), (), self._values, lambda _: 0))
        return self._finding(words, text)

    def _finding(self, words: Words, text: str) -> Understanding:
        if "side" in words:
            sided = by_what_is_there(
                words, self._trade.sides, lambda said: self._plain_finding(said, text)
            )
            if sided is not None:
                return sided
        return self._plain_finding(words, text)

    def _plain_finding(self, words: Words, text: str) -> Understanding:
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
        return _asked_in_full(decided, "what it is said of may be another part")

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

    def _correction(self, words: Words, text: str) -> Understanding:
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
            for linked in (words[at : at + 1] in _FOUND, False):
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
                    return _asked_in_full(decided, HELD)
                if decided is not None:
                    return _asked_if_sound(decided) if NONE in words[:at] else decided
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
                return _asked_if_sound(decided)
            case Open.NEARLY if decided is not None:
                return _asked_in_full(decided, NOT_SURE)
            case Open.LIMIT if decided is not None:
                return _asked_in_full(decided, ITS_LIMIT)
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
        said = self._trade.less_unsure(words)
        found = self._plain_finding(said, text) if said != words else None
        if found is None or found.kind is not Kind.FINDING or not found.offered:
            return None
        return _asked_in_full(found, NOT_SURE)

    def _of_some(self, words: Words, text: str) -> Understanding | None:
        """ "A few of the front spokes are loose", "neither mirror is cracked", "no lights work"."""
        for phrase in self._trade.some_of.before(words):
            found = self._plain_finding(words[len(phrase) :], text)
            if _is_fault(found, self.catalogue):
                return _noted(found, " ".join(phrase[: 2 if "of" in phrase[1:2] else len(phrase)]))
            return _asked_in_full(found, NOT_SURE) if found.offered else None
        for phrase in self._trade.none_of.before(words):
            found = self._plain_finding(words[len(phrase) :], text)
            if not found.offered or found.offered[0].condition is None:
                continue
            if _is_fault(found, self.catalogue):
                return _asked_if_sound(_as_sound(found))
            first = found.offered[0]
            about = About(self.catalogue[first.component], None, (), {}, 0)
            return left_open(Worded(about, (), Open.HOW), text)
        return None

    def _last_resort(self, words: Words, text: str) -> Understanding | None:
        """What is asked about where the words are nothing else, and no answer either."""
        piece = self._trade.of_a_piece(words)
        return self._of_a_place(words, text) if piece is None else left_open(piece, text)

    def typed(self, text: str) -> Breath:
        """``breath(text)`` of what somebody typed: what is refused is asked about, where something of
        it is known.

        What was heard is refused instead: of words that were only guessed there is nothing to ask.
        """
        found = self.breath(text)
        ways = _written(text, self._sign).ways
        if found.whole.decision is not Decision.REFUSE or len(ways) != 1:
            return found
        words = _words(ways[0].text)
        if found.whole.kind is not Kind.NOTHING or UNKNOWN in words:
            return found
        commas = _commas(text.lower(), words)
        asked = self._of_places(words, text, commas)
        asked = asked or self._breaths.with_left_over(words, text, commas)
        return asked or self._of_what(words, text) or self._unknown(words, text) or found

    def _of_places(self, words: Words, text: str, commas: frozenset[int]) -> Breath | None:
        """ "Front thirty four, rear thirty eight": of what is asked for all of it."""
        pieces: list[Words] = [()]
        for at, word in enumerate(words):
            if at in commas or word == "and":
                pieces.append(())
            pieces[-1] = (*pieces[-1], *(() if word == "and" else (word,)))
        found = [self._of_a_place(piece, text) for piece in pieces if len(pieces) > 1]
        asked = [one for one in found if one is not None]
        return (
            asked_of(text, asked, "of what was not said")
            if asked and len(asked) == len(found)
            else None
        )

    def _unknown(self, words: Words, text: str) -> Breath | None:
        told = self._trade.unknown_of(words)
        return None if told is None else Breath(text, (left_open(told, text),))

    def _of_what(self, words: Words, text: str) -> Breath | None:
        """What was said of a part that was not named in full, or not at all: asked with what it may be.

        "Lever pulls firm", "static sag thirty five", "wobbles at sixty".
        """
        said = words[1:] if words[:1] == ("the",) else words
        said = next((said[: -len(end)] for end in _SO_FAR if said[-len(end) :] == end), said)
        place = said[:1] if said[:1] and said[0] in _PLACES else ()
        rest = said[len(place) :]
        if not rest or self._subjects.read(words):
            return None
        names = self._named_in_part.get(rest[0], ())
        tried = [(*place, *name, *rest[1:]) for name in names]
        tried += [(*place, *name, *rest) for name in self._measured_parts.get(rest[0], ())]
        tried += [] if place or tried else [(*name, *rest) for name in _UNNAMED]
        found = [one for each in tried if (one := self._plain_finding(each, text)).offered]
        parts = {one.component for each in found for one in each.offered}
        if not found or len(parts) > _MOST_PARTS or any(one.dialogue for one in found):
            return None
        if any(one.condition == SOUND for each in found for one in each.offered) and not names:
            return None
        return asked_of(text, found, "of what was not said")

    @cached_property
    def _named_in_part(self) -> Mapping[str, tuple[Words, ...]]:
        """The last word of names -> a name of each component that ends so: "lever", "pedal"."""
        found: dict[str, dict[str, Words]] = {}
        for one in self.catalogue:
            for name in (tuple(p.split()) for t in (*one.spoken, *one.typed) for p in expand(t)):
                for last in (name[-1], other_number(name[-1])) if len(name) > 1 else ():
                    found.setdefault(last, {}).setdefault(one.name, name)
        return {word: tuple(names.values()) for word, names in found.items()}

    @cached_property
    def _measured_parts(self) -> Mapping[str, tuple[Words, ...]]:
        """The first word of what is measured -> a name of each component that it is measured of."""
        found: dict[str, dict[str, Words]] = {}
        for one in self.catalogue:
            name = tuple(expand((one.spoken or one.typed)[0])[0].split())
            for each in one.characteristics:
                for words in (p.split() for t in (*each.words, *each.typed) for p in expand(t)):
                    if words:
                        found.setdefault(words[0], {}).setdefault(one.name, name)
        return {word: tuple(names.values()) for word, names in found.items()}

    def _of_a_place(self, words: Words, text: str) -> Understanding | None:
        """ "Front's at thirty three psi": what has that place and can measure that, to be asked."""
        said = words[1:] if words[:1] == ("set",) else words
        said = said[1:] if said[:1] == ("the",) else said
        if said[-2:-1] == ("the",) and said[-3:-2] in _FOUND and said[-1] in _ENDS:
            said = (said[-1], *said[:-3])  # "thirty eight in the back"
        place = "rear" if said[:1] == ("back",) else next(iter(said), "")
        axis = next((a for a in ("end", "side") if place in self._subjects.values(a)), "")
        rest = said[2:] if said[1:2] == ("to",) else said[1:]
        if not axis or not rest:
            return None
        readings = [
            reading
            for component in self.catalogue
            if axis in {one.name for one in component.axes}
            for reading in self._values.read(
                About(component, None, component.axes, {axis: place}, 0), rest, text
            )[0]
            if reading.finding.quantity is not None
            and (reading.standing is Standing.FITS or _is_pressure(component, reading))
        ]
        decided = decide(readings, text, self._subjects.values)
        if decided is None or len(decided.offered) > _MOST_OFFERED:
            return None
        return _asked_in_full(decided, "of what was not said")

    def _did_you_mean(self, words: Words, text: str) -> Understanding | None:
        """A question about a mistyped noun; never an answer."""
        unknown = [n for n, word in enumerate(words) if word not in self._known_words]
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
            return _refused(text, "more than one finding in one utterance: say them one by one")
        graph = self.grammar.word_graph()
        told = why_not(words, abouts, reasons, self._values, lambda said: graph.follow(said)[1])
        return _refused(text, told)

    @cached_property
    def _known_words(self) -> frozenset[str]:
        typed = {word for phrase in self._dialogue.whole for word in phrase}
        return self.grammar.words | typed | self._typed_words

    @cached_property
    def _name_words(self) -> frozenset[str]:
        """Words of the names of parts, spoken or typed."""
        said = [(*c.spoken, *c.typed) for c in self.catalogue]
        return frozenset(
            w for names in said for text in names for p in expand(text) for w in p.split()
        )

    @cached_property
    def _nouns(self) -> tuple[str, ...]:
        """Words of components' names: the only ones that may be put right, by asking."""
        places_said = {
            word
            for name in self.grammar.rules
            if name.startswith("positions.")
            for phrase in phrases(self.grammar.rules, name)
            for word in phrase
        }
        said = [
            (
                *(c.spoken or c.typed),
                *(alone for k in c.characteristics for alone in k.alone),
            )
            for c in self.catalogue
        ]
        words = {w for names in said for text in names for p in expand(text) for w in p.split()}
        return tuple(sorted(word for word in words - places_said if len(word) > 2))


def _commas(plain: str, words: Words) -> frozenset[int]:
    """Before which of ``words`` a comma was typed; none where the figures do not tell."""
    at: list[int] = []
    told: Words = ()
    for stretch in re.split(r"[,;](?!\d)", plain):
        told += _words(stretch)
        at.append(len(told))
    return frozenset(at[:-1]) if told == words else frozenset()


def _seems_sound(part: Understanding) -> bool:
    """ "Seems okay" may be less than okay; what seems to be a fault is taken as one."""
    sound = part.finding is not None and part.finding.condition == SOUND
    return sound and not _SEEMS.isdisjoint(part.text.lower().split())


def _parted(text: str) -> bool:
    """Whether a comma stands between words that are one number without it: "thirty, five"."""
    plain = text.lower()
    if "," not in plain:
        return False
    words = _words(plain)
    return any(
        0 < at < len(words) and words[at - 1] in TENS and words[at] in DIGITS
        for at in _commas(plain, words)
    )


def in_words(text: str) -> list[Words]:
    """Every way to read ``text`` in the words of the grammar, the likeliest first."""
    return _ways(_written(text), text)


def value_said(said: Understanding) -> str:
    """The value of a bare correction as it was typed, so that doubts about its figures are not lost.

    Empty for everything else.
    """
    value = said.slots.get("value", "") if said.dialogue is CORRECTION else ""
    word, *rest = said.text.split(maxsplit=1) or [""]
    return rest[0] if value and rest and in_words(word) == [(CORRECTION,)] else value


def _ways(written: Written, text: str) -> list[Words]:
    return [_words(way.text) for way in written.ways] or [_words(text.lower())]


def _written(text: str, sign: DecimalSign | None = None) -> Written:
    plain = text.lower()
    if UNKNOWN in plain:
        return Written((Way(plain),))
    return read_written(respell_written(plain), sign)


def _is_accepted(breath: Breath | None) -> bool:
    return breath is not None and breath.whole.decision is Decision.ACCEPT


def _words(plain: str) -> Words:
    """The words of a text in lower case, as the grammar writes them."""
    if UNKNOWN in plain:
        return tuple(plain.split())
    return respell(tuple(word for word in normalise(plain).words if word not in _FILLERS))


def _asked_if_sound(found: Understanding) -> Understanding:
    """ "no play in the steering head" tells of one fault; whether all is well is asked.

    Where a place lacks too ("no nail in the tyre") only the whole sentence settles it: a short
    answer to the one question would pass for one to the other.
    """
    meant = (found.finding,) if found.finding is not None else found.candidates
    if any(one.condition != SOUND for one in meant):
        return found
    if found.decision is not Decision.ACCEPT or found.finding is None:
        return _asked_in_full(found, NOT_THERE)
    return replace(
        found,
        decision=Decision.ASK,
        reason=NOT_THERE,
        question=Question(Asks.SOUND, questions.this_finding(found.finding)),
        finding=None,
        candidates=(found.finding,),
    )


def _asked_in_full(found: Understanding, reason: str) -> Understanding:
    """A question that no short answer settles (``fieldlog.shop.conversation``)."""
    meant = (found.finding,) if found.finding is not None else found.candidates
    question = found.question_text or questions.this_finding(meant[0])
    return replace(
        found,
        decision=Decision.ASK,
        reason=reason,
        question=Question(Asks.IN_FULL, questions.in_full(question)),
        finding=None,
        candidates=meant if found.decision is Decision.ACCEPT else found.candidates,
    )


def _is_pressure(component: Component, reading: Reading) -> bool:
    """ "Front thirty four": of what has an end, a number without its unit is a tyre's pressure."""
    return component.system == "tyres" and reading.standing is Standing.NO_UNIT


def _is_fault(found: Understanding, catalogue: Catalogue) -> bool:
    """Whether what ``found`` says or asks about is a fault of one part, and nothing else."""
    if found.kind is not Kind.FINDING or not found.offered:
        return False
    return all(
        one.condition is not None
        and one.characteristic != WORK
        and catalogue[one.component].severity(one.condition, one.characteristic) is not None
        for one in found.offered
    )


def _as_sound(found: Understanding) -> Understanding:
    """The same with nothing wrong: what is said when the fault is denied."""
    return replace(
        found,
        finding=None if found.finding is None else replace(found.finding, condition=SOUND),
        candidates=tuple(replace(one, condition=SOUND) for one in found.candidates),
    )


def _noted(found: Understanding, said: str) -> Understanding:
    """The same with ``said`` kept beside each finding."""

    def with_note(one: Finding) -> Finding:
        return replace(one, given=(*one.given, (NOTED, said)))

    return replace(
        found,
        finding=None if found.finding is None else with_note(found.finding),
        candidates=tuple(with_note(one) for one in found.candidates),
    )


def _holds(abouts: Iterable[About], words: Words) -> bool:
    """Whether "oil in" is said of what holds oil anyway."""
    return words[1:] == ("in",) and any(words[0] in about.component.holds for about in abouts)


def _vocabulary(
    rules: Mapping[str, Rule],
    typed: Mapping[str, Rule],
    trade: Mapping[str, Rule],
    subjects: SubjectReader,
    catalogue: Catalogue,
) -> Vocabulary:
    conditions = {
        spoken_name(name): phrases(rules, name) for name in rules if name.startswith("conditions.")
    }
    faults = {spoken_name(n): phrases(rules, n) for n in rules if n.startswith("faults.")}
    last: dict[str, dict[Words, str]] = {}
    axes = [
        a for c in catalogue for a in (*c.axes, *(a for k in c.characteristics for a in k.axes))
    ]
    for axis in {a.name for a in axes}:
        rule = f"positions.{axis.replace(' ', '_')}_last"
        if rule in rules:
            own = {
                phrase: value
                for value in subjects.values(axis)
                for phrase in phrases(rules, f"positions.{value.replace(' ', '_')}")
            }
            last[axis] = {
                phrase: value
                for phrase in phrases(rules, rule)
                for words, value in own.items()
                if phrase[-len(words) :] == words
            }
        else:  # typed only: offered to listeners it would add half as many states again
            last[axis] = _behind(rules, axis, subjects.values(axis))
    return Vocabulary(
        copulas=(*phrases(rules, f"{GRAMMAR}.is"), *phrases(typed, "dialogue.typed_is")),
        conditions=conditions,
        faults=faults,
        readings=phrases(rules, f"{GRAMMAR}.readings"),
        last=last,
        typed=_named_rules(trade, "trade.is_"),
        works=_named_rules(trade, "trade.did_"),
        done_for=frozenset(phrases(trade, "trade.worn_out")),
    )


def _named_rules(rules: Mapping[str, Rule], start: str) -> Mapping[str, tuple[Words, ...]]:
    """Canonical name -> the phrases of the rule that is called ``start`` and it."""
    return {
        spoken_name(name.removeprefix(start)): phrases(rules, name)
        for name in rules
        if name.startswith(start)
    }


def _behind(rules: Mapping[str, Rule], axis: str, values: Iterable[str]) -> dict[Words, str]:
    """Words of a place that can follow what was found: "leaking on the right", "loose at the rear".

    Only with their preposition: "two millimetres left" is what is left of a pad.
    """
    after = f"positions.{axis.replace(' ', '_')}_after"
    said = phrases(rules, after) if after in rules else ()
    return {
        phrase: value
        for value in values
        for words in phrases(rules, f"positions.{value.replace(' ', '_')}")
        for phrase in said
        if phrase[:1] in (("at",), ("on",)) and phrase[2:] == words
    }


def _place_words(rules: Mapping[str, Rule]) -> Mapping[Words, frozenset[str]]:
    """Words of a place -> the canonical values they can mean."""
    found: dict[Words, set[str]] = {}
    for name, rule in rules.items():
        if name.startswith("positions.") and not any(references(rule.expression)):
            for phrase in phrases(rules, name):
                found.setdefault(phrase, set()).add(spoken_name(name))
                if spoken_name(name)[-1:].isdigit():
                    found.setdefault(("cell", *phrase), set()).add(spoken_name(name))
    return {phrase: frozenset(values) for phrase, values in found.items()}


def _spoken_rest(text: str, rest: str) -> str:
    """The remark as it was typed, if its words can be found there; else the normalised words."""
    typed = text.split()
    for at in range(1, min(len(typed), _LONGEST_OPENING + 1)):
        written = " ".join(typed[at:])
        if " ".join(in_words(written)[0]) == rest:
            return written
    return rest


def _refused(text: str, reason: str) -> Understanding:
    return Understanding(Decision.REFUSE, Kind.NOTHING, reason, text)
