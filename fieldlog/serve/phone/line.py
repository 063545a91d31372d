"""The line to a phone: one WebSocket, on which sound comes in order and what happened goes back.

Messages are JSON text but for sound, which is binary (``frames``).

=========  ==========================================================================================
from phone
``pong``   answer to ``ping``: ``n``, and the phone's clock as it got it and as it answered (ms)
``begin``  a run of the microphone: ``stream`` (its name), ``rate``, ``oldest`` (first frame that the phone
           still has), ``inspection`` (that it was begun in), ``settings`` (what the browser grants)
``end``    that run is over, and all that the phone has of it was sent; ``whole``: it was stopped on purpose
``state``  whether the page is in front, the microphone muted or gone, and whether the phone has no room left
``lost``   a photo that the browser threw away before it was here
``say``    typed words or a button's: ``n``, ``text``, ``inspection``, ``question`` (id of what it answers, or none)
from here
``ping``   ``n``: asks for the phone's clock
``clock``  by how much that is ahead, and within what
``resume`` ``stream``, ``next``: send from this frame on
``got``    ``stream``, ``next``: all before it is kept here, the phone may drop it
``told``   what happened, line by line
``view``   what stands now: last finding, question, what is open
``no``     what could not be done, and why
=========  ==========================================================================================
"""

from __future__ import annotations

import asyncio
import json
import re
import threading
import time
from collections import OrderedDict
from collections.abc import Awaitable, Callable, Mapping
from contextlib import suppress
from datetime import datetime
from typing import Any

import numpy as np
from starlette.websockets import WebSocket, WebSocketDisconnect, WebSocketState

from fieldlog.audio.source import Block
from fieldlog.errors import FieldlogError, StoreError
from fieldlog.serve.phone.book import PhoneBook
from fieldlog.serve.phone.frames import BadFrame, is_clock, read_begun, read_frame
from fieldlog.serve.phone.incoming import Incoming
from fieldlog.serve.phone.needs import SaidOnce, Shed, View
from fieldlog.serve.phone.offset import Ahead, ClockAhead, Round
from fieldlog.serve.phone.sound import PhoneStream, instant_of
from fieldlog.serve.phone.source import HIDDEN, MUTED, PhoneSource

LARGEST = 64 * 1024
"""Bytes of one message."""
REFUSED = 1008
"""The code of RFC 6455 for what is against the rules."""
_RUN = re.compile(r"[0-9a-f]{4,16}")
_MOST_STREAMS = 64
_MOST_OUT = 512
_LONGEST_SAID = 400
_TICK_S = 0.1
_PING_EVERY_S = 5.0
_ROUNDS_FIRST = 3
"""Rounds of the clock before sound is asked for."""

_OLDEST_S, _TO_COME_S = (
    7 * 86_400.0,
    2.0,
)  # sound from before that, or from after now, is not from then
_NOTHING = np.zeros(0, dtype=np.float32)
OTHER_SPEAKS = "another phone is being listened to: what is said here is kept on this one, and heard once that one stops"
LOST = "its browser threw a photo away before it was here; take it again"
NO_ROOM = "has no room left: what it cannot send is lost there when its page is closed"


class _Cut(Exception):
    """Whoever is on the line did what nobody may; it is closed with the reason."""


