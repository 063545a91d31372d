"""What a listener heard of a speech set, written down once: one JSON line per utterance and cell.

Hearing is what costs time; fitting and evaluating read these lines again and again. A line holds
the hearing as it was (hypotheses with their evidence) and what the second listener said, nothing
that the decision rules would compute from them.
"""

from __future__ import annotations

import hashlib
import json
import multiprocessing
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.behind import behind_s, left_over
from fieldlog.audio.clip import Clip
from fieldlog.audio.vad import voice_activity, voice_of
from fieldlog.errors import UsageError
from fieldlog.grammar.language import Language
from fieldlog.listeners.base import Listener
from fieldlog.listeners.whisper.listener import WhisperListener
from fieldlog.model.hearing import Hearing, Hypothesis

TUNE, TEST = "tune", "test"
Second = Callable[[Clip, Hearing], dict[str, float]]
"""Scores of a second listener for texts of the first."""


@dataclass(frozen=True, slots=True)
class Case:
    """One utterance in one cell, before it is heard. ``sound`` makes its samples when wanted."""

    id: str
    part: str
    kind: str
    """``order``, or the kind of the speech set: phrase, incomplete, half, chatter, near ..."""
    cell: str
    """``clean``, ``15 dB``, ..."""
    words: str
    """What was said; for orders the expected slots as JSON."""
    sound: Callable[[], NDArray[np.float32]]


@dataclass(frozen=True, slots=True)
class Line:
    """One case as it was heard."""

    id: str
    part: str
    kind: str
    cell: str
    words: str
    flags: tuple[str, ...]
    seconds: float
    hearing: Hearing
    second: dict[str, float]
    """Text -> score of the second listener; empty where it was not asked."""


def hear_cases(
    cases: Iterable[Case], listener: Listener, second: Second | None = None
) -> Iterator[Line]:
    """Hear each case as one clip, as it stands; speech that no word covers is noted."""
    activity = voice_activity().activity
    for case in cases:
        sound = case.sound()
        clip = Clip(sound, voice=voice_of(sound, activity))
        hearing = listener.hear(clip)
        left, behind = left_over(clip, hearing.times), behind_s(clip, hearing.times)
        hearing = replace(hearing, left_over=left, behind_s=behind)
        scores = second(clip, hearing) if second is not None else {}
        yield Line(
            case.id,
            case.part,
            case.kind,
            case.cell,
            case.words,
            tuple(sorted(clip.flags)),
            round(clip.duration_s, 3),
            hearing,
            scores,
        )


def hear_by_many(
    cases: Sequence[Case],
    build: Callable[[], Listener],
    language: Callable[[], Language],
    processes: int,
) -> Iterator[Line]:
    """``hear_cases`` by several processes, in the order of ``cases``; each has a listener of one thread.

    What is heard does not depend on how many there are; how long it took does.
    """
    context = multiprocessing.get_context("spawn")
    with context.Pool(processes, _prepare, (cases, build, language)) as pool:
        yield from pool.imap(_heard, range(len(cases)))


_prepared: list[tuple[Sequence[Case], Listener]] = []
"""What a process of ``hear_by_many`` works with."""


def _prepare(
    cases: Sequence[Case], build: Callable[[], Listener], language: Callable[[], Language]
) -> None:
    listener = build()
    if isinstance(listener, WhisperListener):
        listener.threads = 1
    listener.load(language())
    _prepared.append((cases, listener))


def _heard(index: int) -> Line:
    cases, listener = _prepared[0]
    return next(hear_cases([cases[index]], listener))


def write_lines(lines: Iterable[Line], path: Path, progress: Callable[[int], None]) -> int:
    """Append to ``path`` as they come, so that an interrupted run keeps what it has."""
    count = 0
    with path.open("a", encoding="utf-8") as file:
        for count, line in enumerate(lines, 1):
            file.write(json.dumps(asdict(line), sort_keys=True) + "\n")
            file.flush()
            progress(count)
    return count


def read_lines(path: Path) -> list[Line]:
    """The lines of one file; raises ``UsageError`` naming the line that is none."""
    found = []
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise UsageError(
            f"cannot be read ({error})", where=str(path), todo="gather first"
        ) from None
    for number, row in enumerate(text.splitlines(), 1):
        try:
            found.append(_line(json.loads(row)))
        except (ValueError, KeyError, TypeError) as error:
            raise UsageError(
                f"not a line of evidence ({error})", where=f"{path}:{number}", todo="gather anew"
            ) from None
    return found


def _line(data: dict[str, Any]) -> Line:
    heard = data.pop("hearing")
    hypotheses = tuple(Hypothesis(**each) for each in heard["hypotheses"])
    times, left = (tuple(map(tuple, heard.get(name, ()))) for name in ("times", "left_over"))
    said = (heard["listener"], hypotheses, heard["latency_ms"], times, left)
    hearing = Hearing(*said, behind_s=heard.get("behind_s"))
    return Line(**{**data, "flags": tuple(data["flags"]), "hearing": hearing})


def fingerprint(paths: Iterable[Path]) -> str:
    """First 16 hex digits of one SHA-256 over the files, in the order of their names."""
    digest = hashlib.sha256()
    for path in sorted(paths):
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]
