"""Memory that nobody uses any more, given back to the system where the C library keeps it for later."""

from __future__ import annotations

import ctypes
import sys
from functools import lru_cache
from typing import Any


def give_back() -> bool:
    """Give back what is free; whether the C library of this system can (glibc: some milliseconds).

    Hearing an utterance takes and frees tens of megabytes in pieces of every size; without this the process
    keeps them, in every thread's arena, for good.
    """
    trim = _trim()
    return trim is not None and bool(trim(0) >= 0)


@lru_cache(maxsize=1)
def _trim() -> Any:
    """``malloc_trim``, where there is one."""
    if not sys.platform.startswith("linux"):
        return None
    try:
        return getattr(ctypes.CDLL(None), "malloc_trim", None)
    except OSError:
        return None
