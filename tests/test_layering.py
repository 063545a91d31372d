"""What decides must not touch files, devices, sockets or clocks: checked on the code itself."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.conftest import MEASURED
from tests.pure_core import PACKAGE, pure_modules

OUTSIDE = {
    "os", "io", "socket", "subprocess", "time", "sqlite3", "shutil", "tempfile", "threading",
    "vosk", "pocketsphinx", "sounddevice", "soundfile", "PIL", "exifread", "sqlite_utils",
    "pillow_heif", "avioflow", "click", "rich", "ctranslate2",
}  # fmt: skip
CALLS = {"open", "read_text", "read_bytes", "write_text", "write_bytes", "now", "today", "utcnow"}


@pytest.mark.parametrize("path", pure_modules(), ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_pure_module_touches_nothing(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names = {alias.name.split(".")[0] for alias in node.names}
            assert not names & OUTSIDE, f"line {node.lineno} imports {names & OUTSIDE}"
        elif isinstance(node, ast.ImportFrom) and node.module:
            root = node.module.split(".")[0]
            assert root not in OUTSIDE, f"line {node.lineno} imports from {node.module}"
        elif isinstance(node, ast.Call):
            name = (
                node.func.attr
                if isinstance(node.func, ast.Attribute)
                else getattr(node.func, "id", "")
            )
            assert name not in CALLS, f"line {node.lineno} calls {name}()"


def test_every_test_whose_lines_are_counted_is_there() -> None:
    """One that was renamed would be counted no more, and nobody would see it."""
    here = Path(__file__).parent
    assert [name for name in MEASURED if not (here / f"test_{name}.py").is_file()] == []


def test_the_list_of_pure_modules_is_not_empty() -> None:
    assert len(pure_modules()) > 40


# -- the laboratory -------------------------------------------------------------------------------

LAB = "fieldlog.lab"
ROOT = PACKAGE.parent
ABOUT_BOTH = {"test_cli_help.py", "test_layering.py"}
"""Tests that speak of product and laboratory: the help of both command lines, and this one."""


def names_imported(tree: ast.AST, package: str) -> Iterator[tuple[int, str]]:
    """Line and full name of all that is imported, at the top or on use, by whatever spelling.

    Text counts too: modules are also named to ``importlib``, ``python -m`` and worker processes.
    """
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            above = package.split(".")[: len(package.split(".")) - node.level + 1]
            base = ".".join([*(above if node.level else []), *filter(None, [node.module])])
            yield from ((node.lineno, f"{base}.{alias.name}") for alias in node.names)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield from ((node.lineno, word) for word in node.value.replace(":", " ").split()[:1])


def lab_imports(path: Path, package: str) -> list[str]:
    text = path.read_text(encoding="utf-8")
    if not re.search(r"\blab\b", text):
        return []  # no spelling goes without the word
    tree = ast.parse(text)
    return [
        f"line {line}: {name}"
        for line, name in names_imported(tree, package)
        if f"{name}.".startswith(f"{LAB}.")
    ]


def test_no_module_of_the_product_imports_the_laboratory() -> None:
    product = [p for p in PACKAGE.rglob("*.py") if p.relative_to(PACKAGE).parts[0] != "lab"]
    assert len(product) > 150
    for path in product:
        package = ".".join(path.relative_to(ROOT).parent.parts)
        assert not lab_imports(path, package), path


def test_no_test_of_the_product_takes_anything_from_the_laboratory() -> None:
    tests = [p for p in ROOT.glob("tests/*.py") if not p.name.startswith("test_lab_")]
    assert len(tests) > 60
    for path in tests:
        if path.name not in ABOUT_BOTH:
            assert not lab_imports(path, "tests"), path


@pytest.mark.parametrize(
    "text",
    [
        "def f():\n    from fieldlog.lab.benchmarks import store",
        "import fieldlog.lab",
        "from fieldlog import lab",
        "from .. import lab",
        "from ..lab.speech_set.items import Item",
        "import_module('fieldlog.lab.command')",
        "TABLE = {'hearing': 'fieldlog.lab.command:lab'}",
    ],
)
def test_an_import_of_the_laboratory_would_be_found(text: str, tmp_path: Path) -> None:
    path = tmp_path / "module.py"
    path.write_text(text, encoding="utf-8")
    assert lab_imports(path, "fieldlog.cli")


def test_the_wheel_holds_the_product_and_no_laboratory(tmp_path: Path) -> None:
    code = "import sys, hatchling.build as b; print(b.build_wheel(sys.argv[1]))"
    ran = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path)],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    (wheel,) = tmp_path.glob("*.whl")
    names = zipfile.ZipFile(wheel).namelist()
    inside = {name for name in names if name.startswith("fieldlog/")}
    assert not {name for name in inside if name.startswith("fieldlog/lab")}
    product = {
        path.relative_to(ROOT).as_posix()
        for path in PACKAGE.rglob("*.py")
        if path.relative_to(PACKAGE).parts[0] != "lab"
    }
    assert product <= inside
    assert any(name.startswith("fieldlog/_grammars/") for name in inside)


def test_only_config_reads_the_environment() -> None:
    """What decides is told what it needs; one module looks at the machine."""
    read = re.compile(r"\bos\.(environ|getenv)\b|\bfrom os import .*\b(environ|getenv)\b")
    found = [
        path.relative_to(PACKAGE).as_posix()
        for path in sorted(PACKAGE.rglob("*.py"))
        if path.relative_to(PACKAGE).parts[0] != "lab"
        and read.search(path.read_text(encoding="utf-8"))
    ]
    assert found == ["config.py"]
