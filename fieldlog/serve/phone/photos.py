"""Photos from a phone's page: piece by piece under the hash that the phone made at the shutter, then imported.

The name is the SHA-256, so that the same name is the same bytes: what was sent twice is there once. A piece is
added only where the one before ended; the whole counts when its hash is the name. Then it goes the way of
every photo: the importer, the camera's clock (measured over the line), the finding of that time.
"""

from __future__ import annotations

import os
import re
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

from fieldlog.errors import FieldlogError, PhotoError, StoreError, UsageError
from fieldlog.photos.clock import align_measured
from fieldlog.photos.importer import import_files
from fieldlog.photos.placing import entered_alignment, place_photos, save_alignment
from fieldlog.serve.phone.offset import Ahead
from fieldlog.store.repository import Repository
from fieldlog.whole import sha256_of

LARGEST_PHOTO = 48 * 1024 * 1024
LARGEST_PIECE = 256 * 1024
MOST_ARRIVING = 64
"""Photos that are half here at one time."""
_SAME_S = 0.05
_NAME = re.compile(r"[0-9a-f]{64}")
_RUN = re.compile(r"[0-9a-f]{4,16}")
MAKE, MODEL = "fieldlog", "page"
"""What the page writes into its photos as the camera; the serial number is ``PHONE-RUN``."""

ClockOf = Callable[[str, str], Ahead | None]


class Refusal(Exception):
    """A piece that is not taken: the status to answer with, why, and how much is here."""

    def __init__(self, status: int, why: str, have: int = 0) -> None:
        """``have``: bytes of it that are here."""
        super().__init__(why)
        self.status, self.why, self.have = status, why, have


@dataclass(frozen=True, slots=True)
class PhotoHeld:
    """How much of a photo is here."""

    have: int
    whole: bool
    """It is in the record: the phone may drop it."""


