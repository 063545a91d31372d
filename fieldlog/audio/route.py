"""Which microphone a sound server really gives us: PortAudio knows only that it opened ``default``.

A server moves a stream to another microphone when the first is gone, and tells nobody
(bastibe/SoundCard#123). PulseAudio, and PipeWire in its place, say where a stream of ours comes from
through ``pactl``; where that is missing, nothing is known and nothing is told.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from collections.abc import Callable
from typing import Any

from fieldlog.config import for_a_child

_LONGEST_S = 2.0

Asked = Callable[[str], list[dict[str, Any]]]
"""What the server lists under a name ("sources"); raises ``OSError`` or ``ValueError``."""


def microphone_behind(pid: int | None = None, ask: Asked | None = None) -> str | None:
    """What the server calls the microphone that this process records from; None: not known.

    ``pid``: another process; ``ask``: another way to ask, for tests.
    """
    ask = ask or _pactl
    wanted = str(pid or os.getpid())
    try:
        ours = [
            each
            for each in ask("source-outputs")
            if each.get("properties", {}).get("application.process.id") == wanted
        ]
        if not ours:
            return None
        source = ours[-1].get("source")
        described = (each for each in ask("sources") if each.get("index") == source)
        return next((str(each.get("description")) for each in described), None)
    except (OSError, ValueError, subprocess.SubprocessError):
        return None


def _pactl(what: str) -> list[dict[str, Any]]:
    program = shutil.which("pactl")
    if program is None:
        return []
    done = subprocess.run(
        [program, "--format=json", "list", what],
        capture_output=True,
        timeout=_LONGEST_S,
        check=True,
        env=for_a_child(LC_ALL="C.UTF-8"),  # some versions write numbers as the locale does
    )
    told = json.loads(done.stdout or b"[]")
    return told if isinstance(told, list) else []
