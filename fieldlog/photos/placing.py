"""An inspection's photos onto its session clock and to its findings: the record in, rows out.

What decides is in ``clock`` and ``attach``; here the record is put into their words, the time code
is looked for in the photos, and what changed is written back as new rows.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from fieldlog.photos.attach import (
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
    SPOKEN_LAG_S,
    Alignment,
    Basis,
    align_code,
    align_marks,
    camera_time,
    unaligned,
)
from fieldlog.photos.crew import Crew
from fieldlog.photos.facts import PhotoFacts, to_row
from fieldlog.photos.importer import kept_facts
from fieldlog.photos.scan import natural_key
from fieldlog.photos.timecode import read_code
from fieldlog.photos.when import offset_delta
from fieldlog.store.records import CameraClock, InspectionRecord, NewAttachment, Photo
from fieldlog.store.repository import Repository

WITHDRAWN = "withdrawn"
_ENDS_LOOKED_AT = 6
"""Photos looked through for the time code at each end of a camera's series."""


@dataclass(frozen=True, slots=True)
class Series:
    """The photos of one camera in an inspection with their facts, in order of their time."""

    camera: str
    photos: tuple[tuple[Photo, PhotoFacts], ...]


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
    except (ZoneInfoNotFoundError, ValueError):
        return UTC


def spoken_findings(record: InspectionRecord) -> list[SpokenFinding]:
    """When each finding was said; what was said of a corrected one counts for its correction."""
    spoken = {u.id: u for u in record.utterances}
    by_id = {f.id: f for f in record.findings}
    found = []
    for finding in record.findings:
        utterance = spoken.get(finding.utterance_id or "")
        last, seen = finding, {finding.id}
        while last.superseded_by is not None and last.superseded_by not in seen:
            seen.add(last.superseded_by)
            last = by_id[last.superseded_by]
        if utterance is None or not last.stands:
            continue
        length = timedelta(seconds=max(utterance.end_s - utterance.start_s, 0.0))
        found.append(SpokenFinding(last.id, utterance.said_at, utterance.said_at + length))
    return found


def spoken_marks(record: InspectionRecord) -> list[TimedMark]:
    """The marks that were said for photos."""
    standing = {f.id: f for f in record.findings}
    found = []
    for mark in record.marks:
        owner = mark.finding_id
        seen: set[str] = set()
        while owner is not None and owner in standing and owner not in seen:
            seen.add(owner)
            after = standing[owner].superseded_by
            if after is None:
                break
            owner = after
        if owner is not None and (owner not in standing or not standing[owner].stands):
            owner = None
        found.append(TimedMark(mark.at, owner))
    return found


def photo_series(store: Repository, record: InspectionRecord, today: date) -> list[Series]:
    """The inspection's photos by camera, with their facts read again from the originals."""
    zone = session_zone(record.inspection.zone)
    photos = record.photos
    facts_of = kept_facts(store, [(p.media, p.file) for p in photos], today)
    cameras: dict[str, list[tuple[Photo, PhotoFacts]]] = {}
    for photo, facts in zip(photos, facts_of, strict=True):
        cameras.setdefault(photo.camera or "", []).append((photo, facts))

    def order(pair: tuple[Photo, PhotoFacts]) -> tuple[object, ...]:
        time = camera_time(pair[1], zone)
        instant = time.instant if time is not None else datetime.max.replace(tzinfo=UTC)
        return (instant, natural_key(pair[0].file))

    return [Series(camera, tuple(sorted(rows, key=order))) for camera, rows in cameras.items()]


