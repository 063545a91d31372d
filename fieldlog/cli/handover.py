"""``fieldlog bundle send | fetch | receive``: many bays, one shop."""

from __future__ import annotations

import contextlib
import time
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fieldlog.cli.store_option import opened, store_option, workshop
from fieldlog.config import store_folder
from fieldlog.errors import PartialError, StoreError, UsageError
from fieldlog.words.english import counted, originals

if TYPE_CHECKING:
    from fieldlog.bundle.handover import HandoverPlace

_place = click.argument("place", metavar="PLACE")


def place_at(named: str, record: Path, *, new: bool = False) -> HandoverPlace:
    """The place of that name: ``s3://bucket/prefix``, ``https://shop:port``, else a folder.

    ``record``: the folder whose keys go with it; ``new``: a folder is made where there is none, in one that is there.
    """
    if named.startswith("https://"):
        from fieldlog.bundle.shop_place import ShopPlace
        from fieldlog.config import keys_folder

        return ShopPlace(named, keys_folder(record))
    if "://" in named:
        from fieldlog.bundle.object_place import object_place

        return object_place(named)
    from fieldlog.bundle.handover import FolderPlace

    if new and not Path(named).absolute().parent.is_dir():  # a stick that is not plugged in
        raise StoreError(
            "the folder above it is not there",
            where=named,
            todo="plug the stick in or connect the share, or make that folder first",
        )
    return FolderPlace(Path(named), new=new)


@click.command()
@_place
@click.option("--again", is_flag=True, help="Everything anew, also what is there already.")
@store_option
def send(place: str, again: bool, folder: Path | None) -> None:
    """Hand over every inspection to PLACE that is not there as it is now.

    PLACE is a folder (a stick, a share), an object store (s3://bucket/prefix), or a shop's server, by the address that
    `bundle receive` prints there. After any cut, repeat it: what was handed over stays, and the rest follows.

    \b
    Examples:
      fieldlog bundle send /media/stick/bays
      fieldlog bundle send s3://shop/bays
    """
    from fieldlog.shop.handing_over import hand_over

    with (
        workshop(folder, reading=True) as shop,
        contextlib.closing(place_at(place, shop.store.folder, new=True)) as there,
    ):
        done = hand_over(shop, there, again=again, told=lambda name: click.echo(name, err=True))
    for answer in done.answers:
        click.echo(answer)
    click.echo(
        f"{counted(done.bundles, 'bundle')} handed over ({done.bytes / 1e6:.1f} MB), "
        f"{counted(done.known, 'was', 'were')} there already"
    )
    if done.refused:
        for line in done.refused:
            click.echo(line, err=True)
        raise PartialError(
            f"{counted(len(done.refused), 'bundle was', 'bundles were')} not handed over", where=place,
            todo="see what is said of each; fieldlog inspection verify",
        )  # fmt: skip


@click.command()
@_place
@click.option("--again", is_flag=True, help="Look once more at what was set aside.")
@store_option
def fetch(place: str, again: bool, folder: Path | None) -> None:
    """Take every bundle at PLACE (a folder, or s3://bucket/prefix) that was not taken yet.

    Each is checked with no trust in its sender. What is damaged or hostile is set aside beside the record and named;
    the others are taken, and the exit code is 9. Repeating it, and the order, change nothing.

    \b
    Examples:
      fieldlog bundle fetch /media/stick/bays
      fieldlog bundle fetch s3://shop/bays --store postgresql:///shop
    """
    from fieldlog.bundle.handover import fetch as fetch_from
    from fieldlog.cli.store import rivalled
    from fieldlog.store.repository import utc_now

    there = place_at(place, folder or store_folder())
    there.lists()  # nothing is made here for a place that is none
    with contextlib.closing(there), opened(folder, new=True) as store:
        found = fetch_from(
            store, there, utc_now(), again=again, told=lambda name: click.echo(name, err=True)
        )
        for record, finding in store.rivalled(found.owners):
            click.echo(f"inspection {record.inspection.number}: {rivalled(record, finding)}")
        click.echo(
            f"{counted(found.bundles, 'bundle')} taken: {counted(found.rows, 'row')}, {originals(found.originals)}; "
            f"{counted(found.known, 'was', 'were')} taken before"
        )
        click.echo(f"fingerprint {store.fingerprint()}")
        aside = store.folder / "handed-over" / "set-aside"
    left = [f"{each.name}: set aside ({each.why})" for each in found.aside]
    left += [f"{name}: not whole there" for name in found.waiting]
    if left:
        for line in left:
            click.echo(line, err=True)
        raise PartialError(
            f"{counted(len(left), 'bundle was', 'bundles were')} not taken",
            where=str(aside) if found.aside else place,
            todo="ask for what is set aside once more (bundle send --again), then fetch it with --again",
        )


