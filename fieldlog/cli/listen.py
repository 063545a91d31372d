"""``fieldlog listen``: the live pipeline from the microphone, or from a file played as if spoken."""

from __future__ import annotations

import contextlib
import signal
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource
from rich.text import Text

from fieldlog.audio.capture import Spoken
from fieldlog.audio.health import Notice
from fieldlog.audio.microphone import Microphone, list_devices
from fieldlog.audio.recorder import Recorder, recover, stream_name
from fieldlog.audio.source import AudioSource, FileSource
from fieldlog.cli.aloud import NOTHING, VALUES, Aloud, say_option, telling
from fieldlog.cli.board import Board
from fieldlog.cli.ears import listener_options, open_ears
from fieldlog.cli.language_option import language_option
from fieldlog.cli.phone import phone_beside, phone_options, phone_place
from fieldlog.cli.photos_place import tell_unplaced_yet
from fieldlog.cli.store_option import is_record, store_option, walk_option, workshop
from fieldlog.cli.terminal import Terminal, alone_on_stderr
from fieldlog.config import local_zone, store_folder
from fieldlog.errors import UsageError
from fieldlog.words import tell
from fieldlog.words.telling import Telling, say, told_in

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from fieldlog.shop.left_behind import Listening
    from fieldlog.shop.live import LiveInspection, Told


