"""``python -m fieldlog.lab start``: how long until it listens, how fast then, how much memory."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import click

from fieldlog.cli.ears import LISTENERS
from fieldlog.errors import UsageError


@click.command("start")
@click.option("--runs", type=int, default=5, show_default=True, help="Fresh processes of each.")
@click.option(
    "--only",
    multiple=True,
    help="Only these recognisers (repeatable): whisper, pocketsphinx, vosk.",
)
@click.option("--vosk", "vosk_model", type=click.Path(path_type=Path), help="A Vosk model folder.")
@click.option("--model", type=click.Path(path_type=Path), help="Another CTranslate2 Whisper.")
@click.option("--docs", type=click.Path(path_type=Path), help="Write start.md into this folder.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object per row.")
def start(
    runs: int,
    only: tuple[str, ...],
    vosk_model: Path | None,
    model: Path | None,
    docs: Path | None,
    as_json: bool,
) -> None:
    """Time fresh processes from their start to listening, then what they hear of the demo.

    Whisper held to the grammar and pocketsphinx with the same grammar take turns; Vosk too where
    --vosk names a model.

    \b
    Example:
      python -m fieldlog.lab start --runs 5 --docs docs/hearing
    """
    from fieldlog.cli.terminal import Terminal
    from fieldlog.lab.benchmarks.hearing_start import measure, page

    if runs < 1:
        raise UsageError(f"{runs} runs are none", where="--runs", todo="say 5")
    unknown = [name for name in only if name not in LISTENERS]
    if unknown:
        raise UsageError(
            f"no recogniser {unknown[0]!r}", where="--only", todo=f"one of {', '.join(LISTENERS)}"
        )
    compared = [("whisper", model), ("pocketsphinx", None)]
    if vosk_model is not None or "vosk" in only:
        compared.append(("vosk", vosk_model))
    compared = [each for each in compared if not only or each[0] in only]
    with Terminal.here().progress() as bar:
        task = bar.add_task("starting", total=runs * len(compared))
        rows, absent = measure(
            compared, runs, lambda name, done: bar.update(task, description=name, completed=done)
        )
    text = page(rows, absent, f"python -m fieldlog.lab start --runs {runs} --docs docs/hearing")
    if docs is not None and rows:
        docs.mkdir(parents=True, exist_ok=True)
        (docs / "start.md").write_text(text, encoding="utf-8")
        click.echo(f"{docs / 'start.md'}: written", err=True)
    if as_json:
        for name, reason in absent.items():
            click.echo(f"{name} left out: {reason}", err=True)
        for row in rows:
            click.echo(json.dumps(asdict(row)))
    else:
        click.echo(text, nl=False)
