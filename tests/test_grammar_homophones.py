"""Words that sound the same: found where both may be said and mean different things."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from fieldlog.cli import main
from fieldlog.doubt.twins import SLIPS
from fieldlog.grammar.homophones import homophones
from fieldlog.grammar.tagged import TaggedLanguage
from fieldlog.language.files import load_language
from fieldlog.listeners.pocketsphinx import pronunciations

HEAD = "#JSGF V1.0;\ngrammar t;\n"


def pairs(text: str, *phrases: str) -> set[frozenset[str]]:
    language = TaggedLanguage.from_text(HEAD + text)
    found = homophones(phrases, pronunciations(language.words()), language)
    return {frozenset((each.one, each.other)) for each in found}


def test_two_words_that_sound_the_same_are_found() -> None:
    text = "public <a> = seat (too {very} | two {count}) loose | main (brake | break) now;"
    assert pairs(text) == {frozenset(("too", "two"))}


def test_words_that_never_stand_alike_are_none() -> None:
    assert pairs("public <a> = too {a} loose | two {b} missing;") == set()


def test_two_words_that_sound_like_two_others_are_found_in_phrases() -> None:
    text = "public <a> = (torqued to {reached} | torque two {hundreds}) eighty;"
    assert pairs(text, "torqued to eighty", "torque two eighty") == {
        frozenset(("torqued to", "torque two"))
    }


def test_a_file_is_looked_through(tmp_path: Path) -> None:
    file = tmp_path / "t.jsgf"
    file.write_text(HEAD + "public <a> = main (brake {x} | break {y}) now;")
    done = CliRunner().invoke(main, ["grammar", "homophones", str(file)])
    assert done.exit_code == 0
    assert "'brake' and 'break' sound the same" in done.output


@pytest.mark.uncounted
def test_those_of_the_inspection_are_asked_about(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a phrase has said little yet; `fieldlog grammar homophones` goes through all of them."""
    monkeypatch.setattr("fieldlog.grammar.homophones.MOST_STATES", 8_000)
    language = load_language()
    found = homophones((), pronunciations(language.words()), language)
    assert len(found) >= 2
    for each in found:
        exchanged = [
            each.phrase.replace(one, other)
            for one, other in SLIPS
            if f" {one} " in f" {each.phrase} "
        ]
        assert any(each.instead in text for text in exchanged), each


def test_the_check_of_a_grammar_tells_words_that_sound_the_same(tmp_path: Path) -> None:
    file = tmp_path / "g.jsgf"
    file.write_text(
        "#JSGF V1.0;\ngrammar g;\npublic <said> = torque (two {to} | to {way}) (left | right);\n"
    )
    done = CliRunner().invoke(main, ["grammar", "check", str(file)])
    assert done.exit_code == 0
    assert "warning: 'to' and 'two' sound the same" in done.stderr
    assert "1 pair of words sounds the same" in done.stdout
    file.write_text(
        "#JSGF V1.0;\ngrammar g;\npublic <said> = torque (two | three) {n} (left | right);\n"
    )
    assert "sound the same" not in CliRunner().invoke(main, ["grammar", "check", str(file)]).output
