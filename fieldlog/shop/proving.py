"""What is proven of a record: that it agrees with itself, and what others hold against it.

The record is only read. Everything that is found wrong is told; what is said to be proven is never more
than that: a record that was written anew agrees with itself, so it is *unchanged since* only what
somebody outside it holds. The words are put together here and nowhere else.
"""

from __future__ import annotations

import contextlib
import stat
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from fieldlog.bundle.archive import Archive
from fieldlog.errors import StoreError, UsageError
from fieldlog.proof import note, sshsig
from fieldlog.proof.note import Checkpoint
from fieldlog.report.copied import copy_faults
from fieldlog.shop.witness import HANDED_OUT
from fieldlog.store.base import Verification
from fieldlog.store.chain import fingerprint
from fieldlog.store.checkpoints import Against, owners_in
from fieldlog.store.repository import Repository
from fieldlog.words.english import counted

MOST_BYTES = 64 << 20
"""A larger file is not searched for checkpoints."""
NO_WITNESS = (
    "nobody outside the record was asked: rows cut off the end and a record written anew would not show; "
    "hold it against a report, a bundle or the text of its QR code with --against"
)


@dataclass(frozen=True, slots=True)
class Witness:
    """A checkpoint, and who holds it."""

    checkpoint: Checkpoint
    held_by: str
    inside: bool = False
    """Whether it lies in the record itself: whoever changes that can change it too."""


@dataclass(frozen=True, slots=True)
class Proven:
    """What was found, and what is proven by it."""

    checked: Verification
    faults: tuple[str, ...]
    proven: tuple[str, ...]
    """Sentences; none where there is a fault."""
    told: tuple[str, ...] = ()
    """What is neither a fault nor proven."""


def prove(folder: Path, key: str | None, against: Sequence[str], now: datetime) -> Proven:
    """Check the record in ``folder``, or (``key``) one inspection, and hold it ``against`` witnesses.

    ``against``: files with checkpoints in them (reports, bundles, notes), or the text of a QR code.
    Raises ``UsageError`` for what holds no checkpoint, ``StoreError`` where there is no record.
    """
    outside = [witness for each in against for witness in witnesses(each)]
    with Repository.look(folder, now=lambda: now) as store:
        one = store.inspection(key).id if key is not None else None
        checked = store.verify(key)
        faults = [*store.engine.log_faults(), *checked.faults]
        proven: list[str] = []
        told: list[str] = []
        with _going_on(faults, "copies"):
            copies = folder / "copies"
            faults += copy_faults(copies, store.media, _photos(store, key), now.date())
        with _going_on(faults, "checkpoints"):
            _hold(store, _inside(store, folder, faults, one), faults, proven, told, one)
        with _going_on(faults, "--against"):
            _hold(
                store,
                [each for each in outside if _tells_of(each, one)],
                faults,
                proven,
                faults,
                one,
            )
            _hold(
                store,
                [each for each in outside if not _tells_of(each, one)],
                faults,
                proven,
                faults,
            )
    if one is not None:
        told.append(_not_read(checked))
    if checked.elsewhere:
        told.append(f"{checked.elsewhere} rows that others have are known here by their hash alone")
    if faults:
        return Proven(checked, tuple(dict.fromkeys(faults)), (), tuple(told))
    whole = "agrees with itself: every row, clip and photo fits its hash"
    if one is not None:
        whole = (
            f"inspection {key} agrees with itself: every row, clip and photo of it and of its vehicle fits its "
            f"hash, and the {counted(checked.linked, 'row')} from its first to the newest are in order, none missing"
        )
    if not outside:
        told.append(NO_WITNESS)
    return Proven(checked, (), (whole, *proven), tuple(told))


def _not_read(checked: Verification) -> str:
    """What was not checked of the record when one inspection was."""
    other = counted(checked.unread, "other row")
    rows = f"what stands in {other} of the record, " if checked.unread else ""
    return (
        f"not checked: {rows}the pages and indexes of its database, the words of the search; "
        "`fieldlog inspection verify` without an inspection does that"
    )


def _tells_of(each: Witness, inspection: str | None) -> bool:
    return inspection is not None and any(o.id == inspection for o in owners_in(each.checkpoint))


def witnesses(told: str) -> tuple[Witness, ...]:
    """The checkpoints in a file, or in the text of a QR code; raises ``UsageError`` for none."""
    if "\n" in told.strip():
        found, held_by = note.found_in(_ended(told)), "the text that was given"
    else:
        path = Path(told)
        found, held_by = note.found_in(_bundled(path) or _text_of(path)), plain_name(path)
    if not found:
        raise UsageError(
            "there is no checkpoint in it",
            where=told if "\n" not in told else "--against",
            todo="name a report (HTML or JSON), a bundle or a checkpoint, or give the text of a QR code",
        )
    return tuple(Witness(each, held_by) for each in found)


def plain_name(path: Path) -> str:
    """A file's name as it may be printed."""
    return note.plain(path.name) or "a file"


