"""One bundle at a time through a process apart, which is started anew when it dies or hangs."""

from __future__ import annotations

import json
import shutil
import tempfile
import threading
from pathlib import Path
from types import TracebackType
from typing import Self

from fieldlog.apart.process import Lost, Process
from fieldlog.archive.job import ArchiveJob, Ended
from fieldlog.errors import UsageError

TARGET = "fieldlog.archive.apart:ready"
_READY_S = 120.0
TRIES = 3
"""Of a bundle whose process died, or where this machine was in trouble."""


class Bench:
    """Works through bundles for one job; a context manager."""

    def __init__(self, job: ArchiveJob, out: Path, longest_s: float, target: str = TARGET) -> None:
        """``out``: folder of the results; ``longest_s``: what one bundle may take; ``target``: who works."""
        self.job, self.out, self.longest_s, self.target = job, out, longest_s, target
        self._process: Process | None = None
        self._place = ""

    def __enter__(self) -> Self:
        """Nothing is started before the first bundle."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """End the process apart."""
        self.close()

    def close(self) -> None:
        """End the process apart; harmless when repeated."""
        if self._process is not None:
            self._process.end()
            self._process = None
        if self._place:
            shutil.rmtree(self._place, ignore_errors=True)
            self._place = ""

    def done(self, folder: Path, bundle: str) -> Ended:
        """What became of ``bundle`` (its path below ``folder``); tried again where that may help.

        Raises ``UsageError`` where the job itself cannot be begun.
        """
        for _ in range(TRIES):
            ended = self._once(folder, bundle)
            if not ended.again:
                break
        return ended

    def _once(self, folder: Path, bundle: str) -> Ended:
        process = self._process or self._started()
        asked = {
            "bundle": str(folder / bundle),
            "out": str(self.out),
            "longest_s": self.longest_s,
        }
        process.send([json.dumps(asked).encode()])
        answer = process.answer(self.longest_s)
        if isinstance(answer, Lost):
            self.close()
            if answer.hung:
                return Ended(bundle, fault=f"did not come to an end in {self.longest_s:g} s")
            return Ended(
                bundle, fault=f"the process that worked on it died ({answer.what})", again=True
            )
        return Ended(bundle, **json.loads(answer))

    def _started(self) -> Process:
        self.close()
        self._place = tempfile.mkdtemp(
            prefix="fieldlog-"
        )  # what a killed process leaves goes with it
        process = Process(self.target)
        answer = process.answer(_READY_S)
        if not isinstance(answer, Lost):
            place = json.dumps(self._place).encode()
            process.send([b'{"job": %s, "place": %s}' % (self.job.written(), place)])
            answer = process.answer(_READY_S)
        told = {"fault": answer.what} if isinstance(answer, Lost) else json.loads(answer)
        if "fault" in told:
            process.end()
            self.close()
            raise UsageError(f"the job cannot be begun: {told['fault']}")
        self._process = process
        return process


_here = threading.local()


def bench_of(job: ArchiveJob, out: Path, longest_s: float, target: str = TARGET) -> Bench:
    """This thread's bench for the job, made when it is first asked for and kept: a worker's."""
    bench: Bench | None = getattr(_here, "bench", None)
    wanted = (job, out, longest_s, target)
    if bench is None or (bench.job, bench.out, bench.longest_s, bench.target) != wanted:
        if bench is not None:
            bench.close()
        bench = _here.bench = Bench(*wanted)
    return bench
