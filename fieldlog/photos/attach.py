"""Which finding a photo belongs to: marks first, then time with both clocks' uncertainty (pure).

Rules, in this order:

1. Photos of one camera that follow each other within ``burst_s`` are one burst and stay together;
   what is decided for the first shot goes for all.
2. A mark ("photo" said for a finding) claims the shots after it until the next utterance begins,
   at most ``mark_reach_s``; nothing else may claim them. Said for what is not in the record (a question that
   nobody answered, a part of which nothing was found) it claims them for none: they go to the tray.
3. A shot during an utterance belongs to that finding; the question that a finding answers is an utterance of it.
4. A shot after a finding and before the next belongs to the finding said before it, while it is
   within ``reach_s``. It is a tie when it lies close before the next utterance and longer after
   the last one: people also shoot first and speak then. What was said last and is in the record no more (taken
   back, asked about and never answered) has its shots all the same: they are of nothing before it.
5. What was said of several places in the same words ("both mirrors loose") is of each of them: which one a
   shot shows, nobody said.
6. Whatever the uncertainty of the clocks allows to be decided otherwise is a tie; what another
   guess of the camera's clock decides otherwise waits for the one answer about that clock.

Ties and orphans go to the tray with their candidates; nothing is guessed. Moving a photo by hand
is a correction on top.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from enum import StrEnum

from fieldlog.photos.clock import Alignment, CameraTime
from fieldlog.photos.facts import PhotoFacts, PhotoFault


class Why(StrEnum):
    """The reason of an attachment, or of lying in the tray."""

    MARK = "marked"
    UNNAMED = "marked, and no finding is of it"
    TAKEN_BACK = "of what was said, and no longer stands or was never answered"
    DURING = "taken while it was said"
    AFTER = "taken after it was said"
    HAND = "moved by hand"
    TIE = "between two findings"
    SEVERAL = "of several that were said in the same words"
    FAR = "far from any finding"
    OUTSIDE = "outside the inspection"
    NO_TIME = "no usable capture time"
    CLOCK = "the camera's clock is in question"

    @classmethod
    def kept(cls, text: str) -> Why | None:
        """The reason that the record holds as ``text``; None where a person wrote it."""
        return cls(text) if text in set(cls) else None


NOTHING = ""
"""Id of what was said where no finding stands of it."""


@dataclass(frozen=True, slots=True)
class SpokenFinding:
    """A finding's id (or ``NOTHING``) and its utterance on the session clock (aware UTC)."""

    id: str
    start: datetime
    end: datetime
    others: tuple[str, ...] = ()
    """Ids of those of which the same words said the same, at other places."""


@dataclass(frozen=True, slots=True)
class TimedMark:
    """A spoken instant ("photo") on the session clock and the finding it was said for, if known."""

    at: datetime
    finding_id: str | None = None
    of_none: bool = False
    """Whether it is of none of those before it; else, without a finding, it is of the last one."""
    others: tuple[str, ...] = ()
    """Ids of findings that it may be of as well."""


@dataclass(frozen=True, slots=True)
class Moment:
    """An instant at which a shot may have been taken, and how probable that is (0 to 1).

    ``guess`` numbers the guess of the clock, as people see it, that it belongs to.
    """

    at: datetime
    probability: float
    guess: int = 0


@dataclass(frozen=True, slots=True)
class Shot:
    """One photo on the session clock, ready to be placed.

    ``order`` sorts shots of the same instant (sub-seconds are in ``at``; then the natural name).
    ``at`` is None when the photo may not be placed by time; ``unusable`` says why in words.
    """

    photo: str
    camera: str
    at: datetime | None
    uncertainty_s: float
    assumed: bool = False
    order: tuple[object, ...] = ()
    unusable: str = ""
    why: Why = Why.NO_TIME
    moments: tuple[Moment, ...] = ()
    """Where the guesses of the camera's clock put it; empty: anywhere within the uncertainty."""
    repeated: bool = False
    """True when the recorded hour came twice, at a change of the clocks."""


@dataclass(frozen=True, slots=True)
class Attached:
    """Photo -> finding with the reason, the time gap and its uncertainty.

    ``gap_s`` is shutter minus end of the utterance in seconds: negative before its end, 0 inside.
    ``assumed`` says that the photo's zone was the session's, not its own; ``repeated`` that its
    recorded hour came twice.
    """

    photo: str
    finding_id: str
    why: Why
    gap_s: float
    uncertainty_s: float
    assumed: bool = False
    repeated: bool = False


@dataclass(frozen=True, slots=True)
class Candidate:
    """A finding that an unplaced photo may belong to, and its time gap as in ``Attached``."""

    finding_id: str
    gap_s: float


