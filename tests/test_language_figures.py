"""Signs and gaps before, between and behind typed figures: read as written, asked, or refused.

The reader here is this test's own: decimals after ISO 80000-1 (a point or a comma), thousands in
threes behind commas as everywhere in this program, a dash between two numbers a range.
"""

from __future__ import annotations

import re
from fractions import Fraction
from itertools import product

import pytest

from fieldlog.errors import UsageError
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.understanding import Decision, Understanding
from fieldlog.quantities.written import read_written

SIGNS = [
    *(",", ".", ";", ":", "'", "’", "·", "-", "−", "–", "—", "/", "_", "+", '"'),
    *("\u00a0", "\u202f", "\u2009", "  ", "…"),
    *(",,", "..", "...", ";;", "::", "''", "--", "–-", "//", ",.", ".,", "-.", "-,", ", ,", ". ."),
]
GAPS = ["", " "]
CORES = [("2", "3"), ("0", "5"), ("12", "340"), ("36", "5"), ("20", "5"), ("1", "265")]
SUBJECTS = [
    ("front pads", "mm"),
    ("front tyre pressure", "psi"),
    ("front tyre pressure", "kPa"),
    ("battery", "V"),
    ("odometer", "km"),
    ("air temperature", "C"),
    ("battery cell 4 specific gravity", ""),
]


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


def as_written(core: str) -> tuple[Fraction, Fraction | None] | None:
    """The value (and the upper end of a range) that ``core`` is, None where nobody could be sure."""
    text = re.sub("[−–—]", "-", core.replace("’", "'").replace("·", ".").replace("…", "..."))
    text = re.sub("[\u00a0\u202f\u2009]", " ", text)
    text = re.sub(r"(?<=\d)[\s,.;:-]+$", "", text).strip()  # behind figures: punctuation
    text = text.strip('" ')
    text = re.sub(r"^[:.;,']+\s+(?=\S)", "", text) if core[:1] != " " else text
    text = text.removeprefix(":")
    if re.fullmatch(r"-?(\d+|\d*\.\d+)", text):
        return Fraction(text), None
    if re.fullmatch(r"[1-9]\d{0,2}(,\d{3})+", text):
        return Fraction(text.replace(",", "")), None
    if re.fullmatch(r"\d+,\d{1,2}|0,\d+", text):
        return Fraction(text.replace(",", ".")), None
    if found := re.fullmatch(r"(\d+) ?/ ?(\d+)", text):
        return (Fraction(int(found[1]), int(found[2])), None) if int(found[2]) else None
    if (found := re.fullmatch(r"(\d+)(-| - |- )(\d+)", text)) is not None:
        ends = sorted((Fraction(found[1]), Fraction(found[3])))
        return ends[0], ends[1]
    return None


def silently_other(found: Understanding, core: str, unit: str) -> bool:
    """Whether another value than the one written was accepted.

    A hydrometer is read in thousandths: 1265 is 1.265, as it is said.
    """
    if found.decision is not Decision.ACCEPT:
        return False
    quantity = found.finding.quantity if found.finding is not None else None
    if quantity is None:
        return True
    value = quantity.value * 1000 if not unit and core.strip().isdigit() else quantity.value
    return (value, quantity.high) != as_written(core)


def cores() -> list[str]:
    """Figures with every sign and gap before, between and behind them, and on both sides."""
    ways = [*product(SIGNS, GAPS, GAPS)]
    made = [f"{a}{one}{sign}{other}{b}" for (a, b), (sign, one, other) in product(CORES, ways)]
    made += [f"{one}{sign}{other}{n}" for n, (sign, one, other) in product(("5", "0.5"), ways)]
    made += [f" {n}{one}{sign}{other}" for n, (sign, one, other) in product(("5", "36"), ways)]
    return sorted({*made, *(f" {sign}12{sign}5" for sign in SIGNS)})


