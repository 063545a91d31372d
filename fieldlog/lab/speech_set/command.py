"""The command that makes the inspection speech set."""

from __future__ import annotations

import json
import os
import time
from dataclasses import replace
from pathlib import Path

import click
from rich.console import Console
from rich.progress import Progress

from fieldlog.errors import UsageError
from fieldlog.lab.speech_set.generate import SEED, Sizes, counts, generate
from fieldlog.lab.speech_set.items import SpeechSet
from fieldlog.lab.speech_set.voices import ASIDE, STYLES, TEST, TUNE, VOICES


@click.command("speech-set")
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), required=True)
@click.option("--small", is_flag=True, help="Some 300 utterances instead of some 4,000.")
@click.option("--seed", type=int, default=SEED, show_default=True)
@click.option("--part", type=click.Choice([TUNE, TEST]), help="Only this part.")
@click.option("--phrases", type=click.IntRange(1), help="So many phrases in each part.")
@click.option(
    "--kitchen",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="A recording of real kitchen noise to use beside the synthesised noises.",
)
@click.option(
    "--kokoro-styles",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    envvar=STYLES,
    help="The file that `npm pack kokoro-js@1.2.1` leaves: 14 more natural voices.",
)
@click.option(
    "--aside",
    is_flag=True,
    help="Instead: phrases of the test part by engines that speak in no part, to measure only.",
)
@click.option("--voice", "names", multiple=True, help="Only these voices (may be repeated).")
@click.option("--json", "as_json", is_flag=True, help="The set's description as JSON.")
def speech_set(
    out: Path,
    small: bool,
    seed: int,
    part: str | None,
    phrases: int | None,
    kitchen: Path | None,
    kokoro_styles: Path | None,
    aside: bool,
    names: tuple[str, ...],
    as_json: bool,
) -> None:
    """Make the inspection speech set: phrases, voices, rooms, noises and negatives.

    \b
    Examples:
      python -m fieldlog.lab speech-set --out set --small
      python -m fieldlog.lab speech-set --out set --kitchen kitchen.flac
      python -m fieldlog.lab speech-set --out more --part tune --phrases 4500 --seed 20261130
      python -m fieldlog.lab speech-set --out aside --aside --seed 20261129 --kitchen kitchen.flac
    """
    if kokoro_styles is not None:
        os.environ[STYLES] = str(kokoro_styles.resolve())
    known = {voice.name: voice for voice in (ASIDE if aside else VOICES)}
    unknown = [name for name in names if name not in known]
    if unknown:
        raise UsageError(f"no voice is called {unknown[0]!r}", todo=f"known: {', '.join(known)}")
    usual = Sizes.aside() if aside else Sizes()
    sizes = usual.small() if small else usual
    if phrases is not None:
        sizes = replace(sizes, tune=phrases, test=phrases)
    started = time.monotonic()
    console = Console(stderr=True)
    with Progress(console=console, transient=True) as bar:
        task = bar.add_task("phrases", total=None)

        def show(what: str, done: int, of: int) -> None:
            bar.update(task, description=what, completed=done, total=of if of > 1 else None)

        about = generate(
            out,
            sizes,
            seed=seed,
            kitchen=kitchen,
            voices=[known[name] for name in names] or (ASIDE if aside else None),
            progress=show,
            parts=(part,) if part else (TEST,) if aside else (TUNE, TEST),
        )
    if as_json:
        click.echo(json.dumps(about, indent=1))
        return
    left_out = about["left out"]
    assert isinstance(left_out, dict)
    for name, reason in left_out.items():
        console.print(f"left out: {name}: {reason}", markup=False)
    for of_part, row in counts(SpeechSet(out).items).items():
        listed = ", ".join(f"{number} {kind}" for kind, number in sorted(row.items()))
        click.echo(f"{of_part}: {listed}")
    click.echo(f"{out}: {about['items']} utterances in {time.monotonic() - started:.0f} s")


if __name__ == "__main__":
    speech_set()
