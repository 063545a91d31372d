"""How a phone comes in: a code that opens once, the same four digits on both, a yes on this machine (pure).

The code stands behind the ``#`` of the address in the QR picture, which no browser sends to a server by
itself. It lasts two minutes, opens once, and a new one closes it. What it opens is a request: the phone shows
four digits, this machine shows them too, and only a yes here makes it a phone that may come in.
"""

from __future__ import annotations

import hmac
import secrets
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

CODE_S = 120.0
"""How long a code opens, and how long a request waits for the yes."""
MOST_WRONG = 20
WRONG_WITHIN_S = 60.0
"""No more than ``MOST_WRONG`` wrong codes in this time; then nobody's code is looked at for a while."""
_LONGEST_NAME = 40


class Entry(StrEnum):
    """How a request stands."""

    WAITING = "waiting"
    """Nobody has answered on this machine yet."""
    ALLOWED = "allowed"
    """To be fetched once, by whoever asked."""
    GONE = "gone"
    """Turned down, too late, fetched already, or never made."""


class TooMany(Exception):
    """Wrong codes came too often; it is tried again later."""


@dataclass(slots=True)
class Knock:
    """A phone that asks to come in: its request."""

    ticket: str
    """Known to the phone alone: with it, it asks how the request stands."""
    digits: str
    """Shown on both."""
    name: str
    until: float
    allowed: bool = False


class Pairing:
    """Codes and requests; one code and one request at a time."""

    def __init__(
        self,
        now: Callable[[], float],
        *,
        secret: Callable[[], str] = lambda: secrets.token_urlsafe(24),
        digits: Callable[[], str] = lambda: f"{secrets.randbelow(10_000):04d}",
    ) -> None:
        """``now``: seconds of a clock that only goes forward."""
        self._now, self._secret, self._digits = now, secret, digits
        self._code: tuple[str, float] | None = None
        self._request: Knock | None = None
        self._wrong: deque[float] = deque(maxlen=MOST_WRONG)

    def offer(self) -> str:
        """A new code; the one before opens nothing any more, and a request that waits is dropped."""
        self._request = None
        self._code = (self._secret(), self._now() + CODE_S)
        return self._code[0]

    @property
    def offers(self) -> bool:
        """Whether a code is out that still opens."""
        return self._code is not None and self._now() <= self._code[1]

    def ask(self, code: str, name: str) -> Knock | None:
        """The request that ``code`` opens; None when it opens nothing (any more).

        ``name`` is what the phone says of itself. Raises ``TooMany``.
        """
        now = self._now()
        if len(self._wrong) == MOST_WRONG and now - self._wrong[0] < WRONG_WITHIN_S:
            raise TooMany
        known = self._code
        if known is None or not hmac.compare_digest(known[0].encode(), code.encode()):
            self._wrong.append(now)
            return None
        self._code = None
        if now > known[1]:
            return None
        self._request = Knock(self._secret(), self._digits(), plain_name(name), now + CODE_S)
        return self._request

    @property
    def waiting(self) -> Knock | None:
        """The request that waits for a yes on this machine."""
        asked = self._request
        if asked is None or asked.allowed or self._now() > asked.until:
            return None
        return asked

    def allow(self, digits: str) -> bool:
        """Yes to the request that shows ``digits``; False: no request shows these (any more)."""
        asked = self.waiting
        if asked is None or asked.digits != digits:
            return False
        asked.allowed = True
        return True

    def turn_down(self) -> None:
        """No to the request that waits."""
        self._request = None

    def fetch(self, ticket: str) -> tuple[Entry, str]:
        """How the request of ``ticket`` stands, and its name; what is allowed is given once."""
        asked = self._request
        if (
            asked is None
            or not hmac.compare_digest(asked.ticket.encode(), ticket.encode())
            or self._now() > asked.until
        ):
            return Entry.GONE, ""
        if not asked.allowed:
            return Entry.WAITING, asked.name
        self._request = None
        return Entry.ALLOWED, asked.name


def plain_name(name: str) -> str:
    """``name`` without what a terminal would act on, on one line; "phone" where nothing is left."""
    kept = "".join(each if each.isprintable() else " " for each in name)
    return " ".join(kept.split())[:_LONGEST_NAME].strip() or "phone"
