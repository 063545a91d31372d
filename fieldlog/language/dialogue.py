"""Dialogue words and remarks: what is said to the tool, not of the vehicle (pure)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from fieldlog.errors import GrammarError
from fieldlog.grammar import expression as ex
from fieldlog.language.diagnose import UNKNOWN
from fieldlog.language.lexicon import Words, phrases, spoken_name
from fieldlog.language.subjects import About, SubjectReader
from fieldlog.model.command import Command
from fieldlog.model.question import Asks, Question
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.words import questions

CORRECTION = Command.CORRECTION
_OPENS_A_REASON = frozenset(
    (
        *("no", "not", "none", "never", "nobody", "cannot", "cant", "without", "missing", "needs"),
        *(
            "already",
            "done",
            "checked",
            "customer",
            "owner",
            "its",
            "it",
            "out",
            "waiting",
            "later",
        ),
    )
)
"""First words of a reason that is not in the list."""
_NOT_REACHABLE = "not reachable"
_TYPED = "typed "
_OF = {
    Command.PHOTO: "dialogue.photo_of",
    Command.SKIP: "dialogue.skip",
    Command.HOW_TO_CHECK: "dialogue.how_to_check_of",
    Command.READ_BACK: "dialogue.read_back_of",
}
"""Dialogue word -> the rule of its form with something behind it."""


@dataclass(frozen=True)
class Dialogue:
    """The dialogue phrases of the loaded grammars."""

    whole: Mapping[Words, Command]
    """Phrases that are a whole utterance -> what they are."""
    heads: tuple[tuple[Words, Command], ...]
    """Phrases before a component -> the canonical word, longest first."""
    because: tuple[Words, ...]
    reasons: Mapping[Words, str]
    remarks: tuple[Words, ...]
    subjects: SubjectReader
    out_of_reach: frozenset[Words] = frozenset()
    """Phrases before what could not be got at: the reason is in them."""
    was_not: tuple[Words, ...] = ()
    """Phrases behind what was not looked at."""

    @cached_property
    def openings(self) -> tuple[tuple[Words, Command], ...]:
        """Yes and no, longest first, as they stand before more of an answer ("no, 4 mm")."""
        said = [
            each for each in self.whole.items() if each[1] in (Command.AFFIRM, Command.NEGATIVE)
        ]
        return tuple(sorted(said, key=lambda each: -len(each[0])))

    @classmethod
    def of(
        cls, rules: Mapping[str, ex.Rule], subjects: SubjectReader, typed: Mapping[str, ex.Rule]
    ) -> Dialogue:
        """From the closed grammar; ``typed`` holds all of dialogue.jsgf, its typed forms too."""
        whole = {}
        for start in ("dialogue.dialogue", "dialogue.typed"):
            for choice in _references(typed[start].expression):
                command = _command(spoken_name(choice).removeprefix(_TYPED))
                whole.update(dict.fromkeys(phrases(typed, choice), command))
        heads = [(phrase, word) for word, rule in _OF.items() for phrase in phrases(typed, rule)]
        reach = phrases(typed, "dialogue.could_not_reach")
        undone = (*reach, *phrases(typed, "dialogue.could_not"))
        heads += [(before, Command.SKIP) for before in undone]
        reasons = {
            phrase: spoken_name(choice)
            for choice in _references(typed["dialogue.reason"].expression)
            for phrase in phrases(typed, choice)
        }
        return cls(
            whole,
            tuple(sorted(heads, key=lambda head: -len(head[0]))),
            phrases(typed, "dialogue.because"),
            reasons,
            tuple(sorted(phrases(rules, "remark.remark"), key=len, reverse=True)),
            subjects,
            frozenset(reach),
            tuple(sorted(phrases(typed, "dialogue.was_not"), key=len, reverse=True)),
        )

    def understand(self, words: Words, text: str) -> Understanding | None:
        """The dialogue word that ``words`` are as a whole, or None. ``text`` is what was typed."""
        word = self.whole.get(words)
        if word is not None:
            return _spoken(word, text)
        for phrase in self.remarks:
            if words[: len(phrase)] == phrase:
                said = " ".join(words[len(phrase) :])
                return Understanding(
                    Decision.ACCEPT, Kind.REMARK, "a remark", text, slots={"remark": said}
                )
        for head, word in self.heads:
            if words[: len(head)] == head and len(words) > len(head):
                reason = _NOT_REACHABLE if head in self.out_of_reach else ""
                found = self._with_thing(word, words[len(head) :], text, reason)
                if found is not None:
                    return found
        for about in self.subjects.read(words) if "not" in words else ():
            behind = words[about.used :]
            for phrase in self.was_not:
                if behind[: len(phrase)] == phrase:
                    return self._skipped(about, behind[len(phrase) :], text)
        return None

    def _skipped(self, about: About, said: Words, text: str, reason: str = "") -> Understanding:
        known = reason if reason and not said else self.reason(said)
        if known is None:
            return _why_skipped(about, text)
        return _spoken(Command.SKIP, text, **_slots(about, known))

    def _with_thing(
        self, word: Command, rest: Words, text: str, reason: str = ""
    ) -> Understanding | None:
        for about in self.subjects.read(rest):
            if word is Command.SKIP:
                return self._skipped(about, rest[about.used :], text, reason)
            if about.used != len(rest):
                continue
            return _spoken(word, text, **_slots(about, ""))
        return None

    def reason(self, said: Words) -> str | None:
        """The reason that was said: one of the list, else in the speaker's own words.

        None where the words are no reason.
        """
        given = next((b for b in self.because if said[: len(b)] == b), ())
        said = said[len(given) :]
        known = self.reasons.get(said)
        if known is not None or not said or UNKNOWN in said:
            return known
        return " ".join(said) if given or said[0] in _OPENS_A_REASON else None


def _why_skipped(about: About, text: str) -> Understanding:
    """Nothing is left out without a reason: it is asked for."""
    why = questions.why_skipped(about.component.name, about.position)
    return Understanding(
        Decision.ASK,
        Kind.DIALOGUE,
        "an item is skipped with its reason",
        text,
        question=Question(Asks.WHY_SKIPPED, why),
        slots=_slots(about, ""),
        dialogue=Command.SKIP,
    )


def _command(name: str) -> Command:
    """The command of that name: a word that does nothing is not offered."""
    try:
        return Command(name)
    except ValueError:
        known = ", ".join(Command)
        raise GrammarError(
            f"<{name.replace(' ', '_')}> is no command",
            where="dialogue.jsgf",
            todo=f"one of {known}",
        ) from None


def _spoken(word: Command, text: str, **slots: str) -> Understanding:
    if word is Command.SIGN_OFF:
        return Understanding(
            Decision.ASK, Kind.DIALOGUE, "a signature is agreed to", text,
            question=Question(Asks.SIGN_OFF, questions.SIGN_OFF), dialogue=word,
        )  # fmt: skip
    return Understanding(
        Decision.ACCEPT, Kind.DIALOGUE, f"dialogue: {word}", text, slots=slots, dialogue=word
    )


def _slots(about: About, reason: str) -> dict[str, str]:
    slots = {"component": about.component.name}
    if about.position:
        slots["position"] = about.position
    if about.characteristic:
        slots["characteristic"] = about.characteristic.name
    if reason:
        slots["reason"] = reason
    return slots


def _references(expression: ex.Expression) -> list[str]:
    choices = expression.choices if isinstance(expression, ex.Alternative) else (expression,)
    return [choice.name for choice in choices if isinstance(choice, ex.Reference)]
