"""Exact quantities, limits and instants as columns and back (pure)."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from functools import lru_cache
from types import MappingProxyType
from typing import Any, Protocol

from fieldlog.errors import StoreError
from fieldlog.model.finding import Qualifier, Quantity
from fieldlog.model.limit import Layer, Limit, LimitStatus, Relation, SeverityFrom, aggregation
from fieldlog.model.question import Asks, Rest
from fieldlog.model.state import Severity, State
from fieldlog.store.chain import Cell
from fieldlog.store.kept_question import KeptQuestion

_LARGEST = 2**63 - 1


class Columns(Protocol):
    """A row as read: ``sqlite3.Row`` or a plain mapping."""

    def __getitem__(self, key: str, /) -> Any:
        """The cell of a column."""
        ...


def fraction_columns(name: str, value: Fraction | None) -> dict[str, Cell]:
    """``{name_num, name_den}``; raises ``StoreError`` when a part needs more than 64 bits."""
    if value is None:
        return {f"{name}_num": None, f"{name}_den": None}
    if abs(value.numerator) > _LARGEST or value.denominator > _LARGEST:
        raise StoreError(
            f"the value {value.numerator}/{value.denominator} is too long to be kept exactly "
            "(64 bits each way)",
            todo="say it with fewer digits",
        )
    return {f"{name}_num": value.numerator, f"{name}_den": value.denominator}


def fraction_from(row: Columns, name: str) -> Fraction | None:
    """The ``Fraction`` behind ``name_num`` and ``name_den``, or None."""
    num, den = row[f"{name}_num"], row[f"{name}_den"]
    return None if num is None or den is None else _ratio(num, den)


_ratio = lru_cache(maxsize=8192, typed=True)(Fraction)
"""A session reads its record behind every utterance, and its rows never change."""


def quantity_columns(quantity: Quantity | None) -> dict[str, Cell]:
    """All columns of an exact quantity; every one None when there is none."""
    q = quantity
    return {
        **fraction_columns("value", q.value if q else None),
        **fraction_columns("high", q.high if q else None),
        **fraction_columns("uncertainty", q.uncertainty if q else None),
        "unit": q.unit if q else None,
        "qualifier": q.qualifier.value if q and q.qualifier else None,
        "quantity_words": q.words if q else None,
    }


def quantity_from(row: Columns) -> Quantity | None:
    """The quantity of a row, or None when it has none."""
    value = fraction_from(row, "value")
    if value is None:
        return None
    return Quantity(
        value=value,
        unit=row["unit"],
        words=row["quantity_words"] or "",
        high=fraction_from(row, "high"),
        qualifier=Qualifier(row["qualifier"]) if row["qualifier"] else None,
        uncertainty=fraction_from(row, "uncertainty"),
    )


def limit_text(limit: Limit) -> tuple[str, str]:
    """``(sha256, JSON text)`` of a limit with everything that was printed about it."""
    parts = {part.name: getattr(limit, part.name) for part in fields(limit)}
    text = to_json({**parts, "aggregation": str(limit.aggregation)})
    return hashlib.sha256(text.encode("utf-8")).hexdigest(), text


@lru_cache(maxsize=1024)
def limit_from(text: str) -> Limit:
    """The limit that ``limit_text`` wrote, by this version of fieldlog or an older one."""
    kept = json.loads(text)
    return Limit(
        **{
            part.name: _LIMIT_PARTS.get(part.name, lambda value: value)(kept[part.name])
            for part in fields(Limit)
            if part.name in kept
        }
    )


@lru_cache(maxsize=4096)
def texts_from(cell: str) -> tuple[str, ...]:
    """The texts of a cell that holds a JSON list of them."""
    return tuple(json.loads(cell))


@lru_cache(maxsize=8192)
def evidence_from(cell: str) -> Mapping[str, float]:
    """The numbers of a cell that holds a JSON object of them."""
    found: dict[str, float] = json.loads(cell)
    return found


@lru_cache(maxsize=4096)
def pairs_from(cell: str) -> tuple[tuple[str, str], ...]:
    """The pairs of a cell that holds a JSON list of them."""
    return tuple((key, value) for key, value in json.loads(cell))


def exact_text(value: Fraction | None) -> str | None:
    """``num/den`` of any length: computed values can outgrow two 64-bit integers."""
    return None if value is None else f"{value.numerator}/{value.denominator}"


@lru_cache(maxsize=8192)
def exact_from(text: str | None) -> Fraction | None:
    """The ``Fraction`` that ``exact_text`` wrote."""
    return None if text is None else Fraction(text)


_LIMIT_PARTS: Mapping[str, Callable[[Any], Any]] = {
    "value": exact_from,
    "high": exact_from,
    "applies": MappingProxyType,
    "relation": Relation,
    "aggregation": aggregation,
    "layer": Layer,
    "status": LimitStatus,
    "severity": Severity,
    "outcome": State,
    "severity_from": SeverityFrom,
    "words": tuple,
}
"""How the parts of a limit that are not plain text come back from JSON."""


def finite(value: float | None) -> float | None:
    """``value`` as a float, or None when it is absent, infinite or not a number.

    Adding zero turns -0.0 into 0.0: SQLite gives back 0.0 for it, and the row's hash must not change.
    """
    return None if value is None or not math.isfinite(value) else float(value) + 0.0


_ASKED = "asked "
"""Begins the one entry of an utterance's flags that is none: what its question was after, as JSON."""


