"""What goes into the record and what comes out of it, as frozen types (pure).

Instants are timezone-aware UTC datetimes; times within a recording are seconds. ``clip`` and
``media`` are names in the media folder (``<sha256>.<suffix>``, see ``fieldlog.store.media``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from types import MappingProxyType

from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.limit import Limit
from fieldlog.model.state import State
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.model.verdict import Verdict
from fieldlog.store.kept_question import KeptQuestion
from fieldlog.store.reviews import NewReview, Review, counting


@dataclass(frozen=True, slots=True)
class Stretch:
    """Seconds of an utterance's source in which one thing was said."""

    start_s: float
    end_s: float
    part: int | None = None
    """Which finding of the utterance, from 0; None: something that no word covers."""


TYPED = "typed"
"""Source of an utterance that nobody spoke."""


@dataclass(frozen=True, slots=True)
class NewUtterance:
    """One stretch of speech as the session hands it over. ``hearings``: default listener first."""

    understanding: Understanding
    said_at: datetime
    hearings: tuple[Hearing, ...] = ()
    clip: str | None = None
    """Name in the media folder; None for typed words."""
    start_s: float = 0.0
    end_s: float = 0.0
    source: str = TYPED
    """File name, ``microphone`` or ``typed``."""
    model: str = ""
    """Name or fingerprint of the listener's model."""
    grammar: str = ""
    """Fingerprint of the grammar and catalogue that were in force."""
    answers: str | None = None
    """Id of the utterance whose question this one answers."""
    stretches: tuple[Stretch, ...] = ()
    """Where each of several findings was said, and what was left over."""
    words: tuple[tuple[float, float], ...] = ()
    """Seconds of the source in which each word of the text was said; empty where it is not known."""
    id: str | None = None
    """Given by whoever may have to try again: the same id is the same row. None: a new one."""


@dataclass(frozen=True, slots=True)
class NewPhoto:
    """A photo whose original is already in the media folder."""

    media: str
    file: str
    """Name of the file it was imported from, without folder."""
    kind: str
    capture_local: str | None = None
    """ISO 8601 as recorded by the camera, with its sub-seconds."""
    offset: str | None = None
    utc: datetime | None = None
    camera: str | None = None
    orientation: int | None = None
    problem: str | None = None


@dataclass(frozen=True, slots=True)
class NewAttachment:
    """Where a photo belongs (no finding: unplaced, with its candidates), why, and how far off."""

    photo_id: str
    finding_id: str | None
    reason: str
    gap_s: float | None = None
    uncertainty_s: float | None = None
    candidates: tuple[str, ...] = ()


class EventName(StrEnum):
    """Events that mean something to the record; every other only tells what happened."""

    SKIPPED = "skipped"
    """An item left out: its reason as the text."""
    SKIP_TAKEN_BACK = "skip taken back"
    """It is not left out after all: its key under ``item``."""
    SIGNED_OFF = "signed off"
    """A signature: its name as the text."""
    CHECKPOINT = "checkpoint"
    """The record as it was at a signature, as a note that was signed; it is no finding of anybody."""
    READ_BACK = "read back"
    """A finding was read back and is to be affirmed: its id under ``finding``."""
    AFFIRMED = "affirmed"
    """Somebody affirmed it: its id under ``finding``."""
    MARK_WAITS = "mark waits"
    """An instant is of what answers a question: the id of that utterance under ``question``."""
    MARKS_SEVERAL = "mark of several"
    """An instant is of findings that were said in the same words: their ids under ``findings``."""
    REMARK_TAKEN_BACK = "remark taken back"
    """A remark no longer stands: its id under ``remark``, its words as the text."""


@dataclass(frozen=True, slots=True)
class NewEvent:
    """Something that happened with an utterance, such as an item skipped with its reason."""

    name: str
    text: str
    data: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, slots=True)
class NewFinding:
    """A further finding of the same breath, with its verdict."""

    finding: Finding
    verdict: Verdict | None = None