@dataclass(frozen=True, slots=True)
class Unplaced:
    """A photo in the tray: why, and the findings it may belong to, nearest first."""

    photo: str
    why: Why
    detail: str
    candidates: tuple[Candidate, ...] = ()


@dataclass(frozen=True, slots=True)
class AttachRules:
    """Seconds that decide; common practice, measured in ``python -m fieldlog.lab photos``."""

    burst_s: float = 1.2
    """Shots of one camera at most this far apart are one burst (continuous shooting)."""
    burst_longest_s: float = 10.0
    mark_early_s: float = 1.0
    """A shutter may come this long before the word "photo" is over."""
    mark_reach_s: float = 30.0
    reach_s: float = 60.0
    """Longest time after a finding at which a shot is still taken for it."""
    settled_s: float = 4.0
    """Within this time after a finding a shot is always taken for it."""
    lead_s: float = 3.0
    """Shots this close before an utterance may have been taken for it."""
    outside_s: float = 900.0
    """Beyond this time from every finding a photo is none of this inspection's."""


DEFAULT_RULES = AttachRules()
SEE = "see the question about it"
"""What each photo says whose camera is asked about: the question stands once, with the camera."""
SURE = 0.995
"""Share of the probability that must agree on a finding: what holds less does not survive."""


@dataclass(frozen=True, slots=True)
class Placement:
    """What became of every photo."""

    attached: tuple[Attached, ...]
    unplaced: tuple[Unplaced, ...]


def make_shot(
    photo: str,
    facts: PhotoFacts,
    time: CameraTime | None,
    alignment: Alignment,
    *,
    not_before: date | None = None,
    order: tuple[object, ...] = (),
) -> Shot:
    """Put a photo on the session clock, or say why it cannot be.

    A capture time that is implausible on the camera's own clock is used only when the alignment
    corrects it to a plausible one from a photo of the time code or a value given.
    """
    camera = facts.camera or ""
    if time is None:
        why = facts.problem or "no capture time recorded"
        return Shot(photo, camera, None, 0.0, order=order, unusable=why)
    if not alignment.usable:
        return Shot(photo, camera, None, 0.0, order=order, unusable=SEE, why=Why.CLOCK)
    at = alignment.session_time(time)
    wrong = facts.problem if facts.fault == PhotoFault.IMPLAUSIBLE else None
    if wrong is None and not_before is not None and at.date() < not_before:
        wrong = f"implausible capture time: before {not_before.isoformat()}, when it was made"
    if wrong is not None and abs(alignment.offset_s) < 86400:
        return Shot(photo, camera, None, 0.0, order=order, unusable=wrong)
    doubt = max(alignment.uncertainty_s, facts.resolution_s / 2)
    moments = shot_moments(alignment, time, doubt)
    return Shot(
        photo, camera, at, doubt, time.assumed, order, moments=moments, repeated=time.repeated
    )


def shot_moments(alignment: Alignment, time: CameraTime, doubt_s: float) -> tuple[Moment, ...]:
    """The instants at which the guesses of a camera's clock put one of its times.

    Without guesses they are spread over the uncertainty, around each reading that is possible.
    """
    instants = alignment.guessed_times(time)
    if not alignment.guesses:
        distinct = list(dict.fromkeys(instants))
        return tuple(m for n, at in enumerate(distinct) for m in evenly(at, doubt_s, n))
    return tuple(
        Moment(instants[n], alignment.guesses[n].probability, number)
        for number, stretch in enumerate(alignment.stretches)
        for n in stretch.members
    )


def evenly(at: datetime, doubt_s: float, guess: int = 0) -> list[Moment]:
    """An uncertainty from end to end, every half second-ish, all equally probable."""
    doubt = timedelta(seconds=doubt_s)
    steps = max(2, min(int(doubt_s * 2), 60))
    found = [at - doubt + 2 * doubt * k / steps for k in range(steps + 1)]
    return [Moment(moment, 1 / (steps + 2), guess) for moment in (*found, at)]


def place(
    shots: Iterable[Shot],
    findings: Sequence[SpokenFinding],
    marks: Sequence[TimedMark] = (),
    rules: AttachRules = DEFAULT_RULES,
) -> Placement:
    """Attach every shot to its finding or put it in the tray; O((n + m) log (n + m))."""
    session = _Session(findings, marks, rules)
    attached: list[Attached] = []
    unplaced: list[Unplaced] = []
    for burst in bursts(shots, rules):
        if burst[0].at is None:
            unplaced += [Unplaced(s.photo, s.why, s.unusable) for s in burst]
            continue
        decided = session.decide(burst[0])
        for shot in burst:
            if isinstance(decided, Unplaced):
                unplaced.append(replace(decided, photo=shot.photo))
            else:
                finding, why = decided
                attached.append(session.attachment(shot, finding, why))
    return Placement(tuple(attached), tuple(unplaced))


