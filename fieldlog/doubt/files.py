"""The decision file that ships with fieldlog."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from fieldlog.doubt.rules import DoubtRules, read_rules

RULES = Path(__file__).with_name("rules.toml")


@cache
def shipped_rules() -> DoubtRules:
    """The rules that ship with fieldlog (reads one file of the package, once)."""
    return read_rules(RULES.read_text(encoding="utf-8"), RULES.name)
