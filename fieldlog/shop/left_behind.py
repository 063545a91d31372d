"""What a live session leaves behind that was cut off: its sound is on disk, and is heard at the next start.

While a session runs, a small file beside the record says which inspection its sound belongs to. It is gone
when the session ended and everything is in the record; where it is found, the power went out, or the program
was killed, and what was said behind the last utterance of the record is still to be taken.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import BinaryIO, Self

from fieldlog.audio.clip import FRAME_S, RATE, Clip, SoundFlag
from fieldlog.audio.echo import EchoCanceller
from fieldlog.audio.endpointer import utterances
from fieldlog.audio.files import Samples, open_audio
from fieldlog.audio.recorder import RUNNING, locked, marks_of, recover
from fieldlog.audio.voice import bundled_voice
from fieldlog.errors import AudioError, StoreError, UsageError
from fieldlog.hearing import Heard
from fieldlog.shop.conversation import utterances_of
from fieldlog.shop.events import Event
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.played import Played
from fieldlog.store.records import InspectionRecord, Utterance
from fieldlog.store.rescue import began_at
from fieldlog.whole import refused

ENDING = ".session"
FOLDER = "streams"
"""Folder of the record with the sound of live sessions, and with what says whose it is."""
LEAST_SILENCE_S = 0.4
"""Speech so near to the end of the sound was cut off: no live session ends an utterance sooner."""


class Listening:
    """Says, until it ends well, that the sound in ``stream`` belongs to one inspection."""

    def __init__(
        self,
        folder: Path,
        stream: Path,
        inspection: str,
        source: str,
        before: Iterable[str] | None = None,
    ) -> None:
        """``folder``: of the record; ``stream``: the file that is being recorded.

        ``before``: ids of the utterances that the inspection has already, which are of no sound of this
        session; None: only the clock tells.

        Raises ``UsageError`` where another session listens for the same inspection, ``StoreError``
        where it cannot be written.
        """
        self._path = folder / FOLDER / f"{stream.name.removesuffix(RUNNING)}{ENDING}"
        self._told = {"stream": str(stream.resolve()), "inspection": inspection, "sources": source}
        if before is not None:
            self._told["before"] = "\n".join(before)
        with refused("cannot note whose sound it is", self._path):
            self._path.parent.mkdir(parents=True, exist_ok=True)
            for other in self._path.parent.glob(f"*{ENDING}"):
                if _says(other).get("inspection") == inspection and _in_use(other):
                    raise UsageError(
                        "another `fieldlog listen` hears for this inspection already",
                        where=str(other),
                        todo="end that one (Ctrl-C) first, or start an inspection of its own",
                    )
            self._file: BinaryIO = self._path.open("w+b")
            locked(self._file)
            self._write()

    def __enter__(self) -> Self:
        """The session itself."""
        return self

    def __exit__(self, kind: type[BaseException] | None, *failed: object) -> None:
        """Where it ended well nothing is left to take."""
        self._file.close()
        if kind is None:
            self._path.unlink(missing_ok=True)

    def heard_from(self, source: str) -> None:
        """The sound comes from ``source`` from now on."""
        known = self._told["sources"].split("\n")
        if source not in known:
            self._told["sources"] = "\n".join((*known, source))
            self._write()

    def _write(self) -> None:
        self._file.seek(0)
        self._file.write(json.dumps(self._told).encode())
        self._file.truncate()
        self._file.flush()


@dataclass(frozen=True, slots=True)
class CutOff:
    """A session that was cut off."""

    note: Path
    stream: Path
    """Its sound, repaired."""
    inspection: str
    sources: tuple[str, ...]
    before: frozenset[str] | None = None
    """Utterances that the record had when it began; None: nobody noted them."""

    @property
    def began(self) -> datetime:
        """UTC instant of its first sample."""
        instant = began_at(self.stream.name)
        assert instant is not None  # ``cut_off`` leaves other names alone
        return instant

    def settle(self) -> None:
        """Everything of it is in the record."""
        self.note.unlink(missing_ok=True)


def cut_off(folder: Path) -> list[CutOff]:
    """Sessions of the record in ``folder`` that were cut off, oldest first; their sound is repaired.

    The sound is looked for beside its note first: the record may have been moved, or be a copy. Where it is
    nowhere (a stick that is not plugged in), the session is still told of: ``taken_again`` refuses it. One that
    recorded nothing, or that nobody can read, is no more. Raises ``StoreError`` where the sound cannot be
    repaired.
    """
    found = []
    for note in sorted((folder / FOLDER).glob(f"*{ENDING}")):
        if _in_use(note):
            continue
        told = _says(note)
        if not told:
            note.unlink(missing_ok=True)
            continue
        running = Path(told["stream"])
        name = running.name.removesuffix(RUNNING) + ".wav"
        places = (note.parent, running.parent)
        there = [p for p in places if any((p / each).is_file() for each in (running.name, name))]
        if there:
            recover(there[0])
        stream = (there or places[1:])[0] / name
        if began_at(name) is not None and (stream.is_file() or not there):
            sources = tuple(told["sources"].split("\n"))
            known = frozenset(told["before"].split("\n")) if "before" in told else None
            found.append(CutOff(note, stream, told["inspection"], sources, known))
        else:
            note.unlink(missing_ok=True)
    return found


def taken_again(cut: CutOff, inspecting: Inspecting) -> Iterator[tuple[Heard, tuple[Event, ...]]]:
    """Hear what of the session is not in the record, and take it: each utterance with what followed.

    Repeated after another interruption it goes on where it was. Raises ``StoreError`` where the
    record takes nothing, or the sound is not there; then it is tried again at the next start.
    """
    if not cut.stream.is_file():
        raise StoreError(
            "the sound of a session that was cut off is not there",
            where=str(cut.stream),
            todo=f"connect what it lies on and start again, or give it up: delete {cut.note}",
        )
    record = inspecting.record
    earlier = cut.before or frozenset()
    since = [each for each in record.utterances if each.id not in earlier]
    done_s, begins_s = where_it_was(cut, record)
    source = cut.sources[-1]
    played = _played(cut.stream)
    if played is not None:
        told = [each.finding for each in record.findings]
        inspecting.conversation.overheard = lambda heard: played.overheard(heard, told)
    for heard in utterances_of(_clips(cut.stream, done_s, played), inspecting.conversation):
        at = record.inspection.started_at + timedelta(seconds=begins_s + heard.clip.start_s)
        if not held_already(at, heard.clip, since):
            yield heard, inspecting.say(heard, source, begins_s)
    cut.settle()
    inspecting.conversation.afresh()
    inspecting.conversation.ready()


def where_it_was(cut: CutOff, record: InspectionRecord) -> tuple[float, float]:
    """Seconds of the stream up to which the record has it, and where the stream begins on the session clock.

    The latter counts the times without a microphone, of which the stream has nothing.
    """
    start = record.inspection.started_at
    earliest = cut.began - timedelta(seconds=1)
    ours = [
        each
        for each in record.utterances
        if each.clip
        and each.source in cut.sources
        # a clock may have been set since, or within it: what was there before tells without one
        and (each.said_at >= earliest if cut.before is None else each.id not in cut.before)
    ]
    if not ours:
        return 0.0, (cut.began - start).total_seconds()
    last = max(ours, key=lambda each: each.end_s)
    return last.end_s, (last.said_at - start).total_seconds() - last.start_s


def held_already(at: datetime, clip: Clip, utterances: Iterable[Utterance]) -> bool:
    """Whether ``utterances`` hold most of this time already, from whatever file they were taken."""
    end = at + timedelta(seconds=clip.duration_s)
    return any(
        (
            min(end, each.said_at + timedelta(seconds=each.end_s - each.start_s))
            - max(at, each.said_at)
        ).total_seconds()
        > clip.duration_s / 2
        for each in utterances
    )


def _played(stream: Path) -> Played | None:
    """What we said ourselves into it; None where nothing was, or the voice is gone."""
    try:
        return Played.read(stream, bundled_voice())
    except AudioError:
        return None


def _canceller(played: Played | None, from_s: float) -> EchoCanceller | None:
    """Takes out what was played behind ``from_s``; None where nothing was, or none is installed."""
    if played is None:
        return None
    try:
        return EchoCanceller(played.playback, from_s)
    except ImportError:
        return None


def _without(echo: EchoCanceller | None, blocks: Iterator[Samples]) -> Iterator[Samples]:
    """``blocks`` without what was played."""
    if echo is None:
        yield from blocks
        return
    for block in blocks:
        yield echo.clean(block)
    yield echo.flush()


def _clips(stream: Path, from_s: float, played: Played | None = None) -> Iterator[Clip]:
    """The utterances behind ``from_s``; one at the very end was cut off, and says so by its flag.

    Each is as the live session's ear would have got it.
    """
    echo, marks = _canceller(played, from_s), marks_of(stream)
    with open_audio(stream) as audio:
        whole = audio.duration_s
        behind = _behind(audio.blocks(1.0), round(from_s * RATE))
        for clip in utterances(_without(echo, behind)):
            moved = replace(clip, start_s=clip.start_s + from_s)
            if echo is not None:
                moved = echo.for_the_ear(moved)
            wrong = {flag for at_s, flag in marks if _holds(moved, at_s)}
            if moved.end_s > whole - LEAST_SILENCE_S:
                wrong.add(SoundFlag.OVERFLOW)
            yield replace(moved, flags=moved.flags | wrong) if wrong else moved


def _holds(clip: Clip, at_s: float) -> bool:
    """Whether a mark is within the clip, or so near to it that the live session gave it to that."""
    return clip.start_s - FRAME_S <= at_s <= clip.end_s + FRAME_S


def _behind(blocks: Iterator[Samples], left_out: int) -> Iterator[Samples]:
    for block in blocks:
        if left_out < len(block):
            yield block[left_out:]
        left_out = max(0, left_out - len(block))


def _says(note: Path) -> dict[str, str]:
    """What a note says; nothing where it was cut off itself or is of somebody else."""
    try:
        told = json.loads(note.read_bytes())
    except (OSError, ValueError):
        return {}
    keys = ("stream", "inspection", "sources")
    known = isinstance(told, dict) and all(isinstance(told.get(key), str) for key in keys)
    return told if known else {}


def _in_use(note: Path) -> bool:
    """Whether the session runs: another program holds its note."""
    try:
        if (
            os.name == "nt"
        ):  # there it is told by a file that another program has open: it keeps its name
            note.rename(note)
            return False
        with note.open("r+b") as file:
            return not locked(file)
    except OSError:
        return os.name == "nt" and note.exists()