@dataclass(frozen=True, slots=True)
class NewEntry:
    """An utterance, or something done by hand, with all that follows: saved whole or not at all."""

    utterance: NewUtterance | None = None
    finding: Finding | None = None
    verdict: Verdict | None = None
    """Of ``finding``."""
    further: tuple[NewFinding, ...] = ()
    """What the same breath said besides ``finding``, in order."""
    corrects: str | None = None
    """Id of the finding that ``finding`` supersedes, or that is withdrawn when there is none."""
    reason: str = ""
    """Why it is corrected or withdrawn."""
    made_by: str = "spoken"
    verdicts: tuple[tuple[str, Verdict], ...] = ()
    """Newer verdicts of earlier findings, by their ids."""
    remark: str | None = None
    remark_of: str | None = None
    """Id of the finding that the remark is put to."""
    mark: str | None = None
    """Name of an instant, at the start of the utterance."""
    marks: str | None = None
    """Id of the finding that the mark is for."""
    events: tuple[NewEvent, ...] = ()
    attachments: tuple[NewAttachment, ...] = ()
    takes_back: tuple[str, ...] = ()
    """Ids of findings that are withdrawn besides, for ``reason``."""
    of: str | None = None
    """Id of the utterance of the record that ``finding`` or ``remark`` is of, where the entry has none itself."""
    photos: tuple[tuple[int, str], ...] = ()
    """Which of the findings (0: ``finding``, then ``further``) a photo (id) goes to, with ``reason``."""
    review: NewReview | None = None


@dataclass(frozen=True, slots=True)
class Saved:
    """What one call wrote; ``number`` counts findings within the inspection from 1."""

    utterance_id: str | None
    finding_id: str | None = None
    number: int | None = None
    verdict_id: str | None = None
    remark_id: str | None = None
    mark_id: str | None = None
    review_id: str | None = None
    further: tuple[tuple[str, int | None], ...] = ()
    """Id and number of every further finding of the same breath, in order."""


@dataclass(frozen=True, slots=True)
class Odometer:
    """One reading of the distance a vehicle has done."""

    distance: Quantity
    read_at: datetime
    inspection_id: str | None


@dataclass(frozen=True, slots=True)
class LogEntry:
    """One line of a vehicle's log: work done, an interval of its own, an edit of its checklist.

    Unlike a fact, where the newest value rules, every entry counts.
    """

    kind: str
    """``done``, ``interval`` or ``checklist``."""
    made_at: datetime
    data: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Vehicle:
    """One machine under care; ``facts`` holds class, make, model, sizes and settings, latest."""

    id: str
    number: int
    name: str
    facts: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    odometer: tuple[Odometer, ...] = ()
    limits: tuple[Limit, ...] = ()
    log: tuple[LogEntry, ...] = ()
    """Every entry, oldest first."""

    @property
    def unit(self) -> str:
        """Unit of its odometer: km where nothing was read yet."""
        return self.odometer[-1].distance.unit if self.odometer else "km"


@dataclass(frozen=True, slots=True)
class Inspection:
    """The head of one walk round one vehicle."""

    id: str
    number: int
    vehicle_id: str
    vehicle_name: str
    started_at: datetime
    zone: str
    """IANA zone name or UTC offset of the session clock."""
    inspector: str
    place: str
    jurisdiction: str | None
    settings: Mapping[str, str]
    program: str
    findings: int
    """Findings that stand (neither corrected nor withdrawn)."""
    language: str = ""
    """ISO 639-1 of the language in which it is spoken and told; "" is the reference language."""


@dataclass(frozen=True, slots=True)
class Utterance:
    """One stretch of speech as kept: clip, what was heard, and what was made of it."""

    id: str
    number: int
    said_at: datetime
    start_s: float
    end_s: float
    source: str
    clip: str | None
    listener: str
    model: str
    grammar: str
    latency_ms: float | None
    decision: Decision
    kind: Kind
    reason: str
    text: str
    question: str
    dialogue: str | None
    flags: tuple[str, ...]
    """As they were kept: another version may know others than ``Flag``."""
    hypotheses: tuple[tuple[str, Hypothesis], ...] = ()
    """``(listener, hypothesis)``, best first within each listener."""
    answers: str | None = None
    """Id of the utterance whose question this one answers."""
    asked: KeptQuestion | None = None
    """What ``question`` was after; None where there is none, or an earlier version kept it."""
    stretches: tuple[Stretch, ...] = ()
    """Where each of several findings was said, in order, and what no word covers."""
    words: tuple[tuple[float, float], ...] = ()
    """Seconds of its source in which each word of ``text`` was said; empty where it is not known."""


