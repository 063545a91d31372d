"""What the parser made of a text."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType

from fieldlog.model.command import BY_YES, Command
from fieldlog.model.finding import Finding
from fieldlog.model.question import Asks, Question


class Decision(StrEnum):
    """What is done with an utterance."""

    ACCEPT = "accept"
    ASK = "ask"
    REFUSE = "refuse"


class Kind(StrEnum):
    """What the parser made of an utterance."""

    FINDING = "finding"
    REMARK = "remark"
    DIALOGUE = "dialogue"
    ORDER = "order"
    """A phrase of a grammar that is not ours: only its slots count."""
    NOTHING = "not understood"


class Flag(StrEnum):
    """Things a reviewer should see, and what an answer must still settle. The value is kept."""

    HOMOPHONE = "homophone"
    UNIT_ASSUMED = "unit assumed"
    LOOSE_UNIT = "loose unit"
    SHORTHAND = "shorthand"
    THREE_DIGITS = "three digits"
    AGREEMENT = "agreement"
    """ "four thirty second": singular where plural belongs."""
    EITHER = "either"
    """ "two or three"."""
    NO_YEAR = "no year"
    TWO_NUMBERS = "two numbers"
    NO_AND = "no and"
    EQUAL_ENDS = "equal ends"
    REVERSED = "reversed"
    """A range said from its upper end."""
    LEADING_ZERO = "leading zero"
    """ "oh five": 5 read out digit by digit, or 0.5 without its point."""
    EITHER_AND = "either side of and"
    """ "hundred and one quarter": 100 1/4, or 101 quarters."""
    REPAIRED = "self-repair"
    TEEN_TWIN = "teen/ty twin"
    GRADE_TWIN = "DOT 5/5.1 twin"
    ODD = "figures"
    """Asked about because of how its figures were typed."""
    DID_YOU_MEAN = "did you mean"
    """Its component was mistyped."""
    UNSURE = "unsure"
    GAP = "sound missing"
    """Some of its sound was dropped: what is left may lack a word."""
    TWIN = "twin"
    """Something that sounds like it was heard nearly as well."""
    UNCLEAR = "heard unclearly"
    """Asked about for another reason, and may have been misheard too."""
    NEARSIDE = "nearside/offside"
    """Its side follows from the side on which traffic keeps."""
    MORE_SAID = "more was said"
    """Its sound goes on behind the words that were heard."""
    ANSWERED = "answered"
    LED = "the walk named the part"
    """Its value or condition was said alone, behind what the walk had asked for."""
    OWN_VOICE = "own voice"
    """What was heard is what was being read back."""
    NOT_TAKEN = "not taken"
    """Kept with its sound and nothing else, because something failed."""


@dataclass(frozen=True, slots=True)
class Understanding:
    """The parser's word on one text: decision, reason, and the finding or slots behind it.

    ``candidates`` holds every finding the words can mean when more than one is possible;
    ``question`` is what to ask the speaker when the decision is *ask*. ``reason`` is for people.
    """

    decision: Decision
    kind: Kind
    reason: str
    text: str
    finding: Finding | None = None
    candidates: tuple[Finding, ...] = ()
    question: Question | None = None
    slots: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    dialogue: Command | None = None
    """The dialogue word, if that is what was said; ``CORRECTION`` beside the corrected finding."""
    flags: tuple[Flag, ...] = ()
    parts: tuple[Understanding, ...] = ()
    """The findings of a breath that holds several, all accepted, in order; it has none itself then."""

    @property
    def question_text(self) -> str:
        """How the question reads; empty where there is none."""
        return self.question.text if self.question is not None else ""

    @property
    def asks(self) -> Asks | None:
        """What its question is after; None where there is none."""
        return self.question.kind if self.question is not None else None

    @property
    def command_asked(self) -> Command | None:
        """The command of "Did you say 'disregard that'?", which yes gives; None for any other question."""
        heard = self.decision is Decision.ASK and self.asks is Asks.HEARD and not self.offered
        return self.dialogue if heard and self.dialogue in BY_YES else None

    @property
    def offered(self) -> tuple[Finding, ...]:
        """Every finding that it can be."""
        if self.parts:
            return tuple(one for part in self.parts for one in part.offered)
        return self.candidates or ((self.finding,) if self.finding is not None else ())


def word_spans(parts: Iterable[Understanding], text: str) -> tuple[tuple[int, int], ...]:
    """From which word of ``text`` to which each part was said, as far as their words are found in order."""
    words, at = text.split(), 0
    found: list[tuple[int, int]] = []
    for part in parts:
        own = part.text.split()
        begins = range(at, len(words) - len(own) + 1)
        begin = next((n for n in begins if words[n : n + len(own)] == own), None)
        if begin is None:
            break
        at = begin + len(own)
        found.append((begin, at))
    return tuple(found)
