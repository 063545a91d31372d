"""What other packages add: found without importing, run apart, held to what it owes."""

from __future__ import annotations

import importlib
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from fieldlog.added.entries import Adds, added, folder_of, named
from fieldlog.audio.clip import RATE, Clip
from fieldlog.cli import main
from fieldlog.errors import ModelError, UsageError
from fieldlog.language.files import load_language
from fieldlog.listeners.choose import names, open_listener
from fieldlog.shop.owed import checked

EXAMPLE = Path(__file__).with_name("data") / "adds"


@pytest.fixture
def example(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """The example package, installed for one test."""
    place = tmp_path / "installed"
    shutil.copytree(EXAMPLE, place)
    monkeypatch.syspath_prepend(str(place))
    importlib.invalidate_caches()
    yield place
    for name in ("knocks", "coastal_rules", "step_card"):
        sys.modules.pop(name, None)


def fault_of(adds: Adds, name: str) -> list[str]:
    return [f"{rule}: {fault}" for rule, fault in checked(adds, name) if fault]


def test_everything_is_listed_and_nothing_imported(example: Path) -> None:
    found = {(each.adds, each.name, each.package) for each in added()}
    assert {
        (Adds.LISTENER, "knocks", "fieldlog-example"),
        (Adds.LIMITS, "coastal", "fieldlog-example"),
        (Adds.REPORT, "step-card", "fieldlog-example"),
    } <= found
    assert folder_of(named(Adds.LIMITS, "coastal")) == example / "coastal_rules"
    assert not {"knocks", "coastal_rules", "step_card"} & set(sys.modules)
    told = CliRunner().invoke(main, ["added", "list"])
    assert "listener  knocks  (fieldlog-example 1.0)" in told.stdout


@pytest.mark.parametrize("adds", list(Adds))
def test_the_examples_keep_what_is_owed(example: Path, adds: Adds) -> None:
    (part,) = (each for each in added(adds) if each.package == "fieldlog-example")
    rules = list(checked(adds, part.name))
    assert rules
    assert [rule for rule in rules if rule[1]] == []
    kind = adds.name.lower()
    done = CliRunner().invoke(main, ["added", "check", kind, part.name])
    assert done.exit_code == 0, done.output


def test_an_added_recogniser_hears_in_a_process_of_its_own_and_is_asked_about(
    example: Path,
) -> None:
    listener = open_listener("knocks")
    try:
        listener.load(load_language())
        knock = np.zeros(RATE, dtype=np.float32)
        knock[4000:4200] = 0.9
        hearing = listener.hear(Clip(knock))
    finally:
        listener.close()
    assert [each.text for each in hearing.hypotheses] == ["front brake pads two millimetres"]
    assert "knocks" not in sys.modules


def test_a_recogniser_cannot_take_another_ones_name(example: Path) -> None:
    code = example / "knocks" / "__init__.py"
    code.write_text(
        code.read_text(encoding="utf-8").replace('name = "knocks"', 'name = "typed"'),
        encoding="utf-8",
    )
    points = example / "fieldlog_example-1.0.dist-info" / "entry_points.txt"
    points.write_text(
        points.read_text(encoding="utf-8").replace(
            "knocks = ", "typed = knocks:Knocks\nwhisper = knocks:Knocks\nknocks = "
        ),
        encoding="utf-8",
    )
    assert names().count("whisper") == 1
    assert "typed" not in names()
    listener = open_listener("knocks")
    try:
        listener.load(load_language())
        assert listener.hear(Clip(np.zeros(RATE, dtype=np.float32))).listener == "knocks"
    finally:
        listener.close()


@pytest.mark.parametrize(
    ("code", "told"),
    [
        ("raise RuntimeError('broken at import')", "broken at import"),
        ("Knocks = lambda model: object()", "is no listener"),
        ("import os\nclass Knocks:\n    def __init__(self, model): os._exit(3)", "crashed"),
    ],
)
def test_a_broken_recogniser_is_named_and_costs_no_session(
    example: Path, code: str, told: str
) -> None:
    (example / "knocks" / "__init__.py").write_text(code, encoding="utf-8")
    listener = open_listener("knocks")
    with pytest.raises(ModelError, match=told):
        listener.load(load_language())
    listener.close()
    assert fault_of(Adds.LISTENER, "knocks")


@pytest.mark.parametrize(
    ("template", "told"),
    [
        ("{{ report.nothing }}", "it prints an inspection"),
        ("{% for x in %}", "it prints an inspection"),
        ("{{ ''.__class__.__mro__ }}", "it prints an inspection"),
        ("<p>all fine</p>", "is in it"),
        (
            "{% for r in report.findings %}{{ r.subject }}{% endfor %}{{ report.vehicle | safe }}",
            "markup",
        ),
        ("<img src='https://elsewhere.example/x.png'>", "needs nothing from elsewhere"),
        ("<p>it is safe to ride</p>", "never says safe"),
    ],
)
def test_a_form_that_loses_or_does_something_is_named(
    example: Path, template: str, told: str
) -> None:
    (example / "step_card" / "form.html").write_text(template, encoding="utf-8")
    assert any(told in fault for fault in fault_of(Adds.REPORT, "step-card"))


def test_a_pack_with_a_fault_is_named(example: Path) -> None:
    pack = example / "coastal_rules" / "salt.toml"
    pack.write_text(
        pack.read_text(encoding="utf-8").replace("drive chain", "gold chain"), encoding="utf-8"
    )
    assert any("gold chain" in fault for fault in fault_of(Adds.LIMITS, "coastal"))


def test_an_added_pack_counts_by_its_name(example: Path) -> None:
    given = ["parse", "drive chain slack 35 mm", "--limits", "coastal"]
    done = CliRunner().invoke(main, given)
    assert done.exit_code == 0, done.output
    assert "30 mm" in done.stdout
    missing = CliRunner().invoke(main, ["parse", "x", "--limits", "inland"])
    assert missing.exit_code == 2


def test_two_packages_with_one_name_are_told(example: Path) -> None:
    twin = example / "fieldlog_twin-2.0.dist-info"
    shutil.copytree(example / "fieldlog_example-1.0.dist-info", twin)
    (twin / "METADATA").write_text("Metadata-Version: 2.1\nName: fieldlog-twin\nVersion: 2.0\n")
    with pytest.raises(UsageError, match="both add 'coastal'"):
        named(Adds.LIMITS, "coastal")
