"""Keys that sign: one of each person, opened with a PIN, and one of the record itself.

They lie in a folder ``keys`` beside the record as OpenSSH key files (mode 0600), so that ``ssh-keygen``
reads them too: a person's is encrypted with the PIN (bcrypt). Whoever has the file can try PINs as fast
as the machine goes, so a longer one is better. A lost key is never made again: the person gets a new one,
and what the old one signed stays signed. No key is ever deleted or overwritten.
"""

from __future__ import annotations

import contextlib
import hashlib
import re
from dataclasses import dataclass
from pathlib import Path

from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    KeySerializationEncryption,
    NoEncryption,
    PrivateFormat,
    load_ssh_private_key,
)

from fieldlog.errors import StoreError, UsageError
from fieldlog.proof import sshsig
from fieldlog.proof.note import Checkpoint, plain
from fieldlog.whole import free_name, reason, refused, write_whole

FOLDER = "keys"
SHORTEST_PIN = 4
_RECORD = "record"


@dataclass(frozen=True, slots=True)
class Signer:
    """A key that is open, and whose it is."""

    name: str
    """The person; "" for the key of the record itself."""
    private: Ed25519PrivateKey

    @property
    def public(self) -> str:
        """The public key as OpenSSH writes it."""
        return sshsig.public_line(self.private.public_key().public_bytes_raw())

    @property
    def fingerprint(self) -> str:
        """The public key's fingerprint, as ``ssh-keygen -l`` prints it."""
        return sshsig.fingerprint(self.public)

    def sign(self, unsigned: Checkpoint) -> Checkpoint:
        """``unsigned`` with this key and its signature."""
        by = (("by", plain(self.name)),) if self.name else ()
        named = Checkpoint(
            unsigned.origin,
            unsigned.size,
            unsigned.root,
            (*unsigned.lines, *by, ("key", self.public)),
        )
        signature = self.private.sign(sshsig.signed_bytes(named.body.encode("utf-8")))
        return named.signed(signature)


@dataclass(frozen=True, slots=True)
class PublicKey:
    """A person's key as everybody may see it."""

    name: str
    line: str
    """As OpenSSH writes it."""
    file: Path

    @property
    def fingerprint(self) -> str:
        """As ``ssh-keygen -l`` prints it."""
        return sshsig.fingerprint(self.line)


class Keyring:
    """The keys in one folder."""

    def __init__(self, folder: Path) -> None:
        """``folder`` is made when the first key is."""
        self.folder = folder

    def of_record(self) -> Signer | None:
        """The record's own key, made when it has none; None where it cannot be kept."""
        path = self.folder / _RECORD
        if not path.exists():
            try:
                self._write(path, Ed25519PrivateKey.generate(), NoEncryption(), "the record itself")
            except StoreError:
                return None
        try:
            return Signer("", _private(path, None))
        except (StoreError, UsageError):
            return None

    def make(self, name: str, pin: str, *, lost: bool = False) -> PublicKey:
        """A key for the person ``name``. ``lost``: in place of the one there is, which is kept.

        Raises ``UsageError`` for a short PIN, and where there is a key and it is not ``lost``.
        """
        if not plain(name):
            raise UsageError("a key is somebody's", where="NAME", todo="name the person")
        if len(pin) < SHORTEST_PIN:
            raise UsageError(
                f"a PIN has at least {SHORTEST_PIN} characters", todo="a longer one is better"
            )
        path = self._path(name)
        if path.exists() and not lost:
            raise UsageError(
                f"{plain(name)} has a key already",
                where=str(path),
                todo="when it is lost: fieldlog key make NAME --lost",
            )
        if path.exists():
            aside = free_name(path.with_name(f"{path.name}.lost"))
            with refused("the lost key cannot be set aside", path, "make the folder writable"):
                path.rename(aside)
                with contextlib.suppress(FileNotFoundError):  # its public half may be lost as well
                    path.with_name(f"{path.name}.pub").rename(aside.with_name(f"{aside.name}.pub"))
        self._write(path, Ed25519PrivateKey.generate(), BestAvailableEncryption(pin.encode()), name)
        return self.known(name) or PublicKey(plain(name), "", path)

    def known(self, name: str) -> PublicKey | None:
        """The key of the person ``name``, or None."""
        path = self._path(name)
        return _public(path) if path.exists() else None

    def people(self) -> tuple[PublicKey, ...]:
        """Every person's key that is in use, by name."""
        found = [
            _public(path)
            for path in self.folder.glob("*")
            if re.fullmatch("[0-9a-f]{16}", path.name)
        ]
        return tuple(sorted(found, key=lambda key: key.name))

    def open(self, name: str, pin: str) -> Signer:
        """The key of ``name``, opened; raises ``UsageError`` for none, or for a wrong PIN."""
        path = self._path(name)
        if not path.exists():
            raise UsageError(
                f"{plain(name)} has no key here", todo="make one: fieldlog key make NAME"
            )
        return Signer(plain(name), _private(path, pin))

    def _path(self, name: str) -> Path:
        return self.folder / hashlib.sha256(plain(name).encode("utf-8")).hexdigest()[:16]

    def _write(
        self, path: Path, key: Ed25519PrivateKey, how: KeySerializationEncryption, name: str
    ) -> None:
        data = key.private_bytes(Encoding.PEM, PrivateFormat.OpenSSH, how)
        line = sshsig.public_line(key.public_key().public_bytes_raw())
        todo = "make the folder writable, or free some space"
        with refused("the key cannot be kept", path, todo):
            self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            write_whole(
                path.with_name(f"{path.name}.pub"), f"{line} {plain(name)}\n".encode(), 0o644
            )
            write_whole(path, data, 0o600)


def _private(path: Path, pin: str | None) -> Ed25519PrivateKey:
    try:
        key = load_ssh_private_key(path.read_bytes(), pin.encode() if pin is not None else None)
    except OSError as error:
        raise StoreError(f"the key cannot be read ({reason(error)})", where=str(path)) from error
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise UsageError(
            "the key does not open",
            where=str(path),
            todo="enter the PIN again; a lost PIN is a lost key: fieldlog key make NAME --lost",
        ) from error
    if not isinstance(key, Ed25519PrivateKey):
        raise UsageError("is no Ed25519 key", where=str(path))
    return key


def _public(path: Path) -> PublicKey:
    with refused("the public half of a key cannot be read", path):
        text = path.with_name(f"{path.name}.pub").read_text("utf-8", "replace")
    kind, blob, name = [*text.strip().split(" ", 2), "", ""][:3]
    return PublicKey(plain(name), f"{kind} {blob}", path)
