"""What is said after a question: the candidate it picks, or the value said anew (pure)."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from fieldlog.catalogue.component import SOUND, Catalogue
from fieldlog.language.breath import Breath, doubted
from fieldlog.language.decide import decide
from fieldlog.language.dialogue import Dialogue
from fieldlog.language.lexicon import Words
from fieldlog.language.picking import VALUE_IN_DOUBT, Pick, Picking, plausible
from fieldlog.language.reading import Reading, Standing
from fieldlog.language.subjects import About, about_of
from fieldlog.language.values import ValueReader
from fieldlog.model.command import Command
from fieldlog.model.finding import Finding
from fieldlog.model.question import Asks, Question, Settled
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding
from fieldlog.quantities import numbers, units
from fieldlog.quantities.values import DOUBTFUL
from fieldlog.words import questions, tell

APART = " / "
"""Between the words of a question's utterance and those of its answer."""


@dataclass(frozen=True)
class Answers:
    """Reads answers with the phrases of the loaded grammars."""

    catalogue: Catalogue
    picking: Picking
    both: tuple[Words, ...]
    every: tuple[Words, ...]
    """What takes both places that were asked about; what takes all of them."""
    values: ValueReader
    axis_values: Callable[[str], Sequence[str]]
    understand: Callable[[str], Understanding]
    dialogue: Dialogue

    def answer(self, asked: Understanding, text: str, words: Words) -> Understanding:
        """``asked`` with the answer ``text``: accepted, asked again with fewer candidates, or refused.

        ``words``: those of ``text``. A whole finding or another dialogue word instead of an answer
        counts as what it is.
        """
        whole = self.understand(text)
        if whole.kind is Kind.DIALOGUE and whole.dialogue in (Command.AFFIRM, Command.NEGATIVE):
            return self._yes_or_no(asked, whole)
        if whole.decision is not Decision.REFUSE:
            return whole
        if asked.asks is Asks.WHY_SKIPPED:
            return self._because(asked, whole, words)
        every = self._every(asked, text, words)
        if every is not None:
            return every
        said, after = self._short(asked, text, words), self._behind_yes_or_no(asked, text, words)
        if said is not None and after is not None:
            # "negative, three degrees": no, or below zero? "no, less than one": that, or "no less"?
            return after if said.asks is Asks.HARDLY_POSSIBLE else _contradicted(after, said)
        return (
            said
            or after
            or replace(
                whole,
                reason=f"no answer to '{asked.question_text}': {whole.reason}",
                question=asked.question,
                candidates=asked.offered,
            )
        )

    def _every(self, asked: Understanding, text: str, words: Words) -> Understanding | None:
        """ "Which side?" "Both": a finding for each place, where nothing but the place was open."""
        places = len(asked.offered)
        taken = (words in self.both and places == 2) or (
            words in self.every and places > 1 and ("four" not in words or places == 4)
        )
        doubt = VALUE_IN_DOUBT | {Flag.UNIT_ASSUMED, Flag.UNCLEAR}
        if not taken or not doubt.isdisjoint(asked.flags):
            return None
        if asked.asks is not Asks.PLACE and not (
            asked.asks is Asks.WHICH
            and len({replace(one, position=None).meaning for one in asked.offered}) == 1
        ):
            return None
        said = _both(asked.text, text)
        flags = tuple(dict.fromkeys((*asked.flags, Flag.ANSWERED)))
        parts = tuple(
            replace(
                asked, decision=Decision.ACCEPT, reason="answered", text=said, question=None,
                finding=replace(one, words=said), candidates=(), flags=flags,
            )
            for one in asked.offered
        )  # fmt: skip
        return Breath(said, parts).whole

    def _because(self, asked: Understanding, whole: Understanding, words: Words) -> Understanding:
        """The reason that was asked for: "no time"."""
        reason = self.dialogue.reason(words) if words else None
        if not reason:
            return replace(whole, reason="no reason was understood", question=asked.question)
        return replace(
            asked, decision=Decision.ACCEPT, reason="answered", question=None,
            text=_both(asked.text, whole.text), slots={**asked.slots, "reason": reason},
            flags=(Flag.ANSWERED,),
        )  # fmt: skip

    def _behind_yes_or_no(
        self, asked: Understanding, text: str, words: Words
    ) -> Understanding | None:
        """ "No, 4 mm", "yes, the front one": what is said behind it counts, where the two agree.

        "Yes, 3 mm" after "2 mm?" and "no, 2 mm" contradict themselves: it is asked which.
        """
        for opening, command in self.dialogue.openings:
            rest = words[len(opening) :]
            if words[: len(opening)] != opening or not rest:
                continue
            found = self.answer(asked, " ".join(rest), rest)
            if found.decision is Decision.REFUSE or found.kind is not Kind.FINDING:
                return None
            if opening == ("no",) and self._is_fault(rest):
                return doubted(found, "'no' answers, or says that there is none", Asks.IN_FULL)
            found = replace(found, text=_both(asked.text, text))
            before = {one.meaning for one in asked.offered}
            agrees = all(one.meaning in before for one in found.offered)
            denied = command is Command.NEGATIVE and agrees and len(before) == 1
            if denied or (command is Command.AFFIRM and not agrees):
                return _contradicted(asked, found)
            if command is Command.AFFIRM and found.decision is Decision.ASK:
                agreed = self._yes_or_no(asked, replace(found, dialogue=command, text=text))
                return agreed if agreed.decision is Decision.ACCEPT else found
            return found
        return None

    def _is_fault(self, words: Words) -> bool:
        """Whether the words are a whole finding that names a fault: "frame cracks"."""
        offered = self.understand(" ".join(words)).offered
        return any(one.condition not in (None, SOUND) for one in offered)

    def _short(self, asked: Understanding, text: str, words: Words) -> Understanding | None:
        """What the words pick, or the value they say anew, a place before or behind it included."""
        candidates = asked.offered
        taken = [] if asked.asks is Asks.ALL_OF_IT else [*self._taken(asked, candidates, words)]
        if taken and all(left == taken[0][1] for pick, left in taken if pick.repeats):
            return self._narrowed(asked, taken[0][1], text, taken[0][0])
        if asked.asks is Asks.ALL_OF_IT:
            return None
        anew = self._said_anew(asked, candidates, words, text) or self._placed(asked, text, words)
        if anew is not None and any(says_nothing_of(asked.offered, one) for one in anew.offered):
            # "rear tread one", "1 mm?", "fine": that is yes, or that nothing was measured
            return _contradicted(asked, anew)
        same = [one for one in asked.offered if _is_number_of(one, anew)] if anew else []
        if anew is not None and same and numbers.readings(words):
            # "3/8 mm?", and "three eighths", which are of an inch where nothing is said before
            return _contradicted(asked, anew)
        return anew

    def _placed(self, asked: Understanding, text: str, words: Words) -> Understanding | None:
        """ "Front 36 psi", "36 psi at the front": a place, and what is said of it."""
        for at in range(len(words) - 1, 0, -1):
            for place, rest in ((words[:at], words[at:]), (words[at:], words[:at])):
                left = tuple(one for one in asked.offered if self.picking.has_place(one, place))
                if left:
                    only = left[0] if len(left) == 1 else None
                    there = replace(asked, finding=only, candidates=left)
                    found = self._short(there, text, rest)
                    if found is not None:
                        return found
        return None

    def _yes_or_no(self, asked: Understanding, said: Understanding) -> Understanding:
        if said.dialogue is Command.AFFIRM and asked.dialogue is Command.SIGN_OFF:
            return replace(asked, decision=Decision.ACCEPT, question=None, flags=(Flag.ANSWERED,))
        if said.dialogue is Command.AFFIRM and asked.command_asked is not None:
            flags = (*asked.flags, Flag.ANSWERED)
            return replace(
                asked, decision=Decision.ACCEPT, reason="answered", question=None, flags=flags,
                text=_both(asked.text, said.text),
            )  # fmt: skip
        if said.dialogue is Command.AFFIRM and asked.asks is Asks.ALL_OF_IT:
            return said  # what it takes is several findings: ``Breath.agreed``
        by_yes = asked.question is not None and asked.question.kind.settled is Settled.BY_YES
        if said.dialogue is Command.AFFIRM and by_yes and len(asked.offered) == 1:
            yes = Pick(lambda one: True, repeats=True, tells_unit=True, affirms=True)
            return self._narrowed(asked, asked.offered, said.text, yes)
        if said.dialogue is Command.AFFIRM:
            both = _both(asked.text, said.text)
            return replace(asked, reason="affirm does not say which", text=both)
        return Understanding(
            Decision.REFUSE, Kind.DIALOGUE, "not what was meant: say it again", said.text,
            dialogue=Command.NEGATIVE,
        )  # fmt: skip

    def _taken(
        self, asked: Understanding, candidates: tuple[Finding, ...], words: Words
    ) -> Iterator[tuple[Pick, tuple[Finding, ...]]]:
        """Every way in which the words take some of the candidates, and what they take."""
        for pick in self.picking.picks(words, asked, candidates):
            left = tuple(one for one in candidates if pick.takes(one))
            if left and (len(left) < len(candidates) or (pick.confirms and len(left) == 1)):
                yield pick, left

    def _narrowed(
        self, asked: Understanding, left: tuple[Finding, ...], text: str, pick: Pick
    ) -> Understanding:
        """``asked`` with the candidates ``left``: accepted where nothing of it is open any more."""
        both = _both(asked.text, text)
        sure = pick.affirms or (pick.repeats and len(asked.candidates) < 2)
        settled = dict.fromkeys((*DOUBTFUL, Flag.ODD), pick.repeats)
        settled |= {
            Flag.UNIT_ASSUMED: pick.tells_unit,
            Flag.UNCLEAR: sure,
            Flag.DID_YOU_MEAN: pick.affirms,
        }
        kept = (flag for flag in asked.flags if not settled.get(flag, False))
        flags = tuple(dict.fromkeys((*kept, Flag.ANSWERED)))
        if len(left) > 1:
            return replace(
                asked,
                candidates=left,
                finding=None,
                text=both,
                question=Question(Asks.WHICH, questions.still_open(left)),
                flags=flags,
            )
        finding = replace(left[0], words=both)
        about = self._about(finding)
        if about is not None and about.missing:
            reading = Reading(about, finding, Standing.UNPLACED)
            placed = decide([reading], both, self.axis_values) or asked
            return replace(placed, slots=asked.slots, dialogue=asked.dialogue, flags=flags)
        still = self._open(finding, flags, repeated=pick.repeats)
        if still is not None:
            question, reason = still
            return replace(
                asked, finding=finding, candidates=(finding,), text=both, question=question,
                reason=reason, flags=flags,
            )  # fmt: skip
        return Understanding(
            Decision.ACCEPT,
            Kind.FINDING,
            "answered",
            both,
            finding=finding,
            slots=asked.slots,
            dialogue=asked.dialogue,
            flags=flags,
        )

    def _open(
        self, one: Finding, flags: Sequence[Flag], *, repeated: bool
    ) -> tuple[Question, str] | None:
        """What is still to be asked about the only candidate left, and why."""
        known = self.picking.known(one)
        value = one.quantity
        if Flag.DID_YOU_MEAN in flags:
            told = questions.did_you_mean(one)
            return Question(Asks.DID_YOU_MEAN, told), "a word of it is not known"
        if any(not reading.unit for reading in one.readings):
            return Question(Asks.UNIT, questions.unit(())), "no unit was said for the readings"
        if value is not None and not repeated and not plausible(value, known):
            told = questions.value_again(tell.quantity(value))
            return Question(Asks.HARDLY_POSSIBLE, told), "hardly possible"
        if value is not None and not DOUBTFUL.isdisjoint(flags):
            told = questions.value_again(tell.quantity(value))
            return Question(Asks.SLIP, told), "the words can be a slip of the tongue"
        if Flag.UNIT_ASSUMED in flags and value is not None:
            told = questions.this_quantity(value)
            return Question(Asks.ASSUMED_UNIT, told), "the unit was not said"
        if Flag.ODD in flags:
            told = questions.this_finding(one)
            return Question(Asks.FIGURES, told), "its figures can be read in other ways"
        if Flag.UNCLEAR in flags:
            told = questions.did_you_say_so(one)
            return Question(Asks.HEARD, told), "not heard clearly enough to count unasked"
        return None

    def _said_anew(
        self, asked: Understanding, candidates: Sequence[Finding], words: Words, text: str
    ) -> Understanding | None:
        """The value once more, of the same subject and with the facts said before ("four mm").

        Only yes confirms the subject, where that was in doubt.
        """
        subjects = {(c.component, c.position, c.characteristic): c for c in candidates}
        if len({one.given for one in candidates}) > 1:
            return None
        both = _both(asked.text, text)
        readings = [
            replace(reading, finding=replace(reading.finding, given=one.given))
            if one.given and not reading.finding.given
            else reading
            for one in subjects.values()
            if (about := self._about(one)) is not None and words
            for said in self._anew(asked, one, words)
            for reading in self.values.read(about, said, both)[0]
        ]
        found = decide(readings, text, self.axis_values)
        if found is None:
            return None
        doubt = [flag for flag in asked.flags if flag in (Flag.UNCLEAR, Flag.DID_YOU_MEAN)]
        flags = tuple(dict.fromkeys((*found.flags, *doubt, Flag.ANSWERED)))
        found = replace(found, text=both, dialogue=asked.dialogue, flags=flags)
        if found.decision is Decision.ACCEPT and found.finding is not None and doubt:
            still = self._open(found.finding, flags, repeated=True)
            assert still is not None  # one of its flags is open
            question, reason = still
            return replace(
                found, decision=Decision.ASK, question=question, reason=reason,
                candidates=(found.finding,),
            )  # fmt: skip
        return found

    @staticmethod
    def _anew(asked: Understanding, one: Finding, words: Words) -> Iterator[Words]:
        """The answer's words; behind the number that lacked its unit, where they are a unit."""
        yield words
        if Flag.UNIT_ASSUMED in asked.flags and one.quantity is not None and units.meanings(words):
            yield (*one.quantity.words.split(), *words)

    def _about(self, one: Finding) -> About | None:
        return about_of(one, self.catalogue, self.axis_values)


