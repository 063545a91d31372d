"""``python -m fieldlog.lab phone``: the demo inspection, spoken into the phone's page in a real browser."""

from __future__ import annotations

import tempfile
from collections import Counter
from pathlib import Path

import click

from fieldlog.config import demo_media
from fieldlog.shop.ears import open_ears


@click.command("phone")
@click.option(
    "--cut", "cut_s", type=float, default=8.0, show_default=True, help="Seconds without network."
)
@click.option("--parts", type=int, default=None, help="Only the first recordings of the demo.")
def phone(cut_s: float, parts: int | None) -> None:
    """Speak the demo into the phone's page, photograph, cut the network: what is in the record?

    A real Chromium over TLS, its microphone a file, at the speed of speech (four minutes). In each
    recording the network is gone once, in the middle of it. A browser on a busy machine drops sound of its own
    file: what is asked about for that is told. Whoever holds the phone affirms on the page what they said, denies
    what they did not, and types again what was not understood. Ends with 1 where the record is not what the demo's
    manifest says.

    \b
    Example:
      python -m fieldlog.lab phone
    """
    from fieldlog.lab.benchmarks.phone_walk import walk
    from fieldlog.language.files import load_language

    with (
        tempfile.TemporaryDirectory() as folder,
        open_ears(load_language(), "whisper") as ears,
    ):
        found = walk(demo_media(), Path(folder), ears, cut_s=cut_s, parts=parts)
    click.echo(f"{found.findings} findings, {found.photos} photos, {found.lasted_s:.0f} s")
    for trouble, count in Counter(each.trouble.value for each in found.notices).items():
        click.echo(f"{count} x {trouble}")
    for text in found.holes:
        click.echo(f"the browser dropped sound of: {text}")
    for text in found.answered:
        click.echo(f"answered on the page: {text}")
    for text in found.deviations:
        click.echo(f"not as it should be: {text}")
    if found.deviations:
        raise SystemExit(1)
    click.echo("exactly what the demo's manifest says")
