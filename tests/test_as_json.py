"""Values that programs read: each field under its name, exact numbers, instants in UTC."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone
from fractions import Fraction
from types import MappingProxyType

import pytest

from fieldlog.model.finding import Finding, Qualifier, Quantity
from fieldlog.model.limit import Aggregation, Limit, LimitStatus, Relation
from fieldlog.model.state import State
from fieldlog.model.verdict import Judgement, Verdict
from fieldlog.quantities.instants import instant_text
from fieldlog.words.as_json import exact, finding_json, picked, told, verdict_json

READ = Quantity(
    Fraction(4, 32),
    "in",
    "four thirty-seconds",
    Fraction(5, 32),
    Qualifier.MORE,
    Fraction(1, 64),
)
LIMIT = Limit(
    "x.tread", "x", "tyre", "tread depth", Relation.AT_LEAST, Fraction(1, 16), "in",
    Aggregation.SINGLE, {}, "a source", "2026", "2026-01-01", LimitStatus.CITED, printed="1/16 in",
)  # fmt: skip


@dataclass(frozen=True)
class _Of:
    state: State
    on: date
    at: datetime
    facts: MappingProxyType[str, str]
    several: tuple[State, ...]
    number: int = 3


def test_each_field_stands_under_its_name_as_a_value_of_json() -> None:
    east = timezone(timedelta(hours=2))
    of = _Of(
        State.BEYOND, date(2026, 3, 1), datetime(2026, 3, 1, 1, tzinfo=east),
        MappingProxyType({"a": "b"}), (State.WITHIN,),
    )  # fmt: skip
    assert told(of, "number") == {
        "state": "beyond", "on": "2026-03-01", "at": "2026-02-28T23:00:00.000000Z",
        "facts": {"a": "b"}, "several": ["within"],
    }  # fmt: skip
    assert list(picked(of, "number", "state")) == ["number", "state"]
    with pytest.raises(ValueError, match="no time zone"):
        instant_text(datetime(2026, 3, 1, tzinfo=UTC).replace(tzinfo=None))


def test_a_finding_with_its_verdict_is_exact() -> None:
    gate = Judgement(LIMIT, State.WITHIN, Fraction(1, 16), guard_band=Fraction(1, 64))
    finding = Finding(
        "tyre", "rear", "tread depth", READ, readings=(READ,), given=(("at", "cold"),)
    )
    view = finding_json(finding, Verdict(State.WITHIN, gate, (gate,)))
    assert view["quantity"] == view["readings"][0] == {
        "num": 1, "den": 8, "unit": "in", "words": "four thirty-seconds", "high_num": 5, "high_den": 32,
        "qualifier": "more than", "uncertainty_num": 1, "uncertainty_den": 64,
    }  # fmt: skip
    assert view["given"] == {"at": "cold"}
    judged = view["verdict"]["gate"]
    assert view["verdict"]["others"] == [judged]
    assert (judged["margin"], judged["guard_band"], judged["probability"]) == (
        0.0625,
        0.015625,
        None,
    )
    assert judged["limit"] == {
        "num": 1, "den": 16, "id": "x.tread", "relation": "at least", "unit": "in",
        "printed": "1/16 in", "source": "a source", "edition": "2026", "status": "cited",
    }  # fmt: skip
    assert verdict_json(None) is None
    bare = verdict_json(Verdict(State.UNDECIDED, None))
    assert bare is not None
    assert bare["gate"] is bare["severity"] is None
    assert exact(None, "high_") == {"high_num": None, "high_den": None}
    assert finding_json(Finding("horn", None, None), None)["quantity"] is None
