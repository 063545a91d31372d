"""Nothing of the phone's server is reached without a pairing, nor by tricks with one: requests as an attacker sends them.

Over real TLS, checked against the authority with its name constraints, as a phone that installed it does.
"""

from __future__ import annotations

import asyncio
import hashlib
import json
import os
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import httpx2
import numpy as np
import pytest
from websockets.asyncio.client import ClientConnection, connect
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.typing import Origin

from fieldlog.audio.source import Block
from fieldlog.errors import StoreError
from fieldlog.proof import note
from fieldlog.serve.app import OneHand
from fieldlog.serve.phone.frames import write_frame
from fieldlog.serve.phone.line import NO_ROOM, OTHER_SPEAKS
from fieldlog.serve.phone.photos import MOST_ARRIVING
from fieldlog.serve.phone.shed import InspectionShed, LiveByOneHand
from fieldlog.shop.events import NotSaved
from fieldlog.shop.live import LiveInspection, Told
from fieldlog.shop.workshop import Workshop
from tests.phone_shed import PhoneShed, phone_shed, until
from tests.photo_files import jpeg_with

STREAM = "0123456789abcdef"


@pytest.fixture(scope="module")
def shed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PhoneShed]:
    folder = tmp_path_factory.mktemp("shed")
    with Workshop.open(folder / "record") as shop, phone_shed(folder, shop) as opened:
        yield opened


@pytest.fixture
def client(shed: PhoneShed) -> Iterator[httpx2.Client]:
    """A browser without anything, which believes the authority."""
    trust = ssl.create_default_context(cafile=str(shed.desk.place.certified.authority))
    with httpx2.Client(verify=trust, base_url=origin(shed)) as opened:
        yield opened


@pytest.fixture
def paired(shed: PhoneShed, client: httpx2.Client) -> httpx2.Client:
    """The same, paired."""
    pair(shed, client)
    return client


def pair(shed: PhoneShed, client: httpx2.Client) -> str:
    code = shed.desk.pairing.offer()
    asked = post(client, "/phone/knock", {"code": code, "name": "test"}).json()
    assert shed.desk.pairing.allow(asked["digits"])
    entered = post(client, "/phone/enter", {"ticket": asked["ticket"]})
    assert entered.status_code == 200
    kept = note.parse(entered.json()["checkpoint"])  # a witness outside the machine
    assert kept is not None
    assert kept.one("for") == "pairing"
    assert kept.is_signed
    told: dict[str, str] = client.get("/session").json()
    client.headers["x-fieldlog-token"] = told["token"]
    return told["name"]


def origin(shed: PhoneShed) -> str:
    return f"https://{shed.desk.place.hosts[0]}"


def post(client: httpx2.Client, path: str, what: object, **headers: str) -> httpx2.Response:
    told = {"origin": str(client.base_url).rstrip("/"), **headers}
    return client.post(path, content=json.dumps(what), headers=told)


def put(client: httpx2.Client, sha256: str, data: bytes, **asked: Any) -> httpx2.Response:
    told = {"origin": str(client.base_url).rstrip("/")}
    return client.put(f"/phone/media/{sha256}", params=asked, content=data, headers=told)


class Line:
    """A WebSocket that is driven step by step, in this thread alone."""

    def __init__(self, loop: asyncio.AbstractEventLoop, socket: ClientConnection) -> None:
        self._loop, self._socket = loop, socket

    def send(self, message: str | bytes) -> None:
        with suppress(ConnectionClosed):
            self._loop.run_until_complete(self._socket.send(message))

    def recv(self) -> dict[str, Any]:
        told = self._loop.run_until_complete(asyncio.wait_for(self._socket.recv(), 10))
        said: dict[str, Any] = json.loads(told)
        return said

    def closed(self) -> tuple[int, str]:
        """Code and reason with which the other side closes it, after whatever it tells before."""
        try:
            while True:
                self.recv()
        except ConnectionClosed as over:
            return (over.rcvd.code, over.rcvd.reason) if over.rcvd else (0, "")


