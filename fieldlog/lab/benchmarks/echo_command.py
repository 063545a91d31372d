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
        plan: list[tuple[bench.Layers, float | None]] = [
            (bench.Layers.ALL, level) for level in bench.LEVELS_DB
        ]
        plan += [(bench.Layers.ALL, None)]
        plan += [(layers, -6.0) for layers in bench.Layers if layers is not bench.Layers.ALL]
        try:
            for layers, level in plan:
                owns.append(bench.Own(layers, level))
                for says, heard in bench.own_takes(
                    room,
                    findings,
                    layers,
                    level,
                    kinds if layers is bench.Layers.ALL else kinds[::4],
                ):
                    bench.count_own(owns[-1], says, heard)
                click.echo(f"{layers}, {level} dB: {dict(owns[-1].came)}", err=True)
            step = max(1, len(spoken) // max(1, items))
            for name, noisy, echoes in (
                ("nobody else speaks, clean", False, False),
                ("over a read-back, clean", False, True),
                (f"nobody else speaks, noise at {bench.NOISE_DB:.0f} dB", True, False),
                (f"over a read-back, noise at {bench.NOISE_DB:.0f} dB", True, True),
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
                        noise=kinds[number % len(kinds)] if noisy else None,
                        echo_s=delay if echoes else None,
                    )
                click.echo(f"{overs[-1]}", err=True)
        except KeyboardInterrupt:
            stopped = True
    command = f"python -m fieldlog.lab echo --set SET --items {items}"
    text = bench.page(owns, overs, f"{command} --docs docs/hearing", interrupted=stopped)
    if docs is not None:
        click.echo(f"{bench.write_page(docs, text)}: written", err=True)
    click.echo(text, nl=False)