@click.command()
@click.option("--device", metavar="NAME", help="Part of the microphone's name, or its number.")
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
@click.option("--vehicle", metavar="VEHICLE", help="Start one of this vehicle (name, number, id).")
@click.option("--jurisdiction", metavar="CC", help="ISO 3166 code for a new inspection.")
@click.option(
    "--set", "settings", metavar="KEY=VALUE", multiple=True, help="Context of a new inspection."
)
@say_option
@click.option(
    "--rest-after",
    "rest_after_s",
    type=click.FloatRange(min=5.0),
    metavar="SECONDS",
    help="Stand by when nothing was taken for so long, until `go ahead`.  [default: never]",
)
@click.option(
    "--mind-voices",
    is_flag=True,
    help="Ask about a finding in another voice than those before: a radio, a colleague.",
)
@click.option(
    "--lines",
    "in_lines",
    is_flag=True,
    help="Show a line for each utterance, on a terminal too, instead of the large screen.",
)
@click.option(
    "--words-model",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Vosk model whose words the large screen shows while you speak.  [default: that of --listener vosk]",
)
@phone_options
@walk_option
@listener_options
@store_option
@language_option
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
    how: str | None,
    rest_after_s: float | None,
    mind_voices: bool,
    in_lines: bool,
    words_model: Path | None,
    with_phone: bool,
    network: str | None,
    port: int | None,
    walk: str,
    listener: str,
    model: Path | None,
    folder: Path | None,
) -> None:
    """Listen to an inspection as it is spoken. Ctrl-C ends it; nothing said is lost.

    What a session that was cut off (power, kill) left unheard is heard first, by itself.

    Every utterance is in the record, with its clip and verdict, before its line appears. Without
    --inspection a new one is started, of --vehicle or of a vehicle that has no name yet. A question
    is answered by the next utterance ("the rear one", "fifty newton metres", "affirm", "negative");
    one that nobody answers stays in the record as open. The usual cautions are shown first, and those
    of a component with each dangerous finding on it.

    A terminal of at least 40 by 12 becomes a screen that is read from two metres: what was found last, what
    is asked, what is open, alarms; the lines are printed when it ends. --lines keeps it to lines. With a Vosk
    model it shows words while they are said: they may still change, and nothing is taken from them.

    Short tones tell what became of an utterance to somebody who does not look: saved (two notes, the
    second longer), asked (one that rises), beyond its limit or dangerous (three short, one long, twice),
    not understood (one that falls), microphone lost or nothing saved (a quick warble, twice). Behind the
    tone a voice says what matters (--say values): questions, what is beyond, near or in doubt, what was
    put right. "Confirm" asks for "affirm"; "negative" takes the finding back; unanswered, it stays and
    is listed at the end. What the tool itself is saying is not taken for what somebody says.

    With --phone the microphone is a phone's browser, whose page shows what happens and takes photos too:
    see docs/phone.md.

    \b
    Examples:
      fieldlog listen --vehicle "blue roadster" --jurisdiction US-VA
      fieldlog listen --inspection last
      fieldlog listen --list-devices
      fieldlog listen --phone --network --vehicle "blue roadster"
      fieldlog listen --source walk-round.flac --fast
    """
    if only_list:
        show_devices()
        return
    from fieldlog.aftercare.plan import walk_setting
    from fieldlog.cli.left_behind import take_what_was_left
    from fieldlog.cli.live_screen.showing import fits
    from fieldlog.cli.verdict_lines import caution_lines
    from fieldlog.cli.words_shown import words_shown
    from fieldlog.limits.cautions import at_start
    from fieldlog.limits.context import parse_context
    from fieldlog.serve.phone.source import PhoneSource
    from fieldlog.shop.left_behind import FOLDER, Listening
    from fieldlog.shop.live import LiveInspection
    from fieldlog.shop.played import beside as notes_beside

    if key is not None and (vehicle is not None or jurisdiction is not None or settings):
        raise UsageError(
            "an inspection that goes on keeps its vehicle and its rules",
            where="--inspection",
            todo="leave out --vehicle, --jurisdiction and --set; or --inspection, to begin another",
        )
    given = click.get_current_context().get_parameter_source("walk")
    if key is not None and given is ParameterSource.COMMANDLINE:
        raise UsageError(
            "an inspection that goes on keeps the walk it was begun with",
            where="--walk",
            todo="leave it out; or --inspection, to begin another",
        )
    place = phone_place(folder, network, port, device or source) if with_phone or network else None
    chosen: AudioSource
    if place is not None:
        chosen = PhoneSource()
    else:
        chosen = FileSource(source, fast=fast) if source else Microphone(device)
    if isinstance(chosen, Microphone):
        chosen.find()  # one that is not there is told before a model is loaded
    context = parse_context(jurisdiction, settings)
    walk_setting(walk)  # a slip is told before anything is made
    terminal = Terminal.here()

    board = Board(terminal)

    def crashed(crash: object) -> None:
        board.tell(str(crash))

    from fieldlog.language.tongues import language_of

    language = language_of()
    with contextlib.ExitStack() as stack:
        if isinstance(chosen, Microphone):
            stack.enter_context(alone_on_stderr())
        shop = None if key is None else stack.enter_context(workshop(folder))
        if shop is not None and key is not None:
            # one that is not there is told before a model is loaded
            language = shop.language_for(shop.store.inspection(key))
        words = words_model or (model if listener == "vosk" else None)
        on_screen = not in_lines and place is None and fits()
        beside = stack.enter_context(words_shown(words, language, board, on_screen=on_screen))
        ears = stack.enter_context(open_ears(language, listener, model, on_crash=crashed))
        if shop is not None or is_record(folder or store_folder()):
            shop = shop or stack.enter_context(workshop(folder))
            take_what_was_left(shop, ears, terminal)
        stack.enter_context(chosen)  # what cannot be listened to leaves nothing in the record
        shop = shop or stack.enter_context(workshop(folder, new=True))
        streams = keep or shop.store.folder / FOLDER
        recorder = stack.enter_context(recording(streams, terminal))
        if key is None:
            head = shop.begin(vehicle, context, zone=local_zone(), walk=walk)
        else:
            head = shop.store.inspection(key)
        told = f"inspection {head.number} of {head.vehicle_name}"
        click.echo(f"{told}; its report: fieldlog report {head.number}", err=True)
        with told_in(getattr(language, "told", None)):
            for line in caution_lines(at_start(language.catalogue)):
                terminal.status.print(line)
        inspecting = shop.inspecting(head.id, ears)
        tell_unplaced_yet(inspecting.record)
        session = stack.enter_context(
            Listening(
                *(shop.store.folder, recorder.path, head.id, chosen.name),
                before=[each.id for each in inspecting.record.utterances],
            )
        )
        live = LiveInspection(inspecting)
        if place is not None and isinstance(chosen, PhoneSource):
            by_hand = phone_beside(place, shop, inspecting, chosen, streams, terminal)
            live = stack.enter_context(by_hand)
        if mind_voices:
            live.minds_voices()
        say = how or (VALUES if source is None else NOTHING)
        notes = notes_beside(recorder.path)
        aloud = (
            stack.enter_context(telling(terminal, say, notes, language)) if say != NOTHING else None
        )
        try:
            board.inspecting = None if in_lines or place is not None else inspecting
            run(
                *(chosen, live, recorder),
                board=board,
                aloud=aloud,
                session=session,
                rest_after_s=rest_after_s,
                beside=beside,
                told=getattr(language, "told", None),
            )
        finally:
            live.finish(streams)


