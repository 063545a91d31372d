"""Why a text means nothing: the first word that did not fit, and what would have (pure).

Fuzzy matching touches nouns of components only, only words that no listener could have put out
(they are not in the language), and its result is only ever a question.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from fieldlog.language.lexicon import Words
from fieldlog.language.reading import Unread
from fieldlog.language.subjects import About
from fieldlog.language.values import ValueReader
from fieldlog.quantities.number_words import NUMBER_WORDS, SMALL_WORDS
from fieldlog.words import tell

UNKNOWN = "[unk]"
CUTOFF = 75.0
"""Least similarity (rapidfuzz ratio, 0..100) of a noun that may have been meant."""
MARGIN = 6.0
"""By how much it must be nearer than the next noun; below it nothing is offered."""
_SHORTEST = 4
"""Shorter words are too near to too many."""


def why_not(
    words: Words,
    abouts: Sequence[About],
    reasons: Sequence[Unread],
    values: ValueReader,
    follow: Callable[[Words], int],
) -> str:
    """One sentence: what was missing or did not fit. ``follow``: how many first words fit."""
    if not words:
        return "nothing was said"
    if UNKNOWN in words:
        return "part of it was not in the vocabulary ([unk])"
    if abouts:
        return _behind_subject(words, abouts[0], reasons, values)
    fitting = follow(words)
    if fitting == len(words):
        return f"'{' '.join(words)}' alone says nothing: name the component first, then how it is"
    if fitting:
        return f"'{words[fitting]}' does not fit after '{' '.join(words[:fitting])}'"
    return f"no finding and no command begins with '{words[0]}'"


def _behind_subject(
    words: Words, about: About, reasons: Sequence[Unread], values: ValueReader
) -> str:
    rest = words[about.used :]
    subject = tell.place(about.component.name, about.position)
    if not rest and about.characteristic is not None and about.characteristic.units:
        return f"incomplete: no value was said for the {about.characteristic.name} of the {subject}"
    if not rest:
        return f"incomplete: nothing was said about the {subject}"
    condition = values.is_condition(rest)
    if condition is not None:
        known = values.conditions_of(about.component, about.characteristic)
        allowed = sorted({name for _, name in known.values()})
        can = f"it can be {tell.either(allowed)}" if allowed else "it is measured"
        return f"'{condition}' is not said of the {subject}; {can}"
    said = f"'{' '.join(rest)}'"
    if about.characteristic is not None and about.characteristic.code:
        return f"{said} is no {about.characteristic.code}"
    if reasons and any(word in NUMBER_WORDS and word not in SMALL_WORDS for word in rest):
        return next((each for each in reasons if each.wrong_unit), reasons[0]).reason
    return f"{said} after '{' '.join(words[: about.used])}' is no value, unit or condition of it"


def meant(word: str, nouns: Sequence[str]) -> str | None:
    """The noun that a mistyped ``word`` is clearly nearest to, or None."""
    if len(word) < _SHORTEST:
        return None
    from rapidfuzz import fuzz, process  # takes 12 ms to load, and is seldom asked

    near = process.extract(word, nouns, scorer=fuzz.ratio, score_cutoff=CUTOFF - MARGIN, limit=2)
    if not near or near[0][1] < CUTOFF:
        return None
    if len(near) > 1 and near[0][1] - near[1][1] < MARGIN:
        return None
    return str(near[0][0])
