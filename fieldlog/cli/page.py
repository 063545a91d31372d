"""``docs/commands.md`` from the live commands: ``python -m fieldlog.cli.page > docs/commands.md``."""

from __future__ import annotations

import inspect
import shlex
from collections.abc import Iterator

import click

from fieldlog.cli import EXIT_CODES, main

PRODUCT = "fieldlog"
LABORATORY = "python -m fieldlog.lab"
"""What a command line of each begins with."""

HEAD = """# Commands

Made from the commands themselves by `python -m fieldlog.cli.page > docs/commands.md`; a test says
when it is not current. Every command has `--help`; results go to stdout, everything about the work
(progress, notices, faults) to stderr. A fault is one line: where, what, and what to do next.

## Exit codes

| code | when |
|---|---|
"""


def walk(
    command: click.Command, name: str = PRODUCT, context: click.Context | None = None
) -> Iterator[tuple[str, click.Command, click.Context]]:
    """Every command below ``command`` with its full name, groups before what is in them."""
    here = click.Context(command, info_name=name.split()[-1], parent=context)
    yield name, command, here
    if isinstance(command, click.Group):
        for each in command.list_commands(here):
            below = command.get_command(here, each)
            if below is not None:
                yield from walk(below, f"{name} {each}", here)


def examples(command: click.Command) -> list[str]:
    """The lines of a command's help that can be typed as they are."""
    lines = inspect.cleandoc(command.help or "").splitlines()
    starts = (f"{PRODUCT} ", f"{LABORATORY} ")
    return [line.strip() for line in lines if line.strip().startswith(starts)]


def words(example: str) -> list[str]:
    """An example's arguments, without the remark that may stand two blanks behind it."""
    program = LABORATORY if example.startswith(f"{LABORATORY} ") else PRODUCT
    return shlex.split(example.split("   ")[0].removeprefix(program))


def page() -> str:
    """The whole page."""
    rows = "".join(f"| {code} | {when} |\n" for code, when in EXIT_CODES)
    return HEAD + rows + sections(main, PRODUCT)


def sections(group: click.Group, program: str) -> str:
    """Every command of ``group``, which is called as ``program``: help, usage, examples, options."""
    return "".join(_section(program, *each) for each in walk(group, program))


def _section(program: str, name: str, command: click.Command, context: click.Context) -> str:
    level = min(4, name.removeprefix(program).count(" ") + 2)
    text = _prose(command.help or "")
    parts = [f"\n{'#' * level} {name}\n"]
    if name == program:
        parts = ["\n## All commands\n"]
    parts.append(f"\n{text}\n" if text else "")
    usage = " ".join(command.collect_usage_pieces(context))
    shown = [f"{name} {usage}", *(f"{line}" for line in examples(command))]
    parts.append("\n```\n" + "\n".join(shown) + "\n```\n")
    options = [
        record
        for parameter in command.get_params(context)
        if isinstance(parameter, click.Option)
        and "--help" not in parameter.opts
        and (record := parameter.get_help_record(context))
    ]
    if options:
        parts.append("\n| option | |\n|---|---|\n")
        parts += [f"| `{_cell(what)}` | {_cell(why)} |\n" for what, why in options]
    return "".join(parts)


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")


def _prose(text: str) -> str:
    """The help without its examples."""
    kept = []
    for paragraph in inspect.cleandoc(text).split("\n\n"):
        lines = [line for line in paragraph.splitlines() if line.strip() != "\b"]
        if not lines or lines[0].strip() in {"Example:", "Examples:", "Exit codes:"}:
            continue
        kept.append("\n".join(lines))
    return "\n\n".join(kept)


if __name__ == "__main__":
    click.echo(page(), nl=False)
