"""The inspection language from its files."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path

from fieldlog import config
from fieldlog.catalogue.files import load_catalogue, rule_names
from fieldlog.errors import UsageError
from fieldlog.grammar.files import load_grammar, read_text
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.language.shape import GRAMMAR, shape
from fieldlog.quantities.written import DecimalSign


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


@cache
def _shipped(sign: DecimalSign | None) -> InspectionLanguage:
    language = _made(config.grammars(), sign)
    gc.freeze()  # what stays for good is not looked through again: a full search took up to 0.4 s
    return language


def _made(folder: Path, sign: DecimalSign | None) -> InspectionLanguage:
    with _nothing_collected():
        return _read(folder, sign)


@contextmanager
def _nothing_collected() -> Iterator[None]:
    """Hardly one of some 200,000 objects is thrown away: to look for waste takes a third of the time."""
    collects = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collects:
            gc.freeze()  # they stay: no later look for waste goes through them, which takes 0.1 s and more
            gc.enable()


def _read(folder: Path, sign: DecimalSign | None) -> InspectionLanguage:
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
    return InspectionLanguage(spoken, shaped, catalogue, dialogue, answers, breath, trade, sign)
