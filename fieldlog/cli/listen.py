"""``fieldlog listen``: the live pipeline from the microphone, or from a file played as if spoken."""

from __future__ import annotations

import contextlib
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType
from typing import Any, Protocol

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
from fieldlog.cli.ears import listener_options, open_ears
from fieldlog.cli.store_option import holding, opened, store_option, zone_here
from fieldlog.cli.terminal import Terminal


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
    help="Folder for the recording of the whole stream.  [default: in the store]",
)
@click.option("--inspection", "key", metavar="KEY", help="Go on with this inspection (or `last`).")
@click.option("--vehicle", metavar="NAME", help="Start an inspection of this vehicle.")
@click.option("--jurisdiction", metavar="CC", help="ISO 3166 code for a new inspection.")
@click.option(
    "--set", "settings", metavar="KEY=VALUE", multiple=True, help="Context of a new inspection."
)
@listener_options
@store_option
def listen(
    device: str | None,
    only_list: bool,
    source: Path | None,
    fast: bool,
    keep: Path | None,
    key: str | None,
    vehicle: str | None,
    jurisdiction: str | None,
    settings: tuple[str, ...],
    listener: str,
    model: Path | None,
    folder: Path | None,
) -> None:
    """Listen to an inspection as it is spoken. Ctrl-C ends it; nothing said is lost.

    Every utterance is in the record, with its clip and verdict, before its line appears. Without
    --inspection a new one is started, of --vehicle or of a vehicle that has no name yet. A question
    is answered by the next utterance ("the rear one", "fifty newton metres", "affirm", "negative");
    one that nobody answers stays in the record as open.

    \b
    Examples:
      fieldlog listen --vehicle "blue roadster" --jurisdiction US-VA
      fieldlog listen --inspection last
      fieldlog listen --list-devices
      fieldlog listen --source walk-round.flac --fast
    """
    if only_list:
        show_devices()
        return
    from fieldlog.inspection_language import InspectionLanguage
    from fieldlog.limits.context import parse_context
    from fieldlog.live import Live
    from fieldlog.walk import new_inspection, open_session

    chosen: AudioSource = FileSource(source, fast=fast) if source else Microphone(device)
    if isinstance(chosen, Microphone):
        chosen.find()  # one that is not there is told before a model is loaded
    context = parse_context(jurisdiction, settings)
    language = InspectionLanguage.load()
    terminal = Terminal.here()

    def crashed(crash: object) -> None:
        terminal.status.print(f"! {crash}", markup=False)

    with contextlib.ExitStack() as stack:
        store = None if key is None else stack.enter_context(holding(folder, key))
        ears = stack.enter_context(open_ears(language, listener, model, on_crash=crashed))
        stack.enter_context(chosen)  # what cannot be listened to leaves nothing in the record
        store = store or stack.enter_context(opened(folder))
        streams = keep or store.folder / "streams"
        recorder = stack.enter_context(recording(streams, terminal))
        if key is None:
            head = new_inspection(store, vehicle, context, datetime.now(UTC), zone_here())
        else:
            head = store.inspection(key)
        told = f"inspection {head.number} of {head.vehicle_name}"
        click.echo(f"{told}; its report: fieldlog report {head.number}", err=True)
        session = Live(ears, open_session(store, head.id, language, ears), head.started_at)
        try:
            run(chosen, session, recorder, terminal=terminal)
        finally:
            session.finish(streams, head.number, store.folder)


def show_devices() -> None:
    """Print every microphone, the default one marked."""
    devices = list_devices()
    if not devices:
        click.echo("No microphone found. Plug one in and repeat.")
    for entry in devices:
        mark = "*" if entry.is_default else " "
        click.echo(f"{mark} {entry.name}  ({entry.host}, {entry.channels} ch, {entry.rate} Hz)")


class Hears(Protocol):
    """What takes the utterances of a run."""

    def draft(self, draft: Draft) -> None:
        """The open utterance at its first silence: time to think ahead."""

    def spoken(self, spoken: Spoken) -> Text:
        """Takes an utterance, returns the line to show for it."""

    def ready(self) -> None:
        """The line was shown: time to make ready for the next utterance."""


def run(
    source: AudioSource,
    hears: Hears,
    recorder: Recorder | None = None,
    *,
    terminal: Terminal | None = None,
) -> int:
    """Listen until the source ends or Ctrl-C; returns how many utterances were heard.

    ``source`` is open already. ``hears`` runs in the main thread; sound is kept (with a
    ``recorder``) and cut meanwhile, however long it takes.
    """
    count = 0
    terminal = terminal or Terminal.here()
    console, lines = terminal.status, terminal.lines
    with ending_on_interrupt(source.stop):
        capture = Capture(source, Endpointer(), recorder)
        console.print(f"listening on {source.name}; Ctrl-C ends")
        with screen(console) as show:
            for event in capture.events():
                if isinstance(event, Spoken):
                    count += 1
                    lines.print(Text.assemble(stamp(event), hears.spoken(event)))
                    sys.stdout.flush()
                    hears.ready()
                elif isinstance(event, Draft):
                    hears.draft(event)
                else:
                    show(event)
    if recorder is not None and recorder.seconds:
        console.print(f"kept {recorder.seconds:.1f} s of sound in {recorder.close()}")
    console.print(f"{count} utterance{'s' if count != 1 else ''}")
    return count


def stamp(spoken: Spoken) -> Text:
    """When an utterance was, and doubts about its sound."""
    clip = spoken.clip
    flags = f"[{', '.join(sorted(clip.flags))}]  " if clip.flags else ""
    return Text(f"{clip.start_s:8.2f} - {clip.end_s:8.2f} s  {flags}", "dim")


@contextmanager
def recording(folder: Path, terminal: Terminal) -> Iterator[Recorder]:
    """A recorder in ``folder``; what a crash left there is repaired and told first."""
    for old in recover(folder) if folder.is_dir() else []:
        terminal.status.print(f"recovered {old.seconds:.1f} s of an earlier recording: {old.path}")
    with Recorder(folder, stream_name(datetime.now(UTC))) as recorder:
        yield recorder
    if not recorder.seconds:
        recorder.close().unlink(missing_ok=True)


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
    if not sys.stderr.isatty():
        yield lambda event: _notice(console, event)
        return
    with Live(
        console=console, refresh_per_second=10, transient=True, redirect_stdout=False
    ) as live:

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
