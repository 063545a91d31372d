"""``python -m fieldlog.lab breath``: does anything that was said in one breath vanish?"""

from __future__ import annotations

import json
import os
from dataclasses import asdict, replace
from pathlib import Path

import click

from fieldlog.errors import AudioError, UsageError
from fieldlog.lab.benchmarks.breath_takes import KINDS, SEED, SENTENCE_VOICES, Plan
from fieldlog.lab.speech_set.voices import STYLES, TEST, TUNE
from fieldlog.shop.silence import Silences

_VOICES = {TEST: SENTENCE_VOICES, TUNE: 2}
"""For each sentence, where the number is not given."""


@click.command("breath")
@click.option(
    "--takes",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    required=True,
    help="Folder in which what was spoken is kept, and used again.",
)
@click.option(
    "--only", "kinds", multiple=True, type=click.Choice(KINDS), help="Only this (may be repeated)."
)
@click.option(
    "--sentences",
    type=click.IntRange(min=1),
    help="Only so many of the written sentences, and of the tails.",
)
@click.option(
    "--voices",
    "each",
    type=click.IntRange(1, SENTENCE_VOICES),
    help="Voices for each sentence and, up to 3, each tail.  [default: 5; of the part tune 2]",
)
@click.option("--pairs", type=int, default=64, show_default=True, help="Pairs of drawn findings.")
@click.option(
    "--part",
    type=click.Choice((TUNE, TEST)),
    default=TEST,
    show_default=True,
    help="Voices and sentences: levels are chosen on tune, figures come from test.",
)
@click.option("--seed", type=int, default=SEED, show_default=True)
@click.option("--voice", "names", multiple=True, help="Only these voices (may be repeated).")
@click.option("--snr", "snr_db", type=float, help="Workshop noise so many dB below the words.")
@click.option(
    "--kokoro-styles",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    envvar=STYLES,
    help="The file that `npm pack kokoro-js@1.2.1` leaves: more natural voices.",
)
@click.option(
    "--rules",
    "own_rules",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="Another doubt/rules.toml, to try its levels.",
)
@click.option("--live", is_flag=True, help="As a live session hears them, not as a recording is.")
@click.option(
    "--settled",
    "settled_s",
    type=click.FloatRange(0.0, 2.0),
    help="Live: seconds of silence that end an utterance behind a whole finding.  [default: 0.42]",
)
@click.option("--processes", type=click.IntRange(min=1), default=1, show_default=True)
@click.option("--speak-only", is_flag=True, help="Speak what is not there yet, hear nothing.")
@click.option(
    "--docs",
    type=click.Path(path_type=Path),
    help="Write breath.md into this folder (live breath-live.md, with --snr 10 breath-10-db.md).",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object per take.")
def breath(
    folder: Path,
    kinds: tuple[str, ...],
    sentences: int | None,
    each: int | None,
    pairs: int,
    part: str,
    seed: int,
    names: tuple[str, ...],
    snr_db: float | None,
    kokoro_styles: Path | None,
    own_rules: Path | None,
    live: bool,
    settled_s: float | None,
    processes: int,
    speak_only: bool,
    docs: Path | None,
    as_json: bool,
) -> None:
    """Say several findings in one breath, a finding and what changes it, findings shortly one after
    the other, and sentences with a pause inside; hear them.

    No finding may be accepted while another one is gone, and none may come of what is no finding.
    The policy is that of FIELDLOG_POLICY.

    \b
    Examples:
      python -m fieldlog.lab breath --takes takes
      python -m fieldlog.lab breath --takes takes --only sentences --only tails --snr 10
      python -m fieldlog.lab breath --takes takes --part tune --pairs 16 --json
    """
    from fieldlog.cli.terminal import Terminal
    from fieldlog.config import policy_name
    from fieldlog.doubt.files import shipped_rules
    from fieldlog.doubt.rules import policy_named, read_rules
    from fieldlog.lab.benchmarks.breath import hear_by_many
    from fieldlog.lab.benchmarks.breath_page import page
    from fieldlog.lab.benchmarks.breath_takes import planned, spoken
    from fieldlog.lab.speech_set.voices import available
    from fieldlog.language.files import load_language

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
    rules = shipped_rules()
    if own_rules is not None:
        rules = read_rules(own_rules.read_text(encoding="utf-8"), str(own_rules))
    language = load_language()
    plan = Plan(frozenset(kinds or KINDS), pairs, sentences, each or _VOICES[part], seed)
    takes = planned(language, voices, part, plan)
    with Terminal.here().progress() as bar:
        speaking = bar.add_task("speaking", total=None)
        spoken(takes, folder, lambda done, of: bar.update(speaking, completed=done, total=of or 1))
        if speak_only:
            return
        hearing = bar.add_task("hearing", total=len(takes))
        came = hear_by_many(
            takes,
            folder,
            rules,
            policy_named(policy_name()),
            snr_db,
            lambda done, of: bar.update(hearing, completed=done, total=of),
            live=live,
            silences=None if settled_s is None else _settled(settled_s),
            processes=processes,
        )
    command = f"python -m fieldlog.lab breath --takes TAKES --part {part} --pairs {pairs}"
    command += "".join(f" --only {kind}" for kind in kinds)
    command += f" --sentences {sentences}" if sentences is not None else ""
    command += f" --voices {each}" if each is not None else ""
    command += "".join(f' --voice "{name}"' for name in names)
    command += f" --snr {snr_db:g}" if snr_db is not None else ""
    command += " --live" if live else ""
    command += f" --settled {settled_s:g}" if settled_s is not None else ""
    command += " --rules RULES" if own_rules is not None else ""
    command += f" --seed {seed}" if seed != SEED else ""
    if docs is not None:
        docs.mkdir(parents=True, exist_ok=True)
        text = page(came, part, snr_db, f"{command} --docs docs/hearing")
        noise = "" if snr_db is None else f"-{snr_db:g}-db"
        written = docs / f"breath{'-live' if live else ''}{noise}.md"
        written.write_text(text, encoding="utf-8")
        click.echo(f"{written}: written", err=True)
    if as_json:
        for one in came:
            click.echo(json.dumps(asdict(one)))
    else:
        click.echo(page(came, part, snr_db, command), nl=False)


def _settled(seconds: float) -> Silences:
    """The silences behind whole findings, both so long; the others as they ship."""
    return replace(Silences(), settled=seconds, goes_on=max(seconds, Silences().goes_on))
