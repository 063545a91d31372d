"""What a report shows, as plain values ready to be set in type (pure, frozen)."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fieldlog.model.state import State
from fieldlog.report.gauge import Gauge
from fieldlog.report.trend_picture import TrendPicture


class Shown(StrEnum):
    """How a finding stands, as its row shows it, worst first."""

    BEYOND = State.BEYOND.value
    FAULTY = State.FAULTY.value
    MARGINAL = State.MARGINAL.value
    UNDECIDED = State.UNDECIDED.value
    WITHIN = State.WITHIN.value
    NOT_JUDGED = "not judged"


def state_of(shown: Shown) -> State | None:
    """The state that is shown; None where nothing was judged."""
    return None if shown is Shown.NOT_JUDGED else State(shown.value)


@dataclass(frozen=True, slots=True)
class LimitLine:
    """One limit that applies: as printed, from where, how well supported, and what it says."""

    text: str
    source: str
    """Source with its section and edition."""
    status: str
    state: str
    detail: str
    """Reading in the limit's unit, margin, guard band, conformance probability."""
    gates: bool


@dataclass(frozen=True, slots=True)
class PhotoCell:
    """A photo with the reason it is where it is."""

    media: str
    file: str
    when: str
    reason: str
    """Why it is here and how far its time is off; the candidates when it is unplaced."""


@dataclass(frozen=True, slots=True)
class ClipLine:
    """A stretch of speech that can be played."""

    media: str
    seconds: float
    said: str
    """What was said in it; empty where it was not understood."""


@dataclass(frozen=True, slots=True)
class FindingRow:
    """One finding that stands."""

    id: str
    number: int
    subject: str
    value: str
    spoken: str
    told: str
    """``spoken`` with how it came in: said, or typed; empty where it was entered without words."""
    when: str
    state: Shown
    severity: str
    reason: str
    limits: tuple[LimitLine, ...]
    gauge: Gauge | None
    photos: tuple[PhotoCell, ...]
    clip: ClipLine | None
    notes: tuple[str, ...]
    """What a reviewer should see: flags of the hearing, what it corrects."""
    plain: str = ""
    """What was found, without values."""


@dataclass(frozen=True, slots=True)
class SystemSection:
    """One system of the walk with its findings and what of it was not checked."""

    name: str
    findings: tuple[FindingRow, ...]
    not_checked: tuple[str, ...]
    left_out: tuple[str, ...]
    """Items skipped on purpose, each with its reason."""


@dataclass(frozen=True, slots=True)
class HeardLine:
    """An utterance that made no finding: not understood, or asked about."""

    when: str
    text: str
    told: str
    """The words with how they came in: typed, said, or heard as."""
    reason: str
    clip: ClipLine | None


@dataclass(frozen=True, slots=True)
class CorrectionLine:
    """One step of the trail: what stood before, what stands instead, and why."""

    number: int
    before: str
    after: str
    reason: str
    clip: ClipLine | None


@dataclass(frozen=True, slots=True)
class JobRow:
    """Something to do, with what it needs and the findings it follows from."""

    do: str
    where: str
    parts: str
    consumables: str
    torques: str
    advice: str
    because: tuple[int, ...]
    severity: str


@dataclass(frozen=True, slots=True)
class DueRow:
    """Something that comes due."""

    what: str
    by: str
    nearness: str
    reason: str
    source: str


class Urgency(StrEnum):
    """The three lists of the owner's page, in their order."""

    DO_NOT_RIDE = "do not ride before this is done"
    NEXT_RIDE = "before the next ride"
    PLAN = "plan"


@dataclass(frozen=True, slots=True)
class OwnerLine:
    """One thing to have done: what, where, what was found, and the findings behind it."""

    do: str
    """Empty where no work is known for what was found."""
    where: str
    found: tuple[str, ...]
    because: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class OwnerList:
    """One of the three lists; none is there without a line."""

    urgency: Urgency
    lines: tuple[OwnerLine, ...]


@dataclass(frozen=True, slots=True)
class PhotoOf:
    """A photo on the owner's page with the finding that it shows."""

    cell: PhotoCell
    number: int
    of: str


@dataclass(frozen=True, slots=True)
class OwnerPage:
    """The first page: what to do before what, what nobody looked at, photos, next dates."""

    lists: tuple[OwnerList, ...]
    left: tuple[tuple[str, tuple[str, ...]], ...]
    """Stage of the walk -> what nobody looked at."""
    left_out: tuple[str, ...]
    """Left out on purpose, with the reasons."""
    undecided: tuple[str, ...]
    """Looked at, and nothing decided."""
    photos: tuple[PhotoOf, ...]
    dates: tuple[DueRow, ...]


@dataclass(frozen=True, slots=True)
class Report:
    """Everything a report shows, in the order it is shown."""

    title: str
    card_number: str
    vehicle: str
    fields: tuple[tuple[str, str], ...]
    """Label and value of the boxes at the head of the card."""
    headline: str
    deferral: str
    owner: OwnerPage
    counts: tuple[tuple[Shown, int], ...]
    off: tuple[FindingRow, ...]
    """Findings not within, worst first."""
    systems: tuple[SystemSection, ...]
    jobs: tuple[JobRow, ...]
    shopping: tuple[str, ...]
    cross_checks: tuple[str, ...]
    """What was found makes one look at as well, and nobody did."""
    due: tuple[DueRow, ...]
    remarks: tuple[HeardLine, ...]
    asked: tuple[HeardLine, ...]
    not_understood: tuple[HeardLine, ...]
    unplaced: tuple[PhotoCell, ...]
    corrections: tuple[CorrectionLine, ...]
    cautions: tuple[str, ...]
    """Of what was found and of the work, ending in the deferral."""
    provenance: tuple[tuple[str, str], ...]
    """How the record was made: listeners, models, camera clocks, what went wrong."""
    signed: tuple[str, ...]
    """Sign-offs: name and instant."""
    not_covered: tuple[str, ...]
    """What came after the last of them."""
    fingerprint: str
    rows: int
    printed: str
    trends: tuple[TrendPicture, ...] = ()
    checkpoint: str = ""
    """The whole record at the time of the report, as a note that whoever has the report can hold against
    it; "" where none was made."""
    checkpoint_told: str = ""
    """Who signed it."""

    @property
    def findings(self) -> tuple[FindingRow, ...]:
        """Every finding that stands, system by system."""
        return tuple(row for section in self.systems for row in section.findings)

    @property
    def photos(self) -> tuple[PhotoCell, ...]:
        """Every photo shown, placed or not."""
        placed = tuple(cell for row in self.findings for cell in row.photos)
        return placed + self.unplaced

    @property
    def clips(self) -> tuple[ClipLine, ...]:
        """Every clip that can be played, each once."""
        lines: list[ClipLine | None] = [row.clip for row in self.findings]
        lines += [line.clip for line in (*self.remarks, *self.asked, *self.not_understood)]
        lines += [line.clip for line in self.corrections]
        return tuple({line.media: line for line in lines if line is not None}.values())
