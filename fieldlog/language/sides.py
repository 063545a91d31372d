"""Sides that are told by what is there, and by the side on which traffic keeps (pure).

"Nearside" is the side of the kerb: left where traffic keeps left, as in Britain. Elsewhere the word is
rare and a translation of it means the right, so that it is asked. "Clutch side" and "throttle side"
are known of what sits on the bars; which side the chain, a disc or a cover is on differs from make to
make, and is asked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from fieldlog.language.answers import APART
from fieldlog.language.breath import Breath
from fieldlog.language.lexicon import Words
from fieldlog.model.finding import Finding
from fieldlog.model.question import Asks, Question
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding
from fieldlog.words import questions

NEARSIDE = frozenset({"nearside", "offside"})
"""Words whose side follows from the side on which traffic keeps."""
_TOLD = ("near", "off", "n/s", "o/s")
"""As they may be typed: a question about them is answered by "left"."""
_ON_THE_BARS = frozenset(
    {"mirror", "handlebar grip", "bar end", "light switch", "fork", "handlebar clamp", "indicator"}
)
_SIDES = ("left", "right")


def by_what_is_there(
    words: Words, sides: dict[Words, str], understand: Callable[[Words], Understanding | None]
) -> Understanding | None:
    """ "Clutch side mirror cracked": left; "drive side adjuster loose": left or right, asked.

    ``sides``: phrase -> "left" or "right" on the bars, "" where either may be meant. None where the
    words name no such side, or mean nothing at either.
    """
    for phrase, bars in sides.items():
        n = len(phrase)
        for at in range(len(words) - n + 1):
            if words[at : at + n] == phrase:
                found = [understand((*words[:at], side, *words[at + n :])) for side in _SIDES]
                return _of_either(found, bars)
    return None


def _of_either(found: list[Understanding | None], bars: str) -> Understanding | None:
    meant = [one for one in found if one is not None and one.offered]
    if len(meant) < len(_SIDES):
        return None
    known = bars and all(each.component in _ON_THE_BARS for one in meant for each in one.offered)
    if known:
        return meant[_SIDES.index(bars)]
    return asked_which_side(meant[0], tuple(each for one in meant for each in one.offered))


def by_side_of_traffic(said: Understanding, *, keeps_left: bool) -> Understanding:
    """``said``, or the question which side was meant where traffic does not surely keep left."""
    newest = said.text.rpartition(APART)[2].lower()
    told = Flag.NEARSIDE in said.flags and any(word in newest for word in _TOLD)
    if keeps_left or not told or said.decision is Decision.REFUSE:
        return said
    if said.parts:
        return Breath(said.text, said.parts).asked(WHICH_SIDE).whole
    return asked_which_side(said, tuple(_at_either(said.offered)))


WHICH_SIDE = "which side is near depends on the side of the road that traffic keeps to"


def asked_which_side(said: Understanding, candidates: tuple[Finding, ...]) -> Understanding:
    """The question for one of ``candidates``, which differ in their side."""
    offered = tuple({one.meaning: one for one in candidates}.values())
    if len(offered) < len(_SIDES):
        return said
    return replace(
        said,
        decision=Decision.ASK,
        reason=WHICH_SIDE if Flag.NEARSIDE in said.flags else "either side can be meant by that",
        finding=None,
        candidates=offered,
        question=Question(Asks.PLACE, questions.still_open(offered)),
    )


def _at_either(findings: tuple[Finding, ...]) -> Iterator[Finding]:
    for one in findings:
        words = (one.position or "").split()
        for side in _SIDES if set(words) & set(_SIDES) else ():
            place = " ".join(side if word in _SIDES else word for word in words)
            yield replace(one, position=place)


def sided(words: Words, found: Understanding) -> Understanding:
    """``found`` with its flag, where its side depends on the side on which traffic keeps."""
    if NEARSIDE.isdisjoint(words) or found.kind is not Kind.FINDING:
        return found
    return replace(found, flags=tuple(dict.fromkeys((*found.flags, Flag.NEARSIDE))))
