"""``python -m fieldlog.lab adapt``: make the additions to the bundled weights again."""

from __future__ import annotations

import hashlib
import os
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from zipfile import BadZipFile

import click
import numpy as np
from numpy.typing import NDArray

from fieldlog.errors import UsageError
from fieldlog.lab.adapting.batches import Batches
from fieldlog.lab.adapting.blended import record_blended
from fieldlog.lab.adapting.card import CardBatches
from fieldlog.lab.adapting.ear import Ear, torch_library
from fieldlog.lab.adapting.other_language import language
from fieldlog.lab.adapting.share import averaged, part_of_way
from fieldlog.lab.adapting.takes import kept_apart, record, shards, takes
from fieldlog.lab.adapting.training import RATE, on_cores, train
from fieldlog.lab.speech_set.voices import STYLES
from fieldlog.listeners.whisper.fingerprint import BASE, TINY_EN
from fieldlog.listeners.whisper.folder import open_folder
from fieldlog.listeners.whisper.languages import folder_of_parts
from fieldlog.whole import sha256_of

SHARE = 0.65
"""Share of the additions that is shipped (docs/adapting.md has the figures)."""


@click.group()
def adapt() -> None:
    """Train the shop additions to the bundled weights again (hours on two cores).

    \b
    Examples:
      python -m fieldlog.lab adapt record --out takes --kokoro-styles kokoro.tgz --sentences plain.txt --blended 18000
      python -m fieldlog.lab adapt train --takes takes --out one.npz --device cuda --size 64 --rank 64
      python -m fieldlog.lab adapt average one.npz two.npz --out whole.npz
      python -m fieldlog.lab adapt share whole.npz --out adapter.npz
    """


@adapt.command("record")
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), required=True)
@click.option(
    "--sentences",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    multiple=True,
    required=True,
    help="Text files of plain English, a sentence here and there is taken (repeatable).",
)
@click.option(
    "--kokoro-styles",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    envvar=STYLES,
    required=True,
    help="The file that `npm pack kokoro-js@1.2.1` leaves.",
)
@click.option("--natural", default=1400, show_default=True, help="Takes of natural voices.")
@click.option("--others", default=7700, show_default=True, help="Takes of the other voices.")
@click.option(
    "--blended",
    type=click.IntRange(min=1),
    help="Instead: so many takes of phrases and sentences, each by another speaker.",
)
@click.option("--seed", default=99, show_default=True)
def record_takes(
    out: Path,
    sentences: tuple[Path, ...],
    kokoro_styles: Path,
    natural: int,
    others: int,
    blended: int | None,
    seed: int,
) -> None:
    """Speak the takes to train on: voices and phrases of the training part only.

    \b
    Example:
      python -m fieldlog.lab adapt record --out takes --kokoro-styles kokoro.tgz --sentences plain.txt --blended 18000
    """
    os.environ[STYLES] = str(kokoro_styles.resolve())
    kept_apart()

    def show(what: str, done: int, of: int) -> None:
        print(f"{what}: {done} of {of}", file=sys.stderr, flush=True)

    if blended is not None:
        count = record_blended(out, sentences, seed, blended, show)
    else:
        count = record(out, sentences, seed, natural, others, show)
    click.echo(f"{out}: {count} takes")


@adapt.command("train")
@click.option(
    "--takes",
    "folder",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    required=True,
    help="Folder made by `adapt record`.",
)
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), required=True)
@click.option("--steps", default=850, show_default=True, help="Batches.")
@click.option("--size", default=32, show_default=True, help="Takes in a batch.")
@click.option("--rank", default=32, show_default=True, help="Rank of the added maps.")
@click.option("--seed", default=1, show_default=True)
@click.option("--rate", default=RATE, show_default=True, help="Learning rate at its highest.")
@click.option(
    "--start",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="Go on from what an earlier training wrote (the whole way, not a share).",
)
@click.option(
    "--grow",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="Begin at what is shipped, or at another training, of no larger rank.",
)
@click.option(
    "--grow-share",
    default=1.0,
    show_default=True,
    help="The share of the way at which --grow stands: what is shipped is 0.65.",
)
@click.option("--device", default="cpu", show_default=True, help="cuda: a graphics card.")
@click.option("--hard", is_flag=True, help="On a card: noise at -3 to 17 dB, not 0 to 24.")
@click.option("--base", is_flag=True, help="Additions to Whisper base, the second ear's.")
def train_additions(
    folder: Path,
    out: Path,
    steps: int,
    size: int,
    rank: int,
    seed: int,
    rate: float,
    start: Path | None,
    grow: Path | None,
    grow_share: float,
    device: str,
    hard: bool,
    base: bool,
) -> None:
    """Fit the additions; writes them and, beside them, a TOML file that says how they came about.

    \b
    Examples:
      python -m fieldlog.lab adapt train --takes takes --out first.npz
      python -m fieldlog.lab adapt train --takes takes --start first.npz --rate 6e-4 --out whole.npz
    """
    torch = torch_library()
    torch.manual_seed(seed)
    model = open_folder(folder_of_parts() if base else None, adapt=False)
    began = time.monotonic()
    told: list[tuple[int, float]] = []

    def show(step: int, loss: float) -> None:
        told.append((step, loss))
        each = (time.monotonic() - began) / step
        left = each * (steps - step) / 60
        print(
            f"step {step} of {steps}: {loss:.3f} nats a token, {each:.1f} s a step, "
            f"{left:.0f} min to go",
            file=sys.stderr,
            flush=True,
        )

    ear = Ear(model.weights, rank, seed)
    if start is not None:
        ear.go_on_from(_read(start))
    if grow is not None:
        ear.grow_from(_read(grow), 1 / grow_share)
    if device == "cpu":
        batches = on_cores(Batches(folder, model, size, seed))
    else:
        ear.to(device)
        batches = iter(CardBatches(folder, model, size, seed, device, hard=hard))
    train(ear, batches, steps, out, show, rate=rate, device=device)
    spoken = takes(folder)
    lines = [
        f'weights = "{BASE if base else TINY_EN}"',
        f"rank = {rank}",
        f"steps = {steps}",
        f"size = {size}",
        f"seed = {seed}",
        f"rate = {rate}",
        *([f'went_on_from = "{sha256_of(start)}"'] if start is not None else []),
        *([f'grown_from = "{sha256_of(grow)}"'] if grow is not None else []),
        f"takes = {len(spoken)}",
        f"natural = {sum(take.natural for take in spoken)}",
        f'takes_sha256 = "{_fingerprint(folder)}"',
        f'torch = "{torch.__version__}"',
        f"first_nats = {told[0][1]:.4f}",
        f"last_nats = {told[-1][1]:.4f}",
    ]
    _tell(out, lines)
    click.echo(f"{out}: {out.stat().st_size / 1e6:.1f} MB after {steps} steps")


