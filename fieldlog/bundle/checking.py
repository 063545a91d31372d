"""Checking a bundle, and merging it, with no trust in whoever sent it.

Form first (``archive``), then every hash of the manifest, then the rows: each line, its schema, its hash;
then all of them are put into a record of their own in a private place, which is verified and read, so that
nothing comes into a record that it could not show afterwards. At last what the checkpoint says.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from fieldlog.bundle.archive import Archive
from fieldlog.bundle.lines import LONGEST_LINE, read_elsewhere, read_limit, read_row, schema
from fieldlog.bundle.make import FORMAT, tags
from fieldlog.errors import FieldlogError, OwnTroubleError, StoreError
from fieldlog.proof import merkle, note, sshsig
from fieldlog.proof.note import Checkpoint
from fieldlog.store.base import Elsewhere, StoredRow
from fieldlog.store.chain import fingerprint
from fieldlog.store.checkpoints import owners_in
from fieldlog.store.media import MediaFolder
from fieldlog.store.merging import Merged
from fieldlog.store.repository import Repository
from fieldlog.store.schema import MEDIA
from fieldlog.store.sqlite_store import SqliteStore
from fieldlog.store.trouble import is_own
from fieldlog.words.english import counted

_MOST_TEXT = 64 << 20
_MOST_TOLD = 50
_MOST_FAULTS = 1000
_MOST_ROWS = 500_000
"""All are held in memory while they are tried out: some 4 kB each."""
_TODO = "free some space there and repeat"
_NEEDED = ("about.json", "checkpoint.txt", "elsewhere.jsonl", "limits.jsonl", "places.jsonl", "proof.json", "rows.jsonl", "schema.json")  # fmt: skip
_SIGNED = ("allowed_signers", "signed.txt", "signed.txt.sig")


@dataclass(frozen=True, slots=True)
class Content:
    """What a bundle holds, as it was read; whether it can be trusted is in ``faults``."""

    kind: str
    """``inspection`` or ``vehicle``."""
    id: str
    rows: tuple[StoredRow, ...]
    elsewhere: tuple[Elsewhere, ...]
    media: tuple[str, ...]
    checkpoint: Checkpoint | None
    faults: tuple[str, ...]
    told: tuple[str, ...] = ()
    """What rests on the sender's word."""


def check_bundle(path: Path, now: datetime) -> Content:
    """Everything in the bundle ``path`` and everything that is wrong with it.

    Raises ``StoreError`` for a file whose form is not that of a bundle at all.
    """
    with Archive(path) as archive:
        return _Checking(archive, now).content()