@dataclass(frozen=True, slots=True)
class RecordedFinding:
    """A finding as kept, with its newest verdict and its place in the trail of corrections."""

    id: str
    number: int
    made_at: datetime
    finding: Finding
    verdict: Verdict | None = None
    utterance_id: str | None = None
    superseded_by: str | None = None
    """Id of the finding that corrects this one."""
    supersedes: str | None = None
    withdrawn: bool = False
    reason: str = ""
    """Why it was corrected or withdrawn."""
    rivals: tuple[str, ...] = ()
    """Ids of findings that another copy of the record had put in the same place; this one is newer
    and stands, or was withdrawn later."""
    withdrawn_elsewhere: bool = False
    """Whether another copy of the record had withdrawn what this one is put in the place of; this
    one is newer and stands."""
    made_after_signature: bool = False
    """Whether the inspection was signed and no signature had seen it: none covers it."""
    fallen_after_signature: bool = False
    """Whether no signature had seen that it was corrected or withdrawn."""
    turn: int = 0
    """Its place in the order of the record, which no clock that is set back changes."""

    @property
    def rivalled(self) -> bool:
        """Whether two copies of the record had said different things of it."""
        return bool(self.rivals) or self.withdrawn_elsewhere

    @property
    def stands(self) -> bool:
        """Whether it is neither corrected nor withdrawn."""
        return self.superseded_by is None and not self.withdrawn


@dataclass(frozen=True, slots=True)
class Remark:
    """Free speech kept as said; never judged."""

    id: str
    made_at: datetime
    text: str
    utterance_id: str | None
    finding_id: str | None = None
    """The finding it was put to."""
    taken_back: bool = False
    """Whether somebody took it back: it stays in the record, and nothing hangs on it any more."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A spoken instant ("photo") on the session clock."""

    id: str
    name: str
    at: datetime
    utterance_id: str | None
    finding_id: str | None


@dataclass(frozen=True, slots=True)
class Attachment:
    """Where a photo belongs, why, and by how much its time is off. No finding: unplaced."""

    id: str
    photo_id: str
    finding_id: str | None
    reason: str
    gap_s: float | None
    uncertainty_s: float | None
    candidates: tuple[str, ...]
    """Ids of the findings it could belong to, when undecided."""


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo as kept, with its newest attachment."""

    id: str
    media: str
    file: str
    kind: str
    capture_local: str | None
    offset: str | None
    utc: datetime | None
    camera: str | None
    orientation: int | None
    problem: str | None
    attachment: Attachment | None = None


@dataclass(frozen=True, slots=True)
class CameraClock:
    """Offset of one camera's clock (camera minus true, seconds) for an inspection; newest rules."""

    id: str
    camera: str
    offset_s: float | None
    uncertainty_s: float | None
    how: str
    evidence: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened to the session: overflow, microphone lost, skipped, signed off."""

    id: str
    name: str
    at: datetime
    text: str
    data: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class InspectionRecord:
    """Everything kept of one inspection, in the order it happened."""

    inspection: Inspection
    vehicle: Vehicle
    utterances: tuple[Utterance, ...] = ()
    findings: tuple[RecordedFinding, ...] = ()
    remarks: tuple[Remark, ...] = ()
    marks: tuple[Mark, ...] = ()
    photos: tuple[Photo, ...] = ()
    clocks: tuple[CameraClock, ...] = ()
    events: tuple[Event, ...] = ()
    reviews: tuple[Review, ...] = ()
    fingerprint: str = ""
    """SHA-256 (hex) over the hashes of its rows: the same wherever the same rows are."""
    rows: int = 0
    """Rows of the record that belong to it."""
    uncovered: tuple[str, ...] = ()
    """Ids of those that no signature had seen, in their order; none where nobody signed."""

    @property
    def decisions(self) -> tuple[Review, ...]:
        """What reviewers decided and nobody took back, oldest first."""
        return counting(self.reviews)


@dataclass(frozen=True, slots=True)
class HistoryRow:
    """One finding of a vehicle's past, with the distance it had then (None: not recorded)."""

    inspection_id: str
    inspection_number: int
    at: datetime
    finding: Finding
    state: State | None
    odometer: Quantity | None = None
