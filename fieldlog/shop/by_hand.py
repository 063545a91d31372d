"""The verbs of an inspection that are done by hand: correct, withdraw, skip, remark, mark, attach, sign off."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from fieldlog.aftercare.checklist import Skip, named
from fieldlog.aftercare.plan import skipped_event
from fieldlog.errors import UsageError
from fieldlog.model.command import Command
from fieldlog.model.understanding import Decision, Understanding
from fieldlog.proof.keys import Signer
from fieldlog.shop import events as ev
from fieldlog.shop import witness
from fieldlog.shop.events import Event, Kept, Said
from fieldlog.shop.scene import Scene
from fieldlog.shop.steps import (
    before_signing,
    finding_step,
    remark_back,
    sign_off,
    withdrawal,
)
from fieldlog.store.records import (
    EventName,
    Inspection,
    InspectionRecord,
    NewAttachment,
    NewEntry,
    NewUtterance,
    Remark,
)
from fieldlog.store.repository import SURE, Repository
from fieldlog.words.walk import unsigned

_BY_HAND = "review"


@dataclass(frozen=True, slots=True)
class Origin:
    """What goes with every utterance so that it can be heard again the same way."""

    model: str = ""
    """Name or fingerprint of the listener's model."""
    grammar: str = ""
    """Fingerprint of the grammar and catalogue that were in force."""


