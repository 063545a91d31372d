"""The phones that may come in, in a file that only this user reads; a revoked one is out at once."""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
import threading
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from fieldlog.errors import StoreError, UsageError
from fieldlog.serve.keys import Session, Trust
from fieldlog.serve.phone.private import write_private

FILE = "phones.json"
LASTS = timedelta(days=90)
"""A pairing; then the phone is paired anew."""


@dataclass(frozen=True, slots=True)
class PairedPhone:
    """One phone. Its secret is not here: only its hash, which opens nothing."""

    number: int
    id: str
    """Also the serial number of the camera in photos that its page takes."""
    name: str
    paired_at: str
    """ISO 8601, UTC."""
    secret_sha256: str
    revoked_at: str = ""

    def lets_in(self, now: datetime) -> bool:
        """Whether it may come in at ``now``."""
        return not self.revoked_at and now < datetime.fromisoformat(self.paired_at) + LASTS


class PhoneBook:
    """Reads the file anew whenever it changed, so that a command in another terminal counts at once."""

    def __init__(
        self, folder: Path, now: Callable[[], datetime] = lambda: datetime.now(UTC)
    ) -> None:
        """``folder``: of this machine's keys; made when a phone is added."""
        self._path = folder / FILE
        self._now = now
        self._lock = threading.Lock()
        self._read: tuple[tuple[int, int, int], tuple[PairedPhone, ...]] | None = None

    @property
    def phones(self) -> tuple[PairedPhone, ...]:
        """Every phone that was ever paired, in that order. Raises ``StoreError`` for a broken file."""
        try:
            stat = self._path.stat()
        except FileNotFoundError:
            return ()
        stamp = (stat.st_mtime_ns, stat.st_size, stat.st_ino)
        read = self._read
        if read is None or read[0] != stamp:
            read = (stamp, self._load())
            self._read = read
        return read[1]

    def add(self, name: str) -> tuple[str, PairedPhone]:
        """The secret for the phone's cookie, and what is kept of it."""
        with self._lock:
            before = self.phones
            secret = secrets.token_urlsafe(32)
            at = self._now().astimezone(UTC).isoformat(timespec="seconds")
            number = 1 + max((each.number for each in before), default=0)
            phone = PairedPhone(number, secrets.token_hex(4), name, at, _hash(secret))
            self._save((*before, phone))
        return secret, phone

    def revoke(self, key: str) -> PairedPhone:
        """Let the phone of that number, id or name in no more; raises ``UsageError`` for none."""
        with self._lock:
            phones = self.phones
            named = [p for p in phones if key in (str(p.number), p.id)]
            named = named or [p for p in phones if key == p.name and not p.revoked_at]
            if len(named) != 1:
                raise UsageError(
                    f"{'several phones are' if named else 'no phone is'} called {key!r}",
                    todo="name it by its number, see `fieldlog phone list`",
                )
            at = self._now().astimezone(UTC).isoformat(timespec="seconds")
            gone = replace(named[0], revoked_at=named[0].revoked_at or at)
            self._save(tuple(gone if each.id == gone.id else each for each in phones))
        return gone

    def phone(self, id: str) -> PairedPhone | None:
        """The phone of that id, when it may still come in."""
        now = self._now()
        return next((p for p in self.phones if p.id == id and p.lets_in(now)), None)

    def of_secret(self, secret: str) -> PairedPhone | None:
        """The phone whose cookie holds ``secret``, when it may still come in."""
        told, now = _hash(secret), self._now()
        found = [p for p in self.phones if hmac.compare_digest(p.secret_sha256, told)]
        return found[0] if found and found[0].lets_in(now) else None

    def session(self, secret: str) -> Session | None:
        """See ``Knows``: who that is, for the server."""
        phone = self.of_secret(secret)
        if phone is None:
            return None
        token = hashlib.sha256(f"token {secret}".encode()).hexdigest()
        return Session(Trust.DEVICE, token, phone.id)

    def _load(self) -> tuple[PairedPhone, ...]:
        try:
            rows = json.loads(self._path.read_text(encoding="utf-8"))
            return tuple(PairedPhone(**row) for row in rows)
        except (OSError, ValueError, TypeError) as error:
            raise StoreError(
                f"the list of phones cannot be read ({error})",
                where=str(self._path),
                todo="pair the phones anew after `fieldlog phone forget`",
            ) from error

    def _save(self, phones: Sequence[PairedPhone]) -> None:
        text = json.dumps([asdict(each) for each in phones], indent=1, ensure_ascii=False)
        write_private(self._path, text.encode())
        self._read = None


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def forget(folder: Path) -> tuple[str, ...]:
    """Remove every key, certificate and pairing in ``folder``; returns the names of what was there."""
    gone = []
    for path in sorted(folder.glob("*")) if folder.is_dir() else []:
        if path.is_file():
            os.unlink(path)  # noqa: PTH108 (a link is removed, not what it points to)
            gone.append(path.name)
    return tuple(gone)
