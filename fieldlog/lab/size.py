"""How many lines each package has, of what kind they are; how much room an installation takes."""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Iterable, Iterator
from importlib.metadata import Distribution, distributions
from pathlib import Path

import click

from fieldlog.errors import UsageError

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


def rooms(site: Path) -> dict[str, int]:
    """Installed package -> the bytes that its files take on disk in ``site``, the largest first."""
    found = {
        each.name: _room({site / file.parts[0] for file in _inside(each)})
        for each in distributions(path=[str(site)])
    }
    return dict(sorted(found.items(), key=lambda each: -each[1]))


def _inside(package: Distribution) -> list[Path]:
    """What a package put below its folder of packages, its commands beside them left out."""
    return [
        Path(file) for file in package.files or () if file.parts[0] not in ("..", "__pycache__")
    ]


def _room(paths: Iterable[Path]) -> int:
    files = {file for path in paths for file in (path, *path.rglob("*"))}
    return sum(file.lstat().st_blocks * 512 for file in files)


def room_table(site: Path, least_mb: float = 1.0) -> Iterator[str]:
    """A row for each package of at least ``least_mb``, one for the others, and two sums."""
    found, whole = rooms(site), _room([site])
    large = {name: size for name, size in found.items() if size >= least_mb * 2**20}
    yield "| installed | MB |"
    yield "|---|---:|"
    for name, size in (
        *large.items(),
        (f"{len(found) - len(large)} others", whole - sum(large.values())),
        ("all", whole),
        ("all but pip", whole - found.get("pip", 0)),
    ):
        yield f"| {name} | {size / 2**20:,.1f} |"


@click.command()
@click.option(
    "--environment",
    metavar="DIR",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="Measure this virtual environment instead: what is installed there takes how much room.",
)
def size(environment: Path | None) -> None:
    """Count the lines of each package that are not blank, by what they are.

    MB of an environment are those of du -sm: 1,048,576 bytes on disk each, compiled files with them.

    \b
    Examples:
      python -m fieldlog.lab size
      python3 -m venv V && V/bin/pip install -q . && python -m fieldlog.lab size --environment V
    """
    if environment is None:
        click.echo("\n".join(table(sizes())))
        return
    sites = sorted(environment.rglob("site-packages"))
    if not sites:
        raise UsageError("holds no installed packages", where=str(environment), todo="name a venv")
    click.echo("\n".join(room_table(sites[0])))