class _Checking:
    def __init__(self, archive: Archive, now: datetime) -> None:
        self.archive, self.now = archive, now
        self.faults: list[str] = []
        self.told: list[str] = []

    def content(self) -> Content:
        self._sums()
        about = self._json("about.json")
        of = about.get("of")
        kind, id = (
            (str(of.get(key, "")) for key in ("kind", "id")) if isinstance(of, dict) else ("", "")
        )
        if about.get("format") != FORMAT or kind not in {"inspection", "vehicle"}:
            self.faults.append("about.json: says of another kind of file")
        if self.archive.read("data/schema.json", _MOST_TEXT) != schema():
            self.told.append("its schema.json is that of another version, and was not used")
        limits = dict(self._lines("limits.jsonl", read_limit))
        pairs = list(self._rows(limits))
        rows, leaves = tuple(row for row, _ in pairs), [leaf for _, leaf in pairs]
        elsewhere = tuple(self._lines("elsewhere.jsonl", read_elsewhere))
        media = self._media(rows)
        checkpoint = self._checkpoint(rows, leaves, {kind: id})
        if about.get("rows") != len(rows):
            self.faults.append(f"about.json: speaks of other than {len(rows)} rows")
        if id not in {row.place.id for row in rows if row.place.kind == kind}:
            self.faults.append(f"there is no {kind} {note.plain(id)} in it")
        if not self.faults:
            self._tried_out(rows, elsewhere)
        if elsewhere:
            self.told.append(
                f"{counted(len(elsewhere), 'row that is', 'rows that are')} not in it: known by hash alone; when they were "
                "written, and what they had seen, is the sender's word"
            )
        faults = tuple(dict.fromkeys(self.faults))
        return Content(
            kind, id, rows, elsewhere, media, checkpoint, faults[:_MOST_TOLD], tuple(self.told)
        )

    def _sums(self) -> None:
        """Every file against the manifest, and the manifest against the files (RFC 8493)."""
        members = self.archive.members
        for name in ("bagit.txt", "bag-info.txt", "manifest-sha256.txt", "tagmanifest-sha256.txt"):
            if name not in members:
                raise StoreError(
                    f"this is no bundle: {name} is not in it", where=str(self.archive.path)
                )
        for name in _NEEDED:
            if f"data/{name}" not in members:
                raise StoreError(
                    f"this is no bundle: data/{name} is not in it", where=str(self.archive.path)
                )
        sums: dict[str, str] = {}
        size = 0
        for name, member in members.items():
            sha = hashlib.sha256()
            for chunk in self.archive.chunks(name):
                sha.update(chunk)
            sums[name] = sha.hexdigest()
            size += member.size if name.startswith("data/") else 0
        payload = {name: sha for name, sha in sums.items() if name.startswith("data/")}
        told = self._manifest("manifest-sha256.txt")
        for name in sorted(told.keys() | payload.keys()):
            if told.get(name) != payload.get(name):
                what = (
                    "is not in the manifest"
                    if name not in told
                    else "is missing"
                    if name not in payload
                    else "is not what the manifest says"
                )
                self.faults.append(f"{name}: {what}")
        outer = self._manifest("tagmanifest-sha256.txt")
        for name in ("bag-info.txt", "bagit.txt", "manifest-sha256.txt"):
            if outer.pop(name, "") != sums[name]:
                self.faults.append(f"{name}: is not what the tag manifest says")
        self.faults += [
            f"{name}: is in the tag manifest and is no tag file" for name in sorted(outer)
        ]
        if self.archive.read("bagit.txt", 1000) != tags({}, "")["bagit.txt"]:
            self.faults.append("bagit.txt: speaks of another version")
        if f"Payload-Oxum: {size}.{len(payload)}\n".encode() not in self.archive.read(
            "bag-info.txt", 10_000
        ):
            self.faults.append("bag-info.txt: speaks of another size")

    def _manifest(self, name: str) -> dict[str, str]:
        found: dict[str, str] = {}
        for line in self.archive.lines(name, 1000):
            sha, gap, of = line.decode("utf-8", "replace").partition("  ")
            if not gap or of in found or len(sha) != 64:
                self.faults.append(f"{name}: has a line that is none of a manifest")
                continue
            found[note.plain(of)] = sha
        return found

    def _fault(self, what: str) -> None:
        """One more of many lines; ``StoreError`` where there is no end of them."""
        self.faults.append(what)
        if len(self.faults) > _MOST_FAULTS:
            raise StoreError(
                f"this is no bundle that can be trusted: it has more than {_MOST_FAULTS} faults; the "
                f"first: {self.faults[0]}",
                where=str(self.archive.path),
            )

    def _json(self, name: str) -> dict[str, Any]:
        try:
            found = json.loads(self.archive.read(f"data/{name}", _MOST_TEXT))
        except (ValueError, RecursionError):
            found = None
        if isinstance(found, dict):
            return found
        self.faults.append(f"{name}: cannot be read")
        return {}

    def _lines(self, name: str, read: Callable[[bytes], Any]) -> Iterator[Any]:
        for number, line in enumerate(self.archive.lines(f"data/{name}", LONGEST_LINE), 1):
            try:
                yield read(line)
            except (ValueError, KeyError, TypeError) as error:
                self._fault(f"{name}, line {number}: {_why(error)}")

    def _rows(self, limits: Mapping[str, str]) -> Iterator[tuple[StoredRow, int]]:
        both = zip(
            *(
                self.archive.lines(f"data/{n}", LONGEST_LINE)
                for n in ("rows.jsonl", "places.jsonl")
            ),
            strict=True,
        )
        used: set[str] = set()
        before: tuple[int, str] = (-(1 << 63), "")
        number = 0
        try:
            for number, (line, beside) in enumerate(both, 1):
                try:
                    row, leaf = read_row(line, beside)
                except (ValueError, KeyError, TypeError) as error:
                    self._fault(f"row {number}: {_why(error)}")
                    continue
                if number > _MOST_ROWS:
                    raise StoreError(
                        f"has more than {_MOST_ROWS} rows",
                        where=str(self.archive.path),
                        todo="ask for bundles of single inspections",
                    )
                if (row.place.turn, row.place.id) <= before:
                    self.faults.append(f"row {number}: is out of order, or there twice")
                before = (row.place.turn, row.place.id)
                parts = [row.columns, *(each for rows in row.children.values() for each in rows)]
                named = {str(p["limit_sha256"]) for p in parts if p.get("limit_sha256") is not None}
                if named - limits.keys():
                    self.faults.append(f"row {number}: a limit that it names is missing")
                used |= named
                texts = {name: limits[name] for name in sorted(named & limits.keys())}
                yield StoredRow(row.place, row.columns, row.children, texts, row.old), leaf
        except ValueError:
            self.faults.append(
                f"rows and places: one has more lines than the other, from {number + 1} on"
            )
        self.faults += [
            f"limit {name[:12]}: no row names it" for name in sorted(limits.keys() - used)
        ]

    def _media(self, rows: Iterable[StoredRow]) -> tuple[str, ...]:
        """Originals: every one that a row names and no other, each with the hash in its name."""
        named = {
            str(row.columns[MEDIA[row.place.kind]])
            for row in rows
            if row.columns.get(MEDIA.get(row.place.kind, "")) is not None
        }
        there = {
            n.removeprefix("data/media/")
            for n in self.archive.members
            if n.startswith("data/media/")
        }
        self.faults += [f"{note.plain(name)}: is missing" for name in sorted(named - there)]
        self.faults += [f"{name}: no row names it" for name in sorted(there - named)]
        for name in sorted(there):
            sha = hashlib.sha256()
            for chunk in self.archive.chunks(f"data/media/{name}"):
                sha.update(chunk)
            if sha.hexdigest() != name[:64]:
                self.faults.append(f"{name}: changed since it was kept")
        return tuple(sorted(there))

    def _checkpoint(
        self, rows: tuple[StoredRow, ...], leaves: list[int], of: Mapping[str, str]
    ) -> Checkpoint | None:
        one = note.parse(
            self.archive.read("data/checkpoint.txt", _MOST_TEXT).decode("utf-8", "replace")
        )
        if one is None:
            self.faults.append("checkpoint.txt: is no checkpoint that can be read")
            return None
        self._signature(one)
        proof = self._json("proof.json")
        besides = proof.get("besides")
        try:
            hashes = (
                [bytes.fromhex(each) for each in besides] if isinstance(besides, list) else None
            )
        except (ValueError, TypeError):
            hashes = None
        known = {leaf: merkle.leaf(row.place.hash) for row, leaf in zip(rows, leaves, strict=True)}
        fits = hashes is not None and len(known) == len(rows) and proof.get("size") == one.size
        if not fits or merkle.root_of_covering(one.size, known, hashes or ()) != one.root:
            self.faults.append("the rows are not those of the record that the checkpoint is of")
        told = {owner.id: owner for owner in owners_in(one)}
        for kind, id in of.items():
            if id not in told or told[id].kind != kind:
                self.faults.append(f"the checkpoint says nothing of {kind} {note.plain(id)}")
        for owner in told.values():
            mine = [row.place.hash for row in rows if row.place.owner == owner.id]
            if (len(mine), fingerprint(mine)) != (owner.rows, owner.fingerprint):
                self.faults.append(
                    f"{owner.kind} {note.plain(owner.id)}: {counted(len(mine), 'row of it is', 'rows of it are')} here, and the "
                    f"checkpoint says {owner.rows}: some are missing, put in or others"
                )
        return one

    def _signature(self, one: Checkpoint) -> None:
        there = {name for name in _SIGNED if f"data/{name}" in self.archive.members}
        if not one.signature:
            self.told.append("the checkpoint is not signed")
            if there:
                self.faults.append("signed.txt: there is a signature, and the checkpoint has none")
            return
        if not one.is_signed:
            self.faults.append("checkpoint.txt: its signature does not fit what it says")
        wanted = {
            "signed.txt": one.body,
            "signed.txt.sig": sshsig.armoured(one.key, one.signature),
            "allowed_signers": sshsig.allowed_signer(note.key_name(one.key), one.key),
        }
        for name, text in wanted.items():
            if name not in there or self.archive.read(f"data/{name}", _MOST_TEXT) != text.encode():
                self.faults.append(f"{name}: is not what the checkpoint says")

    def _tried_out(self, rows: tuple[StoredRow, ...], elsewhere: tuple[Elsewhere, ...]) -> None:
        """Put the rows into a record of their own, verify it, and read all of it."""
        with tempfile.TemporaryDirectory(prefix="fieldlog-") as made:
            folder = Path(made)
            try:
                with contextlib.closing(
                    SqliteStore(folder, _Here(folder / "media"), now=self.now)
                ) as store:
                    store.connection.execute("PRAGMA synchronous=OFF")
                    store.take(rows, elsewhere)
                    self.faults += store.verify().faults
                    for vehicle in store.vehicles():
                        store.history(vehicle.id, None, None, None)
                        store.remarks(vehicle.id)
                    for head in store.inspections(None):
                        store.read(head.id)
                    for kept in store.checkpoints():
                        self._covers(store, kept)
            except (FieldlogError, ValueError, TypeError, KeyError, OverflowError) as error:
                if is_own(error):  # a full disk here is no fault of the bundle
                    told = error.what if isinstance(error, FieldlogError) else str(error)
                    raise OwnTroubleError(told, where=str(folder), todo=_TODO) from error
                self.faults.append(f"a record does not take it: {note.plain(str(error))}")

    def _covers(self, store: SqliteStore, kept: Any) -> None:
        """A sign-off covers the rows that were signed."""
        if kept.checkpoint is None:
            self.faults.append(f"checkpoint {kept.id}: is no checkpoint that can be read")
            return
        if kept.checkpoint.signature and not kept.checkpoint.is_signed:
            self.faults.append(f"checkpoint {kept.id}: its signature does not fit what it says")
        told = next((o for o in owners_in(kept.checkpoint) if o.id == kept.inspection), None)
        covered = store.covered_by(kept.inspection, kept.signature)
        if told and (len(covered), fingerprint(covered)) != (told.rows, told.fingerprint):
            self.faults.append(
                f"signed off {kept.signature}: what it covers here is not what was signed"
            )


