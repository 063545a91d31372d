"""Limits that the user's own settings amount to: what is stamped, marked or recommended (pure)."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction

from fieldlog.derived.brake_fluid import may_mix
from fieldlog.derived.chain import SIZES, elongation_limit_percent, lift_off_limit_mm
from fieldlog.limits.context import BRAKE_FLUIDS, amount
from fieldlog.model.context import Context
from fieldlog.model.finding import Finding
from fieldlog.model.limit import Aggregation, Layer, Limit, LimitStatus, Relation
from fieldlog.model.state import Severity, State

_GLYCOL = ("DOT 3", "DOT 4", "DOT 5.1")
SPEED_ORDER = ("B", "F", "J", "K", "L", "M", "N", "P", "Q", "R", "S", "T", "U", "H", "V", "W", "Y")
"""Speed symbols from slow to fast: H (210 km/h) stands between U (200) and V (240)."""
_SIZE = re.compile(r"(?P<size>.*?\d\d)(?:(?P<load>\d\d)(?P<speed>[A-Z]))?")
_UNFIT = "fit a tyre that the vehicle is approved with"
ENTERED = "entered"
"""The pack of the rows that are made here."""
_TOLERANCE = "10%"
"""Common practice about a recommended pressure or torque where the maker's is not known."""
_LARGE_SPROCKET = 66
"""Teeth up to which the plain 3 % governs; above it chain makers print 200/N %."""


def entered_limits(context: Context, finding: Finding) -> tuple[Limit, ...]:
    """Rows for the settings that are limits in themselves and speak about ``finding``.

    ``disc_minimum``, ``brake_fluid``, ``torque`` with ``torque_tolerance``, ``pressure_front`` and
    ``pressure_rear`` with ``pressure_tolerance``, ``lowest_temperature`` (the battery's freezing
    point lies below it), ``load_index``, ``speed_symbol``, ``tyre_size_*``, ``date`` (papers run to
    a later one). Status *entered by user*, so they gate; a tolerance that nobody entered is common
    practice, and so is the row it makes. ``teeth`` brings in the chain makers'
    lower wear limit for large sprockets, which is cited.
    """
    return tuple(row for build in _BUILDERS for row in build(context, finding))


def hint(finding: Finding) -> str:
    """Which setting would give this finding a limit, or ""."""
    about = (finding.component, finding.characteristic)
    for (component, characteristic), text in _HINTS.items():
        if component in ("", about[0]) and characteristic == about[1]:
            return text
    return ""


_HINTS = {
    ("brake disc", "thickness"): "set disc_minimum, the thickness stamped on the disc",
    ("brake fluid", "grade"): "set brake_fluid, the grade marked on the reservoir",
    ("tyre", "pressure"): "set pressure_front or pressure_rear, the recommended cold pressure",
    ("tyre", "size"): "set tyre_size_front or tyre_size_rear as approved",
    ("tyre", "load index"): "set load_index, the least the vehicle asks for",
    ("tyre", "speed symbol"): "set speed_symbol, the least the vehicle asks for",
    ("battery", "freezing point"): "set lowest_temperature, the lowest it stood in",
    ("", "torque"): "set torque, the maker's value",
    ("", "expires"): "set date, the day of the inspection",
}


def share(text: str) -> Fraction:
    """``"10%"`` as 1/10; a plain ratio as it is."""
    value, unit = amount(text, "%")
    return value / 100 if unit == "%" else value


def _disc(context: Context, finding: Finding) -> Iterator[Limit]:
    text = context.settings.get("disc_minimum")
    if text and (finding.component, finding.characteristic) == ("brake disc", "thickness"):
        yield _measured(
            replace(
                _own("disc-minimum", finding),
                relation=Relation.AT_LEAST,
                source=f"minimum thickness stamped on the disc, entered as disc_minimum={text}",
                severity=Severity.DANGEROUS,
                advice="replace the disc together with its pads",
            ),
            text,
        )


def _torque(context: Context, finding: Finding) -> Iterator[Limit]:
    text = context.settings.get("torque")
    if text and finding.characteristic == "torque":
        row = replace(
            _own("torque", finding),
            source=f"maker's torque {text}, entered by user",
            advice="tighten to the maker's value with a calibrated wrench",
        )
        yield _around(row, text, context.settings.get("torque_tolerance"))