class PhoneLine:
    """What all connections share: who is heard, the streams by their names, who is told."""

    def __init__(
        self,
        source: PhoneSource,
        book: PhoneBook,
        shed: Shed,
        *,
        now: Callable[[], float] = time.time,
    ) -> None:
        """``now``: seconds since 1970, the clock that utterances have."""
        self.source, self.book, self.shed = source, book, shed
        self._now = now
        self._streams: OrderedDict[tuple[str, str], Incoming] = OrderedDict()
        self.heard: Incoming | None = None
        """What is heard, or was heard last."""
        self.full: set[str] = set()
        """Phones that have no room left."""
        self._kept_out: set[str] = set()
        """Streams that wait until another phone stops."""
        self._open: set[_Connection] = set()
        self._clocks: OrderedDict[tuple[str, str], ClockAhead] = OrderedDict()
        self.said = SaidOnce()
        self._lock = threading.Lock()
        self._changed = 0

    # -- from the other threads ---------------------------------------------------------------------

    def told(self, lines: list[View]) -> None:
        """What happened, for every phone; from whatever thread."""
        self.changed()
        with self._lock:
            everyone = list(self._open)
        for each in everyone:
            each.soon({"type": "told", "lines": lines})

    def changed(self) -> None:
        """What stands has changed: every phone gets it anew, soon."""
        self._changed += 1

    def ahead(self, phone: str, run: str) -> Ahead | None:
        """The clock of a phone as its page of that run showed it; None where it was not measured."""
        clock = self._clocks.get((phone, run))
        return None if clock is None else clock.at(self._now())

    # -- one connection ---------------------------------------------------------------------------------

    async def connected(self, socket: WebSocket) -> None:
        """Serve one WebSocket until it is closed; the session is known already."""
        phone = self.book.phone(socket.scope["fieldlog.session"].name)
        run = socket.query_params.get("run", "")
        if phone is None or not _RUN.fullmatch(run):
            await socket.close(REFUSED)
            return
        await socket.accept()
        clock = self._clocks.setdefault((phone.id, run), ClockAhead())
        while len(self._clocks) > _MOST_STREAMS:
            self._clocks.popitem(last=False)
        one = _Connection(self, socket, phone.id, phone.name, clock)
        with self._lock:
            self._open.add(one)
        try:
            await one.serve()
        finally:
            with self._lock:
                self._open.discard(one)

    def stream_of(self, one: _Connection, said: Mapping[str, Any]) -> Incoming:
        """The stream that a connection begins or goes on with. Raises ``_Cut``."""
        try:
            begun = read_begun(said)
        except BadFrame as error:
            raise _Cut(str(error)) from error
        name, inspection = begun.stream, begun.inspection
        key = (one.phone, name)
        known = self._streams.get(key)
        if known is None:
            other = inspection != self.shed.inspection_id
            keep = self.shed.elsewhere(name, inspection) if other else None
            follows = any(each.keep is None for each in self._streams.values())
            try:
                stream = PhoneStream(
                    name,
                    begun.rate,
                    one.instant,
                    begins=begun.oldest,
                    follows=follows and keep is None,
                )
            except BadFrame as error:
                raise _Cut(str(error)) from error
            known = self._streams[key] = Incoming(stream, keep)
            while len(self._streams) > _MOST_STREAMS:
                self._streams.popitem(last=False)
            if keep is None and begun.changes:
                changed = ", ".join(begun.changes)
                self.shed.tell(f"{one.name} changes the sound itself ({changed})")
        self._streams.move_to_end(key)
        known.stream.instant = one.instant
        holder = known.by
        if holder is not None and holder is not one:
            holder.drop("the same phone came anew")
        known.by = one
        return known

    def may_speak(self, one: _Connection, incoming: Incoming) -> bool:
        """Whether ``one`` is listened to from now on: no other phone is, else it waits, and this machine is told.

        Its own older page is cut off.
        """
        with self._lock:
            others = [each for each in self._open if each.listened and each is not one]
        other = next((each for each in others if each.phone != one.phone and not each.gone), None)
        if other is not None:
            if incoming.stream.id not in self._kept_out:
                self._kept_out.add(incoming.stream.id)
                self.shed.tell(
                    f"{one.name} listens too, while {other.name} is heard: it keeps its sound, and is heard once "
                    "that one stops"
                )
            return False
        for each in others:
            each.drop("the same phone came anew")
        incoming.follows(self.heard)
        self.heard = incoming
        return True


