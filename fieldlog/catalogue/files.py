"""The catalogue from its folder: the one place of the package that opens files."""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path

from fieldlog.catalogue.cautions import with_cautions
from fieldlog.catalogue.component import Catalogue
from fieldlog.catalogue.read import Known, read_catalogue
from fieldlog.errors import GrammarError
from fieldlog.grammar.files import read_text
from fieldlog.quantities.codes import KINDS
from fieldlog.quantities.rules import SAID

_PUBLIC_RULE = re.compile(r"^public <(\w+)>", re.MULTILINE)


def load_catalogue(folder: Path) -> Catalogue:
    """The catalogue of the grammar folder ``folder``: ``catalogue/*.toml`` beside the JSGF files, and the
    classes of cautions in ``cautions.toml``.

    Raises ``GrammarError`` with every fault, or when the folder holds no catalogue.
    """
    files = sorted((folder / "catalogue").glob("*.toml"))
    if not files:
        raise GrammarError(
            "no component catalogue here",
            where=str(folder / "catalogue"),
            todo="name the folder that holds finding.jsgf and catalogue/*.toml",
        )
    catalogue = read_catalogue({file.name: read_text(file) for file in files}, known_names(folder))
    faults: list[str] = []
    catalogue = with_cautions(catalogue, read_text(folder / "cautions.toml"), faults)
    if faults:
        raise GrammarError(
            "\n  ".join([f"{len(faults)} faults in the cautions", *faults]),
            where="cautions",
            todo="correct the rows named and try again",
        )
    return catalogue


@lru_cache(maxsize=4)
def known_names(folder: Path) -> Known:
    """What entries may refer to: the rules of the JSGF files in ``folder``."""
    positions = rule_names(folder / "positions.jsgf")
    return Known(
        conditions=frozenset(rule_names(folder / "conditions.jsgf")),
        axes=frozenset(
            name
            for name in positions
            if f"{name} before" in positions or f"{name} after" in positions
        ),
        codes=frozenset(KINDS),
        said=frozenset(SAID),
    )


def rule_names(file: Path) -> list[str]:
    """Names of the public rules of a JSGF file, with spaces for underscores."""
    return [name.replace("_", " ") for name in _PUBLIC_RULE.findall(read_text(file))]