def _pressure(context: Context, finding: Finding) -> Iterator[Limit]:
    if finding.component != "tyre" or finding.characteristic != "pressure":
        return
    ends = [end for end in ("front", "rear") if end in (finding.position or "").split()]
    for end in ends:
        if text := context.settings.get(f"pressure_{end}"):
            row = replace(
                _own(f"pressure-{end}", finding),
                source=f"recommended cold pressure {text}, entered as pressure_{end}",
                advice="set the pressure cold and find out why it is off",
            )
            yield _around(row, text, context.settings.get("pressure_tolerance"))


def _freezing(context: Context, finding: Finding) -> Iterator[Limit]:
    text = context.settings.get("lowest_temperature")
    if text and (finding.component, finding.characteristic) == ("battery", "freezing point"):
        yield _measured(
            replace(
                _own("lowest-temperature", finding),
                relation=Relation.LESS_THAN,
                source=f"lowest temperature it stood in, entered as lowest_temperature={text}",
                severity=Severity.DANGEROUS,
                advice="it may have frozen: a frozen battery is replaced, never charged",
            ),
            text,
        )


_CHAIN = "replace the chain and both sprockets as a set"


def _teeth(context: Context, finding: Finding) -> Iterator[Limit]:
    text = context.settings.get("teeth")
    if not text or (finding.component, finding.characteristic) != ("drive chain", "elongation"):
        return
    teeth = Fraction(text)
    if teeth > _LARGE_SPROCKET:
        percent = elongation_limit_percent(teeth)
        yield replace(
            _own("", finding),
            id="chain.elongation-large",
            pack="chain-wear",
            relation=Relation.AT_MOST,
            value=percent,
            unit="%",
            source="roller chain maker's wear limit for large sprockets",
            edition="FAQ KA-01616; FAQ of a second maker",
            read_on="2026-11-25",
            status=LimitStatus.CITED,
            advice=_CHAIN,
            printed=f"200/{teeth} % ({float(percent):.4g} %)",
            layer=Layer.HANDBOOK,
            section=f"200/N % above {_LARGE_SPROCKET} teeth, N = {teeth}",
            seen="secondary",
            where="regalbeloit FAQ KA-01616; diamondchain.com FAQ",
            text="The allowable chain wear in percent can be calculated using the relationship "
            "200/N, where N is the number of teeth in the large sprocket.",
        )


def _roller(context: Context, finding: Finding) -> Iterator[Limit]:
    """Common practice beside the published 1/8 in: half a roller's diameter of the chain's size."""
    code = context.settings.get("chain")
    if code and (finding.component, finding.characteristic) == ("drive chain", "lift-off"):
        value = lift_off_limit_mm(SIZES[code])
        yield replace(
            _own("", finding),
            id="common.chain-lift-off-roller",
            pack="common-practice",
            relation=Relation.AT_MOST,
            value=value,
            unit="mm",
            source=f"common practice: half a roller's diameter of chain {code}",
            status=LimitStatus.COMMON,
            advice=_CHAIN,
            printed=f"{float(value):g} mm",
            layer=Layer.COMMON,
        )


def _grade(context: Context, finding: Finding) -> Iterator[Limit]:
    """Glycol fluids (DOT 3, 4, 5.1) mix with each other, silicone DOT 5 and mineral oil with none.

    The wrong family is dangerous, a lower glycol grade does not reach the boiling points asked for,
    a higher one is left to the maker's manual.
    """
    marked, found = context.settings.get("brake_fluid"), finding.code
    if marked is None or found not in BRAKE_FLUIDS or finding.component != "brake fluid":
        return
    if found == marked:
        state, severity, advice = State.WITHIN, Severity.MINOR, ""
    elif not may_mix(found, marked):
        state, severity = State.BEYOND, Severity.DANGEROUS
        advice = f"never mixed with {marked}: drain, flush and check the seals before filling"
    elif _GLYCOL.index(found) > _GLYCOL.index(marked):
        state, severity = State.MARGINAL, Severity.MINOR
        advice = "a higher grade: see the maker's manual"
    else:
        state, severity, advice = State.BEYOND, Severity.MAJOR, f"flush and fill with {marked}"
    yield replace(
        _own("brake-fluid", finding),
        words=(found,),
        outcome=state,
        source=f"grade the vehicle is marked for, entered as brake_fluid={marked}",
        severity=severity,
        advice=advice,
    )


