"""``python -m fieldlog.lab echo``: does it believe itself, and does it hear somebody over itself?"""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from contextlib import ExitStack, suppress
from functools import partial
from pathlib import Path
from typing import Literal

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
@click.option("--part", type=click.Choice(["test", "tune"]), default="test", show_default=True)
@click.option(
    "--draw", type=int, default=0, show_default=True, help="Other people, read-backs and noises."
)
@click.option("--docs", type=click.Path(path_type=Path), help="Write echo.md into this folder.")
@click.option("--processes", type=click.IntRange(1), default=1, show_default=True)
@listener_options
def echo(
    folder: Path,
    items: int,
    part: Literal["test", "tune"],
    draw: int,
    docs: Path | None,
    processes: int,
    listener: str,
    model: Path | None,
) -> None:
    """Play the tool's own read-backs into its microphone, alone and with somebody speaking over them.

    Three levels, four delays, every noise of the set: nothing of it may be taken. Ctrl-C ends it early
    and prints what it came to.

    \b
    Examples:
      python -m fieldlog.lab echo --set set
      python -m fieldlog.lab echo --set set --items 20
      python -m fieldlog.lab echo --set set --items 24 --part tune --draw 3
    """
    from fieldlog.lab.benchmarks import echo as bench
    from fieldlog.lab.benchmarks.echo_rows import Draw, measured, overs_planned, owns_planned

    owns, overs = owns_planned(), overs_planned()
    done: list[bench.Own | bench.Over] = []
    heard_by = (listener, None if model is None else str(model))
    place = partial(measured, str(folder), *heard_by, Draw(items, part, draw))
    with suppress(KeyboardInterrupt), ExitStack() as stack:
        mapped: Callable[..., object] = map
        if processes > 1:
            context = multiprocessing.get_context("spawn")
            pool = stack.enter_context(ProcessPoolExecutor(processes, mp_context=context))
            mapped = partial(pool.map, chunksize=1)
        for row in mapped(place, [*owns, *overs]):  # type: ignore[attr-defined]
            done.append(row)
            click.echo(f"{row}", err=True)
    command = f"python -m fieldlog.lab echo --set SET --items {items}"
    command += f" --part {part} --draw {draw}" if (part, draw) != ("test", 0) else ""
    text = bench.page(
        [row for row in done if isinstance(row, bench.Own)],
        [row for row in done if isinstance(row, bench.Over)],
        f"{command} --docs docs/hearing",
        part=part,
        interrupted=len(done) < len(owns) + len(overs),
    )
    if docs is not None:
        click.echo(f"{bench.write_page(docs, text)}: written", err=True)
    click.echo(text, nl=False)