@click.command()
@click.option(
    "--network", metavar="ADDRESS", help="Of this machine in the shop's network, or `auto`."
)
@click.option("--port", type=click.IntRange(0, 65535), default=47_912, show_default=True)
@click.option("--bay", "bays", multiple=True, metavar="NAME", help="Let a bay in; repeatable.")
@click.option("--forget", metavar="NAME", help="Let bays of that name in no more; takes nothing.")
@store_option
def receive(
    network: str | None, port: int, bays: tuple[str, ...], forget: str | None, folder: Path | None
) -> None:
    """Take bundles that bays send to this machine, until Ctrl-C.

    Each --bay NAME prints an address that lets one bay in, once, within 10 minutes; it stays let in for 90 days. Without
    --network only this machine itself is served.

    \b
    Examples:
      fieldlog bundle receive --network auto --bay "bay 2"
      fieldlog bundle receive --network auto --store postgresql:///shop
    """
    from fieldlog.config import keys_folder
    from fieldlog.serve.app import OneHand, build
    from fieldlog.serve.handover.face import BAYS, handover_face
    from fieldlog.serve.keys import Keys, Trust
    from fieldlog.serve.phone.book import PhoneBook
    from fieldlog.serve.phone.running import place_for
    from fieldlog.serve.run import serve

    if forget is not None:
        click.echo(f"{_forgotten(forget, folder or store_folder())} let in no more")
        return
    with workshop(folder, new=True) as shop:
        kept = keys_folder(shop.store.folder)
        place = place_for(kept, network, port)
        certified = place.certified
        hand = OneHand(shop)
        keys = Keys(time.monotonic)
        face = handover_face(hand, PhoneBook(kept / BAYS), certified.authority.read_bytes())
        app = build([face], keys, hosts=place.hosts, secure=True)

        def ready() -> None:
            address = f"https://{place.hosts[0]}"
            click.echo(f"taking bundles at {address}; Ctrl-C ends it")
            print_of = certified.fingerprint.replace(":", "").lower()
            for name in bays:
                code = keys.code(Trust.DEVICE, name)
                click.echo(
                    f"{name}: fieldlog bundle send '{address}/#code={code}&sha256={print_of}'"
                )

        try:
            serve(
                app,
                place.listening,
                certificate=certified.certificate,
                key=certified.key,
                ready=ready,
            )
        finally:
            hand.close()


def _forgotten(name: str, record: Path) -> int:
    """Let every bay of that name in no more; how many. Raises ``UsageError`` for none."""
    from fieldlog.config import keys_folder
    from fieldlog.serve.handover.face import BAYS
    from fieldlog.serve.phone.book import PhoneBook

    book = PhoneBook(keys_folder(record) / BAYS)
    named = [each for each in book.phones if each.name == name and not each.revoked_at]
    if not named:
        known = sorted({each.name for each in book.phones if not each.revoked_at})
        raise UsageError(
            f"no bay {name!r} is let in", where="--forget", todo=f"there are: {', '.join(known)}"
        )
    for each in named:
        book.revoke(each.id)
    return len(named)
