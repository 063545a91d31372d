"""What the pages name is there: files and folders move, and a page that sends people astray is worse
than none.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md"))]
PLACEHOLDERS = {"name.jsgf", "roadster.toml"}
"""Names that stand for a file of the reader's own."""
FOLDERS = ("fieldlog", "grammars", "tests", "demo_media")


def named(text: str) -> Iterator[str]:
    """The files and folders of the checkout that ``text`` names between backquotes."""
    for quoted in re.findall(r"`([^`\n]+)`", text):
        if re.fullmatch(r"[\w./-]+\.(py|toml|jsgf|npz|dic|html|css|js)", quoted) or re.fullmatch(
            r"(fieldlog|grammars|tests|docs|lab)/[\w./-]*", quoted
        ):
            yield quoted


def is_there(name: str, files: set[str]) -> bool:
    """Whether some file or folder of the checkout goes by ``name``, or its end does."""
    end = "/" + name.strip("/")
    return any(f"/{path}".endswith(end) for path in files)


def checkout() -> set[str]:
    """Every file and folder of the checkout that a page may name, relative to its root."""
    found = {path.name for path in ROOT.iterdir()}
    for folder in (*FOLDERS, "docs"):
        found |= {path.relative_to(ROOT).as_posix() for path in (ROOT / folder).rglob("*")}
    return found


@pytest.mark.parametrize("page", PAGES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_every_file_that_a_page_names_is_there(page: Path) -> None:
    files = checkout()
    names = set(named(page.read_text(encoding="utf-8"))) - PLACEHOLDERS
    assert {name for name in names if not is_there(name, files)} == set()


@pytest.mark.parametrize("page", PAGES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_every_page_and_picture_that_a_page_links_to_is_there(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    links = {each for each in re.findall(r"\]\(([^)#\s]+)", text) if "://" not in each}
    assert {each for each in links if not (page.parent / each).exists()} == set()


def linked(page: Path) -> set[Path]:
    """The files that a page links to."""
    text = page.read_text(encoding="utf-8")
    return {
        (page.parent / each).resolve()
        for each in re.findall(r"\]\(([^)#\s]+)", text)
        if "://" not in each
    }


def test_every_page_is_found_from_the_list_of_pages() -> None:
    pages = {each.resolve() for each in (ROOT / "docs").glob("*.md")}
    assert {each.name for each in pages - linked(ROOT / "docs" / "README.md")} == {"README.md"}
    hearing = ROOT / "docs" / "hearing"
    told = (hearing / "README.md").read_text(encoding="utf-8")
    printed = {path.name for path in hearing.glob("*.md")} - {"README.md"}
    assert {name for name in printed if f"`{name}`" not in told} == set()


def test_every_module_that_a_page_tells_to_run_is_there() -> None:
    for page in PAGES:
        for name in re.findall(
            r"python -m ((?:fieldlog|tests)[\w.]*)", page.read_text(encoding="utf-8")
        ):
            path = ROOT / name.rstrip(".").replace(".", "/")
            assert path.with_suffix(".py").exists() or (path / "__main__.py").exists(), (page, name)


def test_a_name_that_is_gone_would_be_found() -> None:
    files = checkout()
    told = set(named("see `session.py`, `fieldlog/walk.py`, `shop/live.py` and `a = 1`"))
    assert {name for name in told if not is_there(name, files)} == {
        "session.py",
        "fieldlog/walk.py",
    }


def test_the_guide_tells_the_layers_as_they_are_held() -> None:
    held = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    (contract,) = (
        each for each in held["tool"]["importlinter"]["contracts"] if each["id"] == "layers"
    )
    layers = [set(re.split(r"[ |]+", layer)) for layer in contract["layers"]]
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = guide.split("| layer |", 1)[1].split("\n\n", 1)[0].splitlines()[2:]
    told = [set(re.findall(r"`(\w+)(?:\.py)?`", row.split("|")[1])) for row in table]
    assert told == layers


def test_the_readme_tells_of_breaths_what_their_page_says() -> None:
    """A page that is printed anew leaves the sentence about it behind."""
    page = (ROOT / "docs" / "hearing" / "breath.md").read_text(encoding="utf-8")
    row = re.search(r"^\| sentences \| (.*) \|$", page, re.M)
    assert row is not None
    cells = row[1].split(" | ")
    takes, (right, offered, asked, refused, _, _, wrong) = int(cells[0]), cells[1:]
    percent = [round(100 * sum(int(cell.split()[0]) for cell in each) / takes)
               for each in ([right], [offered, asked])]  # fmt: skip
    most = re.search(r"at most ([\d.]+ %)", wrong)
    assert wrong.startswith("0 ")
    assert most is not None
    told = " ".join((ROOT / "README.md").read_text(encoding="utf-8").split())
    assert f"Of {takes} takes of " in told
    assert (
        f"clean, {percent[0]} % are all right, {percent[1]} % asked about, {_counted(int(refused.split()[0]))}"
        in told
    )
    assert f"none silently wrong (at most {most[1]} at 95 %" in told


def _counted(refused: int) -> str:
    return {0: "", 1: "one refused, "}.get(refused, f"{refused} refused, ")
