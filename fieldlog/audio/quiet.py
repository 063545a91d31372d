"""Silence for native libraries that print to standard error by themselves."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def quiet_stderr() -> Iterator[None]:
    """What native code prints to standard error meanwhile is dropped.

    libmpg123 comments on every damaged frame of an MP3, past Python and past libsndfile; our own
    note says once that the file is cut short. Only for short calls: it concerns the whole process.
    """
    try:
        sys.stderr.flush()
        saved = os.dup(2)
    except (OSError, ValueError, AttributeError):
        yield  # no standard error to protect
        return
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 2)
        os.close(nowhere)
        yield
    finally:
        os.dup2(saved, 2)
        os.close(saved)