def show_devices() -> None:
    """Print every microphone, the default one marked."""
    devices = list_devices()
    if not devices:
        click.echo("No microphone found. Plug one in and repeat.")
    for entry in devices:
        mark = "*" if entry.is_default else " "
        click.echo(
            f"{mark} {entry.index:>2}  {entry.name}  ({entry.host}, {entry.channels} ch, {entry.rate} Hz)"
        )


def run(
    source: AudioSource,
    live: LiveInspection,
    recorder: Recorder | None = None,
    *,
    board: Board | None = None,
    aloud: Aloud | None = None,
    session: Listening | None = None,
    rest_after_s: float | None = None,
    beside: Callable[[NDArray[np.float32], bool], None] | None = None,
    told: Telling | None = None,
) -> int:
    """Listen until ``source`` (open) ends or Ctrl-C; returns how many utterances were heard.

    ``board``: what it is shown on. ``aloud``: tells what became of each utterance once it is in the
    record. ``session``: is told when another microphone is heard. ``told``: in which language lines are shown. ``rest_after_s``, ``beside``: see
    ``shop.live.listen``.
    """
    from fieldlog.audio.health import ALARMS
    from fieldlog.shop.live import Told
    from fieldlog.shop.live import listen as listening

    heard: set[float] = set()
    board = board or Board(Terminal.here())
    board.language = told
    console = board.terminal.status
    if aloud is not None:
        live.speaks(aloud.mouth)
    echo = None if aloud is None else aloud.echo
    with ending_on_interrupt(source.stop):
        console.print(f"listening on {source.name}; Ctrl-C ends")
        with board.up(source.name):
            happenings = listening(
                source, live, recorder, echo, rest_after_s=rest_after_s, beside=beside
            )
            for happening in happenings:
                if isinstance(happening, Told):
                    heard.add(happening.spoken.clip.start_s)
                    if aloud is not None:
                        aloud.mouth.tell(happening.events)
                    with told_in(told):
                        lines = told_text(happening)
                    board.told(happening, lines)
                else:
                    lost = isinstance(happening, Notice) and happening.trouble in ALARMS
                    if session is not None:
                        session.heard_from(source.name)
                    if aloud is not None and lost:
                        aloud.mouth.lost()
                    board.show(happening, source.name)
    if recorder is not None and recorder.seconds:
        console.print(f"kept {recorder.seconds:.1f} s of sound in {recorder.close()}")
    for kept in live.unaffirmed if aloud is not None else ():
        with told_in(told):
            owed = say("to be affirmed, and nobody did")
            console.print(Text(f"{owed}: {kept.number}, {tell.finding(kept.finding)}"))
    console.print(f"{len(heard)} utterance{'s' if len(heard) != 1 else ''}")
    return len(heard)


def told_text(told: Told) -> Text:
    """What an utterance led to, behind when it was said and doubts about its sound."""
    from fieldlog.cli.event_lines import events_behind

    late = Text("(saved late) ") if told.late else Text()
    return events_behind(Text.assemble(stamp(told.spoken), late), told.events)


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
