"""The page of the first ten minutes, typed word for word into a shell with the installed package."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PAGE = (ROOT / "docs" / "first-ten-minutes.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"((?:<!-- by hand: .*? -->\n)?)```(sh|text)\n(.*?)```", PAGE, re.DOTALL)


@pytest.fixture(scope="module")
def shell(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The environment of a shell in which `fieldlog` is the wheel's, away from this checkout."""
    folder = tmp_path_factory.mktemp("installed")
    code = "import sys, hatchling.build as b; b.build_wheel(sys.argv[1])"
    subprocess.run([sys.executable, "-c", code, str(folder)], cwd=ROOT, check=True, timeout=120)
    (wheel,) = folder.glob("*.whl")
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(folder / "site")
    command = folder / "bin" / "fieldlog"
    command.parent.mkdir()
    run = "import sys; from fieldlog.cli import main; sys.exit(main(prog_name='fieldlog'))"
    command.write_text(f'#!/bin/sh\nexec "{sys.executable}" -P -c "{run}" "$@"\n')
    command.chmod(0o755)
    home = folder / "home"
    home.mkdir()
    kept = {key: os.environ[key] for key in ("LANG", "LC_ALL", "TMPDIR") if key in os.environ}
    return {
        **kept,
        "HOME": str(home),
        "PATH": f"{command.parent}:{os.environ['PATH']}",
        "PYTHONPATH": str(folder / "site"),
        "COLUMNS": "200",
    }


def typed(shell: dict[str, str], lines: str, folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["bash", "-e"], input=lines, env=shell, cwd=folder, text=True, capture_output=True, timeout=300
    )  # fmt: skip


def test_every_command_of_the_page_does_what_the_page_says(
    shell: dict[str, str], tmp_path: Path
) -> None:
    """One shell, from the top to the end; what the page shows of an answer is in the answer, in order."""
    answer, tried = "", 0
    for by_hand, kind, text in BLOCKS:
        if kind == "sh" and not by_hand:
            done = typed(shell, text, tmp_path)
            assert done.returncode == 0, (text, done.stdout, done.stderr)
            answer, tried = done.stdout, tried + text.count("\n")
        elif kind == "text":
            at = 0
            for line in text.splitlines():
                found = answer.find(line, at)
                assert found >= 0, (line, answer)
                at = found + len(line)
    assert tried >= 15
    kinds = sorted(path.suffix for path in (tmp_path / "report").iterdir())
    assert kinds == [".html", ".pdf"]
    assert Path(shell["HOME"], ".local/share/fieldlog").is_dir()


def test_the_shell_completes_as_the_page_says(shell: dict[str, str], tmp_path: Path) -> None:
    for name in ("bash", "zsh", "fish"):
        assert f"{name}_source" in PAGE
        done = typed(shell, f"_FIELDLOG_COMPLETE={name}_source fieldlog", tmp_path)
        assert done.returncode == 0, done.stderr
        assert "_FIELDLOG_COMPLETE" in done.stdout
    asked = "COMP_WORDS='fieldlog insp' COMP_CWORD=1 _FIELDLOG_COMPLETE=bash_complete fieldlog"
    assert "inspection" in typed(shell, asked, tmp_path).stdout


def test_a_package_in_a_zip_says_what_to_do(shell: dict[str, str], tmp_path: Path) -> None:
    """Its grammars and media are read as files: a zip on the path has none."""
    site = Path(shell["PYTHONPATH"])
    zipped = tmp_path / "fieldlog.zip"
    with zipfile.ZipFile(zipped, "w") as packed:
        for path in site.rglob("*"):
            if path.is_file() and path.suffix in {".py", ".toml", ".jsgf", ".dic"}:
                packed.write(path, path.relative_to(site))
    inside = {**shell, "PYTHONPATH": str(zipped)}
    done = typed(inside, "fieldlog parse 'horn sound'", tmp_path)
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    assert "pip install" in done.stderr
