"""Files that only this user may read: written whole or not at all."""

from __future__ import annotations

from pathlib import Path

from fieldlog.whole import refused, write_whole


def write_private(path: Path, data: bytes) -> None:
    """Write ``data`` with mode 0600 in a folder of mode 0700; raises ``StoreError``."""
    with refused("cannot be written", path, "check that the folder may be written and has room"):
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        path.parent.chmod(0o700)
        write_whole(path, data, 0o600)
