"""What stands before every request: whose name it was sent to, from where, how much, and by whom.

Order: host, origin, size, session, token. A refusal is a status and one plain sentence; nothing of the
record is read before all of them are passed.
"""

from __future__ import annotations

import asyncio
import hmac
from collections.abc import Collection, Sequence
from http import HTTPStatus
from http.cookies import CookieError, SimpleCookie

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from fieldlog.serve.keys import Knows, Session, Trust

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; "
    "media-src 'self' blob:; connect-src 'self'; worker-src 'self'; frame-ancestors 'none'; "
    "base-uri 'none'; form-action 'self'"
)
"""Nothing inline, nothing from elsewhere, nobody's frame (Content Security Policy Level 3)."""
NO_MARKUP = POLICY + "; require-trusted-types-for 'script'; trusted-types 'none'"
"""The same, and no script of the page may turn text into markup. A face may ask for it."""

_HEADERS = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-embedder-policy": "require-corp",
    "permissions-policy": "microphone=(self), camera=(self), geolocation=()",
}
TOKEN = "x-fieldlog-token"
"""Header that carries the session's token."""
SAFE = frozenset({"GET", "HEAD"})
SLOWEST_BODY_S = 60.0
"""A body that is not there by then is given up."""


class Guard:
    """ASGI middleware around the whole server: host, origin, and the headers of every answer."""

    def __init__(self, app: ASGIApp, *, hosts: Collection[str], secure: bool = False) -> None:
        """``hosts``: what a browser may have in its address line, ``name:port``; ``secure``: over TLS."""
        self.app = app
        usual = ":443" if secure else ":80"
        names = {host.lower() for host in hosts}
        self.hosts = names | {host.removesuffix(usual) for host in names if host.endswith(usual)}
        scheme = "https" if secure else "http"
        self.origins = {f"{scheme}://{host}" for host in self.hosts}
        self.secure = secure

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse what was not meant for here; else hand it on and put the headers on its answer."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        refusal = self._refusal(scope)
        if refusal is not None:
            await refuse(scope, receive, self._dressed(send), *refusal)
            return
        await self.app(scope, receive, self._dressed(send))

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        headers = Headers(scope=scope)
        named = headers.getlist("host")
        if len(named) != 1 or named[0].lower() not in self.hosts:
            return HTTPStatus.MISDIRECTED_REQUEST, "this name is not one of this server"
        origins = headers.getlist("origin")
        changes = scope["type"] == "websocket" or scope["method"] not in SAFE
        if changes and not origins:
            return HTTPStatus.FORBIDDEN, "a change says which page it comes from"
        if any(origin.lower() not in self.origins for origin in origins):
            return HTTPStatus.FORBIDDEN, "this comes from another site"
        site = headers.get("sec-fetch-site", "same-origin")
        opened = headers.get("sec-fetch-mode") == "navigate" and not changes
        if site not in {"same-origin", "none"} and not opened:
            return HTTPStatus.FORBIDDEN, "this comes from another site"
        return None

    def _dressed(self, send: Send) -> Send:
        async def dressed(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers[name] = value
                stricter = headers.get("content-security-policy", "")
                headers["content-security-policy"] = (
                    stricter if stricter.startswith(POLICY) else POLICY
                )
                headers.setdefault("cache-control", "no-store")
            await send(message)

        return dressed


class Doorkeeper:
    """ASGI middleware around one entrance: who may take it, and how much it takes."""

    def __init__(
        self, app: ASGIApp, *, trust: Trust, largest: int, known: Sequence[Knows], cookie: str
    ) -> None:
        """``largest``: bytes of a body; ``known``: who tells sessions; ``cookie``: where their secret is."""
        self.app, self.trust, self.largest = app, trust, largest
        self.known, self.cookie = known, cookie

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand on what is allowed, with ``scope["fieldlog.session"]`` (None where nobody is asked for)."""
        headers = Headers(scope=scope)
        session = self._session(headers)
        if self.trust is not Trust.NOBODY:
            if session is None:
                await refuse(scope, receive, send, HTTPStatus.UNAUTHORIZED, "nobody came in here")
                return
            if session.trust < self.trust:
                await refuse(scope, receive, send, HTTPStatus.FORBIDDEN, "not from this device")
                return
            if scope["type"] == "http" and scope["method"] not in SAFE:
                given = headers.get(TOKEN, "")
                if not hmac.compare_digest(given.encode(), session.token.encode()):
                    await refuse(scope, receive, send, HTTPStatus.FORBIDDEN, "the token is missing")
                    return
        scope["fieldlog.session"] = session
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        length = headers.get("content-length", "0")
        if not (length.isascii() and length.isdigit()):
            await refuse(scope, receive, send, HTTPStatus.BAD_REQUEST, "a length is a number")
        elif len(length) > 15 or int(length) > self.largest:
            await refuse(scope, receive, send, HTTPStatus.REQUEST_ENTITY_TOO_LARGE, _TOO_MUCH)
        else:
            await self._within(scope, receive, send)

    def _session(self, headers: Headers) -> Session | None:
        secret = cookie_of(headers, self.cookie)
        if not secret:
            return None
        found = (each.session(secret) for each in self.known)
        return next((one for one in found if one is not None), None)

    async def _within(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Count what comes, for a length may be missing or a lie."""
        had, whole, begun = 0, False, False

        async def counted() -> Message:
            nonlocal had, whole
            if whole:
                return await receive()
            try:
                message = await asyncio.wait_for(receive(), SLOWEST_BODY_S)
            except TimeoutError:
                raise _GivenUp(HTTPStatus.REQUEST_TIMEOUT, "it did not come to its end") from None
            had += len(message.get("body", b""))
            whole = not message.get("more_body", False)
            if had > self.largest:
                raise _GivenUp(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, _TOO_MUCH)
            return message

        async def noted(message: Message) -> None:
            nonlocal begun
            begun = True
            await send(message)

        try:
            await self.app(scope, counted, noted)
        except _GivenUp as over:
            if not begun:
                await refuse(scope, receive, send, over.status, over.why)


class _GivenUp(Exception):
    def __init__(self, status: int, why: str) -> None:
        self.status, self.why = status, why


_TOO_MUCH = "more than this takes"


def cookie_of(headers: Headers, name: str) -> str:
    """The cookie of that name; empty where there is none, or more than one."""
    jar: SimpleCookie = SimpleCookie()
    try:
        for line in headers.getlist("cookie"):
            jar.load(line)
    except CookieError:
        return ""
    return jar[name].value if name in jar else ""


async def refuse(scope: Scope, receive: Receive, send: Send, status: int, why: str) -> None:
    """Answer with ``status`` and a plain sentence; a WebSocket is closed before it opens (403)."""
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1008, "reason": why})
        return
    closing = {"connection": "close"} if scope["method"] not in SAFE else None
    await PlainTextResponse(why + "\n", status, closing)(scope, receive, send)
