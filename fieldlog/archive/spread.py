"""The same over many processes, of this machine or of a cluster, through Dask distributed.

A worker does what one machine alone does (``bench.Bench``), so results are the same bytes. One that is
killed costs the bundle at hand another try elsewhere; one bundle that killed several workers is told by
name. Folder and results lie where every worker sees them under the same path.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field
from functools import partial
from itertools import count
from pathlib import Path
from typing import Any

from fieldlog.archive.bench import TARGET, bench_of
from fieldlog.archive.job import ArchiveJob, Ended
from fieldlog.archive.run import Spread
from fieldlog.errors import FieldlogError, ModelError, UsageError

_LOOKS = 50
"""Tasks after which the workers are counted again."""
_AHEAD = 3
"""Tasks for each worker that the scheduler holds: enough that none waits, few enough for millions."""
_TASK_S = 1.0
"""Bundles of one task take about so long together: a task costs scheduler and worker some 10 ms."""
_MOST = 16
"""Bundles of one task."""
_QUIET = {
    "distributed.worker.profile.enabled": False,  # a look at every thread each 10 ms
    "distributed.admin.tick.interval": "2s",  # of 20 ms
    "distributed.admin.tick.cycle": "10s",
    "distributed.admin.system-monitor.interval": "10s",  # of 0.5 s
}
"""What Dask watches of itself cost as much as the tasks: 7 and 8 % of a bundle of 0.12 s."""


def over_processes(workers: int, target: str = TARGET) -> Spread:
    """Over so many processes of this machine."""
    return partial(_spread, workers, "", target)


def over_cluster(address: str, target: str = TARGET) -> Spread:
    """Over the workers of the scheduler at ``address``."""
    return partial(_spread, 0, address, target)


def several_bundles(
    job: bytes, folder: str, bundles: tuple[str, ...], out: str, longest_s: float, target: str
) -> tuple[list[Ended], float]:
    """What a worker does: what became of each of ``bundles``, and the seconds it took."""
    import json

    started = time.monotonic()
    try:
        bench = bench_of(ArchiveJob.read(json.loads(job)), Path(out), longest_s, target)
        ended = [bench.done(Path(folder), each) for each in bundles]
    except FieldlogError as error:  # this worker cannot: told with the bundles
        ended = [Ended(each, fault=str(error)) for each in bundles]
    return ended, time.monotonic() - started


@dataclass
class _Unsent:
    """Bundles that are not sent yet, the largest first, so that none of them begins last."""

    bundles: deque[str]
    alone: deque[str] = field(default_factory=deque)
    """Bundles to be sent by themselves: workers were killed that had them with others."""
    each_s: float = _TASK_S
    """What one took."""

    @classmethod
    def of(cls, folder: Path, bundles: tuple[str, ...]) -> _Unsent:
        return cls(deque(sorted(bundles, key=lambda each: -_size(folder / each))))

    def next(self, threads: int) -> tuple[str, ...]:
        """The bundles of the next task, fewer towards the end so that the workers end together."""
        if self.alone:
            return (self.alone.popleft(),)
        share = len(self.bundles) // (2 * threads)
        size = max(1, min(_MOST, round(_TASK_S / self.each_s), share))
        return tuple(self.bundles.popleft() for _ in range(min(size, len(self.bundles))))

    def took(self, bundles: int, seconds: float) -> None:
        """Newer tasks count as much as all before."""
        self.each_s = max(0.001, (self.each_s + seconds / bundles) / 2)


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _spread(
    workers: int,
    address: str,
    target: str,
    job: ArchiveJob,
    folder: Path,
    bundles: tuple[str, ...],
    out: Path,
    longest_s: float,
) -> Iterator[Ended]:
    try:
        import distributed as library
    except ImportError as error:
        raise ModelError(
            f"several processes need Dask ({error})",
            todo="pip install 'fieldlog[archive]', or --workers 1, which does without",
        ) from error
    distributed: Any = library
    with ExitStack() as stack:
        client = stack.enter_context(_client(distributed, workers, address, stack))
        waiting = _Unsent.of(folder, bundles)
        sent: dict[str, tuple[str, ...]] = {}
        numbers = count()  # a key that is used twice would be the other task's
        going: Any = distributed.as_completed([], loop=client.loop, raise_errors=False)
        threads = 1

        def send() -> bool:
            task = waiting.next(threads)
            if not task:
                return False
            future = client.submit(
                several_bundles,
                job.written(),
                str(folder),
                task,
                str(out),
                longest_s,
                target,
                key=f"{job.kind}-{next(numbers)}-{job.key[:8]}-{client.id}",
                pure=False,
            )
            sent[future.key] = task
            going.add(future)
            return True

        def fill() -> int:
            """Workers come and go: how much is held ahead goes with them."""
            workers = max(1, sum(client.nthreads().values()))
            while len(sent) < _AHEAD * workers and send():
                pass
            return int(workers)

        threads = fill()
        for done, future in enumerate(going, 1):
            task = sent.pop(future.key)
            if len(task) > 1 and future.status != "finished":
                waiting.alone += task  # which of them it was shows when each is by itself
            else:
                yield from _ended(task, future, waiting)
            future.release()
            send()
            if done % _LOOKS == 0 or not sent:
                threads = fill()


def _ended(task: tuple[str, ...], future: Any, waiting: _Unsent) -> list[Ended]:
    """What became of each bundle of a task."""
    if future.status == "finished":
        ended, seconds = future.result()
        waiting.took(len(task), seconds)
        told = {one.bundle: one for one in ended}
        return [told.get(each, Ended(each, fault="a worker told nothing of it")) for each in task]
    error = future.exception() if future.status == "error" else None
    if type(error).__name__ == "KilledWorker":
        fault = "the workers that had it were killed, one after the other"
    else:
        why = f"{type(error).__name__}: {error}" if error is not None else "it was taken back"
        fault = f"no worker did it: {why}"
    return [Ended(each, fault=fault) for each in task]


def _client(distributed: Any, workers: int, address: str, stack: ExitStack) -> Any:
    """A client of the cluster; one of our own, on this machine alone, where no address is named."""
    if not address:
        import dask

        stack.enter_context(dask.config.set(_QUIET))
        cluster = distributed.LocalCluster(
            n_workers=workers,
            threads_per_worker=1,
            processes=True,
            dashboard_address=None,
            security=True,  # whoever may speak to a scheduler may run what they want: nobody else may
            silence_logs=50,
            memory_limit=None,
        )
        stack.enter_context(cluster)
        return distributed.Client(cluster)
    try:
        client = distributed.Client(address, timeout=20)
    except (OSError, ValueError, TypeError) as error:
        raise UsageError(
            f"no scheduler answers ({error})",
            where=address,
            todo="start one with `dask scheduler`, and workers with `dask worker ADDRESS`",
        ) from error
    if not client.scheduler_info()["workers"]:
        client.close()
        raise UsageError(
            "the scheduler has no workers", where=address, todo="start some: dask worker ADDRESS"
        )
    return client
