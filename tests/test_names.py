"""One name, one thing: no two classes of the product are called alike, and no function shares its name with
others where the name alone does not tell what it decides."""

from __future__ import annotations

import ast
import sys
from collections import defaultdict
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "fieldlog"
VAGUE = ("decide", "judge", "weigh", "check", "understand", "answer", "settle", "resolve")
"""Names of public functions that need their module to say what they do."""


def product() -> list[Path]:
    return [p for p in sorted(PACKAGE.rglob("*.py")) if "lab" not in p.relative_to(PACKAGE).parts]


def classes(source: str) -> Iterator[str]:
    """Names of all classes, those inside others and inside functions too."""
    return (n.name for n in ast.walk(ast.parse(source)) if isinstance(n, ast.ClassDef))


def public_functions(source: str) -> Iterator[str]:
    """Names of the functions that a module offers."""
    body = ast.parse(source).body
    names = (n.name for n in body if isinstance(n, ast.FunctionDef | ast.AsyncFunctionDef))
    return (name for name in names if not name.startswith("_"))


def borrowed(source: str) -> Iterator[str]:
    """Names that a module takes from a library (not the standard one) under the library's own name."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ImportFrom):
            root = (node.module or "fieldlog").split(".")[0]
            if root != "fieldlog" and root not in sys.stdlib_module_names:
                yield from (alias.asname or alias.name for alias in node.names)


def shared(homes: dict[str, list[str]]) -> dict[str, list[str]]:
    return {name: where for name, where in homes.items() if len(where) > 1}


@cache  # every module is read for it
def homes_of(kind: str) -> dict[str, list[str]]:
    found: dict[str, list[str]] = defaultdict(list)
    read = classes if kind == "class" else public_functions
    for path in product():
        for name in read(path.read_text(encoding="utf-8")):
            found[name].append(path.relative_to(PACKAGE).as_posix())
    return found


def test_no_two_classes_share_a_name() -> None:
    homes = homes_of("class")
    assert len(homes) > 250
    assert shared(homes) == {}


def test_no_class_is_called_like_one_that_is_taken_from_a_library() -> None:
    ours = homes_of("class")
    for path in product():
        taken = set(borrowed(path.read_text(encoding="utf-8")))
        assert not taken & set(ours), path


@pytest.mark.parametrize("name", VAGUE)
def test_what_decides_has_a_name_of_its_own(name: str) -> None:
    homes = homes_of("function").get(name, [])
    inside = [
        path for path in homes if not path.startswith("cli/")
    ]  # a command is named by its verb
    assert len(inside) <= 1, inside


def test_a_name_used_twice_would_be_found() -> None:
    source = "class A:\n    class B: ...\ndef f():\n    class B: ...\n    return B"
    assert sorted(classes(source)) == ["A", "B", "B"]
    assert list(public_functions("def decide(): ...\ndef _decide(): ...")) == ["decide"]
    assert list(
        borrowed("from rich.live import Live\nfrom fieldlog.model.finding import Mark")
    ) == ["Live"]
