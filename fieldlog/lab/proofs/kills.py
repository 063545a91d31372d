"""Bays and a shop killed at random while bundles are handed over: always the same record in the end."""

from __future__ import annotations

import contextlib
import os
import random
import signal
import tempfile
import time
import warnings
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import click

from fieldlog.bundle.handover import FolderPlace, fetch
from fieldlog.lab.proofs.shops import START, grown_apart, ticking
from fieldlog.shop.handing_over import hand_over
from fieldlog.shop.workshop import Workshop
from fieldlog.store.repository import Repository

LONGEST_S = 0.6
"""Nobody lives longer than that, until the last round."""


def killed_after(seconds: float, work: Callable[[], object]) -> bool:
    """Do ``work`` in a process of its own and kill it then; whether it was not done by that time."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # other threads do not matter to one that is killed anyway
        child = os.fork()
    if child == 0:
        with contextlib.suppress(BaseException):
            work()
        os._exit(0)
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if os.waitpid(child, os.WNOHANG)[0]:
            return False
        time.sleep(0.002)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return True


def sent(bay: Path, place: FolderPlace) -> None:
    """Everything of a bay is handed over."""
    with Workshop(Repository(bay), now=lambda: START) as shop:
        hand_over(shop, place)


def taken(shop: Path, place: FolderPlace) -> tuple[int, str]:
    """What is at the place is fetched: how many were set aside or not whole, and the fingerprint."""
    with Repository(shop) as store:
        found = fetch(store, place, START)
        return len(found.aside) + len(found.waiting), store.fingerprint()


@click.command("kills")
@click.option("--kills", "wanted", default=50, show_default=True, help="Kills.")
@click.option("--seed", default=1, show_default=True)
def kills_command(wanted: int, seed: int) -> None:
    """Kill three bays while they send and a shop while it fetches, then let all of them come to their end.

    The bays share history, go on in between, and one hands over by a clock of its own. The shop's record must be
    that of the bays merged, and agree with itself.

    \b
    Example:
      python -m fieldlog.lab kills --kills 50
    """
    chance = random.Random(seed)
    with tempfile.TemporaryDirectory(prefix="fieldlog-") as made:
        folder = Path(made)
        grown_apart(folder, chance)
        bays = [folder / str(number) for number in range(3)]
        place, shop = FolderPlace(folder / "place", new=True), folder / "shop"
        works: list[Callable[[], object]] = [
            *(lambda bay=bay: sent(bay, place) for bay in bays),
            lambda: taken(shop, place),
        ]
        done = rounds = 0
        while done < wanted:
            rounds += 1
            if chance.random() < 0.2:
                clock = ticking(START + timedelta(days=chance.uniform(-400, 400)))
                with Repository(chance.choice(bays), now=clock) as store:
                    store.add_remark(chance.choice(store.inspections()).id, f"round {rounds}")
            done += killed_after(chance.uniform(0.0, LONGEST_S), chance.choice(works))
        for work in works:
            work()
        left, found = taken(shop, place)
        with Repository(folder / "expected") as expected:
            for bay in bays:
                expected.merge(bay)
            wished = expected.fingerprint()
        with Repository.look(shop) as store:
            checked = store.verify()
    same = found == wished and not left and checked.agrees
    click.echo(
        f"{done} kills in {rounds} rounds: {checked.rows} rows in the shop, {left} bundles left over, "
        f"{len(checked.faults)} faults, {'the same record' if found == wished else 'another record'} "
        "as the bays merged"
    )
    if not same:
        raise SystemExit(1)
