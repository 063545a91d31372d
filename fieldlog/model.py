"""The words of the design as types: what an inspection is made of (pure, frozen).

Units of the fields: times inside a recording are seconds (float) from its start; instants are
timezone-aware UTC datetimes; values that were measured are exact ``Fraction``s with the unit that
was said.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from types import MappingProxyType
from typing import assert_never


def _empty() -> Mapping[str, str]:
    return MappingProxyType({})


class Decision(StrEnum):
    """What is done with an utterance."""

    ACCEPT = "accept"
    ASK = "ask"
    REFUSE = "refuse"


class State(StrEnum):
    """How a finding stands against its limits."""

    WITHIN = "within"
    MARGINAL = "marginal"
    """A number nearer to a limit than the guard band."""
    FAULTY = "faulty"
    """A fault that no cited or entered row covers, with its severity: by common practice."""
    BEYOND = "beyond"
    UNDECIDED = "undecided"


class Severity(StrEnum):
    """Deficiency classes of directive 2014/45/EU."""

    MINOR = "minor"
    MAJOR = "major"
    DANGEROUS = "dangerous"


class InDoubt(StrEnum):
    """Why an undecided finding still counts like one beyond its limit."""

    BY_LESS_THAN_MEASURED = "by less than measured"
    """Outside, by less than the measuring uncertainty."""
    MAY_BE_BEYOND = "may be beyond"


class LimitStatus(StrEnum):
    """How well a limit's value is supported."""

    CITED = "cited"
    MEMORY = "from memory"
    COMMON = "common practice"
    ENTERED = "entered by user"


class SeverityFrom(StrEnum):
    """Who gave a row its severity."""

    PRINTED = "printed"
    """The source prints it."""
    INFERRED = "inferred"
    """From a text that takes over the same table with its classes printed."""
    OWN = "our own"
    """The source prints none."""


class Relation(StrEnum):
    """How a value has to lie to its limit; ``IS``: a row about conditions or codes."""

    AT_LEAST = "at least"
    AT_MOST = "at most"
    MORE_THAN = "more than"
    LESS_THAN = "less than"
    BETWEEN = "between"
    IS = "is"

    @property
    def is_lower(self) -> bool:
        """Whether it has a lower end alone."""
        return self in (Relation.AT_LEAST, Relation.MORE_THAN)

    @property
    def is_upper(self) -> bool:
        """Whether it has an upper end alone."""
        return self in (Relation.AT_MOST, Relation.LESS_THAN)

    @property
    def is_open(self) -> bool:
        """Whether the end itself is outside."""
        return self in (Relation.MORE_THAN, Relation.LESS_THAN)


class Layer(StrEnum):
    """Where a limit comes from."""

    REGULATION = "regulation"
    EQUIPMENT = "equipment"
    HANDBOOK = "handbook"
    MAKER = "maker"
    COMMON = "common practice"
    MEMORY = "memory"


class Aggregation(StrEnum):
    """How several readings become the value that a limit speaks about."""

    SINGLE = "single"
    THINNEST = "thinnest"
    ANY = "any"
    EACH = "each"
    INDICATOR_TOTAL = "indicator total"
    SPREAD = "spread"
    PAIR_DIFFERENCE = "pair difference"
    AVERAGE = "average"
    ADJACENT = "adjacent grooves"
    MAGNITUDE = "magnitude"


@dataclass(frozen=True, slots=True)
class KOfN:
    """At least ``k`` of ``n`` readings must pass; told as "3 of 4"."""

    k: int
    n: int

    def __str__(self) -> str:
        """As limit packs write it."""
        return f"{self.k} of {self.n}"


def aggregation(text: str) -> Aggregation | KOfN:
    """The rule that ``text`` names; raises ``ValueError`` where it names none."""
    match = re.fullmatch(r"([1-9]\d?) of ([1-9]\d?)", text)
    if match is not None and int(match[1]) <= int(match[2]):
        return KOfN(int(match[1]), int(match[2]))
    if text not in set(Aggregation):
        raise ValueError(f"unknown aggregation {text!r}")
    return Aggregation(text)


