"""Nobody gets past the guard whom it does not let: host, origin, size, session, token."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any
from unittest.mock import Mock

import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.testclient import TestClient
from starlette.types import ASGIApp
from starlette.websockets import WebSocket, WebSocketDisconnect
from uvicorn.protocols.websockets.websockets_sansio_impl import WebSocketsSansIOProtocol
from websockets.protocol import CLOSING

from fieldlog.errors import StoreError, UsageError
from fieldlog.serve.app import Entrance, Face, build
from fieldlog.serve.guard import NO_MARKUP, POLICY, TOKEN
from fieldlog.serve.keys import CODE_LASTS_S, SESSION_LASTS_S, Keys, Trust
from fieldlog.serve.phone.running import place_for
from fieldlog.serve.run import bound, own_hosts, port_of, running, server_of

HOST = "127.0.0.1:8765"
TALK = f"ws://{HOST}/talk"
OURS = {"host": HOST, "origin": f"http://{HOST}"}


class Clock:
    at = 100.0

    def __call__(self) -> float:
        return self.at


class Seen:
    """What came through to the entrances behind the guard."""

    def __init__(self) -> None:
        self.bodies: list[bytes] = []

    async def take(self, request: Request) -> Response:
        self.bodies.append(await request.body())
        return PlainTextResponse("taken")

    async def look(self, request: Request) -> Response:
        return PlainTextResponse("seen")

    async def strict(self, request: Request) -> Response:
        return PlainTextResponse("x", headers={"content-security-policy": NO_MARKUP})

    async def lax(self, request: Request) -> Response:
        return PlainTextResponse("x", headers={"content-security-policy": "default-src *"})

    async def full(self, request: Request) -> Response:
        raise StoreError("the disk is full")

    async def odd(self, request: Request) -> Response:
        raise UsageError("no such finding")

    async def broken(self, request: Request) -> Response:
        raise RuntimeError("secret of the inside")

    async def talk(self, opened: WebSocket) -> None:
        await opened.accept()
        await opened.send_text("hello")
        await opened.close()


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def keys(clock: Clock) -> Keys:
    return Keys(clock)


@pytest.fixture
def seen() -> Seen:
    return Seen()


@pytest.fixture
def app(keys: Keys, seen: Seen) -> ASGIApp:
    entrances = (
        Entrance("/take", seen.take, Trust.DESK, ("POST",), largest=10),
        Entrance("/look", seen.look, Trust.DESK),
        Entrance("/phone", seen.look, Trust.DEVICE),
        Entrance("/strict", seen.strict, Trust.NOBODY),
        Entrance("/lax", seen.lax, Trust.NOBODY),
        Entrance("/full", seen.full, Trust.NOBODY),
        Entrance("/odd", seen.odd, Trust.NOBODY),
        Entrance("/broken", seen.broken, Trust.NOBODY),
        Entrance("/talk", seen.talk, Trust.DEVICE, socket=True),
    )
    return build([Face("test", entrances)], keys, hosts=(HOST, "localhost:8765"))


@pytest.fixture
def client(app: ASGIApp) -> Iterator[TestClient]:
    with TestClient(app, base_url=f"http://{HOST}", raise_server_exceptions=False) as one:
        yield one


def enter(client: TestClient, keys: Keys, trust: Trust = Trust.DESK) -> str:
    answer = client.post("/enter", content=keys.code(trust, "Sam"), headers=OURS)
    assert answer.status_code == 200
    token: str = answer.json()["token"]
    return token


@pytest.mark.parametrize(
    "host", ["", "evil.example", "evil.example:8765", "127.0.0.1", "127.0.0.1:8766", "[::1]:8765",
             "127.0.0.1.evil.example:8765", "127.0.0.1:8765@evil.example", "0.0.0.0:8765"],
)  # fmt: skip
def test_a_name_that_is_not_ours_gets_nothing(client: TestClient, host: str) -> None:
    """A page of another site whose name was made to point here (DNS rebinding) has that name."""
    assert client.get("/strict", headers={"host": host}).status_code == 421


def test_the_name_may_be_written_large(client: TestClient) -> None:
    assert client.get("/strict", headers={"host": "LOCALHOST:8765"}).status_code == 200


def spoken(app: ASGIApp, headers: Sequence[tuple[bytes, bytes]], **scope: Any) -> int:
    """Status of a request that no honest client would write."""
    told: list[int] = []

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Any) -> None:
        if message["type"] == "http.response.start":
            told.append(message["status"])

    whole = {
        "type": "http", "method": "GET", "path": "/look", "raw_path": b"/look", "root_path": "",
        "query_string": b"", "headers": list(headers), "http_version": "1.1", "scheme": "http",
    } | scope  # fmt: skip

    async def asked() -> None:
        await app(whole, receive, send)

    asyncio.run(asked())
    return told[0]


def test_two_names_are_none(app: ASGIApp) -> None:
    assert spoken(app, [(b"host", HOST.encode()), (b"host", b"evil.example")]) == 421
    assert spoken(app, []) == 421


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "https://127.0.0.1:8765", "http://127.0.0.1:9999",
               "http://127.0.0.1:8765.evil.example", "", "file://"],
)  # fmt: skip
def test_a_change_from_another_site_gets_nowhere(
    client: TestClient, keys: Keys, seen: Seen, origin: str
) -> None:
    token = enter(client, keys)
    headers = OURS | {"origin": origin, TOKEN: token}
    assert client.post("/take", content=b"x", headers=headers).status_code == 403
    assert seen.bodies == []


def test_a_change_that_does_not_say_where_from_gets_nowhere(
    client: TestClient, keys: Keys, seen: Seen
) -> None:
    token = enter(client, keys)
    answer = client.post("/take", content=b"x", headers={"host": HOST, TOKEN: token})
    assert (answer.status_code, seen.bodies) == (403, [])


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_what_another_site_embeds_gets_nothing(client: TestClient, keys: Keys, site: str) -> None:
    enter(client, keys)
    headers = {"host": HOST, "sec-fetch-site": site, "sec-fetch-mode": "no-cors"}
    assert client.get("/look", headers=headers).status_code == 403


def test_the_token_goes_with_every_change(client: TestClient, keys: Keys, seen: Seen) -> None:
    token = enter(client, keys)
    for given in ("", "wrong", token + "x", token[:-1], "%C3%A9"):
        headers = OURS | {TOKEN: given}
        assert client.post("/take", content=b"x", headers=headers).status_code == 403
    assert client.post("/take", content=b"yes", headers=OURS | {TOKEN: token}).status_code == 200
    assert seen.bodies == [b"yes"]


def test_without_a_session_nothing_is_seen(client: TestClient, keys: Keys) -> None:
    for path in ("/look", "/phone", "/session"):
        assert client.get(path).status_code == 401
    client.cookies.set("fieldlog_8765", "guessed")
    assert client.get("/look").status_code == 401


def test_a_paired_device_does_not_sit_at_the_desk(client: TestClient, keys: Keys) -> None:
    token = enter(client, keys, Trust.DEVICE)
    assert client.get("/phone").status_code == 200
    assert client.get("/look").status_code == 403
    assert client.post("/take", content=b"x", headers=OURS | {TOKEN: token}).status_code == 403


def test_a_code_opens_once_and_not_for_ever(client: TestClient, keys: Keys, clock: Clock) -> None:
    code = keys.code(Trust.DESK)
    assert client.post("/enter", content=code, headers=OURS).status_code == 200
    assert client.post("/enter", content=code, headers=OURS).status_code == 403
    late = keys.code(Trust.DESK)
    clock.at += CODE_LASTS_S + 1
    assert client.post("/enter", content=late, headers=OURS).status_code == 403
    for odd in (b"", b"\xff\xfe", b"x" * 2000):
        assert client.post("/enter", content=odd, headers=OURS).status_code in {403, 413}


def test_a_session_ends_and_its_cookie_is_for_no_script(
    client: TestClient, keys: Keys, clock: Clock
) -> None:
    answer = client.post("/enter", content=keys.code(Trust.DESK), headers=OURS)
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert client.get("/look").status_code == 200
    clock.at += SESSION_LASTS_S + 1
    assert client.get("/look").status_code == 401


def test_more_than_a_way_takes_is_refused(client: TestClient, keys: Keys, seen: Seen) -> None:
    headers = OURS | {TOKEN: enter(client, keys)}
    assert client.post("/take", content=b"x" * 11, headers=headers).status_code == 413
    pieces = iter([b"x" * 6, b"x" * 6])  # no length is told: it is counted
    assert client.post("/take", content=pieces, headers=headers).status_code == 413
    for length in ("-1", "1e3", "9" * 40, "0x1", " "):
        lying = headers | {"content-length": length}
        assert client.post("/take", content=b"x", headers=lying).status_code in {400, 413}
    assert seen.bodies == []
    assert client.post("/take", content=b"x" * 10, headers=headers).status_code == 200


@pytest.mark.parametrize(
    "path", ["/strict", "/nowhere", "/look", "/odd", "/full", "/broken", "/lax"]
)
def test_every_answer_says_what_its_page_may_do(client: TestClient, path: str) -> None:
    headers = client.get(path).headers
    assert headers["content-security-policy"] == (NO_MARKUP if path == "/strict" else POLICY)
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"
    assert headers["cache-control"] == "no-store"


def test_faults_are_told_without_the_inside(client: TestClient) -> None:
    assert client.get("/odd").status_code == 400
    assert client.get("/odd").json()["what"] == "no such finding"
    assert client.get("/full").status_code == 503
    assert "secret" not in client.get("/broken").text


@pytest.mark.parametrize("path", ["/page/serve/../app.py", "/page/serve/%2e%2e/app.py", "/page/serve/",
                                  "/page/serve/..%2fapp.py", "/page/serve//etc/passwd"])  # fmt: skip
def test_no_path_leads_out_of_the_pages(client: TestClient, path: str) -> None:
    assert client.get(path).status_code == 404
    assert client.get("/page/serve/enter.js").status_code == 200


def test_it_runs_and_says_nothing_of_itself(keys: Keys) -> None:
    listening = bound()
    port = port_of(listening)
    served = build([], keys, hosts=own_hosts(port))
    with running(served, listening):
        for asked, status in (
            (f"GET /page/serve/enter.js HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n", b"200"),
            ("GET /page/serve/enter.js HTTP/1.1\r\nHost: evil.example\r\n\r\n", b"421"),
            ("GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n", b"400"),
            ("GET / HTTP/1.1\r\n" + "X: " + "y" * 60_000 + "\r\n\r\n", b"400"),
            ("\x00\x16\x03\x01 not http at all\r\n\r\n", b"400"),
        ):
            with socket.create_connection(("127.0.0.1", port), 5) as line:
                line.sendall(asked.encode("latin-1"))
                line.shutdown(socket.SHUT_WR)
                answer = line.makefile("rb").read()
            assert answer.split(b" ", 2)[1] == status, asked[:60]
            assert b"uvicorn" not in answer


def test_an_address_or_port_that_cannot_be_had_is_told_with_what_helps(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="cannot be listened on") as refused:
        bound("192.0.2.1")
    assert "an address that this machine has" in refused.value.todo
    with bound() as taken, pytest.raises(UsageError, match="already in use") as refused:
        place_for(tmp_path, None, port_of(taken))
    assert "Errno" not in refused.value.what
    assert "leave it out" not in refused.value.todo, "it would be the same port again"


def test_a_socket_is_held_to_the_same(client: TestClient, keys: Keys) -> None:
    for headers in ({"host": HOST}, OURS | {"origin": "http://evil.example"}, OURS):
        with pytest.raises(WebSocketDisconnect), client.websocket_connect(TALK, headers=headers):
            pass
    enter(client, keys, Trust.DEVICE)
    with client.websocket_connect(TALK, headers=OURS) as opened:
        assert opened.receive_text() == "hello"
    with (
        pytest.raises(WebSocketDisconnect),
        client.websocket_connect(TALK, headers=OURS | {"origin": "null"}),
    ):
        pass


def test_the_server_ends_although_a_line_is_being_closed_from_the_other_end() -> None:
    """It said so to a line that could take it no more, and ended there with a fault."""
    server = server_of(Starlette())
    config, ended = server.config, list[str]()
    config.load()

    async def end() -> None:
        line = WebSocketsSansIOProtocol(config, server.server_state, {})
        line.transport = Mock(close=lambda: ended.append("transport"))
        line.handshake_complete = True
        line.conn.state = CLOSING
        server.server_state.connections = {line}
        server.servers, server.force_exit = [], True
        await server.shutdown()

    asyncio.run(end())
    assert ended == ["transport"]
