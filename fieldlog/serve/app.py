"""The server put together: faces give entrances, each with the trust it asks, and pages."""

from __future__ import annotations

import hashlib
import mimetypes
from collections.abc import Awaitable, Callable, Collection, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any, TypeVar

import anyio.to_thread
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import BaseRoute, Route, WebSocketRoute
from starlette.types import ASGIApp

from fieldlog.errors import ChangedError, FieldlogError, StoreError, UnsureError
from fieldlog.serve.guard import Doorkeeper, Guard
from fieldlog.serve.keys import Keys, Knows, Trust
from fieldlog.shop.workshop import Workshop

SMALL = 16 * 1024
"""Bytes of a body that holds words."""

_Given = TypeVar("_Given")


@dataclass(frozen=True, slots=True)
class Entrance:
    """One address of the server: what it does, whom it lets, how much it takes."""

    path: str
    endpoint: Callable[..., Any]
    trust: Trust
    methods: tuple[str, ...] = ("GET",)
    largest: int = SMALL
    """Bytes of a body."""
    socket: bool = False
    """A WebSocket; ``methods`` and ``largest`` say nothing then."""


@dataclass(frozen=True, slots=True)
class Face:
    """One face of the workshop in a browser."""

    name: str
    entrances: tuple[Entrance, ...]
    pages: Traversable | None = None
    """Folder of its static files, served as ``/page/NAME/FILE``."""
    known: tuple[Knows, ...] = ()
    """Who besides the one-use codes tells sessions: paired devices."""


@dataclass(slots=True)
class OneHand:
    """The one thread that drives the workshop: what is asked of it happens one after the other."""

    workshop: Workshop
    _thread: ThreadPoolExecutor = field(
        default_factory=lambda: ThreadPoolExecutor(1, thread_name_prefix="workshop")
    )

    async def do(self, work: Callable[[Workshop], _Given]) -> _Given:
        """What ``work`` returns, done in that thread; raises what it raises."""
        return await anyio.to_thread.run_sync(lambda: self.now(work), abandon_on_cancel=False)

    def now(self, work: Callable[[Workshop], _Given]) -> _Given:
        """``do`` for a caller that is a thread itself: waits for it."""
        return self._thread.submit(work, self.workshop).result()

    def soon(self, work: Callable[[Workshop], object]) -> None:
        """Have ``work`` done when the thread is free; nobody waits for it or hears how it went."""
        self._thread.submit(work, self.workshop)

    def close(self) -> None:
        """Let what was begun come to its end."""
        self._thread.shutdown(wait=True)


def build(
    faces: Sequence[Face], keys: Keys, *, hosts: Collection[str], secure: bool = False
) -> ASGIApp:
    """The server of these faces. ``hosts``: ``name:port`` that it answers to; ``secure``: over TLS."""
    port = next(iter(hosts)).rpartition(":")[2]
    cookie = cookie_name(int(port), secure=secure)
    known = (keys, *(one for face in faces for one in face.known))
    enter = partial(_enter, keys=keys, cookie=cookie, secure=secure)
    entrances = [
        Entrance("/enter", enter, Trust.NOBODY, ("POST",), 1024),
        Entrance("/session", _session, Trust.DEVICE),
        *page_entrances("serve", files("fieldlog.serve") / "page"),
    ]
    for face in faces:
        entrances += face.entrances
        entrances += page_entrances(face.name, face.pages) if face.pages is not None else ()
    inner = Starlette(
        routes=[_route(entrance, known, cookie) for entrance in entrances],
        exception_handlers={FieldlogError: _told, Exception: _fault},
    )
    inner.router.redirect_slashes = False
    return Guard(inner, hosts=hosts, secure=secure)  # outermost: a fault's answer is dressed too


def cookie_name(port: int, *, secure: bool) -> str:
    """Of the session's cookie: cookies are shared between the ports of a host.

    Over TLS no other name of the host, and no page without TLS, can set one of that name (``__Host-``).
    """
    return f"{'__Host-' if secure else ''}fieldlog_{port}"


def page_entrances(name: str, folder: Traversable) -> tuple[Entrance, ...]:
    """An entrance for each file that lies in ``folder`` now: no path that comes from outside is looked up."""
    return tuple(
        Entrance(f"/page/{name}/{one.name}", file_endpoint(one), Trust.NOBODY)
        for one in sorted(folder.iterdir(), key=lambda each: each.name)
        if one.is_file() and one.name.endswith((".js", ".css", ".html", ".svg", ".woff2"))
    )


def file_endpoint(
    one: Traversable, headers: dict[str, str] | None = None
) -> Callable[[Request], Awaitable[Response]]:
    """Answers with a file as it is now, or that it is still the same."""
    body = one.read_bytes()
    kind = mimetypes.guess_type(one.name)[0] or "application/octet-stream"
    kind = "text/javascript" if one.name.endswith(".js") else kind
    tag = f'"{hashlib.sha256(body).hexdigest()[:20]}"'
    told = {"etag": tag, "cache-control": "no-cache", **(headers or {})}

    async def answer(request: Request) -> Response:
        if request.headers.get("if-none-match") == tag:
            return Response(status_code=304, headers=told)
        return Response(body, headers=told, media_type=kind)

    return answer


def _route(entrance: Entrance, known: Sequence[Knows], cookie: str) -> BaseRoute:
    asks = Middleware(
        Doorkeeper, trust=entrance.trust, largest=entrance.largest, known=known, cookie=cookie
    )
    if entrance.socket:
        return WebSocketRoute(entrance.path, entrance.endpoint, middleware=[asks])
    return Route(
        entrance.path, entrance.endpoint, methods=list(entrance.methods), middleware=[asks]
    )


async def _enter(request: Request, *, keys: Keys, cookie: str, secure: bool) -> Response:
    """A one-use code becomes a session: its secret in a cookie that no script reads, its token to the page."""
    body = (await request.body()).decode("utf-8", "replace").strip()
    entered = keys.enter(body)
    if entered is None:
        return PlainTextResponse("this code opens nothing (any more)\n", 403)
    secret, session = entered
    answer = JSONResponse({"token": session.token, "name": session.name})
    answer.set_cookie(cookie, secret, httponly=True, samesite="strict", secure=secure, path="/")
    return answer


async def _session(request: Request) -> Response:
    session = request.scope["fieldlog.session"]
    return JSONResponse({"token": session.token, "name": session.name})


def _told(request: Request, error: Exception) -> Response:
    """What fieldlog refuses on purpose, in its own words."""
    assert isinstance(error, FieldlogError)
    status = (
        409 if isinstance(error, ChangedError) else 503 if isinstance(error, StoreError) else 400
    )
    told = {
        "what": error.what,
        "where": error.where,
        "todo": error.todo,
        "unsure": isinstance(error, UnsureError),
    }
    return JSONResponse(told, status)


def _fault(request: Request, error: Exception) -> Response:
    return JSONResponse({"what": f"a fault of fieldlog itself: {type(error).__name__}"}, 500)