class Qualifier(StrEnum):
    """A word that says on which side of the spoken number the value lies."""

    ABOUT = "about"
    LESS = "less than"
    MORE = "more than"


@dataclass(frozen=True, slots=True)
class Quantity:
    """An exact value with the unit that was said and the words it was said in.

    ``unit`` is an ASCII symbol after NIST SP 811 (see ``fieldlog.quantities.units``); a plain ratio has unit
    ``"1"``. A range keeps both ends: ``value`` is the lower and ``high`` the upper end.
    ``uncertainty`` is the expanded uncertainty U (k = 2) in the same unit, when declared.
    """

    value: Fraction
    unit: str
    words: str = ""
    high: Fraction | None = None
    qualifier: Qualifier | None = None
    uncertainty: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Finding:
    """Component + position + characteristic + (quantity, condition or code), from one utterance.

    ``component``, ``position`` and ``characteristic`` are canonical names of the catalogue in plain
    lower-case English ("brake pads", "front", "thickness"). Exactly one of ``quantity``,
    ``condition`` and ``code`` is set, unless the finding is incomplete. ``readings`` holds every
    reading where several were spoken ("nought, point two, point one"); ``code`` is a grade, size,
    date or date code as canonical text ("DOT 5.1", "2501"). ``given`` holds settings of the check that
    were said with the value ("... at twenty five feet"), each as ``--set`` takes it.
    """

    component: str
    position: str | None
    characteristic: str | None
    quantity: Quantity | None = None
    condition: str | None = None
    code: str | None = None
    readings: tuple[Quantity, ...] = ()
    words: str = ""
    given: tuple[tuple[str, str], ...] = ()

    @property
    def subject(self) -> tuple[str, str | None, str | None]:
        """What it is about."""
        return self.component, self.position, self.characteristic

    @property
    def meaning(self) -> tuple[object, ...]:
        """What two findings must share to mean the same, whatever the words."""
        values = (self.quantity,) if self.quantity else self.readings
        return (
            *self.subject,
            self.condition,
            self.code,
            self.given,
            *((q.value, q.high, q.unit, q.qualifier) for q in values),
        )


@dataclass(frozen=True, slots=True)
class Limit:
    """One row of a limit pack: the printed value with its unit, relation, source and status."""

    id: str
    pack: str
    component: str
    characteristic: str
    relation: Relation
    value: Fraction | None
    unit: str
    aggregation: Aggregation | KOfN
    applies: Mapping[str, str]
    """Context keys that must match for the limit to apply (jurisdiction, vehicle_class, rim...)."""
    source: str
    edition: str
    read_on: str
    status: LimitStatus
    severity: Severity = Severity.MAJOR
    advice: str = ""
    printed: str = ""
    """The value as the source prints it, a rounded second unit included: ``3/16 in (4.8 mm)``."""
    high: Fraction | None = None
    """Upper end for relation ``between``; ``value`` is the lower end."""
    words: tuple[str, ...] = ()
    """Conditions or codes a row of relation ``is`` speaks about."""
    outcome: State = State.BEYOND
    """What a row of relation ``is`` makes of a finding whose condition or code it names."""
    outright: bool = False
    """Outside it nothing is left to work with (no pad, no air): beyond whatever the row's status and
    the uncertainty. Inside it the row says nothing, as for ``silent``."""
    silent: bool = False
    """Inside it the row says nothing: outside lies what cannot be right, whatever the maker says."""
    exact: bool = False
    """Held without a guard band: dates, and what is set by hand to the very value."""
    superseded: bool = False
    """Of an edition that no longer holds: it advises like common practice and never says beyond."""
    step: str = ""
    """Which step of a graded row this is (``near``, ``worn``, ``gone``); empty for any other."""
    layer: Layer = Layer.REGULATION
    section: str = ""
    scope: str = ""
    """Whom the source binds, where that is not obvious."""
    seen: str = ""
    """``text`` when the source itself was read, ``secondary`` when a public copy quotes it."""
    where: str = ""
    """Address of the public copy that was read."""
    text: str = ""
    """The sentence that was read, as printed."""
    cut: str = ""
    """Where the copy broke off inside that sentence."""
    asks: str = ""
    """The qualifier under which alone the rule rejects ("so as to affect the safe operation"). Until
    somebody has looked whether it holds, a finding outside the row is undecided."""
    severity_from: SeverityFrom = SeverityFrom.OWN


