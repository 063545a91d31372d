"""The process that is killed: ``fieldlog listen`` as it ships, which tells on a pipe where it is.

Told are the instants around which a session could lose something: sound taken, an utterance being heard,
ended, written, written whole, told. The lines go out at once, so that a kill cuts none that was reached.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from typing import Any

from fieldlog.audio.capture import Draft, Spoken
from fieldlog.audio.recorder import Recorder
from fieldlog.cli import main
from fieldlog.shop.live import LiveInspection, Told
from fieldlog.store.repository import Repository

MARK = "@"
SOUND, HEARING, HEARD, ENDED, WRITING, WRITTEN, TOLD = (
    "sound", "hearing", "heard", "ended", "writing", "written", "told",
)  # fmt: skip


def told(stage: str, what: object = "") -> None:
    """One line, written at once."""
    os.write(1, f"{MARK}{stage} {what}\n".encode())


def watched() -> None:
    """Put the telling around what ships."""
    draft, spoken, save, write = (
        LiveInspection.draft, LiveInspection.spoken, Repository.save, Recorder.write,
    )  # fmt: skip

    def hears(self: LiveInspection, each: Draft) -> Any:
        told(HEARING, f"{each.clip.end_s:.2f}")
        found = draft(self, each)
        told(HEARD)
        return found

    def takes(self: LiveInspection, each: Spoken) -> tuple[Told, ...]:
        told(ENDED, f"{each.clip.end_s:.2f}")
        found = spoken(self, each)
        told(TOLD)
        return found

    def saves(self: Repository, inspection_id: str, entry: Any) -> Any:
        told(WRITING)
        saved = save(self, inspection_id, entry)
        if entry.utterance is not None:
            told(WRITTEN, entry.utterance.id)
        return saved

    def writes(self: Recorder, samples: Any) -> None:
        write(self, samples)
        told(SOUND, f"{self.seconds:.2f}")

    for owner, name, patched in (
        (LiveInspection, "draft", hears), (LiveInspection, "spoken", takes),
        (Repository, "save", saves), (Recorder, "write", writes),
    ):  # fmt: skip
        setattr(owner, name, patched)


def lines_of(stream: Iterator[bytes], tell: Callable[[str, str], None]) -> None:
    """Hand every line of a victim to ``tell`` as (stage, what)."""
    for line in stream:
        text = line.decode("utf-8", "replace").rstrip()
        if text.startswith(MARK):
            stage, _, what = text[len(MARK) :].partition(" ")
            tell(stage, what)


if __name__ == "__main__":
    watched()
    main(["listen", *sys.argv[1:]])
