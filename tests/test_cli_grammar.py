"""``fieldlog grammar``: faults with places and exit code, phrases with a seed."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from fieldlog.cli import main
from fieldlog.grammar import load_grammar
from tests.test_listeners_contract import need_korean_model

HEAD = "#JSGF V1.0;\ngrammar t;\n"


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["grammar", *arguments])


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "t.jsgf"


def test_a_sound_grammar(file: Path) -> None:
    file.write_text(HEAD + "public <a> = rear (tread | pads) {what};\n<b> = x;")
    result = run("check", str(file))
    assert result.exit_code == 0
    assert "no faults in 1 rule, 3 words; no phrase has two meanings" in result.output
    assert f"{file}:4:1: warning: <b> is never used" in result.stderr


def test_all_faults_with_places_and_exit_code_3(file: Path) -> None:
    """An undefined rule is an error with its line, not silence (cmusphinx/pocketsphinx PR#320)."""
    file.write_text(HEAD + "public <a> = rear <b>;\n<c> = <c> x | ;")
    result = run("check", str(file))
    assert result.exit_code == 3
    assert f"{file}:3:19: <b> is not defined" in result.stderr
    assert f"{file}:4:15: expected words" in result.stderr
    assert "Traceback" not in result.output


def test_words_and_double_meanings_are_reported_together(file: Path) -> None:
    """The word, its rule, a phrase with it, and how it can be said (alphacep/vosk-api#1314, cmusphinx/pocketsphinx#349)."""
    file.write_text(HEAD + "public <a> = front topspin {x} | front topspin {y} | rear zzyzx;")
    result = run("check", str(file), "--listener", "pocketsphinx")
    assert result.exit_code == 3
    for part in (
        f"{file}:3:20: the listener cannot say 'topspin' (in <a>; written in 2 places)",
        "as in 'front topspin'; it can say 'top spin'",
        "cannot say 'zzyzx' (in <a>), as in 'rear zzyzx'",
        "'front topspin' can be understood as {x: topspin} or as {y: topspin}",
    ):
        assert part in result.stderr
    assert run("check", str(file), "--no-ambiguity").exit_code == 0


def test_without_the_extra_each_command_says_what_to_install(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`check` goes on without; `homophones` never says "0 pairs" of what it did not look at."""
    monkeypatch.setitem(sys.modules, "pocketsphinx", None)
    file.write_text(HEAD + "public <a> = front break {x} | front brake {y};")
    extra = "pip install 'fieldlog[listeners]'"
    check = run("check", str(file))
    assert check.exit_code == 0
    assert "not looked for: pocketsphinx" in check.stderr
    assert extra in check.stderr
    for arguments in (["homophones"], ["check", "--listener", "pocketsphinx"]):
        result = run(arguments[0], str(file), *arguments[1:])
        assert result.exit_code == 4
        assert extra in result.stderr
        assert "pair" not in result.output.replace("pairs of words", "")


def test_words_of_a_vosk_model(file: Path) -> None:
    """By the library's own look-up on a real model."""
    model = str(need_korean_model())
    file.write_text(HEAD + "public <a> = 타이어 zwingarm | 체인;", encoding="utf-8")
    result = run("check", str(file), "--listener", "vosk", "--model", model)
    assert result.exit_code == 3
    assert "the listener cannot say 'zwingarm' (in <a>), as in '타이어 zwingarm'" in result.stderr
    assert run("check", str(file), "--listener", "vosk").exit_code == 4


def test_the_grammar_that_ships_has_no_faults() -> None:
    result = run("check", "--no-ambiguity")
    assert result.exit_code == 0, result.output
    assert "the inspection grammar: no faults" in result.output


def test_samples_are_phrases_of_the_grammar(file: Path) -> None:
    file.write_text(HEAD + "public <a> = (front | rear) (tread | pads) (one | two | three)+;")
    result = run("sample", str(file), "-n", "12", "--seed", "5")
    phrases = result.output.splitlines()
    assert len(phrases) == 12
    graph = load_grammar(file).word_graph()
    assert all(graph.accepts(phrase.split()) for phrase in phrases)
    assert run("sample", str(file), "-n", "12", "--seed", "5").output == result.output
    covering = run("sample", str(file), "-n", "12", "--cover").output.split()
    assert set(covering) == {"front", "rear", "tread", "pads", "one", "two", "three"}


def test_every_help_has_an_example() -> None:
    for arguments in ((), ("check",), ("sample",)):
        assert "fieldlog grammar" in run(*arguments, "--help").output.partition("Examples:")[2]
