"""`fieldlog ready`: says what is missing and how to get it, and never falls over what is."""

from __future__ import annotations

import importlib
import importlib.metadata
import importlib.util
import json
import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest

from fieldlog.cli import ready
from tests.spoken import run

OPTIONAL = {name: module for name, (module, optional) in ready.LIBRARIES.items() if optional}


def rows(*arguments: str | Path) -> tuple[int, dict[tuple[str, str], dict[str, Any]]]:
    result = run("ready", "--json", *arguments)
    found = [json.loads(line) for line in result.stdout.splitlines()]
    return result.exit_code, {(row["part"], row["name"]): row for row in found}


def without(monkeypatch: pytest.MonkeyPatch, *distributions: str) -> None:
    """This machine without some libraries, as far as `ready` can see."""
    modules = {ready.LIBRARIES[name][0] for name in distributions}
    version, spec = importlib.metadata.version, importlib.util.find_spec

    def no_version(name: str) -> str:
        if name in distributions:
            raise importlib.metadata.PackageNotFoundError(name)
        return version(name)

    monkeypatch.setattr(importlib.metadata, "version", no_version)
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name, *at: None if name in modules else spec(name, *at)
    )


def test_here_the_core_works(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FIELDLOG_HOME", str(tmp_path))
    code, found = rows()
    assert code == 0
    assert found["listener", "whisper"]["works"]
    assert found["record", "store folder"]["note"] == str(tmp_path)
    assert {name for part, name in found if part == "library"} == set(ready.LIBRARIES)
    assert all(row["todo"] for row in found.values() if not row["works"])


def test_every_optional_library_absent_is_told_and_no_fault(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FIELDLOG_HOME", str(tmp_path))
    without(monkeypatch, *OPTIONAL)
    result = run("ready")
    assert result.exit_code == 0, result.output
    for name in OPTIONAL:
        assert f"to get it: pip install {name}" in result.stdout
    assert "files can be heard and the record can be kept" in result.stdout


def test_the_recogniser_missing_is_exit_code_4(monkeypatch: pytest.MonkeyPatch) -> None:
    without(monkeypatch, "ctranslate2")
    result = run("ready")
    assert result.exit_code == 4
    assert "missing for the job: whisper, ctranslate2" in result.stdout
    assert "pip install ctranslate2" in result.stdout


def test_a_library_that_cannot_be_loaded_names_the_system_package(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    whole = importlib.import_module

    def broken(name: str, package: str | None = None) -> object:
        if name == "sounddevice":
            raise OSError("PortAudio library not found")
        return whole(name, package)

    monkeypatch.setattr(importlib, "import_module", broken)
    code, found = rows()
    row = found["library", "sounddevice"]
    assert code == 0
    assert not row["works"]
    assert "PortAudio library not found" in row["note"]
    assert "sudo apt install libportaudio2" in row["todo"]


def test_whatever_a_part_raises_becomes_a_row(monkeypatch: pytest.MonkeyPatch) -> None:
    def falls_over() -> object:
        raise ImportError("undefined symbol: xyz")

    monkeypatch.setattr("fieldlog.audio.vad.voice_activity", falls_over)
    code, found = rows()
    assert code == 4
    assert "undefined symbol: xyz" in found["sound", "all of it"]["note"]


def test_a_store_that_cannot_be_written_is_exit_code_4(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("in the way", encoding="utf-8")
    monkeypatch.setenv("FIELDLOG_HOME", str(blocked / "record"))
    code, found = rows()
    assert code == 4
    assert "FIELDLOG_HOME" in found["record", "store folder"]["todo"]


def test_a_named_vosk_model_is_looked_at(tmp_path: Path) -> None:
    if importlib.util.find_spec("vosk") is None:
        pytest.skip("vosk is not installed")
    _, found = rows("--model", tmp_path)
    assert not found["listener", "vosk"]["works"]
    assert "the model folder is empty" in found["listener", "vosk"]["note"]


@pytest.mark.parametrize(
    ("library", "named", "arguments"),
    [
        ("reportlab", "reportlab", ("report", "last", "--pdf")),
        ("jinja2", "jinja2", ("report", "last", "--html")),
        ("segno", "segno", ("photos", "code", "--png", "code.png")),
        ("rapidfuzz", "rapidfuzz", ("parse", "hron sound")),
        ("sqlite_utils", "sqlite-utils", ("vehicle", "list")),
    ],
)
def test_a_library_that_is_missing_is_told_with_what_brings_it(
    library: str, named: str, arguments: tuple[str, ...], tmp_path: Path
) -> None:
    """In a process of its own: this one has loaded them all."""
    code = (
        "import sys, os; sys.modules[sys.argv.pop(1)] = None; from fieldlog.cli import main; "
        "main(prog_name='fieldlog')"
    )
    begun = run("vehicle", "add", "x", "--store", tmp_path)
    assert begun.exit_code == 0
    assert run("inspection", "start", "x", "--store", tmp_path).exit_code == 0
    store = () if arguments[0] in {"parse", "photos"} else ("--store", str(tmp_path))
    done = subprocess.run(
        [sys.executable, "-c", code, library, *arguments, *store],
        capture_output=True, text=True, timeout=300, cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[1])},
    )  # fmt: skip
    assert done.returncode == 4, done.stderr
    assert done.stderr.startswith(f"fieldlog: {library} is needed for this")
    assert f"pip install {named}" in done.stderr


def test_every_library_that_is_installed_with_it_is_looked_at() -> None:
    told = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text("utf-8"))
    needed = {re.split(r"[ <>=;\[]", each)[0].lower() for each in told["project"]["dependencies"]}
    assert {name.lower() for name in ready.LIBRARIES} == needed
