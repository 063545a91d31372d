"""Settings that are limits in themselves: stamped, marked, recommended by the maker."""

from __future__ import annotations

from fractions import Fraction

import pytest

from fieldlog.limits.check import check
from fieldlog.limits.context import parse_context
from fieldlog.limits.entered import SPEED_ORDER, share
from fieldlog.limits.packs import shipped_limits
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.limit import LimitStatus
from fieldlog.model.state import State
from fieldlog.model.verdict import Verdict


def verdict(finding: Finding, *settings: str) -> Verdict:
    return check(finding, shipped_limits(), parse_context(None, settings))


def measured(
    component: str, characteristic: str, value: str, unit: str, position: str = "front"
) -> Finding:
    return Finding(component, position, characteristic, Quantity(Fraction(value), unit))


@pytest.mark.parametrize(
    ("finding", "settings", "state"),
    [
        (measured("brake disc", "thickness", "4.5", "mm"), ("disc_minimum=4.5mm",), "within"),
        # a load index is said as a number: the catalogue makes it a quantity
        (measured("tyre", "load index", "58", "1"), ("load_index=58",), "within"),
        (measured("tyre", "load index", "57", "1"), ("load_index=58",), "beyond"),
        (measured("brake disc", "thickness", "4.4", "mm"), ("disc_minimum=4.5mm",), "beyond"),
        (measured("axle nut", "torque", "65", "N.m"), ("torque=70N.m",), "within"),
        (measured("axle nut", "torque", "60", "N.m"), ("torque=70N.m",), "faulty"),
        (measured("axle nut", "torque", "48", "lbf.ft"), ("torque=70N.m",), "within"),
        (
            measured("axle nut", "torque", "65", "N.m"),
            ("torque=70N.m", "torque_tolerance=5%"),
            "beyond",
        ),
        (measured("tyre", "pressure", "36", "psi"), ("pressure_front=36psi",), "within"),
        (measured("tyre", "pressure", "2.5", "bar"), ("pressure_front=36psi",), "within"),
        (measured("tyre", "pressure", "30", "psi"), ("pressure_front=36psi",), "faulty"),
        (
            measured("tyre", "pressure", "30", "psi"),
            ("pressure_front=36psi", "pressure_tolerance=10%"),
            "beyond",
        ),
        (measured("tyre", "pressure", "30", "psi"), ("pressure_rear=36psi",), "undecided"),
        # US Army OD1002: specific gravity 1.150 freezes at 5 degF.
        (
            measured("battery", "freezing point", "5", "degF"),
            ("lowest_temperature=-10degC",),
            "within",
        ),
        (
            measured("battery", "freezing point", "5", "degF"),
            ("lowest_temperature=-20degC",),
            "beyond",
        ),
        # 200/N % above 66 teeth: 80 teeth 2.5 %; 48 teeth keep the 3 %.
        (measured("drive chain", "elongation", "2.6", "%"), ("teeth=80",), "beyond"),
        (
            measured("drive chain", "elongation", "2.6", "%"),
            ("teeth=48",),
            "faulty",
        ),  # by common practice, 2 %
        # Half a roller of a 520 chain is 5.08 mm, the published wording 1/8 in: practice both.
        (measured("drive chain", "lift-off", "6", "mm"), ("chain=520",), "faulty"),
        (measured("drive chain", "lift-off", "3", "mm"), ("chain=520",), "within"),
    ],
)
def test_measured_settings_gate(finding: Finding, settings: tuple[str, ...], state: str) -> None:
    assert verdict(finding, "uncertainty=0", *settings).state.value == state


@pytest.mark.parametrize(
    ("characteristic", "code", "setting", "state"),
    [
        ("speed symbol", "H", "speed_symbol=U", "within"),  # H 210 km/h is above U 200
        ("speed symbol", "U", "speed_symbol=H", "beyond"),
        ("speed symbol", "V", "speed_symbol=h", "within"),
        ("size", "120/70 ZR17", "tyre_size_front=120/70ZR17", "within"),
        ("size", "110/70 ZR17", "tyre_size_front=120/70 ZR17", "beyond"),
        # load index and speed symbol behind the size: as much as is approved, or more
        ("size", "120/70 ZR17 58W", "tyre_size_front=120/70ZR17", "within"),
        ("size", "120/70 ZR17 58W", "tyre_size_front=120/70 ZR17 58W", "within"),
        ("size", "120/70 ZR17 58V", "tyre_size_front=120/70 ZR17 58W", "beyond"),
        ("size", "120/70 ZR17 55W", "tyre_size_front=120/70 ZR17 58W", "beyond"),
        ("size", "120/70 ZR17 60Y", "tyre_size_front=120/70 ZR17 58W", "within"),
    ],
)
def test_tyre_codes_are_held_against_what_is_approved(
    characteristic: str, code: str, setting: str, state: str
) -> None:
    found = verdict(Finding("tyre", "front", characteristic, code=code), setting)
    assert found.state.value == state
    assert found.gate is not None
    assert found.gate.limit.status is LimitStatus.ENTERED


def test_speed_symbols_are_not_in_the_order_of_the_alphabet() -> None:
    at = SPEED_ORDER.index
    assert at("U") < at("H") < at("V")
    assert list(SPEED_ORDER) != sorted(SPEED_ORDER)


def test_papers_run_to_a_date() -> None:
    paper = Finding("insurance", None, "expires", code="2026-04-30")
    assert verdict(paper, "date=2026-04-30").state is State.WITHIN
    assert verdict(paper, "date=2026-05-01").state is State.BEYOND
    assert "set date" in verdict(paper).reason
    month = Finding("insurance", None, "expires", code="2026-04")  # to the end of that month
    assert verdict(month, "date=2026-04-30").state is State.WITHIN
    assert verdict(month, "date=2026-05-01").state is State.BEYOND
    unknown = Finding("insurance", None, "expires", code="--05-01")  # as earlier versions kept it
    assert verdict(unknown, "date=2026-04-30").state is State.UNDECIDED


@pytest.mark.parametrize(
    ("finding", "told"),
    [
        (measured("brake disc", "thickness", "4.5", "mm"), "disc_minimum"),
        (measured("axle nut", "torque", "60", "N.m"), "set torque"),
        (Finding("brake fluid", "front", "grade", code="DOT 4"), "brake_fluid"),
        (measured("battery", "freezing point", "5", "degF"), "lowest_temperature"),
    ],
)
def test_without_the_setting_the_reason_names_it(finding: Finding, told: str) -> None:
    found = verdict(finding)
    assert found.state is State.UNDECIDED
    assert told in found.reason


def test_shares() -> None:
    assert share("10%") == Fraction(1, 10)
    assert share("1/5 1") == Fraction(1, 5)
