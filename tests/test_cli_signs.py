"""Signs of verdicts in the terminal: told apart without colour, and no colour says what is in order."""

from __future__ import annotations

import re
from io import StringIO
from pathlib import Path

import pytest
from rich.console import Console
from rich.text import Text

from fieldlog.cli import signs
from fieldlog.cli.verdict_lines import outcome_text
from fieldlog.language.files import load_language
from fieldlog.limits.assess import Assessment
from fieldlog.model.state import State
from fieldlog.model.verdict import Verdict

COLOUR = re.compile(r"\x1b\[(?:[0-9;]*;)?(?:3[0-8]|4[0-8]|9[0-7]|10[0-7])(?:;[0-9;]*)?m")
"""SGR codes that set a colour (ECMA-48 and the bright ones)."""
CLI = Path(signs.__file__).parent


def ansi(text: Text) -> str:
    out = StringIO()
    Console(file=out, force_terminal=True, color_system="truecolor", width=300).print(text)
    return out.getvalue()


def test_a_colour_would_be_seen() -> None:
    assert COLOUR.search(ansi(Text("x", "red")))
    assert COLOUR.search(ansi(Text("x", "bold green")))
    assert not COLOUR.search(ansi(Text("x", "bold reverse underline")))


@pytest.mark.parametrize("state", State)
def test_a_verdict_has_a_sign_of_its_own_and_no_colour(state: State) -> None:
    said = load_language().understand("left mirror cracked")
    line = outcome_text(said, Assessment(Verdict(state, None, reason="because")))
    assert signs.SIGNS[state] in line.plain
    assert not COLOUR.search(ansi(line))
    others = {signs.SIGNS[other] for other in State if other is not state}
    assert signs.SIGNS[state] not in others
    assert len(signs.SIGNS[state]) == 5
    assert signs.SIGNS[state].isascii()


def test_no_command_names_a_colour() -> None:
    named = re.compile(
        r"[\"'](?:(?:bold|dim|on) )*(?:bright_)?(?:red|green|yellow|cyan|magenta|blue)[\"' ]*[,)]"
    )
    found = [p.name for p in CLI.glob("*.py") if named.search(p.read_text(encoding="utf-8"))]
    assert found == []