def _tyre_codes(context: Context, finding: Finding) -> Iterator[Limit]:
    code, settings = finding.code, context.settings
    if finding.component != "tyre":
        return
    least = settings.get("load_index")
    if finding.characteristic == "load index" and least:
        yield replace(
            _own("tyre-load index", finding),
            relation=Relation.AT_LEAST,
            value=Fraction(least),
            unit="1",
            printed=f"{float(Fraction(least)):g} 1",
            source="least load index the vehicle asks for, entered as load_index",
            severity=Severity.DANGEROUS,
            advice=_UNFIT,
        )
    if code is None:
        return
    symbol = settings.get("speed_symbol", "").upper()
    if finding.characteristic == "speed symbol" and symbol in SPEED_ORDER and code in SPEED_ORDER:
        enough = SPEED_ORDER.index(code) >= SPEED_ORDER.index(symbol)
        yield _fitted(finding, code, enough, f"speed symbol {symbol} or faster, entered by user")
    for end in ("front", "rear"):
        size = settings.get(f"tyre_size_{end}")
        if finding.characteristic == "size" and size and end in (finding.position or "").split():
            source = f"approved size {size}, entered as tyre_size_{end}"
            yield _fitted(finding, code, _as_approved(code, size), source)


def _as_approved(fitted: str, approved: str) -> bool:
    """The same size; load index and speed symbol, where both name them, no less than approved."""
    one, other = (_SIZE.fullmatch("".join(t.upper().split())) for t in (fitted, approved))
    if one is None or other is None or one["size"] != other["size"]:
        return False
    if not (one["load"] and other["load"]):
        return True
    symbols = one["speed"], other["speed"]
    if not all(symbol in SPEED_ORDER for symbol in symbols):
        return one["load"] == other["load"] and symbols[0] == symbols[1]
    carries = int(one["load"]) >= int(other["load"])
    return carries and SPEED_ORDER.index(symbols[0]) >= SPEED_ORDER.index(symbols[1])


def _papers(context: Context, finding: Finding) -> Iterator[Limit]:
    today, runs_to = context.settings.get("date"), finding.code
    if today is None or runs_to is None or finding.characteristic != "expires":
        return
    if runs_to.startswith("-"):  # "--03-03", in records of earlier versions: a day of no known year
        return
    # Both ISO 8601, so text order is date order; "2027-03" runs to the end of that month.
    valid = runs_to >= today[: len(runs_to)]
    yield replace(
        _own("date", finding),
        words=(runs_to,),
        outcome=State.WITHIN if valid else State.BEYOND,
        source=f"runs to {runs_to}, inspected on {today}",
        advice="" if valid else f"renew the {finding.component}",
    )


_BUILDERS: tuple[Callable[[Context, Finding], Iterator[Limit]], ...] = (
    _disc,
    _torque,
    _pressure,
    _freezing,
    _teeth,
    _roller,
    _grade,
    _tyre_codes,
    _papers,
)


def _fitted(finding: Finding, code: str, enough: bool, source: str) -> Limit:
    return replace(
        _own(f"tyre-{finding.characteristic}", finding),
        words=(code,),
        outcome=State.WITHIN if enough else State.BEYOND,
        source=source,
        severity=Severity.DANGEROUS,
        advice="" if enough else _UNFIT,
    )


def _measured(row: Limit, text: str) -> Limit:
    """``row`` with the value that ``text`` names."""
    value, unit = amount(text)
    return replace(row, value=value, unit=unit, printed=f"{float(value):g} {unit}")


def _around(row: Limit, text: str, entered: str | None) -> Limit:
    """What may lie about ``text``; ``entered``: its tolerance, common practice where there is none."""
    value, unit = amount(text)
    tolerance = share(entered or _TOLERANCE)
    told = f"{float(tolerance) * 100:g} %"
    low, high = value * (1 - tolerance), value * (1 + tolerance)
    about = replace(
        row,
        relation=Relation.BETWEEN,
        value=low,
        high=high,
        unit=unit,
        printed=f"{float(low):g} to {float(high):g} {unit}",
    )
    if entered:
        return replace(about, source=f"{row.source}, within {told}")
    source = f"{row.source}; the {told} about it are common practice: no tolerance was entered"
    return replace(about, source=source, status=LimitStatus.COMMON, layer=Layer.COMMON)


def _own(name: str, finding: Finding) -> Limit:
    """A row about what ``finding`` is about, as the user entered it; it says nothing by itself yet."""
    return Limit(
        id=f"{ENTERED}.{name}",
        pack=ENTERED,
        component=finding.component,
        characteristic=finding.characteristic or "",
        relation=Relation.IS,
        value=None,
        unit="",
        aggregation=Aggregation.SINGLE,
        applies={},
        source="",
        edition="",
        read_on="",
        status=LimitStatus.ENTERED,
        layer=Layer.MAKER,
    )
