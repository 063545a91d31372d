"""Keep numpy's matrix products on one thread: two spin against each other and lose.

Measured for this decoder (docs/recogniser.md): one thread 3.4 ms a step of four rows, two threads
2.6 ms on an idle machine but 14 to 300 ms when anything else runs.
"""

from __future__ import annotations


def one_blas_thread() -> None:
    """Limit the BLAS behind numpy to one thread, for the whole process."""
    from threadpoolctl import threadpool_limits

    threadpool_limits(limits=1, user_api="blas")
