"""The phone's face of the server: its page, how it comes in, the line, and its photos."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.websockets import WebSocket

from fieldlog.serve.app import Entrance, Face, file_endpoint
from fieldlog.serve.guard import POLICY
from fieldlog.serve.keys import Trust
from fieldlog.serve.phone.book import LASTS, PhoneBook
from fieldlog.serve.phone.line import PhoneLine
from fieldlog.serve.phone.pairing import Entry, Knock, Pairing, TooMany
from fieldlog.serve.phone.photos import LARGEST_PIECE, PhonePhotos, PhotoHeld, Refusal

PAGES = files("fieldlog.serve.phone") / "page"
PAGE = "/phone/"
_POLICY = {"content-security-policy": f"{POLICY}; manifest-src 'self'"}


@dataclass(frozen=True, slots=True)
class PhoneDoor:
    """How a phone comes in: ``knocked`` is called when one asks."""

    pairing: Pairing
    book: PhoneBook
    cookie: str
    knocked: Callable[[Knock], None]
    witness: Callable[[], str]
    """The record's checkpoint as a text, for the phone to keep; "" where none can be made."""

    async def knock(self, request: Request) -> Response:
        """A code becomes a request, whose four digits both sides show."""
        told = _told(await request.body())
        try:
            asked = self.pairing.ask(told.get("code", ""), told.get("name", ""))
        except TooMany:
            return PlainTextResponse("too many wrong codes; try again in a minute\n", 429)
        if asked is None:
            return PlainTextResponse("this code opens nothing (any more)\n", 403)
        self.knocked(asked)
        return JSONResponse({"ticket": asked.ticket, "digits": asked.digits})

    async def enter(self, request: Request) -> Response:
        """How the request stands; the yes comes with the cookie, once."""
        state, name = self.pairing.fetch(_told(await request.body()).get("ticket", ""))
        if state is Entry.WAITING:
            return JSONResponse({"state": state.value}, 202)
        if state is Entry.GONE:
            return JSONResponse({"state": state.value}, 410)
        secret, phone = await asyncio.to_thread(self.book.add, name)
        kept = await asyncio.to_thread(self.witness)
        answer = JSONResponse({"state": state.value, "phone": phone.id, "checkpoint": kept})
        answer.set_cookie(
            self.cookie,
            secret,
            max_age=int(LASTS.total_seconds()),
            path="/",
            secure=True,
            httponly=True,
            samesite="strict",
        )
        return answer


def phone_face(door: PhoneDoor, line: PhoneLine, photos: PhonePhotos, authority: Path) -> Face:
    """Everything that a phone may reach; without a pairing only the empty page and the door."""

    async def stream(socket: WebSocket) -> None:
        await line.connected(socket)

    async def certificate(request: Request) -> Response:
        data = await asyncio.to_thread(authority.read_bytes)
        head = {"content-disposition": 'attachment; filename="fieldlog-authority.crt"'}
        return Response(data, headers=head, media_type="application/x-x509-ca-cert")

    async def media(request: Request) -> Response:
        try:
            return await _media(request, photos)
        except Refusal as refusal:
            return JSONResponse({"what": refusal.why, "have": refusal.have}, refusal.status)

    page = file_endpoint(PAGES / "index.html", _POLICY)
    return Face(
        "phone",
        (
            Entrance(PAGE, page, Trust.NOBODY),
            Entrance("/phone/app.webmanifest", _manifest, Trust.NOBODY),
            Entrance(
                "/phone/worker.js", file_endpoint(PAGES / "offline.js", _POLICY), Trust.NOBODY
            ),
            Entrance("/phone/keeper.js", file_endpoint(PAGES / "keeper.js"), Trust.NOBODY),
            Entrance("/phone/knock", door.knock, Trust.NOBODY, ("POST",), 1024),
            Entrance("/phone/enter", door.enter, Trust.NOBODY, ("POST",), 1024),
            Entrance("/phone/line", stream, Trust.DEVICE, socket=True),
            Entrance("/phone/media/{sha256}", media, Trust.DEVICE, ("GET", "PUT"), LARGEST_PIECE),
            Entrance("/phone/authority.crt", certificate, Trust.DEVICE),
        ),
        PAGES,
        (door.book,),
    )


async def _media(request: Request, photos: PhonePhotos) -> Response:
    sha256, asked = request.path_params["sha256"], request.query_params
    inspection = asked.get("inspection", "")
    if request.method != "PUT":
        held = await asyncio.to_thread(photos.held, sha256, inspection)
    else:
        piece = await request.body()
        offset, size = _number(asked.get("offset", "")), _number(asked.get("size", ""))
        phone = request.scope["fieldlog.session"].name
        run = asked.get("run", "")

        def put() -> PhotoHeld:
            return photos.put(
                sha256, offset, size, piece, inspection=inspection, phone=phone, run=run
            )

        held = await asyncio.to_thread(put)
    told = {"sha256": sha256, "have": held.have, "whole": held.whole}
    return JSONResponse(told)


async def _manifest(request: Request) -> Response:
    """What a browser needs to put the page among its programs (W3C Web Application Manifest)."""
    icon = {"src": "/page/phone/icon.svg", "sizes": "any", "type": "image/svg+xml"}
    told = {
        "name": "fieldlog",
        "short_name": "fieldlog",
        "start_url": PAGE,
        "scope": PAGE,
        "display": "standalone",
        "background_color": "#fffefb",
        "theme_color": "#fffefb",
        "icons": [icon],
    }
    return JSONResponse(told, media_type="application/manifest+json")


def _told(body: bytes) -> dict[str, str]:
    try:
        said = json.loads(body)
    except (ValueError, RecursionError):
        return {}
    return {k: v for k, v in said.items() if isinstance(v, str)} if isinstance(said, dict) else {}


def _number(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= 12):
        raise Refusal(400, "a number is missing")
    return int(text)
