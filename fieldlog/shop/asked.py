"""The questions of one inspection: which utterance asked what, also as the record kept it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from fieldlog.aftercare.plan import left_open
from fieldlog.doubt.decide import asked_instead
from fieldlog.doubt.question import telling_more
from fieldlog.hearing import Heard
from fieldlog.language.answers import APART
from fieldlog.language.in_words import in_words
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.command import Command
from fieldlog.model.question import Asks, Question
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding
from fieldlog.shop.conversation import Conversation
from fieldlog.shop.earlier import (
    but_commands_asked,
    is_command_asked,
    since,
    taken_back_last,
    waiting_in,
)
from fieldlog.shop.scene import Scene
from fieldlog.shop.settling import TAKES_NOTHING
from fieldlog.shop.steps import AskedLast, closes
from fieldlog.store.kept_question import KeptQuestion
from fieldlog.store.records import InspectionRecord, Utterance
from fieldlog.words import questions

SceneOf = Callable[[InspectionRecord], Scene]


_OF_WHAT_WAS_SAID = frozenset(
    {Command.DISREGARD, Command.PHOTO, Command.WHY, Command.READ_BACK, Command.HOW_TO_CHECK}
)
"""What is of what was said last, where it names nothing."""
_OF_NONE = (Command.SKIP, Command.SIGN_OFF)
"""What has no finding."""
_OPENING = 3
"""Words by which a command is known."""


class OpenQuestions:
    """Which utterance (id) led to which question; nothing of it is saved, the record has it all."""

    def __init__(self, conversation: Conversation, grammar: str, scene_of: SceneOf) -> None:
        """``grammar``: fingerprint of what is in force; ``scene_of``: what an utterance meets."""
        self._conversation = conversation
        self._understand = conversation.understand
        self._grammar = grammar
        self._scene_of = scene_of
        self._asked: list[tuple[str, Understanding]] = []

    @property
    def newest(self) -> Understanding | None:
        """The question that was noted last."""
        return self._asked[-1][1] if self._asked else None

    def note(self, id: str, said: Understanding) -> None:
        """Utterance ``id`` asks what ``said`` says."""
        self._asked.append((id, said))

    def id_of(self, asked: Understanding | None) -> str | None:
        """Id of the utterance behind a question, the newest where it was asked twice."""
        ids = (name for name, kept in reversed(self._asked) if kept == asked)
        return None if asked is None else next(ids, None)

    def asked_before(self, kept: Utterance, said: Understanding) -> None:
        """``said`` is what the record holds as ``kept``, if it is the same question to the same words."""
        if self._is_same(kept, said):
            self.note(kept.id, said)

    def reopen(self, kept: Utterance, record: InspectionRecord) -> bool:
        """Let a question of the record wait for its answer; whether it can."""
        if is_command_asked(kept) and waiting_in(record) != kept:
            return False  # it would be of what was said since
        said = self._meant(kept, record)
        self.asked_before(kept, said)
        again = since(record, kept)
        return self._is_same(kept, said) and self._conversation.pending.resume(said, again=again)

    def still_asked(
        self, said: Understanding, asked: Understanding | None, record: InspectionRecord
    ) -> Understanding:
        """What *affirm* takes of a breath that was ``asked`` about as a whole: nothing that was said anew since.

        "Front tyre 2.5 bar; rear 2.9?", "correction front tyre 2.4", "yes": one finding more, of the rear.
        """
        if asked is None or not said.text.startswith(f"{asked.text}{APART}"):
            return said
        since = self._found_since(asked, record)
        parts = tuple(
            each for each in said.parts if each.finding and each.finding.subject not in since
        )
        if not parts or len(parts) == len(said.parts):
            return said
        if len(parts) > 1:
            return replace(said, parts=parts)
        return replace(parts[0], text=said.text, flags=(*said.flags, *parts[0].flags))

    def left_of(self, asked: Understanding, record: InspectionRecord) -> Understanding:
        """``asked`` as it is told again: what *affirm* would take of it now."""
        since = self._found_since(asked, record)
        left = tuple(one for one in asked.offered if one.subject not in since)
        if not left or len(left) == len(asked.offered):
            return asked
        return replace(
            asked, candidates=left, question=Question(Asks.ALL_OF_IT, questions.together(left))
        )

    def _found_since(
        self, asked: Understanding, record: InspectionRecord
    ) -> frozenset[tuple[str, str | None, str | None]]:
        """What findings are about that stand and were said after all of ``asked`` was asked about."""
        ids, name = [each.id for each in record.utterances], self.id_of(asked)
        if asked.asks is not Asks.ALL_OF_IT or name not in ids:
            return frozenset()
        later = set(ids[ids.index(name) + 1 :])
        return frozenset(
            each.finding.subject
            for each in record.findings
            if each.stands and each.utterance_id in later
        )

    def told_again(self, record: InspectionRecord) -> Understanding | None:
        """The newest question that is still open and can be answered shortly: it waits (again)."""
        if self._conversation.waiting is not None:
            return self._conversation.waiting
        for kept in reversed(record.utterances):
            passed = is_command_asked(kept)
            if kept.decision is Decision.ASK and not passed and left_open(record, kept):
                return self._conversation.waiting if self.reopen(kept, record) else None
        return None

    def refused_at_end(self, record: InspectionRecord) -> bool:
        """Whether a finding, or a breath with one in it, was said last and refused.

        Nor is it known of what else has two of our words, or more: "rear pads three ..." may have been one.
        """
        last = record.utterances[-1] if record.utterances else None
        language = self._conversation.language
        if last is None or last.decision is not Decision.REFUSE:
            return False
        if not isinstance(language, InspectionLanguage):
            return False
        said = language.breath(last.text)
        if said.left_over or said.whole.kind is Kind.FINDING:
            return True
        known, ways = language.words(), in_words(last.text)
        heads = (" ".join(way[:size]) for way in ways for size in range(1, _OPENING + 1))
        if any(language.understand(head).kind is Kind.DIALOGUE for head in heads):
            return False  # "disregard that itch please"
        return any(sum(one in known for one in way) > 1 for way in ways)

    def of_no_finding(self, record: InspectionRecord) -> bool:
        """Whether what was said last was a skip, a signature, or a finding that was refused: no finding is of it.

        Noise in between, of which nothing was understood, changes nothing.
        """
        understood = (
            each for each in reversed(record.utterances) if each.decision is not Decision.REFUSE
        )
        last = next(understood, None)
        if last is not None and last.decision is Decision.ACCEPT and last.dialogue in _OF_NONE:
            return True
        return self.refused_at_end(record)

    def of_another(self, record: InspectionRecord) -> bool:
        """Whether a bare correction is surely of none that stands: what was said last was asked about, or put no
        finding into the record, or the one that it put was taken back."""
        if self.at_end(record) is not None or self.of_no_finding(record):
            return True
        return taken_back_last(record)

    def dropped(self, heard: Heard, record: InspectionRecord) -> Heard:
        """ "Disregard" after a question that no short word settles drops that question.

        What was said last is its utterance: no finding before it is withdrawn. Behind a remark it is of that,
        and the question before goes on waiting.
        """
        said = heard.understanding
        if said.decision is not Decision.ACCEPT or said.dialogue is not Command.DISREGARD:
            return heard
        record = but_commands_asked(record)
        last = record.utterances[-1] if record.utterances else None
        of_remark = last is not None and last.kind is Kind.REMARK
        if heard.answers is not None and closes(heard):
            if not of_remark:
                return heard
            self._conversation.pending.resume(heard.answers)
            return replace(heard, answers=None)
        asked = None if of_remark else self.at_end(record, interrupted=False)
        if asked is None:
            return heard
        said = replace(said, reason=TAKES_NOTHING[Command.DISREGARD])
        return replace(heard, understanding=said, answers=asked)

    def behind(
        self, said: Understanding, record: InspectionRecord
    ) -> tuple[bool, AskedLast | None]:
        """What a command that is of what was said last meets: whether no finding is of that, and the question
        that it is, where it is one."""
        if said.decision is not Decision.ACCEPT or said.dialogue not in _OF_WHAT_WAS_SAID:
            return False, None
        record = but_commands_asked(record)
        kept = waiting_in(record)
        asked = None if kept is None else self.at_end(record, interrupted=False)
        if kept is None or asked is None or asked.dialogue is Command.SIGN_OFF:
            none = self.of_no_finding(record)  # whether to sign is of no finding
            gone = said.dialogue is Command.PHOTO and taken_back_last(record)
            return none or gone, None
        if said.dialogue in (Command.WHY, Command.READ_BACK) and not self._conversation.waiting:
            self._conversation.pending.resume(asked)  # it is told again
        return self.of_no_finding(record), AskedLast(kept.id, asked)

    def at_end(self, record: InspectionRecord, *, interrupted: bool = True) -> Understanding | None:
        """The question at the end of the record that is still open, as it was understood.

        ``interrupted``: also where a finding about something else followed.
        """
        kept = waiting_in(record)
        if kept is None or (since(record, kept) and not interrupted):
            return None
        asked = next((was for name, was in reversed(self._asked) if name == kept.id), None)
        if asked is None:
            asked = self._meant(kept, record)
            self.note(kept.id, asked)
        return asked

    def _meant(self, kept: Utterance, record: InspectionRecord) -> Understanding:
        """What an utterance of the record means, after the question that it answered itself."""
        before = next((each for each in record.utterances if each.id == kept.answers), None)
        if before is None:
            scene, asked = self._scene_of(record), None
            said = scene.completed(self._understand(kept.text), self._understand)
        else:
            scene, asked = self._scene_of(record), self._meant(before, record)
            said = self._conversation.anew(kept.text.removeprefix(f"{asked.text}{APART}"), asked)
        said = scene.asked_instead(scene.met(said, asked), asked)
        doubted = kept.asked is not None and kept.asked.kind in (Asks.HEARD, Asks.ALL_OF_IT)
        if doubted and said.decision is Decision.ACCEPT:  # asked about for its sound alone
            said = asked_instead(said, (), kept.reason, Flag.UNSURE)
            said = telling_more(said) if Flag.MORE_SAID in kept.flags else said
        if Flag.UNCLEAR in kept.flags:  # the words alone do not tell; an answer must settle it too
            said = replace(said, flags=tuple(dict.fromkeys((*said.flags, Flag.UNCLEAR))))
        return said

    def _is_same(self, kept: Utterance, said: Understanding) -> bool:
        """Whether ``said`` asks of the same words what ``kept`` asked, offering the same.

        Earlier versions kept no more of a question than how it read: there the same words mean the
        same under the same grammar and catalogue.
        """
        if not Decision.ASK is kept.decision is said.decision or kept.text != said.text:
            return False
        if kept.asked is None:
            return kept.grammar == self._grammar
        return kept.asked == KeptQuestion.of(said)
