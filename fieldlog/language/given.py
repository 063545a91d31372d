"""Facts said with a value that its check needs: "four inches low at twenty five feet" (pure).

A span is read over so many pitches, a beam at a distance, a hydrometer at a temperature. Such a fact
is a setting of the check (``--set distance=25ft``) that was spoken instead of typed.
"""

from __future__ import annotations

from collections.abc import Iterator

from fieldlog.catalogue.component import Characteristic, Given
from fieldlog.catalogue.phrases import expand
from fieldlog.language.lexicon import Words
from fieldlog.meaning.quantity import quantities

Facts = tuple[tuple[str, str], ...]
"""Setting -> its value as ``--set`` takes it."""


def with_given(one: Characteristic, said: Words) -> Iterator[tuple[Words, Facts]]:
    """``said`` as it stands, then every way to take one fact of ``one`` out of it.

    A fact is taken only where its words and unit leave no choice.
    """
    yield said, ()
    for fact in one.given:
        for phrase in (tuple(p.split()) for text in fact.words for p in expand(text)):
            for at in range(len(said) - len(phrase)):
                if said[at : at + len(phrase)] == phrase:
                    yield from _taken(fact, said, at, at + len(phrase))


def _taken(fact: Given, said: Words, at: int, start: int) -> Iterator[tuple[Words, Facts]]:
    for end in range(len(said), start, -1):
        found = quantities(said[start:end], fact.units).readings
        rest = said[:at] + said[end:]
        if len(found) == 1 and found[0].quantity.high is None and rest:
            value = found[0].quantity
            unit = "" if value.unit in ("1", "link") else value.unit
            yield rest, ((fact.setting, f"{value.value}{unit}"),)
            return
