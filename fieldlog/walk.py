"""Opening a session on an inspection that is in the record: the shell round ``session.py``."""

from __future__ import annotations

import hashlib
from datetime import datetime
from pathlib import Path

from fieldlog import places
from fieldlog.aftercare.files import load_care, past_of
from fieldlog.aftercare.plan import checked_before, context_of, skips_of, vehicle_walk
from fieldlog.cli.ears import Ears
from fieldlog.inspection_language import InspectionLanguage
from fieldlog.limits.packs import shipped_limits, with_own
from fieldlog.model import Context
from fieldlog.session import Rules, Session
from fieldlog.store.records import Inspection, InspectionRecord
from fieldlog.store.repository import Repository


def open_session(store: Repository, key: str, language: InspectionLanguage, ears: Ears) -> Session:
    """A session that adds to the inspection ``key`` (number, id or ``last``).

    Limits are those that ship with fieldlog and the vehicle's own; the context is the inspection's
    jurisdiction and settings over the vehicle's facts. Raises ``UsageError`` for an unknown
    inspection or a context that cannot be meant.
    """
    record = store.inspection_record(key)
    limits = with_own(shipped_limits(), record.vehicle.limits)
    care = load_care()
    walk = vehicle_walk(record.vehicle, care).items
    checked = checked_before(past_of(store, record.vehicle), walk, record.inspection)
    return Session(
        store,
        record.inspection.id,
        record.inspection.started_at,
        Rules(language.catalogue, limits, inspection_context(record), walk, checked),
        understand=language.understand,
        transcribe=ears.transcribe,
        model=ears.listener.name,
        grammar=grammar_fingerprint(places.grammars()),
        standing=[(f.id, f.finding) for f in record.findings if f.stands],
        skips=skips_of(record),
    )


def new_inspection(
    store: Repository, vehicle: str | None, context: Context, started_at: datetime, zone: str
) -> Inspection:
    """Start an inspection of the vehicle of that name (added when it is new), now.

    ``vehicle`` None: a vehicle called "unnamed", so that nobody has to type before speaking.
    """
    name = vehicle or "unnamed"
    known = [each for each in store.vehicles() if each.name == name]
    owner = known[-1] if known else store.add_vehicle(name)
    return store.start_inspection(
        owner.id,
        started_at=started_at,
        zone=zone,
        jurisdiction=context.jurisdiction,
        settings=context.settings,
    )


def inspection_context(record: InspectionRecord) -> Context:
    """What the checks may assume: facts of the vehicle that are settings, then the inspection's."""
    return context_of(record.vehicle, record.inspection)


def grammar_fingerprint(folder: Path) -> str:
    """SHA-256 over the names and bytes of every grammar and catalogue file, first 16 digits."""
    sha = hashlib.sha256()
    for path in sorted(folder.rglob("*")):
        if path.suffix in {".jsgf", ".toml", ".dic"}:
            sha.update(path.relative_to(folder).as_posix().encode())
            sha.update(path.read_bytes())
    return sha.hexdigest()[:16]
