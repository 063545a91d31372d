"""The workshop: store, language, limits, care data and clock, opened once, that every face drives."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext
from datetime import date, datetime
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Self

from fieldlog import config
from fieldlog.aftercare.checklist import Progress
from fieldlog.aftercare.conclusion import Conclusion
from fieldlog.aftercare.crosschecks import Unanswered
from fieldlog.aftercare.files import load_care, past_of
from fieldlog.aftercare.job_lines import JobLine, Judged, job_lines
from fieldlog.aftercare.plan import (
    USUAL,
    Care,
    Past,
    Plan,
    checked_before,
    conclusion_of,
    context_of,
    cross_checks_of,
    entered_with,
    plan,
    progress_of,
    vehicle_walk,
    walk_setting,
    work_done_in,
)
from fieldlog.errors import StoreError, UsageError
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.language.tongues import REFERENCE, codes, kept_code, language_of
from fieldlog.limits.context import keeps_left, parse_context
from fieldlog.limits.packs import shipped_limits, with_own
from fieldlog.model.context import Context
from fieldlog.model.finding import Quantity
from fieldlog.model.limit import Limit
from fieldlog.shop.by_hand import Origin
from fieldlog.shop.conversation import Conversation
from fieldlog.shop.ears import Ears, open_ears, silent_ears
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.reviewing import Reviewing
from fieldlog.shop.scene import Rules
from fieldlog.store.records import Inspection, InspectionRecord, Vehicle
from fieldlog.store.repository import Repository, utc_now
from fieldlog.words.english import counted

if TYPE_CHECKING:
    from fieldlog.listeners.worker import Crash
    from fieldlog.proof.keys import Signer
    from fieldlog.report.copies import Progress as Copying
    from fieldlog.report.write import ReportFiles
    from fieldlog.words.telling import Telling

UNNAMED = "unnamed"
"""A vehicle that nobody named before speaking."""


class Workshop:
    """One shop's record with all that it is judged and worked off by.

    What it needs is loaded when it is first asked for: looking at the record loads no grammar.
    """

    def __init__(
        self,
        store: Repository,
        *,
        language: InspectionLanguage | None = None,
        now: Callable[[], datetime] = utc_now,
    ) -> None:
        """``store``: an open record, closed with the workshop; ``now``: the clock (UTC)."""
        self.store = store
        self.now = now
        self._asked = language
        if language is not None:
            self.language = language

    @classmethod
    def open(
        cls,
        folder: Path | str | None = None,
        *,
        language: InspectionLanguage | None = None,
        now: Callable[[], datetime] = utc_now,
    ) -> Workshop:
        """The workshop whose record lies in ``folder`` (made when needed), or on a server (its address).

        Default: the user's data folder, or ``FIELDLOG_HOME``. Raises ``StoreError``.
        """
        from fieldlog.config import server_folder, store_folder

        if folder is None:
            where = store_folder()
        else:
            where = server_folder(str(folder)) if "://" in str(folder) else Path(folder)
        return cls(Repository.open(where, now=now), language=language, now=now)

    def __enter__(self) -> Self:
        """The workshop itself."""
        return self

    def __exit__(self, *failed: object) -> None:
        """Close the record."""
        self.close()

    def close(self) -> None:
        """Close the record; what was said to be saved is there."""
        self.store.close()

    # -- what it knows ------------------------------------------------------------------------

    @cached_property
    def language(self) -> InspectionLanguage:
        """The inspection language; raises ``GrammarError`` with every fault of its files."""
        return language_of()

    def language_for(self, inspection: Inspection) -> InspectionLanguage:
        """What is spoken and told in an inspection: what was asked for, else what it was begun in.

        Raises ``UsageError`` where it was begun in a language that is not here.
        """
        if self._asked is not None or config.language():
            return self.language
        return language_of(inspection.language or REFERENCE)

    def telling(self, inspection: Inspection) -> Telling | None:
        """The language in which an inspection is told; None for the reference, whose grammar is not loaded.

        One that came from elsewhere in a language that is not here is told in the reference: it is never lost.
        """
        asked = getattr(self._asked, "speech", "") or config.language()
        code = asked or inspection.language
        if code in ("", REFERENCE) or (not asked and code not in codes()):
            return None
        return self.language_for(inspection).told

    @property
    def spoken(self) -> str:
        """What an inspection that begins now is kept as spoken in; "" is the reference language."""
        return kept_code(getattr(self._asked, "speech", ""))

    @cached_property
    def care(self) -> Care:
        """Catalogue, default walk, intervals and work."""
        return load_care()

    def limits_of(self, vehicle: Vehicle) -> tuple[Limit, ...]:
        """The limits that ship with fieldlog, under the vehicle's own."""
        return tuple(with_own(shipped_limits(), vehicle.limits))

    def past_of(self, vehicle: Vehicle) -> Past:
        """What the record holds of a vehicle."""
        return past_of(self.store, vehicle)

    def rules_of(self, record: InspectionRecord) -> Rules:
        """What an inspection is judged by: raises ``UsageError`` for a context nobody can mean."""
        walk = vehicle_walk(record.vehicle, self.care, record.inspection).items
        return Rules(
            self.care.catalogue,
            self.limits_of(record.vehicle),
            context_of(record.vehicle, record.inspection),
            record.inspection.started_at.date(),
            walk,
            checked_before(self.past_of(record.vehicle), walk, record.inspection),
            entered=entered_with(record),
            crosschecks=self.care.crosschecks,
            done=work_done_in(record, self.care.intervals),
        )

    # -- inspections --------------------------------------------------------------------------

    def add_vehicle(
        self,
        name: str,
        facts: Mapping[str, str] | None = None,
        odometer: Quantity | None = None,
    ) -> Vehicle:
        """A machine under care. ``facts``: class, sizes, settings such as ``rim``."""
        return self.store.add_vehicle(name, facts=facts, odometer=odometer)

    def vehicle(self, key: str) -> Vehicle:
        """The vehicle of that name, number or id; raises ``UsageError`` when there is none."""
        return self.store.vehicle(key)

    def begin(
        self,
        vehicle: str | None = None,
        context: Context | None = None,
        *,
        started_at: datetime | None = None,
        zone: str = "UTC",
        inspector: str = "",
        place: str = "",
        odometer: Quantity | None = None,
        sure: bool = False,
        walk: str = USUAL,
    ) -> Inspection:
        """Start an inspection of the vehicle of that name, number or id (added when it is new).

        ``vehicle`` None: a vehicle called "unnamed", so that nobody has to type before speaking; a blank one is
        a slip (a shell's variable that was never set) and raises ``UsageError``.
        ``walk``: what is gone through, ``usual`` or one of ``WALKS``; ``UsageError`` for another.
        ``sure``: ``odometer`` counts even where it does not follow on what is known of the vehicle.
        """
        chosen = walk_setting(walk)
        if vehicle is not None and not vehicle.strip():
            raise UsageError(
                "the vehicle has no name",
                where="--vehicle",
                todo='name it, or leave --vehicle out: it is then called "unnamed"',
            )
        name = UNNAMED if vehicle is None else vehicle.strip()
        vehicles = self.store.vehicles()
        known = [each for each in vehicles if each.name == name] or [
            each for each in vehicles if name in (str(each.number), each.id)
        ]
        if not known and any(each.name.casefold() == name.casefold() for each in vehicles):
            known = [self.store.vehicle(name)]  # in another case; asks where several are called so
        owner = known[-1] if known else self.store.add_vehicle(name)
        # what no later command could hold against its limits is refused before it is in the record
        settings = parse_context(context.jurisdiction, context.settings) if context else Context()
        return self.store.start_inspection(
            owner.id,
            started_at=started_at or self.now(),
            zone=zone,
            inspector=inspector,
            place=place,
            jurisdiction=settings.jurisdiction,
            settings={**settings.settings, **chosen},
            odometer=odometer,
            sure=sure,
            language=self.spoken,
        )

    def inspecting(self, key: str = "last", ears: Ears | None = None) -> Inspecting:
        """The verbs of an inspection (number, id or ``last``); ``ears`` where it is spoken."""
        inspection = self.store.inspection(key)
        return Inspecting(
            self.store,
            key,
            self.rules_of,
            Conversation(
                ears or silent_ears(self.language_for(inspection)),
                keeps_left=keeps_left(inspection.jurisdiction),
            ),
            transcribe=ears.transcribe if ears else None,
            origin=Origin(
                ears.listener.name if ears else "", grammar_fingerprint(config.grammars())
            ),
            now=self.now,
        )

    def reviewing(self, key: str = "last", reviewer: str = "") -> Reviewing:
        """Going through an inspection (number, id or ``last``) as ``reviewer``."""
        inspecting = self.inspecting(key)
        understand = inspecting.conversation.understand
        return Reviewing(inspecting, self.store, understand, self.now, reviewer)

    @contextmanager
    def ears(
        self,
        listener: str = "whisper",
        model: Path | None = None,
        *,
        on_crash: Callable[[Crash], None] | None = None,
        loading: Callable[[str], AbstractContextManager[object]] = nullcontext,
    ) -> Iterator[Ears]:
        """A recogniser made ready for the inspection language."""
        with open_ears(self.language, listener, model, on_crash=on_crash, loading=loading) as ears:
            yield ears

    # -- what follows from them ---------------------------------------------------------------

    def progress(self, record: InspectionRecord) -> Progress:
        """Where the walk of an inspection stands."""
        walk = vehicle_walk(record.vehicle, self.care, record.inspection).items
        checked = checked_before(self.past_of(record.vehicle), walk, record.inspection)
        return progress_of(record, walk, checked)

    def cross_checks(self, record: InspectionRecord) -> tuple[Unanswered, ...]:
        """What an inspection's findings make one look at as well, and nobody did."""
        return cross_checks_of(record, self.care)

    def conclusion(self, record: InspectionRecord) -> Conclusion:
        """What an inspection amounts to."""
        return conclusion_of(record, self.progress(record))

    def jobs(self, record: InspectionRecord) -> tuple[JobLine, ...]:
        """What to do and to buy after an inspection, in the order the work is done."""
        judged = [
            Judged(each.id, each.finding, each.verdict)
            for each in record.findings
            if each.stands and each.verdict
        ]
        care, vehicle = self.care, record.vehicle
        return job_lines(judged, care.catalogue, self.limits_of(vehicle), care.work, vehicle.facts)

    def due(self, vehicle: Vehicle, today: date, until: Inspection | None = None) -> Plan:
        """What comes due on a vehicle, with its trends; ``until``: as known after that inspection."""
        past = self.past_of(vehicle)
        known = past.until(until) if until else past
        return plan(known, self.care, self.limits_of(vehicle), today)

    def report(
        self,
        key: str = "last",
        out: Path | str = ".",
        formats: Sequence[str] = ("html", "pdf"),
        *,
        paper: str | None = None,
        progress: Copying | None = None,
    ) -> ReportFiles:
        """Write the report of an inspection into the folder ``out``: html, pdf, json, csv.

        ``paper``: a4 or letter; None: as used where the inspection took place. ``progress`` is told
        how far the copies of photos and clips are. Each file appears whole or not at all. Raises
        ``UsageError`` for an unknown format or inspection, ``StoreError`` for what cannot be written.
        """
        from fieldlog.report.write import write_report
        from fieldlog.shop import witness

        now = self.now()
        of = self.store.inspection(key)
        made = witness.checkpoint(self.store, "report", now, (of.id,))
        written = write_report(
            self.store,
            of.id,
            formats,
            Path(out),
            printed_at=now,
            paper=paper,
            progress=progress,
            checkpoint=made,
            language=self.telling(of),
        )
        witness.handed_out(self.store, made)
        return written

    def bundle(
        self,
        inspection: str = "last",
        *,
        vehicle: str | None = None,
        out: Path | str = ".",
        signer: Signer | None = None,
    ) -> Path:
        """Write a bundle of an inspection, or of a ``vehicle``, into the folder ``out``; its path.

        Signed by ``signer``, else with the record's own key; what was written is checked before it is
        there. Raises ``UsageError`` for no such, ``StoreError`` for what cannot be written or has a fault.
        """
        from fieldlog.bundle.checking import check_bundle
        from fieldlog.bundle.make import make, subject
        from fieldlog.shop import witness

        now = self.now()
        of = subject(self.store, inspection, vehicle)
        if of.kind == "vehicle":
            name = f"vehicle-{self.store.vehicle(of.id).number}.zip"
        else:
            head = self.store.inspection(of.id)
            name = f"inspection-{head.started_at:%Y-%m-%d}-{head.number}.zip"
        made = witness.checkpoint(self.store, "bundle", now, of.owners, signer=signer)
        target = Path(out) / name
        partial = target.with_name(f".{name}.unchecked")
        try:
            make(self.store, of, made, partial)
            faults = check_bundle(partial, now).faults
            if faults:
                raise StoreError(
                    f"nothing is handed over: what was written has {counted(len(faults), 'fault')}; the first: "
                    f"{faults[0]}",
                    where=str(self.store.folder),
                    todo="fieldlog inspection verify",
                )
            partial.replace(target)
        finally:
            partial.unlink(missing_ok=True)
        witness.handed_out(self.store, made)
        return target


def grammar_fingerprint(folder: Path) -> str:
    """SHA-256 over the names and bytes of every grammar and catalogue file, first 16 digits."""
    sha = hashlib.sha256()
    for path in sorted(folder.rglob("*")):
        if path.suffix in {".jsgf", ".toml", ".dic"}:
            sha.update(path.relative_to(folder).as_posix().encode())
            sha.update(path.read_bytes())
    return sha.hexdigest()[:16]
