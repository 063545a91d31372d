"""How going through an inspection reads (pure)."""

from __future__ import annotations

from collections.abc import Sequence

from fieldlog.words.telling import say

_NEEDS = {
    "question left open": "asked, and nobody answered",
    "more was said": "more was said than was taken",
    "not understood": "not understood",
    "two copies say different things": "two copies of the record say different things",
    "another reading would change something": "may have been heard wrong",
    "photo without a place": "a photo that belongs to nothing yet",
}
"""Why something needs a decision -> how it is told."""

BLIND = "drawn blind: listen, then say what you hear"


_BEFORE_SIGNING = {
    "dangerous": "dangerous, not put right",
    "beyond": "beyond its limit",
    "unaffirmed": "read back, not affirmed",
    "questions": "asked, and nobody answered",
    "cross-checks": "to be looked at because of what was found",
    "open": "not looked at",
}
"""What whoever signs is shown, the worst first -> its heading."""


NOTHING_LEFT = "nothing left to decide"


def before_signing(what: str) -> str:
    """The heading of what whoever signs is shown, by its kind."""
    return _BEFORE_SIGNING[what]


def not_confirmed(headings: Sequence[str]) -> str:
    """What whoever signs did not mark as known."""
    return f"nothing is signed: not marked as known: {'; '.join(headings)}"


def needed(why: str) -> str:
    """Why something needs a decision, by the name of the need."""
    return _NEEDS[why]


def stated(looked_at: int, wrong: int, fewest: int, at_most: float) -> str:
    """What the blind sample says of all that nobody looked at."""
    if looked_at < fewest:
        return f"blind sample: {looked_at} looked at, too few to state (from {fewest} on)"
    return (
        f"blind sample: {wrong} of {looked_at} wrong; of what nobody looked at, "
        f"at most {at_most * 100:.1f} % (95 % sure)"
    )


def leaves_out(told: Sequence[str]) -> str:
    """What would no longer stand of a breath."""
    return f"this leaves out {'; '.join(told)}"


def decided(what: str, who: str) -> str:
    """``corrected by R. Jones``."""
    return say("{what} by {who}", what=say(what), who=who) if who else say(what)


def several(first: str, more: int) -> str:
    """The first of several with how many there are besides."""
    return first if not more else f"{first} and {more} more"
