"""A phone's server beside a live inspection, for tests: the loop of ``listen`` in a thread, what it told in lists."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from fieldlog.audio.health import Notice, Trouble
from fieldlog.audio.recorder import Recorder
from fieldlog.serve.app import OneHand
from fieldlog.serve.phone.pairing import Knock
from fieldlog.serve.phone.running import PhoneDesk, phone_serving, place_for
from fieldlog.serve.phone.shed import LiveByOneHand
from fieldlog.serve.phone.source import PhoneSource
from fieldlog.shop.ears import Ears
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.live import Told, listen
from fieldlog.shop.workshop import Workshop


@dataclass
class PhoneShed:
    """What a test sees of it."""

    desk: PhoneDesk
    shop: Workshop
    inspecting: Inspecting
    source: PhoneSource
    streams: Path
    notices: list[Notice] = field(default_factory=list)
    told: list[Told] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)
    knocks: list[Knock] = field(default_factory=list)

    def troubles(self) -> list[Trouble]:
        return [each.trouble for each in self.notices]


@contextmanager
def phone_shed(
    folder: Path,
    shop: Workshop,
    ears: Ears | None = None,
    *,
    key: str | None = None,
    port: int = 0,
) -> Iterator[PhoneShed]:
    """A server on a free port of this machine; ``key``: goes on with that inspection."""
    head = shop.begin("test machine") if key is None else shop.store.inspection(key)
    inspecting = shop.inspecting(head.id, ears)
    hand = OneHand(shop)
    source = PhoneSource()
    keys, streams = folder / "keys", folder / "streams"
    lines: list[str] = []
    knocks: list[Knock] = []
    place = place_for(keys, None, port)
    with phone_serving(
        place, keys, hand, inspecting, source, streams=streams,
        notify=lines.append, knocked=knocks.append,
    ) as desk:  # fmt: skip
        shed = PhoneShed(desk, shop, inspecting, source, streams, [], [], lines, knocks)
        thread = threading.Thread(target=lambda: _listen(shed, hand), daemon=True)
        thread.start()
        try:
            yield shed
        finally:
            source.stop()
            thread.join(20)
    hand.close()


def _listen(shed: PhoneShed, hand: OneHand) -> None:
    live = LiveByOneHand(shed.inspecting, hand, shed.desk.tell)
    name = f"test-{len(list(shed.streams.glob('*')))}"
    with Recorder(shed.streams, name) as recorder:
        for happening in listen(shed.source, live, recorder):
            if isinstance(happening, Notice):
                shed.notices.append(happening)
            elif isinstance(happening, Told):
                shed.told.append(happening)
    live.finish(shed.streams)


def until(true: Callable[[], object], seconds: float = 20.0) -> bool:
    """Whether it becomes true in time: a busy machine takes longer, a quick one does not wait."""
    over = threading.Event()
    for _ in range(round(seconds / 0.05)):
        if true():
            return True
        over.wait(0.05)
    return bool(true())
