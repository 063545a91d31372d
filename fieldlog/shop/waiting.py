"""Which question waits for an answer, as one utterance after another is taken (pure)."""

from __future__ import annotations

from dataclasses import replace

from fieldlog.audio.clip import Clip
from fieldlog.doubt.question import waits
from fieldlog.hearing import Heard
from fieldlog.model.command import Command
from fieldlog.model.understanding import Decision, Understanding
from fieldlog.shop.settling import WaitingQuestion

TURNS = (Command.STAND_BY, Command.GO_AHEAD)
"""From the first on nothing that is said counts, until the second."""
WAITS_S = 60.0
"""Seconds from the end of a question's words until a short word is no answer to it any more: long
enough to read a gauge again, short enough that a word to somebody else is not taken."""


class WhatWaits:
    """The question that the next utterance may answer, and the one before that."""

    def __init__(self) -> None:
        """Nothing was asked yet."""
        self.question: WaitingQuestion | None = None
        self._earlier: WaitingQuestion | None = None
        """What waited before the newest utterance."""
        self._older: WaitingQuestion | None = None
        """What waits again once the newest question is answered."""
        self._told_again: Understanding | None = None
        self._latest: Understanding | None = None
        self.standing_by = False
        """Whether nothing that is said counts now: it neither asks nor answers anything."""
        self._stood_by = False

    @property
    def asked(self) -> Understanding | None:
        """What the question that waits asks."""
        return self.question.asked if self.question else None

    def at(self, clip: Clip) -> WaitingQuestion | None:
        """The question that ``clip`` may answer; one that waited for too long does no more."""
        if self.standing_by:
            return None
        question = self.question
        asked_s = question.clip.end_s if question and question.clip else 0.0
        if question and clip.start_s - asked_s > WAITS_S:
            self.question = question = None
        return question

    def before_the_last(self) -> WaitingQuestion | None:
        """As it was before the newest utterance, which was the beginning of another one."""
        self.question, self.standing_by = self._earlier, self._stood_by
        return self._earlier

    def resume(self, asked: Understanding, *, again: bool = False) -> bool:
        """Let a question that the record left open wait for its answer; whether one can settle it.

        ``again``: something else was said after it.
        """
        if waits(asked):
            self.question = WaitingQuestion(asked, None, again)
            return True
        return False

    def completed(self, heard: Heard, said: Understanding) -> None:
        """``heard`` was taken as ``said``, with what the record told of it: that question waits.

        Unless something came after it, which was understood without that.
        """
        if self._latest is not heard.understanding or self.standing_by:
            return
        if waits(said):
            self.question = WaitingQuestion(said, sound_of_heard(heard))
        elif waits(heard.understanding):  # what the record told of it left nothing to ask
            self.question = None

    def told_again(self, heard: Heard) -> Understanding | None:
        """The question that waits though ``heard``, the newest utterance, was about something else."""
        return self._told_again if self._latest is heard.understanding else None

    def taken(self, heard: Heard, *, told: bool) -> None:
        """What waits from now on: the question of this utterance, the one before, or none.

        ``told``: what becomes of it is told at once, and with it a question that is still open.
        """
        said = heard.understanding
        self._earlier, self._stood_by = self.question, self.standing_by
        self._latest, self._told_again = said, None
        if said.decision is Decision.ACCEPT and said.dialogue in TURNS:
            self.standing_by = said.dialogue is Command.STAND_BY
        if self.standing_by:
            return  # the question that waits goes on waiting
        if heard.answers is None and said.decision is not Decision.REFUSE:
            self._no_command_asked()
        if waits(said):
            if heard.answers is None and told:
                self._older = self.question
            self.question = WaitingQuestion(said, sound_of_heard(heard))
        elif heard.answers is not None and heard.answers.command_asked is Command.DISREGARD:
            self._no_command_asked()
            if said.dialogue is Command.NEGATIVE:
                self._tell_again(self.question, heard)
            elif self.question is not None and not self.question.again:
                self.question = None  # what was asked before is what is dropped
        elif heard.answers is not None:
            self._tell_again(self._older, heard)
        elif heard.accepted and (said.finding is not None or heard.parts):
            self._tell_again(self.question if told else None, heard)
        elif said.decision is Decision.ASK:
            # "yes" would be to this, which no short word settles
            self.question = self._older = None

    def _no_command_asked(self) -> None:
        """ "Did you say 'disregard that'?" is over, of what came before it: the question before it waits.

        Told again, it would be of what has been said since.
        """
        if self.question is not None and self.question.asked.command_asked is not None:
            self.question, self._older = self._older, None

    def _tell_again(self, question: WaitingQuestion | None, heard: Heard) -> None:
        """Let ``question`` wait behind ``heard``, which was about something else: once.

        Not whether to sign, behind a finding: whoever was asked was not told of that.
        """
        self._older = None
        found = heard.accepted and (heard.understanding.finding is not None or bool(heard.parts))
        over = found and question is not None and question.asked.dialogue is Command.SIGN_OFF
        if question is None or question.again or over:
            self.question = None
            return
        self.question = WaitingQuestion(question.asked, sound_of_heard(heard), again=True)
        self._told_again = question.asked

    def elsewhere(self) -> None:
        """What comes next is of another recording, which goes on where this one ended."""
        if self.question:
            self.question = replace(self.question, clip=None)
        self._earlier = self._older = None

    def afresh(self) -> None:
        """What comes next has nothing to do with what was heard; standing by goes on."""
        self.question = self._earlier = self._older = None


def sound_of_heard(heard: Heard) -> Clip | None:
    """The clip of what was heard; None for typed words."""
    return heard.clip if len(heard.clip.samples) else None
