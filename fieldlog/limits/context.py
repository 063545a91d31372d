"""The vocabulary of ``--jurisdiction`` and ``--set``: what the checks may be told (pure).

Every key a user can set is one row of ``SETTINGS``; a limit's ``applies`` may name the same keys
(and ``position``, which comes from the finding).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from types import MappingProxyType
from typing import assert_never

from fieldlog.errors import UsageError
from fieldlog.limits.decision import RULES
from fieldlog.model.context import Context
from fieldlog.quantities.units import UNITS, WRITTEN, convert, dimension
from fieldlog.quantities.written_dates import day_meant


class Holds(StrEnum):
    """What a setting may hold: a closed list, text, or a value; with a unit where it is measured."""

    CHOICE = "choice"
    TEXT = "text"
    DATE = "date"
    NUMBER = "number"
    UNCERTAINTY = "uncertainty"
    LENGTH = "length"
    MASS = "mass"
    PRESSURE = "pressure"
    RATIO = "ratio"
    TEMPERATURE = "temperature"
    TORQUE = "torque"


@dataclass(frozen=True, slots=True)
class Setting:
    """One key of ``--set``: what it may hold and what it is for.

    ``kind`` is ``CHOICE`` (one of ``choices``), ``NUMBER``, ``DATE`` (ISO 8601), ``TEXT`` or a
    dimension of ``fieldlog.quantities.units`` (the value then carries a unit: ``-10degC``). ``bare`` is the
    unit of a plain number where one may be left out. ``assumed`` is what the checks take when the
    key is not set; it is always said in the verdict's reason when it mattered.
    """

    key: str
    kind: Holds
    about: str
    choices: tuple[str, ...] = ()
    synonyms: Mapping[str, str] = field(default_factory=dict)
    assumed: str = ""
    bare: str = ""
    silent: bool = False
    """Assumed without saying so: what goes without saying for a motorcycle."""


_CLASS_CODES = MappingProxyType(
    {
        "l1e": "moped",
        "l1": "moped",
        "l3e": "motorcycle",
        "l3": "motorcycle",
        "l4e": "motorcycle",
        "l3e-a1": "light motorcycle",
        "m1": "car",
        "n1": "car",
        "motorbike": "motorcycle",
        "scooter": "motorcycle",
        "heavy truck": "truck",
    }
)
CHAINS = ("415", "420", "428", "520", "525", "530", "532", "630")
BRAKE_FLUIDS = ("DOT 3", "DOT 4", "DOT 5", "DOT 5.1", "mineral oil")

_ROWS: tuple[Setting, ...] = (
    Setting(
        "vehicle_class",
        Holds.CHOICE,
        "class of the vehicle; EU codes (L3e, L1e, M1) are understood",
        ("motorcycle", "light motorcycle", "moped", "car", "truck", "trailer", "bus"),
        _CLASS_CODES,
        "motorcycle",
        silent=True,
    ),
    Setting("model", Holds.TEXT, "make, model and year as the papers say; kept, not checked"),
    Setting("engine_cc", Holds.NUMBER, "engine capacity in cm3"),
    Setting(
        "gvwr",
        Holds.MASS,
        "gross vehicle weight rating, e.g. 12000lb",
        assumed="1000lb",
        silent=True,
    ),
    Setting(
        "rim",
        Holds.CHOICE,
        "material of the rim or cast wheel",
        ("steel", "alloy"),
        MappingProxyType({"aluminium": "alloy", "aluminum": "alloy", "cast": "alloy"}),
    ),
    Setting(
        "pads",
        Holds.CHOICE,
        "kind of brake pads",
        ("sintered", "organic"),
        MappingProxyType({"standard": "organic", "resin": "organic", "metal": "sintered"}),
    ),
    Setting("lining", Holds.CHOICE, "how the lining is held", ("bonded", "riveted")),
    Setting(
        "brakes",
        Holds.CHOICE,
        "kind of brake (trucks)",
        ("hydraulic disc", "hydraulic drum", "air disc", "air drum", "electric"),
    ),
    Setting(
        "brake_fluid",
        Holds.CHOICE,
        "grade the vehicle is marked for",
        BRAKE_FLUIDS,
        MappingProxyType(
            {"dot3": "DOT 3", "dot4": "DOT 4", "dot5": "DOT 5", "dot5.1": "DOT 5.1"}
            | {"3": "DOT 3", "4": "DOT 4", "5": "DOT 5", "5.1": "DOT 5.1"}
        ),
    ),
    Setting("fluid_state", Holds.CHOICE, "new or in use", ("dry", "wet"), assumed="wet"),
    Setting(
        "drive",
        Holds.CHOICE,
        "final drive",
        ("chain", "belt", "shaft"),
        assumed="chain",
        silent=True,
    ),
    Setting("chain", Holds.CHOICE, "chain size", CHAINS),
    Setting("pitches", Holds.NUMBER, "number of pitches a span was measured over"),
    Setting("teeth", Holds.NUMBER, "teeth of the larger sprocket"),
    Setting(
        "battery",
        Holds.CHOICE,
        "kind of battery",
        ("flooded", "agm"),
        MappingProxyType({"wet": "flooded", "sealed": "agm", "gel": "agm"}),
        "flooded",
    ),
    Setting("charge", Holds.CHOICE, "state the battery was in", ("charged", "unknown")),
    Setting("temperature", Holds.TEMPERATURE, "temperature of what was measured, e.g. -10degC"),
    Setting("hot_temperature", Holds.TEMPERATURE, "temperature of the warm tyre"),
    Setting("cold_temperature", Holds.TEMPERATURE, "temperature the cold pressure is meant for"),
    Setting("lowest_temperature", Holds.TEMPERATURE, "lowest temperature it stood in"),
    Setting("atmosphere", Holds.PRESSURE, "air pressure, absolute", assumed="101.325kPa"),
    Setting("pressure_front", Holds.PRESSURE, "recommended cold pressure, front"),
    Setting("pressure_rear", Holds.PRESSURE, "recommended cold pressure, rear"),
    Setting("pressure_tolerance", Holds.RATIO, "tolerance of those pressures, e.g. 10%", bare="%"),
    Setting("distance", Holds.LENGTH, "distance to the aiming screen, e.g. 25ft", assumed="25ft"),
    Setting("force", Holds.TEXT, "force at which a belt's deflection was read; kept, not checked"),
    Setting("count", Holds.TEXT, "how many of them were found so; kept, not checked"),
    Setting("short_by", Holds.TEXT, "how much is lacking to the full mark; kept, not checked"),
    Setting("odometer", Holds.LENGTH, "odometer reading, e.g. 24000mi"),
    Setting("torque", Holds.TORQUE, "maker's tightening torque for the fastener"),
    Setting("torque_tolerance", Holds.RATIO, "tolerance of that torque, e.g. 10%", bare="%"),
    Setting("disc_minimum", Holds.LENGTH, "minimum thickness stamped on the disc, e.g. 4.5mm"),
    Setting("tyre_size_front", Holds.TEXT, "tyre size the vehicle is approved with, front"),
    Setting("tyre_size_rear", Holds.TEXT, "tyre size the vehicle is approved with, rear"),
    Setting("load_index", Holds.NUMBER, "least load index the vehicle asks for"),
    Setting("speed_symbol", Holds.TEXT, "least speed symbol the vehicle asks for"),
    Setting("met", Holds.TEXT, "rows, by id, whose qualifier was looked at and holds"),
    Setting("not_met", Holds.TEXT, "rows, by id, whose qualifier was looked at and does not hold"),
    Setting("date", Holds.DATE, "date of the inspection, e.g. 2026-05-01"),
    Setting("uncertainty", Holds.UNCERTAINTY, "expanded uncertainty U (k = 2); 0 switches it off"),
    Setting(
        "decision_rule",
        Holds.CHOICE,
        "guard band rule",
        tuple(RULES),
        MappingProxyType(
            {"ilac": "ilac g8", "ilac-g8": "ilac g8", "iso14253": "iso 14253"}
            | {"iso 14253-1": "iso 14253", "3sigma": "3 sigma", "6sigma": "6 sigma"}
            | {"simple acceptance": "simple"}
        ),
        "ilac g8",
    ),
)
SETTINGS: Mapping[str, Setting] = MappingProxyType({row.key: row for row in _ROWS})
"""Every key ``--set`` knows."""

_EU = "AT BE BG HR CY CZ DK EE FI FR DE GR HU IE IT LV LT LU MT NL PL PT RO SK SI ES SE"
_STATES = (
    "AL AK AZ AR CA CO CT DE FL GA HI ID IL IN IA KS KY LA ME MD MA MI MN MS MO MT NE NV NH NJ NM "
    "NY NC ND OH OK OR PA RI SC SD TN TX UT VT VA WA WV WI WY DC"
)
JURISDICTIONS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {"US": ("US",), "GB": ("GB",), "EU": ("EU",), "NZ": ("NZ",), "CA-QC": ("CA-QC",)}
    | {f"US-{state}": (f"US-{state}", "US") for state in _STATES.split()}
    | {country: (country, "EU") for country in _EU.split()}
)
"""Jurisdiction -> the jurisdictions whose limits apply there, nearest first (ISO 3166-1/-2)."""

_KEEP_LEFT = frozenset({"GB", "IE", "MT", "CY", "AU", "NZ"})
"""Countries (ISO 3166-1) among the jurisdictions, or that may be, where traffic keeps left."""

_LONGEST_AMOUNT = 100
_AMOUNT_TEXT = re.compile(r"\s*([+-]?(?:\d+/\d+|\d+(?:\.\d+)?|\.\d+))\s*(\S*)\s*")


def parse_context(
    jurisdiction: str | None = None, settings: Iterable[str] | Mapping[str, str] = ()
) -> Context:
    """The context that ``--jurisdiction`` and ``--set key=value`` describe, in canonical spelling.

    Raises ``UsageError`` for an unknown jurisdiction, an unknown key (the message lists the keys),
    a value that the key cannot hold, or one key given two different values.
    """
    pairs = settings.items() if isinstance(settings, Mapping) else map(_split, settings)
    kept: dict[str, str] = {}
    for raw_key, raw in pairs:
        key = raw_key.strip().lower().replace("-", "_").replace(" ", "_")
        setting = SETTINGS.get(key)
        if setting is None:
            raise UsageError(
                f"unknown setting {raw_key.strip()!r}",
                where="--set",
                todo="use one of " + ", ".join(SETTINGS),
            )
        value = _value(setting, raw.strip())
        if kept.get(key, value) != value:
            raise UsageError(
                f"{key} is set twice, to {kept[key]} and to {value}",
                where="--set",
                todo="give it once",
            )
        kept[key] = value
    return Context(_jurisdiction(jurisdiction), MappingProxyType(kept))


def keeps_left(jurisdiction: str | None) -> bool:
    """Whether traffic surely keeps left there: then "nearside" is the rider's left."""
    return (jurisdiction or "").partition("-")[0] in _KEEP_LEFT


