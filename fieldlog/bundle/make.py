"""Making a bundle: rows of one inspection or vehicle, their originals, and what proves them."""

from __future__ import annotations

import contextlib
import json
import os
import secrets
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from fieldlog.bundle import archive
from fieldlog.bundle.archive import Content
from fieldlog.bundle.lines import elsewhere_line, limit_line, place_line, row_line, schema
from fieldlog.config import VERSION
from fieldlog.errors import StoreError
from fieldlog.proof import merkle, note, sshsig
from fieldlog.proof.note import Checkpoint
from fieldlog.store.base import Elsewhere, StoredRow
from fieldlog.store.chain import Place
from fieldlog.store.repository import Repository
from fieldlog.store.schema import MEDIA
from fieldlog.whole import reason, refused

FORMAT = "fieldlog bundle 1"
_REFERS = ("vehicle_id", "inspection_id", "utterance_id", "finding_id", "photo_id", "answers")


@dataclass(frozen=True, slots=True)
class BundledThing:
    """What a bundle is of."""

    kind: str
    """``inspection`` or ``vehicle``."""
    id: str
    owners: tuple[str, ...]
    """Ids of the vehicle and the inspections whose rows are all in it."""


def subject(store: Repository, inspection: str | None, vehicle: str | None) -> BundledThing:
    """The inspection, or the vehicle with all its inspections; raises ``UsageError`` for no such."""
    if vehicle is not None:
        of = store.vehicle(vehicle)
        return BundledThing(
            "vehicle", of.id, (of.id, *(each.id for each in store.inspections(of.id)))
        )
    head = store.inspection(inspection or "last")
    return BundledThing("inspection", head.id, (head.vehicle_id, head.id))


def make(store: Repository, of: BundledThing, checkpoint: Checkpoint, target: Path) -> Path:
    """Write the bundle ``of`` an inspection or vehicle to ``target``, whole or not at all.

    ``checkpoint``: of the record as it is now, with a line for each owner. Raises ``StoreError``.
    """
    with contextlib.closing(store.engine.rows()) as rows:
        places, chosen, leaves = _chosen(rows, frozenset(of.owners))
    away = _away(places, store.engine.elsewhere(), {row.place.hash for row, _ in chosen})
    limits = {key: text for row, _ in chosen for key, text in row.limits.items()}
    media = sorted(
        {
            str(row.columns[MEDIA[row.place.kind]])
            for row, _ in chosen
            if row.columns.get(MEDIA.get(row.place.kind, "")) is not None
        }
    )
    members: dict[str, Content] = {
        "data/about.json": _about(of, len(chosen)),
        "data/rows.jsonl": _lines(row_line(row) for row, _ in chosen),
        "data/places.jsonl": _lines(place_line(row, leaf) for row, leaf in chosen),
        "data/elsewhere.jsonl": _lines(map(elsewhere_line, away)),
        "data/limits.jsonl": _lines(limit_line(*pair) for pair in sorted(limits.items())),
        "data/proof.json": _proof(leaves, [leaf for _, leaf in chosen]),
        "data/schema.json": schema(),
        "data/checkpoint.txt": checkpoint.text.encode(),
    }
    if checkpoint.signature:
        key = checkpoint.key
        members["data/signed.txt"] = checkpoint.body.encode()
        members["data/signed.txt.sig"] = sshsig.armoured(key, checkpoint.signature).encode()
        members["data/allowed_signers"] = sshsig.allowed_signer(note.key_name(key), key).encode()
    for name in media:
        members[f"data/media/{name}"] = store.media.path(name)
    members |= tags(members, f"{checkpoint.at:%Y-%m-%d}" if checkpoint.at else "")
    _write(target, members)
    return target


def _chosen(
    rows: Iterable[StoredRow], owners: frozenset[str]
) -> tuple[list[Place], list[tuple[StoredRow, int]], list[bytes]]:
    """Every place, the rows that go into the bundle with their leaves, and the hashes of all leaves.

    Besides the rows of ``owners``, those that one of them refers to (an odometer reading names the
    inspection it was read at), so that what comes out can stand in a record.
    """
    every: list[tuple[StoredRow, int]] = []
    places: list[Place] = []
    wanted: set[str] = set()
    others: dict[str, tuple[StoredRow, int]] = {}
    for leaf, row in enumerate(rows):
        places.append(row.place)
        if row.place.owner in owners:
            every.append((row, leaf))
            wanted |= {str(row.columns[c]) for c in _REFERS if row.columns.get(c) is not None}
        elif row.place.kind in {"inspection", "vehicle"}:
            others[row.place.id] = (row, leaf)
    while found := [others.pop(name) for name in sorted(wanted & others.keys())]:
        every += found
        wanted |= {str(row.columns[c]) for row, _ in found for c in _REFERS if row.columns.get(c)}
    every.sort(key=lambda pair: pair[1])
    return places, every, [merkle.leaf(place.hash) for place in places]


