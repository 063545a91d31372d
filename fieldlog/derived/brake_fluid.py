"""Brake-fluid grades: boiling points, base, and what must never be mixed (pure).

Source: FMVSS 116, 49 CFR 571.116 S5.1.1, S5.1.2 (edition read: CFR 2023, title 49 vol. 6).
DOT 5.1 has no row of its own for boiling points; it is certified to those of DOT 5.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Grade:
    """One grade; temperatures in degC, as printed, with the standard's own degF beside them."""

    name: str
    dry_c: int
    dry_f: int
    wet_c: int
    wet_f: int
    silicone: bool


GRADES: dict[str, Grade] = {
    grade.name: grade
    for grade in (
        Grade("DOT 3", 205, 401, 140, 284, False),
        Grade("DOT 4", 230, 446, 155, 311, False),
        Grade("DOT 5", 260, 500, 180, 356, True),
        Grade("DOT 5.1", 260, 500, 180, 356, False),
    )
}
"""Canonical grade name -> its row of the standard."""


def may_mix(one: str, other: str) -> bool:
    """Whether two grades share a base: silicone (DOT 5) never mixes with the glycol grades.

    What is no grade of the standard (mineral oil) mixes with nothing but itself.
    """
    if one not in GRADES or other not in GRADES:
        return one == other
    return GRADES[one].silicone == GRADES[other].silicone
