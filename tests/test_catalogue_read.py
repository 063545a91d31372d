"""The catalogue is read strictly: every fault of every entry at once, each with file and key."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from fieldlog import config
from fieldlog.catalogue.component import Catalogue
from fieldlog.catalogue.files import known_names, load_catalogue
from fieldlog.catalogue.phrases import expand
from fieldlog.catalogue.read import Known, read_catalogue
from fieldlog.errors import GrammarError
from fieldlog.model.state import Severity

KNOWN = Known(
    conditions=frozenset({"sound", "worn", "loose"}),
    axes=frozenset({"end", "side"}),
    codes=frozenset({"date code"}),
    said=frozenset({"gravity"}),
)
GOOD = """
system = "brakes"
[[component]]
name = "brake pads"
spoken = ["[brake] (pads | pad)"]
positions = ["end", "side?"]
how_to_check = "Look."
conditions.good = ["sound"]
conditions.major = ["worn"]
beyond.do = "replace"
[component.measures.thickness]
words = ["thickness"]
units = ["mm", "in"]
plausible = "0 .. 12 mm"
uncertainty = "0.2 mm: calliper"
"""


def read(text: str) -> Catalogue:
    return read_catalogue({"test.toml": text}, KNOWN)


def test_an_entry_is_read_whole() -> None:
    pads = read(GOOD)["brake pads"]
    assert pads.system == "brakes"
    assert [(axis.name, axis.required) for axis in pads.axes] == [("end", True), ("side", False)]
    assert pads.severity("worn") is Severity.MAJOR
    assert pads.severity("sound") is None
    thickness = pads.characteristic("thickness")
    assert thickness is not None
    assert thickness.plausible(Fraction(12), "mm")
    assert not thickness.plausible(Fraction(1), "in")
    uncertainty = thickness.uncertainty("in")
    assert uncertainty is not None
    assert uncertainty.of(Fraction(1, 8), "in") == Fraction(2, 254)


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ('name = "brake pads"', 'name = "Brake Pads"', "Brake Pads: name: a name is lower-case"),
        ("[brake] (pads | pad)", "[brake (pads", "spoken: '[brake (pads': '(' is not closed"),
        ("[brake] (pads | pad)", "[brake]", "it can match without any word"),
        ("[brake] (pads | pad)", "brake-pads", "is no word (lower-case letters only)"),
        ("[brake] (pads | pad)", "pads | ", "a choice without words"),
        ('"end", "side?"', '"end", "top"', "positions: 'top' is none of end, side"),
        ('how_to_check = "Look."', "", "how_to_check: a text is needed"),
        ('["worn"]', '["wron"]', "conditions.major: 'wron' is not in conditions.jsgf"),
        ("conditions.major", "conditions.terrible", "conditions.terrible: use good, minor"),
        ('["worn"]', '["worn", "worn"]', "'worn' is named twice"),
        ('["worn"]', '["worn", "sound"]', "'sound' is named twice"),
        ('beyond.do = "replace"', "", "beyond.do: say what is done when it is beyond"),
        ('["mm", "in"]', '["mm", "inch"]', "measures.thickness.units: 'inch' is no unit"),
        ('["mm", "in"]', '["mm", "V"]', "plausible: a range for its units of voltage is missing"),
        ("0 .. 12 mm", "0-12 mm", "plausible: '0-12 mm': write it like \"0 .. 12 mm\""),
        ("0 .. 12 mm", "12 .. 0 mm", "plausible"),
        ("0 .. 12 mm", "0 .. 12 V", "plausible: none of its units is a voltage"),
        ("0.2 mm: calliper", "0.2", "uncertainty: '0.2': write it like"),
        ('words = ["thickness"]', "", "words: at least one way to say it is needed"),
        ('words = ["thickness"]', 'wrods = ["thickness"]', "wrods: unknown key"),
        ('units = ["mm", "in"]', 'units = ["mm", "in"]\nreadings = 99', "readings: a count from 1"),
        ('units = ["mm", "in"]', 'units = ["mm", "in"]\ncode = "vin"', "code: 'vin' is none of"),
        ('units = ["mm", "in"]', 'units = ["mm", "in"]\nsaid = ["sung"]', "said: 'sung' is none"),
        (
            "[component.measures",
            "say.loose = ['wobbly']\n[component.measures",
            "say.loose: is none",
        ),
        (
            'beyond.do = "replace"',
            'beyond.do = "replace"\ngiven.count = { before = ["lost"], units = ["1"] }',
            "given.count.before: 'lost' is none of this entry's conditions",
        ),
        (
            'beyond.do = "replace"',
            'beyond.do = "replace"\ngiven.by = { before = ["worn"], units = ["mm"] }',
            "given.by.units: before a condition",
        ),
        (
            'beyond.do = "replace"',
            'beyond.do = "replace"\n'
            'given.count = { before = ["worn"], words = ["by"], units = ["1"] }',
            "given.count.words: what is said before a condition has no words",
        ),
        ('system = "brakes"', "", "test.toml: system: name the system"),
        ('system = "brakes"', 'system = "brakes', "test.toml: "),
    ],
)
def test_a_fault_is_named_with_its_entry_and_key(old: str, new: str, fault: str) -> None:
    assert old in GOOD
    with pytest.raises(GrammarError) as caught:
        read(GOOD.replace(old, new))
    assert fault in str(caught.value)


def test_all_faults_of_all_files_come_together() -> None:
    one = GOOD.replace('["worn"]', '["wron"]').replace("0 .. 12 mm", "12")
    other = GOOD.replace('how_to_check = "Look."', "")
    with pytest.raises(GrammarError, match="5 faults in the catalogue") as caught:
        read_catalogue({"one.toml": one, "other.toml": other}, KNOWN)
    told = str(caught.value)
    assert "one.toml: brake pads: conditions.major: 'wron'" in told
    assert "one.toml: brake pads: measures.thickness.plausible" in told
    assert "other.toml: brake pads: how_to_check" in told
    assert caught.value.exit_code == 3


def test_the_same_name_twice_is_a_fault() -> None:
    with pytest.raises(GrammarError, match="'brake pads' is already in the catalogue"):
        read_catalogue({"one.toml": GOOD, "other.toml": GOOD}, KNOWN)


def test_two_unnamed_characteristics_must_not_share_a_unit() -> None:
    more = GOOD + (
        '[component.measures.gap]\nwords = ["gap"]\nunits = ["mm"]\n'
        'plausible = "0 .. 1 mm"\nuncertainty = "0.1 mm: feeler gauge"\n'
    )
    with pytest.raises(GrammarError, match="thickness has mm too: set named = true"):
        read(more)
    assert read(more.replace('words = ["gap"]', 'words = ["gap"]\nnamed = true'))


def test_a_share_of_the_reading_is_an_uncertainty_for_every_unit() -> None:
    torque = GOOD.replace('["mm", "in"]', '["N.m", "lbf.ft"]').replace("0 .. 12 mm", "0 .. 80 N.m")
    one = read(torque.replace("0.2 mm:", "4 %:"))["brake pads"].characteristic("thickness")
    assert one is not None
    known = one.uncertainty("lbf.ft")
    assert known is not None
    assert known.of(Fraction(50), "lbf.ft") == 2


def test_a_folder_without_a_catalogue_is_refused(tmp_path: Path) -> None:
    with pytest.raises(GrammarError, match="no component catalogue here"):
        load_catalogue(tmp_path)


@pytest.mark.parametrize(
    ("text", "phrases"),
    [
        ("pads", ("pads",)),
        ("[brake] (pads | pad)", ("brake pads", "brake pad", "pads", "pad")),
        ("a | b c", ("a", "b c")),
        ("(left | right [hand]) side", ("left side", "right hand side", "right side")),
    ],
)
def test_expansions_mean_every_phrase(text: str, phrases: tuple[str, ...]) -> None:
    assert expand(text) == phrases


# --- what ships -----------------------------------------------------------------------------------

SYSTEMS = {
    *("fluids", "battery", "final drive", "tyres", "filters", "cables", "lights", "brakes"),
    *("fasteners", "wheels", "papers", "controls and chassis", "engine", "equipment"),
}


@pytest.fixture(scope="module")
def shipped() -> Catalogue:
    return load_catalogue(config.grammars())


def test_the_whole_walk_is_there(shipped: Catalogue) -> None:
    assert set(shipped.systems) == SYSTEMS
    assert all(component.how_to_check for component in shipped)


def test_no_text_promises_safety(shipped: Catalogue) -> None:
    for component in shipped:
        for text in (component.how_to_check, *component.cautions, component.beyond.do):
            assert "safe" not in text.lower(), component.name


def test_every_condition_of_the_list_is_used_by_some_entry(shipped: Catalogue) -> None:
    used = {condition for component in shipped for _, condition, _ in component.judged()}
    assert set(known_names(config.grammars()).conditions) - used == set()


def test_no_phrase_names_two_conditions_of_one_entry(shipped: Catalogue) -> None:
    from fieldlog.language.files import load_language
    from fieldlog.language.lexicon import phrases

    rules = load_language().grammar.rules
    for component in shipped:
        said: dict[tuple[str, ...], str] = {}
        own = {p for texts in component.say.values() for text in texts for p in expand(text)}
        for condition in component.conditions:
            for phrase in phrases(rules, f"conditions.{condition.replace(' ', '_')}"):
                if " ".join(phrase) not in own:
                    other = said.setdefault(phrase, condition)
                    assert other == condition, (component.name, phrase, condition, other)