def reach(jurisdiction: str | None) -> tuple[str, ...]:
    """Jurisdictions whose limits apply in ``jurisdiction``, nearest first; none for None."""
    return JURISDICTIONS.get(jurisdiction, (jurisdiction,)) if jurisdiction else ()


def amount(text: str, bare: str = "") -> tuple[Fraction, str]:
    """``"-10degC"`` -> (-10, "degC"); a plain number has unit ``bare``.

    Raises ``UsageError`` when there is no number or the unit is unknown.
    """
    match = _AMOUNT_TEXT.fullmatch(text) if len(text) <= _LONGEST_AMOUNT else None
    if match is None or (match[1].count("/") and Fraction(match[1].split("/")[1]) == 0):
        raise UsageError(
            f"{text[:_LONGEST_AMOUNT]!r} is not a number with a unit", todo="write it like 4.5mm"
        )
    unit = WRITTEN.get(match[2].lower(), match[2]) or bare
    if unit and unit not in UNITS:
        raise UsageError(f"unknown unit {match[2]!r} in {text!r}", todo="use " + " ".join(UNITS))
    return Fraction(match[1]), unit


def _split(text: str) -> tuple[str, str]:
    key, sign, value = text.partition("=")
    if not sign or not key.strip() or not value.strip():
        raise UsageError(
            f"{text!r} is not key=value", where="--set", todo="write it like --set rim=alloy"
        )
    return key, value


