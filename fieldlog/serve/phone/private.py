"""Files that only this user may read: written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import secrets
from pathlib import Path

from fieldlog.errors import StoreError


def write_private(path: Path, data: bytes) -> None:
    """Write ``data`` with mode 0600 in a folder of mode 0700; raises ``StoreError``."""
    arriving = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        path.parent.chmod(0o700)
        handle = os.open(arriving, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        arriving.replace(path)
    except OSError as error:
        raise StoreError(
            f"cannot be written ({error.strerror or error})",
            where=str(path),
            todo="check that the folder may be written and has room",
        ) from error
    finally:
        with contextlib.suppress(OSError):
            arriving.unlink()
