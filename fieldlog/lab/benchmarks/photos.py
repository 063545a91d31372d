"""How fast photos are read, aligned and imported, and how often they land on the right finding."""

from __future__ import annotations

import io
import os
import random
import shutil
import subprocess
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from fieldlog.lab.benchmarks.photo_sessions import START, invent_session
from fieldlog.photos.attach import Shot, SpokenFinding, TimedMark, place
from fieldlog.photos.clock import SPOKEN_LAG_S, align_marks
from fieldlog.photos.matching import match_times

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
    clear: bool


@dataclass(frozen=True, slots=True)
class Accuracy:
    """What became of the photos of invented sessions, and of their cameras' clocks."""

    sessions: int
    photos: int
    right: int
    wrong: int
    unplaced: int
    strangers: int
    """Photos of nothing that was found; rightly left unplaced unless counted as wrong."""
    asked: int
    """Sessions whose clock difference was asked about instead of taken."""


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
        exif[0x010F], exif[0x0110], exif[0x0112] = "Acme", "Pocket 3", 1 + number % 8
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
    marks = sorted(rng.uniform(0, day) for _ in range(count))
    taken = [m + rng.uniform(0, 1) for m in marks if rng.random() > 0.3]
    taken += [rng.uniform(0, day) for _ in range(count - len(taken))]
    shots = [(t - offset - drift * (t - day / 2)) // 1 for t in taken]
    begin = time.perf_counter()
    result = match_times(marks, shots)
    align_s = time.perf_counter() - begin
    best = result.best
    if best is None:
        raise RuntimeError("nothing was found")
    findings = [SpokenFinding(str(n), _at(m - 2), _at(m)) for n, m in enumerate(marks)]
    begin = time.perf_counter()
    placed = [
        Shot(str(n), "c", _at(s + best.offset_s + best.drift * (s - best.reference_s)), 0.5)
        for n, s in enumerate(shots)
    ]
    place(placed, findings, [TimedMark(_at(m)) for m in marks[::2]])
    attach_s = time.perf_counter() - begin
    middle = day / 2 - offset
    found = best.offset_s + best.drift * (middle - best.reference_s)
    # shots come 0.5 s after their mark on average
    return AlignSpeed(count, count, align_s, attach_s, found - (offset - 0.5), result.clear)


def measure_accuracy(
    sessions: int = 40, findings: int = 300, photos: int = 500, first_seed: int = 1000
) -> Accuracy:
    """Invent sessions, find each camera's clock from the marks alone, attach, and count."""
    right = wrong = unplaced = strangers = total = asked = 0
    for seed in range(first_seed, first_seed + sessions):
        session = invent_session(seed, findings=findings, photos=photos)
        truth = {p.name: p.truth for p in session.photos}
        total += len(truth)
        strangers += sum(owner is None for owner in truth.values())
        alignment = align_marks(
            "c",
            [m.at for m in session.marks],
            [p.recorded for p in session.photos],
            resolution_s=session.photos[0].resolution_s,
            lag_s=SPOKEN_LAG_S,
        )
        if alignment is None or not alignment.usable:
            asked += 1
            unplaced += sum(owner is not None for owner in truth.values())
            continue
        doubt = alignment.uncertainty_s
        shots = [
            Shot(p.name, "c", alignment.session_time(p.recorded), max(doubt, p.resolution_s / 2))
            for p in session.photos
        ]
        placement = place(shots, session.findings, session.marks)
        for attached in placement.attached:
            if truth[attached.photo] == attached.finding_id:
                right += 1
            else:
                wrong += 1
        unplaced += sum(truth[u.photo] is not None for u in placement.unplaced)
    return Accuracy(sessions, total, right, wrong, unplaced, strangers, asked)


def _at(seconds: float) -> datetime:
    return datetime.fromtimestamp(START.timestamp() + seconds, UTC)


def report(scan: ScanSpeed, align: AlignSpeed, accuracy: Accuracy, say: Say) -> None:
    """Print the figures as lines of text."""
    say(f"scan       {scan.files} files, {scan.ours:,.0f} files/s")
    if scan.exiftool is None:
        say("           exiftool is not installed: no ratio")
    else:
        say(f"           exiftool -fast {scan.exiftool:,.0f} files/s: ratio {scan.ratio:.1f}")
    say(f"import     {scan.imported:,.0f} files/s new, {scan.again:,.0f} files/s known already")
    say(
        f"align      {align.photos} photos x {align.findings} findings: {align.align_s:.2f} s, "
        f"error {align.error_s:+.2f} s, {'clear' if align.clear else 'asked'}"
    )
    say(f"attach     {align.photos} photos: {align.attach_s:.2f} s")
    own = accuracy.photos - accuracy.strangers
    say(
        f"accuracy   {accuracy.sessions} sessions, {accuracy.photos} photos "
        f"({accuracy.strangers} show nothing that was found), {accuracy.asked} clocks asked about"
    )
    say(
        f"           right {100 * accuracy.right / own:.2f} %, "
        f"wrong {100 * accuracy.wrong / accuracy.photos:.2f} %, "
        f"unplaced {100 * accuracy.unplaced / own:.2f} %"
    )