def _jurisdiction(code: str | None) -> str | None:
    if code is None or not code.strip():
        return None
    plain = code.strip().upper().replace("_", "-")
    plain = {"UK": "GB"}.get(plain, plain)
    if plain not in JURISDICTIONS:
        close = _alike(plain)
        meant = f"did you mean {' or '.join(close)}? Else " if close else ""
        raise UsageError(
            f"no limits for jurisdiction {code!r}",
            where="--jurisdiction",
            todo=f"{meant}use an ISO 3166 code: US, US-VA (any state), GB, EU or an EU member such as DE, "
            "NZ, CA-QC; "
            "or leave it out for equipment standards and common practice",
        )
    return plain


def _alike(code: str) -> tuple[str, ...]:
    """Jurisdictions that are written so but for dashes and spaces, or with one letter else."""
    letters = "".join(filter(str.isalnum, code))
    same = tuple(known for known in JURISDICTIONS if known.replace("-", "") == letters)
    from difflib import get_close_matches  # seldom asked

    return same or tuple(get_close_matches(code, JURISDICTIONS, 3, 0.75))


def _value(setting: Setting, raw: str) -> str:
    where = f"--set {setting.key}"
    match setting.kind:
        case Holds.CHOICE:
            return _choice(setting, raw, where)
        case Holds.TEXT:
            return raw
        case Holds.DATE:
            return _date(raw, where)
        case Holds.NUMBER:
            value, unit = _amount(setting, raw, where)
            if unit or value <= 0:
                what = f"{raw!r} is not a plain number above 0"
                raise UsageError(what, where=where, todo="e.g. 600")
            return str(value)
        case Holds.UNCERTAINTY:
            value, unit = _amount(setting, raw, where)
            if value < 0:
                raise UsageError("an uncertainty is not below 0", where=where, todo="e.g. 0.1mm")
            return f"{value}{unit}"
        case (
            Holds.LENGTH
            | Holds.MASS
            | Holds.PRESSURE
            | Holds.RATIO
            | Holds.TEMPERATURE
            | Holds.TORQUE
        ):
            return _measured(setting, raw, where)
    assert_never(setting.kind)


