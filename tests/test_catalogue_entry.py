"""Adding a component is one entry: no code and no JSGF is touched (and the page's example holds)."""

from __future__ import annotations

import gc
import re
import shutil
from fractions import Fraction
from pathlib import Path

import pytest

from fieldlog import config
from fieldlog.errors import GrammarError
from fieldlog.language.files import load_language
from fieldlog.model.state import Severity
from fieldlog.model.understanding import Decision

PAGE = Path(__file__).parent.parent / "docs" / "catalogue.md"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(config.grammars(), tmp_path / "grammars"))


def test_the_example_of_the_page_works_as_it_stands(folder: Path) -> None:
    example = re.search(r"```toml\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL)
    assert example is not None
    chassis = folder / "catalogue" / "controls_and_chassis.toml"
    text = re.sub(
        r'\[\[component\]\]\nname = "steering damper".*?(?=\[\[component\]\])',
        "",
        chassis.read_text("utf-8"),
        flags=re.DOTALL,
    )
    chassis.write_text(text, "utf-8")
    own = f'system = "controls and chassis"\n{example[1]}'
    (folder / "catalogue" / "own.toml").write_text(own, "utf-8")

    language = load_language(folder)
    measured = language.understand("left stabiliser travel forty millimetres")
    assert measured.decision is Decision.ACCEPT
    assert measured.finding is not None
    assert measured.finding.component == "steering damper"
    assert measured.finding.position == "left"
    assert measured.finding.quantity is not None
    assert measured.finding.quantity.value == Fraction(40)
    assert language.word_graph().accepts(["left", "steering", "damper", "leaking"])
    assert language.catalogue["steering damper"].severity("leaking") is Severity.MAJOR
    assert language.understand("damper travel two metres").decision is Decision.REFUSE


def test_a_faulty_entry_stops_the_load_with_every_fault(folder: Path) -> None:
    entry = 'system = "own"\n[[component]]\nname = "Horn Two"\nspoken = ["(horn"]\n'
    (folder / "catalogue" / "own.toml").write_text(entry, "utf-8")
    with pytest.raises(GrammarError) as caught:
        load_language(folder)
    assert gc.isenabled()  # it waits while a language is made
    told = str(caught.value)
    for part in ("name: a name is lower-case", "'(' is not closed", "how_to_check"):
        assert part in told


def test_a_pattern_with_an_unknown_hole_is_refused(folder: Path) -> None:
    pattern = folder / "finding.jsgf"
    text = pattern.read_text("utf-8").replace("<hole.condition>", "<hole.state>")
    pattern.write_text(text, "utf-8")
    with pytest.raises(GrammarError, match=r"<judged>: there is no <hole\.state> here"):
        load_language(folder)


def test_a_missing_pattern_is_refused(folder: Path) -> None:
    pattern = folder / "finding.jsgf"
    text = pattern.read_text("utf-8").replace("<judged> =", "<judgement> =")
    pattern.write_text(text, "utf-8")
    with pytest.raises(GrammarError, match="<judged> is missing"):
        load_language(folder)
