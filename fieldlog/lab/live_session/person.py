"""Who speaks in a scripted session: says a line, listens to what becomes of it, and answers as a person does.

What is known to them is what they meant to say, and what the tool sounded and said. So a question about what
they said is affirmed, one about anything else denied, what was not understood is said again. A line that the
script wants asked about is left to the script, whose next lines answer it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.audio.tones import Tone
from fieldlog.model.finding import Finding
from fieldlog.shop.saying import Saying
from fieldlog.words import spoken
from fieldlog.words.aloud import aloud

Sound = NDArray[np.float32]
Facts = Mapping[str, str]

LISTENS_S = 0.7
"""Quiet behind what was said to them until they speak."""
AGAIN_S = 1.3
"""The same before they say something again: the rest of what was said may be taken yet."""
PATIENCE_S = 6.0
"""Behind a line that nothing is told of, until they say it again."""
TRIES = 3
"""How often they say the same thing."""
INTERRUPTS_S = 0.9
"""Whoever interrupts begins so long after the words did."""
AFTERWARDS_S = 4.0


class Reply(StrEnum):
    """What is said to what was told."""

    AFFIRM = "affirmative"
    NEGATIVE = "negative"
    TAKE_BACK = "disregard that"
    AGAIN = "again"
    """The same once more."""
    GOES_ON = "goes on"
    """Nothing: the next line."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the script."""

    id: str
    words: str
    sound: Sound
    around: Sound
    """What is to be heard there while nobody speaks, from the same recording."""
    means: tuple[Facts, ...] = ()
    """The findings that they mean, by the names of a manifest."""
    is_asked: bool = False
    """Whether the script wants it asked about, and its next lines are the answer."""
    interrupts: bool = False
    """Whether it is said into the words that are being said to them."""
    away_at_s: float | None = None
    """The microphone is pulled out then, seconds into the line; behind its end, in the pause."""
    cut_at_s: float | None = None
    """The power goes out then."""
    again: Sound | None = None
    """The same, spoken once more."""


def means(finding: Finding, wanted: Facts) -> bool:
    """Whether ``finding`` is what a manifest's table says (pure)."""
    quantity = finding.quantity
    facts = {
        "component": finding.component, "position": finding.position,
        "characteristic": finding.characteristic, "condition": finding.condition,
        "code": finding.code,
        "value": None if quantity is None else str(quantity.value),
        "unit": None if quantity is None else quantity.unit,
    }  # fmt: skip
    return all(facts[key] == value for key, value in wanted.items() if key in facts)


def reply(line: Line, before: Sequence[Line], told: Saying | None) -> Reply:
    """What they say when ``told`` comes behind ``line``, and they said ``before`` earlier (pure)."""
    if told is None or told.tone is Tone.NOT_UNDERSTOOD:
        return Reply.AGAIN
    asks = told.asks or aloud(spoken.CONFIRM) in told.words
    if asks and (line.is_asked or _is_about(told, [one for one in before if one.is_asked])):
        return Reply.GOES_ON
    mine = [any(means(each, one) for one in line.means) for each in told.findings]
    earlier = [one for each in before if not each.is_asked for one in each.means]
    known = [
        own or any(means(each, one) for one in earlier)
        for own, each in zip(mine, told.findings, strict=True)
    ]
    if asks:
        if known and all(known):
            return Reply.AFFIRM  # of what they said before too: it may have been broken off then
        # behind what was saved the question is about the rest of it, which they did not say
        whole = told.tone is Tone.ASKED
        return Reply.AGAIN if whole and any(mine) else Reply.NEGATIVE
    if known and line.means and not any(known):
        return Reply.TAKE_BACK
    return Reply.GOES_ON


def _is_about(told: Saying, lines: Sequence[Line], *, some: bool = False) -> bool:
    """Whether all findings of ``told``, or ``some``, are what ``lines`` mean."""
    wanted = [one for line in lines for one in line.means]
    about = [any(means(each, one) for one in wanted) for each in told.findings]
    return any(about) if some else bool(about) and all(about)


