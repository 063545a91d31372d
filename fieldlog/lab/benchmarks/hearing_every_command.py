"""``python -m fieldlog.lab every``: nothing of the catalogue left unheard."""

from __future__ import annotations

from pathlib import Path

import click

from fieldlog.lab.benchmarks.hearing_every import hear_every
from fieldlog.lab.benchmarks.hearing_reach import page
from fieldlog.language.files import load_language


@click.command()
@click.option("--docs", type=click.Path(path_type=Path), help="Write its page here.")
def every(docs: Path | None) -> None:
    """Say every unit and condition of every component once, and hear it.

    \b
    Example:
      python -m fieldlog.lab every --docs docs/hearing
    """
    from fieldlog.cli.terminal import Terminal
    from fieldlog.listeners.whisper.listener import WhisperListener

    language = load_language()
    listener = WhisperListener()
    listener.load(language)
    try:
        with Terminal.here().progress() as bar:
            task = bar.add_task("hearing", total=None)
            found = hear_every(
                listener,
                language,
                lambda done, of: bar.update(task, completed=done, total=of),
            )
    finally:
        listener.close()
    command = "python -m fieldlog.lab every --docs docs/hearing"
    text = page([("whisper", found.reached)], command)
    text += f"\n{found.phrases} phrases, clean, by {', '.join(found.voices)} in turn.\n"
    if found.unsaid:
        text += f"\nNo phrase found for: {'; '.join(found.unsaid)}.\n"
    if docs is not None:
        docs.mkdir(parents=True, exist_ok=True)
        (docs / "every.md").write_text(text, encoding="utf-8")
        click.echo(f"{docs / 'every.md'}: written", err=True)
    click.echo(text, nl=False)
