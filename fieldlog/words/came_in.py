"""How words came into the record: what was only heard is never printed as what somebody said (pure)."""

from __future__ import annotations

from fieldlog.words.telling import say

NO_WORDS = "no words were heard in it"


def came_in(text: str, typed: bool, *, sure: bool) -> str:
    """``said “rear tread 4/32”``; ``typed “...”``; ``heard as: ...`` where it was not understood for sure.

    Marks of quotation stand round what somebody said or typed, and round nothing else.
    """
    if not text:
        return say(NO_WORDS)
    if typed:
        return say("typed “{text}”", text=text)
    return say("said “{text}”", text=text) if sure else say("heard as: {text}", text=text)