@dataclass(frozen=True, slots=True)
class Judgement:
    """One limit held against one finding. ``margin`` is signed, in the limit's unit, > 0 inside."""

    limit: Limit
    state: State
    margin: Fraction | None
    probability: float | None = None
    """Conformance probability after JCGM 106, 0..1."""
    guard_band: Fraction | None = None
    reading: Fraction | None = None
    """The value judged, converted exactly to the limit's unit."""
    reason: str = ""

    @property
    def judged(self) -> bool:
        """Whether the limit could be held against it at all; ``reason`` says what was lacking."""
        return self.reading is not None or self.limit.relation is Relation.IS


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the limits say of a finding: the gating judgement and every other one that applies."""

    state: State
    gate: Judgement | None
    others: tuple[Judgement, ...] = ()
    severity: Severity | None = None
    """Of an undecided finding only where it may well be beyond: then it counts like one that is."""
    reason: str = ""
    cautions: tuple[str, ...] = ()

    @property
    def in_doubt(self) -> InDoubt | None:
        """Why it counts like one beyond its limit though it is undecided; None where it does not."""
        if self.state is not State.UNDECIDED or self.severity is None:
            return None
        gate = self.gate
        if gate is None or gate.margin is None or gate.guard_band is None:
            return InDoubt.MAY_BE_BEYOND
        near = gate.state is State.UNDECIDED and 0 <= -gate.margin <= gate.guard_band
        return InDoubt.BY_LESS_THAN_MEASURED if near else InDoubt.MAY_BE_BEYOND


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One reading of an utterance by one listener.

    ``score`` is a natural-log score, comparable only within one hearing; ``evidence`` carries the
    listener's own figures (``bend``, ``margin``, ...), documented by the listener.
    """

    text: str
    score: float
    evidence: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Hearing:
    """All hypotheses of one listener for one utterance, best first; empty when nothing fits."""

    listener: str
    hypotheses: tuple[Hypothesis, ...]
    latency_ms: float
    times: tuple[tuple[float, float], ...] = ()
    """Seconds of the clip in which each word of the best one was said; empty where it is not known."""
    left_over: tuple[tuple[float, float], ...] = ()
    """Seconds of the clip in which something was said that no word of the best one covers."""
    as_it_came: str | None = None
    """What the best one is with what was played meanwhile left in the sound; None: not heard so."""


class Command(StrEnum):
    """Dialogue words: what is said to the tool. The value is the rule's name in dialogue.jsgf."""

    SAY_AGAIN = "say again"
    READ_BACK = "read back"
    AFFIRM = "affirm"
    NEGATIVE = "negative"
    STAND_BY = "stand by"
    GO_AHEAD = "go ahead"
    """Ends standing by; else from here on the next item is told whenever one is done."""
    ON_MY_OWN = "on my own"
    """Items are no longer told one after the other."""
    DISREGARD = "disregard"
    CORRECTION = "correction"
    PHOTO = "photo"
    SKIP = "skip"
    NEXT_ITEM = "next item"
    WHAT_IS_OPEN = "what is open"
    HOW_TO_CHECK = "how to check"
    WHY = "why"
    SIGN_OFF = "sign off"


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
    OWN_VOICE = "own voice"
    """What was heard is what was being read back."""
    NOT_TAKEN = "not taken"
    """Kept with its sound and nothing else, because something failed."""


