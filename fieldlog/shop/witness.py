"""Checkpoints that a workshop makes: at a sign-off, for a report, for a bundle, for who asks for one."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from fieldlog.proof.keys import FOLDER, Keyring, Signer
from fieldlog.proof.note import Checkpoint, plain
from fieldlog.quantities.instants import instant_text
from fieldlog.report.lines import cross_check
from fieldlog.shop.events import BeforeSigning, Kept
from fieldlog.store.records import EventName, NewEvent
from fieldlog.store.repository import Repository
from fieldlog.store.signatures import NOTE, OF
from fieldlog.words import tell

HANDED_OUT = "checkpoints"
"""Folder beside the record with every checkpoint that went out."""
_TOLD = ("open", "dangerous", "beyond", "unaffirmed", "question", "cross-check")


def keyring(store: Repository) -> Keyring:
    """The keys that lie beside a record."""
    return Keyring(store.folder / FOLDER)


def checkpoint(
    store: Repository,
    occasion: str,
    now: datetime,
    owners: Sequence[str] = (),
    *,
    lines: Sequence[tuple[str, str]] = (),
    signer: Signer | None = None,
) -> Checkpoint:
    """The record as it is now, signed by ``signer`` or with the record's own key where it has one.

    ``occasion``: report, bundle, sign-off, pairing ...; ``owners``: ids of the vehicles and inspections
    whose rows it tells. Not signed where no key can be kept.
    """
    found = store.checkpoint(owners)
    said = (("at", instant_text(now)), ("for", occasion), *lines)
    unsigned = replace(found, lines=(*said, *found.lines))
    by = signer or keyring(store).of_record()
    return by.sign(unsigned) if by else unsigned


def handed_out(store: Repository, given: Checkpoint) -> None:
    """Keep a copy of a checkpoint that went out, as far as that can be written."""
    name = f"{given.size:09}-{given.root.hex()[:12]}-{given.one('for') or 'checkpoint'}.txt"
    with contextlib.suppress(OSError):
        folder = store.folder / HANDED_OUT
        folder.mkdir(exist_ok=True)
        if not (folder / name).exists():
            (folder / name).write_text(given.text, encoding="utf-8")


def known_before(known: BeforeSigning, confirmed: bool) -> dict[str, str]:
    """What whoever signs was told, as the data of the sign-off."""
    return {
        "open": json.dumps(list(known.items), ensure_ascii=False),
        "dangerous": _findings(known.dangerous),
        "beyond": _findings(known.beyond),
        "unaffirmed": _findings(known.unaffirmed),
        "question": json.dumps(list(known.questions), ensure_ascii=False),
        "cross-check": json.dumps([cross_check(each) for each in known.cross_checks]),
        "confirmed": "as it stands" if confirmed else "nothing" if known.nothing else "not asked",
    }


def _findings(several: Sequence[Kept]) -> str:
    told = [f"no. {each.number} {tell.finding(each.finding)}" for each in several]
    return json.dumps(told, ensure_ascii=False)


def sign(
    store: Repository, inspection: str, signed: NewEvent, signer: Signer | None, now: datetime
) -> str:
    """Make the checkpoint of the sign-off ``signed``, which is in the record; the key's fingerprint.

    What is signed: the name, the time, what was open and dangerous and whether it was confirmed, and
    the whole record with that sign-off in it. "" where the person gave no key.
    """
    record = store.inspection_record(inspection)
    event = next(e for e in reversed(record.events) if e.name == EventName.SIGNED_OFF)
    head = record.inspection
    lines = [
        ("name", plain(signed.text) or "nobody named"),
        ("vehicle-name", plain(head.vehicle_name) or "unnamed"),
        ("begun", instant_text(head.started_at)),
    ]
    for word in _TOLD:
        lines += [(word, plain(text) or "?") for text in json.loads(signed.data.get(word, "[]"))]
    lines.append(("confirmed", signed.data.get("confirmed", "not asked")))
    made = checkpoint(store, "sign-off", now, (head.id,), lines=lines, signer=signer)
    store.add_event(head.id, EventName.CHECKPOINT, "sign-off", data={NOTE: made.text, OF: event.id})
    return signer.fingerprint if signer else ""
