"""Who may come in: one-use codes, and the sessions that they open. Held in memory, gone with the server."""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum
from typing import Protocol

CODE_LASTS_S = 600.0
"""How long a code opens the door once."""
SESSION_LASTS_S = 12 * 3600.0


class Trust(IntEnum):
    """What a way into the server asks of whoever comes; each holds what those below it may."""

    NOBODY = 0
    """Pages without anything of the record in them, and the door itself."""
    DEVICE = 1
    """A paired phone: says and photographs."""
    DESK = 2
    """Whoever started the server on this machine: sees and changes everything."""


@dataclass(frozen=True, slots=True)
class Session:
    """Somebody who came in."""

    trust: Trust
    token: str
    """Sent with everything that changes something, besides the cookie; another site cannot know it."""
    name: str = ""
    """Who it is, as the record shall name them."""


class Knows(Protocol):
    """Whoever can tell a session from the secret in its cookie."""

    def session(self, secret: str) -> Session | None:
        """The session of that secret; None: nobody's."""


class Keys:
    """One-use codes and the sessions that they opened."""

    def __init__(self, now: Callable[[], float]) -> None:
        """``now``: seconds of a clock that only goes forward."""
        self._now = now
        self._codes: dict[str, tuple[float, Session]] = {}
        self._open: dict[str, tuple[float, Session]] = {}

    def code(self, trust: Trust, name: str = "") -> str:
        """A new code that opens one session of that trust, once, within ``CODE_LASTS_S``."""
        code = secrets.token_urlsafe(32)
        session = Session(trust, secrets.token_urlsafe(32), name)
        self._codes[code] = (self._now() + CODE_LASTS_S, session)
        return code

    def enter(self, code: str) -> tuple[str, Session] | None:
        """The secret for the cookie and the session of ``code``; None when it opens nothing (any more)."""
        known = [one for one in self._codes if hmac.compare_digest(one.encode(), code.encode())]
        if not known:
            return None
        until, session = self._codes.pop(known[0])
        if self._now() > until:
            return None
        secret = secrets.token_urlsafe(32)
        self._open[secret] = (self._now() + SESSION_LASTS_S, session)
        return secret, session

    def session(self, secret: str) -> Session | None:
        """The session of that secret; None: there is none, or it lasted its time."""
        until, session = self._open.get(secret, (0.0, None))
        return session if session is not None and self._now() <= until else None
