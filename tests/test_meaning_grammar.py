"""The grammars of numbers, units, quantities and codes against the readers.

Whatever a rule generates has a meaning, and what is no number is not in the language.
"""

from __future__ import annotations

import random
from collections.abc import Collection
from functools import lru_cache
from pathlib import Path
from typing import Any

import pocketsphinx
import pytest

from fieldlog.config import grammars
from fieldlog.errors import UsageError
from fieldlog.grammar import Grammar, load_grammar
from fieldlog.grammar.jsgf import to_jsgf
from fieldlog.grammar.sample import Sampler
from fieldlog.language.files import load_language
from fieldlog.quantities.code_reading import CodeKind
from fieldlog.quantities.codes import KINDS, codes
from fieldlog.quantities.number_words import (
    DIGITS,
    PLAIN_DIGITS,
    POINTS,
    RADIO_DIGITS,
    SPELT_TENS,
    TEENS,
    ZEROS,
)
from fieldlog.quantities.numbers import PROPER, readings
from fieldlog.quantities.quantity import quantities
from fieldlog.quantities.rules import BARE, RULES, SAID, bare_rule, rules_for
from fieldlog.quantities.unit_table import ROWS
from fieldlog.quantities.unit_table import phrases as unit_phrases
from fieldlog.quantities.units import UNITS, dimension, meanings
from tests.enumerated import enumerate_phrases

UNIT_RULES = [(symbol, rule) for symbol, rules in RULES.items() for rule in rules]
KIND_RULES = {
    "length_small": "length", "length": "length", "distance": "length", "pressure": "pressure",
    "voltage": "voltage", "current": "current", "torque": "torque", "force": "force",
    "mass": "mass", "speed": "speed", "volume": "volume", "angle": "angle", "turns": "angle",
    "percentage": "ratio", "count": "count", "frequency": "frequency",
    "temperature": "temperature", "time": "time",
}  # fmt: skip


@lru_cache
def grammar(name: str) -> Grammar:
    return load_grammar(grammars() / f"{name}.jsgf")


def phrases(name: str, rule: str, draws: int = 150) -> list[list[str]]:
    """Phrases that reach every choice of the rule, and some drawn at random (fixed seed)."""
    whole = grammar(name)
    sampler = Sampler(whole.rules, (whole.qualified(rule),), seed=7)
    found = dict.fromkeys(sampler.covering(800))
    found.update(dict.fromkeys(sampler.random_phrase() for _ in range(draws)))
    return [phrase.split() for phrase in found]


@pytest.mark.parametrize("name", ["numbers", "units", "quantities", "codes"])
def test_grammar_is_closed_without_warnings(name: str) -> None:
    assert grammar(name).warnings == ()


@pytest.mark.parametrize(("symbol", "rule"), UNIT_RULES, ids=[rule for _, rule in UNIT_RULES])
def test_every_phrase_of_a_unit_has_a_reading_in_it(symbol: str, rule: str) -> None:
    for words in phrases("quantities", rule):
        found = quantities(words, [symbol])
        assert found.readings, (" ".join(words), found.reason)
        assert all(reading.quantity.unit == symbol for reading in found.readings)
        assert all("homophone" not in reading.flags for reading in found.readings), words


@pytest.mark.parametrize(("rule", "kind"), KIND_RULES.items())
def test_every_phrase_of_a_kind_has_a_reading(rule: str, kind: str) -> None:
    allowed = [symbol for symbol in UNITS if dimension(symbol) == kind]
    for words in phrases("quantities", rule):
        assert quantities(words, allowed).readings, words


@pytest.mark.parametrize("rule", ["number", "decimal", "mixed", "thousands", "range", "n999"])
def test_every_number_phrase_has_one_meaning_in_full(rule: str) -> None:
    for words in phrases("numbers", rule):
        found = readings(words)
        assert found, words
        full = [reading for reading in found if reading.style in PROPER]
        assert len(full) <= 2, words


@pytest.mark.parametrize("rule", ["date_code", "gravity", "plain_count", "ratio", *BARE.values()])
def test_every_phrase_without_a_unit_is_a_number(rule: str) -> None:
    for words in phrases("quantities", rule):
        assert readings(words), words


def test_every_gravity_phrase_is_a_gravity() -> None:
    for words in phrases("quantities", "gravity"):
        values = [q.value for q in quantities(words, ["1"], gravity=True).quantities]
        assert any(1 <= value < 2 for value in values), words


