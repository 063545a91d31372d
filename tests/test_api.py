"""What a program gets from ``from fieldlog import ...``: few names, loaded on use, as docs/api.md says."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import fieldlog
from fieldlog.errors import UsageError
from fieldlog.shop import events
from fieldlog.shop.workshop import Workshop

ROOT = Path(__file__).resolve().parents[1]
PAGE = (ROOT / "docs" / "api.md").read_text(encoding="utf-8")


def test_every_name_can_be_imported_and_there_are_few() -> None:
    assert len(fieldlog.__all__) <= 20
    assert len(set(fieldlog.__all__)) == len(fieldlog.__all__)
    for name in fieldlog.__all__:
        assert getattr(fieldlog, name) is not None, name
    assert set(fieldlog.__all__) <= set(dir(fieldlog))
    assert fieldlog.events is events
    with pytest.raises(AttributeError, match="Worksop"):
        _ = fieldlog.Worksop


def test_a_type_checker_sees_the_same_names_from_the_same_modules() -> None:
    tree = ast.parse((ROOT / "fieldlog" / "__init__.py").read_text(encoding="utf-8"))
    (checked,) = (node for node in tree.body if isinstance(node, ast.If))
    seen = {}
    for node in checked.body:
        assert isinstance(node, ast.ImportFrom)
        for alias in node.names:
            seen[alias.name] = f"{node.module}"
    assert {*seen, "__version__"} == set(fieldlog.__all__)
    for name, module in seen.items():
        __import__(module)
        assert getattr(sys.modules[module], name) is getattr(fieldlog, name), name


def test_the_package_alone_loads_nothing() -> None:
    code = (
        "import sys, fieldlog; print(*sorted(m for m in sys.modules if m.startswith('fieldlog')))"
    )
    loaded = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert loaded.stdout.split() == [
        "fieldlog",
        "fieldlog.config",
        "fieldlog.errors",
        "fieldlog.whole",
    ]


def test_the_page_tells_every_name() -> None:
    table = PAGE.split("## ", 1)[0]
    told = set(re.findall(r"`(\w+)`", "\n".join(re.findall(r"^\| (`.*?) \|", table, re.MULTILINE))))
    assert told == set(fieldlog.__all__)


def test_the_example_of_the_page_does_what_it_says(capsys: pytest.CaptureFixture[str]) -> None:
    (example,) = re.findall(r"```python\n(.*?)```", PAGE, re.DOTALL)
    (printed,) = re.findall(r"```text\n(.*?)```", PAGE, re.DOTALL)
    exec(compile(example, "docs/api.md", "exec"), {"__name__": "example"})
    assert capsys.readouterr().out == printed


def test_the_version_is_the_one_that_is_packed() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["version"] == fieldlog.__version__


@pytest.mark.parametrize("blank", ["", "  "])
def test_a_vehicle_without_a_name_is_a_slip(tmp_path: Path, blank: str) -> None:
    """A shell's variable that was never set: what is found would stand with the unnamed one."""
    with Workshop.open(tmp_path / "record") as shop:
        with pytest.raises(UsageError, match="the vehicle has no name"):
            shop.begin(blank)
        assert not shop.store.vehicles()