def _bundled(path: Path) -> str:
    """The checkpoint in a bundle; "" for any other file."""
    try:
        with path.open("rb") if path.is_file() else contextlib.nullcontext() as stream:
            if stream is None or stream.read(4) != b"PK\x03\x04":
                return ""
        with Archive(path) as archive:
            return archive.read("data/checkpoint.txt", note.MOST_CHARACTERS).decode(
                "utf-8", "replace"
            )
    except OSError:
        return ""


def _ended(text: str) -> str:
    return text if text.endswith("\n") else f"{text}\n"


def _text_of(path: Path) -> str:
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode) or status.st_size > MOST_BYTES:
            raise UsageError("is no file that can hold a checkpoint", where=str(path))
        with path.open("rb") as stream:
            return stream.read(MOST_BYTES).decode("utf-8", "replace")
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise UsageError(f"cannot be read ({reason.lower()})", where=str(path)) from error


def _photos(store: Repository, key: str | None) -> list[str]:
    """Names of the originals of photos."""
    if key is not None:
        return [each.media for each in store.inspection_record(key).photos]
    return list(store.engine.photo_originals())


def _inside(
    store: Repository, folder: Path, faults: list[str], inspection: str | None
) -> list[Witness]:
    """Checkpoints that lie in the record (of one ``inspection``: id): at sign-offs, and copies of what was handed out."""
    found: list[Witness] = []
    for each in store.engine.checkpoints(inspection):
        where = f"checkpoint {each.id}"
        if each.checkpoint is None:
            faults.append(f"{where}: is no checkpoint that can be read")
            continue
        found.append(Witness(each.checkpoint, where, inside=True))
        told = next((o for o in owners_in(each.checkpoint) if o.id == each.inspection), None)
        covered = store.engine.covered_by(each.inspection, each.signature)
        if told and (len(covered), fingerprint(covered)) != (told.rows, told.fingerprint):
            faults.append(
                f"signed off {each.signature}: what it covers here is not what was signed "
                f"({len(covered)} rows, and {told.rows} were)"
            )
    kept = folder / HANDED_OUT
    for name in sorted(path.name for path in kept.iterdir()) if kept.is_dir() else []:
        where = f"{HANDED_OUT}/{note.plain(name)}"
        try:
            one = note.parse(_text_of(kept / name))
        except UsageError:
            one = None
        if one is None:
            faults.append(f"{where}: is no checkpoint that can be read")
        else:
            found.append(Witness(one, where, inside=True))
    return [each for each in found if inspection is None or _tells_of(each, inspection)]


@contextlib.contextmanager
def _going_on(faults: list[str], what: str) -> Iterator[None]:
    """Go on with the next where a damaged record does not let one thing be checked."""
    try:
        yield
    except (StoreError, ValueError, TypeError, KeyError) as error:
        faults.append(f"{what}: cannot be checked ({note.plain(str(error))})")


def _hold(
    store: Repository,
    witnesses: Sequence[Witness],
    faults: list[str],
    proven: list[str],
    unsaid: list[str],
    inspection: str | None = None,
) -> None:
    """Put what does not fit, what is proven, and of what nothing can be said, to those lists.

    ``inspection``: its rows (id) are held against what the checkpoints tell of it, and no others.
    """
    answers = store.engine.hold([each.checkpoint for each in witnesses], inspection)
    what = "the record" if inspection is None else "the inspection"
    for each, answer in zip(witnesses, answers, strict=True):
        one, who = each.checkpoint, _signed_by(each.checkpoint)
        called = f"checkpoint {one.size} of {_when(one)}, held by {each.held_by}"
        if one.signature and not one.is_signed:
            faults.append(f"{called}: its signature does not fit what it says")
        elif answer is Against.SAME and not each.inside:
            of = (
                ""
                if inspection is None
                else f" as to {counted(_rows_told(one, inspection), 'row')} of the inspection"
            )
            proven.append(f"unchanged{of} since {called} ({who})")
        elif answer is Against.SAME and one.one("by"):
            size = one.size if inspection is None else _rows_told(one, inspection)
            of = "" if inspection is None else " of the inspection"
            proven.append(
                f"what was signed off on {_when(one)} ({size} rows{of}, {who}) is as it was signed"
            )
        elif answer is Against.OTHER:
            faults.append(f"{what} is not what it was at {called} ({who})")
        elif answer is Against.PART:
            unsaid.append(
                f"the record has only part of what there was at {called}: nothing is proven by it"
            )


def _rows_told(one: Checkpoint, inspection: str) -> int:
    return next(each.rows for each in owners_in(one) if each.id == inspection)


def _when(one: Checkpoint) -> str:
    return f"{one.at:%Y-%m-%d %H:%M} UTC" if one.at else "no time that can be read"


def _signed_by(one: Checkpoint) -> str:
    if not one.signature:
        return "not signed"
    name = one.one("by")
    whose = f"as {note.plain(name)} with key" if name else "with the key of a record,"
    return f"signed {whose} {sshsig.fingerprint(one.key)}"