@pytest.mark.parametrize("turn", range(len(SUBJECTS)))
def test_no_sign_or_gap_is_dropped(language: InspectionLanguage, turn: int) -> None:
    """Every stretch of figures, each said of one subject."""
    subject, unit = SUBJECTS[turn]
    wrong = []
    for core in cores()[turn :: len(SUBJECTS)]:
        space = " " if core[0].isdigit() else ""
        text = f"{subject}{space}{core} {unit}".rstrip()
        found = language.understand(text)
        if silently_other(found, core, unit):
            assert found.finding is not None
            wrong.append(f"{text!r}: {found.finding.quantity}")
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("front pads, two millimetres.", "2 mm"),
        ("front pads: 2 mm!", "2 mm"),
        ("rear tread 4/32; ", "1/8 in"),
        ("Front pads - checked twice: no", None),
        ("front pads (2 mm)", "2 mm"),
        ("front pads. 2 mm", "2 mm"),
        ("front pads... 2 mm", "2 mm"),
        ("idle 1,100 rpm", "1100 1/min"),
        ("rear disc 4.125 mm", "33/8 mm"),
        ("cell 3 1.265", "253/200 1"),
        ("odometer 12340,5 km", "24681/2 km"),
        ("battery 12,65 V", "253/20 V"),
        ("front disc run out 0,002 mm", "1/500 mm"),
        ("air temperature -5 C", "-5 degC"),
        ("air temperature -five degrees celsius", "-5 degC"),
        ("chain slack twenty-five millimetres", "25 mm"),
        ("battery cell 1, 1.265", "253/200 1"),
        ("front pads 2·5 mm", "5/2 mm"),
    ],
)
def test_what_is_written_plainly_is_accepted(
    language: InspectionLanguage, text: str, value: str | None
) -> None:
    found = language.understand(text)
    quantity = found.finding.quantity if found.finding and found.finding.quantity else None
    assert (f"{quantity.value} {quantity.unit}" if quantity else None) == value
    assert found.decision is (Decision.ACCEPT if value else Decision.REFUSE)


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("front pads ,5 mm", ["1/2", "5"]),
        ("front pads,5 mm", ["1/2", "5"]),
        ("front pads 0 ,5 mm", ["1/2", "5"]),
        ("front pads 0;5 mm", ["1/2", "5"]),
        ("front pads . 5 mm", ["1/2", "5"]),
        ("front pads 0. 5 mm", ["1/2", "5"]),
        ("front pads 2..3 mm", ["23/10", "2..3"]),
        ("odometer 12 340 km", ["12340", "12", "340"]),
        ("odometer 12'340 km", ["12340"]),
        ("odometer 12,340 km", ["12340", "617/50"]),
        ("odometer 12.340 km", ["617/50", "12340"]),
        ("rear tyre tread 1,234 mm", ["1234", "617/500"]),
        ("front pads oh five millimetres", ["5", "1/2"]),
        ("front pads zero five millimetres", ["5", "1/2"]),
        ("front pads 05 mm", ["5", "1/2"]),
        ("front tyre pressure hundred and one quarter kPa", ["101/4", "401/4"]),
        ("odometer 12.340,5 km", ["24681/2"]),
        ("odometer 1,2340 km", ["617/500"]),
        ("air temperature - 5 C", ["-5", "5"]),
        ("air temperature-5 C", ["-5", "5"]),
        ("air temperature - five degrees celsius", ["-5", "5"]),
        ("air temperature, - five degrees celsius", ["-5", "5"]),
        ("front pads - two millimetres", ["-2", "2"]),
        ("chain slack twenty-five - thirty millimetres", ["25", "30"]),
        ("battery 12 6 V", ["63/5"]),
        ("battery 12, six volts", ["63/5"]),
        ("front tyre pressure 100 20 kPa", ["120"]),
    ],
)
def test_what_can_be_meant_is_asked(
    language: InspectionLanguage, text: str, values: list[str]
) -> None:
    found = language.understand(text)
    assert found.decision is Decision.ASK
    offered = [one.quantity for one in found.candidates]
    told = [str(q.value) + (f"..{q.high}" if q.high else "") for q in offered if q is not None]
    assert told == values
    assert found.finding is None
    assert language.answer(found, "millimetres").decision is not Decision.ACCEPT


