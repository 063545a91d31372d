"""``OtherLanguage``: what is said in another language, understood as the reference language (pure).

What may be said, and what listeners are offered, is the other language's grammar. A sentence of it is said
in the words of the reference (``wording``) and understood as those: no decision knows of another language.
Where it can be said there in two ways that mean different things, it is asked about; where a word has no
meaning, it is refused.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

from fieldlog.grammar.automaton import Automaton
from fieldlog.grammar.expression import Rule
from fieldlog.grammar.forms import WrittenForms
from fieldlog.grammar.grammar import Grammar
from fieldlog.grammar.jsgf import to_jsgf
from fieldlog.grammar.parse import Parse
from fieldlog.grammar.phrases import phrase_list
from fieldlog.language.answering import AnsweringLanguage, with_answers
from fieldlog.language.breath import Breath, asked_of, breath_key
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.language.led import Led, LedLanguage, with_bare
from fieldlog.language.lexicon import Words, phrases
from fieldlog.language.tongue import Tongue, vocabulary
from fieldlog.language.wording import Wording, WordingGap
from fieldlog.language.writing import Writing
from fieldlog.model.finding import Finding
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.words.told import TellsIn

UTTERANCE, BREATH, ANSWER, REMARK = (
    "inspection.utterance",
    "spoken.breath",
    "answer.answer",
    "remark.remark",
)
_SHOWN = 6


@dataclass(frozen=True)
class SpokenRules:
    """The grammars of another language, closed."""

    offered: Grammar
    """What listeners are offered, and what may be said."""
    answers: Grammar
    typed: Grammar
    """Dialogue with its typed forms."""


class OtherLanguage(InspectionLanguage):
    """Implements ``fieldlog.listeners.base.Language`` for a tongue of its own."""

    def __init__(
        self,
        reference: InspectionLanguage,
        tongue: Tongue,
        spoken: SpokenRules,
        wording: Wording,
        told: TellsIn,
    ) -> None:
        """``reference`` understands what ``wording`` says for what ``spoken`` allows; ``told`` answers."""
        super().__init__(*reference.made_of)
        self._made = (reference, tongue, spoken, wording, told)
        self.told: TellsIn = told
        self.tongue = tongue
        self.name = f"inspection, {tongue.code}"
        self.hint, self.cue = tongue.hint, tongue.cue
        self.in_shop_words = bool(tongue.cue)
        self.speech = tongue.code
        self.twins = tongue.twins
        self.unsaid = tongue.unsaid
        self.spoken = spoken
        self.wording = wording
        rules = {**spoken.typed.rules, **spoken.answers.rules, **spoken.offered.rules}
        self.writing = Writing(tongue, vocabulary(rules), numerals(rules))
        self.forms = WrittenForms(
            _with_capital,
            {tuple(words.split()): ways for words, ways in tongue.heard.items()},
            frozenset(self.writing.numbers),
            self.writing.readings,
            tongue.hesitations,
            tongue.openings,
            frozenset(tongue.prefixes),
        )
        self._whole = lru_cache(maxsize=4096)(self._whole_breath)

    def __reduce__(self) -> tuple[object, ...]:
        """Sent to another process as its parts."""
        return OtherLanguage, self._made

    # --- for listeners -------------------------------------------------------------------------

    def word_graph(self) -> Automaton:
        """The automaton of what is said in this language."""
        return self.spoken.offered.word_graph()

    def jsgf(self) -> str:
        """The grammar as one closed JSGF text."""
        return self._other_jsgf

    @cached_property
    def _other_jsgf(self) -> str:
        return to_jsgf(self.spoken.offered, tags=False)

    def phrases(self) -> list[str]:
        """Phrases that hold every word and word pair."""
        return phrase_list(self.spoken.offered)

    def words(self) -> frozenset[str]:
        """Every word that can be said."""
        return self.spoken.offered.words

    def answering(self, asked: Understanding) -> AnsweringLanguage:
        """The language while ``asked`` is open."""
        language = AnsweringLanguage(self._other_answers, lambda text: self.answer(asked, text))
        language.hint, language.in_shop_words = self.hint, self.in_shop_words
        language.speech, language.forms, language.cue = self.speech, self.forms, self.cue
        return language

    @cached_property
    def _other_answers(self) -> Grammar:
        return with_answers(self.spoken.offered, self.spoken.answers)

    def led(self, led: Led) -> LedLanguage:
        """The language while the walk has asked for something: this one, and bare answers to that."""
        language = LedLanguage(self._other_bare, led, self.understand)
        language.by = self.led_by(led)
        language.hint, language.in_shop_words = self.hint, self.in_shop_words
        language.speech, language.forms, language.told = self.speech, self.forms, self.told
        language.cue = self.cue
        return language

    @cached_property
    def _other_bare(self) -> Grammar:
        return with_bare(self.spoken.offered, self.spoken.answers)

    def led_by(self, led: Led) -> Led:
        """What the walk asked for, by its names in this language; a name without one is none."""
        names = []
        for name in led.names:
            words = tuple(name.split())
            about = next((a for a in self._subjects.read(words) if a.used == len(words)), None)
            if about is not None:
                of = about.characteristic.name if about.characteristic else None
                named = Finding(about.component.name, about.position, of)
                names.append(self.told.subject(named).replace(",", ""))
        return replace(led, names=tuple(names))

    # --- meaning -------------------------------------------------------------------------------

    def breath(self, text: str) -> Breath:
        """All that ``text`` says, as what the reference language makes of it."""
        return self._whole(text)

    def typed(self, text: str) -> Breath:
        """``breath(text)``: what is no sentence of the language is refused, typed or heard."""
        return self._whole(text)

    def answer(self, asked: Understanding, text: str) -> Understanding:
        """What ``text`` means as an answer to ``asked``."""
        said = self.said(text, (ANSWER,)) or self._sentences(text)
        found: dict[object, Understanding] = {}
        for way in said:
            one = super().answer(asked, way)
            found.setdefault(
                (one.decision, tuple(each.meaning for each in one.offered), one.dialogue), one
            )
        if len(found) != 1:
            return _refused(text, self._why(text) if not found else self.told.lines["two_ways"])
        (one,) = found.values()
        return _retold(one, text, self.told)

    def said(self, text: str, rules: Sequence[str]) -> tuple[str, ...]:
        """The sentences of the reference that say what ``text`` says as one of ``rules``."""
        found: dict[str, None] = {}
        mark = "?" if "?" in text else ""
        for words in self.writing.ways(text):
            for rule in rules:
                for parse in self._parse(words, rule):
                    if not parse.complete:  # more may be meant than was kept
                        return ()
                    try:
                        found[self.wording.of(parse) + mark] = None
                    except WordingGap:
                        return ()
        return tuple(found)

    def _parse(self, words: Words, rule: str) -> tuple[Parse, ...]:
        spoken = self.spoken
        if rule == ANSWER:
            return spoken.answers.parse(words, rule)
        if rule == "dialogue.typed":
            return spoken.typed.parse(words, rule)
        return spoken.offered.parse(words, rule)

    def _sentences(self, text: str) -> tuple[str, ...]:
        return self.said(text, (UTTERANCE, "dialogue.typed")) or self.said(text, (BREATH,))

    def _whole_breath(self, text: str) -> Breath:
        remark = self._remark(text)
        if remark is not None:
            return Breath(text, (remark,))
        found: dict[tuple[Decision, str], Breath] = {}
        for way in self._sentences(text):
            one = super().breath(way)
            found.setdefault((one.whole.decision, breath_key(one)), one)
        taken = [one for one in found.values() if one.whole.decision is not Decision.REFUSE]
        if not taken:
            reason = self._why(text) if not found else next(iter(found.values())).whole.reason
            return Breath(text, (_refused(text, reason),))
        if len(taken) > 1:
            parts = [part for one in taken for part in one.parts if part.offered]
            if not parts:
                return Breath(text, (_refused(text, self.told.lines["two_ways"]),))
            both = asked_of(text, parts[:_SHOWN], self.told.lines["two_ways"])
            return replace(both, parts=tuple(_retold(one, text, self.told) for one in both.parts))
        (one,) = taken
        return replace(
            one, text=text, left_over=(),
            parts=tuple(_retold(part, text, self.told) for part in one.parts),
            agreed=tuple(_retold(part, text, self.told) for part in one.agreed),
        )  # fmt: skip

    def axis_values(self, axis: str) -> Sequence[str]:
        """The canonical values of an axis: ``end`` -> front, rear."""
        return self._subjects.values(axis)

    @property
    def yes(self) -> str:
        """The word that affirms."""
        return " ".join(phrases(self.spoken.offered.rules, "dialogue.affirm")[0])

    def aloud(self, told: str) -> str:
        """The words of a line that was told, figures and units spoken out."""
        ways = self.writing.ways(told)
        return " ".join(ways[0]) if ways else told

    def _remark(self, text: str) -> Understanding | None:
        """Free speech behind the words that open a remark, kept as it was typed."""
        typed = text.split()
        for opening in self._openings:
            head = " ".join(typed[: len(opening)]).lower().rstrip(":,")
            if tuple(head.split()) == opening and len(typed) > len(opening):
                rest = " ".join(typed[len(opening) :])
                return Understanding(
                    Decision.ACCEPT, Kind.REMARK, "a remark", text, slots={"remark": rest}
                )
        return None

    @cached_property
    def _openings(self) -> tuple[Words, ...]:
        return phrases(self.spoken.offered.rules, REMARK)

    def _why(self, text: str) -> str:
        """The first word that does not fit."""
        ways = self.writing.ways(text)
        if not ways or not ways[0]:
            return self.told.lines["nothing" if ways else "two_ways"]
        words = ways[0]
        fitting = self.word_graph().follow(words)[1]
        if fitting == len(words):
            return self.told.lines["not_finished"].format(text=" ".join(words))
        return self.told.lines["does_not_fit"].format(word=words[fitting])


def _with_capital(word: str) -> tuple[str, ...]:
    """A noun has a capital where nouns have one; the grammars have none."""
    return (word, word[:1].upper() + word[1:])


def numerals(rules: dict[str, Rule]) -> tuple[str, ...]:
    """The words of 0 to 99: the first of each leaf of figures."""
    return tuple(" ".join(phrases(rules, f"numbers.n_{n}")[0]) for n in range(100))


def _refused(text: str, reason: str) -> Understanding:
    return Understanding(Decision.REFUSE, Kind.NOTHING, reason, text)


def _retold(one: Understanding, text: str, told: TellsIn) -> Understanding:
    """The same, said as ``text`` and asked about as ``told`` asks."""

    def worded(finding: Finding) -> Finding:
        return replace(finding, words=text)

    asked = replace(one, text=text)
    return replace(
        asked,
        question=told.asked(asked).question,
        finding=None if one.finding is None else worded(one.finding),
        candidates=tuple(worded(each) for each in one.candidates),
        parts=tuple(_retold(part, text, told) for part in one.parts),
    )  # fmt: skip
