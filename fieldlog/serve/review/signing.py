"""Signing off on the page: what whoever signs should know, whose key, and what was signed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fieldlog.aftercare.checklist import told
from fieldlog.errors import FieldlogError, UsageError
from fieldlog.proof.keys import Keyring, Signer
from fieldlog.report.lines import after_signature, cross_check, zone_of
from fieldlog.review.view import Sheet
from fieldlog.shop import events as ev
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.witness import keyring
from fieldlog.shop.workshop import Workshop
from fieldlog.store.records import InspectionRecord
from fieldlog.store.signatures import Signature, signatures
from fieldlog.words import review as words
from fieldlog.words import tell

Json = dict[str, Any]


def signing(shop: Workshop, inspecting: Inspecting, sheet: Sheet, name: str) -> Json:
    """All that is shown before somebody signs, and what was signed. ``name``: who is likely to.

    ``seen``: rows of the inspection that this was said of.
    """
    record = sheet.record
    known = inspecting.known_before(record)
    people, fault = _people(keyring(shop.store))
    return {
        "seen": record.rows,
        "name": name,
        "keys": people,
        "keys_fault": fault,
        "known": [
            {"what": what, "heading": words.before_signing(what), "lines": lines}
            for what, lines in known_lines(known)
        ],
        "undecided": len(sheet.queue),
        "signed": [_signed(each, record) for each in signatures(record)],
        "later": list(after_signature(record)),
    }


def sign(shop: Workshop, inspecting: Inspecting, seen: int, name: str, what: Json) -> None:
    """Sign as ``name``. ``what``: ``how`` (key, new, none), ``pin``, ``again``, ``confirmed``.

    Raises ``UsageError`` for a PIN that opens nothing, and for what nobody confirmed; ``ChangedError``
    where the inspection is not what was ``seen`` of it.
    """
    known = inspecting.before_signing()
    confirmed = what.get("confirmed")
    agreed = set(map(str, confirmed)) if isinstance(confirmed, list) else set()
    missing = [words.before_signing(each) for each, _ in known_lines(known) if each not in agreed]
    if missing:
        raise UsageError(words.not_confirmed(missing), todo="read it, and mark it as known")
    signer = _signer(keyring(shop.store), name, what)
    inspecting.sign_off(name, as_it_stands=not known.nothing, signer=signer, seen=seen)


def known_lines(known: ev.BeforeSigning) -> Iterator[tuple[str, list[str]]]:
    """What whoever signs should know, by kind, the worst first; kinds of which there is nothing are left out."""
    found = {
        "dangerous": [_kept(each) for each in known.dangerous],
        "beyond": [_kept(each) for each in known.beyond],
        "unaffirmed": [_kept(each) for each in known.unaffirmed],
        "questions": list(known.questions),
        "cross-checks": [cross_check(each) for each in known.cross_checks],
        "open": [f"{stage.name}: {', '.join(texts)}" for stage, texts in told(known.left).items()],
    }
    return ((what, lines) for what, lines in found.items() if lines)


def checkpoint_text(record: InspectionRecord, signature: str) -> str | None:
    """The note of a sign-off (id), as it lies in the record."""
    one = next((each for each in signatures(record) if each.event.id == signature), None)
    return one.checkpoint.text if one is not None and one.checkpoint is not None else None


def _signer(ring: Keyring, name: str, what: Json) -> Signer | None:
    how, pin = what.get("how"), what.get("pin")
    if how == "none":
        return None
    if how not in ("key", "new") or not isinstance(pin, str) or len(pin) > 1000:
        raise UsageError("say with which key it is signed, and its PIN")
    if how == "new":
        if pin != what.get("again"):
            raise UsageError("the two PINs are not the same", todo="enter it twice")
        ring.make(name, pin)
    return ring.open(name, pin)


def _people(ring: Keyring) -> tuple[list[Json], str]:
    try:
        return [{"name": k.name, "fingerprint": k.fingerprint} for k in ring.people()], ""
    except FieldlogError as error:
        return [], str(error)


def _signed(one: Signature, record: InspectionRecord) -> Json:
    zone, made = zone_of(record.inspection.zone), one.checkpoint
    return {
        "id": one.event.id,
        "name": one.event.text,
        "at": f"{one.event.at.astimezone(zone):%Y-%m-%d %H:%M}",
        "told": one.told,
        "rows": made.size if made else None,
        "root": made.root.hex() if made else "",
        "note": made.text if made else "",
        "confirmed": one.event.data.get("confirmed", ""),
    }


def _kept(kept: ev.Kept) -> str:
    severity = tell.severity(kept.verdict)
    stands = f"{tell.state(kept.verdict)}, {severity}" if severity else tell.state(kept.verdict)
    return f"no. {kept.number} {tell.finding(kept.finding)}: {stands}"