def flags_cell(flags: Sequence[str], asked: KeptQuestion | None) -> str:
    """The flags of an utterance; behind them what its question was after, if it led to one."""
    if asked is None:
        return to_json(list(flags))
    kept = {
        "kind": asked.kind,
        "about": [list(each) for each in asked.about],
        "offered": asked.offered,
        "rest": asked.rest,
        "measured": list(asked.measured),
        **({"says": list(asked.says)} if asked.says else {}),
    }
    return to_json([*flags, f"{_ASKED}{to_json(kept)}"])


@lru_cache(maxsize=4096)
def flags_from(cell: str) -> tuple[tuple[str, ...], KeptQuestion | None]:
    """The flags in ``cell`` and what was asked.

    None for a row of an earlier version, or for a kind of question that only a later one knows.
    """
    kept = [str(each) for each in json.loads(cell)]
    asked = [json.loads(each.removeprefix(_ASKED)) for each in kept if each.startswith(_ASKED)]
    flags = tuple(each for each in kept if not each.startswith(_ASKED))
    if not asked or asked[0]["kind"] not in set(Asks):
        return flags, None
    about = tuple((component, position) for component, position in asked[0]["about"])
    rest = asked[0]["rest"]
    return flags, KeptQuestion(
        Asks(asked[0]["kind"]),
        about,
        asked[0]["offered"],
        None if rest is None else Rest(rest),
        tuple(asked[0].get("measured", ())),
        tuple(asked[0].get("says", ())),
    )


def to_json(value: object) -> str:
    """Compact JSON with sorted keys; numbers that are not finite become null."""
    return json.dumps(
        _clean(value), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )


def _clean(value: object) -> object:
    if isinstance(value, float):
        return finite(value)
    if isinstance(value, Fraction):
        return exact_text(value)
    if isinstance(value, Mapping):
        return {str(key): _clean(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_clean(item) for item in value]
    return value


_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)


def instant_us(at: datetime) -> int:
    """Whole microseconds from 1970 (UTC) to ``at``; raises ``ValueError`` for a naive time."""
    if at.tzinfo is None:
        raise ValueError(f"{at!r} has no time zone")
    return (at - _EPOCH) // _MICROSECOND


def instant_from(us: int) -> datetime:
    """The aware UTC datetime of ``instant_us``."""
    return _EPOCH + us * _MICROSECOND
