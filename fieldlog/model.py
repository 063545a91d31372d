"""The words of the design as types: what an inspection is made of (pure, frozen).

Units of the fields: times inside a recording are seconds (float) from its start; instants are
timezone-aware UTC datetimes; values that were measured are exact ``Fraction``s with the unit that
was said.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from types import MappingProxyType


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


@dataclass(frozen=True, slots=True)
class Limit:
    """One row of a limit pack: the printed value with its unit, relation, source and status."""

    id: str
    pack: str
    component: str
    characteristic: str
    relation: str
    """``at least``, ``at most``, ``more than``, ``less than`` or ``is`` (conditions and codes)."""
    value: Fraction | None
    unit: str
    aggregation: str
    """How several readings become one: ``single``, ``thinnest``, ``any``, ``k of n``, ``spread``..."""
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
    the uncertainty. Inside it the row says nothing."""
    layer: str = "regulation"
    """``regulation``, ``equipment``, ``handbook``, ``maker``, ``common practice`` or ``memory``."""
    section: str = ""
    scope: str = ""
    """Whom the source binds, where that is not obvious."""
    seen: str = ""
    """``text`` when the source itself was read, ``secondary`` when a public copy quotes it."""
    where: str = ""
    """Address of the public copy that was read."""


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


class Command(StrEnum):
    """Dialogue words: what is said to the tool. The value is the rule's name in dialogue.jsgf."""

    SAY_AGAIN = "say again"
    READ_BACK = "read back"
    AFFIRM = "affirm"
    NEGATIVE = "negative"
    STAND_BY = "stand by"
    GO_AHEAD = "go ahead"
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


NOT_TAKEN = "not taken"
"""Flag of an utterance that was kept with its sound and nothing else, because something failed."""


@dataclass(frozen=True, slots=True)
class Understanding:
    """The parser's word on one text: decision, reason, and the finding or slots behind it.

    ``candidates`` holds every finding the words can mean when more than one is possible;
    ``question`` is what to ask the speaker when the decision is *ask*.
    """

    decision: Decision
    kind: Kind
    reason: str
    text: str
    finding: Finding | None = None
    candidates: tuple[Finding, ...] = ()
    question: str = ""
    slots: Mapping[str, str] = field(default_factory=_empty)
    dialogue: Command | None = None
    """The dialogue word, if that is what was said; ``CORRECTION`` beside the corrected finding."""
    flags: tuple[str, ...] = ()
    """Things a reviewer should see: ``homophone``, ``unit assumed``, ``teen/ty twin``, ..."""


@dataclass(frozen=True, slots=True)
class Context:
    """What the checks may assume: jurisdiction (ISO 3166) and settings (``rim``, ``chain``, ...)."""

    jurisdiction: str | None = None
    settings: Mapping[str, str] = field(default_factory=_empty)