def bursts(shots: Iterable[Shot], rules: AttachRules = DEFAULT_RULES) -> list[list[Shot]]:
    """Shots in order of time, grouped into bursts; those without a time are groups of one."""
    timed: dict[str, list[Shot]] = {}
    groups: list[list[Shot]] = []
    for shot in shots:
        if shot.at is None:
            groups.append([shot])
        else:
            timed.setdefault(shot.camera, []).append(shot)
    dated: list[tuple[datetime, list[Shot]]] = []
    for members in timed.values():
        members.sort(key=lambda s: (s.at, s.order, s.photo))
        group: list[Shot] = []
        first: datetime | None = None
        last: datetime | None = None
        for shot in members:
            at = shot.at
            assert at is not None
            near = (
                first is not None
                and last is not None
                and (at - last).total_seconds() <= rules.burst_s
                and (at - first).total_seconds() <= rules.burst_longest_s
            )
            if not near:
                group, first = [], at
                dated.append((at, group))
            group.append(shot)
            last = at
    dated.sort(key=lambda pair: pair[0])
    return [group for _at, group in dated] + groups


class _Session:
    """The findings and marks of one session, sorted for looking up by time."""

    def __init__(
        self, findings: Sequence[SpokenFinding], marks: Sequence[TimedMark], rules: AttachRules
    ) -> None:
        self._findings = sorted(findings, key=lambda f: (f.start, f.end))
        self._starts = [f.start for f in self._findings]
        self._by_id = {f.id: f for f in self._findings}
        self._marks = sorted(marks, key=lambda m: m.at)
        self._mark_times = [m.at for m in self._marks]
        self._rules = rules

    def decide(self, shot: Shot) -> tuple[SpokenFinding, Why] | Unplaced:
        """One answer that (nearly) every moment gives at which it may have been taken, or the tray."""
        assert shot.at is not None
        moments = shot.moments or evenly(shot.at, shot.uncertainty_s)
        shares: dict[tuple[str, ...], float] = defaultdict(float)
        by_guess: dict[int, dict[tuple[str, ...], float]] = defaultdict(lambda: defaultdict(float))
        whys: dict[tuple[str, ...], Why] = {}
        for moment in moments:
            findings, why = self._at(moment.at)
            owners = tuple(dict.fromkeys(finding.id for finding in findings))
            shares[owners] += moment.probability
            by_guess[moment.guess][owners] += moment.probability
            whys.setdefault(owners, why)
        best = max(shares, key=shares.__getitem__)
        whole = sum(shares.values())
        if len(best) == 1 and best != (NOTHING,) and shares[best] >= SURE * whole:
            findings, why = self._at(shot.at)
            same = {finding.id for finding in findings} == set(best)
            return self._by_id[best[0]], why if same else whys[best]
        left = {i for owners, held in shares.items() if held > (1 - SURE) * whole for i in owners}
        by_far = {
            max(held, key=held.__getitem__)
            for held in by_guess.values()
            if sum(held.values()) > (1 - SURE) * whole
        }
        return self._tray(shot, left, clock=len(by_far) > 1)

    def _tray(self, shot: Shot, owners: set[str], *, clock: bool) -> Unplaced:
        """Why no single finding gets a shot, with those that may."""
        at = shot.at
        assert at is not None
        if NOTHING in owners:
            owners = owners - {NOTHING}
            left = tuple(Candidate(i, self._gap(self._by_id[i], at)) for i in sorted(owners))
            if clock:
                return Unplaced(shot.photo, Why.CLOCK, SEE, left)
            return Unplaced(shot.photo, Why.TAKEN_BACK, "", left or self._nearest(at))
        if not owners:
            nearest = self._nearest(at)
            gap = abs(nearest[0].gap_s) if nearest else None
            if gap is None or gap > self._rules.outside_s:
                return Unplaced(shot.photo, Why.OUTSIDE, "no finding was spoken around that time")
            detail = f"{gap:.0f} s from the nearest finding"
            if self._at(at)[1] is Why.UNNAMED:
                return Unplaced(shot.photo, Why.UNNAMED, detail, nearest)
            return Unplaced(shot.photo, Why.FAR, detail, nearest)
        found = (Candidate(i, self._gap(self._by_id[i], at)) for i in owners)
        candidates = tuple(sorted(found, key=lambda c: (abs(c.gap_s), c.finding_id)))
        if clock:
            return Unplaced(shot.photo, Why.CLOCK, SEE, candidates)
        if len(candidates) == 1:  # attached for part of the uncertainty, far away for the rest
            detail = f"{candidates[0].gap_s:.0f} s after it, +/- {shot.uncertainty_s:.0f} s"
            return Unplaced(shot.photo, Why.FAR, detail, candidates)
        if any(owners == {one, *self._by_id[one].others} for one in owners):
            return Unplaced(shot.photo, Why.SEVERAL, "", candidates)
        detail = f"within +/- {shot.uncertainty_s:.1f} s it fits {len(candidates)} findings"
        return Unplaced(shot.photo, Why.TIE, detail, candidates)

    def attachment(self, shot: Shot, finding: SpokenFinding, why: Why) -> Attached:
        assert shot.at is not None
        gap = self._gap(finding, shot.at)
        return Attached(
            shot.photo, finding.id, why, gap, shot.uncertainty_s, shot.assumed, shot.repeated
        )

    def _at(self, moment: datetime) -> tuple[list[SpokenFinding], Why]:
        """The findings a shot at exactly this moment may belong to, and why; empty when far."""
        claimed, why = self._alone(moment)
        if why is Why.MARK:
            return claimed, why
        return [one for each in claimed for one in self._alike(each)], why

    def _alike(
        self, finding: SpokenFinding, others: Iterable[str] | None = None
    ) -> list[SpokenFinding]:
        """``finding``, with those of which the same was said."""
        names = finding.others if others is None else others
        return [finding, *(self._by_id[each] for each in names if each in self._by_id)]

    def _alone(self, moment: datetime) -> tuple[list[SpokenFinding], Why]:
        """The same, but one alone of those that were said in the same words."""
        rules = self._rules
        index = bisect_right(self._starts, moment) - 1
        before = self._findings[index] if index >= 0 else None
        after = self._findings[index + 1] if index + 1 < len(self._findings) else None
        lead = (after.start - moment).total_seconds() if after is not None else float("inf")
        claim = self._claim(moment)
        if claim is not None:
            marked, since = claim
            if marked is None:
                return [], Why.UNNAMED
            if after is not None and since > rules.settled_s and lead <= min(rules.lead_s, since):
                return [*marked, *self._alike(after)], Why.MARK
            return marked, Why.MARK
        if before is None:
            return (
                ([after], Why.AFTER)
                if after is not None and lead <= rules.lead_s
                else ([], Why.FAR)
            )
        if moment <= before.end:
            return [before], Why.DURING
        since = (moment - before.end).total_seconds()
        if since <= rules.settled_s:
            return [before], Why.AFTER
        shot_first = after is not None and lead <= rules.lead_s and lead < since
        if since <= rules.reach_s:
            return ([before, after] if shot_first and after else [before]), Why.AFTER
        return ([before, after] if shot_first and after else []), Why.FAR

    def _claim(self, moment: datetime) -> tuple[list[SpokenFinding] | None, float] | None:
        """The findings (None: none) whose mark claims this moment and the seconds since that mark, if any."""
        rules = self._rules
        early = moment + timedelta(seconds=rules.mark_early_s)
        index = bisect_right(self._mark_times, early) - 1
        if index < 0:
            return None
        mark = self._marks[index]
        since = (moment - mark.at).total_seconds()
        said = bisect_right(self._starts, moment) - 1
        if since > rules.mark_reach_s or (said >= 0 and self._starts[said] > mark.at):
            return None  # too late, or another utterance began since
        if mark.of_none:
            return None, since
        if mark.finding_id is not None:
            owner, others = self._by_id.get(mark.finding_id), tuple(mark.others)
        else:
            place = bisect_right(self._starts, mark.at) - 1
            owner, others = (self._findings[place] if place >= 0 else None), None
            if owner is not None and owner.id == NOTHING:
                return None, since
        return None if owner is None else (self._alike(owner, others), since)

    def _gap(self, finding: SpokenFinding, at: datetime) -> float:
        if at < finding.start:
            return (at - finding.start).total_seconds()
        return max((at - finding.end).total_seconds(), 0.0)

    def _nearest(self, at: datetime) -> tuple[Candidate, ...]:
        standing = [each for each in self._findings if each.id != NOTHING]
        index = bisect_right([each.start for each in standing], at)
        near = standing[max(index - 1, 0) : index + 1]
        found = [Candidate(f.id, self._gap(f, at)) for f in near]
        return tuple(sorted(found, key=lambda c: abs(c.gap_s)))
