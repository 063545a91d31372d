"""The other side of ``Process``: ``python -P -m fieldlog.apart MODULE:FUNCTION``.

The function is called once, makes ready, and returns what answers each message. As little as
possible is imported here: it counts in every start.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable
from importlib import import_module

from fieldlog.apart.frames import READY, read_frame, write_frame

Handler = Callable[[bytes], bytes]


def serve(target: str) -> None:
    """Answer messages from standard input, one each and in order, until it closes."""
    # Ctrl-C reaches every process of the terminal; the session still needs the last answer, and
    # closes our input, or is gone with it, when it needs none.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    messages = sys.stdin.buffer
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what native libraries print must not come between the answers
    module, name = target.split(":")
    handle: Handler = getattr(import_module(module), name)()
    write_frame(answers, READY)
    while (message := read_frame(messages)) is not None:
        write_frame(answers, handle(message))


if __name__ == "__main__":
    serve(sys.argv[1])
