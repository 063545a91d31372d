"""From a finding to what follows from it by calculation (pure).

A derived finding is an ordinary ``Finding`` with a computed quantity, so that limits apply to it as
to any other; beside it stand the arithmetic in words and the source of the formula. What could be
computed but lacks a fact is a ``Lacking`` that says which setting would supply it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction

from fieldlog.derived import battery, chain, headlamp, pressure, tyre
from fieldlog.limits.context import setting_in
from fieldlog.model.context import Context
from fieldlog.model.finding import Finding, Quantity
from fieldlog.quantities.units import convert
from fieldlog.words import arithmetic

CHARACTERISTICS: tuple[tuple[str, str, str], ...] = (
    ("battery", "state of charge", "%"),
    ("battery", "freezing point", "degC"),
    ("battery", "gravity spread", "1"),
    ("drive chain", "elongation", "%"),
    ("tyre", "age", "a"),
    ("tyre", "tread depth", "in"),
    ("tyre", "pressure", "kPa"),
    ("tyre", "pressure ratio", "%"),
    ("tyre", "load capacity", "kg"),
    ("tyre", "top speed", "km/h"),
    ("headlamp", "aim angle", "deg"),
)
"""Component, characteristic and unit of everything that is derived."""


@dataclass(frozen=True, slots=True)
class Derived:
    """A computed finding, how it was computed, and by whose formula or table."""

    finding: Finding
    arithmetic: str
    source: str


@dataclass(frozen=True, slots=True)
class Lacking:
    """Something that could be computed if one more thing were known."""

    characteristic: str
    what: str
    """What is missing and how to give it, in words."""


Result = Derived | Lacking
_SCREEN = f"{headlamp.SCREEN_DISTANCE_MM}mm"


def derive(finding: Finding, context: Context, today: date) -> tuple[Result, ...]:
    """Everything that follows from ``finding`` in ``context``; empty for most findings.

    ``today`` is the day of the inspection. Uncertainty of the inputs is not carried over; the
    derived limits have their own.
    """
    rule = _RULES.get((finding.component, finding.characteristic))
    return rule(finding, context, today) if rule else ()


def _made(
    finding: Finding, characteristic: str, value: Fraction, unit: str, how: str, source: str
) -> Derived:
    made = replace(
        finding,
        characteristic=characteristic,
        quantity=Quantity(value, unit, words=how),
        condition=None,
        code=None,
        readings=(),
    )
    return Derived(made, how, source)


def _worse_end(quantity: Quantity) -> Fraction:
    """The lower end of a range: less voltage and gravity is worse."""
    return quantity.value


def _from_voltage(finding: Finding, context: Context, today: date) -> tuple[Result, ...]:
    if finding.quantity is None:
        return ()
    said = volts = _worse_end(finding.quantity)
    kind = context.settings.get("battery", "flooded")
    degrees = setting_in(context, "temperature", "degF")
    if degrees is not None:
        volts = battery.voltage_at_80f(said, degrees)
    how = arithmetic.at_rest(said, None if degrees is None else volts)
    table = battery.CHARGE_BY_VOLTAGE[kind]
    charge = battery.charge_from_voltage(volts, kind)
    gravity = battery.gravity_from_charge(charge)
    return (
        _charged(finding, charge, how, table.source),
        _freezing(finding, gravity, f"{how}; {arithmetic.dense(gravity)}"),
    )


def _charged(finding: Finding, charge: Fraction, how: str, source: str) -> Derived:
    return _made(finding, "state of charge", charge, "%", arithmetic.charged(how, charge), source)


def _freezing(finding: Finding, gravity: Fraction, how: str) -> Derived:
    celsius = convert(battery.freezing_point_f(gravity), "degF", "degC")
    text = arithmetic.freezes(how, celsius)
    source = battery.FREEZING_F_BY_GRAVITY.source
    return _made(finding, "freezing point", celsius, "degC", text, source)


def _from_gravity(finding: Finding, context: Context, today: date) -> tuple[Result, ...]:
    readings = [q.value for q in finding.readings]
    if not readings and finding.quantity is not None:
        readings = [_worse_end(finding.quantity)]
    if not readings:
        return ()
    results: list[Result] = []
    lowest = min(readings)
    how = dense = arithmetic.dense(lowest)
    degrees = setting_in(context, "temperature", "degF")
    if degrees is None:
        results.append(
            Lacking("state of charge", "electrolyte temperature not given: taken as 80 degF")
        )
    else:
        said, lowest = lowest, battery.gravity_at_80f(lowest, degrees)
        how = arithmetic.dense_at(said, degrees, lowest)
        dense = f"{how}; {arithmetic.dense(lowest)}"
    charge = battery.charge_from_gravity(lowest)
    results.append(_charged(finding, charge, how, battery.CHARGE_BY_GRAVITY.source))
    results.append(_freezing(finding, lowest, dense))
    if len(readings) > 1:
        spread = battery.cell_spread(readings)
        text = arithmetic.spread(max(readings), min(readings))
        source = "TM 9-6140-200-14 para 4-7"
        results.append(_made(finding, "gravity spread", spread, "1", text, source))
    return tuple(results)


def _from_span(finding: Finding, context: Context, today: date) -> tuple[Result, ...]:
    code, count = context.settings.get("chain"), context.settings.get("pitches")
    if finding.quantity is None:
        return ()
    if code is None or count is None:
        return (
            Lacking("elongation", "set chain (e.g. 520) and pitches (how many the span covers)"),
        )
    quantity = finding.quantity
    span = convert(quantity.high or quantity.value, quantity.unit, "mm")
    pitch = chain.SIZES[code].pitch_mm
    stretch = chain.elongation_percent(span, int(Fraction(count)), pitch)
    how = arithmetic.stretched(span, count, pitch, stretch)
    return (_made(finding, "elongation", stretch, "%", how, "ISO 606 pitch; span over n pitches"),)


def _from_date_code(finding: Finding, context: Context, today: date) -> tuple[Result, ...]:
    if finding.code is None:
        return ()
    readings = tyre.date_code(finding.code, today)
    if not readings:
        return (Lacking("age", f"{finding.code} is no week of any year up to today"),)
    if len(readings) > 1:
        years = " or ".join(str(reading.year) for reading in readings)
        return (Lacking("age", f"{finding.code} has three digits: {years}, the decade is open"),)
    made = readings[0]
    age = tyre.age_years(made.first_day, today)
    how = arithmetic.aged(made.week, made.year, made.first_day, age)
    return (_made(finding, "age", age, "a", how, "49 CFR 574.5"),)


def _from_hot_pressure(finding: Finding, context: Context, today: date) -> tuple[Result, ...]:
    hot = setting_in(context, "hot_temperature", "degC")
    if finding.quantity is None:
        return ()
    if hot is None:
        return (Lacking("pressure", "set hot_temperature (of the warm tyre), e.g. 45degC"),)
    cold = setting_in(context, "cold_temperature", "degC")
    cold = Fraction(20) if cold is None else cold
    ambient = setting_in(context, "atmosphere", "kPa") or pressure.STANDARD_ATMOSPHERE_KPA
    gauge = convert(finding.quantity.value, finding.quantity.unit, "kPa")
    value = pressure.at_temperature(gauge, hot, cold, ambient)
    how = arithmetic.cooled(gauge, ambient, cold, hot, value)
    unit = finding.quantity.unit
    back = convert(value, "kPa", unit)
    return (_made(finding, "pressure", back, unit, how, "Gay-Lussac's law, absolute values"),)


def _from_wear_bars(finding: Finding, context: Context, today: date) -> tuple[Result, ...]:
    """Tread level with its indicators: 1/32 in on motorcycle tyres, not the 2/32 of car tyres."""
    kind = context.settings.get("vehicle_class", "motorcycle")
    if finding.condition != "at wear bars" or "motorcycle" not in kind:
        return ()
    source = "FMVSS 119 (49 CFR 571.119) S6.4"
    return (_made(finding, "tread depth", Fraction(1, 32), "in", arithmetic.WORN_TO_BARS, source),)


def _pressure_ratio(finding: Finding, context: Context, today: date) -> tuple[Result, ...]:
    """The share of the recommended cold pressure, where that is set for this end."""
    quantity, position = finding.quantity, (finding.position or "").split()
    ends = [end for end in ("front", "rear") if end in position]
    if quantity is None or not ends:
        return ()
    wanted = setting_in(context, f"pressure_{ends[0]}", quantity.unit)
    if not wanted:
        return ()
    share = 100 * quantity.value / wanted
    how = arithmetic.share(quantity.value, wanted, quantity.unit, share)
    return (_made(finding, "pressure ratio", share, "%", how, "recommended cold pressure, set"),)


def _from_aim(finding: Finding, context: Context, today: date) -> tuple[Result, ...]:
    if finding.quantity is None:
        return ()
    offset = convert(finding.quantity.value, finding.quantity.unit, "mm")
    distance = setting_in(context, "distance", "mm") or headlamp.SCREEN_DISTANCE_MM
    angle = Fraction(headlamp.aim_degrees(offset, distance)).limit_denominator(10**6)
    how = arithmetic.tilted(offset, distance, angle, headlamp.aim_percent(offset, distance))
    source = "screen at 25 ft: SAE J599 practice"
    made = _made(finding, "aim angle", angle, "deg", how, source)
    if distance == headlamp.SCREEN_DISTANCE_MM:
        return (made,)
    there = finding.quantity.value * headlamp.SCREEN_DISTANCE_MM / distance
    unit = finding.quantity.unit
    text = arithmetic.as_at(there, unit, headlamp.SCREEN_DISTANCE_MM)
    at_25_ft = _made(finding, "aim offset", there, unit, f"{how}; {text}", source)
    given = tuple(each for each in finding.given if each[0] != "distance")
    asked = replace(at_25_ft.finding, given=(*given, ("distance", _SCREEN)))
    return made, replace(at_25_ft, finding=asked)


def _from_load_index(finding: Finding, context: Context, today: date) -> tuple[Result, ...]:
    quantity = finding.quantity
    if quantity is None or quantity.value.denominator != 1:
        return ()
    kilograms = tyre.load_capacity_kg(int(quantity.value))
    if kilograms is None:
        return (Lacking("load capacity", f"load index {quantity.value} is in no table at hand"),)
    how = arithmetic.stands_for("load index", quantity.value, kilograms, "kg")
    source = "ISO 4223-1, as tabulated in public"
    return (_made(finding, "load capacity", Fraction(kilograms), "kg", how, source),)


def _from_speed_symbol(finding: Finding, context: Context, today: date) -> tuple[Result, ...]:
    speed = tyre.top_speed_kmh(finding.code) if finding.code else None
    if speed is None:
        return ()
    how = arithmetic.stands_for("speed symbol", finding.code, speed, "km/h")
    return (_made(finding, "top speed", Fraction(speed), "km/h", how, "UN R75 para 2"),)


_RULES: dict[tuple[str, str | None], Callable[[Finding, Context, date], tuple[Result, ...]]] = {
    ("battery", "resting voltage"): _from_voltage,
    ("battery", "specific gravity"): _from_gravity,
    ("drive chain", "span"): _from_span,
    ("tyre", "date code"): _from_date_code,
    ("tyre", "condition"): _from_wear_bars,
    ("tyre", "tread depth"): _from_wear_bars,
    ("tyre", "pressure"): _pressure_ratio,
    ("tyre", "hot pressure"): _from_hot_pressure,
    ("tyre", "load index"): _from_load_index,
    ("tyre", "speed symbol"): _from_speed_symbol,
    ("headlamp", "aim offset"): _from_aim,
}
