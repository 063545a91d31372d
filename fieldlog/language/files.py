"""The inspection language from its files."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path

from fieldlog import config
from fieldlog.catalogue.files import load_catalogue, rule_names
from fieldlog.grammar.files import load_grammar, read_text
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.language.shape import GRAMMAR, shape


def load_language(folder: Path | None = None) -> InspectionLanguage:
    """The language of the grammar folder (default: the one that ships with fieldlog).

    The one that ships is made once in a process: nothing about it ever changes. Raises
    ``GrammarError`` that lists every fault.
    """
    return _shipped() if folder is None else _made(folder)


@cache
def _shipped() -> InspectionLanguage:
    return _made(config.grammars())


def _made(folder: Path) -> InspectionLanguage:
    with _nothing_collected():
        return _read(folder)


@contextmanager
def _nothing_collected() -> Iterator[None]:
    """Hardly one of some 200,000 objects is thrown away: to look for waste takes a third of the time."""
    collects = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collects:
            gc.enable()


def _read(folder: Path) -> InspectionLanguage:
    catalogue = load_catalogue(folder)
    pattern = folder / "finding.jsgf"
    axes = frozenset(rule_names(folder / "positions.jsgf"))
    faults = frozenset(rule_names(folder / "faults.jsgf"))
    shaped = shape(read_text(pattern), catalogue, axes, faults, str(pattern))
    spoken = load_grammar(folder / "spoken.jsgf", {GRAMMAR: shaped.text})
    dialogue = load_grammar(folder / "dialogue.jsgf")
    answers = load_grammar(folder / "answer.jsgf")
    breath = load_grammar(folder / "breath.jsgf")
    return InspectionLanguage(spoken, shaped, catalogue, dialogue, answers, breath)
