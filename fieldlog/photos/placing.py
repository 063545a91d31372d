"""An inspection's photos onto its session clock and to its findings: the record in, rows out.

What decides is in ``clock`` and ``attach``; here the record is put into their words, the time code
is looked for in the photos, and what changed is written back as new rows.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from fieldlog.model.understanding import Decision, Kind
from fieldlog.photos.attach import (
    NOTHING,
    Placement,
    Shot,
    SpokenFinding,
    TimedMark,
    Unplaced,
    Why,
    make_shot,
    place,
)
from fieldlog.photos.clock import (
    Alignment,
    Basis,
    CameraTime,
    align_code,
    align_said,
    asked,
    read_by_session,
    unaligned,
)
from fieldlog.photos.crew import Crew
from fieldlog.photos.facts import PhotoFacts, PhotoFault, to_row
from fieldlog.photos.importer import kept_facts
from fieldlog.photos.readings import camera_times
from fieldlog.photos.scan import natural_key
from fieldlog.photos.timecode import read_code
from fieldlog.photos.when import implausible, offset_delta
from fieldlog.store.ids import part_id
from fieldlog.store.records import (
    CameraClock,
    EventName,
    InspectionRecord,
    NewAttachment,
    Photo,
    RecordedFinding,
    Utterance,
)
from fieldlog.store.repository import Repository

WITHDRAWN = "withdrawn"
_ENDS_LOOKED_AT = 6
"""Photos looked through for the time code at each end of a camera's series."""


@dataclass(frozen=True, slots=True)
class Series:
    """The photos of one camera in an inspection in order of their time, with what they say.

    ``camera`` is "" for photos that name none; a camera has an alignment only with a time to align.
    """

    camera: str
    photos: tuple[tuple[Photo, PhotoFacts, CameraTime | None], ...]

    @property
    def timed(self) -> list[tuple[CameraTime, PhotoFacts]]:
        """The photos that have a time."""
        return [(time, facts) for _photo, facts, time in self.photos if time is not None]


@dataclass(frozen=True, slots=True)
class Placed:
    """What placing an inspection's photos led to."""

    alignments: tuple[Alignment, ...]
    placement: Placement
    changed: int
    """Photos whose place differs from what the record said before."""


def session_zone(text: str) -> tzinfo:
    """The zone an inspection was recorded with: an offset such as +02:00, or an IANA name.

    An unknown name counts as UTC: photos are then marked assumed in any case.
    """
    delta = offset_delta(text)
    if delta is not None:
        return timezone(delta)
    try:
        return ZoneInfo(text)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return UTC


def spoken_findings(record: InspectionRecord) -> list[SpokenFinding]:
    """When each finding was said; what was said of a corrected one counts for its correction."""
    spoken = {u.id: u for u in record.utterances}
    by_id = {f.id: f for f in record.findings}
    breaths = defaultdict[str | None, list[RecordedFinding]](list)
    for finding in record.findings:
        breaths[finding.utterance_id].append(finding)
    found = []
    for finding in record.findings:
        now = _become(by_id, finding.id)
        if now is None:
            continue
        of_all = (
            _become(by_id, each.id)
            for each in breaths[finding.utterance_id]
            if each.finding.alike(finding.finding)
        )
        others = tuple(dict.fromkeys(each for each in of_all if each not in (None, now)))
        for said in _asked_and_answered(finding, spoken):
            length = timedelta(seconds=max(said.end_s - said.start_s, 0.0))
            found.append(SpokenFinding(now, said.said_at, said.said_at + length, others))
    return found


def all_that_was_said(record: InspectionRecord) -> list[SpokenFinding]:
    """The same, with what was said of a finding of which nothing stands: a shot behind it is of nothing before it."""
    spoken = {u.id: u for u in record.utterances}
    made, kept = set[str | None](), set[str]()
    by_id = {f.id: f for f in record.findings}
    for finding in record.findings:
        made.add(finding.utterance_id)
        if _become(by_id, finding.id) is not None:
            kept.update(each.id for each in _asked_and_answered(finding, spoken))
    found = spoken_findings(record)
    for said in record.utterances:
        asked = said.decision is Decision.ASK and said.kind is Kind.FINDING and not said.dialogue
        if said.id not in kept and (said.id in made or asked):
            length = timedelta(seconds=max(said.end_s - said.start_s, 0.0))
            found.append(SpokenFinding(NOTHING, said.said_at, said.said_at + length))
    return found