@pytest.mark.parametrize("figures", ["1.2.3", "2--3", "4,5,6", "12,34,567", "5'6"])
def test_what_cannot_be_read_is_refused_by_name(language: InspectionLanguage, figures: str) -> None:
    found = language.understand(f"front pads {figures} mm")
    assert found.decision is Decision.REFUSE
    assert f"'{figures}' cannot be read as a number" in found.reason


def test_decimals_of_readings_may_be_further_readings(language: InspectionLanguage) -> None:
    """ "4,5 then 4,6": 4.5 and 4.6, or four readings."""
    found = language.understand("front rim lateral run out readings 0,5 then 0,6 mm")
    assert found.decision is Decision.ASK
    told = [[str(v.value) for v in one.readings] for one in found.candidates]
    assert ["1/2", "3/5"] in told
    assert ["0", "5", "0", "6"] in told


@pytest.mark.parametrize(
    "text", ["remark cost 4,50 or 1.2.3", "skip front tyre because of 0;5", "remark ,5"]
)
def test_free_words_may_hold_any_figures(language: InspectionLanguage, text: str) -> None:
    assert language.understand(text).decision is Decision.ACCEPT


@pytest.mark.parametrize("text", ["correction ,5 mm", "correction - 5 C", "correction 0;5 mm"])
def test_a_bare_correction_is_no_way_round(language: InspectionLanguage, text: str) -> None:
    found = language.understand(text)
    assert found.decision is Decision.REFUSE
    assert "value" not in found.slots


@pytest.mark.parametrize(("answer", "values"), [(",5 mm", ["1/2", "5"]), ("0;5 mm", ["1/2", "5"])])
def test_an_answer_is_read_no_other_way(
    language: InspectionLanguage, answer: str, values: list[str]
) -> None:
    asked = language.understand("front pads two")
    found = language.answer(asked, answer)
    assert found.decision is Decision.ASK
    assert [str(one.quantity.value) for one in found.candidates if one.quantity] == values


@pytest.mark.uncounted
def test_where_thousands_and_decimals_are_told_apart_nothing_is_asked(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for sign, comma, point in (
        ("point", 12340, Fraction(617, 50)),
        ("COMMA", Fraction(617, 50), 12340),
    ):
        monkeypatch.setenv("FIELDLOG_DECIMAL", sign)
        language = load_language()
        for text, value in (("odometer 12,340 km", comma), ("odometer 12.340 km", point)):
            found = language.understand(text).finding
            assert found is not None
            assert found.quantity is not None
            assert found.quantity.value == value
    monkeypatch.setenv("FIELDLOG_DECIMAL", "dot")
    with pytest.raises(UsageError, match="dot"):
        load_language()


def test_what_the_other_sign_would_make_impossible_is_not_asked() -> None:
    """ "1,100 rpm" is no 1.1; a breath with it is no other value either."""
    language = load_language()
    found = language.understand("idle 1,100 rpm, front pads 3 mm")
    assert [part.finding.quantity.value for part in found.parts] == [1100, 3]  # type: ignore[union-attr]
    asked = language.understand("odometer 12,340 km, front pads 3 mm")
    assert asked.decision is Decision.ASK


def test_a_plain_text_is_one_way() -> None:
    for text in (
        "front pads 2.5 mm",
        "cell 3 1.26",
        "5 1/2 turns",
        "2-3 mm",
        ".5 mm",
        "no figures",
    ):
        written = read_written(text)
        assert [way.text.strip() for way in written.ways] == [text]
        assert written.odd == ""


def test_digits_behind_a_zero_are_asked_about_even_where_one_value_is_left(
    language: InspectionLanguage,
) -> None:
    found = language.understand("idle zero nine zero zero r p m")
    assert found.decision is Decision.ASK
    assert [one.quantity.value for one in found.offered if one.quantity] == [900]


def test_a_fraction_behind_an_and_is_asked_about_even_where_one_value_is_left(
    language: InspectionLanguage,
) -> None:
    found = language.understand("front tyre pressure hundred and one quarter p s i")
    assert found.decision is Decision.ASK
    assert [one.quantity.value for one in found.offered if one.quantity] == [Fraction(101, 4)]
