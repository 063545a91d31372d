"""How what nobody looked at reads (pure)."""

from __future__ import annotations

from collections.abc import Sequence

from fieldlog.words import telling
from fieldlog.words.telling import say

NOT_LOOKED_AT = "not looked at"


def left(
    key: str, sights: Sequence[str], *, begun: bool, entire: bool, headed: bool = False
) -> str:
    """``rear tyre: sidewall not looked at``; ``front tyre (tread, sidewall)``; ``horn``.

    ``sights``: names of what is open; ``begun``: whether something else of it was looked at;
    ``entire``: whether that is all there is to see of it; ``headed``: whether a heading says already
    that nobody looked at it.
    """
    names = ", ".join(say(name) for name in sights if name)
    if begun:
        return f"{key}: {names}" if headed else f"{key}: {names} {say(NOT_LOOKED_AT)}"
    return key if entire or not names else f"{key} ({names})"


def places(component: str, where: Sequence[str]) -> str:
    """Several places of one component: ``mirror (left, right)``; ``left mirror`` for one."""
    if len(where) == 1:
        return telling.key(component, where[0], f"{where[0]} {component}")
    return f"{telling.part(component)} ({', '.join(map(telling.place, where))})"


def cross_check(ask: str, end: str | None, left: Sequence[str]) -> str:
    """``rear: brake fluid is low: where did it go? still open: caliper dry; line and joints dry``."""
    told = say("{ask} still open: {left}", ask=say(ask), left="; ".join(map(say, left)))
    return f"{telling.place(end)}: {told}" if end else told


def unsigned(
    dangerous: int,
    open_items: int,
    cross_checks: int = 0,
    beyond: int = 0,
    unaffirmed: int = 0,
    questions: int = 0,
) -> str:
    """Why nothing was signed: what was found, what nobody looked at, what is still to be asked."""
    parts = [
        f"{count} {nouns[count != 1]}"
        for count, nouns in (
            (dangerous, ("dangerous finding stands", "dangerous findings stand")),
            (beyond, ("finding is beyond its limit", "findings are beyond their limits")),
            (unaffirmed, ("read-back was not affirmed", "read-backs were not affirmed")),
            (questions, ("question was not answered", "questions were not answered")),
            (open_items, ("item was not looked at", "items were not looked at")),
            (cross_checks, ("cross-check is open", "cross-checks are open")),
        )
        if count
    ]
    return f"nothing is signed: {' and '.join(parts)}"
