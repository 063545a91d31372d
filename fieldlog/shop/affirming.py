"""Which findings are read back with "confirm", and what *affirm* and *negative* make of them (pure).

A finding is in the record before it is read back, and stays there when nobody answers: that it was
asked about, and whether it was affirmed, are events of the record (``store.affirmed``). Only *negative*,
said as a whole, takes it back.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from fieldlog.language.decide import TWIN_SLOT
from fieldlog.limits.cautions import is_dangerous
from fieldlog.model.finding import Finding
from fieldlog.model.state import State
from fieldlog.model.understanding import Decision, Understanding
from fieldlog.model.verdict import Verdict
from fieldlog.quantities.quantity import quantities
from fieldlog.shop import events as ev
from fieldlog.shop.events import Event, Kept
from fieldlog.shop.scene import Scene
from fieldlog.store.records import EventName, NewEvent
from fieldlog.words import tell

WAITS_S = 60.0
"""Seconds behind an utterance until *affirm* is no answer to its read-back any more."""
NOT_AFFIRMED = "read back and not affirmed"
"""Why a finding is taken back behind whose read-back somebody said *negative*."""


@dataclass(frozen=True, slots=True)
class Twins:
    """Whether the other number that a value may be misheard for would change how it stands."""

    scene: Scene

    def differ(self, said: Understanding, finding: Finding, verdict: Verdict | None) -> bool:
        """ "thirteen millimetres" within where "thirty" is beyond, or the other way round."""
        twin = twin_of(said, finding)
        if twin is None or verdict is None:
            return False
        other = self.scene.assess(twin).verdict
        return (other.state, is_dangerous(other)) != (verdict.state, is_dangerous(verdict))


def twin_of(said: Understanding, finding: Finding) -> Finding | None:
    """``finding`` with the value that sounds like its own; None where no plausible one does."""
    words = said.slots.get(TWIN_SLOT)
    if words is None:
        return None
    value = finding.quantity
    if value is None:
        return replace(finding, code=words)
    found = quantities(words.split(), (value.unit,), default=value.unit)
    for reading in (*found.readings, *found.assumed):
        if reading.quantity.value != value.value:
            return replace(finding, quantity=reading.quantity)
    return None


def asks_to_affirm(verdict: Verdict | None, *, twin: bool) -> bool:
    """Whether a finding is to be affirmed: beyond, dangerous, or its twin would stand otherwise."""
    beyond = verdict is not None and verdict.state is State.BEYOND
    return beyond or is_dangerous(verdict) or twin


def to_affirm(
    events: Sequence[Event], scene: Scene, owed: Collection[str] = ()
) -> Iterator[ev.ToAffirm]:
    """Of what was just saved, what is to be affirmed, each by itself.

    What is brought back is to be affirmed as if it were said anew; ``owed``: ids of what was to be affirmed for
    another reason, and nobody did.
    """
    twins = Twins(scene)
    for event in events:
        if isinstance(event, ev.FindingBroughtBack) and event.said is not None:
            kept, plain = event.kept, asks_to_affirm(event.kept.verdict, twin=False)
            if plain or kept.id in owed:
                yield ev.ToAffirm(event.said, kept, apart=not plain)
        if isinstance(event, ev.FindingSaved | ev.FindingCorrected):
            said, kept = event.said, event.kept
            twin = twins.differ(said.understanding, kept.finding, kept.verdict)
            if asks_to_affirm(kept.verdict, twin=twin):
                yield ev.ToAffirm(said, kept, apart=twin)


class Affirming:
    """What was read back and waits for *affirm*, one finding at a time."""

    def __init__(self) -> None:
        """Nothing waits, and nothing is asked."""
        self.asks = False
        """Whether it is asked for at all; a face that speaks sets it."""
        self._waiting: tuple[ev.ToAffirm, ...] = ()

    def of(self, at_s: float, scene: Scene) -> Kept | None:
        """What *affirm*, said at ``at_s`` of the stream, is an answer to; None: nothing."""
        asked = next(iter(self._waiting), None)
        if asked is not None and at_s - asked.said.end_s > WAITS_S:
            self._waiting, asked = (), None
        return None if asked is None else scene.same(asked.kept)

    def behind(
        self,
        told: Sequence[Event],
        said: Understanding,
        scene: Scene,
        *,
        waits: bool,
        owed: Collection[str] = (),
    ) -> tuple[ev.ToAffirm, ...]:
        """What is read back behind ``told``: new findings, or the next one of a breath.

        ``waits``: a question waits, to which "affirm" would be the answer: nothing is asked then. ``owed``: ids of
        what was to be affirmed, as the record has it now.
        """
        if not self.asks or said.decision is not Decision.ACCEPT:
            return ()
        if said.finding is not None or said.parts:
            asked = tuple(to_affirm(told, scene))
            self._waiting = () if waits else asked
            if waits:
                return tuple(replace(each, asks=False) for each in asked)
            then = tuple(each.kept for each in asked[1:])
            return tuple(replace(each, then=then) for each in asked[:1])
        done = {name for each in told if (name := _done_with(each)) is not None}
        if not done:
            return ()
        back = tuple(to_affirm(told, scene, owed))
        left = tuple(each for each in self._waiting if each.kept.id not in done)
        self._waiting = (*back, *left)
        if waits:
            self._waiting = ()
            return tuple(replace(each, asks=False) for each in back)
        return self._waiting[:1]


def _done_with(event: Event) -> str | None:
    """Id of the finding that nobody is asked about any more."""
    match event:
        case ev.Affirmed(_, kept):
            return kept.id
        case ev.FindingWithdrawn(was=was) | ev.FindingBroughtBack(was=was):
            return was.id
        case _:
            return None


def read_back_events(asked: ev.ToAffirm) -> tuple[NewEvent, ...]:
    """That a finding is read back and to be affirmed, as the record keeps it.

    Of a breath the others come in their turn; where nobody answers the first, that turn never comes, and
    they were to be affirmed all the same.
    """
    return tuple(
        NewEvent(
            EventName.READ_BACK, tell.finding(kept.finding), MappingProxyType({"finding": kept.id})
        )
        for kept in (asked.kept, *asked.then)
    )


def affirmed_event(kept: Kept) -> NewEvent:
    """That somebody affirmed what was read back."""
    data = MappingProxyType({"finding": kept.id})
    return NewEvent(EventName.AFFIRMED, tell.finding(kept.finding), data)
