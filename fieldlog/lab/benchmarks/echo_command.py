"""``python -m fieldlog.lab echo``: does it believe itself, and does it hear somebody over itself?"""

from __future__ import annotations

from pathlib import Path

import click

from fieldlog.cli.ears import listener_options


@click.command("echo")
@click.option(
    "--set",
    "folder",
    type=click.Path(path_type=Path),
    required=True,
    help="An inspection speech set, made by speech-set.",
)
@click.option("--items", type=int, default=120, show_default=True, help="People who speak over it.")
@click.option("--docs", type=click.Path(path_type=Path), help="Write echo.md into this folder.")
@listener_options
def echo(folder: Path, items: int, docs: Path | None, listener: str, model: Path | None) -> None:
    """Play the tool's own read-backs into its microphone, alone and with somebody speaking over them.

    Three levels, four delays, every noise of the set: nothing of it may be taken. Ctrl-C ends it early
    and prints what it came to.

    \b
    Examples:
      python -m fieldlog.lab echo --set set
      python -m fieldlog.lab echo --set set --items 20
    """
    from fieldlog.cli.ears import open_ears
    from fieldlog.lab.benchmarks import echo as bench
    from fieldlog.lab.speech_set.items import KITCHEN, TALK, SpeechSet
    from fieldlog.lab.speech_set.noises import NOISES
    from fieldlog.language.files import load_language

    language = load_language()
    opened = SpeechSet(folder)
    kinds = (*NOISES, TALK, *(("kitchen",) if (folder / KITCHEN).is_file() else ()))
    owns: list[bench.Own] = []
    overs: list[bench.Over] = []
    stopped = False
    with open_ears(language, listener, model) as ears:
        room = bench.Room(ears, opened)
        spoken = bench.findings_of(opened, language)
        findings = [finding for _, finding in spoken]
        all_layers = bench.Layers.ALL
        plan = [bench.Own(all_layers, level) for level in bench.LEVELS_DB]
        plan += [bench.Own(all_layers, bench.LOUD_DB, hard=True)]
        plan += [bench.Own(all_layers, level, gives_way=True) for level in (-6.0, None)]
        plan += [bench.Own(layers, -6.0) for layers in bench.Layers if layers is not all_layers]
        try:
            for row in plan:
                owns.append(row)
                some = kinds if row.layers is all_layers else kinds[::4]
                for says, heard, cuts in bench.own_takes(room, findings, row, some):
                    bench.count_own(row, says, heard, cuts)
                click.echo(f"{row}", err=True)
            step = max(1, len(spoken) // max(1, items))
            noisy = f"noise at {bench.NOISE_DB:.0f} dB"
            for name, in_noise, echoes, gives_way in (
                ("nobody else speaks, clean", False, False, True),
                ("over a read-back, clean", False, True, True),
                ("over a read-back that goes on, clean", False, True, False),
                (f"nobody else speaks, {noisy}", True, False, True),
                (f"over a read-back, {noisy}", True, True, True),
                (f"over a read-back that goes on, {noisy}", True, True, False),
            ):
                overs.append(bench.Over(name))
                for number, (item, own) in enumerate(spoken[::step][:items]):
                    others = [one for one in findings if one.component != own.component]
                    delay = bench.DELAYS_S[number % len(bench.DELAYS_S)]
                    bench.over_take(
                        room,
                        overs[-1],
                        item,
                        others[item.seed % len(others)],
                        noise=kinds[number % len(kinds)] if in_noise else None,
                        echo_s=delay if echoes else None,
                        gives_way=gives_way,
                    )
                click.echo(f"{overs[-1]}", err=True)
        except KeyboardInterrupt:
            stopped = True
    command = f"python -m fieldlog.lab echo --set SET --items {items}"
    text = bench.page(owns, overs, f"{command} --docs docs/hearing", interrupted=stopped)
    if docs is not None:
        click.echo(f"{bench.write_page(docs, text)}: written", err=True)
    click.echo(text, nl=False)
