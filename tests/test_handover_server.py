"""Bundles handed over to a shop's server: what it takes, sets aside, and says."""

from __future__ import annotations

import contextlib
import shutil
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from fieldlog.bundle.handover import FOLDER, FolderPlace
from fieldlog.bundle.parts import ALONE, BundlePart, read_list
from fieldlog.bundle.shop_place import ShopPlace
from fieldlog.cli import main
from fieldlog.errors import OwnTroubleError, StoreError, UsageError
from fieldlog.serve.app import OneHand, build
from fieldlog.serve.handover.face import BAYS, handover_face
from fieldlog.serve.keys import Keys, Trust
from fieldlog.serve.phone.book import PhoneBook
from fieldlog.serve.phone.running import place_for
from fieldlog.serve.run import running
from fieldlog.shop.workshop import Workshop
from fieldlog.store.repository import Repository
from tests.handing_over import (
    bay,
    list_in,
    print_of_bay,
    put_forged,
    sends,
    sent,
)
from tests.store_samples import START

__all__ = ["bay", "print_of_bay", "sent"]


@dataclass
class Shop:
    """A server that takes bundles."""

    folder: Path
    address: str
    keys: Keys
    print_of: str
    hand: OneHand
    face: Any = field(default=None)

    def link(self, **other: str) -> str:
        told = {"code": self.keys.code(Trust.DEVICE, "bay 2"), "sha256": self.print_of, **other}
        return f"{self.address}/#" + "&".join(f"{key}={value}" for key, value in told.items())


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    folder = tmp_path / "shop"
    store = Repository(folder)
    with Workshop(store, now=lambda: START) as workshop:
        place = place_for(tmp_path / "shop-keys", None, 0)
        hand, keys = OneHand(workshop), Keys(time.monotonic)
        book = PhoneBook(tmp_path / "shop-keys" / BAYS)
        face = handover_face(hand, book, place.certified.authority.read_bytes())
        app = build([face], keys, hosts=place.hosts, secure=True)
        with running(
            app, place.listening, certificate=place.certified.certificate, key=place.certified.key
        ):
            yield Shop(
                folder, f"https://{place.hosts[0]}", keys, place.certified.fingerprint, hand, face
            )
        hand.close()


AtEnd = Callable[[ShopPlace], ShopPlace]


@pytest.fixture
def at_end() -> Iterator[AtEnd]:
    """Hangs up every line that it is given, at the end."""
    with contextlib.ExitStack() as stack:
        yield lambda place: stack.enter_context(contextlib.closing(place))


def test_a_shops_server_takes_what_a_bay_sends(
    bay: Path, print_of_bay: str, tmp_path: Path, shop: Shop, at_end: AtEnd
) -> None:
    keys = tmp_path / "bay-keys"
    with pytest.raises(UsageError, match="has not let this bay in"):
        ShopPlace(shop.address, keys)
    with pytest.raises(StoreError, match="its certificate is another one"):
        ShopPlace(shop.link(sha256="00" * 32), keys)
    link = shop.link()
    done = sends(bay, at_end(ShopPlace(link, keys)))
    assert done.bundles == 3
    assert all(" came in" in answer for answer in done.answers)
    assert shop.hand.now(lambda one: one.store.fingerprint()) == print_of_bay
    assert not [
        path for path in (shop.folder / FOLDER / "floor" / "parts").rglob("*") if path.is_file()
    ]
    with pytest.raises(StoreError, match="this code opens nothing"):
        ShopPlace(link, keys)
    place = at_end(ShopPlace(shop.address, keys))  # let in for good
    assert (keys / "shops.json").stat().st_mode & 0o077 == 0
    assert sends(bay, place).known == 3
    photo = next(path for path in (bay / "media").rglob("*.jpg") if path.stat().st_size >= ALONE)
    assert place.has(BundlePart(photo.name[:64], photo.stat().st_size))  # the record has it
    again = sends(bay, place, again=True)
    assert all(answer.startswith("0 rows came in") for answer in again.answers)
    with pytest.raises(UsageError, match="only takes"):
        place.get_list("x")
    forget = ["bundle", "receive", "--store", str(shop.folder), "--forget"]
    assert CliRunner().invoke(main, [*forget, "bay 3"]).exit_code == 2
    assert "1 let in no more" in CliRunner().invoke(main, [*forget, "bay 2"]).output
    with pytest.raises(StoreError, match="nobody came in here"):
        place.lists()


def test_what_a_shops_server_could_not_take_is_sent_again(
    bay: Path,
    print_of_bay: str,
    tmp_path: Path,
    shop: Shop,
    at_end: AtEnd,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Its disk is full when the list has come; then it is killed before it looked at one."""
    from fieldlog.serve.handover import face

    place = at_end(ShopPlace(shop.link(), tmp_path / "bay-keys"))

    def full(*_: Any, **__: Any) -> Any:
        raise OwnTroubleError("the disk is full")

    def killed(*_: Any, **__: Any) -> Any:
        raise RuntimeError

    for broken in (full, killed):
        with monkeypatch.context() as patched:
            patched.setattr(face, "fetch", broken)
            with pytest.raises(OwnTroubleError, match="the shop says"):
                sends(bay, place)
    assert sends(bay, place).bundles == 3
    assert shop.hand.now(lambda one: one.store.fingerprint()) == print_of_bay


def test_a_shops_server_sets_aside_and_says_so(
    sent: Path, tmp_path: Path, shop: Shop, at_end: AtEnd
) -> None:
    folder = FolderPlace(tmp_path / "sent")
    shutil.copytree(sent, folder.folder)
    forged = put_forged(folder, tmp_path)
    place = at_end(ShopPlace(shop.link(), tmp_path / "bay-keys"))
    data = list_in(folder, forged)
    with pytest.raises(OwnTroubleError, match="parts of it are missing"):
        place.put_list(forged, data)
    for part in read_list(forged, data).parts:
        place.put(part, folder.get(part) or b"")
    with pytest.raises(StoreError, match="set aside, and nothing of it taken") as raised:
        place.put_list(forged, data)
    assert not isinstance(raised.value, OwnTroubleError)
    assert shop.hand.now(lambda one: one.store.vehicles()) == ()
    with pytest.raises(StoreError, match="not the part that it is called"):
        place.put(BundlePart("0" * 64, 3), b"abc")
    for wrong in (
        "/handover/part/..%2f..%2fx?size=3",
        "/handover/part/abc?size=3",
        "/handover/part/" + "0" * 64,
    ):
        with pytest.raises(StoreError):
            place._json("GET", wrong)
    with pytest.raises(StoreError):
        place._json("PUT", "/handover/list/nothing", b"{}")
    stranger = at_end(ShopPlace(shop.address, tmp_path / "bay-keys"))
    stranger._cookie = stranger._cookie[:-3] + "abc"
    with pytest.raises(StoreError, match="nobody came in here"):
        stranger.lists()
    stranger = at_end(ShopPlace(shop.address, tmp_path / "bay-keys"))
    stranger._token = "guessed"
    with pytest.raises(StoreError, match="the token is missing"):
        stranger.put(BundlePart("0" * 64, 3), b"abc")
