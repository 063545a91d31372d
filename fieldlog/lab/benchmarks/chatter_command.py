"""``python -m fieldlog.lab chatter``: does anything become a finding that nobody stated?"""

from __future__ import annotations

import json
import tempfile
from dataclasses import asdict
from pathlib import Path

import click

from fieldlog.cli.ears import listener_options
from fieldlog.errors import UsageError
from fieldlog.lab.benchmarks.chatter_recording import (
    SEED,
    Plan,
    noises_of,
    planned,
    write_recording,
)


@click.command("chatter")
@click.option(
    "--set",
    "folder",
    type=click.Path(path_type=Path),
    required=True,
    help="An inspection speech set, made by speech-set.",
)
@click.option("--minutes", type=float, default=30.0, show_default=True, help="Length.")
@click.option("--seed", type=int, default=SEED, show_default=True)
@click.option(
    "--keep",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE.flac",
    help="Keep the recording here, to hear it oneself.",
)
@click.option("--docs", type=click.Path(path_type=Path), help="Write chatter.md into this folder.")
@listener_options
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def chatter(
    folder: Path,
    minutes: float,
    seed: int,
    keep: Path | None,
    docs: Path | None,
    listener: str,
    model: Path | None,
    as_json: bool,
) -> None:
    """Play half an hour of talk, noise and silence to a live session: what does it accept?

    The talk is the test part's chatter, near misses, half sentences, coughs and breath; workshop
    noises come and go at several levels. No finding may be accepted. Ctrl-C ends it early and
    prints what it came to. The policy is that of FIELDLOG_POLICY.

    \b
    Examples:
      python -m fieldlog.lab chatter --set set
      python -m fieldlog.lab chatter --set set --minutes 5 --keep chatter.flac
    """
    from fieldlog.cli.ears import open_ears
    from fieldlog.cli.terminal import Terminal
    from fieldlog.lab.benchmarks.chatter import listen_to, report
    from fieldlog.lab.speech_set.items import SpeechSet
    from fieldlog.language.files import load_language

    if minutes <= 0.0:
        raise UsageError(f"{minutes:g} minutes are none", where="--minutes", todo="say 30")
    language = load_language()
    opened = SpeechSet(folder)
    plan: Plan = planned(
        list(opened.part("test")), noises_of(opened), minutes * 60.0, seed, language
    )
    with (
        tempfile.TemporaryDirectory(prefix="fieldlog-chatter-") as scratch,
        Terminal.here().progress() as bar,
        open_ears(language, listener, model) as ears,
    ):
        path = keep or Path(scratch) / "chatter.flac"
        making = bar.add_task("making the recording", total=plan.seconds)
        write_recording(plan, opened, path, lambda done: bar.update(making, completed=done))
        hearing = bar.add_task("listening to it", total=plan.seconds)
        outcome = listen_to(
            path, plan, ears, language, lambda done: bar.update(hearing, completed=done)
        )
    command = f"python -m fieldlog.lab chatter --set SET --minutes {minutes:g}"
    command += f" --seed {seed}" if seed != SEED else ""
    command += f" --listener {listener}" if listener != "whisper" else ""
    if docs is not None:
        docs.mkdir(parents=True, exist_ok=True)
        page = docs / "chatter.md"
        page.write_text(report(outcome, f"{command} --docs docs/hearing"), encoding="utf-8")
        click.echo(f"{page}: written", err=True)
    if as_json:
        rate = {"questions_per_hour": outcome.questions_per_hour}
        click.echo(json.dumps({**asdict(outcome), **rate}))
    else:
        click.echo(report(outcome, command), nl=False)
