"""``python -m fieldlog.lab breath``: is a finding swallowed, is a pause bridged?"""

from __future__ import annotations

import json
import os
from dataclasses import asdict
from pathlib import Path

import click

from fieldlog.errors import AudioError, UsageError
from fieldlog.lab.benchmarks.breath_takes import SEED
from fieldlog.lab.speech_set.voices import STYLES, TEST, TUNE


@click.command("breath")
@click.option(
    "--takes",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    required=True,
    help="Folder in which what was spoken is kept, and used again.",
)
@click.option("--pairs", type=int, default=64, show_default=True, help="Pairs of findings.")
@click.option(
    "--part",
    type=click.Choice((TUNE, TEST)),
    default=TEST,
    show_default=True,
    help="Voices and phrases: the level was chosen on tune, figures come from test.",
)
@click.option("--seed", type=int, default=SEED, show_default=True)
@click.option("--voice", "names", multiple=True, help="Only these voices (may be repeated).")
@click.option(
    "--kokoro-styles",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    envvar=STYLES,
    help="The file that `npm pack kokoro-js@1.2.1` leaves: more natural voices.",
)
@click.option("--docs", type=click.Path(path_type=Path), help="Write breath.md into this folder.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object per take.")
def breath(
    folder: Path,
    pairs: int,
    part: str,
    seed: int,
    names: tuple[str, ...],
    kokoro_styles: Path | None,
    docs: Path | None,
    as_json: bool,
) -> None:
    """Say two findings in one breath, the same singly, and sentences with a pause inside; hear them.

    No finding may be accepted while the one behind it is gone without a word, and none may come of
    a sentence that is no finding. The policy is that of FIELDLOG_POLICY.

    \b
    Examples:
      python -m fieldlog.lab breath --takes takes
      python -m fieldlog.lab breath --takes takes --part tune --pairs 16 --voice "flite kal16"
    """
    from fieldlog.cli.terminal import Terminal
    from fieldlog.config import policy_name
    from fieldlog.doubt.decide import policy_named
    from fieldlog.doubt.files import shipped_rules
    from fieldlog.lab.benchmarks.breath import hear_takes, page
    from fieldlog.lab.benchmarks.breath_takes import planned, spoken
    from fieldlog.lab.speech_set.voices import available
    from fieldlog.language.files import load_language
    from fieldlog.listeners.whisper.listener import WhisperListener

    if pairs < 2:
        raise UsageError(f"{pairs} pairs say nothing", where="--pairs", todo="say 64")
    if kokoro_styles is not None:
        os.environ[STYLES] = str(kokoro_styles.resolve())
    usable, left_out = available()
    voices = [v for v in usable if v.part == part and (not names or v.name in names)]
    if not voices:
        raise AudioError(
            f"no voice of the part {part!r} can speak here",
            where="benchmarks breath",
            todo="; ".join(sorted(set(left_out.values()))) or "name one of that part with --voice",
        )
    for name, reason in left_out.items():
        click.echo(f"left out: {name}: {reason}", err=True)
    policy, rules = policy_named(policy_name()), shipped_rules()
    language = load_language()
    takes = planned(language, voices, part, pairs, seed)
    listener = WhisperListener()
    with Terminal.here().progress() as bar:
        speaking = bar.add_task("speaking", total=None)
        spoken(takes, folder, lambda done, of: bar.update(speaking, completed=done, total=of or 1))
        hearing = bar.add_task("hearing", total=len(takes))
        try:
            came = hear_takes(
                takes,
                folder,
                listener,
                language,
                rules,
                policy,
                lambda done, of: bar.update(hearing, completed=done, total=of),
            )
        finally:
            listener.close()
    command = f"python -m fieldlog.lab breath --takes TAKES --part {part} --pairs {pairs}"
    command += f" --seed {seed}" if seed != SEED else ""
    if docs is not None:
        docs.mkdir(parents=True, exist_ok=True)
        text = page(came, part, rules, f"{command} --docs docs/hearing")
        (docs / "breath.md").write_text(text, encoding="utf-8")
        click.echo(f"{docs / 'breath.md'}: written", err=True)
    if as_json:
        for each in came:
            click.echo(json.dumps(asdict(each)))
    else:
        click.echo(page(came, part, rules, command), nl=False)
