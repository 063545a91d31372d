"""Facts said with a finding: "four inches low at twenty five feet", "two front spokes missing" (pure).

A span is read over so many pitches, a beam at a distance, a hydrometer at a temperature. Such a fact
is a setting of the check (``--set distance=25ft``) that was spoken instead of typed. How many are
missing or how much is lacking stands before the condition and is kept beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction

from fieldlog.catalogue.component import CONDITION, Characteristic, Component, Given, Range
from fieldlog.catalogue.phrases import expand
from fieldlog.language.lexicon import Words
from fieldlog.model.finding import Quantity
from fieldlog.model.understanding import Flag
from fieldlog.quantities.quantity import quantities
from fieldlog.quantities.units import dimension
from fieldlog.quantities.values import DOUBTFUL

Facts = tuple[tuple[str, str], ...]
"""Setting -> its value as ``--set`` takes it."""


MOST_LACKING = Range(Fraction(0), Fraction(6), "L")
MOST_COUNTED = 120
"""The most of a fluid that can lack, where its catalogue entry gives no range of its own, and the
most parts of a kind that can be counted at one place. Common practice: no motorcycle's engine or
radiator holds more, and wheels with more spokes are hardly built."""


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
    component: Component,
    one: Characteristic | None,
    said: Words,
    is_said: Callable[[Words], bool],
) -> Iterator[tuple[Words, str, tuple[str, ...], Facts, bool]]:
    """Every way to take a count or an amount off the front of ``said``, before what ``is_said``.

    Gives the words left, the characteristic whose fact it is ("condition" for the component as a
    whole), the conditions it may stand before, the fact, and whether so much can be. ``one``: the
    characteristic that was named, if any.
    """
    if one is not None:
        owners = [(one.name, one.given)]
    else:
        owners = [(each.name, each.given) for each in component.characteristics if not each.named]
        owners.append((CONDITION, component.given))
    for name, given in owners:
        for fact in given:
            for at in range(1, len(said)) if fact.before else ():
                if not is_said(said[at:]):
                    continue
                amount = _amount(fact, said[:at])
                if amount is not None:
                    facts = ((fact.setting, _kept(amount)),)
                    yield said[at:], name, fact.before, facts, _can_be(component, amount)


def _amount(fact: Given, said: Words) -> Quantity | None:
    """The amount that was said; None where the words leave a choice."""
    found = quantities(said, fact.units, default="1" if fact.counted else None).readings
    if len(found) != 1 or {Flag.HOMOPHONE, *DOUBTFUL} & set(found[0].flags):
        return None
    amount = found[0].quantity
    some = amount.value > 0 and (not fact.counted or _whole(amount.value, amount.high))
    return amount if some else None


def _kept(amount: Quantity) -> str:
    """ "2", "about 1/2qt"."""
    unit = "" if amount.unit == "1" else amount.unit
    high = f" to {amount.high}" if amount.high is not None else ""
    about = f"{amount.qualifier.value} " if amount.qualifier is not None else ""
    return f"{about}{amount.value}{high}{unit}"


def _can_be(component: Component, amount: Quantity) -> bool:
    """Whether so much can lack: no more than may be added to it, where the catalogue says that."""
    most = amount.value if amount.high is None else max(amount.value, amount.high)
    if amount.unit == "1":
        return most <= MOST_COUNTED
    own = [
        known
        for one in component.characteristics
        for known in one.ranges
        if dimension(known.unit) == dimension(amount.unit)
    ]
    return any(known.holds(most, amount.unit) for known in own or [MOST_LACKING])


def _whole(value: Fraction, high: Fraction | None) -> bool:
    return high is None and value.denominator == 1