def test_every_date_code_has_four_digits() -> None:
    for words in phrases("quantities", "date_code"):
        assert any(len(code.text) == 4 for code in codes(CodeKind.DATE_CODE, words)), words


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "date code"])
def test_every_phrase_of_a_code_rule_is_a_code(kind: str) -> None:
    for words in phrases("codes", kind.replace(" ", "_")):
        # 29 February of a common year is the one date that the grammar cannot leave out
        if "february" in words and ("ninth" in words or "nine" in words):
            continue
        assert codes(CodeKind(kind), words), words


NO_NUMBERS = [
    "thirty oh",
    "twenty zero",
    "thirty oh five",
    "twelve oh",
    "point thirty oh",
    "two three",
    "three no four",
    "hundred and",
    "minus minus two",
]


@pytest.mark.parametrize("words", NO_NUMBERS)
@pytest.mark.parametrize("rule", ["number", "small_decimal", "n999", "decimal"])
def test_what_is_no_number_is_not_in_the_language(words: str, rule: str) -> None:
    assert grammar("numbers").parse(words.split(), rule) == ()


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ("of_mm", "thirty oh millimetres"),
        ("of_mm", "three"),
        ("of_inch", "four"),
        ("of_inch", "four thirty"),
        ("of_psi", "thirty six"),
        ("of_volt", "twelve six"),
        ("of_turn", "a quarter"),
    ],
)
def test_a_unit_is_required(rule: str, words: str) -> None:
    assert grammar("quantities").parse(words.split(), rule) == ()


SAYABLE = [
    ("of_inch", "four thirty seconds"),
    ("of_inch", "thirty one thirty seconds"),
    ("of_inch", "three sixteenths of an inch"),
    ("of_inch", "five eighths"),
    ("of_inch", "six thou"),
    ("of_inch", "point oh seven five inches"),
    ("of_inch", "three and three eighths inches"),
    ("of_mm", "two to three millimetres"),
    ("of_mm", "between two and three millimetres"),
    ("of_mm", "about two point five millimetres"),
    ("of_mm", "zero millimetres"),
    ("of_psi", "thirty six p s i"),
    ("of_psi", "tree fife p s i"),
    ("of_pounds", "thirty six pounds"),
    ("of_bar", "two point five bar"),
    ("of_kpa", "two fifty kilopascals"),
    ("of_volt", "twelve point oh six volts"),
    ("of_volt", "twelve six volts"),
    ("of_newton_metre", "sixty five newton metres"),
    ("of_lbf_in", "ninety six inch pounds"),
    ("of_kgf_m", "nine kilo metres of torque"),
    ("of_degc", "minus three degrees celsius"),
    ("of_turn", "a quarter turn"),
    ("of_km", "twelve thousand five hundred kilometres"),
    ("of_link", "a hundred and ten links"),
    ("gravity", "twelve sixty five"),
    ("gravity", "one point two six five"),
    ("date_code", "twenty five oh one"),
    ("date_code", "two five zero one"),
]


@pytest.mark.parametrize(("rule", "words"), SAYABLE)
def test_what_mechanics_say_is_in_the_language(rule: str, words: str) -> None:
    assert grammar("quantities").parse(words.split(), rule)


SHARED = {
    "thou": "thou thousandth thousandths",
    "mil": "mil mils",
    "pounds": "pounds",
    "kilos": "kilo kilos",
    "bare_degrees": "degree degrees",
}
"""Words that may be several units: the component decides which, or the speaker is asked."""


@pytest.mark.parametrize(("rule", "heard"), SHARED.items())
def test_shared_words_mean_every_unit_that_offers_them(rule: str, heard: str) -> None:
    symbols = {each.symbol for each in ROWS if each.shared == rule} or {"in"}
    for words in unit_phrases(heard):
        assert symbols <= {meaning.symbol for meaning in meanings(words)}, words


def test_rules_for_units() -> None:
    assert rules_for(["mm", "in"]) == ("of_mm", "of_inch")
    assert rules_for(["degC", "degF"]) == ("of_degc", "of_bare_degrees", "of_degf")
    assert bare_rule("mm") == "bare_length"
    assert bare_rule("link") == "bare_number"
    with pytest.raises(UsageError):
        rules_for(["furlong"])


def test_every_named_rule_exists() -> None:
    named: list[Any] = [*RULES.values(), *SAID.values(), (*BARE.values(), "bare_number")]
    for rules in named:
        for rule in rules:
            assert grammar("quantities").qualified(rule)


def test_only_conversion_units_have_no_rule() -> None:
    assert set(UNITS) - set(RULES) == {"mV", "mA", "kgf.cm", "s", "min", "h"}


