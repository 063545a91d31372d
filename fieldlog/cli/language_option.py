"""``--language``: the language that is spoken and typed, for every command that takes words."""

from __future__ import annotations

import click


def _spoken(ctx: click.Context, param: click.Parameter, value: str | None) -> None:
    """Speak it until the command is done."""
    if value:
        from fieldlog import config

        ctx.with_resource(config.speaking(value))


language_option = click.option(
    "--language",
    metavar="CODE",
    expose_value=False,
    is_eager=True,
    callback=_spoken,
    help="The language that is spoken and typed: en, de.  [default: FIELDLOG_LANGUAGE, else en]",
)
