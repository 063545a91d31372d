"""``python -m fieldlog.lab whose-voice``: is it the voice that was heard before?"""

from __future__ import annotations

from pathlib import Path

import click


@click.command("whose-voice")
@click.option(
    "--set",
    "folder",
    type=click.Path(path_type=Path),
    required=True,
    help="An inspection speech set, made by speech-set.",
)
@click.option("--clips", type=int, default=20, show_default=True, help="Of each voice.")
@click.option("--fit", "fits", is_flag=True, help="Make the matrix of the package again first.")
@click.option(
    "--docs", type=click.Path(path_type=Path), help="Write whose-voice.md into this folder."
)
def whose_voice(folder: Path, clips: int, fits: bool, docs: Path | None) -> None:
    """Hold the voices of the test part against each other, as `listen --mind-voices` would.

    \b
    Examples:
      python -m fieldlog.lab whose-voice --set set
      python -m fieldlog.lab whose-voice --set set --fit
    """
    from fieldlog.lab.benchmarks import whose_voice as bench
    from fieldlog.lab.speech_set.items import SpeechSet
    from fieldlog.listeners import timbre

    voices = SpeechSet(folder)
    if fits:
        bench.write(bench.fit(voices, clips))
        timbre.shipped.cache_clear()
    took_ms: list[float] = []
    rows = list(bench.compared(voices, timbre.shipped(), clips, took_ms))
    command = f"python -m fieldlog.lab whose-voice --set SET --clips {clips} --docs docs/hearing"
    text = bench.page(rows, took_ms, command)
    if docs is not None:
        (docs / "whose-voice.md").write_text(text, encoding="utf-8")
    click.echo(text, nl=False)
