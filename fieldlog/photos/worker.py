"""What runs in the processes that touch hostile files: one JSON message in, one out.

Each task is a function that ``fieldlog.apart`` calls once in the new process. The memory of a task is
limited to what it has after start-up plus 170 MB; the crew ends it when one file takes longer than
its time limit. Answers are JSON and never pickled: nothing that a hostile file makes of this process
is run by the one that asked. It imports as little as its task needs, so that starting it again
costs little.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable
from datetime import date
from typing import Any

from fieldlog.errors import PhotoError

MEMORY_BYTES = 170 << 20
"""What one file may cost beyond the worker's own 25 to 30 MB: together below 200 MB."""

Job = Callable[[Any], Any]
Handler = Callable[[bytes], bytes]


def facts() -> Handler:
    """Task ``facts``: [path, today] -> row of ``PhotoFacts``; its libraries are loaded first."""
    from fieldlog.photos.exif import read_photo
    from fieldlog.photos.facts import to_row

    def job(order: Any) -> Any:
        path, today = order
        return to_row(read_photo(path, date.fromisoformat(today)))

    return limited(job)


def thumbnail() -> Handler:
    """Task ``thumbnail``: [target, pixels, row of facts] -> [width, height]."""
    import pillow_heif  # noqa: F401 (loaded before the memory limit is set)

    from fieldlog.photos.thumbnail import worker_job

    return limited(worker_job)


def timecode() -> Handler:
    """Task ``timecode``: row of facts -> text of the time code found, or None."""
    import pillow_heif  # noqa: F401 (loaded before the memory limit is set)
    import zxingcpp  # noqa: F401

    from fieldlog.photos.timecode import worker_job

    return limited(worker_job)


def sleep() -> Handler:
    """Task ``sleep``: seconds -> nothing; exists so that the limits themselves can be tested."""

    def job(order: Any) -> Any:
        seconds, megabytes = order
        ballast = bytes(int(megabytes) << 20)
        time.sleep(seconds)
        return len(ballast)

    return limited(job)


def limited(job: Job) -> Handler:
    """What answers for ``job`` under the memory limit, which is set now: all is imported."""
    limit_memory(MEMORY_BYTES)

    def handle(message: bytes) -> bytes:
        try:
            answer: dict[str, Any] = {"ok": job(json.loads(message))}
        except MemoryError:
            answer = {"error": f"needs more than {MEMORY_BYTES >> 20} MB"}
        except RecursionError:
            answer = {"error": "nested too deeply"}
        except Exception as error:  # a reader's own failure must not stop the batch
            answer = {"error": in_words(error)}
        return json.dumps(answer).encode("ascii")

    return handle


def in_words(error: Exception) -> str:
    """Why a photo could not be read, as a sentence; what a library calls its failure tells nobody."""
    match error:
        case PhotoError():
            return error.what
        case FileNotFoundError():
            return "the file is not there any more"
        case PermissionError():
            return "the file may not be read"
        case _ if type(error).__name__ == "DecompressionBombError":  # Pillow's; not imported for it
            return "the picture claims to be larger than any camera records"
        case _ if type(error).__name__ == "UnidentifiedImageError":
            return "there is no picture in it that can be read"
        case _:
            return "the picture is damaged or cut short: it cannot be read to its end"


def limit_memory(extra: int) -> bool:
    """Limit this process to its present size plus ``extra`` bytes; False where that is unknown.

    macOS has no working limit on address space and Windows none at all: there only the time limit
    holds.
    """
    try:
        import resource

        with open("/proc/self/statm", encoding="ascii") as statm:  # noqa: PTH123 (no pathlib here)
            pages = int(statm.read().split()[0])
        most = pages * os.sysconf("SC_PAGE_SIZE") + extra
        resource.setrlimit(resource.RLIMIT_AS, (most, most))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    except (ImportError, OSError, ValueError):
        return False
    return True
