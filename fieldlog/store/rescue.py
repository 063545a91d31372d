"""Where sound goes that the record could not take: beside it, or on another disk, never nowhere."""

from __future__ import annotations

import contextlib
import re
import shlex
import tempfile
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fieldlog.audio.clip import Clip

_STAMP = re.compile(r"(?:stream|utterance)-(\d{8}T\d{6}\.\d{3})Z")


def began_at(name: str) -> datetime | None:
    """The instant in the name of a recording that fieldlog made; None for any other name (pure)."""
    match = _STAMP.match(name)
    if match is None:
        return None
    try:
        return datetime.strptime(match[1], "%Y%m%dT%H%M%S.%f").replace(tzinfo=UTC)
    except ValueError:
        return None


def hear_command(files: Sequence[Path], number: int, store: Path) -> str:
    """The whole command that brings ``files`` into inspection ``number`` of a store (pure).

    Each file is named: what another session left in the same folder is of another inspection.
    """
    where = ["--inspection", str(number), "--store", str(store)]
    return shlex.join(["fieldlog", "inspection", "hear", *map(str, files), *where])


def rescue(clips: Sequence[tuple[datetime, Clip]], folder: Path) -> tuple[Path, ...]:
    """Write every clip with its instant in its name into ``folder``, or where that is impossible
    into a new folder among the system's temporary files. Returns the files (none: nothing worked).
    """
    with contextlib.suppress(OSError):
        return _written(clips, folder)
    with contextlib.suppress(OSError):
        return _written(clips, Path(tempfile.mkdtemp(prefix="fieldlog-unsaved-")))
    return ()


def _written(clips: Sequence[tuple[datetime, Clip]], folder: Path) -> tuple[Path, ...]:
    from fieldlog.audio.recorder import stream_name
    from fieldlog.store.media import clip_flac

    folder.mkdir(parents=True, exist_ok=True)
    made = []
    try:
        for instant, clip in clips:
            path = folder / f"{stream_name(instant).replace('stream', 'utterance')}.flac"
            made.append(path)
            path.write_bytes(clip_flac(clip))
    except OSError:
        for path in made:
            path.unlink(missing_ok=True)
        raise
    return tuple(made)
