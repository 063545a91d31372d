"""A process apart that some bundles are poison for, by their name: started by ``test_archive``."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable
from pathlib import Path

from fieldlog.archive import apart
from fieldlog.archive.work import AtWork

TARGET = "tests.archive_poison:ready"


def ready() -> Callable[[bytes], bytes]:
    """As the product's, but for poison."""
    real = AtWork.result

    def result(work: AtWork, bundle: Path, sha: str) -> bytes:
        if "raises" in bundle.name:
            raise RuntimeError("boom")
        if "dies" in bundle.name:
            os.kill(os.getpid(), signal.SIGKILL)
        while "hangs" in bundle.name:
            time.sleep(1)
        if "slow" in bundle.name:
            time.sleep(0.4)
        return real(work, bundle, sha)

    setattr(AtWork, "result", result)  # noqa: B010 (a method of a class of the product)
    return apart.ready()
