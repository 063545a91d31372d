"""``InspectionLanguage``: the grammars and the catalogue as one language, and what its texts mean.

Everything is closed at load: a fault in a grammar or an entry stops the start with all faults
listed, before a microphone is opened. ``load`` reads the files; all else is pure.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from functools import cached_property, lru_cache

from fieldlog.catalogue.component import SOUND, Catalogue, Component
from fieldlog.catalogue.phrases import expand
from fieldlog.grammar.expression import Rule
from fieldlog.grammar.forms import WrittenForms
from fieldlog.grammar.grammar import Grammar
from fieldlog.grammar.offered import OfferedGrammar
from fieldlog.language.answering import AnsweringLanguage, with_answers
from fieldlog.language.answers import Answers
from fieldlog.language.as_written import as_written
from fieldlog.language.asked import (
    NOT_SURE,
    asked_if_sound,
    is_fault,
    refused,
)
from fieldlog.language.breath import Breath, Phrases, breath_key
from fieldlog.language.breath_reader import BreathReader
from fieldlog.language.conditions import ARTICLES
from fieldlog.language.diagnose import UNKNOWN
from fieldlog.language.dialogue import CORRECTION, Dialogue
from fieldlog.language.hint import HINT
from fieldlog.language.in_words import (
    as_it_was_typed,
    commas_in,
    number_parted,
    ways_of,
    words_of,
    written_ways,
)
from fieldlog.language.led import Led, LedLanguage, with_bare
from fieldlog.language.left_open import left_open, of_everything
from fieldlog.language.lexicon import Words, phrases
from fieldlog.language.one_finding import FindingReader
from fieldlog.language.picking import Picking
from fieldlog.language.shape import Shaped
from fieldlog.language.shared import shared
from fieldlog.language.sides import sided
from fieldlog.language.spellings import owned_ways
from fieldlog.language.subjects import SubjectReader
from fieldlog.language.trade import TradeReader
from fieldlog.language.typed import only_typed, typed_words, widened
from fieldlog.language.unnamed import UnnamedReader
from fieldlog.language.values import ValueReader
from fieldlog.language.vocabulary import place_words, vocabulary
from fieldlog.model.command import Command
from fieldlog.model.question import Asks
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding
from fieldlog.quantities.written import DecimalSign, Way, Written
from fieldlog.words.told import TellsIn

WAS_SO = "it was so: whether it is so now was not said"
_WAS, _STILL = frozenset({"was", "were"}), frozenset({"is", "are", "now", "still"})
_BEGINS_A_QUESTION = frozenset(
    ("is", "are", "was", "were", "did", "does", "do", "has", "have", "had", "any")
)
"""No finding begins so: "is play in the rear wheel bearing"."""
_SEEMS = frozenset({"seems", "seem", "appears"})
PARTED = "a comma parts its number"
_LONGEST_BREATH = 1500
"""Characters: a minute of fast speech has fewer. Reading takes time with the square of the words."""
_MOST_WORDS = 250
"""Short words: as many as a minute has. Some of the reading goes as deep as there are words."""
_ENDLESS_FIGURES = re.compile(r"\d{25}")
"""More figures in a row than any number that is measured, or frame number, has."""
TOO_LONG = "longer than what is said at once: say it in parts"


def is_too_long(text: str) -> bool:
    """Whether it is more than anybody says at once: nothing of it is looked at then."""
    several = len(text) > _LONGEST_BREATH or len(text.split(maxsplit=_MOST_WORDS)) > _MOST_WORDS
    return several or _ENDLESS_FIGURES.search(text) is not None


class InspectionLanguage(OfferedGrammar):
    """Our own language; implements ``fieldlog.listeners.base.Language``."""

    name = "inspection"
    hint = HINT
    """A text of its kind, for listeners that can use one."""
    in_shop_words = True
    """Listeners trained on speech of this kind may tell themselves so."""
    speech = "en"
    forms: WrittenForms | None = None
    """How its words may be written; None: as those of the reference."""
    told: TellsIn | None = None
    """How it tells and asks; None: as the reference does."""

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
        self._values = ValueReader(
            vocabulary(rules, dialogue.rules, trade.rules, self._subjects, catalogue)
        )
        self._trade = TradeReader(
            trade.rules, trade.words, self._subjects, self._values, lambda: self._name_words
        )
        self._dialogue = Dialogue.of(rules, self._subjects, dialogue.rules)
        self._answers = Answers(
            catalogue,
            Picking(catalogue, place_words(answers.rules)),
            phrases(answers.rules, "answer.both"),
            phrases(answers.rules, "answer.all"),
            self._values,
            self._subjects.values,
            lambda text: self._alone(text),
            self._dialogue,
        )
        axes = {a.name for c in catalogue for a in c.axes} | {
            a.name for c in catalogue for k in c.characteristics for a in k.axes
        }
        self._breath_words = breath.words
        self._one = FindingReader(
            grammar,
            catalogue,
            self._subjects,
            self._values,
            self._trade,
            self._trade.words | typed_words(catalogue),
            self._dialogue,
        )
        self._unnamed = UnnamedReader(catalogue, self._subjects, self._values, self._one.plain)
        self._breaths = BreathReader(
            lru_cache(maxsize=4096)(self._one.part),
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

    def led_by(self, led: Led) -> Led:
        """What the walk asked for, by the names it has in this language."""
        return led

    # --- meaning -------------------------------------------------------------------------------

    def understand(self, text: str) -> Understanding:
        """Parse ``text``: the finding or findings, dialogue word or remark it is, what to ask, or why
        not."""
        return self.breath(text).whole

    def breath(self, text: str) -> Breath:
        """All that ``text`` says: several findings in order, or the one thing it is.

        One finding, command or remark is what it is by itself. What is longer than anybody says at once is
        refused whole.
        """
        if is_too_long(text):
            return Breath(text, (refused(text, TOO_LONG),))
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
            return Breath(text, (replace(asked_if_sound(whole), reason=NOT_SURE),))
        if any(one.quantity is not None for one in whole.offered) and number_parted(text):
            return found.asked(PARTED)
        if any(_was_so(part, self.catalogue) for part in found.parts):
            return found.asked(WAS_SO)
        return found

    def _all_of(self, text: str) -> Breath:
        said = self._alone(text)
        one = Breath(text, (said,))
        if said.dialogue is Command.SKIP:
            self._breaths.afresh()
            return self._beside_reason(one, said)
        is_one = said.decision is not Decision.REFUSE and said.asks is not Asks.OF_WHAT
        if is_one and Flag.REPAIRED not in said.flags:
            return self._every(said, text) or one
        self._breaths.afresh()
        written = written_ways(text, self._sign)
        found = [(way, self._cut(words_of(way.text), said, text)) for way in written.ways]
        if any(way.sure and _is_accepted(breath) for way, breath in found):
            found = [(way, breath) for way, breath in found if way.sure or _is_accepted(breath)]
        cut = [(way, breath) for way, breath in found if breath is not None]
        if not cut or all(b.whole.decision is not Decision.ACCEPT for _, b in cut):
            found_shared = (
                self._shared(ways_of(written, text)[0], text) if len(found) == 1 else None
            )
            if found_shared is not None:
                return found_shared
        if all(b.whole.decision is Decision.REFUSE for _, b in cut) and len(found) == 1:
            asked = self._last_resort(ways_of(written, text)[0], text)
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

    def _every(self, said: Understanding, text: str) -> Breath | None:
        """ "Indicators all working" leaves no place open: it was said of every one."""
        if said.asks is not Asks.PLACE:
            return None
        words = ways_of(written_ways(text, self._sign), text)[0]
        each = {phrase[0] for phrase in self._trade.each}
        if each.isdisjoint(words):
            return None
        words = words[1:] if words[0] in ARTICLES else words
        self._breaths.afresh()
        found = self._shared(words, text)
        return found if _is_accepted(found) else None

    def _shared(self, words: Words, text: str) -> Breath | None:
        """What one thing was said of several, where all of it is understood."""
        asked: Breath | None = None
        if CORRECTION in words:
            return None
        for pieces in shared(words, self._subjects, self._trade.each):
            parts = [self._one.part(piece) for piece in pieces]
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
        known = self._one.known_words | self._breath_words
        if said.decision is Decision.REFUSE and meant is not None and known.issuperset(words):
            return Breath(text, (self._one.correction(meant, text),))
        commas = commas_in(text.lower(), words)
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
            return Breath(one.text, (refused(one.text, told),))
        return Breath(one.text, beside).asked("a finding behind a reason") if beside else one

    def answer(self, asked: Understanding, text: str) -> Understanding:
        """What ``text`` means as an answer to what was ``asked`` (an understanding that asks)."""
        if is_too_long(text):
            return refused(text, TOO_LONG)
        written = written_ways(text, self._sign)
        ways = [self._answers.answer(asked, text, words_of(way.text)) for way in written.ways]
        found = as_written(written, ways, text)
        if "?" in text and found.decision is Decision.ACCEPT:  # "psi?", "yes?" settle nothing
            return replace(asked, text=text, reason=NOT_SURE)
        return sided(ways_of(written, text)[0], found)

    def conditions_of(self, component: Component) -> frozenset[tuple[str, ...]]:
        """Every phrase that judges ``component`` as a whole."""
        return frozenset(self._values.conditions_of(component, None))

    def meaning(self, text: str) -> str:
        """A key equal for texts that mean the same; "" when the text is refused."""
        return breath_key(self.breath(text))

    def _understand(self, text: str) -> Understanding:
        written = written_ways(text, self._sign)
        words = ways_of(written, text)
        found = self._dialogue.understand(words[0], text)
        if found is not None:
            if found.kind is Kind.REMARK:
                return replace(
                    found, slots={"remark": as_it_was_typed(text, found.slots["remark"])}
                )
            return found
        said = as_written(written, [self._one.whole(one, text) for one in words], text)
        return sided(words[0], said)

    def _last_resort(self, words: Words, text: str) -> Understanding | None:
        """What is asked about where the words are nothing else, and no answer either."""
        piece = self._trade.of_a_piece(words)
        return self._unnamed.of_a_place(words, text) if piece is None else left_open(piece, text)

    def typed(self, text: str) -> Breath:
        """``breath(text)`` of what somebody typed: what is refused is asked about, where something of
        it is known.

        What was heard is refused instead: of words that were only guessed there is nothing to ask.
        """
        found = self.breath(text)
        if is_too_long(text):
            return found
        ways = written_ways(text, self._sign).ways
        if found.whole.decision is not Decision.REFUSE or len(ways) != 1:
            return found
        words = words_of(ways[0].text)
        if found.whole.kind is not Kind.NOTHING or UNKNOWN in words:
            return found
        commas = commas_in(text.lower(), words)
        asked = self._unnamed.of_places(words, text, commas)
        asked = asked or self._breaths.with_left_over(words, text, commas)
        return (
            asked
            or self._unnamed.of_what(words, text)
            or self._unnamed.of_several(words, text, self.typed)
            or self._unknown(words, text)
            or (Breath(text, (of_everything(text),)) if self._trade.is_everything(words) else found)
        )

    def _unknown(self, words: Words, text: str) -> Breath | None:
        told = self._trade.unknown_of(words)
        return None if told is None else Breath(text, (left_open(told, text),))

    @cached_property
    def _name_words(self) -> frozenset[str]:
        """Words of the names of parts, spoken or typed."""
        said = [(*c.spoken, *c.typed) for c in self.catalogue]
        return frozenset(
            w for names in said for text in names for p in expand(text) for w in p.split()
        )


def _was_so(part: Understanding, catalogue: Catalogue) -> bool:
    """A fault that was: it may have been put right since. A value that was read is the reading."""
    words = frozenset(part.text.lower().replace(",", " ").split())
    return not _WAS.isdisjoint(words) and _STILL.isdisjoint(words) and is_fault(part, catalogue)


def _seems_sound(part: Understanding) -> bool:
    """ "Seems okay" may be less than okay; what seems to be a fault is taken as one."""
    sound = part.finding is not None and part.finding.condition == SOUND
    return sound and not _SEEMS.isdisjoint(part.text.lower().split())


def _is_accepted(breath: Breath | None) -> bool:
    return breath is not None and breath.whole.decision is Decision.ACCEPT