def _contradicted(asked: Understanding, found: Understanding) -> Understanding:
    """Yes, and another value; no, and the same one; the number in another unit: which was meant?"""
    each = {one.meaning: one for one in (*asked.offered, *found.offered)}
    both = tuple(each.values())
    several = len(both) > 1
    told = questions.still_open(both) if several else questions.this_finding(both[0])
    return replace(
        asked,
        decision=Decision.ASK,
        reason="what was said contradicts itself, or what was asked",
        finding=None if several else both[0],
        candidates=both,
        question=Question(Asks.WHICH if several else Asks.HEARD, told),
        text=found.text,
        flags=tuple(dict.fromkeys((*asked.flags, *found.flags))),
    )


def says_nothing_of(offered: Sequence[Finding], now: Finding) -> bool:
    """Whether ``now`` leaves out all that was asked about, a value or a fault, and says another thing."""
    return bool(offered) and all(now.says.leaves_out(one.says) for one in offered)


def _is_number_of(one: Finding, anew: Understanding) -> bool:
    """Whether ``anew`` takes the number of ``one`` in another unit, unasked."""
    now = anew.finding.quantity if anew.finding is not None else None
    if anew.decision is not Decision.ACCEPT or now is None or one.quantity is None:
        return False
    was = one.quantity
    return (was.value, was.high) == (now.value, now.high) and was.unit != now.unit


def _both(first: str, second: str) -> str:
    """The words of question and answer as they were said, apart."""
    return f"{first}{APART}{second}"
