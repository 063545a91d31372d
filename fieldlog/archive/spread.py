"""The same over many processes, of this machine or of a cluster, through Dask distributed.

A worker does what one machine alone does (``bench.Bench``), so results are the same bytes. One that is
killed costs the bundle at hand another try elsewhere; one bundle that killed several workers is told by
name. Folder and results lie where every worker sees them under the same path.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from functools import partial
from itertools import count
from pathlib import Path
from typing import Any

from fieldlog.archive.bench import TARGET, bench_of
from fieldlog.archive.job import ArchiveJob, Ended
from fieldlog.archive.run import Spread
from fieldlog.errors import FieldlogError, ModelError, UsageError

_LOOKS = 50
"""Bundles after which the workers are counted again."""
_AHEAD = 4
"""Bundles for each worker that the scheduler holds: enough that none waits, few enough for millions."""


def over_processes(workers: int, target: str = TARGET) -> Spread:
    """Over so many processes of this machine."""
    return partial(_spread, workers, "", target)


def over_cluster(address: str, target: str = TARGET) -> Spread:
    """Over the workers of the scheduler at ``address``."""
    return partial(_spread, 0, address, target)


def one_bundle(
    job: bytes, folder: str, bundle: str, out: str, longest_s: float, target: str
) -> Ended:
    """What a worker does."""
    import json

    try:
        bench = bench_of(ArchiveJob.read(json.loads(job)), Path(out), longest_s, target)
        return bench.done(Path(folder), bundle)
    except FieldlogError as error:  # this worker cannot: told with the bundle
        return Ended(bundle, fault=str(error))


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
        waiting = iter(bundles)
        names: dict[str, str] = {}
        numbers = count()  # a key that is used twice would be the other bundle's
        going: Any = distributed.as_completed([], loop=client.loop, raise_errors=False)

        def send() -> bool:
            bundle = next(waiting, None)
            if bundle is None:
                return False
            future = client.submit(
                one_bundle,
                job.written(),
                str(folder),
                bundle,
                str(out),
                longest_s,
                target,
                key=f"{job.kind}-{next(numbers)}-{job.key[:8]}-{client.id}",
                pure=False,
            )
            names[future.key] = bundle
            going.add(future)
            return True

        def fill() -> None:
            """Workers come and go: how much is held ahead goes with them."""
            most = _AHEAD * max(1, sum(client.nthreads().values()))
            while len(names) < most and send():
                pass

        fill()
        for done, future in enumerate(going, 1):
            bundle = names.pop(future.key)
            yield _ended(bundle, future)
            future.release()
            send()
            if done % _LOOKS == 0:
                fill()


def _ended(bundle: str, future: Any) -> Ended:
    if future.status == "finished":
        found = future.result()
        return (
            found
            if isinstance(found, Ended)
            else Ended(bundle, fault="a worker told nothing of it")
        )
    error = future.exception() if future.status == "error" else None
    if type(error).__name__ == "KilledWorker":
        return Ended(bundle, fault="the workers that had it were killed, one after the other")
    told = f"{type(error).__name__}: {error}" if error is not None else "it was taken back"
    return Ended(bundle, fault=f"no worker did it: {told}")


def _client(distributed: Any, workers: int, address: str, stack: ExitStack) -> Any:
    """A client of the cluster; one of our own, on this machine alone, where no address is named."""
    if not address:
        cluster = distributed.LocalCluster(
            n_workers=workers,
            threads_per_worker=1,
            processes=True,
            dashboard_address="127.0.0.1:0",
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
