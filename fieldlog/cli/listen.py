"""``fieldlog listen``: the live pipeline from the microphone, or from a file played as if spoken."""

from __future__ import annotations

import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType
from typing import Any

import click
from rich.console import Console
from rich.live import Live
from rich.text import Text

from fieldlog.audio.capture import Capture, Draft, Event, Level, Spoken
from fieldlog.audio.endpointer import Endpointer
from fieldlog.audio.health import Notice
from fieldlog.audio.microphone import Microphone, list_devices
from fieldlog.audio.recorder import Recorder, recover, stream_name
from fieldlog.audio.source import AudioSource, FileSource

OnSpoken = Callable[[Spoken], str]
"""Takes an utterance, returns the line to show for it."""


@click.command()
@click.option("--device", metavar="NAME", help="Part of the microphone's name.")
@click.option("--list-devices", "only_list", is_flag=True, help="Show the microphones and stop.")
@click.option(
    "--source",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Play an audio file as if it were spoken now, instead of the microphone.",
)
@click.option("--fast", is_flag=True, help="With --source: as fast as it can be heard.")
@click.option(
    "--keep",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Folder for the recording of the whole stream.",
)
def listen(
    device: str | None, only_list: bool, source: Path | None, fast: bool, keep: Path | None
) -> None:
    """Listen to an inspection as it is spoken. Ctrl-C ends it; nothing said is lost.

    \b
    Examples:
      fieldlog listen
      fieldlog listen --list-devices
      fieldlog listen --device headset
      fieldlog listen --source walk-round.flac --fast
    """
    if only_list:
        show_devices()
        return
    chosen: AudioSource = FileSource(source, fast=fast) if source else Microphone(device)
    run(chosen, heard_line, keep=keep)


def show_devices() -> None:
    """Print every microphone, the default one marked."""
    devices = list_devices()
    if not devices:
        click.echo("No microphone found. Plug one in and repeat.")
    for entry in devices:
        mark = "*" if entry.is_default else " "
        click.echo(f"{mark} {entry.name}  ({entry.host}, {entry.channels} ch, {entry.rate} Hz)")


def run(source: AudioSource, on_spoken: OnSpoken, *, keep: Path | None = None) -> int:
    """Listen until the source ends or Ctrl-C; returns how many utterances were heard.

    ``on_spoken`` runs in the main thread; sound is kept and cut meanwhile, however long it takes.
    """
    count = 0
    console = Console(stderr=True)
    for old in recover(keep) if keep is not None and keep.is_dir() else []:
        console.print(f"recovered {old.seconds:.1f} s of an earlier recording: {old.path}")
    with source, ending_on_interrupt(source.stop), recording(keep) as recorder:
        capture = Capture(source, Endpointer(), recorder)
        console.print(f"listening on {source.name}; Ctrl-C ends")
        with screen(console) as show:
            for event in capture.events():
                if isinstance(event, Spoken):
                    count += 1
                    click.echo(on_spoken(event))
                    sys.stdout.flush()
                else:
                    show(event)
    if recorder is not None:
        console.print(f"kept {recorder.seconds:.1f} s of sound in {recorder.close()}")
    console.print(f"{count} utterance{'s' if count != 1 else ''}")
    return count


def heard_line(spoken: Spoken) -> str:
    """An utterance as one line: when, how long, doubts."""
    clip = spoken.clip
    flags = f"  [{', '.join(sorted(clip.flags))}]" if clip.flags else ""
    return f"{clip.start_s:8.2f} - {clip.end_s:8.2f} s{flags}"


@contextmanager
def recording(folder: Path | None) -> Iterator[Recorder | None]:
    """A recorder in ``folder``, or none when no folder is given."""
    if folder is None:
        yield None
        return
    with Recorder(folder, stream_name(datetime.now(UTC))) as recorder:
        yield recorder


@contextmanager
def ending_on_interrupt(stop: Callable[[], None]) -> Iterator[None]:
    """Ctrl-C (or a polite kill) calls ``stop``; repeated a second later it interrupts at once.

    Not sooner, because some shells and wrappers pass one Ctrl-C on twice.
    """
    previous: dict[int, Any] = {}
    first: list[float] = []

    def handle(number: int, frame: FrameType | None) -> None:
        if first and time.monotonic() - first[0] > 1.0:
            raise KeyboardInterrupt
        first.append(time.monotonic())
        stop()

    for number in (signal.SIGINT, signal.SIGTERM):
        previous[number] = signal.signal(number, handle)
    try:
        yield
    finally:
        for kind, old in previous.items():
            signal.signal(kind, old if old is not None else signal.SIG_DFL)


@contextmanager
def screen(console: Console) -> Iterator[Callable[[Event], None]]:
    """Shows levels (on a terminal) and notices; returns the function that takes events."""
    if not console.is_terminal:
        yield lambda event: _notice(console, event)
        return
    with Live(console=console, refresh_per_second=10, transient=True) as live:

        def show(event: Event) -> None:
            if isinstance(event, Level):
                live.update(meter(event))
            elif not isinstance(event, Draft):
                _notice(console, event)

        yield show


def meter(level: Level) -> Text:
    """A level as a bar over -60..0 dB with words beside it."""
    filled = round(max(0.0, min(1.0, (level.rms_db + 60.0) / 60.0)) * 30)
    state = "speech" if level.speaking else "quiet "
    loud = "  too loud" if level.peak_db > -0.5 else ""
    bar = "#" * filled + "-" * (30 - filled)
    return Text(f"{level.position_s:7.1f} s  {bar}  {level.rms_db:5.0f} dB  {state}{loud}")


def _notice(console: Console, event: Event) -> None:
    if isinstance(event, Notice):
        console.print(f"! {event.text}", markup=False)
