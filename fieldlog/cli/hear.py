"""``fieldlog hear``: audio files to understood utterances, each with its verdict."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fieldlog.cli.ears import listener_options
from fieldlog.cli.language_option import language_option
from fieldlog.cli.limit_option import limits_with, own_limits_option

if TYPE_CHECKING:
    from fieldlog.hearing import Heard
    from fieldlog.limits.assess import Assessment
    from fieldlog.words.as_json import Json


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
@own_limits_option
@click.option(
    "--conversation",
    is_flag=True,
    help="The files follow one another: an utterance may answer the question in the file before.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per utterance.")
@language_option
def hear(
    audio: Sequence[Path],
    grammar: Path | None,
    listener: str,
    model: Path | None,
    jurisdiction: str | None,
    settings: tuple[str, ...],
    own: tuple[Path, ...],
    conversation: bool,
    as_json: bool,
) -> None:
    """Hear AUDIO files: what was said in each, what it means and how it stands against the limits.

    Within a file, what follows a question may be its answer ("front", "affirm", "negative").
    Under each stand the other limits that apply, what was computed and the cautions, as `fieldlog
    parse` shows them. WAV, FLAC, OGG, Opus, MP3, M4A, WebM and more, of any rate and width.

    \b
    Examples:
      fieldlog hear walk-round.flac
      fieldlog hear morning/*.wav --json --jurisdiction US-VA
      fieldlog hear question.wav answer.wav --conversation
      fieldlog hear order.wav --grammar orders.jsgf --json
      fieldlog hear walk-round.flac --listener vosk --model ~/models/vosk-en
    """
    from rich.text import Text

    from fieldlog.cli.audio_files import hear_files
    from fieldlog.cli.ears import open_ears
    from fieldlog.cli.event_lines import answered_text
    from fieldlog.cli.terminal import Terminal
    from fieldlog.cli.verdict_lines import assessor, understood_lines
    from fieldlog.shop.conversation import Conversation
    from fieldlog.shop.ears import open_language

    terminal = Terminal.here()
    language = open_language(grammar)
    assess = assessor(language, jurisdiction, settings, limits_with(own))
    with open_ears(language, listener, model) as ears:

        def tell(path: Path, heard: Heard) -> None:
            assessed = [assess(part) for part in heard.outcomes]
            if as_json:
                numbers[path] = numbers.get(path, 0) + 1
                for view in heard_views(
                    heard, str(path), ears.listener.name, assessed, numbers[path]
                ):
                    terminal.lines.out(json.dumps(view), highlight=False)
                return
            if len(audio) > 1 and path not in begun:
                begun.add(path)
                terminal.lines.print(Text(str(path), "bold"))
            told = zip(heard.outcomes, heard.stretches, assessed, strict=True)
            for part, (begin_s, end_s), assessment in told:
                span = f"{begin_s:7.2f} - {end_s:7.2f} s  "
                first, *rest = understood_lines(part, assessment, cautioned)
                answer = answered_text(heard.answers, part)
                terminal.lines.print(Text.assemble((span, "dim"), first, answer))
                for line in rest:
                    terminal.lines.print(line)
            for begin_s, end_s in heard.hearing.left_over:
                at_s = heard.clip.start_s
                span = f"{at_s + begin_s:7.2f} - {at_s + end_s:7.2f} s  "
                terminal.lines.print(Text.assemble((span, "dim"), "said here: not understood"))

        begun: set[Path] = set()
        cautioned: set[str] = set()
        numbers: dict[Path, int] = {}
        hear_files(
            audio, Conversation(ears), terminal, tell, follows=lambda before, path: conversation
        )


def heard_views(
    heard: Heard,
    file: str,
    listener: str,
    assessed: Sequence[Assessment | None],
    utterance: int,
) -> list[Json]:
    """The objects of ``fieldlog hear --json``: one for each finding or outcome (pure).

    ``utterance``: the number of the breath in its file, from 1.
    """
    from fieldlog.cli.json_view import is_covered, understanding_view

    at_s = heard.clip.start_s
    left = [[round(at_s + b, 3), round(at_s + e, 3)] for b, e in heard.hearing.left_over]
    told = zip(heard.outcomes, heard.stretches, assessed, strict=True)
    return [
        {
            "file": file,
            "start_s": round(begin_s, 3),
            "end_s": round(end_s, 3),
            **understanding_view(part, assessment),
            "utterance": utterance,
            "covered": is_covered(part, left),
            "left_over": left,
            **_heard_as(heard, listener),
        }
        for part, (begin_s, end_s), assessment in told
    ]


def _heard_as(heard: Heard, listener: str) -> Json:
    return {
        "listener": listener,
        "latency_ms": round(heard.latency_ms, 1),
        "answers": heard.answers.question_text if heard.answers else None,
        "alternatives": list(heard.alternatives),
        "evidence": dict(heard.hearing.hypotheses[0].evidence) if heard.hearing.hypotheses else {},
        "sound": sorted(heard.clip.flags),
    }
