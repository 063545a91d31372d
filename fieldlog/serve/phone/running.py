"""The phone's server beside a live inspection: certificate, address, face, and the source that it feeds."""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from fieldlog.errors import FieldlogError, UsageError
from fieldlog.serve.app import Face, OneHand, build, cookie_name
from fieldlog.serve.keys import Keys
from fieldlog.serve.phone.book import PhoneBook
from fieldlog.serve.phone.certificate import Certified, certify, own_addresses
from fieldlog.serve.phone.face import PAGE, PhoneDoor, phone_face
from fieldlog.serve.phone.line import PhoneLine
from fieldlog.serve.phone.pairing import Knock, Pairing
from fieldlog.serve.phone.photos import PhonePhotos
from fieldlog.serve.phone.shed import InspectionShed
from fieldlog.serve.phone.source import PhoneSource
from fieldlog.serve.phone.view import happened
from fieldlog.serve.run import LOOPBACK, bound, port_of, running
from fieldlog.shop import events as ev
from fieldlog.shop import witness
from fieldlog.shop.events import Event
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.workshop import Workshop

PORT = 47_911
"""The same every time, because what a phone keeps belongs to name and port (common practice: one that
nothing else is known to use)."""
_ANOTHER_PORT = (
    "end the fieldlog or program that has it, or name another with --port: what a phone kept for this "
    "one it sends only here"
)
_PLACE_AFTER_S = 2.0
"""Photos are put to findings anew when nothing more was said for so long."""


@dataclass(frozen=True, slots=True)
class PhonePlace:
    """Where the server is: its socket listens already."""

    listening: socket.socket
    address: str
    certified: Certified

    @property
    def hosts(self) -> tuple[str, ...]:
        """What a browser may call it."""
        port = port_of(self.listening)
        names = [self.address, *(["localhost"] if self.address == LOOPBACK else [])]
        return tuple(f"{name}:{port}" for name in names)

    @property
    def url(self) -> str:
        """Of the phone's page."""
        return f"https://{self.hosts[0]}{PAGE}"


def place_for(keys: Path, network: str | None, port: int = PORT) -> PhonePlace:
    """A certified place to listen at. ``network``: None: this machine alone; ``auto`` or an address.

    Raises ``UsageError`` where there is no such address, or the port is taken.
    """
    address = LOOPBACK
    if network == "auto":
        found = own_addresses()
        if not found:
            raise UsageError(
                "this machine has no address in a private network",
                where="--network",
                todo="join the workshop's network, or name the address: --network 192.168.1.20",
            )
        address = found[0]
    elif network is not None:
        address = network
    certified = certify(keys, [address], ["localhost"], datetime.now(UTC))
    return PhonePlace(bound(address, port, todo=_ANOTHER_PORT), address, certified)


@dataclass(frozen=True, slots=True)
class PhoneDesk:
    """What whoever is at this machine does about phones."""

    place: PhonePlace
    pairing: Pairing
    book: PhoneBook
    source: PhoneSource
    tell: Callable[[Sequence[Event]], None]
    """Every phone of what happened and is not in the record."""

    def invite(self) -> str:
        """The address for a new phone, with a code that lasts two minutes; older codes are closed."""
        return f"{self.place.url}#{self.pairing.offer()}"


def _checkpoint(hand: OneHand) -> str:
    """What a phone that was just let in keeps: a witness outside the machine. It never keeps the phone out."""

    def made(shop: Workshop) -> str:
        one = witness.checkpoint(shop.store, "pairing", shop.now())
        witness.handed_out(shop.store, one)
        return one.text

    try:
        return hand.now(made)
    except FieldlogError:
        return ""


@contextmanager
def phone_serving(
    place: PhonePlace,
    keys: Path,
    hand: OneHand,
    inspecting: Inspecting,
    source: PhoneSource,
    *,
    streams: Path,
    notify: Callable[[str], None],
    knocked: Callable[[Knock], None],
    more: Sequence[Face] = (),
    now: Callable[[], float] = time.time,
) -> Iterator[PhoneDesk]:
    """Serve the phone's page while the block lasts.

    ``notify``: a line for whoever is at this machine; ``knocked``: a phone asks to come in; ``more``:
    other faces beside this one; ``now``: the session clock, seconds since 1970.
    """
    pairing, book = Pairing(time.monotonic), PhoneBook(keys)
    shed = InspectionShed(hand, inspecting, streams, notify)
    line = PhoneLine(source, book, shed, now=now)
    placing = _Placing(notify)

    def imported(media: str) -> None:
        line.changed()
        placing.wanted()

    photos = PhonePhotos(hand.workshop.store, line.ahead, imported=imported, notify=notify)
    placing.place = lambda: photos.place(inspecting.head.id)

    def told(event: Event) -> None:
        line.told(happened((event,)))
        if isinstance(event, ev.FindingSaved | ev.FindingCorrected | ev.Marked):
            placing.wanted()

    inspecting.subscribe(told)
    cookie = cookie_name(port_of(place.listening), secure=True)
    door = PhoneDoor(pairing, book, cookie, knocked, lambda: _checkpoint(hand))
    face = phone_face(door, line, photos, place.certified.authority)
    app = build([face, *more], Keys(time.monotonic), hosts=place.hosts, secure=True)
    certified = place.certified
    with (
        placing.going_on(),
        running(app, place.listening, certificate=certified.certificate, key=certified.key),
    ):
        try:
            yield PhoneDesk(
                place, pairing, book, source, lambda events: line.told(happened(events))
            )
        finally:
            shed.close()


class _Placing:
    """Puts photos to findings a little after the last of either came, in a thread of its own."""

    def __init__(self, notify: Callable[[str], None]) -> None:
        self._notify = notify
        self._wanted = threading.Event()
        self._over = threading.Event()
        self._photos = False
        self.place: Callable[[], None] = lambda: None

    def wanted(self) -> None:
        self._wanted.set()

    @contextmanager
    def going_on(self) -> Iterator[None]:
        thread = threading.Thread(target=self._run, name="placing", daemon=True)
        thread.start()
        try:
            yield
        finally:
            self._over.set()
            self._wanted.set()
            thread.join(30)

    def _run(self) -> None:
        while True:
            self._wanted.wait()
            over = self._over.is_set()
            while not over and self._wanted.is_set():
                self._wanted.clear()
                over = self._over.wait(_PLACE_AFTER_S)
            try:
                self.place()
            except Exception as error:  # whatever it was: the next photo is placed all the same
                known = isinstance(error, FieldlogError)
                why = error if known else f"a fault of fieldlog itself: {type(error).__name__}"
                with contextlib.suppress(Exception):
                    self._notify(f"photos are not put to their findings yet: {why}")
            if over:
                return
