"""``fieldlog review``: the reviewer's page, served on this machine alone."""

from __future__ import annotations

import time
import webbrowser
from pathlib import Path

import click

from fieldlog.cli.store_option import store_option, workshop


@click.command()
@click.argument("key", metavar="[INSPECTION]", default="last")
@click.option("--as", "name", metavar="NAME", help="Who decides.  [default: the inspector]")
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="[default: a free one]")
@click.option("--no-open", is_flag=True, help="Print the address; open no browser.")
@store_option
def review(key: str, name: str | None, port: int, no_open: bool, folder: Path | None) -> None:
    """Go through an INSPECTION (number, id or `last`) in the browser.

    The page is for this machine alone; its address opens it once. Every decision is in the record before
    the next one. Ctrl-C ends it.

    \b
    Examples:
      fieldlog review
      fieldlog review 3 --as "R. Jones"
    """
    from fieldlog.serve.app import OneHand, build
    from fieldlog.serve.keys import Keys, Trust
    from fieldlog.serve.review.face import review_face
    from fieldlog.serve.review.sights import Sights
    from fieldlog.serve.run import LOOPBACK, bound, own_hosts, port_of, serve

    with workshop(folder) as shop:
        head = shop.store.inspection(key)
        listening = bound(port=port)
        port = port_of(listening)
        keys = Keys(time.monotonic)
        sights = Sights(shop.store.folder, shop.now().date())
        hand = OneHand(shop)
        app = build([review_face(hand, sights, head.id)], keys, hosts=own_hosts(port))
        code = keys.code(Trust.DESK, head.inspector if name is None else name)
        address = f"http://{LOOPBACK}:{port}/#code={code}"

        def ready() -> None:
            click.echo(
                f"inspection {head.number} of {head.vehicle_name}, open it within 10 minutes:"
            )
            click.echo(address)
            click.echo("Ctrl-C ends it")
            if not no_open:
                webbrowser.open(address)

        try:
            serve(app, listening, ready=ready)
        finally:
            hand.close()
            sights.close()