class _Connection:
    def __init__(
        self, line: PhoneLine, socket: WebSocket, phone: str, name: str, clock: ClockAhead
    ) -> None:
        self.line, self.phone, self.name = line, phone, name
        self._socket = socket
        self._clock = clock
        self._loop = asyncio.get_running_loop()
        self._out: asyncio.Queue[View] = asyncio.Queue(_MOST_OUT)
        self._incoming: Incoming | None = None
        self._asked: dict[int, float] = {}
        self._rounds = 0
        self._dropped = asyncio.Event()
        self._why = ""
        self.gone = self.listened = False

    async def serve(self) -> None:
        """Until the phone goes, does what nobody may, or is revoked."""
        tasks = [
            asyncio.ensure_future(each())
            for each in (self._read, self._write, self._tick, self._dropped.wait)
        ]
        try:
            done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
            for each in done:
                error = each.exception()
                if isinstance(error, _Cut):
                    self._why = str(error)
                elif error is not None and not isinstance(
                    error, WebSocketDisconnect | RuntimeError
                ):
                    raise error
        finally:
            self.gone = True
            for each in tasks:
                each.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)
            if self._incoming is not None and self._incoming.by is self:
                self._incoming.by = None
            if self._socket.application_state is WebSocketState.CONNECTED:
                with suppress(RuntimeError, WebSocketDisconnect):
                    await self._socket.close(REFUSED if self._why else 1000, self._why[:100])

    def drop(self, why: str) -> None:
        """Close it, from this server's own thread."""
        self._why = why
        self._dropped.set()

    def soon(self, message: View) -> None:
        """Send a message, from whatever thread. Who does not read is cut off, and comes anew."""

        def put() -> None:
            try:
                self._out.put_nowait(message)
            except asyncio.QueueFull:
                self.drop("it does not read what is sent")

        with suppress(RuntimeError):  # the server is ending
            self._loop.call_soon_threadsafe(put)

    def instant(self, at_ms: float) -> datetime | None:
        """When the phone's clock showed that; None where that is not known, or cannot have been."""
        now = self.line._now()
        ahead = self._clock.at(now)
        if ahead is None or not -_OLDEST_S < at_ms / 1000 - ahead.seconds - now < _TO_COME_S:
            return None
        return instant_of(at_ms, ahead.seconds)

    # -- tasks --------------------------------------------------------------------------------------

    async def _write(self) -> None:
        while True:
            message = await self._out.get()
            await self._socket.send_text(json.dumps(message, ensure_ascii=False))

    async def _tick(self) -> None:
        """Asks for the clock, tells what is kept and what stands, and looks whether it may stay."""
        asked, seen = 0, -1
        told: tuple[Incoming | None, int] = (None, -1)
        next_ping = 0.0
        while True:
            now = time.monotonic()
            if self.line.book.phone(self.phone) is None:
                raise _Cut("this phone may come in no more")
            if now >= next_ping:
                quick = self._rounds < _ROUNDS_FIRST
                next_ping = now + (0.25 if quick else _PING_EVERY_S)
                asked += 1
                self._asked = {asked: self.line._now()}
                await self._out.put({"type": "ping", "n": asked})
            incoming = self._incoming
            if incoming is not None and told != (incoming, incoming.kept):
                told = (incoming, incoming.kept)
                message = {"type": "got", "stream": incoming.stream.id, "next": incoming.kept}
                await self._out.put(message)
            if seen != self.line._changed:
                changed = self.line._changed
                with suppress(FieldlogError):  # a record that cannot be read now is read again
                    await self._out.put({"type": "view", **await self.line.shed.view()})
                    seen = changed
            await asyncio.sleep(_TICK_S)

    async def _read(self) -> None:
        while True:
            message = await self._socket.receive()
            if message["type"] != "websocket.receive":
                return
            data, text = message.get("bytes"), message.get("text")
            if len(data or b"") > LARGEST or len(text or "") > LARGEST:
                raise _Cut("more than this takes")
            if data is not None:
                await self._frame(data)
            else:
                await self._message(text or "")

    async def _frame(self, data: bytes) -> None:
        incoming = self._incoming
        if incoming is None or incoming.by is not self:
            raise _Cut("sound without a stream")
        try:
            blocks = incoming.stream.blocks(read_frame(data))
        except BadFrame as error:
            raise _Cut(str(error)) from error
        # what came twice, or damaged, is an empty block: it says how far it is
        incoming.came(blocks or [Block(_NOTHING)])
        if incoming.keep is None:
            self.line.source.arrived()
        await self._hand_over(incoming)

    async def _hand_over(self, incoming: Incoming) -> None:
        """To the capture (where it is behind, the phone waits too), or into a recording of its own."""
        if incoming.keep is not None:
            try:
                await asyncio.to_thread(incoming.keeps, incoming.keep)
            except StoreError as error:
                raise _Cut(error.what) from error
        while incoming.behind:  # another line may have taken over whenever this one waits
            block, reached = incoming.behind[0]
            if self.line.source.put(block, incoming.taken(reached)):
                incoming.behind.popleft()
            elif self.line.source.stopped:
                raise _Cut("nobody listens any more")
            else:
                await asyncio.sleep(0.02)

    async def _message(self, text: str) -> None:
        try:
            said = json.loads(text)
        except (ValueError, RecursionError):
            said = None
        if not isinstance(said, dict):
            raise _Cut("no message")
        doing: Callable[[Mapping[str, Any]], Awaitable[None]] | None = {
            "pong": self._pong,
            "begin": self._begin,
            "end": self._end,
            "state": self._state,
            "lost": self._lost,
            "say": self._say,
        }.get(str(said.get("type")))
        if doing is None:
            raise _Cut("no message of this line")
        await doing(said)

    async def _pong(self, said: Mapping[str, Any]) -> None:
        n, got, replied = said.get("n"), said.get("got"), said.get("replied")
        if not (isinstance(n, int) and is_clock(got) and is_clock(replied)):
            raise _Cut("no answer about the clock")
        asked = self._asked.pop(n, None)
        if asked is None:
            return
        back = self.line._now()
        if self._clock.add(Round(asked, got / 1000, replied / 1000, back)):
            self._rounds += 1
        ahead = self._clock.at(back)
        if ahead is not None and self._rounds >= _ROUNDS_FIRST:
            told = {"ahead_s": round(ahead.seconds, 4), "within_s": round(ahead.uncertainty_s, 4)}
            await self._out.put({"type": "clock", **told})

    async def _begin(self, said: Mapping[str, Any]) -> None:
        incoming = self.line.stream_of(self, said)
        if incoming.keep is None and not self.line.may_speak(self, incoming):
            incoming.by = None
            await self._out.put({"type": "no", "what": OTHER_SPEAKS})
            return
        before = self._incoming
        if before is not None and before is not incoming and before.by is self:
            before.by = None
        self._incoming = incoming
        if incoming.keep is None:
            self.listened = True
            self.line.source.name = self.name
            self.line.source.begins()
        message = {"type": "resume", "stream": incoming.stream.id, "next": incoming.stream.next}
        await self._out.put(message)
        await self._hand_over(incoming)  # what was cut off by the end of the line before

    async def _end(self, said: Mapping[str, Any]) -> None:
        incoming = self._incoming
        if incoming is None or incoming.by is not self or said.get("stream") != incoming.stream.id:
            return
        self.listened = False
        incoming.over = True
        incoming.by = self._incoming = None
        if incoming.keep is None:
            incoming.came(incoming.stream.ended(whole=said.get("whole") is True))
            await self._hand_over(incoming)
            self.line.source.ends()

    async def _state(self, said: Mapping[str, Any]) -> None:
        full = said.get("full") is True
        if full is not (self.phone in self.line.full):
            self.line.full ^= {self.phone}
            self.line.shed.tell(f"{self.name} {NO_ROOM if full else 'has room again'}")
        if not self.listened:
            return
        if said.get("front") is False:
            self.line.source.away(HIDDEN)
        elif said.get("muted") is True or said.get("ended") is True:
            self.line.source.away(MUTED)
        else:
            self.line.source.here()

    async def _lost(self, said: Mapping[str, Any]) -> None:
        self.line.shed.tell(f"{self.name}: {LOST}")

    async def _say(self, said: Mapping[str, Any]) -> None:
        text, n, question = said.get("text"), str(said.get("n")), said.get("question")
        if not isinstance(text, str) or not 0 < len(text.strip()) <= _LONGEST_SAID or len(n) > 40:
            raise _Cut("no words")
        if said.get("inspection") not in (None, "", self.line.shed.inspection_id):
            told = "that was typed for another inspection, and is not taken into this one"
            await self._out.put({"type": "no", "n": n, "what": told})
            return
        if self.line.said.before(self.phone, n):
            await self._out.put({"type": "taken", "n": n})
            return
        try:
            await self.line.shed.say(text, question if isinstance(question, str) else None)
        except (
            Exception
        ) as error:  # whatever it was: nothing was taken, and whoever typed it is told
            self.line.said.forget(self.phone, n)
            known = isinstance(error, FieldlogError)
            what = str(error) if known else f"a fault of fieldlog itself: {type(error).__name__}"
            await self._out.put({"type": "no", "n": n, "what": what})
            return
        await self._out.put({"type": "taken", "n": n})
