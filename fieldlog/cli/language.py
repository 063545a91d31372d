"""``fieldlog language``: the languages there are, and what one that is being written still lacks."""

from __future__ import annotations

from pathlib import Path

import click

from fieldlog.errors import PartialError, UsageError
from fieldlog.words.english import counted

_SHOWN = 40


@click.group()
def language() -> None:
    """Languages that can be spoken: which there are, and what one still lacks.

    \b
    Examples:
      fieldlog language list
      fieldlog language check de
    """


@language.command("list")
def list_() -> None:
    """The languages that can be spoken, by their code.

    \b
    Examples:
      fieldlog language list
      fieldlog inspection enter --language de "Kette trocken"
    """
    from fieldlog.language.tongues import REFERENCE, codes, language_of
    from fieldlog.listeners.whisper.languages import is_there

    for code in codes():
        spoken = language_of(code)
        told = getattr(spoken, "tongue", None)
        name = told.name if told is not None else "English, the reference"
        heard = code == REFERENCE or is_there()
        ear = (
            "heard and typed" if heard else "typed; to be heard: pip install 'fieldlog[languages]'"
        )
        click.echo(f"{code}  {name}  {ear}")


@language.command()
@click.argument("which", metavar="CODE|FOLDER")
@click.option("--quick", is_flag=True, help="Leave out the phrases one by one (20 s).")
def check(which: str, quick: bool) -> None:
    """Hold a language against what it owes, rule by rule, and name what lacks.

    WHICH is the code of one that is there, or the folder of one that is being written: its grammars,
    names.toml, words.toml and told.toml. Exit code 9 where a rule is not kept.

    \b
    Examples:
      fieldlog language check de
      fieldlog language check my-languages/fr --quick
    """
    from fieldlog import config
    from fieldlog.language.contract import checked
    from fieldlog.language.tongues import read_other

    places = (Path(which), config.grammars() / which)
    folder = next((each for each in places if each.is_dir()), None)
    if folder is None:
        raise UsageError(
            f"neither a language nor a folder: {which!r}",
            todo="name the folder with its grammars, or a code of `fieldlog language list`",
        )
    spoken, said = read_other(folder)
    broken = 0
    for owed in checked(spoken, said, phrases_too=not quick):
        broken += bool(owed.faults)
        click.echo(f"{'kept' if not owed.faults else 'NOT KEPT':<9}{owed.rule}")
        for fault in owed.faults[:_SHOWN]:
            click.echo(f"           {fault}")
        if len(owed.faults) > _SHOWN:
            click.echo(f"           and {len(owed.faults) - _SHOWN} more")
    if broken:
        raise PartialError(
            f"{counted(broken, 'rule is', 'rules are')} not kept",
            where=which,
            todo="write what lacks; docs/languages.md",
        )