def find_codes(
    series: Series, zone: tzinfo, *, everywhere: bool = False, crew: Crew | None = None
) -> list[tuple[datetime, datetime]]:
    """(camera time, time code) of the photos of the time code in a camera's series.

    Unless ``everywhere``, only both ends of the series are looked through: decoding takes a fifth
    of a second each.
    """
    timed = []
    for _photo, facts in series.photos:
        time = camera_time(facts, zone)
        if time is not None:
            timed.append((time.instant, facts))
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
    find: Callable[[Series, tzinfo], list[tuple[datetime, datetime]]] | None = None,
) -> Alignment:
    """The best alignment of one camera: what was entered, else the time code, else the marks."""
    zone = session_zone(record.inspection.zone)
    entered = entered_alignment(record.clocks, series.camera)
    if entered is not None:
        return entered
    look = find or (lambda s, z: find_codes(s, z, everywhere=everywhere))
    codes = look(series, zone)
    resolution = _resolution(series)
    if codes:
        return align_code(series.camera, codes, resolution_s=resolution)
    times = [camera_time(facts, zone) for _photo, facts in series.photos]
    shots = [time.instant for time in times if time is not None]
    marks = [mark.at for mark in spoken_marks(record)]
    ends = [finding.end for finding in spoken_findings(record)]
    first = align_marks(series.camera, marks, shots, resolution_s=resolution, lag_s=SPOKEN_LAG_S)
    if first is not None and first.usable:
        return first
    second = align_marks(
        series.camera, [*marks, *ends], shots, resolution_s=resolution, lag_s=SPOKEN_LAG_S
    )
    if second is not None and second.usable:
        return second
    asked = first or second
    # With too few pairs to tell anything, a clock nobody doubts is taken as it is.
    return asked if asked is not None and asked.pairs >= 4 else unaligned(series.camera)


def entered_alignment(clocks: Iterable[CameraClock], camera: str) -> Alignment | None:
    """The alignment somebody entered for a camera and did not withdraw; None when there is none."""
    for clock in clocks:
        if clock.camera == camera and clock.offset_s is not None and clock.how in _ENTERED:
            return Alignment(camera, Basis(clock.how), -clock.offset_s, clock.uncertainty_s or 0.0)
    return None


_ENTERED = (Basis.GIVEN.value, Basis.EVENT.value)


def save_alignment(store: Repository, inspection_id: str, alignment: Alignment) -> None:
    """Write an alignment as the newest of its camera (the record keeps camera minus session)."""
    evidence = {"pairs": str(alignment.pairs), "drift_s_per_day": f"{alignment.drift * 86400:.2f}"}
    if alignment.runner_up is not None:
        evidence["runner_up_s"] = f"{-alignment.runner_up.offset_s:.1f}"
        evidence["runner_up_pairs"] = str(alignment.runner_up.pairs)
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
    for alignment in alignments:
        if _differs(alignment, record.clocks):
            save_alignment(store, record.inspection.id, alignment)
    placement = place_series(record, series, alignments)
    changed = _write(store, record, placement)
    return Placed(tuple(alignments), placement, changed)


def place_series(
    record: InspectionRecord, series: Sequence[Series], alignments: Sequence[Alignment]
) -> Placement:
    """Where the photos of an inspection belong, without those that were moved by hand."""
    zone = session_zone(record.inspection.zone)
    made = _made_in(record)
    shots: list[Shot] = []
    for one, alignment in zip(series, alignments, strict=True):
        for photo, facts in one.photos:
            if photo.attachment is not None and Why.kept(photo.attachment.reason) is Why.HAND:
                continue
            time = camera_time(facts, zone)
            order = natural_key(photo.file)
            shots.append(make_shot(photo.id, facts, time, alignment, not_before=made, order=order))
    return place(shots, spoken_findings(record), spoken_marks(record))


def _write(store: Repository, record: InspectionRecord, placement: Placement) -> int:
    now = {photo.id: photo.attachment for photo in record.photos}
    rows = [
        NewAttachment(
            a.photo,
            a.finding_id,
            a.why.value + (" (zone assumed)" if a.assumed else ""),
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
    steps = sorted(f.resolution_s for _p, f in series.photos if f.capture_local is not None)
    return steps[len(steps) // 2] if steps else 1.0


def _made_in(record: InspectionRecord) -> date | None:
    """First day of the year before the vehicle's model year, when that is known (X10)."""
    year = record.vehicle.facts.get("year", "")
    return date(int(year) - 1, 1, 1) if year.isdigit() and len(year) == 4 else None
