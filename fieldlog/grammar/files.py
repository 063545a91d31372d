"""Grammars from files: the one place of the grammar package that opens any."""

from __future__ import annotations

import stat
from collections.abc import Mapping
from pathlib import Path

from fieldlog.config import grammars
from fieldlog.errors import GrammarError
from fieldlog.grammar.grammar import Grammar
from fieldlog.grammar.lexicon import Lexicon, read_lexicon

MOST_BYTES = 4 << 20
"""A larger file is no grammar."""


def read_text(path: Path) -> str:
    """The text of a grammar file; raises ``GrammarError`` when it cannot be read as UTF-8."""
    try:
        status = path.stat()
        if status.st_size > MOST_BYTES or stat.S_ISFIFO(status.st_mode):
            raise GrammarError(
                f"is no grammar: a text file of at most {MOST_BYTES >> 20} MB is one",
                where=str(path),
                todo="name a .jsgf file",
            )
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise GrammarError(
            "there is no such file", where=str(path), todo="check the path to the grammar"
        ) from None
    except IsADirectoryError:
        raise GrammarError(
            "this is a folder, not a grammar", where=str(path), todo="name a .jsgf file"
        ) from None
    except UnicodeDecodeError as error:
        raise GrammarError(
            f"byte {error.start} is not UTF-8", where=str(path), todo="save the grammar as UTF-8"
        ) from None
    except OSError as error:
        raise GrammarError(
            f"cannot be read ({error.strerror})", where=str(path), todo="check its permissions"
        ) from None


def load_grammar(path: Path, texts: Mapping[str, str] | None = None) -> Grammar:
    """Load the JSGF file ``path``; raises ``GrammarError`` listing every fault.

    ``import <name.rule>;`` looks in ``texts`` (name -> JSGF text, for grammars made from data) and
    then for ``name.jsgf`` in the folder of ``path`` (a dotted name is a path of folders).
    """
    made = texts or {}

    def loader(name: str) -> tuple[str, str] | None:
        if name in made:
            return f"<{name}>", made[name]
        for relative in (Path(*name.split(".")), Path(name.rpartition(".")[2])):
            file = path.parent / relative.with_suffix(".jsgf")
            if file.is_file():
                return str(file), read_text(file)
        return None

    return Grammar.from_text(read_text(path), str(path), loader)


def load_additions(path: Path | None = None) -> Lexicon:
    """The pronunciation additions that ship with fieldlog, or those in ``path``."""
    file = path or grammars() / "additions.dic"
    return read_lexicon(read_text(file), str(file))
