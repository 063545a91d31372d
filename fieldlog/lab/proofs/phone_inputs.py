"""Hostile requests and messages at the phone's doors, from a phone that was let in."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from fieldlog.lab.proofs.inputs import NEXT, TEXT, Campaign, Make, asked, write
from fieldlog.lab.proofs.shops import ticking
from fieldlog.language.files import load_language

if TYPE_CHECKING:
    from starlette.testclient import TestClient

_HOST = "127.0.0.1:8765"
_SHA = b"0" * 64


@contextmanager
def _phone(
    folder: Path, text: Callable[[], str] = str
) -> Iterator[tuple[TestClient, dict[str, str]]]:
    """A phone that is in, and the headers of its page."""
    from starlette.testclient import TestClient

    from fieldlog.serve.app import OneHand, build, cookie_name
    from fieldlog.serve.guard import TOKEN
    from fieldlog.serve.keys import Keys
    from fieldlog.serve.phone.book import PhoneBook
    from fieldlog.serve.phone.face import PhoneDoor, phone_face
    from fieldlog.serve.phone.line import PhoneLine
    from fieldlog.serve.phone.pairing import Pairing
    from fieldlog.serve.phone.photos import PhonePhotos
    from fieldlog.serve.phone.shed import InspectionShed
    from fieldlog.serve.phone.source import PhoneSource
    from fieldlog.shop.workshop import Workshop

    with Workshop.open(folder / "shop", now=ticking()) as shop:
        hand, pairing = OneHand(shop), Pairing(time.monotonic)
        book, source = PhoneBook(folder / "phones"), PhoneSource()
        shed = InspectionShed(hand, shop.inspecting("1"), folder / "streams", lambda told: None)
        line = PhoneLine(source, book, shed, now=time.time)
        photos = PhonePhotos(shop.store, line.ahead, imported=lambda media: None)
        cookie = cookie_name(8765, secure=True)
        door = PhoneDoor(pairing, book, cookie, lambda knock: None, text)
        face = phone_face(door, line, photos, folder / "out")
        app = build([face], Keys(time.monotonic), hosts=(_HOST,), secure=True)
        ours = {"origin": f"https://{_HOST}", "sec-fetch-site": "same-origin"}
        with TestClient(app, base_url=f"https://{_HOST}", raise_server_exceptions=False) as client:
            told = {"code": pairing.offer(), "name": "test"}
            knock = client.post("/phone/knock", json=told, headers=ours).json()
            pairing.allow(knock["digits"])
            client.post("/phone/enter", json={"ticket": knock["ticket"]}, headers=ours)
            ours[TOKEN] = client.get("/session").json()["token"]
            yield client, ours
        shed.close()
        hand.close()


def phone_requests(folder: Path) -> Campaign:
    """What goes over the phone's HTTP entrances."""
    load_language()  # once, not in every case

    def run(path: Path) -> None:
        with _phone(folder) as (client, ours):
            for told in path.read_bytes().split(NEXT)[:20]:
                line, _, body = told.partition(b"\n")
                method, _, address = line.decode("latin-1").partition(" ")
                asked(client, method, address, body, ours)

    media = b"PUT /phone/media/" + _SHA + b"?offset=0&size=9&inspection=1&run=abcd\n"
    seeds = (
        b'POST /phone/knock\n{"code": "x", "name": "a phone"}' + NEXT
        + b'POST /phone/enter\n{"ticket": "x"}' + NEXT + b"GET /session\n",
        media + b"\xff\xd8\xff\xe0 JFIF" + NEXT
        + b"GET /phone/media/" + _SHA + b"?inspection=1\n",
        b"GET /phone/\n" + NEXT + b"GET /phone/worker.js\n" + NEXT + b"GET /phone/app.webmanifest\n",
    )  # fmt: skip
    special: dict[str, Make] = {
        "a code of brackets": write(b"POST /phone/knock\n" + b"[" * 1000),
        "a body too large": write(b"POST /phone/knock\n" + b"a" * 100_000),
        "a piece too large": write(media + b"a" * 9_000_000),
        "an offset of 10,000 digits": write(media.replace(b"offset=0", b"offset=" + b"9" * 10_000)),
        "a way out of the folder": write(b"PUT /phone/media/..%2f..%2fx?offset=0&size=1&run=ab\nx"),
        "control sequences": write(b'POST /phone/knock\n{"code": "\\u0000", "name": "\\u001b[2J"}'),
    }
    return Campaign(
        "phone", "the phone's HTTP (10 requests a case)", "a.txt", seeds, run, special,
        (*TEXT, NEXT), share=10,
    )  # fmt: skip


def phone_messages(folder: Path) -> Campaign:
    """What goes over the phone's WebSocket."""
    from starlette.websockets import WebSocketDisconnect

    from fieldlog.serve.phone.frames import write_frame
    from fieldlog.serve.phone.line import REFUSED

    load_language()

    def run(path: Path) -> None:
        with _phone(folder) as (client, ours):
            try:
                with client.websocket_connect("/phone/line", headers=ours) as socket:
                    for told in path.read_bytes().split(NEXT)[:40]:
                        if told.startswith((b"FLP1", b"\0")):
                            socket.send_bytes(told[: 1 << 16])
                        else:
                            socket.send_text(told[: 1 << 16].decode("utf-8", "replace"))
                    socket.send_text("[]")  # no message: who sends it is cut off
                    while True:
                        socket.receive_json()
            except WebSocketDisconnect as over:
                if over.code not in (REFUSED, 1009):
                    raise AssertionError(f"the line ended with {over.code}") from None

    begin = b'{"type": "begin", "stream": "0123456789abcdef", "rate": 16000, "oldest": 0, "inspection": "1", "settings": {}}'
    frames = [
        write_frame(n, 1600.0 * n, 1e12 + 100 * n, np.zeros(1600, np.int16)) for n in range(3)
    ]
    seeds = (
        NEXT.join((begin, *frames, b'{"type": "end", "stream": "0123456789abcdef", "whole": true}')),
        NEXT.join((
            b'{"type": "pong", "n": 1, "got": 1000.0, "replied": 1001.0}',
            b'{"type": "state", "front": true, "muted": false, "gone": false, "only": {}}',
            b'{"type": "say", "n": 1, "text": "horn dead", "inspection": "1", "question": null}',
        )),
    )  # fmt: skip
    special: dict[str, Make] = {
        "frames before a stream": write(NEXT.join(frames)),
        "nested brackets": write(b"[" * 60_000),
        "a frame of nothing": write(NEXT.join((begin, b"FLP1" + bytes(28)))),
        "a sum that is wrong": write(NEXT.join((begin, frames[0][:-1] + b"\1", frames[1]))),
        "a count that is no number": write(begin.replace(b'"oldest": 0', b'"oldest": NaN')),
        "words of 60,000 letters": write(
            b'{"type": "say", "n": 1, "text": "' + b"a" * 60_000 + b'", "inspection": "1"}'
        ),
    }
    return Campaign(
        "line", "the phone's WebSocket (10 messages a case)", "a.bin", seeds, run, special,
        (*TEXT, NEXT), share=10,
    )  # fmt: skip
