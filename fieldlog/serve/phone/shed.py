"""The inspection behind the line: everything that drives the workshop goes through its one hand."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from fieldlog.audio.capture import Draft, Spoken
from fieldlog.audio.recorder import Recorder, stream_name
from fieldlog.audio.source import Block
from fieldlog.errors import FieldlogError, StoreError
from fieldlog.serve.app import OneHand
from fieldlog.serve.phone.view import Table, stands
from fieldlog.shop.events import Event, NotSaved
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.live import LiveInspection, Told
from fieldlog.shop.workshop import Workshop

Notify = Callable[[str], None]


class LiveByOneHand(LiveInspection):
    """A live inspection beside which others may type: its steps take the workshop's one hand."""

    def __init__(
        self,
        inspecting: Inspecting,
        hand: OneHand,
        tell: Callable[[Sequence[Event]], None] = lambda events: None,
    ) -> None:
        """``hand``: of the workshop that the inspection is in; ``tell``: the phones of what is not in the record."""
        super().__init__(inspecting)
        self._hand, self._tell = hand, tell

    def draft(self, draft: Draft) -> float | None:
        """See ``LiveInspection``."""
        return self._hand.now(lambda shop: super(LiveByOneHand, self).draft(draft))

    def spoken(self, spoken: Spoken) -> tuple[Told, ...]:
        """See ``LiveInspection``."""
        told = self._hand.now(lambda shop: super(LiveByOneHand, self).spoken(spoken))
        for each in told:
            unsaved = [event for event in each.events if isinstance(event, NotSaved)]
            if unsaved:
                self._tell(unsaved)
        return told

    def ready(self) -> None:
        """See ``LiveInspection``."""
        self._hand.now(lambda shop: super(LiveByOneHand, self).ready())

    def finish(self, folder: Path) -> None:
        """See ``LiveInspection``."""
        self._hand.now(lambda shop: super(LiveByOneHand, self).finish(folder))


class InspectionShed:
    """What a phone sees of the inspection that goes on, and what it may put in."""

    def __init__(
        self, hand: OneHand, inspecting: Inspecting, streams: Path, notify: Notify
    ) -> None:
        """``streams``: folder of recordings; ``notify``: tells whoever is at this machine a line."""
        self._hand, self._inspecting = hand, inspecting
        self._streams, self._notify = streams, notify
        self._elsewhere: list[Recorder] = []

    @property
    def inspection_id(self) -> str:
        """See ``Shed``."""
        return self._inspecting.head.id

    async def view(self) -> Table:
        """See ``Shed``."""
        return await self._hand.do(self._view)

    def _view(self, shop: Workshop) -> Table:
        record = self._inspecting.record
        conversation = self._inspecting.conversation
        return stands(record, shop.progress(record), conversation.waiting, conversation.anew)

    async def say(self, text: str, question: str | None) -> None:
        """See ``Shed``."""

        def typed(shop: Workshop) -> None:
            if question:
                self._inspecting.answer(question, text)
            else:
                self._inspecting.type(text)

        await self._hand.do(typed)

    def tell(self, line: str) -> None:
        """See ``Shed``."""
        self._notify(line)

    def elsewhere(self, stream: str, inspection: str) -> Callable[[Block], None]:
        """See ``Shed``: a recording of its own, and this machine is told which and how to hear it."""
        whose, todo = "of an inspection that is not in this record", "fieldlog hear FILE"
        if not inspection:
            whose = "from before it reached this machine"
            todo = f"fieldlog inspection hear FILE --inspection {self._inspecting.head.number}"
        with suppress(FieldlogError):
            head = self._hand.now(lambda shop: shop.store.inspection(inspection))
            whose = f"of inspection {head.number} ({head.vehicle_name})"
            todo = f"fieldlog inspection hear FILE --inspection {head.number}"
        recorder: Recorder | None = None

        def keep(block: Block) -> None:
            nonlocal recorder
            if recorder is None and len(block.samples):
                name = stream_name(block.began or datetime.now(UTC))
                recorder = Recorder(self._streams, name)
                self._elsewhere.append(recorder)
                self._notify(
                    f"the phone still had sound {whose}: it is not heard into this one. It is kept as "
                    f"{self._streams / name}.wav; hear it with: {todo}"
                )
            if recorder is not None:
                recorder.write(block.samples)

        return keep

    def close(self) -> None:
        """Finish the recordings of other inspections."""
        for each in self._elsewhere:
            with suppress(StoreError):
                each.close()
