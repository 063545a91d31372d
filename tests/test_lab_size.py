"""Lines counted by what they are."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
from click.testing import CliRunner

from fieldlog.errors import UsageError
from fieldlog.lab.size import kinds_of, rooms, size, sizes, table

MODULE = '''"""Two
lines."""

from x import (
    y,
)

A = 1  # not a comment line
"""What it is."""
# why
B = f(
    [
        "# no comment",
    ],
)
'''


def test_every_line_that_is_not_blank_is_of_one_kind() -> None:
    assert kinds_of(MODULE) == {
        "docstrings": 3,
        "imports": 3,
        "comments": 1,
        "brackets": 3,
        "the rest": 3,
    }


def test_the_laboratory_is_not_counted_as_the_product() -> None:
    found = sizes()
    *rows, product, lab = table(dict(found))
    total = sum(lines.total() for name, lines in found.items() if name != "lab")
    assert product.startswith(f"| `the product` | {total:,} |")
    assert lab.startswith(f"| `lab` | {found['lab'].total():,} |")
    assert len(rows) == 2 + len(found) - 1


def test_the_room_of_an_installation_is_told_by_package(tmp_path: Path) -> None:
    """Two packages by hand; nested folders count once, and what belongs to none is among the others."""
    site = tmp_path / "lib" / "python3.11" / "site-packages"
    for name, bytes_ in (("large", 3 << 20), ("small", 9000)):
        (site / name / "inner").mkdir(parents=True)
        (site / name / "inner" / "data.bin").write_bytes(bytes([1]) * bytes_)
        (site / f"{name}-1.dist-info").mkdir()
        (site / f"{name}-1.dist-info" / "METADATA").write_text(f"Name: {name}\nVersion: 1\n")
        (site / f"{name}-1.dist-info" / "RECORD").write_text(
            f"{name}/inner/data.bin,,\n{name}-1.dist-info/METADATA,,\n../../../bin/{name},,\n"
        )
    (site / "nobodys.py").write_bytes(bytes([1]) * 5000)
    found = rooms(site)
    assert list(found) == ["large", "small"]
    assert 3 << 20 <= found["large"] < (3 << 20) + 50_000
    result = CliRunner().invoke(size, ["--environment", str(tmp_path)])
    assert "| large | 3.0 |" in result.output
    assert "| 1 others |" in result.output
    used = subprocess.run(["du", "-sk", str(site)], capture_output=True, text=True, check=True)
    assert f"| all | {int(used.stdout.split()[0]) / 1024:,.1f} |" in result.output


def test_a_folder_without_packages_says_so(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="holds no installed packages"):
        CliRunner().invoke(size, ["--environment", str(tmp_path)], catch_exceptions=False)
