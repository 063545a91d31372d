"""Hearing the user's own audio files one after another: progress, notes, and files left out."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fieldlog.errors import AudioError, PartialError

if TYPE_CHECKING:
    from rich.progress import Progress as Bar
    from rich.progress import TaskID

    from fieldlog.audio.clip import Clip
    from fieldlog.audio.files import AudioFile, Samples
    from fieldlog.audio.vad import VoiceActivity
    from fieldlog.cli.terminal import Terminal
    from fieldlog.hearing import Heard
    from fieldlog.shop.conversation import Conversation

Tell = Callable[[Path, "Heard"], None]
Ended = Callable[[Path, float], None]
"""Told of each file that was heard to its end, with its length in seconds."""
Follows = Callable[[Path, Path], bool]
"""Whether the second file goes on, as one conversation, where the first ended."""


def hear_files(
    paths: Sequence[Path],
    conversation: Conversation,
    terminal: Terminal,
    tell: Tell,
    ended: Ended = lambda path, seconds: None,
    *,
    follows: Follows = lambda before, path: False,
) -> None:
    """Hear every file; ``tell`` gets each utterance as soon as it is understood.

    Within a file an utterance may answer the question before it, and so it may across files where
    one ``follows`` the one before. A file that cannot be used is said on stderr and left out; the
    others are heard all the same.

    Raises ``PartialError`` at the end when some were left out or cut short, ``AudioError`` when all were left out.
    """
    from fieldlog.audio.files import open_audio
    from fieldlog.audio.vad import voice_activity
    from fieldlog.shop.conversation import utterances_of

    voice = voice_activity()
    if voice.warning:
        click.echo(f"fieldlog: {voice.warning}", err=True)
    left_out: list[AudioError] = []
    cut: list[Path] = []
    before: Path | None = None
    with terminal.progress() as bar:
        task = bar.add_task("hearing", total=None)
        for number, path in enumerate(paths, start=1):
            label = path.name if len(paths) == 1 else f"{path.name} ({number} of {len(paths)})"
            try:
                with open_audio(path) as audio:
                    length = audio.duration_s
                    bar.reset(
                        task,
                        description=label,
                        total=None if math.isnan(length) else length,
                    )
                    stream = _Stream(audio, voice.activity, bar, task)
                    utterances = 0
                    goes_on = before is not None and follows(before, path)
                    if goes_on:
                        conversation.elsewhere()
                    elif number > 1:
                        conversation.afresh()
                    before = path
                    for heard in utterances_of(stream.clips(), conversation):
                        utterances += 1
                        tell(path, heard)
                    notes = list(audio.notes)
                    if not utterances:
                        notes.insert(0, f"no speech was found in {stream.seconds:.1f} s")
                    if notes:
                        click.echo(f"fieldlog: {path}: {'; '.join(notes)}", err=True)
                    ended(path, stream.seconds)
                    cut += [] if audio.whole else [path]
            except AudioError as error:
                left_out.append(error)
                if len(paths) > 1:
                    click.echo(f"fieldlog: {error}", err=True)
    report_left_out(left_out, len(paths), cut)


def report_left_out(left_out: Sequence[AudioError], total: int, cut: Sequence[Path] = ()) -> None:
    """Raise what the command ends with when files were left out, or ``cut`` short; each was told already."""
    if not left_out and not cut:
        return
    if left_out and total == 1:
        raise left_out[0]
    if len(left_out) == total:
        raise AudioError(f"none of the {total} files could be heard", todo="see the lines above")
    names = ", ".join(error.where or error.what for error in left_out)
    told = [f"{len(left_out)} of {total} files left out: {names}"] if left_out else []
    told += [f"not heard to its end: {', '.join(map(str, cut))}"] if cut else []
    raise PartialError(
        "; ".join(told),
        todo="mend or leave out these; the others were heard"
        if left_out
        else "copy it again; what is there was heard",
    )


@dataclass(slots=True)
class _Stream:
    """One file as utterances, with how far it was read."""

    audio: AudioFile
    voice: VoiceActivity
    bar: Bar
    task: TaskID
    seconds: float = 0.0

    def clips(self) -> Iterator[Clip]:
        """The utterances of the file, in bounded memory; flags of the whole file on each."""
        from fieldlog.audio.endpointer import utterances

        for clip in utterances(self._blocks(), voice=self.voice):
            yield replace(clip, flags=clip.flags | self.audio.flags)

    def _blocks(self) -> Iterator[Samples]:
        from fieldlog.audio.clip import RATE

        for block in self.audio.blocks(1.0):
            self.seconds += len(block) / RATE
            self.bar.update(self.task, completed=self.seconds)
            yield block
