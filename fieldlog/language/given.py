"""Facts said with a finding: "four inches low at twenty five feet", "two front spokes missing" (pure).

A span is read over so many pitches, a beam at a distance, a hydrometer at a temperature. Such a fact
is a setting of the check (``--set distance=25ft``) that was spoken instead of typed. How many are
missing or how much is lacking stands before the condition and is kept beside it.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from fieldlog.catalogue.component import CONDITION, Characteristic, Component, Given
from fieldlog.catalogue.phrases import expand
from fieldlog.language.lexicon import Words
from fieldlog.meaning.quantity import quantities
from fieldlog.meaning.values import DOUBTFUL

Facts = tuple[tuple[str, str], ...]
"""Setting -> its value as ``--set`` takes it."""

_HOMOPHONE = "homophone"


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
        value = found[0].quantity if len(found) == 1 else None
        if value is not None and value.high is None and value.qualifier is None and rest:
            unit = "" if value.unit in ("1", "link") else value.unit
            yield rest, ((fact.setting, f"{value.value}{unit}"),)
            return


def before_condition(
    component: Component, one: Characteristic | None, said: Words
) -> Iterator[tuple[Words, str, tuple[str, ...], Facts]]:
    """Every way to take a count or an amount off the front of ``said``.

    Gives the words left, the characteristic whose fact it is ("condition" for the component as a
    whole), the conditions it may stand before, and the fact. ``one``: the characteristic that was
    named, if any.
    """
    if one is not None:
        owners = [(one.name, one.given)]
    else:
        owners = [(each.name, each.given) for each in component.characteristics if not each.named]
        owners.append((CONDITION, component.given))
    for name, given in owners:
        for fact in given:
            for at in range(1, len(said)) if fact.before else ():
                told = _amount(fact, said[:at])
                if told:
                    yield said[at:], name, fact.before, ((fact.setting, told),)


def _amount(fact: Given, said: Words) -> str:
    """The amount as it is kept ("2", "about 1/2qt"); "" where the words leave a choice."""
    found = quantities(said, fact.units, default="1" if fact.counted else None).readings
    if len(found) != 1 or {_HOMOPHONE, *DOUBTFUL} & set(found[0].flags):
        return ""
    amount = found[0].quantity
    some = amount.value > 0 and (not fact.counted or _whole(amount.value, amount.high))
    if not some:
        return ""
    unit = "" if amount.unit == "1" else amount.unit
    high = f" to {amount.high}" if amount.high is not None else ""
    about = f"{amount.qualifier.value} " if amount.qualifier is not None else ""
    return f"{about}{amount.value}{high}{unit}"


def _whole(value: Fraction, high: Fraction | None) -> bool:
    return high is None and value.denominator == 1
