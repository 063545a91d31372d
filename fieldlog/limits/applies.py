"""Whether a limit's row applies to a finding in a context: yes, no, or not until a key is set."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction

from fieldlog.errors import UsageError
from fieldlog.limits.context import SETTINGS, amount, reach
from fieldlog.model.context import Context
from fieldlog.model.finding import Finding
from fieldlog.model.limit import Limit
from fieldlog.model.state import State
from fieldlog.model.verdict import Judgement
from fieldlog.quantities.units import convert
from fieldlog.words import tell

_SEVERAL = re.compile(r"\s*,\s*")
_COMPARISON = re.compile(r"(<=|>=|<|>)\s*(.+)")


def in_reach(limit: Limit, context: Context) -> bool:
    """Whether the limit's jurisdiction reaches the context's.

    A row without one applies anywhere; ``US|none`` also where no jurisdiction is chosen.
    """
    wanted = limit.applies.get("jurisdiction")
    if wanted is None:
        return True
    named = wanted.split("|")
    if context.jurisdiction is None:
        return "none" in named
    return any(each in named for each in reach(context.jurisdiction))


def missing_keys(limit: Limit, finding: Finding, settings: Mapping[str, str]) -> set[str] | None:
    """Keys without which one cannot tell whether the row applies; None when it does not apply.

    An empty set means that it applies. ``settings`` are the context's, completed by whatever is
    assumed. The key ``position`` is answered by the finding. A row whose qualifier was looked at and
    does not hold does not apply.
    """
    if qualifier_holds(limit, settings) is False:
        return None
    missing: set[str] = set()
    for key, wanted in limit.applies.items():
        if key == "jurisdiction":
            continue
        if key == "position":
            if not _position(wanted, finding.position):
                return None
            continue
        given = settings.get(key)
        if given is None:
            missing.add(key)
        elif not holds(wanted, given):
            return None
    return missing


def qualifier_holds(limit: Limit, settings: Mapping[str, str]) -> bool | None:
    """Whether what the row asks beside the fault holds; None until somebody says so.

    ``met`` and ``not_met`` name rows by id; a row for several components by what stands before ``/``.
    """
    if not limit.asks:
        return True
    names = {limit.id, limit.id.partition("/")[0]}
    if names & set(_SEVERAL.split(settings.get("not_met", "").strip())):
        return False
    return True if names & set(_SEVERAL.split(settings.get("met", "").strip())) else None


def asked(judgement: Judgement, settings: Mapping[str, str]) -> Judgement:
    """``judgement``, undecided while the row's qualifier is open: neither beyond nor within."""
    decided = judgement.state in (State.WITHIN, State.MARGINAL)
    if decided or qualifier_holds(judgement.limit, settings) is not None:
        return judgement
    reason = "; ".join(part for part in (judgement.reason, tell.asks(judgement.limit)) if part)
    return replace(judgement, state=State.UNDECIDED, reason=reason)


def holds(wanted: str, given: str) -> bool:
    """Whether setting ``given`` meets ``wanted``: ``a|b``, ``!a``, ``>50`` or ``<=10000lb``."""
    match = _COMPARISON.fullmatch(wanted.strip())
    if match is None and (same := _same_amount(wanted, given)) is not None:
        return same
    if match is None:
        if wanted.startswith("!"):
            return given.lower() not in _alternatives(wanted[1:])
        return given.lower() in _alternatives(wanted)
    bound, unit = amount(match[2])
    value, given_unit = amount(given, unit)
    if unit and given_unit:
        value = convert(value, given_unit, unit)
    return _compare(match[1], value, bound)


def assumptions(context: Context) -> dict[str, str]:
    """What is taken for keys that are not set, after the class of the vehicle.

    A motorcycle (L3e) has more than 50 cm3 by definition of its class and a moped (L1e) at most 50
    (regulation (EU) 168/2013, annex I); a stated capacity up to 50 cm3 makes an unstated class a
    moped.
    """
    taken = {
        key: setting.assumed
        for key, setting in SETTINGS.items()
        if setting.assumed and key not in context.settings
    }
    stated_cc = context.settings.get("engine_cc")
    if stated_cc is None:
        small = context.settings.get("vehicle_class") == "moped"
        taken["engine_cc"] = "50" if small else "51"
    elif "vehicle_class" not in context.settings and Fraction(stated_cc) <= 50:
        taken["vehicle_class"] = "moped"
    if context.settings.get("vehicle_class") in ("truck", "bus") and "gvwr" in taken:
        taken["gvwr"] = "26001lb"
    return taken


def _same_amount(wanted: str, given: str) -> bool | None:
    """Whether two amounts are equal (25ft and 7.62m); None when they are not both amounts."""
    try:
        (value, unit), (other, other_unit) = amount(wanted), amount(given)
    except UsageError:
        return None
    if not unit or not other_unit:
        return None
    return convert(value, unit, other_unit) == other


def _alternatives(wanted: str) -> list[str]:
    return [part.strip().lower() for part in wanted.split("|")]


def _position(wanted: str, position: str | None) -> bool:
    """A finding at ``front left`` is at the front; a row for ``!front`` is for every other."""
    words = set((position or "").lower().split())
    if wanted.startswith("!"):
        return not any(set(part.split()) <= words for part in _alternatives(wanted[1:]))
    return any(set(part.split()) <= words for part in _alternatives(wanted))


def _compare(sign: str, value: Fraction, bound: Fraction) -> bool:
    if sign == "<":
        return value < bound
    if sign == "<=":
        return value <= bound
    if sign == ">":
        return value > bound
    return value >= bound
