"""The inspection language from its files."""

from __future__ import annotations

import gc
from functools import cache
from pathlib import Path
from typing import TypeAlias

from fieldlog import config
from fieldlog.catalogue.component import Catalogue
from fieldlog.errors import UsageError
from fieldlog.grammar.grammar import Grammar
from fieldlog.kept import kept, nothing_collected
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.language.shape import Shaped
from fieldlog.quantities.written import DecimalSign

Parts: TypeAlias = tuple[Grammar, Shaped, Catalogue, Grammar, Grammar, Grammar, Grammar]
"""Spoken findings, the made grammar, the catalogue; dialogue, answers, breath, trade."""


def load_language(folder: Path | None = None) -> InspectionLanguage:
    """The language of the grammar folder (default: the one that ships with fieldlog).

    The one that ships is made once in a process: nothing about it ever changes. Raises
    ``GrammarError`` that lists every fault, ``UsageError`` for a decimal sign that is none.
    """
    sign = decimal_sign()
    return _shipped(sign) if folder is None else _made(folder, sign)


def decimal_sign() -> DecimalSign | None:
    """The sign that is typed before decimals, where it is known; ``UsageError`` for one that is none."""
    name = config.decimal_sign()
    try:
        return DecimalSign(name) if name else None
    except ValueError:
        known = " or ".join(DecimalSign)
        raise UsageError(
            f"no decimal sign {name!r}", where="FIELDLOG_DECIMAL", todo=f"{known}, or not set"
        ) from None


def _made(folder: Path, sign: DecimalSign | None) -> InspectionLanguage:
    with nothing_collected():
        return InspectionLanguage(*_read(folder), sign)


@cache
def _shipped(sign: DecimalSign | None) -> InspectionLanguage:
    folder = config.grammars()
    files = sorted((*folder.rglob("*.jsgf"), *folder.rglob("*.toml")))
    with nothing_collected():
        parts = kept("language", files, lambda: _read(folder))
        language = InspectionLanguage(*parts, sign)
    gc.freeze()  # what stays for good is not looked through again: a full search took up to 0.4 s
    return language


def _read(folder: Path) -> Parts:
    """Read on use: what is kept needs none of the readers."""
    from fieldlog.catalogue.files import load_catalogue, rule_names
    from fieldlog.grammar.files import load_grammar, read_text
    from fieldlog.language.rule_names import GRAMMAR
    from fieldlog.language.shape import shape

    catalogue = load_catalogue(folder)
    pattern = folder / "finding.jsgf"
    axes = frozenset(rule_names(folder / "positions.jsgf"))
    faults = frozenset(rule_names(folder / "faults.jsgf"))
    shaped = shape(read_text(pattern), catalogue, axes, faults, str(pattern))
    spoken = load_grammar(folder / "spoken.jsgf", {GRAMMAR: shaped.text})
    dialogue = load_grammar(folder / "dialogue.jsgf")
    answers = load_grammar(folder / "answer.jsgf")
    breath = load_grammar(folder / "breath.jsgf")
    trade = load_grammar(folder / "trade.jsgf")
    return spoken, shaped, catalogue, dialogue, answers, breath, trade
