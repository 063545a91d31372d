"""Whether a value can be of what it is said of, and which others could have been meant (pure)."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from fieldlog.catalogue.component import Characteristic
from fieldlog.language.lexicon import Words
from fieldlog.language.reading import Standing
from fieldlog.model.finding import Quantity
from fieldlog.quantities.quantity import QuantityReading, quantities
from fieldlog.quantities.twins import TwinKind, twins
from fieldlog.quantities.values import PROPER

_MILS = frozenset({"mil", "mils", "mill", "mills"})
"""A millimetre to one mechanic, a thousandth of an inch to another."""


def standing_of(quantity: Quantity, one: Characteristic) -> Standing:
    """Whether it fits: every end of it can be measured there."""
    ends = (quantity.value, quantity.value if quantity.high is None else quantity.high)
    plausible = all(one.plausible(Fraction(end), quantity.unit) for end in ends)
    return Standing.FITS if plausible else Standing.IMPLAUSIBLE


def plausible_twin(one: Characteristic, quantity: Quantity, said: Words) -> str:
    """The words with a teen for a ty (or the other way round), if their value is plausible too."""
    for size in range(len(said), 0, -1):
        for other in twins(said[:size], (TwinKind.TEEN_TY,)):
            changed = (*other.words, *said[size:])
            found = quantities(changed, one.units, gravity="gravity" in one.said)
            for reading in (*found.readings, *found.assumed):
                same = (reading.quantity.value, reading.quantity.high) == (
                    quantity.value,
                    quantity.high,
                )
                fits = standing_of(reading.quantity, one) is Standing.FITS
                # "thirteen six" is no number that "thirty six" could be taken for
                whole = reading.number.style in PROPER
                if fits and whole and not same and reading.quantity.unit == quantity.unit:
                    return " ".join(changed)
    return ""


def without_idle_mils(
    readings: Sequence[QuantityReading], one: Characteristic, said: Words
) -> Sequence[QuantityReading]:
    """Without the thousandths of an inch that "mil" cannot mean: fewer than can be measured there.

    Only where as many millimetres can be.
    """
    usual = one.uncertainty("in") if "in" in one.units else None
    if usual is None or _MILS.isdisjoint(said):
        return readings
    fits = any(
        each.quantity.unit == "mm" and standing_of(each.quantity, one) is Standing.FITS
        for each in readings
    )
    return [
        each
        for each in readings
        if not fits
        or each.quantity.unit != "in"
        or max(each.quantity.value, each.quantity.high or 0) >= usual.of(each.quantity.value, "in")
    ]
