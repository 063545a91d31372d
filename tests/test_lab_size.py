"""Lines counted by what they are."""

from __future__ import annotations

from fieldlog.lab.size import kinds_of, sizes, table

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