def held_against(content: Content, one: Checkpoint, held_by: str) -> tuple[list[str], list[str]]:
    """What of a bundle is not, and what is, as a checkpoint says that somebody else holds.

    A later report tells how many rows of the inspection there were and their fingerprint, so an older
    bundle, or one written anew, is not that.
    """
    faults: list[str] = []
    proven: list[str] = []
    if one.signature and not one.is_signed:
        return [f"the checkpoint held by {held_by}: its signature does not fit what it says"], []
    for owner in owners_in(one):
        mine = [row.place.hash for row in content.rows if row.place.owner == owner.id]
        if not mine:
            continue
        called = f"{owner.kind} {note.plain(owner.id)}"
        if (len(mine), fingerprint(mine)) == (owner.rows, owner.fingerprint):
            proven.append(f"{called} is as it was at checkpoint {one.size}, held by {held_by}")
        else:
            faults.append(
                f"{called}: {counted(len(mine), 'row of it is', 'rows of it are')} here, and checkpoint {one.size}, held by "
                f"{held_by}, says {owner.rows}: it is older, newer, or another one"
            )
    if not faults and not proven:
        faults.append(f"the checkpoint held by {held_by} says nothing of what is in the bundle")
    return faults, proven


class _Here(MediaFolder):
    """The originals of a bundle while it is tried out: they were checked where they are."""

    def fault(self, name: str) -> str | None:
        """Nothing is wrong with them here."""
        return None


