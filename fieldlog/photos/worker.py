"""The process that touches hostile files: JSON lines in, one JSON line out for each.

Run as ``python -m fieldlog.photos.worker TASK``. Its memory is limited to what it has after
start-up plus 170 MB; the parent ends it when one file takes longer than its time limit. It imports
as little as its task needs, so that starting it again costs little.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Callable
from datetime import date
from typing import Any

MEMORY_BYTES = 170 << 20
"""What one file may cost beyond the worker's own 25 to 30 MB: together below 200 MB."""

READY = "ready"
"""The first line a worker writes: from then on the time limit counts."""

Job = Callable[[Any], Any]


def facts_job() -> Job:
    """Task ``facts``: [path, today] -> row of ``PhotoFacts``."""
    from fieldlog.photos.exif import read_photo
    from fieldlog.photos.facts import to_row

    def job(order: Any) -> Any:
        path, today = order
        return to_row(read_photo(path, date.fromisoformat(today)))

    return job


def thumbnail_job() -> Job:
    """Task ``thumbnail``: [target, pixels, row of facts] -> [width, height]."""
    import pillow_heif  # noqa: F401 (loaded before the memory limit is set)

    from fieldlog.photos.thumbnail import worker_job

    return worker_job


def timecode_job() -> Job:
    """Task ``timecode``: row of facts -> text of the time code found, or None."""
    import pillow_heif  # noqa: F401 (loaded before the memory limit is set)
    import zxingcpp  # noqa: F401

    from fieldlog.photos.timecode import worker_job

    return worker_job


def sleep_job() -> Job:
    """Task ``sleep``: seconds -> nothing; exists so that the limits themselves can be tested."""

    def job(order: Any) -> Any:
        seconds, megabytes = order
        ballast = bytes(int(megabytes) << 20)
        time.sleep(seconds)
        return len(ballast)

    return job


TASKS: dict[str, Callable[[], Job]] = {
    "facts": facts_job,
    "thumbnail": thumbnail_job,
    "timecode": timecode_job,
    "sleep": sleep_job,
}


def limit_memory(extra: int) -> bool:
    """Limit this process to its present size plus ``extra`` bytes; False where that is unknown.

    macOS has no working limit on address space: there only the time limit holds.
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


def serve(task: str) -> None:
    """Answer orders from standard input until it closes."""
    job = TASKS[task]()
    limit_memory(MEMORY_BYTES)
    answers = sys.stdout
    answers.write(READY + "\n")
    answers.flush()
    for line in sys.stdin:
        try:
            answer: dict[str, Any] = {"ok": job(json.loads(line))}
        except MemoryError:
            answer = {"error": f"needs more than {MEMORY_BYTES >> 20} MB"}
        except RecursionError:
            answer = {"error": "nested too deeply"}
        except Exception as error:  # a reader's own failure must not stop the batch
            answer = {"error": f"unreadable ({type(error).__name__}: {error})"[:200]}
        answers.write(json.dumps(answer) + "\n")
        answers.flush()


if __name__ == "__main__":
    serve(sys.argv[1])
