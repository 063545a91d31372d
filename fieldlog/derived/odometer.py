"""Whether the distance that a vehicle has done can follow on what is known of it (pure)."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from enum import StrEnum
from fractions import Fraction

from fieldlog.model.finding import Quantity
from fieldlog.quantities.units import convert

COMPONENT, READING = "odometer", "reading"
"""The component of the catalogue and its characteristic."""
FAR_KM = Fraction(30_000)
"""More than hardly anybody rides between two readings (common practice); only ever asked about."""

Read = tuple[datetime, Quantity]
"""When a distance was read, and what it was."""


class Unlike(StrEnum):
    """Why a reading does not follow on another."""

    BELOW = "below"
    FAR_ABOVE = "far above"
    ABOVE_LATER = "above a later one"


def unlike(
    distance: Quantity, at: datetime, known: Iterable[Read]
) -> tuple[Unlike, Quantity] | None:
    """Why ``distance``, read ``at``, can hardly be, and the known reading that it is held against.

    None where it follows. No distance goes down; compared exactly, in kilometres.
    """
    ordered = sorted(known, key=lambda read: read[0])
    km = _km(distance)
    before = [read for when, read in ordered if when <= at]
    if before and km < _km(before[-1]):
        return Unlike.BELOW, before[-1]
    if before and km - _km(before[-1]) > FAR_KM:
        return Unlike.FAR_ABOVE, before[-1]
    later = next((read for when, read in ordered if when > at), None)
    if later is not None and km > _km(later):
        return Unlike.ABOVE_LATER, later
    return None


def _km(distance: Quantity) -> Fraction:
    return convert(distance.value, distance.unit, "km")