def _asked_and_answered(
    finding: RecordedFinding, spoken: Mapping[str, Utterance]
) -> Iterator[Utterance]:
    """What a finding was said in, and what was asked of that: a shot behind the question is of it."""
    name, seen = finding.utterance_id, set[str]()
    while name is not None and name in spoken and name not in seen:
        seen.add(name)
        yield spoken[name]
        name = spoken[name].answers


def spoken_marks(record: InspectionRecord) -> list[TimedMark]:
    """The marks that were said for photos.

    One that was said is of its finding alone; what stood behind a question is of the one that answered it.
    """
    standing = {f.id: f for f in record.findings}
    waited = {e.id: e.data.get("question") for e in record.events if e.name == EventName.MARK_WAITS}
    several = {
        e.id: e.data.get("findings", "").split()
        for e in record.events
        if e.name == EventName.MARKS_SEVERAL
    }
    found = []
    for mark in record.marks:
        said = part_id(mark.utterance_id, "event") if mark.utterance_id else ""
        of = [mark.finding_id] if mark.finding_id else several.get(said)
        of = _answered(record, waited.get(said)) if of is None else of
        owners = list(
            dict.fromkeys(now for each in of if (now := _become(standing, each)) is not None)
        )
        owner = owners[-1] if owners else None
        of_none = owner is None and mark.utterance_id is not None
        found.append(TimedMark(mark.at, owner, of_none, tuple(owners[:-1])))
    return found


def _become(known: Mapping[str, RecordedFinding], name: str) -> str | None:
    """Id of what a finding has become, every correction of it followed; None where nothing of it stands."""
    seen = set[str]()
    while name in known and name not in seen:
        seen.add(name)
        after = known[name].superseded_by
        if after is None:
            return name if known[name].stands else None
        name = after
    return None


def _answered(record: InspectionRecord, question: str | None) -> list[str]:
    """Ids of the findings that the answer to a question led to."""
    answers = {each.answers: each.id for each in record.utterances if each.answers is not None}
    name, seen = question, set[str]()
    while name is not None and name in answers and name not in seen:
        seen.add(name)
        name = answers[name]
    return [each.id for each in record.findings if name and each.utterance_id == name]


def unplaced_yet(record: InspectionRecord) -> tuple[Photo, ...]:
    """Photos that were kept and never put to a finding, nor to the tray: whoever kept them was cut off."""
    return tuple(photo for photo in record.photos if photo.attachment is None)


def photo_series(store: Repository, record: InspectionRecord, today: date) -> list[Series]:
    """The inspection's photos by camera, with their facts read again from the originals."""
    zone = session_zone(record.inspection.zone)
    photos = record.photos
    facts_of = kept_facts(store, [(p.media, p.file) for p in photos], today)
    cameras: dict[str, list[tuple[Photo, PhotoFacts]]] = {}
    for photo, facts in zip(photos, facts_of, strict=True):
        if facts.fault in (PhotoFault.NOT_READ, PhotoFault.UNREADABLE):
            facts = _as_kept(photo, facts.file, today)
        cameras.setdefault(photo.camera or "", []).append((photo, facts))

    found = []
    for camera, rows in cameras.items():
        rows.sort(key=lambda row: natural_key(row[0].file))
        times = camera_times([facts for _photo, facts in rows], zone)
        joined = [(*row, time) for row, time in zip(rows, times, strict=True)]
        joined.sort(key=lambda row: row[2].instant if row[2] else _NEVER)
        found.append(Series(camera, tuple(joined)))
    return found


def _as_kept(photo: Photo, file: str, today: date) -> PhotoFacts:
    """What the record holds of a photo that was read when it was kept and is not now: missing, or a busy machine.

    Without it the clock of its camera would be found from fewer photos, and others would lose their places too.
    """
    kept = PhotoFacts(
        file,
        photo.kind,
        capture_local=photo.capture_local,
        offset=photo.offset,
        make=photo.camera,
        orientation=photo.orientation,
        problem=photo.problem,
    )
    why = implausible(kept.local, today) if kept.local is not None else None
    return kept if why is None else replace(kept, fault=PhotoFault.IMPLAUSIBLE.value)


