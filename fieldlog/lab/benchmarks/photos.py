"""How fast photos are read, aligned and imported, and how often they land on the right finding."""

from __future__ import annotations

import io
import os
import random
import shutil
import subprocess
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from fieldlog.lab.benchmarks.claim import upper_bound
from fieldlog.lab.benchmarks.photo_sessions import (
    ORDINARY,
    START,
    Session,
    invent_session,
    ordinary_session,
    rival_of,
)
from fieldlog.photos.attach import Shot, SpokenFinding, TimedMark, Why, place, shot_moments
from fieldlog.photos.clock import Alignment, CameraTime, align_said

Say = Callable[[str], None]
_EXIFTOOL_TAGS = (
    "-DateTimeOriginal",
    "-SubSecTimeOriginal",
    "-OffsetTimeOriginal",
    "-Make",
    "-Model",
    "-Orientation",
)


@dataclass(frozen=True, slots=True)
class ScanSpeed:
    """Files a second of our scan and of ``exiftool -fast`` (None: not installed), same folder."""

    files: int
    ours: float
    exiftool: float | None
    imported: float
    """Files a second kept under their hash, with the record's rows, in a new store."""
    again: float
    """Files a second of importing the same folder once more."""

    @property
    def ratio(self) -> float | None:
        """Ours over exiftool's; None without exiftool."""
        return self.ours / self.exiftool if self.exiftool else None


@dataclass(frozen=True, slots=True)
class AlignSpeed:
    """Seconds to align and attach many photos with an unknown offset, and the error found."""

    photos: int
    findings: int
    align_s: float
    attach_s: float
    error_s: float
    guesses: int
    """Guesses that survived, as people count them."""


@dataclass(frozen=True, slots=True)
class Accuracy:
    """What became of the photos of sessions whose truth is known, and of their cameras' clocks."""

    sessions: int
    rivals: int
    """Sessions that another difference within 10 s explains with as many pairs."""
    photos: int
    """All of them have a time."""
    placed: int
    wrong: int
    """Placed, but at a finding that they do not show."""
    strangers: int
    """Photos of nothing that was found, unplaced or wrong."""
    asked: int
    """Sessions whose clock was asked about."""
    uncovered: int
    """Clocks not asked about whose printed uncertainty does not hold the true difference."""

    @property
    def placed_share(self) -> float:
        """Of all photos with a time."""
        return self.placed / self.photos

    @property
    def wrong_share(self) -> float:
        """Of all photos with a time."""
        return self.wrong / self.photos

    @property
    def wrong_at_most(self) -> float:
        """Upper 95 % bound of the same, photos taken as independent."""
        return upper_bound(self.wrong, self.photos)


def write_photos(folder: Path, count: int) -> None:
    """Write ``count`` JPEG files with Exif, MakerNote and 320 x 240 noisy pixels each."""
    from PIL import Image

    buffer = io.BytesIO()
    Image.effect_noise((320, 240), 60).convert("RGB").save(buffer, "JPEG", quality=80)
    plain = buffer.getvalue()
    folder.mkdir(parents=True, exist_ok=True)
    for number in range(count):
        exif = Image.Exif()
        moment = START + timedelta(seconds=7 * number)
        exif[0x010F], exif[0x0110], exif[0x0112] = "Umberfold", "Ninth", 1 + number % 8
        inner = exif.get_ifd(0x8769)
        inner[0x9003] = inner[0x9004] = exif[0x0132] = f"{moment:%Y:%m:%d %H:%M:%S}"
        inner[0x9291], inner[0x9011], inner[0xA431] = f"{number % 1000:03}", "+02:00", "SN1"
        inner[0x927C] = b"MAKER\0" * 800
        block = exif.tobytes()
        segment = b"\xff\xe1" + (len(block) + 2).to_bytes(2, "big") + block
        (folder / f"IMG_{number:05}.jpg").write_bytes(plain[:2] + segment + plain[2:])


def measure_scan(folder: Path, count: int, today: date) -> ScanSpeed:
    """Scan, import and (when installed) run exiftool over the same new files in ``folder``."""
    from fieldlog.photos.importer import import_folder
    from fieldlog.photos.scan import scan_folder
    from fieldlog.store.repository import Repository

    card = folder / "card"
    write_photos(card, count)
    _read_all(card)
    exiftool_s = _exiftool_seconds(card)
    begin = time.perf_counter()
    scanned = sum(1 for _name, facts in scan_folder(card, today) if facts.capture_local)
    ours_s = time.perf_counter() - begin
    if scanned != count:
        raise RuntimeError(f"{count - scanned} of {count} files gave no time")
    with Repository.open(folder / "store") as store:
        vehicle = store.add_vehicle("benchmark")
        inspection = store.start_inspection(vehicle.id)
        times = []
        for expected in (count, 0):
            begin = time.perf_counter()
            result = import_folder(store, inspection.id, card, today)
            times.append(time.perf_counter() - begin)
            if len(result.added) != expected:
                raise RuntimeError(f"{len(result.added)} files added, {expected} expected")
    return ScanSpeed(
        count,
        count / ours_s,
        count / exiftool_s if exiftool_s is not None else None,
        count / times[0],
        count / times[1],
    )


def _read_all(folder: Path) -> None:
    """Bring the files into the system's cache, so that both programs start alike."""
    for entry in os.scandir(folder):
        Path(entry.path).read_bytes()


