"""How many lines each package has, and of what kind they are."""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import click

PACKAGE = Path(__file__).resolve().parents[1]
KINDS = ("docstrings", "imports", "comments", "brackets", "the rest")
"""Kinds of a line that is not blank; ``brackets``: nothing but those that close or open a list."""


def kinds_of(text: str) -> Counter[str]:
    """Lines of a module that are not blank, by kind."""
    kind: dict[int, str] = {}
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Expr) and _is_text(node.value):
            kind |= dict.fromkeys(range(node.lineno, (node.end_lineno or 0) + 1), "docstrings")
        elif isinstance(node, ast.Import | ast.ImportFrom):
            kind |= dict.fromkeys(range(node.lineno, (node.end_lineno or 0) + 1), "imports")
    return Counter(
        kind.get(number) or _plain(line)
        for number, line in enumerate(map(str.strip, text.splitlines()), 1)
        if line
    )


def _is_text(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, str)


def _plain(line: str) -> str:
    if line.startswith("#"):
        return "comments"
    return "the rest" if line.partition("#")[0].strip("()[]{},: ") else "brackets"


def sizes(package: Path = PACKAGE) -> dict[str, Counter[str]]:
    """Package or module of ``package`` -> its lines by kind, the largest first."""
    found: dict[str, Counter[str]] = {}
    for file in sorted(package.rglob("*.py")):
        name = file.relative_to(package).parts[0]
        found.setdefault(name, Counter()).update(kinds_of(file.read_text(encoding="utf-8")))
    return dict(sorted(found.items(), key=lambda each: -each[1].total()))


def table(found: dict[str, Counter[str]]) -> Iterator[str]:
    """A row for each package of the product and one for all; the laboratory below it."""
    yield f"| package | lines | {' | '.join(KINDS)} |"
    yield "|---|" + "---:|" * (1 + len(KINDS))
    laboratory = found.pop("lab", Counter())
    product = sum(found.values(), Counter())
    for name, lines in (*found.items(), ("the product", product), ("lab", laboratory)):
        cells = (lines.total(), *(lines[kind] for kind in KINDS))
        yield f"| `{name}` | {' | '.join(f'{cell:,}' for cell in cells)} |"


@click.command()
def size() -> None:
    """Count the lines of each package that are not blank, by what they are.

    \b
    Example:
      python -m fieldlog.lab size
    """
    click.echo("\n".join(table(sizes())))
