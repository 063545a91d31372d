"""Limits that the user's own settings amount to: what is stamped, marked or recommended (pure)."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from fieldlog.limits.context import BRAKE_FLUIDS, amount
from fieldlog.model import Context, Limit, LimitStatus, Severity, State

_GLYCOL = ("DOT 3", "DOT 4", "DOT 5.1")


def entered_limits(context: Context) -> tuple[Limit, ...]:
    """Rows for the settings that are limits in themselves.

    ``disc_minimum`` (stamped on the disc), ``brake_fluid`` (grade the vehicle is marked for),
    ``torque`` with ``torque_tolerance``. Status *entered by user*: they gate.
    """
    rows: list[Limit] = []
    if text := context.settings.get("disc_minimum"):
        value, unit = amount(text)
        rows.append(
            _limit(
                "entered.disc-minimum",
                "brake disc",
                "thickness",
                "at least",
                value,
                unit,
                f"minimum thickness stamped on the disc, entered as disc_minimum={text}",
                Severity.DANGEROUS,
                "replace the disc together with its pads",
            )
        )
    if grade := context.settings.get("brake_fluid"):
        rows += _grades(grade)
    if text := context.settings.get("torque"):
        value, unit = amount(text)
        share = Fraction(context_percent(context.settings.get("torque_tolerance", "10%")))
        rows.append(
            _limit(
                "entered.torque",
                "*",
                "torque",
                "between",
                value * (1 - share),
                unit,
                f"maker's torque {text} with {float(share) * 100:g} % tolerance, entered by user",
                Severity.MAJOR,
                "tighten to the maker's value with a calibrated wrench",
                high=value * (1 + share),
            )
        )
    return tuple(rows)


def context_percent(text: str) -> Fraction:
    """``"10%"`` or ``"0.1"`` (unit 1) as a plain share."""
    value, unit = amount(text, "%")
    return value / 100 if unit == "%" else value


def _grades(marked: str) -> list[Limit]:
    """What may and may not be found where ``marked`` is the grade on the reservoir.

    Glycol fluids (DOT 3, 4, 5.1) mix with each other, silicone DOT 5 and mineral oil with none: the
    wrong family is dangerous, a lower glycol grade does not reach the boiling points asked for, a
    higher one is left to the maker's manual.
    """
    source = f"grade the vehicle is marked for, entered as brake_fluid={marked}"
    found: Mapping[str, list[str]] = {"within": [], "marginal": [], "lower": [], "other": []}
    for grade in BRAKE_FLUIDS:
        if grade == marked:
            found["within"].append(grade)
        elif grade in _GLYCOL and marked in _GLYCOL:
            higher = _GLYCOL.index(grade) > _GLYCOL.index(marked)
            found["marginal" if higher else "lower"].append(grade)
        else:
            found["other"].append(grade)
    rows = (
        ("within", State.WITHIN, Severity.MINOR, ""),
        ("marginal", State.MARGINAL, Severity.MINOR, "a higher grade: see the maker's manual"),
        ("lower", State.BEYOND, Severity.MAJOR, f"flush and fill with {marked}"),
        (
            "other",
            State.BEYOND,
            Severity.DANGEROUS,
            f"never mixed with {marked}: drain, flush and check the seals before filling",
        ),
    )
    return [
        _limit(
            f"entered.brake-fluid.{key}",
            "brake fluid",
            "grade",
            "is",
            None,
            "",
            source,
            severity,
            advice,
            words=tuple(found[key]),
            outcome=state,
        )
        for key, state, severity, advice in rows
        if found[key]
    ]


def _limit(
    identity: str,
    component: str,
    characteristic: str,
    relation: str,
    value: Fraction | None,
    unit: str,
    source: str,
    severity: Severity,
    advice: str,
    *,
    high: Fraction | None = None,
    words: tuple[str, ...] = (),
    outcome: State = State.BEYOND,
) -> Limit:
    ends = " to ".join(f"{float(end):g}" for end in (value, high) if end is not None)
    return Limit(
        id=identity,
        pack="entered",
        component=component,
        characteristic=characteristic,
        relation=relation,
        value=value,
        unit=unit,
        aggregation="single",
        applies={},
        source=source,
        edition="",
        read_on="",
        status=LimitStatus.ENTERED,
        severity=severity,
        advice=advice,
        printed=f"{ends} {unit}" if ends else "",
        high=high,
        words=words,
        outcome=outcome,
        layer="maker",
    )