def _exiftool_seconds(folder: Path) -> float | None:
    exiftool = shutil.which("exiftool")
    if exiftool is None:
        return None
    begin = time.perf_counter()
    subprocess.run(
        [exiftool, "-fast", "-json", *_EXIFTOOL_TAGS, str(folder)],
        check=True,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    return time.perf_counter() - begin


def measure_alignment(count: int = 10_000, seed: int = 1) -> AlignSpeed:
    """Align ``count`` photos to ``count`` findings over a day with an unknown offset, and attach."""
    rng = random.Random(seed)
    day = 86_400.0
    offset, drift = rng.uniform(-14.5, 14.5) * 3600, 35e-6
    ends = sorted(rng.uniform(0, day) for _ in range(count))
    taken = [end + 0.5 + rng.lognormvariate(0.5, 0.5) for end in ends if rng.random() > 0.3]
    taken += [rng.uniform(0, day) for _ in range(count - len(taken))]
    shots = [_at((t - offset - drift * (t - day / 2)) // 1) for t in taken]
    times = [CameraTime(shot, assumed=False) for shot in shots]
    findings = [SpokenFinding(str(n), _at(end - 2), _at(end)) for n, end in enumerate(ends)]
    marks = [TimedMark(finding.end) for finding in findings[::2]]
    begin = time.perf_counter()
    found = _align(findings, marks, times, 1.0)
    align_s = time.perf_counter() - begin
    begin = time.perf_counter()
    place([_shot(str(n), found, each) for n, each in enumerate(times)], findings, marks)
    attach_s = time.perf_counter() - begin
    middle = CameraTime(_at(day / 2 - offset), assumed=False)
    error = (found.session_time(middle) - _at(day / 2)).total_seconds()
    return AlignSpeed(count, count, align_s, attach_s, error, len(found.stretches))


def measure_accuracy(sessions: int = 40, findings: int = 300, photos: int = 500) -> Accuracy:
    """Large invented sessions: find each camera's clock from what was said, attach, and count."""
    seeds = range(1000, 1000 + sessions)
    return accuracy(invent_session(seed, findings=findings, photos=photos) for seed in seeds)


def measure_ordinary(sessions: int = ORDINARY) -> Accuracy:
    """The scripted ordinary sessions, the same way."""
    return accuracy(ordinary_session(number) for number in range(sessions))


def accuracy(sessions: Iterable[Session]) -> Accuracy:
    """Align and place every session, and count against its truth."""
    placed = wrong = strangers = total = asked = uncovered = count = rivals = 0
    for session in sessions:
        count += 1
        rivals += rival_of(session) is not None
        truth = {p.name: p.truth for p in session.photos}
        total += len(truth)
        strangers += sum(owner is None for owner in truth.values())
        times = [CameraTime(p.recorded, assumed=False) for p in session.photos]
        step = session.photos[0].resolution_s
        found = _align(session.findings, session.marks, times, step)
        if not found.usable:
            asked += 1
            continue
        shots = [_shot(p.name, found, t) for p, t in zip(session.photos, times, strict=True)]
        placement = place(shots, session.findings, session.marks)
        placed += len(placement.attached)
        wrong += sum(truth[a.photo] != a.finding_id for a in placement.attached)
        waiting = any(u.why is Why.CLOCK for u in placement.unplaced)
        asked += waiting
        off = abs(found.offset_s - session.offset_s)
        uncovered += not waiting and off > found.uncertainty_s
    return Accuracy(count, rivals, total, placed, wrong, strangers, asked, uncovered)


def _align(
    findings: Sequence[SpokenFinding],
    marks: Sequence[TimedMark],
    times: Sequence[CameraTime],
    step: float,
) -> Alignment:
    said = [(finding.start, finding.end) for finding in findings]
    return align_said("c", said, [mark.at for mark in marks], times, resolution_s=step)


def _shot(name: str, alignment: Alignment, time: CameraTime) -> Shot:
    doubt = alignment.uncertainty_s
    moments = shot_moments(alignment, time, doubt)
    return Shot(name, "c", alignment.session_time(time), doubt, moments=moments)


def _at(seconds: float) -> datetime:
    return datetime.fromtimestamp(START.timestamp() + seconds, UTC)


def report(
    scan: ScanSpeed, align: AlignSpeed, large: Accuracy, ordinary: Accuracy, say: Say
) -> None:
    """Print the figures as lines of text."""
    say(f"scan       {scan.files} files, {scan.ours:,.0f} files/s")
    if scan.exiftool is None:
        say("           exiftool is not installed: no ratio")
    else:
        say(f"           exiftool -fast {scan.exiftool:,.0f} files/s: ratio {scan.ratio:.1f}")
    say(f"import     {scan.imported:,.0f} files/s new, {scan.again:,.0f} files/s known already")
    say(
        f"align      {align.photos} photos x {align.findings} findings: {align.align_s:.2f} s, "
        f"error {align.error_s:+.2f} s, guesses left: {align.guesses}"
    )
    say(f"attach     {align.photos} photos: {align.attach_s:.2f} s")
    for name, found in (("invented", large), ("ordinary", ordinary)):
        own = found.photos - found.strangers
        say(
            f"{name:<10} {found.sessions} sessions ({found.rivals} with a rival within 10 s), "
            f"{found.photos} photos with a time ({found.strangers} show nothing that was found)"
        )
        say(
            f"           placed {found.placed_share:.2%}, of those that show a finding "
            f"{(found.placed - found.wrong) / own:.2%} rightly; wrong {found.wrong} "
            f"({found.wrong_share:.2%}, at most {found.wrong_at_most:.2%})"
        )
        say(
            f"           clocks asked about: {found.asked}; not within their printed "
            f"uncertainty: {found.uncovered}"
        )