@contextmanager
def line(
    shed: PhoneShed, client: httpx2.Client, origin_told: str | None = "own", run: str = "abcd"
) -> Iterator[Line]:
    trust = ssl.create_default_context(cafile=str(shed.desk.place.certified.authority))
    cookie = "; ".join(f"{name}={value}" for name, value in client.cookies.items())
    told = origin(shed) if origin_told == "own" else origin_told
    loop = asyncio.new_event_loop()
    opening = connect(
        f"wss://{shed.desk.place.hosts[0]}/phone/line?run={run}",
        ssl=trust,
        origin=None if told is None else Origin(told),
        additional_headers={"Cookie": cookie} if cookie else {},
        proxy=None,
    )

    async def opened() -> ClientConnection:
        return await opening

    try:
        socket = loop.run_until_complete(opened())
        try:
            yield Line(loop, socket)
        finally:
            loop.run_until_complete(socket.close())
    finally:
        loop.close()


def refused(shed: PhoneShed, client: httpx2.Client, origin_told: str | None = "own") -> int:
    with pytest.raises(InvalidStatus) as told, line(shed, client, origin_told):
        pass
    return int(told.value.response.status_code)


def begin(shed: PhoneShed, **more: object) -> str:
    said = {"type": "begin", "stream": STREAM, "rate": 16_000, "oldest": 0}
    return json.dumps({**said, "inspection": shed.inspecting.head.id, "settings": {}, **more})


# 1 -- without a pairing


def test_without_a_pairing_there_is_the_empty_page_and_nothing_else(
    shed: PhoneShed, client: httpx2.Client
) -> None:
    page = client.get("/phone/")
    assert page.status_code == 200
    assert "default-src 'none'" in page.headers["content-security-policy"]
    assert shed.inspecting.head.id not in page.text
    for path in ("/session", "/phone/authority.crt", f"/phone/media/{'0' * 64}"):
        assert client.get(path).status_code == 401, path
    assert put(client, "0" * 64, b"x", offset=0, size=1).status_code == 401
    assert refused(shed, client) == 403


# 2 -- DNS rebinding


@pytest.mark.parametrize("host", ["evil.example", "evil.example:47911", "127.0.0.1", ""])
def test_another_name_in_host_is_refused(shed: PhoneShed, paired: httpx2.Client, host: str) -> None:
    assert paired.get("/session", headers={"host": host}).status_code in {400, 421}


# 3 -- another site's page on the WebSocket


@pytest.mark.parametrize("foreign", ["https://evil.example", "null", "http://127.0.0.1"])
def test_another_origin_opens_no_line(shed: PhoneShed, paired: httpx2.Client, foreign: str) -> None:
    assert refused(shed, paired, foreign) == 403


def test_a_line_without_an_origin_is_refused(shed: PhoneShed, paired: httpx2.Client) -> None:
    assert refused(shed, paired, None) == 403


# 4 -- another site's form


def test_a_change_from_another_site_is_refused(shed: PhoneShed, paired: httpx2.Client) -> None:
    for path in ("/phone/knock", "/phone/enter"):
        assert post(paired, path, {}, origin="https://evil.example").status_code == 403
    name = "0" * 64
    foreign = {"origin": "https://evil.example"}
    assert paired.put(f"/phone/media/{name}", content=b"x", headers=foreign).status_code == 403
    cross = {"origin": origin(shed), "sec-fetch-site": "cross-site"}
    assert paired.put(f"/phone/media/{name}", content=b"x", headers=cross).status_code == 403
    del paired.headers["x-fieldlog-token"]
    assert put(paired, name, b"x", offset=0, size=1).status_code == 403


# 5 -- a line before the yes on this machine


