"""Opening a session on an inspection that is in the record: the shell round ``session.py``."""

from __future__ import annotations

import hashlib
from datetime import datetime
from pathlib import Path

from fieldlog import places
from fieldlog.aftercare.files import load_care, past_of
from fieldlog.aftercare.plan import checked_before, context_of, vehicle_walk
from fieldlog.cli.ears import Ears
from fieldlog.inspection_language import InspectionLanguage
from fieldlog.limits.context import SETTINGS, parse_context
from fieldlog.limits.packs import shipped_limits, with_own
from fieldlog.model import Context
from fieldlog.session import Rules, Session
from fieldlog.store.records import Inspection, InspectionRecord
from fieldlog.store.repository import Repository


def open_session(store: Repository, key: str, language: InspectionLanguage, ears: Ears) -> Session:
    """A session that adds to the inspection ``key`` (number, id or ``last``).

    Limits are those that ship with fieldlog and the vehicle's own; the context is the inspection's
    jurisdiction and settings over the vehicle's facts, as they are when an utterance is taken. Raises ``UsageError`` for an unknown
    inspection or a context that cannot be meant.
    """
    head = store.inspection(key)

    def rules(record: InspectionRecord) -> Rules:
        limits = with_own(shipped_limits(), record.vehicle.limits)
        walk = vehicle_walk(record.vehicle, load_care()).items
        checked = checked_before(past_of(store, record.vehicle), walk, record.inspection)
        return Rules(language.catalogue, limits, inspection_context(record), walk, checked)

    return Session(
        store,
        head.id,
        head.started_at,
        rules,
        understand=language.understand,
        transcribe=ears.transcribe,
        model=ears.listener.name,
        grammar=grammar_fingerprint(places.grammars()),
    )


def new_inspection(
    store: Repository, vehicle: str | None, context: Context, started_at: datetime, zone: str
) -> Inspection:
    """Start an inspection of the vehicle of that name (added when it is new), now.

    ``vehicle`` None: a vehicle called "unnamed", so that nobody has to type before speaking. Raises
    ``UsageError``, with nothing made, for facts of the vehicle that the checks cannot use.
    """
    name = vehicle or "unnamed"
    known = [each for each in store.vehicles() if each.name == name]
    if known:
        facts = {key: value for key, value in known[-1].facts.items() if key in SETTINGS}
        parse_context(context.jurisdiction, {**facts, **context.settings})
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
