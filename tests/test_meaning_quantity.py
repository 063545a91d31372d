"""Quantities: the table of words, allowed units and plausible ranges; the outside measures."""

from __future__ import annotations

import tomllib
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldlog.errors import UsageError
from fieldlog.quantities.number_words import NUMBER_WORDS
from fieldlog.quantities.quantity import Plausible, QuantityReading, quantities
from fieldlog.quantities.units import SPOKEN, UNITS
from tests.shared import need_shared

TABLE = tomllib.loads((Path(__file__).parent / "data" / "quantities.toml").read_text())
ROWS = [
    (section, words, row) for section in TABLE["section"] for words, row in section["rows"].items()
]


def shown(reading: QuantityReading) -> str:
    """One reading as the table writes it."""
    q = reading.quantity
    high = "" if q.high is None else f"..{q.high}"
    qualifier = f", {q.qualifier.value}" if q.qualifier else ""
    flags = f" ({', '.join(reading.flags)})" if reading.flags else ""
    return f"{q.value}{high} {q.unit}{qualifier}{flags}"


@pytest.mark.parametrize(
    ("section", "words", "row"), ROWS, ids=[f"{s['name'][:16]}: {w}" for s, w, _ in ROWS]
)
def test_table(section: dict[str, Any], words: str, row: dict[str, Any]) -> None:
    plausible = None
    if "plausible" in section:
        low, high, unit = section["plausible"].split()
        plausible = Plausible(Fraction(low), Fraction(high), unit)
    found = quantities(
        words.split(),
        section["allowed"],
        plausible=plausible,
        gravity=section.get("gravity", False),
    )
    assert sorted(map(shown, found.readings)) == sorted(row.get("readings", []))
    assert sorted(map(shown, found.implausible)) == sorted(row.get("implausible", []))
    assert sorted(map(shown, found.assumed)) == sorted(row.get("assumed", []))
    assert found.reason == row.get("reason", "")


def test_the_words_as_spoken_are_kept() -> None:
    (reading,) = quantities(["about", "four", "thirty", "seconds"], ["in", "mm"]).readings
    assert reading.quantity.words == "about four thirty seconds"
    assert reading.number.denominator == 32


def test_spoken_zeros_are_kept_beside_the_value() -> None:
    (reading,) = quantities(["twelve", "point", "five", "oh", "volts"], ["V"]).readings
    assert (reading.quantity.value, reading.number.places) == (Fraction(25, 2), 2)


def test_a_default_unit_is_taken_without_asking() -> None:
    found = quantities(["ninety"], ["1/min"], default="1/min")
    assert [(q.value, q.unit) for q in found.quantities] == [(90, "1/min")]


def test_an_unknown_allowed_unit_is_an_error() -> None:
    with pytest.raises(UsageError, match="unknown unit 'furlong'"):
        quantities(["two"], ["furlong"])


# Units of the outside measures that we have, as they are written there.
WRITTEN = {
    "m": "m", "km": "km", "cm": "cm", "mm": "mm", "ft": "ft", "mi": "mi", "km/h": "km/h",
    "mph": "mi/h", "kg": "kg", "g": "g", "%": "%", "ml": "mL", "cc": "mL", "v": "V", "h": "h",
    "kgf/cm²": "kgf/cm2", "mv": "mV",
}  # fmt: skip

# The same, from github.com/NVIDIA/NeMo-text-processing (Apache-2.0), inverse text normalisation.
MEASURES = [
    ("two hundred meters", "200", "m"),
    ("two hundred kilometers per hour", "200", "km/h"),
    ("twenty eight kilograms force per square centimeter", "28", "kgf/cm2"),
    ("minus sixty six kilograms", "-66", "kg"),
    ("one milli volt", "1", "mV"),
    ("four hundred forty milliliters", "440", "mL"),
    ("one thousand five hundred thirty one c c", "1531", "mL"),
    ("two hundred forty five miles per hour", "245", "mi/h"),
    ("sixty point two four zero zero kilograms", "60.24", "kg"),
    ("zero foot", "0", "ft"),
    ("point two meters", "0.2", "m"),
    ("eight hundred thirty eight point two millimeters", "838.2", "mm"),
    ("eighteen point one four percent", "18.14", "%"),
    ("eight hundred volts", "800", "V"),
    ("eight point five centimeters", "8.5", "cm"),
]


@pytest.mark.parametrize(("spoken", "number", "unit"), MEASURES)
def test_outside_measures(spoken: str, number: str, unit: str) -> None:
    found = quantities(spoken.split(), [unit]).quantities
    assert [(q.value, q.unit) for q in found] == [(Fraction(number), unit)]


def test_every_outside_measure_in_our_units_when_present() -> None:
    path = need_shared("text/spoken_measure.txt")
    read = 0
    for line in path.read_text().splitlines():
        spoken, written = line.split("~")
        number, _, unit = written.partition(" ")
        if unit not in WRITTEN:
            continue
        found = quantities(spoken.split(), [WRITTEN[unit]]).quantities
        value = Fraction("0" + number if number.startswith(".") else number)
        assert [(q.value, q.unit) for q in found] == [(value, WRITTEN[unit])], line
        read += 1
    assert read >= 60


WORDS = sorted(NUMBER_WORDS | {word for phrase in SPOKEN for word in phrase} | {"of", "full", "no"})


@given(st.lists(st.sampled_from(WORDS), max_size=7), st.sets(st.sampled_from(sorted(UNITS))))
def test_garbage_gives_readings_or_a_reason(words: list[str], allowed: set[str]) -> None:
    found = quantities(words, allowed)
    assert bool(found.readings) == (found.reason == "")
    for reading in (*found.readings, *found.assumed):
        assert reading.quantity.unit in allowed
