"""``python -m fieldlog.lab voice``: renders the voice that reads back, and packs it."""

from __future__ import annotations

from pathlib import Path

import click

from fieldlog.aftercare.files import load_care
from fieldlog.audio.voice import PACK
from fieldlog.lab.voice.pack import write_pack
from fieldlog.lab.voice.render import VOICE, render
from fieldlog.lab.voice.texts import units_of
from fieldlog.language.files import load_language


@click.command()
@click.option(
    "--units",
    "folder",
    required=True,
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for the rendered units; what is there is not rendered again.",
)
@click.option(
    "--kokoro-styles",
    "styles",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The npm package kokoro-js (a .tgz) with the English styles; without it nothing is rendered.",
)
@click.option("--only-render", is_flag=True, help="Write no pack.")
@click.option("--share", type=(int, int), default=(0, 1), help="Render the N-th of M shares only.")
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), default=PACK)
def voice(
    folder: Path, styles: Path | None, only_render: bool, share: tuple[int, int], out: Path
) -> None:
    """Render every stretch of words that can be said back, and pack them into the package.

    Needs the extra speech-set, espeak-ng and `npm pack kokoro-js@1.2.1`. About a second of one core
    for each unit.

    \b
    Examples:
      python -m fieldlog.lab voice --units units --kokoro-styles kokoro-js-1.2.1.tgz
    """
    care = load_care()
    walks = (care.walk, *care.others.values())
    items = tuple(stop.item for walk in walks for stop in walk.places)
    units = units_of(load_language(), items)
    click.echo(f"{len(units)} units, voice {VOICE}", err=True)
    if styles is not None:
        render(units[share[0] :: share[1]], folder, styles)
    if not only_render:
        click.echo(write_pack(units, folder, out))