_NEVER = datetime.max.replace(tzinfo=UTC)


def find_codes(
    series: Series, *, everywhere: bool = False, crew: Crew | None = None
) -> list[tuple[datetime, datetime]]:
    """(camera time, time code) of the photos of the time code in a camera's series.

    Unless ``everywhere``, only both ends of the series are looked through: decoding takes a fifth
    of a second each.
    """
    timed = [(time.instant, facts) for time, facts in series.timed]
    if not everywhere and len(timed) > 2 * _ENDS_LOOKED_AT:
        timed = timed[:_ENDS_LOOKED_AT] + timed[-_ENDS_LOOKED_AT:]
    if not timed:
        return []
    own = crew is None
    crew = crew or Crew("timecode", workers=1 if len(timed) < 4 else None)
    found = []
    try:
        answers = crew.run([to_row(facts) for _at, facts in timed], batch=2)
        for (at, _facts), answer in zip(timed, answers, strict=True):
            code = read_code(answer.value) if isinstance(answer.value, str) else None
            if code is not None:
                found.append((at, code))
    finally:
        if own:
            crew.close()
    return found


def align_series(
    series: Series,
    record: InspectionRecord,
    *,
    everywhere: bool = False,
    find: Callable[[Series], list[tuple[datetime, datetime]]] | None = None,
) -> Alignment:
    """The best alignment of one camera: what was entered, else the time code, else what was said."""
    timed = series.timed
    times = [time for time, _facts in timed]
    said = sorted({(finding.start, finding.end) for finding in spoken_findings(record)})
    marks = [mark.at for mark in spoken_marks(record)]
    entered = entered_alignment(record.clocks, series.camera)
    if entered is not None or not timed:
        return read_by_session(entered or unaligned(series.camera), said, marks, times)
    codes = find(series) if find is not None else find_codes(series, everywhere=everywhere)
    resolution = _resolution(series)
    if codes:
        known = align_code(series.camera, codes, resolution_s=resolution)
        return read_by_session(known, said, marks, times)
    kept = _code_before(record.clocks, series.camera)
    if kept is not None:
        return read_by_session(kept, said, marks, times)
    return align_said(series.camera, said, marks, times, resolution_s=resolution)


def entered_alignment(clocks: Iterable[CameraClock], camera: str) -> Alignment | None:
    """The alignment somebody entered for a camera and did not withdraw; None when there is none."""
    for clock in clocks:
        if clock.camera == camera and clock.offset_s is not None and clock.how in _ENTERED:
            return Alignment(camera, Basis(clock.how), -clock.offset_s, clock.uncertainty_s or 0.0)
    return None


def _code_before(clocks: Iterable[CameraClock], camera: str) -> Alignment | None:
    """What photos of the time code told before: they are in the record, though none is read, or looked at, now."""
    for clock in clocks:
        if clock.camera == camera:
            told = clock.how == Basis.CODE.value and not clock.evidence.get("question")
            if (
                not told
                or clock.offset_s is None
                or float(clock.evidence.get("drift_s_per_day", 0))
            ):
                return None  # of a clock that drifts not all is in the record
            pairs = int(clock.evidence.get("pairs", 1))
            doubt = clock.uncertainty_s or 0.0
            return Alignment(camera, Basis.CODE, -clock.offset_s, doubt, pairs=pairs)
    return None


_ENTERED = (Basis.GIVEN.value, Basis.EVENT.value, Basis.MEASURED.value)


def save_alignment(store: Repository, inspection_id: str, alignment: Alignment) -> None:
    """Write an alignment as the newest of its camera (the record keeps camera minus session)."""
    evidence = {"pairs": str(alignment.pairs), "drift_s_per_day": f"{alignment.drift * 86400:.2f}"}
    for number, guess in enumerate(alignment.stretches[1:], start=2):
        evidence[f"guess_{number}_s"] = f"{-guess.offset_s:.1f}"
        evidence[f"guess_{number}_probability"] = f"{guess.probability:.3f}"
    if alignment.ask:
        evidence["question"] = alignment.ask
    store.set_clock(
        inspection_id,
        alignment.camera,
        0.0 - alignment.offset_s,  # not -0.0, which a database does not keep
        alignment.uncertainty_s,
        how=alignment.basis.value,
        evidence=evidence,
    )


