"""Exact values, limits and instants survive the columns they are kept in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import MISSING, fields, replace
from datetime import UTC, datetime, timedelta, timezone
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldlog.errors import StoreError
from fieldlog.model.finding import Qualifier, Quantity
from fieldlog.model.limit import KOfN, Layer, Limit, LimitStatus, Relation, SeverityFrom
from fieldlog.model.state import Severity, State
from fieldlog.model.verdict import Judgement
from fieldlog.quantities.instants import instant_text
from fieldlog.store.cells import cells, taken
from fieldlog.store.rows import (
    instant_from,
    instant_us,
    limit_from,
    limit_text,
    quantity_columns,
    quantity_from,
    to_json,
)

_whole = st.integers(-(2**63) + 1, 2**63 - 1)
_exact = st.builds(Fraction, _whole, st.integers(1, 2**63 - 1))
_quantities = st.builds(
    Quantity,
    value=_exact,
    unit=st.sampled_from(["mm", "in", "N.m", "1"]),
    words=st.text(max_size=20),
    high=st.none() | _exact,
    qualifier=st.none() | st.sampled_from(Qualifier),
    uncertainty=st.none() | _exact,
)


@given(_quantities)
def test_a_quantity_comes_back_exactly(quantity: Quantity) -> None:
    assert quantity_from(quantity_columns(quantity)) == quantity


def test_no_quantity_is_no_quantity() -> None:
    assert set(quantity_columns(None).values()) == {None}
    assert quantity_from(quantity_columns(None)) is None


@pytest.mark.parametrize(
    "value", [Fraction(2**63), Fraction(-(2**63)), Fraction(1, 2**63), Fraction(10**30, 7)]
)
def test_a_value_beyond_64_bits_is_refused_not_rounded(value: Fraction) -> None:
    with pytest.raises(StoreError, match="too long to be kept exactly"):
        quantity_columns(Quantity(value, "mm"))


def _full_limit() -> Limit:
    values: dict[str, object] = {}
    for part in fields(Limit):
        default = part.default if part.default is not MISSING else None
        if part.name in {"value", "high"}:
            values[part.name] = Fraction(10**25, 3)
        elif part.name == "applies":
            values[part.name] = {"jurisdiction": "GB", "rim": "steel"}
        elif part.name == "words":
            values[part.name] = ("cracked", "torn")
        elif part.name == "relation":
            values[part.name] = Relation.BETWEEN
        elif part.name == "aggregation":
            values[part.name] = KOfN(3, 4)
        elif part.name == "layer":
            values[part.name] = Layer.MAKER
        elif part.name == "status":
            values[part.name] = LimitStatus.ENTERED
        elif isinstance(default, Severity):
            values[part.name] = Severity.DANGEROUS
        elif isinstance(default, SeverityFrom):
            values[part.name] = SeverityFrom.PRINTED
        elif isinstance(default, State):
            values[part.name] = State.MARGINAL
        else:
            values[part.name] = f"{part.name}: ä § 'quoted'"
    return Limit(**values)  # type: ignore[arg-type]


def test_every_part_of_a_limit_comes_back() -> None:
    limit = _full_limit()
    sha256, text = limit_text(limit)
    back = limit_from(text)
    assert back == limit
    assert limit_text(back) == (sha256, text)
    assert type(back.value) is Fraction
    assert limit_from(limit_text(replace(limit, value=None))[1]).value is None


def test_a_limit_kept_by_an_older_version_takes_defaults_for_newer_parts() -> None:
    import json

    text = limit_text(_full_limit())[1]
    older = {key: value for key, value in json.loads(text).items() if key != "advice"}
    assert limit_from(json.dumps(older)).advice == ""


def test_every_part_of_a_judgement_comes_back() -> None:
    judgement = Judgement(
        limit=_full_limit(),
        state=State.MARGINAL,
        margin=Fraction(-(10**40), 3),
        probability=0.625,
        guard_band=Fraction(1, 10),
        reading=Fraction(44482216152605, 6451600000000),
        reason="between",
    )
    for part in fields(Judgement):
        assert getattr(judgement, part.name) is not None, f"{part.name} is not covered here"
    columns = cells(judgement, "limit")
    assert taken(Judgement, columns, limit=judgement.limit) == judgement


@given(st.datetimes(timezones=st.just(UTC)) | st.datetimes(timezones=st.timezones()))
def test_an_instant_comes_back_in_utc(at: datetime) -> None:
    try:
        expected = at.astimezone(UTC)
    except OverflowError:
        return
    assert instant_from(instant_us(at)) == expected


@pytest.mark.parametrize(
    ("text", "us"),
    [
        # IEEE Std 1003.1-2017, 4.16: seconds since the Epoch of known instants
        ("1970-01-01T00:00:00+00:00", 0),
        ("1970-01-01T00:00:00.000001+00:00", 1),
        ("1969-12-31T23:59:59.999999+00:00", -1),
        ("2001-09-09T03:46:40+02:00", 1_000_000_000_000_000),
        ("2026-05-04T08:30:00.000000+00:00", 1_777_883_400_000_000),
    ],
)
def test_an_instant_is_whole_microseconds_since_1970(text: str, us: int) -> None:
    assert instant_us(datetime.fromisoformat(text)) == us


@pytest.mark.parametrize("as_kept", [instant_us, instant_text])
def test_a_time_without_zone_is_refused(as_kept: Callable[[datetime], object]) -> None:
    with pytest.raises(ValueError, match="no time zone"):
        as_kept(datetime(2026, 5, 4))


def test_offset_is_taken_into_account() -> None:
    at = datetime(2026, 5, 4, 10, 0, tzinfo=timezone(timedelta(hours=2)))
    assert instant_text(at) == "2026-05-04T08:00:00.000000Z"


def test_json_has_no_infinities() -> None:
    assert to_json({"b": float("inf"), "a": [float("nan"), 1.5]}) == '{"a":[null,1.5],"b":null}'
