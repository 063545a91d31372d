"""Who signed an inspection, with which key, and what the signature covers (pure)."""

from __future__ import annotations

from dataclasses import dataclass

from fieldlog.proof import note, sshsig
from fieldlog.proof.note import Checkpoint
from fieldlog.store.records import Event, EventName, InspectionRecord

NOTE, OF = "note", "of"
"""What the data of a checkpoint's event has: the note itself, and the id of the sign-off that it is of."""


@dataclass(frozen=True, slots=True)
class Signature:
    """One sign-off with the checkpoint that was made of it."""

    event: Event
    checkpoint: Checkpoint | None
    """None where none was made (earlier versions), or it cannot be read."""

    @property
    def key(self) -> str:
        """Fingerprint of the person's key that signed; "" where the person gave none, or it does not fit."""
        one = self.checkpoint
        if one is None or not one.one("by") or not one.is_signed:
            return ""
        return sshsig.fingerprint(one.key)

    @property
    def told(self) -> str:
        """``key SHA256:...``, or that there is no signature with a key."""
        return f"key {self.key}" if self.key else "not signed with a key"


def signatures(record: InspectionRecord) -> tuple[Signature, ...]:
    """Every sign-off of an inspection, in order."""
    notes = {
        event.data.get(OF, ""): note.parse(event.data.get(NOTE, ""))
        for event in record.events
        if event.name == EventName.CHECKPOINT
    }
    return tuple(
        Signature(event, notes.get(event.id))
        for event in record.events
        if event.name == EventName.SIGNED_OFF
    )