@dataclass
class Person:
    """Speaks the lines in order; on the clock of the microphone's samples and of the loudspeaker."""

    lines: Sequence[Line]
    replies: Mapping[str, Sound]
    """How they say each ``Reply`` that is spoken."""
    tell: Callable[[Mapping[str, Any]], None]
    """Is told what happens, as it does."""
    clock: Callable[[], float]
    _number: int = -1
    _saying: Sound = field(default_factory=lambda: np.zeros(0, np.float32))
    _said: str = ""
    """What they say now or said last: a line's id, or a reply."""
    _at: int = 0
    _ended: float | None = None
    """When they ended; None while they speak."""
    _told: list[tuple[float, Saying]] = field(default_factory=list)
    _sounded: float = -1e9
    _words_began: float | None = None
    _tries: dict[str, int] = field(default_factory=dict)
    _settled: bool = False
    """Whether they were told that the line is saved: whatever is asked or not understood behind that, it
    is not said again."""
    _then_again: bool = False
    """Whether the line is to be said again behind this reply."""
    _lost: bool = False
    _around: int = 0

    def told(self, said: Saying) -> None:
        """The tool sounds and says that now."""
        now = self.clock()
        self._told.append((now, said))
        self._words_began = now if said.words else None
        self.tell({"told": said.words, "tone": said.tone and said.tone.value})

    def sounded(self) -> None:
        """The loudspeaker sounds."""
        self._sounded = self.clock()

    @property
    def line(self) -> Line | None:
        """The line that is being said or was said last."""
        return self.lines[self._number] if 0 <= self._number < len(self.lines) else None

    @property
    def has_ended(self) -> bool:
        """Whether all was said, and listened to."""
        return self._number >= len(self.lines) and self._quiet_for(AFTERWARDS_S)

    def in_line_s(self) -> float:
        """Seconds into the line that is being said, or since it began; -1 while it is not the line itself."""
        line = self.line
        return self._at / RATE if line is not None and self._said == line.id else -1.0

    def loses_microphone(self) -> None:
        """It is pulled out: they hear the alarm, and say the line again when it is back."""
        self._lost = self._ended is None
        if self._lost:
            self._saying = np.zeros(0, np.float32)

    def speaks(self, frames: int) -> Sound:
        """What is said and heard around them in the next ``frames`` samples."""
        if self._ended is not None or self._number < 0 or self._lost:
            self._decide()
        block = self._background(frames)
        part = self._saying[self._at : self._at + frames]
        if len(part):
            own = (
                self.line is not None
                and self._said == self.line.id
                and not self._tries.get(self._said)
            )
            block[: len(part)] = part if own else block[: len(part)] + part
        self._at += frames
        if self._ended is None and self._at >= len(self._saying) and not self._lost:
            self._ended = self.clock()
        return block

    def _background(self, frames: int) -> Sound:
        line = self.line or (self.lines[0] if self.lines else None)
        if line is None or not len(line.around):
            return np.zeros(frames, np.float32)
        there_and_back = np.concatenate([line.around, line.around[::-1]])
        at = (self._around + np.arange(frames)) % len(there_and_back)
        self._around += frames
        return there_and_back[at].astype(np.float32)

    def _quiet_for(self, seconds: float) -> bool:
        last = max(self._sounded, self._ended or 0.0, self._told[-1][0] if self._told else 0.0)
        return self.clock() - last >= seconds

    def _decide(self) -> None:
        """Speak, where it is time to."""
        if self._number < 0 or self._lost:
            if self._quiet_for(LISTENS_S):
                self._says_line(self._number if self._lost else 0)
            return
        line, ended = self.line, self._ended
        if line is None or ended is None:
            return
        answers = [said for at, said in self._told if at > ended - 0.1]
        following = self.lines[self._number + 1] if self._number + 1 < len(self.lines) else None
        if following is not None and following.interrupts and answers and self._said == line.id:
            began = self._words_began
            if began is not None and self.clock() - began < INTERRUPTS_S:
                return
            if began is not None or self._quiet_for(LISTENS_S):
                self._says_line(self._number + 1)
            return
        if not answers and self.clock() - ended < PATIENCE_S:
            return
        told = answers[-1] if answers else self._told[-1][1] if self._told else None
        lost = told is None or told.tone is Tone.NOT_UNDERSTOOD
        if self._quiet_for(AGAIN_S if lost else LISTENS_S):
            self._answers(line, told)

    def _answers(self, line: Line, told: Saying | None) -> None:
        if self._then_again and told is not None and told.tone is not Tone.NOT_UNDERSTOOD:
            self._then_again = False
            self._says_again(line)
            return
        what = reply(line, self.lines[: self._number], told)
        if (
            self._said != line.id
            and told is not None
            and told.asks
            and self._said[:6] in told.words
        ):
            what = Reply.AGAIN  # "did you say affirmative?"
        if what is Reply.GOES_ON or (what is Reply.AFFIRM and told is not None and not told.asks):
            self._settled = True  # "confirm": it is saved, and read back
        if (
            told is not None
            and told.tone in (Tone.SAVED, Tone.BEYOND)
            and _is_about(told, [line], some=True)
        ):
            self._settled = True
        elif what in (Reply.NEGATIVE, Reply.TAKE_BACK) and told is not None and not told.asks:
            self._settled = False  # what was read back is not what they said
        if what is Reply.AGAIN and self._said != line.id:
            asked = told is not None and told.asks and bool(told.findings)
            if not asked and self._tries.get(self._said, 0) < TRIES:
                self._says(self._said, self.replies[self._said])
                return
        if what is Reply.AGAIN:
            self._says_again(line)
        elif what is Reply.GOES_ON:
            self._says_line(self._number + 1)
        elif self._tries.get(what.value, 0) < TRIES:
            self._then_again = what in (Reply.NEGATIVE, Reply.TAKE_BACK)
            self._says(what.value, self.replies[what.value])
        else:
            self._says_line(self._number + 1)

    def _says_again(self, line: Line) -> None:
        if self._settled or self._tries.get(line.id, 0) >= TRIES - 1:
            self._says_line(self._number + 1)
            return
        self._tries[line.id] = self._tries.get(line.id, 0) + 1
        self._says(line.id, line.sound if line.again is None else line.again, counts=False)

    def _says_line(self, number: int) -> None:
        self._tries = {} if number != self._number else self._tries
        self._settled = self._settled and number == self._number
        self._number, self._then_again = number, False
        if number < len(self.lines):
            line = self.lines[number]
            self._says(line.id, line.sound, counts=False)

    def _says(self, what: str, sound: Sound, *, counts: bool = True) -> None:
        if counts:
            self._tries[what] = self._tries.get(what, 0) + 1
        self._lost, self._told = False, []
        self._said, self._saying, self._at, self._ended = what, sound, 0, None
        of_script = self.line is not None and what == self.line.id and what not in self._tries
        self.tell({"said": what, "words": self.words_of(what), "reply": not of_script})

    def words_of(self, what: str) -> str:
        """The words of a line or a reply."""
        return next((each.words for each in self.lines if each.id == what), what)


def read_lines(script: Mapping[str, Any], sounds: Mapping[str, Sound]) -> list[Line]:
    """The lines of a script, whose sounds are ``sounds`` by name."""
    return [
        Line(
            id=each["id"],
            words=each["words"],
            sound=sounds[each["id"]],
            around=sounds[f"{each['id']} around"],
            means=tuple(each["means"]),
            is_asked=each["is_asked"],
            interrupts=each["interrupts"],
            away_at_s=each["away_at_s"],
            cut_at_s=each["cut_at_s"],
            again=sounds.get(f"{each['id']} again"),
        )
        for each in script["lines"]
    ]


def load(path: Path) -> tuple[list[Line], dict[str, Sound]]:
    """A script (JSON) with its sounds (an npz beside it): its lines, and how each reply sounds."""
    script = json.loads(path.read_text(encoding="utf-8"))
    with np.load(path.with_suffix(".npz")) as archive:
        sounds = {name: archive[name] for name in archive.files}
    spoken_replies = {each.value: sounds[each.value] for each in Reply if each.value in sounds}
    return read_lines(script, sounds), spoken_replies
