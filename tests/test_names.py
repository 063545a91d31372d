"""One name, one thing: no two classes of the product are called alike, and no function shares its name with
others where the name alone does not tell what it decides."""

from __future__ import annotations

import ast
import sys
from collections import defaultdict
from functools import cache
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "fieldlog"
VAGUE = ("decide", "judge", "weigh", "check", "understand", "answer", "settle", "resolve")
"""Names of public functions that need their module to say what they do."""


def product() -> list[Path]:
    return [p for p in sorted(PACKAGE.rglob("*.py")) if "lab" not in p.relative_to(PACKAGE).parts]


class Named:
    """What a module calls by a name of its own, or takes from elsewhere under its name there."""

    def __init__(self, source: str) -> None:
        tree = ast.parse(source)
        self.classes: list[str] = []
        """All of them, those inside others and inside functions too."""
        self.borrowed: list[str] = []
        """From a library (not the standard one), under the library's own name."""
        for node in ast.walk(tree):
            if isinstance(node, ast.ClassDef):
                self.classes.append(node.name)
            elif isinstance(node, ast.ImportFrom):
                root = (node.module or "fieldlog").split(".")[0]
                if root != "fieldlog" and root not in sys.stdlib_module_names:
                    self.borrowed += [alias.asname or alias.name for alias in node.names]
        functions = (
            n.name for n in tree.body if isinstance(n, ast.FunctionDef | ast.AsyncFunctionDef)
        )
        self.functions = [name for name in functions if not name.startswith("_")]
        """Those that it offers."""


@cache
def named() -> dict[str, Named]:
    """Module -> its names: every module is read for it, once."""
    return {
        path.relative_to(PACKAGE).as_posix(): Named(path.read_text(encoding="utf-8"))
        for path in product()
    }


def shared(homes: dict[str, list[str]]) -> dict[str, list[str]]:
    return {name: where for name, where in homes.items() if len(where) > 1}


def homes_of(kind: str) -> dict[str, list[str]]:
    found: dict[str, list[str]] = defaultdict(list)
    for path, names in named().items():
        for name in names.classes if kind == "class" else names.functions:
            found[name].append(path)
    return found


def test_no_two_classes_share_a_name() -> None:
    homes = homes_of("class")
    assert len(homes) > 250
    assert shared(homes) == {}


def test_no_class_is_called_like_one_that_is_taken_from_a_library() -> None:
    ours = homes_of("class")
    for path, names in named().items():
        assert not set(names.borrowed) & set(ours), path


@pytest.mark.parametrize("name", VAGUE)
def test_what_decides_has_a_name_of_its_own(name: str) -> None:
    homes = homes_of("function").get(name, [])
    inside = [
        path for path in homes if not path.startswith("cli/")
    ]  # a command is named by its verb
    assert len(inside) <= 1, inside


def test_a_name_used_twice_would_be_found() -> None:
    source = "class A:\n    class B: ...\ndef f():\n    class B: ...\n    return B"
    assert sorted(Named(source).classes) == ["A", "B", "B"]
    assert Named("def decide(): ...\ndef _decide(): ...").functions == ["decide"]
    taken = Named("from rich.live import Live\nfrom fieldlog.model.finding import Mark")
    assert taken.borrowed == ["Live"]
