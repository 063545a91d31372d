"""``fieldlog phone`` and ``listen --phone``: a phone's browser as microphone and camera."""

from __future__ import annotations

import io
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from fieldlog.cli.store_option import store_option
from fieldlog.config import keys_folder, store_folder

if TYPE_CHECKING:
    from fieldlog.cli.terminal import Terminal
    from fieldlog.serve.phone.pairing import Knock
    from fieldlog.serve.phone.running import PhoneDesk, PhonePlace
    from fieldlog.serve.phone.source import PhoneSource
    from fieldlog.shop.inspecting import Inspecting
    from fieldlog.shop.live import LiveInspection
    from fieldlog.shop.workshop import Workshop

_Command = TypeVar("_Command", bound=Callable[..., Any])


@click.group()
def phone() -> None:
    """The phones that may be microphone and camera: listed, let in no more, forgotten.

    A phone is let in by `fieldlog listen --phone --network`, which shows a picture to scan.

    \b
    Examples:
      fieldlog phone list
      fieldlog phone revoke 1
      fieldlog phone forget
    """


@phone.command("list")
@store_option
def list_(folder: Path | None) -> None:
    """Every phone that was paired, and whether it may still come in.

    \b
    Example:
      fieldlog phone list
    """
    from datetime import UTC, datetime

    from fieldlog.serve.phone.book import PhoneBook

    phones = PhoneBook(_keys(folder)).phones
    now = datetime.now(UTC)
    for each in phones:
        over = f"revoked {each.revoked_at}" if each.revoked_at else "its 90 days are over"
        state = "may come in" if each.lets_in(now) else over
        click.echo(f"{each.number}  {each.name}  paired {each.paired_at}  {state}")
    if not phones:
        click.echo("No phone was paired. Pair one with: fieldlog listen --phone --network")


@phone.command()
@click.argument("key", metavar="PHONE")
@store_option
def revoke(key: str, folder: Path | None) -> None:
    """Let PHONE (its number, or its name) in no more; one that is connected is cut off at once.

    \b
    Example:
      fieldlog phone revoke 1
    """
    from fieldlog.serve.phone.book import PhoneBook

    gone = PhoneBook(_keys(folder)).revoke(key)
    click.echo(f"{gone.number}, {gone.name}, may come in no more")


@phone.command()
@click.confirmation_option(prompt="Every phone is paired anew then. Forget them all?")
@store_option
def forget(folder: Path | None) -> None:
    """Remove the authority, its certificates and every pairing; the next start makes new ones.

    Remove the old authority from the phones too, where it was installed.

    \b
    Example:
      fieldlog phone forget --yes
    """
    from fieldlog.serve.phone.book import forget as forget_all

    gone = forget_all(_keys(folder))
    click.echo(f"removed: {', '.join(gone)}" if gone else "nothing was there")


def _keys(folder: Path | None) -> Path:
    return keys_folder(folder or store_folder())


# -- beside ``listen`` --------------------------------------------------------------------------


def phone_options(command: _Command) -> _Command:
    """Add ``--phone``, ``--network`` and ``--port`` to a command."""
    from_phone = click.option(
        "--phone", "with_phone", is_flag=True, help="Listen through a phone's browser."
    )
    network = click.option(
        "--network",
        is_flag=False,
        flag_value="auto",
        metavar="[ADDRESS]",
        help="With --phone: let phones of this network reach the page.  [default: this machine only]",
    )
    port = click.option(
        "--port", type=click.IntRange(0, 65535), default=None, help="With --phone: of the page."
    )
    return from_phone(network(port(command)))


def phone_place(
    folder: Path | None, network: str | None, port: int | None, other: object = None
) -> PhonePlace:
    """Where phones come: found before a model is loaded. ``folder``: of the record.

    ``other``: what else was named to listen to; raises ``UsageError`` then.
    """
    from fieldlog.errors import UsageError
    from fieldlog.serve.phone.running import PORT, place_for

    if other is not None:
        raise UsageError(
            "sound comes from the phone or from another source, not from both",
            where="--phone",
            todo="leave out --device and --source",
        )
    return place_for(_keys(folder), network, PORT if port is None else port)


@contextmanager
def phone_beside(
    place: PhonePlace,
    shop: Workshop,
    inspecting: Inspecting,
    source: PhoneSource,
    streams: Path,
    terminal: Terminal,
) -> Iterator[LiveInspection]:
    """The phone's page while the block lasts; the live inspection that goes on beside it."""
    from fieldlog.serve.app import OneHand
    from fieldlog.serve.phone.running import phone_serving
    from fieldlog.serve.phone.shed import LiveByOneHand

    def notify(line: str) -> None:
        terminal.status.print(f"! {line}", markup=False)

    def knocked(asked: Knock) -> None:
        terminal.status.print(
            f'? a phone ("{asked.name}") asks to come in. It shows {asked.digits}: the same on it? '
            "Type y and Enter, or n",
            markup=False,
        )

    hand = OneHand(shop)
    try:
        with phone_serving(
            place, keys_folder(shop.store.folder), hand, inspecting, source,
            streams=streams, notify=notify, knocked=knocked,
        ) as desk:  # fmt: skip
            _tell_place(desk, terminal)
            threading.Thread(target=_answering, args=(desk, terminal), daemon=True).start()
            yield LiveByOneHand(inspecting, hand, desk.tell)
    finally:
        hand.close()


def _tell_place(desk: PhoneDesk, terminal: Terminal) -> None:
    from datetime import UTC, datetime

    place = desk.place
    terminal.status.print(f"the phone's page is at {place.url}", markup=False)
    if place.listening.getsockname()[0].startswith("127."):
        terminal.status.print("only this machine reaches it; phones do with --network")
    print_of = place.certified.fingerprint
    terminal.status.print(f"authority, where it is installed: SHA-256 {print_of}", markup=False)
    if any(each.lets_in(datetime.now(UTC)) for each in desk.book.phones):
        terminal.status.print("paired phones only open it; for a new one type p and Enter")
    else:
        invite(desk, terminal)


def invite(desk: PhoneDesk, terminal: Terminal) -> None:
    """Show the picture that a new phone scans; it lasts two minutes, and works once."""
    import segno

    address = desk.invite()
    picture = io.StringIO()
    segno.make(address, error="l").terminal(out=picture, compact=True)
    if sys.stderr.isatty():
        click.echo(picture.getvalue(), err=True)
    terminal.status.print(
        f"scan it with the phone, within two minutes, or open there: {address}", markup=False
    )
    terminal.status.print("for a new picture type p and Enter")


def _answering(desk: PhoneDesk, terminal: Terminal) -> None:
    """Takes the answers of whoever is at this machine until its input ends."""
    for line in sys.stdin:
        said = line.strip().lower()
        waiting = desk.pairing.waiting
        if said in {"y", "yes"} and waiting is not None:
            let_in = desk.pairing.allow(waiting.digits)
            terminal.status.print("let in" if let_in else "too late: type p for a new picture")
        elif said in {"n", "no"} and waiting is not None:
            desk.pairing.turn_down()
            terminal.status.print("turned down")
        elif said == "p":
            invite(desk, terminal)
        elif said:
            terminal.status.print("nobody asks to come in; p shows a picture for a new phone")