class ByHand(ABC):
    """What ``Inspecting`` does without an utterance: each verb is one transaction and says what happened."""

    head: Inspection
    _store: Repository
    _origin: Origin
    _now: Callable[[], datetime]

    @property
    @abstractmethod
    def record(self) -> InspectionRecord:
        """The inspection as the record has it now."""

    @property
    @abstractmethod
    def scene(self) -> Scene:
        """What the next utterance meets."""

    @abstractmethod
    def new_id(self) -> str:
        """An id for an utterance that is to be saved, once, however often it is tried."""

    def correct(
        self, number: int, said: Understanding, reason: str = "", *, sure: bool = False
    ) -> tuple[Event, ...]:
        """Supersede finding ``number`` by the one that was typed.

        ``sure``: a distance counts even where it is not as known. Raises ``UsageError`` when there is no
        such finding any more, or the words are not one whole finding.
        """
        if said.decision is not Decision.ACCEPT or said.finding is None:
            raise UsageError(
                f"{said.text!r} is not saved: {said.reason or 'it is no finding'}",
                todo=said.question_text or "say component, place, and value or condition",
            )
        scene = self.scene
        asked = scene.met(replace(said, dialogue=Command.CORRECTION), None)
        if asked.decision is Decision.ASK and not sure:
            raise UsageError(f"{said.text!r} is not saved: {asked.reason}", todo=SURE)
        step = finding_step(scene, said.finding, self._numbered(number, scene), reason)
        id = self.new_id()
        utterance = NewUtterance(said, self._now(), id=id, grammar=self._origin.grammar)
        entry = replace(step.entry, utterance=utterance, made_by=_BY_HAND)
        saved = self._store.save(self.head.id, entry)
        return self._happened(step.tell(Said(id, said), saved), scene)

    def withdraw(self, number: int, reason: str) -> tuple[Event, ...]:
        """Let finding ``number`` no longer stand.

        Raises ``UsageError`` when it does not already, or for no reason.
        """
        _said_why(reason, "a finding is withdrawn only with a reason")
        scene = self.scene
        was = self._numbered(number, scene)
        entry, tell = withdrawal(scene, was, reason)
        self._store.save(self.head.id, replace(entry, made_by=_BY_HAND))
        return self._happened(tell(None), scene)

    def skip(self, item: str, reason: str) -> tuple[Event, ...]:
        """Leave out what ``item`` names of the walk; ``UsageError`` for none, or for no reason."""
        _said_why(reason, "an item is left out only with a reason")
        scene = self.scene
        items = tuple(each.key for each in named(scene.rules.walk, item))
        events = tuple(skipped_event(Skip(key, reason)) for key in items)
        self._store.save(self.head.id, NewEntry(events=events))
        return self._happened((ev.ItemSkipped(None, items, reason),), scene)

    def remark(self, text: str, number: int | None = None) -> tuple[Event, ...]:
        """Keep a typed remark, of finding ``number`` where one is named; it is never judged.

        Raises ``UsageError`` for one without a word, or when there is no such finding any more.
        """
        if not text.strip():
            raise UsageError("a remark has words", where="TEXT", todo="say what is to be kept")
        scene = self.scene
        at = None if number is None else self._numbered(number, scene)
        self._store.save(self.head.id, NewEntry(remark=text, remark_of=at.id if at else None))
        return self._happened((ev.RemarkKept(None, text, at),), scene)

    def take_back_remark(self, remark: str) -> tuple[Event, ...]:
        """Let the remark of that id no longer stand: it stays in the record and counts for nothing.

        Raises ``UsageError`` where there is no such, or it was taken back already.
        """
        record = self.record
        one = standing_remark(record, remark)
        entry, tell = remark_back(one)
        self._store.save(self.head.id, entry, record.rows)
        return self._happened(tell(None), self._scene_of(record))

    def mark(self, name: str = "photo", number: int | None = None) -> tuple[Event, ...]:
        """Keep this instant on the session clock, for finding ``number`` where one is named."""
        scene = self.scene
        at = None if number is None else self._numbered(number, scene)
        self._store.save(self.head.id, NewEntry(mark=name, marks=at.id if at else None))
        return self._happened((ev.Marked(None, name, at),), scene)

    def attach(self, photo_id: str, number: int | None, reason: str) -> tuple[Event, ...]:
        """Put a photo to finding ``number``, or (None) to none, by hand; this can be done again.

        Raises ``UsageError`` when the inspection has no such photo, or no such finding any more.
        """
        record = self.record
        scene = self._scene_of(record)
        if all(each.id != photo_id for each in record.photos):
            raise UsageError(
                f"inspection {self.head.number} has no photo {photo_id!r}",
                todo="see `fieldlog photos list`",
            )
        at = None if number is None else self._numbered(number, scene)
        attachment = NewAttachment(photo_id, at.id if at else None, reason)
        self._store.save(self.head.id, NewEntry(attachments=(attachment,)))
        return self._happened((ev.PhotoAttached(photo_id, at, reason),), scene)

    def before_signing(self) -> ev.BeforeSigning:
        """What nobody looked at and what is dangerous, as whoever signs should know it."""
        return self.known_before(self.record)

    def known_before(self, record: InspectionRecord) -> ev.BeforeSigning:
        """The same of the inspection as it is in ``record``."""
        return before_signing(self._scene_of(record), None)

    def sign_off(
        self,
        name: str,
        *,
        as_it_stands: bool = False,
        signer: Signer | None = None,
        seen: int | None = None,
    ) -> tuple[Event, ...]:
        """Sign the inspection off as ``name``, with the key ``signer`` where there is one.

        ``as_it_stands``: with what ``before_signing`` tells, which whoever signs has confirmed; ``seen``:
        rows that the inspection had then. Raises ``UsageError`` for an empty name, and where there is
        something to confirm and nobody did, ``ChangedError`` where there are more rows by now.
        """
        if not name.strip():
            raise UsageError("an inspection is signed with a name", where="NAME")
        record = self.record
        scene = self._scene_of(record)
        known = before_signing(scene, None)
        if not known.nothing and not as_it_stands:
            raise UsageError(
                unsigned(
                    len(known.dangerous),
                    len(scene.progress.open),
                    len(known.cross_checks),
                    len(known.beyond),
                    len(known.unaffirmed),
                    len(known.questions),
                ),
                todo="confirm it with --as-it-stands, or see `fieldlog inspection open`",
            )
        confirmed = as_it_stands and not known.nothing
        entry, tell = sign_off(scene, name, self._fingerprint, confirmed=confirmed)
        self._store.save(self.head.id, entry, record.rows if seen is None else seen)
        key = self._witnessed(entry, signer)
        return self._happened(
            [
                replace(each, key=key) if isinstance(each, ev.SignedOff) else each
                for each in tell(None)
            ]
        )

    def _witnessed(self, entry: NewEntry, signer: Signer | None = None) -> str:
        """The checkpoint of a sign-off that is in the record; fingerprint of the person's key, or ""."""
        signed = [each for each in entry.events if each.name == EventName.SIGNED_OFF]
        if not signed:
            return ""
        return witness.sign(self._store, self.head.id, signed[-1], signer, self._now())

    def _numbered(self, number: int, scene: Scene) -> Kept:
        found = scene.numbered(number)
        if found is None:
            raise UsageError(
                f"no finding {number} stands in inspection {self.head.number}",
                todo="see `fieldlog inspection show --all`",
            )
        return found

    @abstractmethod
    def _scene_of(self, record: InspectionRecord) -> Scene: ...

    @abstractmethod
    def _fingerprint(self) -> str: ...

    @abstractmethod
    def _happened(
        self, events: Sequence[Event], scene: Scene | None = None, *, repeats: bool = True
    ) -> tuple[Event, ...]: ...


def standing_remark(record: InspectionRecord, remark: str) -> Remark:
    """The remark of that id; raises ``UsageError`` where it does not stand (any more)."""
    one = next((each for each in record.remarks if each.id == remark), None)
    if one is None:
        raise UsageError(
            "the inspection has no such remark", todo="see `fieldlog inspection show --json`"
        )
    if one.taken_back:
        raise UsageError("this remark was taken back already", where=one.text)
    return one


def _said_why(reason: str, told: str) -> None:
    if not reason.strip():
        raise UsageError(told, where="--reason", todo="say why: it is kept in the record")