def _why(error: Exception) -> str:
    told = f"{error.args[0]!r} is missing" if isinstance(error, KeyError) else str(error)
    return note.plain(told)[:200]


def merge(store: Repository, path: Path, now: datetime) -> Merged:
    """Add what the bundle ``path`` has and ``store`` has not; ``StoreError`` where it has any fault.

    Clips and photos come first, then the rows in one transaction. Again, and in any order with other
    bundles and records, it comes to the same record.
    """
    content = check_bundle(path, now)
    if content.faults:
        raise StoreError(
            f"nothing of it was taken: it has {counted(len(content.faults), 'fault')}; the first: {content.faults[0]}",
            where=str(path),
            todo=f"fieldlog bundle verify {path}",
        )
    return _take(store, path, content)


def take_checked(store: Repository, path: Path, content: Content) -> Merged:
    """``merge`` of a bundle that has no fault; ``OwnTroubleError`` where it is this machine that cannot go on."""
    try:
        return _take(store, path, content)
    except StoreError as error:
        if is_own(error):
            raise OwnTroubleError(error.what, where=error.where, todo=error.todo) from error
        raise


def _take(store: Repository, path: Path, content: Content) -> Merged:
    own = [e for e in content.elsewhere if e.writer == store.engine.writer]
    if any(not store.engine.has(each.hash) for each in own):
        raise StoreError(
            "nothing of it was taken: it speaks of a row that this copy wrote and does not have",
            where=str(path),
            todo="fieldlog inspection verify",
        )
    with Archive(path) as archive:
        brought = sum(_bring(store.media, archive, name) for name in content.media)
    taken = store.engine.take(content.rows, content.elsewhere)
    rivalled = tuple(store.rivalled(taken.owners))
    return Merged(
        taken.rows, brought, len(content.rows), store.fingerprint(), rivalled, taken.owners
    )


def _bring(media: MediaFolder, archive: Archive, name: str) -> bool:
    if media.path(name).exists() and media.fault(name) is None:
        return False
    with tempfile.NamedTemporaryFile(prefix="fieldlog-") as copy:
        for chunk in archive.chunks(f"data/media/{name}"):
            copy.write(chunk)
        copy.flush()
        if media.save_file(Path(copy.name), name.rpartition(".")[2]) != name:
            raise StoreError(
                "changed while it was copied; no row was added",
                where=str(archive.path),
                todo="repeat",
            )
    return True
