"""Run by itself with the code of one checkout: hears files with a grammar, an object a line on standard output.

    python -P speed_heard.py GRAMMAR FILE ...

It uses what every version of the listener has, so that an earlier one can be timed with it.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

from fieldlog.audio.files import read_clip
from fieldlog.grammar.tagged import TaggedLanguage
from fieldlog.listeners.whisper.listener import WhisperListener


def main() -> None:
    """Hear each file; its processor time and time to the answer (ms) and what was heard, best first."""
    grammar, *files = sys.argv[1:]
    listener = WhisperListener()
    listener.load(TaggedLanguage.from_file(Path(grammar)))
    listener.hear(read_clip(Path(files[0])))  # what is made on first use is made
    for file in files:
        clip = read_clip(Path(file))
        began, asked = time.process_time(), time.perf_counter()
        heard = listener.hear(clip)
        took = (time.process_time() - began) * 1000.0
        answered = (time.perf_counter() - asked) * 1000.0
        texts = [each.text for each in heard.hypotheses]
        told = {"file": file, "ms": took, "answered_ms": answered, "texts": texts}
        print(json.dumps(told), flush=True)


if __name__ == "__main__":
    main()