class PhonePhotos:
    """Takes the pieces; imports and places what is whole."""

    def __init__(
        self,
        store: Repository,
        clock_of: ClockOf,
        *,
        imported: Callable[[str], None],
        notify: Callable[[str], None] = lambda line: None,
    ) -> None:
        """``clock_of``: (phone, run of its page) -> its clock; ``imported`` is told each media name.

        ``notify``: a line for whoever is at this machine, once until a photo is taken again.
        """
        self._store, self._clock_of, self._imported = store, clock_of, imported
        self._notify, self._failing = notify, False
        self._folder = store.folder / "from-phone"
        self._lock = threading.Lock()
        self._whole: dict[tuple[str, str], str] = {}
        self._take_up()

    def held(self, sha256: str, inspection: str) -> PhotoHeld:
        """How much of that photo is here. Raises ``Refusal`` for what is no such name."""
        _named(sha256)
        part = self._part(sha256)
        # a part beside an imported one is tried again: its clock or its place could not be saved
        imported = not part.exists() and self._is_imported(sha256, inspection)
        if (sha256, inspection) in self._whole or imported:
            return PhotoHeld(0, whole=True)
        return PhotoHeld(_size(part), whole=False)

    def put(
        self,
        sha256: str,
        offset: int,
        size: int,
        piece: bytes,
        *,
        inspection: str,
        phone: str,
        run: str,
    ) -> PhotoHeld:
        """Add ``piece`` at ``offset`` of ``size`` bytes; whole: it is in the record of ``inspection``.

        Raises ``Refusal``; nothing is taken then.
        """
        _named(sha256)
        if not 0 < size <= LARGEST_PHOTO:
            raise Refusal(413, "a photo is not as large as that")
        # all of it may be here already, and its import cut off: nothing more is sent then
        if not 0 <= offset <= size or len(piece) > size - offset or not (piece or offset == size):
            raise Refusal(400, "a piece beyond the end")
        try:
            held, media = self._put(sha256, offset, size, piece, inspection, phone, run)
        except Refusal as refused:
            if refused.status == 503 and not self._failing:
                self._failing = True
                self._notify(f"a photo waits on the phone: {refused.why}")
            raise
        self._failing = False
        if media:
            self._imported(media)
        return held

    def _put(
        self,
        sha256: str,
        offset: int,
        size: int,
        piece: bytes,
        inspection: str,
        phone: str,
        run: str,
    ) -> tuple[PhotoHeld, str]:
        """How much of it is here then, and its media name where that is all of it now."""
        with self._lock:
            held = self.held(sha256, inspection)
            if held.whole:
                return held, ""
            if offset != held.have:
                raise Refusal(409, "not where the last piece ended", held.have)
            part = self._part(sha256)
            self._append(part, piece)
            have = offset + len(piece)
            if have < size:
                return PhotoHeld(have, whole=False), ""
            if sha256_of(part) != sha256:
                part.unlink()
                raise Refusal(422, "the bytes are not what their name says")
            media = self._import(part, sha256, inspection, phone, run)
            self._whole[sha256, inspection] = media
        return PhotoHeld(have, whole=True), media

    def place(self, inspection: str) -> None:
        """Put the photos to the findings of their time, as far as these are there by now."""
        with self._lock:
            place_photos(self._store, inspection, _today())

    def _import(self, part: Path, sha256: str, inspection: str, phone: str, run: str) -> str:
        whole = part.with_name(f"{sha256[:16]}.jpg")
        part.replace(whole)
        try:
            head = self._store.inspection(inspection)
            today = _today()
            result = import_files(self._store, head.id, self._folder, [whole.name], today)
            kept = [*result.added, *result.known]
            if not kept:
                (left,) = result.left
                if left.later:
                    raise PhotoError(left.problem)
                raise Refusal(415, left.problem)
            ahead = self._clock_of(phone, run) if _RUN.fullmatch(run) else None
            if ahead is not None:
                camera = f"{MAKE} {MODEL} #{phone}-{run}"
                known = align_measured(camera, -ahead.seconds, ahead.uncertainty_s)
                clocks = self._store.inspection_record(head.id).clocks
                before = entered_alignment(clocks, camera)
                if before is None or abs(before.offset_s - known.offset_s) > _SAME_S:
                    save_alignment(self._store, head.id, known)
            place_photos(self._store, head.id, today)
        except UsageError as error:
            raise Refusal(404, error.what) from error
        except (StoreError, PhotoError) as error:
            whole.replace(part)  # all of it is here: the last piece is sent again
            self._cut(part)
            raise Refusal(503, error.what, _size(part)) from error
        finally:
            with suppress(FileNotFoundError):
                whole.unlink()
        return kept[0][1]

    def _take_up(self) -> None:
        """What was whole when the program was killed is tried again with its last piece: its clock, or its
        place, may not have been saved."""
        for whole in self._folder.glob("*.jpg"):
            with suppress(OSError):
                part = self._part(sha256_of(whole))
                whole.replace(part)
                self._cut(part)

    def _cut(self, part: Path) -> None:
        """Take the last byte off, so that the photo is tried again with one more piece."""
        with suppress(OSError):
            os.truncate(part, max(0, _size(part) - 1))

    def _append(self, part: Path, piece: bytes) -> None:
        try:
            self._folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            if not part.exists():
                self._make_room()
            with part.open("ab") as stream:
                stream.write(piece)
                stream.flush()
                os.fsync(stream.fileno())
        except OSError as error:
            why = f"it cannot be kept ({error.strerror or error})"
            raise Refusal(503, why, _size(part)) from error

    def _make_room(self) -> None:
        """Of too many that are half here the oldest goes: its phone still has it, and sends it anew."""
        parts = sorted(self._folder.glob("*.part"), key=lambda part: part.stat().st_mtime)
        for part in parts[: len(parts) + 1 - MOST_ARRIVING]:
            part.unlink()

    def _is_imported(self, sha256: str, inspection: str) -> bool:
        try:
            photos = self._store.inspection_record(inspection).photos
        except FieldlogError:
            return False
        return any(photo.media.startswith(sha256) for photo in photos)

    def _part(self, sha256: str) -> Path:
        return self._folder / f"{sha256}.part"


def _today() -> date:
    return datetime.now(UTC).date()


def _named(sha256: str) -> None:
    if not _NAME.fullmatch(sha256):
        raise Refusal(404, "no such name")


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except FileNotFoundError:
        return 0
