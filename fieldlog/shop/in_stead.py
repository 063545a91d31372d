"""Findings in the place of others, as a reviewer decides: what goes into the record, and what is told (pure)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from fieldlog.model.finding import Finding
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.review.exchanges import Exchange, left_at
from fieldlog.shop import events as ev
from fieldlog.shop.events import Event, Kept, Said
from fieldlog.shop.scene import Scene
from fieldlog.shop.steps import finding_step, withdrawal
from fieldlog.store.records import (
    InspectionRecord,
    NewEntry,
    NewFinding,
    NewUtterance,
    RecordedFinding,
    Saved,
)

NOT_SAID = "not said"
Change = tuple[NewEntry, Callable[[Saved], Sequence[Event]]]
"""What goes into the record, and what is told of it then."""


@dataclass(frozen=True, slots=True)
class SeenThen:
    """The record, one exchange of it and the scene, as one decision finds them."""

    record: InspectionRecord
    exchange: Exchange
    scene: Scene

    def kept(self, one: RecordedFinding) -> Kept:
        """A standing finding as events tell it."""
        return next(each for each in self.scene.standing if each.id == one.id)


@dataclass(frozen=True, slots=True)
class InStead:
    """A finding that is made, in the place of what stands, or once again."""

    finding: Finding
    instead: RecordedFinding | None = None
    """What stands now in its place."""
    once: RecordedFinding | None = None
    """What it was when it stood before."""


def put(
    look: SeenThen,
    made: Sequence[InStead],
    gone: Sequence[RecordedFinding],
    utterance: NewUtterance | None,
    reason: str,
) -> Change:
    """Findings in the place of others, further ones, and what no longer stands: one transaction.

    One correction has a link to what it corrects; where a breath is put right in several places the
    others are withdrawn and said anew, and their photos go with them.
    """
    if not made:
        return without(look, gone, reason)
    first, *others = sorted(made, key=lambda each: each.instead is None)
    taken_back = [*(each.instead for each in others if each.instead is not None), *gone]
    scene = look.scene
    for was in taken_back:
        scene = scene.without(look.kept(was))
    was_first = look.kept(first.instead) if first.instead is not None else None
    step = finding_step(scene, first.finding, was_first, reason)
    assert step.entry.verdict is not None
    if was_first is not None:
        scene = scene.without(was_first)
    scene = scene.beside(first.finding, step.entry.verdict)
    added = []
    for found in (each.finding for each in others):
        verdict = scene.assess(found).verdict
        scene = scene.beside(found, verdict)
        added.append(NewFinding(found, verdict))
    photos = [
        (part, photo)
        for part, each in enumerate((first, *others))
        for of in ((each.once, each.instead) if part else (each.once,))
        if of is not None and not (part == 0 and of.superseded_by)
        for photo in left_at(look.record, of.id)
    ]
    root = look.exchange.first
    entry = replace(
        step.entry,
        utterance=utterance,
        further=tuple(added),
        reason=reason,
        takes_back=tuple(each.id for each in taken_back),
        of=root.id if root is not None else None,
        photos=tuple(photos),
    )
    said = Understanding(Decision.ACCEPT, Kind.FINDING, reason, first.finding.words)

    def tell(saved: Saved) -> tuple[Event, ...]:
        withdrawn = (ev.FindingWithdrawn(None, look.kept(each), reason) for each in taken_back)
        made = step.tell(Said(saved.utterance_id or entry.of or "", said), saved)
        return (*withdrawn, *made)

    return entry, tell


def not_said(look: SeenThen) -> Change:
    """What stands of it was never said: it goes, and what it took the place of stands again."""
    others = {each.id: each for each in look.record.findings}
    for each in look.exchange.findings:
        del others[each.id]  # what a reviewer put in the place of each other is of the same words
    pairs = [(each, others.get(each.supersedes or "")) for each in look.exchange.standing]
    made = [InStead(was.finding, each, was) for each, was in pairs if was is not None]
    gone = [each for each, was in pairs if was is None]
    return put(look, made, gone, None, NOT_SAID)


def without(look: SeenThen, gone: Sequence[RecordedFinding], reason: str) -> Change:
    """None of ``gone`` stands any more."""
    if not gone:
        return NewEntry(), lambda _: ()
    first, *rest = gone
    entry, told = withdrawal(look.scene, look.kept(first), reason)
    entry = replace(entry, takes_back=tuple(each.id for each in rest))
    more = tuple(ev.FindingWithdrawn(None, look.kept(each), reason) for each in rest)
    return entry, lambda _: (*told(None), *more)
