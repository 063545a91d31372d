"""Bundles merged in random orders: always the same record."""

from __future__ import annotations

import random
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import click

from fieldlog.bundle.checking import Content, check_bundle
from fieldlog.lab.proofs.shops import START, grown_apart
from fieldlog.store.base import Store
from fieldlog.store.media import MediaFolder
from fieldlog.store.records import Inspection
from fieldlog.store.sqlite_store import SqliteStore


def states_after(contents: Sequence[Content], orders: int, chance: random.Random) -> set[str]:
    """What a new record holds after taking all of ``contents``, each twice, in ``orders`` orders.

    As one text each, without what is a record's own (its numbers); one text: all came to the same.
    Raises ``AssertionError`` where a record then does not agree with itself.
    """
    found = set()
    for _ in range(orders):
        order = [*contents, *contents]
        chance.shuffle(order)
        with tempfile.TemporaryDirectory(prefix="fieldlog-") as made:
            store = SqliteStore(Path(made), _Nowhere(Path(made) / "media"), now=START)
            store.connection.execute("PRAGMA synchronous=OFF")
            for each in order:
                store.take(each.rows, each.elsewhere)
            faults = store.verify().faults
            assert not faults, faults
            found.add(told(store))
            store.close()
    return found


def told(store: Store) -> str:
    """All that a record tells, without its own numbers."""
    heads = [_plain(each) for each in store.inspections(None)]
    owners = [each.id for each in store.vehicles()]
    parts: list[object] = [heads, store.fingerprint(), store.elsewhere()]
    for owner in owners:
        parts.append(replace(store.vehicle(owner), number=0))
        rows = store.history(owner, None, None, None)
        parts.append([replace(row, inspection_number=0) for row in rows])
    for head in store.inspections(None):
        record = store.read(head.id)
        numbers = {each.id: "" for each in record.findings}
        parts.append(
            [
                replace(each, number=0, reason=each.reason)
                for each in record.findings
                if each.id in numbers
            ]
        )
        parts.append([replace(each, number=0) for each in record.utterances])
        parts.append(
            (record.remarks, record.photos, record.events, record.uncovered, record.fingerprint)
        )
    return repr(parts)


def _plain(head: Inspection) -> Inspection:
    return replace(head, number=0)


class _Nowhere(MediaFolder):
    """Originals are checked with their bundles."""

    def fault(self, name: str) -> str | None:
        """Nothing is wrong with them."""
        return None


@click.command()
@click.option("--orders", default=100, show_default=True, help="Random orders.")
@click.option("--seed", default=1, show_default=True)
def merges(orders: int, seed: int) -> None:
    """Merge nine bundles of three copies of a record in random orders, each bundle twice.

    \b
    Example:
      python -m fieldlog.lab merges --orders 100
    """
    chance = random.Random(seed)
    with tempfile.TemporaryDirectory(prefix="fieldlog-") as made:
        bundles = grown_apart(Path(made), chance)
        contents = [check_bundle(path, START) for path in bundles]
        faults = [fault for each in contents for fault in each.faults]
        click.echo(
            f"{len(bundles)} bundles, {sum(len(each.rows) for each in contents)} rows in them"
        )
        for fault in faults:
            click.echo(f"  {fault}")
        states = states_after(contents, orders, chance)
    click.echo(f"{orders} orders, each bundle twice: {len(states)} different records")
    if faults or len(states) != 1:
        raise SystemExit(1)
