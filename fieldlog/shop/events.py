"""What can happen in an inspection: one frozen dataclass for each (pure).

Every verb of ``Inspecting`` returns the events that followed from it, in order, after they are in
the record. A face (terminal, voice, browser) shows or speaks them; none of them is a sentence.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

from fieldlog.aftercare.checklist import LeftOpen
from fieldlog.aftercare.crosschecks import Unanswered
from fieldlog.errors import FieldlogError
from fieldlog.limits.assess import Assessment
from fieldlog.model.finding import Finding
from fieldlog.model.understanding import Understanding
from fieldlog.model.verdict import Verdict
from fieldlog.store.reviews import Decided


@dataclass(frozen=True, slots=True)
class Said:
    """The utterance behind an event, as the record holds it."""

    id: str
    """Id of the utterance."""
    understanding: Understanding
    """Of a breath with several findings: what was understood of the one that an event is about."""
    source: str = "typed"
    """File name, ``microphone`` or ``typed``."""
    start_s: float = 0.0
    """Where its clip begins in its source; 0 for typed words."""
    end_s: float = 0.0
    answers: Understanding | None = None
    """The question that it answers."""

    @property
    def text(self) -> str:
        """The words that were heard or typed."""
        return self.understanding.text


@dataclass(frozen=True, slots=True)
class Kept:
    """A finding in the record: its id, and its number within the inspection from 1."""

    id: str
    number: int
    finding: Finding
    verdict: Verdict | None = None
    """The newest; None: never judged."""


@dataclass(frozen=True, slots=True)
class FindingSaved:
    """A new finding with its verdict."""

    said: Said
    kept: Kept
    assessment: Assessment


@dataclass(frozen=True, slots=True)
class FindingCorrected:
    """A finding that takes the place of an earlier one."""

    said: Said
    kept: Kept
    assessment: Assessment
    was: Kept


@dataclass(frozen=True, slots=True)
class FindingWithdrawn:
    """A finding that no longer stands; ``said`` is None where it was done by hand."""

    said: Said | None
    was: Kept
    reason: str
    before: Kept | None = None
    """What it had put right, which does not stand either."""


@dataclass(frozen=True, slots=True)
class FindingBroughtBack:
    """A correction was taken back: what it had put right stands again."""

    said: Said | None
    kept: Kept
    assessment: Assessment
    was: Kept
    """The correction."""


@dataclass(frozen=True, slots=True)
class JudgedAgain:
    """A standing finding got another verdict, because one that it was judged with changed."""

    kept: Kept
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Asked:
    """Nothing counts yet: ``said.understanding`` has the question and its candidates."""

    said: Said


@dataclass(frozen=True, slots=True)
class ToAffirm:
    """A finding that was saved is read back, and *affirm* is asked for: it counts, and stays."""

    said: Said
    kept: Kept
    apart: bool = False
    """Whether a number that sounds like its own would stand otherwise: digit by digit then."""
    asks: bool = True
    """False: a question waits, and "affirm" would be to that."""
    then: tuple[Kept, ...] = ()
    """Of the same breath, what is read back behind it, each in its turn."""


@dataclass(frozen=True, slots=True)
class Affirmed:
    """What was read back was affirmed."""

    said: Said
    kept: Kept


@dataclass(frozen=True, slots=True)
class OwnVoice:
    """It was our own read-back that was heard: kept with its sound, and nothing of it counts."""

    said: Said


@dataclass(frozen=True, slots=True)
class AskedAgain:
    """A question that is still open, told once more: something else was said in between, or what is
    open was asked for. The next words may answer it.
    """

    said: Said
    """The utterance that it is told behind."""
    asked: Understanding
    """With the question and its candidates."""


@dataclass(frozen=True, slots=True)
class QuestionClosed:
    """An answer that takes nothing: what was asked about is dropped."""

    said: Said


@dataclass(frozen=True, slots=True)
class Refused:
    """Not understood, or not meant for the log; the utterance is kept with its sound."""

    said: Said


@dataclass(frozen=True, slots=True)
class HeldBack:
    """Said while standing by: kept with its sound, and nothing of it counts."""

    said: Said


@dataclass(frozen=True, slots=True)
class Faulted:
    """Something went wrong with it: kept with its sound, ``said.understanding.reason`` says what."""

    said: Said


@dataclass(frozen=True, slots=True)
class RemarkKept:
    """Free speech or typed text, never judged; ``said`` is None where it was added by hand."""

    said: Said | None
    text: str
    at: Kept | None = None
    """The finding it was put to."""


@dataclass(frozen=True, slots=True)
class RemarkTakenBack:
    """A remark no longer stands; ``said`` is None where that was done by hand."""

    said: Said | None
    text: str


@dataclass(frozen=True, slots=True)
class Marked:
    """An instant ("photo"), for a finding where there is one; ``said`` is None where it was by hand.

    "Photo of the rear tyre" is for the newest finding of that, and for none where there is none yet.
    """

    said: Said | None
    name: str
    at: Kept | None
    asked: Understanding | None = None
    """The question that it stands behind: it is of what answers that."""
    others: tuple[Kept, ...] = ()
    """What the same words said of other places, before ``at``: it may be of any of them."""


@dataclass(frozen=True, slots=True)
class ItemSkipped:
    """Items of the walk left out on purpose, with the reason; ``said`` is None when by hand."""

    said: Said | None
    items: tuple[str, ...]
    reason: str


@dataclass(frozen=True, slots=True)
class SkipTakenBack:
    """Items of the walk that are not left out after all."""

    said: Said
    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OpenTold:
    """What of the walk nobody has looked at, stage by stage, in the order of the walk."""

    said: Said
    left: tuple[LeftOpen, ...]

    @property
    def items(self) -> tuple[str, ...]:
        """Names of the items, each once."""
        return _names(self.left)


@dataclass(frozen=True, slots=True)
class NextTold:
    """What of the walk comes next; None: nothing is open."""

    said: Said
    left: LeftOpen | None

    @property
    def item(self) -> str | None:
        """Name of the item."""
        return None if self.left is None else self.left.item.key


@dataclass(frozen=True, slots=True)
class BeforeSigning:
    """What whoever signs should know: nobody looked at it, or it was found dangerous.

    ``said`` is None where the signature is to be given by hand.
    """

    said: Said | None
    left: tuple[LeftOpen, ...]
    dangerous: tuple[Kept, ...]
    cross_checks: tuple[Unanswered, ...] = ()
    beyond: tuple[Kept, ...] = ()
    """What is beyond its limit besides what is dangerous."""
    unaffirmed: tuple[Kept, ...] = ()
    """What was read back and nobody affirmed."""
    questions: tuple[str, ...] = ()
    """Questions that nobody answered: nothing was taken of what they are about."""

    @property
    def items(self) -> tuple[str, ...]:
        """Names of what nobody looked at, or not at all of, each once."""
        return _names(self.left)

    @property
    def nothing(self) -> bool:
        """Whether there is nothing to know."""
        return not (self.left or self.dangerous or self.cross_checks or self.beyond
                    or self.unaffirmed or self.questions)  # fmt: skip


@dataclass(frozen=True, slots=True)
class HowToCheckTold:
    """How a component is checked, in the catalogue's words; None: nothing was named or is open."""

    said: Said
    component: str | None
    advice: str


