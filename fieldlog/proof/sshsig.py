"""Signatures that ``ssh-keygen -Y verify`` checks without us (pure).

The form is OpenSSH's (PROTOCOL.sshsig): what is signed is not the text but::

    "SSHSIG" || string namespace || string "" || string "sha512" || string SHA-512(text)

with a ``string`` as four bytes of length, big-endian, and the bytes. Only Ed25519 (RFC 8032).
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import struct
import textwrap

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

NAMESPACE = "fieldlog"
"""What our signatures are for: one made for something else does not pass as ours."""
_KIND = b"ssh-ed25519"
_MAGIC = b"SSHSIG"
_BEGIN, _END = "-----BEGIN SSH SIGNATURE-----", "-----END SSH SIGNATURE-----"


def _string(data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + data


def public_line(raw: bytes) -> str:
    """A public key (32 bytes) as OpenSSH writes it, without a comment."""
    blob = _string(_KIND) + _string(raw)
    return f"{_KIND.decode()} {base64.b64encode(blob).decode()}"


def public_bytes(line: str) -> bytes | None:
    """The 32 bytes of a public key in that form; None for anything else."""
    kind, _, rest = line.strip().partition(" ")
    try:
        blob = base64.b64decode(rest.split(" ")[0], validate=True)
    except (binascii.Error, ValueError):
        return None
    head = _string(_KIND) + struct.pack(">I", 32)
    if kind != _KIND.decode() or not blob.startswith(head) or len(blob) != len(head) + 32:
        return None
    return blob[len(head) :]


def fingerprint(line: str) -> str:
    """A public key's fingerprint as ``ssh-keygen -l`` prints it; "" for no such key."""
    raw = public_bytes(line)
    if raw is None:
        return ""
    blob = _string(_KIND) + _string(raw)
    return f"SHA256:{base64.b64encode(hashlib.sha256(blob).digest()).decode().rstrip('=')}"


def signed_bytes(text: bytes) -> bytes:
    """What the key signs for ``text``."""
    parts = (NAMESPACE.encode(), b"", b"sha512", hashlib.sha512(text).digest())
    return _MAGIC + b"".join(_string(part) for part in parts)


def is_signed(text: bytes, line: str, signature: bytes) -> bool:
    """Whether ``signature`` (64 bytes) is that of the public key ``line`` for ``text``."""
    raw = public_bytes(line)
    if raw is None or len(signature) != 64:
        return False
    try:
        Ed25519PublicKey.from_public_bytes(raw).verify(signature, signed_bytes(text))
    except (InvalidSignature, ValueError):
        return False
    return True


def armoured(line: str, signature: bytes) -> str:
    """The file that ``ssh-keygen -Y verify -s`` reads, from the public key and its 64 bytes."""
    raw = public_bytes(line) or b""
    parts = (
        _string(_KIND) + _string(raw),
        NAMESPACE.encode(),
        b"",
        b"sha512",
        _string(_KIND) + _string(signature),
    )
    blob = _MAGIC + struct.pack(">I", 1) + b"".join(_string(part) for part in parts)
    body = "\n".join(textwrap.wrap(base64.b64encode(blob).decode(), 70))
    return f"{_BEGIN}\n{body}\n{_END}\n"


def allowed_signer(principal: str, line: str) -> str:
    """The line of the file that ``ssh-keygen -Y verify -f`` reads; ``principal`` has no blanks."""
    return f'{principal} namespaces="{NAMESPACE}" {line}\n'
