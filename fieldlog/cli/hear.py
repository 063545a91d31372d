"""``fieldlog hear``: audio files to understood utterances, each with its verdict."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from pathlib import Path

import click
from rich.console import Console
from rich.progress import Progress

from fieldlog.assess import Assessment
from fieldlog.cli.ears import Ears, listener_options, open_ears, open_language
from fieldlog.cli.json_view import Json, understanding_view
from fieldlog.cli.verdict_lines import assessor, outcome_text
from fieldlog.errors import AudioError, FieldlogError, PartialError
from fieldlog.hearing import Heard, hear_clips


@click.command()
@click.argument("audio", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--grammar",
    type=click.Path(path_type=Path),
    metavar="FILE.jsgf",
    help="Hear this grammar instead of the inspection's; its tags become slots.",
)
@listener_options
@click.option("--jurisdiction", metavar="CC", help="ISO 3166 code: US, US-VA, US-MD, GB, DE, FR.")
@click.option(
    "--set", "settings", metavar="KEY=VALUE", multiple=True, help="Context, e.g. rim=alloy."
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per utterance.")
def hear(
    audio: Sequence[Path],
    grammar: Path | None,
    listener: str,
    model: Path | None,
    jurisdiction: str | None,
    settings: tuple[str, ...],
    as_json: bool,
) -> None:
    """Hear AUDIO files: what was said in each, what it means and how it stands against the limits.

    WAV, FLAC, OGG and MP3 of any rate and width; M4A and others where ffmpeg is installed.

    \b
    Examples:
      fieldlog hear walk-round.flac
      fieldlog hear morning/*.wav --json --jurisdiction US-VA
      fieldlog hear order.wav --grammar orders.jsgf --json
      fieldlog hear walk-round.flac --listener vosk --model ~/models/vosk-en
    """
    language = open_language(grammar)
    assess = assessor(language, jurisdiction, settings)
    left_out: list[FieldlogError] = []
    with open_ears(language, listener, model) as ears:
        console = Console(stderr=True)
        with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
            task = bar.add_task("hearing", total=len(audio))
            for path in audio:
                bar.update(task, description=path.name)
                try:
                    for heard in _heard(path, ears):
                        assessment = assess(heard.understanding)
                        _print(heard, path, ears, assessment, as_json)
                except AudioError as error:
                    left_out.append(error)
                    click.echo(f"fieldlog: {error}", err=True)
                bar.advance(task)
    if left_out and len(left_out) == len(audio):
        raise AudioError(
            f"{'none of the files' if len(audio) > 1 else 'the file'} could be heard",
            todo="see the reason above for each",
        )
    if left_out:
        names = "; ".join(error.where or error.what for error in left_out)
        raise PartialError(f"{len(left_out)} of {len(audio)} files were left out: {names}")


def _heard(path: Path, ears: Ears) -> Iterator[Heard]:
    from fieldlog.audio.endpointer import utterances

    return hear_clips(utterances(path), ears.listener, ears.language, ears.judge)


def _print(
    heard: Heard, path: Path, ears: Ears, assessment: Assessment | None, as_json: bool
) -> None:
    if as_json:
        click.echo(json.dumps(heard_view(heard, str(path), ears.listener.name, assessment)))
        return
    span = f"{heard.clip.start_s:7.2f}-{heard.clip.end_s:.2f} s"
    Console(highlight=False, soft_wrap=True).print(
        f"{span}  ", outcome_text(heard.understanding, assessment), sep=""
    )


def heard_view(heard: Heard, file: str, listener: str, assessment: Assessment | None) -> Json:
    """The object of ``fieldlog hear --json`` (pure)."""
    view = understanding_view(heard.understanding, assessment)
    return {
        "file": file,
        "start_s": round(heard.clip.start_s, 3),
        "end_s": round(heard.clip.end_s, 3),
        **view,
        "listener": listener,
        "latency_ms": round(heard.latency_ms, 1),
        "alternatives": list(heard.alternatives),
        "sound": sorted(heard.clip.flags),
    }
