"""A bay hands over everything that it found and that is not at the place yet."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fieldlog.bundle.handover import HandoverPlace, put_bundle
from fieldlog.bundle.parts import NAME, key_of
from fieldlog.errors import OwnTroubleError, StoreError

if TYPE_CHECKING:
    from fieldlog.shop.workshop import Workshop


_OURS = re.compile(r"(inspection|vehicle)-[0-9a-z]{16,40}-[0-9a-f]{16}\.zip")


@dataclass(frozen=True, slots=True)
class HandedOver:
    """What one handing over came to."""

    bundles: int
    """Put there now."""
    bytes: int
    known: int
    """Bundles of the same rows that were there."""
    answers: tuple[str, ...]
    """What the other side said."""
    refused: tuple[str, ...]
    """What was not handed over, by name, with why; the others were."""


@dataclass(frozen=True, slots=True)
class _Due:
    kind: str
    id: str
    key: str

    @property
    def name(self) -> str:
        return f"{self.kind}-{self.id}-{self.key}"


def hand_over(
    shop: Workshop,
    place: HandoverPlace,
    *,
    again: bool = False,
    told: Callable[[str], None] = lambda _: None,
) -> HandedOver:
    """Put a bundle of every inspection (and of each vehicle without one) to ``place``.

    One whose rows are there as they are now is passed over. ``again``: all of them, every part anew.
    ``told``: the name of each, before it is made. One that cannot be bundled, or that the other side sets
    aside, does not stop the others. Raises ``OwnTroubleError`` where the place cannot go on; what was put
    there stays.
    """
    there = {name.rpartition("-")[0] for name in place.lists() if NAME.fullmatch(name)}
    due = list(_due(shop))
    new = [each for each in due if again or each.name not in there]
    size, answers, refused = 0, [], []
    for each in new:
        told(each.name)
        try:
            with tempfile.TemporaryDirectory(prefix="fieldlog-") as made:
                path = _bundled(shop, each, Path(made))
                sent, answer = put_bundle(place, path, each.name, again=again)
        except OwnTroubleError:
            raise
        except StoreError as error:
            refused.append(f"{each.name}: {error}")
            continue
        size += sent
        answers += [answer] if answer else []
    done = len(new) - len(refused)
    return HandedOver(done, size, len(due) - len(new), tuple(answers), tuple(refused))


def bundles_into(
    shop: Workshop, folder: Path, told: Callable[[str], None] = lambda _: None
) -> tuple[str, ...]:
    """A bundle in ``folder`` of everything that is due, as it is now; what could not be bundled, with why.

    One whose rows are there as they are now is kept, so its bytes are the same again; one of rows as they
    were before gets ``.before`` behind its name. Nothing is taken away. Raises ``StoreError`` where nothing can be written there, ``OwnTroubleError``.
    """
    refused = []
    due = {f"{each.name}.zip": each for each in _due(shop)}
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for old in folder.glob("*.zip"):
            if old.name not in due and _OURS.fullmatch(old.name):
                old.replace(old.with_name(f"{old.name}.before"))
        for name, each in due.items():
            if (folder / name).exists():
                continue
            told(name)
            with tempfile.TemporaryDirectory(prefix=".fieldlog-", dir=folder) as made:
                try:
                    _bundled(shop, each, Path(made)).replace(folder / name)
                except OwnTroubleError:
                    raise
                except StoreError as error:
                    refused.append(f"{name}: {error}")
    except OSError as error:
        raise StoreError(
            f"bundles cannot be written ({(error.strerror or str(error)).lower()})",
            where=str(folder),
            todo="name another folder, or free some space",
        ) from error
    return tuple(refused)


def _bundled(shop: Workshop, each: _Due, out: Path) -> Path:
    if each.kind == "vehicle":
        return shop.bundle(vehicle=each.id, out=out)
    return shop.bundle(each.id, out=out)


def _due(shop: Workshop) -> Iterator[_Due]:
    """Every inspection with its vehicle, and every vehicle that none is of."""
    prints = shop.store.engine.fingerprints()
    inspected: set[str] = set()
    for head in shop.store.inspections():
        inspected.add(head.vehicle_id)
        yield _Due("inspection", head.id, key_of((prints[head.id], prints[head.vehicle_id])))
    for vehicle in shop.store.vehicles():
        if vehicle.id not in inspected:
            yield _Due("vehicle", vehicle.id, key_of((prints[vehicle.id],)))