def test_whoever_waits_for_the_yes_is_not_in(shed: PhoneShed, client: httpx2.Client) -> None:
    code = shed.desk.pairing.offer()
    asked = post(client, "/phone/knock", {"code": code, "name": "early"}).json()
    assert post(client, "/phone/enter", {"ticket": asked["ticket"]}).status_code == 202
    assert refused(shed, client) == 403
    assert client.get("/session").status_code == 401
    shed.desk.pairing.turn_down()
    assert post(client, "/phone/enter", {"ticket": asked["ticket"]}).status_code == 410


# 6, 7 -- a code used again, one out of date, guesses


def test_a_code_opens_once_and_guesses_are_limited(
    shed: PhoneShed, client: httpx2.Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    code = shed.desk.pairing.offer()
    assert post(client, "/phone/knock", {"code": code, "name": "a"}).status_code == 200
    assert post(client, "/phone/knock", {"code": code, "name": "b"}).status_code == 403
    late = shed.desk.pairing.offer()
    before = shed.desk.pairing._now
    monkeypatch.setattr(shed.desk.pairing, "_now", lambda: before() + 121)
    assert post(client, "/phone/knock", {"code": late, "name": "c"}).status_code == 403
    answers = [
        post(client, "/phone/knock", {"code": f"{n:04}", "name": "d"}).status_code
        for n in range(25)
    ]
    assert answers[-1] == 429
    assert answers.count(403) < 25
    shed.desk.pairing._wrong.clear()


@pytest.mark.parametrize(
    "body", [b"[" * 1000, b"", b"[]", b"{", b'{"code": 7}', b"\xff\xfe", b'"x"']
)
def test_what_is_no_request_opens_nothing(client: httpx2.Client, body: bytes) -> None:
    told = {"origin": str(client.base_url).rstrip("/")}
    assert client.post("/phone/knock", content=body, headers=told).status_code == 403
    assert client.post("/phone/enter", content=body, headers=told).status_code == 410


# 8 -- too much


def test_bodies_and_messages_have_bounds(shed: PhoneShed, paired: httpx2.Client) -> None:
    assert put(paired, "0" * 64, bytes(300_000), offset=0, size=300_000).status_code == 413
    assert put(paired, "0" * 64, b"x", offset=0, size=10**11).status_code == 413
    assert post(paired, "/phone/knock", {"code": "x" * 5000}).status_code == 413
    with line(shed, paired) as socket:
        socket.send(bytes(70_000))
        assert socket.closed()[0] == 1009


# 9 -- paths


@pytest.mark.parametrize(
    "name",
    [
        "..%2f..%2ffieldlog.db",
        "../../etc/passwd",
        "%2e%2e/x",
        "A" * 64,
        "0" * 63,
        "0" * 64 + ".part",
    ],
)
def test_no_path_leads_out_of_the_folder(shed: PhoneShed, paired: httpx2.Client, name: str) -> None:
    assert paired.get(f"/phone/media/{name}").status_code == 404
    assert put(paired, name, b"x", offset=0, size=1).status_code == 404
    assert paired.get(f"/page/phone/{name}").status_code == 404
    assert not (shed.shop.store.folder / "from-phone").exists()


# 10 -- ranges and offsets


def test_ranges_and_offsets_that_cannot_be(shed: PhoneShed, paired: httpx2.Client) -> None:
    many = {"range": "bytes=" + ",".join(f"{n}-{n}" for n in range(5000))}
    answer = paired.get("/page/phone/app.js", headers=many)
    assert answer.status_code in {200, 400, 416, 431}
    name = "1" * 64
    for asked in (
        {"offset": 5, "size": 4},
        {"offset": 0, "size": 0},
        {"offset": -1, "size": 4},
        {"offset": "1e3", "size": 4},
        {"offset": "9" * 400, "size": 4},
        {},
    ):
        assert put(paired, name, b"abcd", **asked).status_code in {400, 413}, asked
    assert put(paired, name, b"abcd", offset=7, size=400).status_code == 409
    wrong = put(paired, name, b"abcd", offset=0, size=4, inspection=shed.inspecting.head.id)
    assert wrong.status_code == 422, "the bytes are not what their name says"
    text = b"no photo at all"
    named = hashlib.sha256(text).hexdigest()
    last = put(
        paired,
        named,
        text,
        offset=0,
        size=len(text),
        inspection=shed.inspecting.head.id,
        run="abcd",
    )
    assert last.status_code == 415
    elsewhere = put(paired, named, text, offset=0, size=len(text), inspection="nowhere", run="abcd")
    assert elsewhere.status_code in {404, 415}
    assert not shed.inspecting.record.photos


# 11 -- sound that cannot be


def frame(sequence: int, first: float) -> bytes:
    return write_frame(sequence, first, 1_000.0, np.zeros(1600, np.int16))


@pytest.mark.parametrize(
    "sent",
    [
        [frame(0, 0)],
        ["{}"],
        ["not json"],
        ["[1]"],
        ['{"type": "begin"}'],
        ['{"type": "pong", "n": [1], "got": NaN, "replied": 1e999}'],
        ['{"type": "say", "text": ""}'],
        ['{"type": "say", "text": {"a": 1}}'],
        ['{"type": "constructor"}'],
        ["BEGIN", b"\0" * 100],
        ["BEGIN", frame(0, 3200), frame(1, 0)],
        [{"rate": 3}],
        [{"rate": True}],
        [{"oldest": -1}],
        [{"stream": "../../x"}],
    ],
)
def test_what_cannot_be_closes_the_line(
    shed: PhoneShed, paired: httpx2.Client, sent: list[Any]
) -> None:
    with line(shed, paired) as socket:
        for one in sent:
            if isinstance(one, dict):
                one = begin(shed, **one)
            socket.send(begin(shed, stream=hex(id(sent))[2:].zfill(16)) if one == "BEGIN" else one)
        assert socket.closed()[0] == 1008
    assert not shed.inspecting.record.findings


# 12 -- a revoked phone


def test_a_revoked_phone_is_cut_off_and_stays_out(shed: PhoneShed, client: httpx2.Client) -> None:
    phone = pair(shed, client)
    with line(shed, client) as socket:
        assert socket.recv()["type"] in {"ping", "view"}
        shed.desk.book.revoke(phone)
        assert "no more" in socket.closed()[1]
    assert client.get("/session").status_code == 401
    assert refused(shed, client) == 403


# and what is allowed


def test_the_same_photo_twice_is_there_once_and_goes_on_after_a_cut(
    shed: PhoneShed, paired: httpx2.Client
) -> None:
    data = jpeg_with(b"")
    name, half = hashlib.sha256(data).hexdigest(), len(data) // 2
    asked: dict[str, str | int] = {
        "size": len(data),
        "inspection": shed.inspecting.head.id,
        "run": "abcd",
    }
    first = put(paired, name, data[:half], offset=0, **asked).json()
    assert first == {"sha256": name, "have": half, "whole": False}
    assert paired.get(f"/phone/media/{name}", params=asked).json()["have"] == half
    assert put(paired, name, data[:half], offset=0, **asked).status_code == 409
    for _ in range(2):
        last = put(paired, name, data[half:], offset=half, **asked).json()
        assert last["whole"]
        assert last["sha256"] == name
    assert len(shed.inspecting.record.photos) == 1
    assert paired.get(f"/phone/media/{name}", params=asked).json()["whole"]


def test_a_photo_whose_clock_could_not_be_saved_is_tried_again(
    shed: PhoneShed, paired: httpx2.Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = jpeg_with(b"of a full disk")
    name, calls = hashlib.sha256(data).hexdigest(), []

    def placed(*_: object) -> None:
        if threading.current_thread().name == "placing":  # of a photo of another test
            return
        calls.append(name)
        if len(calls) == 1:
            raise StoreError("the disk is full")

    monkeypatch.setattr("fieldlog.serve.phone.photos.place_photos", placed)
    asked = {"inspection": shed.inspecting.head.id, "run": "abcd", "size": len(data)}
    first = put(paired, name, data, offset=0, **asked)
    have = len(data) - 1
    assert (first.status_code, first.json()["have"]) == (503, have)
    assert put(paired, name, data[have:], offset=have, **asked).json()["whole"]
    assert calls == [name, name]


def test_sound_of_another_inspection_is_kept_and_not_heard(
    shed: PhoneShed, paired: httpx2.Client
) -> None:
    with line(shed, paired) as socket:
        socket.send(begin(shed, stream="feed" * 4, inspection="some other"))
        for n in range(10):
            socket.send(write_frame(n, n * 1600, 1e12, np.full(1600, 99, np.int16)))
        assert until(lambda: shed.lines and "is not heard" in shed.lines[-1])
    told = shed.lines[-1]
    assert "is not heard into this one" in told
    assert Path(told.split(" kept as ")[1].split("; hear")[0]).name.startswith("stream-")


def test_sound_that_a_full_disk_refused_is_kept_when_the_line_comes_anew(
    shed: PhoneShed, paired: httpx2.Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    written: list[int] = []
    full = [True]

    def keeps(block: Block) -> None:
        if not len(block.samples):
            return
        if full[0] and written:
            raise StoreError("the disk is full")
        written.append(round(float(block.samples[-1]) * 32768))

    monkeypatch.setattr(InspectionShed, "elsewhere", lambda self, stream, inspection: keeps)
    frames = [write_frame(n, n * 1600, 1e12, np.full(1600, 100 + n, np.int16)) for n in range(4)]
    asked = begin(shed, stream="cafe" * 4, inspection="some other")
    with line(shed, paired) as socket:
        socket.send(asked)
        for each in frames[:2]:
            socket.send(each)
        assert socket.closed()[1] == "the disk is full"
    full[0] = False
    with line(shed, paired) as socket:
        socket.send(asked)
        while (told := socket.recv())["type"] != "resume":
            pass
        for each in frames[told["next"] :]:
            socket.send(each)
        assert until(lambda: written and written[-1] == 103)
    assert written == [100, 101, 102, 103]


def until_told(socket: Line, *kinds: str) -> dict[str, Any]:
    while (told := socket.recv())["type"] not in kinds:
        pass
    return told


def test_two_phones_are_heard_in_turn_and_both_are_told_that_one_waits(
    shed: PhoneShed, paired: httpx2.Client
) -> None:
    trust = ssl.create_default_context(cafile=str(shed.desk.place.certified.authority))
    frames = [write_frame(n, n * 1600, 1e12, np.full(1600, 9, np.int16)) for n in range(4)]
    asked = {"inspection": shed.inspecting.head.id, "run": "abcd"}
    with httpx2.Client(verify=trust, base_url=origin(shed)) as second:
        pair(shed, second)
        with line(shed, paired) as one, line(shed, second) as other:
            one.send(begin(shed, stream="aa" * 8))
            until_told(one, "resume")
            before = len(shed.lines)
            for _ in range(2):  # it asks again and again; this machine is told once
                other.send(begin(shed, stream="bb" * 8))
                assert until_told(other, "no")["what"] == OTHER_SPEAKS
            (told,) = shed.lines[before:]
            assert "it keeps its sound" in told
            for client in (paired, second):  # photos come from both
                data = jpeg_with(os.urandom(8))
                name = hashlib.sha256(data).hexdigest()
                assert put(client, name, data, offset=0, size=len(data), **asked).json()["whole"]
            one.send(frames[0])
            one.send(json.dumps({"type": "end", "stream": "aa" * 8, "whole": True}))
            other.send(begin(shed, stream="bb" * 8))
            assert until_told(other, "resume", "no")["type"] == "resume"
            for each in frames:
                other.send(each)
            while until_told(other, "got")["next"] < len(frames):
                pass
            one.send(begin(shed, stream="cc" * 8))
            assert until_told(one, "no")["what"] == OTHER_SPEAKS


def test_a_phone_and_this_machine_tell_each_other_of_a_full_disk(
    shed: PhoneShed, paired: httpx2.Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    with line(shed, paired) as socket:
        until_told(socket, "view")
        before = len(shed.lines)
        for full in (True, True, False):
            socket.send(json.dumps({"type": "state", "full": full}))
        assert until(lambda: len(shed.lines) == before + 2)
        assert NO_ROOM in shed.lines[before]
        assert "has room again" in shed.lines[before + 1]

        fault = NotSaved("horn works", 1, StoreError("the disk is full"))
        spoken: Any = object()
        unsaved = (Told(spoken, (fault,)),)
        monkeypatch.setattr(LiveInspection, "spoken", lambda self, spoken: unsaved)
        hand = OneHand(shed.shop)
        live = LiveByOneHand(shed.inspecting, hand, shed.desk.tell)
        assert live.spoken(spoken) == unsaved
        hand.close()
        (shown,) = until_told(socket, "told")["lines"]
        assert shown["kind"] == "NOT SAVED YET"


def test_that_photos_wait_for_room_is_told_once(
    shed: PhoneShed, paired: httpx2.Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = jpeg_with(b"no room")
    asked = {"inspection": shed.inspecting.head.id, "run": "abcd", "size": len(data)}
    name, before, have = hashlib.sha256(data).hexdigest(), len(shed.lines), 0

    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr("fieldlog.serve.phone.photos.os.fsync", full)
        for _ in range(2):
            answer = put(paired, name, data[have : have + 9], offset=have, **asked)
            assert answer.status_code == 503
            have = answer.json()["have"]
    assert [each for each in shed.lines[before:] if "a photo waits" in each] == shed.lines[before:]
    assert len(shed.lines) == before + 1
    assert put(paired, name, data[have:], offset=have, **asked).json()["whole"]


def test_of_too_many_half_photos_the_oldest_goes(shed: PhoneShed, paired: httpx2.Client) -> None:
    folder = shed.shop.store.folder / "from-phone"
    folder.mkdir(exist_ok=True)
    for n in range(MOST_ARRIVING):
        old = folder / f"{n:064x}.part"
        old.write_bytes(b"x")
        os.utime(old, (n, n))
    name = "e" * 64
    asked = {"inspection": shed.inspecting.head.id, "run": "abcd"}
    assert put(paired, name, b"ab", offset=0, size=9, **asked).json()["have"] == 2
    assert not (folder / f"{0:064x}.part").exists()
    assert paired.get(f"/phone/media/{1:064x}", params=asked).json()["have"] == 1
    assert paired.get(f"/phone/media/{0:064x}", params=asked).json()["have"] == 0


def test_words_typed_for_another_inspection_are_not_taken(
    shed: PhoneShed, paired: httpx2.Client
) -> None:
    before = len(shed.inspecting.record.utterances)
    said = {"type": "say", "n": "0b", "text": "horn works", "inspection": "another"}
    with line(shed, paired) as socket:
        socket.send(json.dumps(said))
        while (told := socket.recv())["type"] != "no":
            pass
    assert "another inspection" in told["what"]
    assert len(shed.inspecting.record.utterances) == before


def test_words_sent_again_after_a_cut_count_once(shed: PhoneShed, paired: httpx2.Client) -> None:
    said = json.dumps({"type": "say", "n": "0a", "text": "left mirror cracked"})
    for _ in range(2):
        with line(shed, paired) as socket:
            socket.send(said)
            while socket.recv()["type"] != "taken":
                pass
    found = [each.finding.component for each in shed.inspecting.record.findings]
    assert found == ["mirror"]
