"""The decision file that ships with fieldlog."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from fieldlog import config
from fieldlog.doubt.rules import DoubtRules, read_rules
from fieldlog.grammar.language import Language

OWN = "doubt.toml"
"""A language's own decision file, in its folder of ``grammars/``."""
RULES = Path(__file__).with_name("rules.toml")


def rules_for(language: Language) -> DoubtRules:
    """The rules by which what is heard of ``language`` is doubted: its folder's own, else those that ship."""
    return _rules_of(str(getattr(language, "speech", "")), config.grammars())


@cache
def _rules_of(speech: str, grammars: Path) -> DoubtRules:
    own = grammars / speech / OWN
    if not speech or not own.is_file():
        return shipped_rules()
    return read_rules(own.read_text(encoding="utf-8"), str(own))


@cache
def shipped_rules() -> DoubtRules:
    """The rules that ship with fieldlog (reads one file of the package, once)."""
    return read_rules(RULES.read_text(encoding="utf-8"), RULES.name)