def generated(rule: str, name: str = "units") -> set[str]:
    """All that a rule says."""
    return set(enumerate_phrases(grammar(name).word_graph(rule), 1000))


OFFERED = {row.rule: row.heard for row in ROWS if row.rule} | SHARED


@pytest.mark.parametrize(("rule", "heard"), OFFERED.items())
def test_the_unit_table_and_the_grammar_agree_word_for_word(rule: str, heard: str) -> None:
    assert generated(rule) == {" ".join(words) for words in unit_phrases(heard)}


def test_the_grammar_offers_the_units_of_the_table_and_no_others() -> None:
    unit = {" ".join(words) for heard in OFFERED.values() for words in unit_phrases(heard)}
    assert generated("unit") == unit
    assert set(grammar("units").public) == {f"units.{rule}" for rule in (*OFFERED, "unit")}


@pytest.mark.parametrize(
    ("rule", "table"), [("plain", PLAIN_DIGITS), ("teen", TEENS), ("ty", SPELT_TENS)]
)
def test_the_table_of_numbers_and_the_grammar_agree(rule: str, table: Collection[str]) -> None:
    assert generated(rule, "numbers") == set(table)


@pytest.mark.parametrize(
    ("rule", "table"),
    [("any_digit", {*DIGITS, *ZEROS}), ("zero", ZEROS), ("radio", RADIO_DIGITS), ("point", POINTS)],
)
def test_the_grammar_offers_only_number_words_of_the_table(
    rule: str, table: Collection[str]
) -> None:
    assert generated(rule, "numbers") <= set(table)


def test_every_rule_that_says_a_quantity_is_one_of_the_table() -> None:
    named = {name for name in grammar("quantities").public if name.startswith("quantities.of_")}
    more = {f"quantities.{rule}" for rule in ("of_thou", "of_inch_part", "of_mm_long", "of_mil")}
    assert named - more == {f"quantities.{rule}" for rules in RULES.values() for rule in rules} - {
        "quantities.ratio"
    }


ORACLE_RULES = [
    ("numbers", "number"),
    ("quantities", "of_mm"),
    ("quantities", "of_inch"),
    ("quantities", "of_volt"),
    ("quantities", "torque"),
    ("quantities", "date_code"),
    ("codes", "tyre_size"),
    ("codes", "date"),
]


@pytest.mark.parametrize(("name", "rule"), ORACLE_RULES)
def test_pocketsphinx_accepts_what_we_parse_and_nothing_else(
    name: str, rule: str, tmp_path: Path
) -> None:
    """The outside oracle is ``FsgModel.accept`` of pocketsphinx over its own reading of the JSGF."""
    text = f"#JSGF V1.0;\ngrammar t;\nimport <{name}.*>;\npublic <t> = <{name}.{rule}>;\n"
    (tmp_path / "t.jsgf").write_text(text)
    for file in grammars().glob("*.jsgf"):
        (tmp_path / file.name).write_text(file.read_text(encoding="utf-8"), encoding="utf-8")
    whole = load_grammar(tmp_path / "t.jsgf")
    file = tmp_path / "closed.jsgf"
    file.write_text(to_jsgf(whole), encoding="utf-8")
    pocketsphinx.set_loglevel("FATAL")
    network = pocketsphinx.FsgModel.jsgf_read_file(str(file), pocketsphinx.LogMath(), 1.0)
    sampler = Sampler(whole.rules, whole.public, seed=5)
    chance = random.Random(5)
    vocabulary = sorted(whole.words)
    refused = 0
    for _ in range(150):
        phrase = sampler.random_phrase()
        assert whole.parse(phrase.split()), phrase
        assert network.accept(phrase), phrase
        mutant = phrase.split()
        place = chance.randrange(len(mutant))
        mutant[place : place + chance.randrange(2)] = [chance.choice(vocabulary)]
        assert bool(whole.parse(mutant)) == bool(network.accept(" ".join(mutant))), mutant
        refused += not whole.parse(mutant)
    assert refused > 50


@pytest.mark.parametrize(
    "said",
    [
        "odometer one eight three five zero miles",
        "odometer two four zero one seven kilometres",
        "front tyre pressure two two p s i",
        "rear tyre pressure two five zero kilopascals",
        "idle speed eleven hundred r p m",
        "idle speed one one five zero r p m",
        "front axle nut torque one two five newton metres",
        "battery one two point six volts",
        "drive chain slack three five millimetres",
        "correction four millimetres",
        "correction thirty six p s i",
    ],
)
def test_digits_one_by_one_and_a_bare_correction_are_offered(said: str) -> None:
    assert load_language().word_graph().accepts(said.split())
