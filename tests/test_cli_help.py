"""Every command explains itself: help with examples that can be typed, and a page that is current."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from fieldlog import errors
from fieldlog.cli import EXIT_CODES, main
from fieldlog.cli.page import LABORATORY, PRODUCT, examples, page, walk, words
from fieldlog.lab.command import lab
from fieldlog.lab.page import page as lab_page

ROOT = Path(__file__).parents[1]
ALL = list(walk(main))
LAB = list(walk(lab, LABORATORY))


@pytest.mark.parametrize("name", [name for name, _, _ in [*ALL, *LAB]])
def test_help_of_every_command_has_an_example_of_itself(name: str) -> None:
    group, program = (lab, LABORATORY) if name.startswith(LABORATORY) else (main, PRODUCT)
    arguments = name.removeprefix(program).split()
    result = CliRunner().invoke(group, [*arguments, "--help"], prog_name=program)
    assert result.exit_code == 0, result.output
    shown = [line.strip() for line in result.output.splitlines()]
    assert any(line.startswith(f"{name} ") or line == name for line in shown), result.output
    assert re.search(r"^  Examples?:$", result.output, re.MULTILINE), result.output


EXAMPLES = [line for _, command, _ in [*ALL, *LAB] for line in examples(command)]


@pytest.mark.parametrize("line", EXAMPLES, ids=lambda line: line[:60])
def test_every_example_can_be_parsed_as_it_stands(line: str) -> None:
    can_be_parsed(words(line), lab if line.startswith(LABORATORY) else main)


def test_the_commands_in_the_readme_and_the_guide_are_real() -> None:
    found = 0
    for page_name in ("README.md", "DEVELOPERS.md"):
        for block in re.findall(r"```.*?```", (ROOT / page_name).read_text("utf-8"), re.DOTALL):
            for line in re.findall(r"(?:^|[/ ])fieldlog ([a-z].*)$", block, re.MULTILINE):
                can_be_parsed(words(f"fieldlog {line.split(' #')[0]}"))
                found += 1
    assert found


def test_the_commands_of_the_laboratory_in_the_pages_are_real() -> None:
    found = 0
    for path in [ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "docs").rglob("*.md")]:
        text = path.read_text("utf-8").replace("\\\n", " ")
        for name in re.findall(rf"{LABORATORY} ([a-z][a-z-]*)", text):
            assert name in lab.table, f"{path.name}: {name}"
            found += 1
        assert "fieldlog benchmarks" not in text, path.name
    assert found > 20


def can_be_parsed(arguments: list[str], group: click.Group = main) -> None:
    """Walk down to the command that ``arguments`` name and let its parser take the rest."""
    command: click.Command = group
    context = click.Context(group, info_name="fieldlog")
    while isinstance(command, click.Group):
        below = command.get_command(context, arguments[0])
        assert below is not None, f"no command {arguments[0]!r} in {command.name!r}"
        command, arguments = below, arguments[1:]
        context = click.Context(command, info_name=command.name, parent=context)
    values, left, _ = command.make_parser(context).parse_args(list(arguments))
    assert not left, f"{left} is too much for {command.name}"
    for parameter in command.params:
        value = values.get(str(parameter.name))
        missing = value is None or value == ()
        assert not (parameter.required and missing), f"{parameter.name} is missing"
        if isinstance(parameter.type, click.Choice) and isinstance(value, str):
            parameter.type_cast_value(context, value)


def test_a_wrong_example_would_be_found() -> None:
    with pytest.raises(click.NoSuchOption):
        can_be_parsed(["hear", "a.wav", "--jason"])
    with pytest.raises(AssertionError, match="no command"):
        can_be_parsed(["inspections"])
    with pytest.raises(AssertionError, match="missing"):
        can_be_parsed(["inspection", "withdraw", "3"])


def test_the_page_of_commands_is_current() -> None:
    text = (ROOT / "docs" / "commands.md").read_text("utf-8")
    assert text == page(), "run: python -m fieldlog.cli.page > docs/commands.md"


def test_the_page_of_the_laboratory_is_current() -> None:
    text = (ROOT / "docs" / "laboratory.md").read_text("utf-8")
    assert text == lab_page(), "run: python -m fieldlog.lab.page > docs/laboratory.md"


def test_the_page_has_every_command_and_option() -> None:
    text = page()
    for name, command, context in ALL[1:]:
        assert re.search(rf"^#+ {re.escape(name)}$", text, re.MULTILINE), name
        section = text.split(f" {name}\n", 1)[1].split("\n#", 1)[0]
        for parameter in command.get_params(context):
            if isinstance(parameter, click.Option) and "--help" not in parameter.opts:
                assert parameter.opts[-1] in section, f"{name} {parameter.opts}"


def test_the_exit_codes_are_those_of_the_errors_and_stand_in_the_help() -> None:
    codes = {code for code, _ in EXIT_CODES}
    kinds = {
        error.exit_code
        for error in vars(errors).values()
        if isinstance(error, type) and issubclass(error, errors.FieldlogError)
    }
    assert kinds
    assert kinds <= codes
    assert len(codes) == len(EXIT_CODES)
    result = CliRunner().invoke(main, ["--help"])
    for code, when in EXIT_CODES:
        assert re.search(rf"^  {code} +{when.split()[0]}", result.output, re.MULTILINE), code


HEAVY = (
    "scipy",
    "reportlab",
    "ctranslate2",
    "PIL",
    "vosk",
    "pocketsphinx",
    "sounddevice",
    "jinja2",
)


@pytest.mark.parametrize(
    ("arguments", "banned"),
    [
        (["--help"], (*HEAVY, "numpy", "soundfile", "sqlite_utils")),
        (["parse", "rear tread four thirty-seconds"], (*HEAVY, "soundfile", "sqlite_utils")),
        (["vehicle", "--help"], (*HEAVY, "soundfile")),
        (["inspection", "--help"], (*HEAVY, "soundfile")),
        (["photos", "--help"], (*HEAVY, "soundfile")),
        (["hear", "--help"], (*HEAVY, "soundfile", "sqlite_utils")),
    ],
    ids=lambda value: " ".join(value)[:30],
)
def test_nothing_heavy_is_imported_that_is_not_needed(
    arguments: list[str], banned: tuple[str, ...]
) -> None:
    code = (
        "import sys\nfrom fieldlog.cli import main\n"
        f"main({arguments!r}, standalone_mode=False)\n"
        f"print('LOADED', *[name for name in {banned!r} if name in sys.modules])"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=ROOT
    )
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.strip().splitlines()[-1] == "LOADED"
