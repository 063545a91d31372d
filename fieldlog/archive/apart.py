"""The process apart that works on bundles: one dies or hangs with its bundle, and nothing else does.

Run by ``bench.Bench``. Its first message is the job, each further one a bundle; a result is written here,
whole or not at all, and the answer says its name or in words why there is none.
"""

from __future__ import annotations

import json
import os
import secrets
import shutil
import signal
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

from fieldlog.archive.job import ArchiveJob, Json
from fieldlog.archive.work import AtWork, hash_of, program
from fieldlog.config import trace_wanted
from fieldlog.errors import FieldlogError, OwnTroubleError
from fieldlog.store.trouble import is_own

_GRACE_S = 20
"""Longer than it may take, a process ends itself: whoever asked may be gone."""


def ready() -> Callable[[bytes], bytes]:
    """What answers the messages."""
    _end_with(os.getppid())
    held: list[AtWork] = []

    def handle(message: bytes) -> bytes:
        told = json.loads(message)
        if "job" in told:
            tempfile.tempdir = told["place"]
            answer = _opened(told["job"], held)
        else:
            answer = _done(held[0], Path(told["bundle"]), Path(told["out"]), told["longest_s"])
        return json.dumps(answer).encode()

    return handle


def _end_with(parent: int) -> None:
    """A worker that was killed leaves nothing behind that goes on."""

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(1)
        if tempfile.tempdir is not None:
            shutil.rmtree(tempfile.tempdir, ignore_errors=True)
        os._exit(1)

    if hasattr(signal, "SIGALRM"):  # where there are no signals a process has no such parent either
        threading.Thread(target=watch, daemon=True).start()


def _opened(told: Json, held: list[AtWork]) -> Json:
    job = ArchiveJob.read(told)
    if job.program != program():
        return {
            "fault": "its files of fieldlog, or its libraries, are others than those that sent the job"
        }
    try:
        held[:] = [AtWork(job)]
    except FieldlogError as error:
        return {"fault": str(error)}
    return {}


def _done(work: AtWork, bundle: Path, out: Path, longest_s: float) -> Json:
    sha = ""
    if hasattr(signal, "alarm"):
        signal.alarm(
            int(longest_s) + _GRACE_S
        )  # its default ends us, even out of a library that hangs
    try:
        sha = hash_of(bundle)
        name = work.job.result(sha)
        if (out / name).is_file():
            return {"sha256": sha, "result": name, "kept": True}
        _write(out / name, work.result(bundle, sha))
        return {"sha256": sha, "result": name}
    except OwnTroubleError as error:
        return {"sha256": sha, "fault": str(error), "again": True}
    except FieldlogError as error:
        return {"sha256": sha, "fault": str(error), "again": is_own(error)}
    except OSError as error:
        told = f"cannot be read, or its result not written: {error.strerror or error}"
        return {"sha256": sha, "fault": told, "again": True}
    except Exception as error:
        if trace_wanted():
            raise
        told = f"a fault of fieldlog itself: {type(error).__name__}: {error}"
        return {"sha256": sha, "fault": told}
    finally:
        if hasattr(signal, "alarm"):
            signal.alarm(0)


def _write(target: Path, content: bytes) -> None:
    """Under another name, onto the disk, then renamed."""
    partial = target.with_name(f".{target.name}.{secrets.token_hex(4)}")
    try:
        with partial.open("wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        partial.replace(target)
    finally:
        partial.unlink(missing_ok=True)