def withdraw_alignment(store: Repository, inspection_id: str, camera: str) -> None:
    """Let what was entered for a camera no longer count; it stays in the record."""
    store.set_clock(inspection_id, camera, None, None, how=WITHDRAWN)


def place_photos(store: Repository, key: str, today: date, *, everywhere: bool = False) -> Placed:
    """Align every camera of an inspection, place its photos, and write what changed.

    Photos that were moved by hand stay where they are.
    """
    record = store.inspection_record(key)
    series = photo_series(store, record, today)
    alignments = [align_series(s, record, everywhere=everywhere) for s in series]
    placement = place_series(record, series, alignments)
    waiting = {u.photo for u in placement.unplaced if u.why is Why.CLOCK}
    alignments = [
        asked(alignment, sum(photo.id in waiting for photo, _facts, _time in one.photos))
        for one, alignment in zip(series, alignments, strict=True)
    ]
    cameras = [a for one, a in zip(series, alignments, strict=True) if one.timed]
    for alignment in cameras:
        if _differs(alignment, record.clocks):
            save_alignment(store, record.inspection.id, alignment)
    changed = _write(store, record, placement)
    return Placed(tuple(cameras), placement, changed)


def place_series(
    record: InspectionRecord, series: Sequence[Series], alignments: Sequence[Alignment]
) -> Placement:
    """Where the photos of an inspection belong, without those that were moved by hand."""
    made = _made_in(record)
    shots: list[Shot] = []
    for one, alignment in zip(series, alignments, strict=True):
        for photo, facts, time in one.photos:
            if photo.attachment is not None and Why.kept(photo.attachment.reason) is Why.HAND:
                continue
            order = natural_key(photo.file)
            shots.append(make_shot(photo.id, facts, time, alignment, not_before=made, order=order))
    return place(shots, all_that_was_said(record), spoken_marks(record))


def _write(store: Repository, record: InspectionRecord, placement: Placement) -> int:
    now = {photo.id: photo.attachment for photo in record.photos}
    rows = [
        NewAttachment(
            a.photo,
            a.finding_id,
            a.why.value
            + (" (zone assumed)" if a.assumed else "")
            + (" (in an hour that came twice)" if a.repeated else ""),
            a.gap_s,
            a.uncertainty_s,
        )
        for a in placement.attached
    ]
    rows += [
        NewAttachment(
            u.photo, None, _tray_reason(u), candidates=tuple(c.finding_id for c in u.candidates)
        )
        for u in placement.unplaced
    ]
    changed = []
    for row in rows:
        old = now[row.photo_id]
        if old is None or (old.finding_id, old.reason) != (row.finding_id, row.reason):
            changed.append(row)
    if changed:
        store.attach_all(record.inspection.id, changed)
    return len(changed)


def _tray_reason(unplaced: Unplaced) -> str:
    return f"{unplaced.why.value}: {unplaced.detail}" if unplaced.detail else unplaced.why.value


def _differs(alignment: Alignment, clocks: Iterable[CameraClock]) -> bool:
    for clock in clocks:
        if clock.camera == alignment.camera:
            same = clock.offset_s is not None and abs(clock.offset_s + alignment.offset_s) < 0.05
            asked = clock.evidence.get("question", "") == alignment.ask
            return not (same and asked and clock.how == alignment.basis.value)
    return alignment.basis is not Basis.NONE


def _resolution(series: Series) -> float:
    steps = sorted(facts.resolution_s for _time, facts in series.timed)
    return steps[len(steps) // 2] if steps else 1.0


def _made_in(record: InspectionRecord) -> date | None:
    """First day of the year before the vehicle's model year, when that is known."""
    year = record.vehicle.facts.get("year", "")
    return date(int(year) - 1, 1, 1) if year.isdigit() and len(year) == 4 else None