def _away(
    places: Sequence[Place], known: Sequence[Elsewhere], chosen: set[bytes]
) -> list[Elsewhere]:
    """The parents of ``chosen`` rows that are not among them, with what they had seen of those."""
    of: dict[bytes, tuple[str, int, int]] = {}
    seen: dict[bytes, frozenset[bytes]] = {}
    here = {place.hash for place in places}
    steps = [(p.turn, p.hash, p.writer, p.n, p.parents) for p in places]
    steps += [(e.turn, e.hash, e.writer, e.n, e.behind) for e in known if e.hash not in here]
    needed: set[bytes] = set()
    for turn, hash, writer, n, parents in sorted(steps, key=lambda step: step[:2]):
        if hash in chosen:
            needed |= {parent for parent in parents if parent not in chosen}
            continue
        of[hash] = (writer, n, turn)
        behind = [
            frozenset({parent}) if parent in chosen else seen.get(parent, frozenset())
            for parent in parents
        ]
        seen[hash] = frozenset().union(seen.get(hash, frozenset()), *behind)
    return sorted(
        (Elsewhere(h, *of[h], tuple(sorted(seen[h]))) for h in needed if h in of),
        key=lambda each: (each.turn, each.hash),
    )


def _proof(leaves: Sequence[bytes], chosen: Sequence[int]) -> bytes:
    besides = merkle.covering(leaves, chosen)
    document = {"size": len(leaves), "besides": [each.hex() for each in besides]}
    return (json.dumps(document) + "\n").encode()


def _about(of: BundledThing, rows: int) -> bytes:
    document = {
        "format": FORMAT,
        "of": {"kind": of.kind, "id": of.id},
        "owners": sorted(of.owners),
        "rows": rows,
        "program": f"fieldlog {VERSION}",
    }
    return (json.dumps(document, sort_keys=True) + "\n").encode()


def _lines(lines: Iterable[bytes]) -> bytes:
    return b"".join(line + b"\n" for line in lines)


def tags(members: Mapping[str, Content], day: str) -> dict[str, Content]:
    """The tag files of BagIt (RFC 8493) for the payload ``members``."""
    import hashlib

    sums: dict[str, str] = {}
    size = 0
    for name, content in sorted(members.items()):
        sha = hashlib.sha256()
        try:
            for chunk in archive.chunks_of(content):
                sha.update(chunk)
                size += len(chunk)
        except OSError as error:
            raise StoreError(
                f"an original cannot be read ({reason(error)}), so nothing was bundled",
                where=str(content),
                todo="fieldlog inspection verify",
            ) from error
        sums[name] = sha.hexdigest()
    found: dict[str, bytes] = {
        "bagit.txt": b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n",
        "bag-info.txt": (
            f"Bag-Software-Agent: fieldlog {VERSION}\n"
            + (f"Bagging-Date: {day}\n" if day else "")
            + f"Payload-Oxum: {size}.{len(members)}\n"
        ).encode(),
        "manifest-sha256.txt": "".join(f"{sums[n]}  {n}\n" for n in sorted(sums)).encode(),
    }
    told = "".join(f"{hashlib.sha256(found[n]).hexdigest()}  {n}\n" for n in sorted(found))
    return {**found, "tagmanifest-sha256.txt": told.encode()}


def _write(target: Path, members: Mapping[str, Content]) -> None:
    with whole(target) as partial, partial.open("xb") as stream:
        archive.write(stream, members)
        stream.flush()
        os.fsync(stream.fileno())


@contextlib.contextmanager
def whole(target: Path) -> Iterator[Path]:
    """A name beside ``target`` that becomes it at the end, or is gone. Raises ``StoreError``."""
    partial = target.with_name(f".{target.name}.{secrets.token_hex(4)}")
    todo = "choose another folder with --out, or free some space"
    try:
        with refused("cannot be written", target, todo):
            target.parent.mkdir(parents=True, exist_ok=True)
            yield partial
            partial.replace(target)
    finally:
        with contextlib.suppress(OSError):
            partial.unlink(missing_ok=True)