def _choice(setting: Setting, raw: str, where: str) -> str:
    plain = " ".join(raw.lower().replace("_", " ").split())
    plain = setting.synonyms.get(plain, setting.synonyms.get(plain.replace(" ", ""), plain))
    for choice in setting.choices:
        if plain.lower() == choice.lower():
            return choice
    raise UsageError(
        f"{raw!r} is none of its values", where=where, todo="use " + ", ".join(setting.choices)
    )


def _date(raw: str, where: str) -> str:
    return day_meant(raw, where)


def _amount(setting: Setting, raw: str, where: str) -> tuple[Fraction, str]:
    try:
        return amount(raw, setting.bare)
    except UsageError as error:
        raise UsageError(error.what, where=where, todo=error.todo) from None


def _measured(setting: Setting, raw: str, where: str) -> str:
    value, unit = _amount(setting, raw, where)
    if not unit or dimension(unit) != setting.kind:
        example = {Holds.TEMPERATURE: "20degC", Holds.PRESSURE: "36psi", Holds.MASS: "500lb"}
        raise UsageError(
            f"{raw!r} is not a {setting.kind} with its unit",
            where=where,
            todo=f"write it like {example.get(setting.kind, 'in the help text: ' + setting.about)}",
        )
    return f"{value}{unit}"


def setting_in(context: Context, key: str, unit: str) -> Fraction | None:
    """A measured setting in ``unit``, exactly; None when it is not set.

    Raises ``UsageError`` when the setting's unit is of another dimension.
    """
    raw = context.settings.get(key)
    if raw is None:
        return None
    value, given = amount(raw, unit)
    return convert(value, given, unit)
