"""A bay's record and what it hands over, for the tests of handing over."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import pytest

from fieldlog.bundle.archive import Archive
from fieldlog.bundle.handover import FolderPlace, HandoverPlace, fetch
from fieldlog.bundle.parts import ALONE, read_list
from fieldlog.shop.handing_over import hand_over
from fieldlog.shop.workshop import Workshop
from fieldlog.store.records import NewEntry
from fieldlog.store.repository import Repository
from tests.store_samples import START, TREAD, fill, ticking, tread_verdict


def add_inspection(store: Repository, vehicle: str, words: str) -> None:
    """One more inspection with a finding and a photo that is large enough to be a part of its own."""
    of = store.start_inspection(vehicle)
    store.save(of.id, NewEntry(finding=TREAD, verdict=tread_verdict()))
    store.add_remark(of.id, words)
    photo = random.Random(words).randbytes(2 * ALONE)
    from fieldlog.store.records import NewPhoto

    store.add_photo(of.id, NewPhoto(store.media.save_bytes(photo, "jpg"), "a.jpg", "jpeg"))


@pytest.fixture(scope="module")
def bay(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A bay's record: two inspections of one vehicle, and a vehicle that nobody looked at."""
    made = tmp_path_factory.mktemp("bay")
    with Repository(made / "bay", now=ticking()) as store:
        known = fill(store, made)
        add_inspection(store, known.vehicle_id, "second")
        store.add_vehicle("not looked at")
    return made / "bay"


@pytest.fixture(scope="module")
def print_of_bay(bay: Path) -> str:
    with Repository.look(bay) as store:
        return store.fingerprint()


def list_in(place: HandoverPlace, name: str) -> bytes:
    """A list that is there."""
    return place.get_list(name) or b""


def sends(bay: Path, place: HandoverPlace, **more: Any) -> Any:
    with Workshop(Repository(bay), now=lambda: START) as shop:
        return hand_over(shop, place, **more)


def fetches(shop: Path, place: HandoverPlace, **more: Any) -> tuple[Any, str]:
    with Repository(shop) as store:
        found = fetch(store, place, START, **more)
        return found, store.fingerprint()


@pytest.fixture(scope="module")
def sent(bay: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that the bay handed everything over to."""
    folder = tmp_path_factory.mktemp("sent")
    assert sends(bay, FolderPlace(folder)).bundles == 3
    return folder


def put_forged(place: FolderPlace, folder: Path) -> str:
    """A bundle whose row was changed, with sums that fit, put there by somebody who knows how."""
    from fieldlog.bundle import archive
    from fieldlog.bundle.handover import put_bundle
    from fieldlog.bundle.make import tags

    name = next(each for each in sorted(place.lists()) if each.startswith("inspection"))
    whole = folder / "honest.zip"
    whole.write_bytes(
        b"".join(place.get(p) or b"" for p in read_list(name, list_in(place, name)).parts)
    )
    with Archive(whole) as read:
        members: dict[str, Any] = {
            each: b"".join(read.chunks(each)) for each in read.members if each.startswith("data/")
        }
    members["data/rows.jsonl"] = members["data/rows.jsonl"].replace(b"tread", b"trade", 1)
    members |= tags(members, "")
    with (folder / "forged.zip").open("wb") as stream:
        archive.write(stream, members)
    key = name.rpartition("-")[0][:-16] + "f" * 16
    put_bundle(place, folder / "forged.zip", key)
    return next(each for each in place.lists() if each.startswith(key))