@adapt.command("average")
@click.argument(
    "trainings",
    nargs=-1,
    required=True,
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
)
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), required=True)
@click.option("--rank", default=96, show_default=True, help="Rank of what is written.")
def average(trainings: tuple[Path, ...], out: Path, rank: int) -> None:
    """The middle of several trainings of the same model.

    \b
    Example:
      python -m fieldlog.lab adapt average one.npz two.npz --out whole.npz
    """
    mean: dict[str, Any] = dict(averaged([_read(each) for each in trainings], rank))
    np.savez_compressed(out, **mean)
    named = ", ".join(f'"{sha256_of(each)}"' for each in trainings)
    beside = trainings[0].with_suffix(".toml")
    of = BASE if beside.is_file() and BASE in beside.read_text(encoding="utf-8") else TINY_EN
    _tell(out, [f'weights = "{of}"', f"rank = {rank}", f"trainings = [{named}]"])
    click.echo(f"{out}: {len(trainings)} trainings, {out.stat().st_size / 1e6:.1f} MB")


@adapt.command("share")
@click.argument("whole", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), required=True)
@click.option("--share", default=SHARE, show_default=True, help="0 is the bundled weights, 1 all.")
def share_of(whole: Path, out: Path, share: float) -> None:
    """Take a share of the additions that `adapt train` wrote: part of the way to the new weights.

    \b
    Example:
      python -m fieldlog.lab adapt share whole.npz --out adapter.npz
    """
    if not 0.0 <= share <= 1.0:
        raise UsageError("not between 0 and 1", where="--share", todo="leave it out for the usual")
    shared: dict[str, Any] = dict(part_of_way(_read(whole), share))
    np.savez_compressed(out, **shared)
    about = whole.with_suffix(".toml")
    told = about.read_text(encoding="utf-8").splitlines() if about.is_file() else []
    kept = [line for line in told if not line.startswith(("#", "additions"))]
    _tell(out, [*kept, f'whole = "{sha256_of(whole)}"', f"share = {share}"])
    click.echo(f"{out}: {share:g} of {whole}, {out.stat().st_size / 1e6:.1f} MB")


def _read(path: Path) -> dict[str, NDArray[np.generic]]:
    try:
        # numpy leaves a file that it opened itself open when it is a broken archive
        with path.open("rb") as file, np.load(file, allow_pickle=False) as stored:
            return {name: stored[name] for name in stored.files}
    except (OSError, ValueError, BadZipFile) as error:
        raise UsageError(
            f"holds no additions ({error})",
            where=str(path),
            todo="name a file that `python -m fieldlog.lab adapt train` wrote",
        ) from error


def _tell(out: Path, lines: Sequence[str]) -> None:
    """Write how ``out`` came about into the TOML file beside it."""
    head = "# How the additions came about; written by `python -m fieldlog.lab adapt`."
    text = "\n".join([head, f'additions = "{sha256_of(out)}"', *lines]) + "\n"
    out.with_suffix(".toml").write_text(text, encoding="utf-8")


def _fingerprint(folder: Path) -> str:
    digest = hashlib.sha256()
    for path in shards(folder):
        digest.update(path.name.encode() + bytes.fromhex(sha256_of(path)))
    return digest.hexdigest()


adapt.add_command(language)