@dataclass(frozen=True, slots=True)
class WhyTold:
    """The last finding with what its verdict rests on; None: no finding stands."""

    said: Said
    kept: Kept | None


@dataclass(frozen=True, slots=True)
class ReadBack:
    """The last finding as it is in the record, or the newest of what was named; None: none stands."""

    said: Said
    kept: Kept | None
    before: tuple[Kept, ...] = ()
    """Where something was named: what else stands of it, oldest first."""


@dataclass(frozen=True, slots=True)
class SaidAgain:
    """What was told last, once more: the events are a repetition, nothing happened anew."""

    said: Said
    told: tuple[Event, ...]


@dataclass(frozen=True, slots=True)
class StandingBy:
    """From here on nothing that is said counts, until "go ahead"."""

    said: Said


@dataclass(frozen=True, slots=True)
class GoingAhead:
    """What is said counts (again); ``led``: and what comes next is told whenever something is done."""

    said: Said
    led: bool = False


@dataclass(frozen=True, slots=True)
class OnYourOwn:
    """What comes next is told only when it is asked for."""

    said: Said


@dataclass(frozen=True, slots=True)
class NothingToTake:
    """A command that had nothing to act on ("disregard" where no finding stands, or behind what was not
    understood; "skip" of what no item of the walk is).
    """

    said: Said
    stays: Kept | None = None
    """The finding before, which it was not of."""


@dataclass(frozen=True, slots=True)
class GoneAlready:
    """The last finding, which was asked for or to be disregarded, was withdrawn by other hands; nothing
    else was, and the next such word is of the finding before it.
    """

    said: Said
    was: Finding


@dataclass(frozen=True, slots=True)
class SignedOff:
    """The inspection was signed: that covers what was in the record then, and nothing later."""

    said: Said | None
    name: str
    fingerprint: str
    open_items: int
    """Items of the walk that nobody checked or left out."""
    again: bool = False
    """Whether it had been signed before."""
    key: str = ""
    """Fingerprint of the person's key; "": signed with a name alone."""


@dataclass(frozen=True, slots=True)
class AfterSignature:
    """What was just taken came after the signature: it is not covered until somebody signs again.

    Told once for each verb that added, changed or withdrew something.
    """

    said: Said | None


@dataclass(frozen=True, slots=True)
class PhotoAttached:
    """A photo was put to a finding by hand; None: it belongs to none."""

    photo_id: str
    at: Kept | None
    reason: str


@dataclass(frozen=True, slots=True)
class Reviewed:
    """Somebody who goes through the inspection decided about one thing in it."""

    decided: Decided
    reviewer: str


@dataclass(frozen=True, slots=True)
class AlreadySaved:
    """An earlier try had saved the utterance whole, with all that followed from it."""

    said: Said


@dataclass(frozen=True, slots=True)
class NotSaved:
    """The record takes nothing now: what was heard waits in memory and is tried again."""

    words: str
    waiting: int
    fault: FieldlogError


Event: TypeAlias = (
    FindingSaved | FindingCorrected | FindingWithdrawn | FindingBroughtBack | JudgedAgain | Asked
    | ToAffirm | Affirmed | OwnVoice | AskedAgain | QuestionClosed | Refused | HeldBack | Faulted
    | RemarkKept | RemarkTakenBack | Marked | ItemSkipped | SkipTakenBack | OpenTold | NextTold | BeforeSigning
    | HowToCheckTold | WhyTold | ReadBack | SaidAgain | StandingBy | GoingAhead | OnYourOwn
    | NothingToTake | GoneAlready | SignedOff | AfterSignature | PhotoAttached | Reviewed
    | AlreadySaved | NotSaved
)  # fmt: skip


def _names(left: Sequence[LeftOpen]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(each.item.key for each in left))