class Asks(StrEnum):
    """What a question is after. Which answers can settle it follows from it alone."""

    WHICH = "which"
    """Of several findings that were offered."""
    PLACE = "place"
    UNIT = "unit"
    PLACE_AND_UNIT = "place and unit"
    ASSUMED_UNIT = "assumed unit"
    """The only plausible one: was it that?"""
    SLIP = "slip"
    """The words may be a slip of the tongue: the value once more."""
    HARDLY_POSSIBLE = "hardly possible"
    """The value is not plausible: once more."""
    NOT_AS_KNOWN = "not as known"
    """It does not follow on what the record knows: once more."""
    FIGURES = "figures"
    """Typed as nobody writes a number: was it that?"""
    DID_YOU_MEAN = "did you mean"
    """A word is not known: was the nearest one meant?"""
    SOUND = "sound"
    """One fault is not there: is all as it should be?"""
    HEARD = "heard"
    """Did you say that?"""
    HEARD_WORDS = "heard words"
    """Which of several texts was said, where not all of them are findings."""
    AGAIN = "again"
    """Nothing was heard that could be offered."""
    ALL_OF_IT = "all of it"
    """Of a breath: was every finding that is offered said? No answer takes some of them."""
    NEW_OR_CORRECTION = "new or correction"
    IN_FULL = "in full"
    OF_WHAT = "of what"
    """A correction of something that was not named."""
    WHY_SKIPPED = "why skipped"
    SIGN_OFF = "sign off"

    @property
    def settled(self) -> Settled:
        """By what it can be settled."""
        match self:
            case (
                Asks.ASSUMED_UNIT
                | Asks.SLIP
                | Asks.HARDLY_POSSIBLE
                | Asks.NOT_AS_KNOWN
                | Asks.FIGURES
                | Asks.DID_YOU_MEAN
                | Asks.SOUND
                | Asks.HEARD
                | Asks.SIGN_OFF
                | Asks.ALL_OF_IT
            ):
                return Settled.BY_YES
            case Asks.WHICH | Asks.PLACE | Asks.UNIT | Asks.PLACE_AND_UNIT | Asks.HEARD_WORDS:
                return Settled.BY_CHOICE
            case Asks.NEW_OR_CORRECTION | Asks.IN_FULL | Asks.OF_WHAT | Asks.AGAIN:
                return Settled.IN_FULL
            case Asks.WHY_SKIPPED:
                return Settled.BY_REASON
        assert_never(self)


class Settled(StrEnum):
    """Which short answer can settle a question."""

    BY_YES = "yes"
    """Yes, where one thing is offered; a choice among several, or the value itself, as well."""
    BY_CHOICE = "choice"
    """One of what was offered, or the value itself; yes would not say which."""
    BY_REASON = "reason"
    """Why something is left out."""
    IN_FULL = "in full"
    """None: it is said again."""


class Rest(StrEnum):
    """What a question tells besides, where more was said than can be taken."""

    AGAIN = "rest again"
    ALL_AGAIN = "all again"


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked; the candidates stand beside it in the ``Understanding``.

    Only ``kind`` and ``rest`` decide anything; ``text`` is how it reads (``fieldlog.words``).
    """

    kind: Asks
    text: str
    rest: Rest | None = None


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
    slots: Mapping[str, str] = field(default_factory=_empty)
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
    def offered(self) -> tuple[Finding, ...]:
        """Every finding that it can be."""
        if self.parts:
            return tuple(one for part in self.parts for one in part.offered)
        return self.candidates or ((self.finding,) if self.finding is not None else ())


@dataclass(frozen=True, slots=True)
class Context:
    """What the checks may assume: jurisdiction (ISO 3166) and settings (``rim``, ``chain``, ...)."""

    jurisdiction: str | None = None
    settings: Mapping[str, str] = field(default_factory=_empty)
