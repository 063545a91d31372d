"""``fieldlog inspection hear``: recordings into an inspection that is in the record."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fieldlog.cli.ears import listener_options
from fieldlog.cli.language_option import language_option
from fieldlog.cli.store_option import store_option, workshop
from fieldlog.errors import AudioError, StoreError, UsageError
from fieldlog.store.rescue import began_at

if TYPE_CHECKING:
    from fieldlog.audio.clip import Clip
    from fieldlog.hearing import Heard
    from fieldlog.store.records import InspectionRecord, Utterance

_FINDINGS = ("finding", "findings")
_QUESTIONS = ("question nobody answered", "questions nobody answered")
_REFUSED = ("utterance not understood", "utterances not understood")
_KNOWN = ("utterance was there already", "utterances were there already")
_HELD = ("utterance said while standing by", "utterances said while standing by")
_FAULTED = ("utterance not taken", "utterances not taken")
_COUNTED = (_FINDINGS, _QUESTIONS, _REFUSED, _HELD, _FAULTED, _KNOWN)


@click.command()
@click.argument("audio", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--inspection", "key", default="last", help="Number, id or `last`.", show_default=True
)
@click.option(
    "--begins",
    multiple=True,
    metavar="WHEN",
    help="When a file begins: 09:15, 2026-05-04T09:15:30, or seconds after the inspection's start "
    "such as 90. Once per file, in their order, or once for the first.  "
    "[default: the instant in the name of a recording made by fieldlog, else after the one before]",
)
@click.option(
    "--json", "as_json", is_flag=True, help="One JSON object for each thing that happened."
)
@listener_options
@store_option
@language_option
def hear(
    audio: tuple[Path, ...],
    key: str,
    begins: tuple[str, ...],
    as_json: bool,
    listener: str,
    model: Path | None,
    folder: Path | None,
) -> None:
    """Hear AUDIO files into an inspection: findings, remarks and marks, each with its clip.

    Photos find their findings by time, so say with --begins when a recording began if photos are
    to follow. What is in the record already is not taken twice: repeat the command after an
    interruption.

    \b
    Examples:
      fieldlog inspection hear walk-round.flac
      fieldlog inspection hear left.wav right.wav --begins 09:15 --begins 09:40
      fieldlog inspection hear walk-round.flac --inspection 3 --listener pocketsphinx
      fieldlog inspection hear walk-round.flac --json
    """
    from rich.text import Text

    from fieldlog.cli.audio_files import hear_files
    from fieldlog.cli.ears import open_ears
    from fieldlog.cli.event_lines import events_behind
    from fieldlog.cli.json_view import event_view
    from fieldlog.cli.left_behind import take_what_was_left
    from fieldlog.cli.photos_place import tell_unplaced_yet
    from fieldlog.cli.terminal import Terminal
    from fieldlog.shop.events import (
        Asked,
        Faulted,
        FindingCorrected,
        FindingSaved,
        HeldBack,
        Refused,
    )
    from fieldlog.shop.rehearing import clip_of
    from fieldlog.store.media import clip_name

    terminal = Terminal.here()
    with workshop(folder) as shop:
        record = shop.store.inspection_record(key)
        head = record.inspection
        starts = file_starts(begins, [path.name for path in audio], record)
        before = {(u.source, u.clip, round(u.start_s, 2)): u for u in record.utterances}
        taken: set[tuple[str, str | None, float]] = set()
        next_s = starts[0] if starts else 0.0
        counts = dict.fromkeys(_COUNTED, 0)
        shown: set[Path] = set()

        def begin_of(path: Path) -> float:
            given = starts[audio.index(path)]
            return next_s if math.isnan(given) else given

        with open_ears(shop.language_for(head), listener, model) as ears:
            take_what_was_left(shop, ears, terminal)
            inspecting = shop.inspecting(head.id, ears)
            tell_unplaced_yet(inspecting.record)

            def tell(path: Path, heard: Heard) -> None:
                if path not in shown and not as_json:
                    shown.add(path)
                    at = head.started_at + timedelta(seconds=begin_of(path))
                    terminal.lines.print(
                        Text.assemble(
                            (str(path), "bold"), (f"  from {_clock(at, head.zone)}", "dim")
                        )
                    )
                this = (path.name, clip_name(heard.clip), round(heard.clip.start_s, 2))
                at = head.started_at + timedelta(seconds=begin_of(path) + heard.clip.start_s)
                ours = began_at(path.name) is not None
                kept = before.get(this)
                if kept is None and ours:
                    media = shop.store.media
                    kept = there_already(at, heard.clip, record, lambda name: clip_of(media, name))
                if kept is not None or this in taken:
                    counts[_KNOWN] += 1
                    if kept is not None:
                        inspecting.asked_before(kept, heard.understanding)
                    return
                try:
                    events = inspecting.say(heard, path.name, begin_of(path))
                except StoreError as error:
                    raise StoreError(
                        f"{error.what}; nothing from {heard.clip.start_s:.1f} s of {path} on is saved",
                        where=error.where,
                        todo=f"{error.todo or 'mend that'}, then give this command again: "
                        "what was saved is not taken twice",
                    ) from error
                taken.add(this)
                for event in events:
                    counts[_FINDINGS] += isinstance(event, (FindingSaved, FindingCorrected))
                    counts[_QUESTIONS] += isinstance(event, Asked)
                    counts[_REFUSED] += isinstance(event, Refused)
                    counts[_HELD] += isinstance(event, HeldBack)
                    counts[_FAULTED] += isinstance(event, Faulted)
                if as_json:
                    for event in events:
                        terminal.lines.out(json.dumps(event_view(event)), highlight=False)
                    return
                span = Text(f"{heard.clip.start_s:7.1f} s  ", "dim")
                terminal.lines.print(events_behind(span, events))

            def ended(path: Path, seconds: float) -> None:
                nonlocal next_s
                next_s = begin_of(path) + seconds

            try:
                hear_files(audio, inspecting.conversation, terminal, tell, ended, follows=follow)
            finally:
                told = ", ".join(
                    f"{count} {one if count == 1 else many}"
                    for (one, many), count in zip(_COUNTED, counts.values(), strict=True)
                    if count or one == "finding"
                )
                click.echo(f"inspection {head.number}: {told}", err=True)


def follow(before: Path, path: Path) -> bool:
    """Whether two recordings that fieldlog made itself are one conversation, by their names (pure).

    Sound that a full disk kept out of the record comes back as one file for each utterance.
    """
    from fieldlog.shop.waiting import WAITS_S

    first, second = began_at(before.name), began_at(path.name)
    if first is None or second is None:
        return False
    return timedelta(0) <= second - first <= timedelta(seconds=WAITS_S)


def file_starts(
    begins: Sequence[str], names: Sequence[str], record: InspectionRecord
) -> list[float]:
    """Where each file begins, in seconds of the session clock; NaN: after the file before it.

    Without ``begins`` a recording that fieldlog made itself begins at the instant in its name, and
    the first of any others follows the last utterance of the record. Raises ``UsageError`` for more
    instants than files, or one that is no instant (pure).
    """
    files = len(names)
    if len(begins) > files or (1 < len(begins) < files):
        raise UsageError(
            f"{len(begins)} instants for {files} files",
            where="--begins",
            todo="give it once per file, or once for the first",
        )
    head = record.inspection
    if begins:
        first = [_seconds(text, head.started_at, head.zone) for text in begins]
    else:
        after = [
            (each.said_at - head.started_at).total_seconds() + each.end_s - each.start_s
            for each in record.utterances
        ]
        first = [max(0.0, math.ceil(max(after, default=0.0)))]
    starts = first + [math.nan] * (files - len(first))
    for at, name in enumerate(names):
        made = None if begins else began_at(name)
        if made is not None:
            starts[at] = (made - head.started_at).total_seconds()
    return starts


def there_already(
    at: datetime, clip: Clip, record: InspectionRecord, read: Callable[[str], Clip]
) -> Utterance | None:
    """What the record holds already of most of this time: fieldlog's own recordings of a whole
    session hold what was saved as it was spoken.

    ``read`` gives a kept clip: of another sound it is of another session, whose clock was set otherwise.
    """
    end = at + timedelta(seconds=clip.duration_s)
    for each in record.utterances:
        theirs = each.said_at + timedelta(seconds=each.end_s - each.start_s)
        shared = (min(end, theirs) - max(at, each.said_at)).total_seconds()
        if shared > clip.duration_s / 2 and (each.clip is None or _is_in(clip, each.clip, read)):
            return each
    return None


def _is_in(clip: Clip, name: str, read: Callable[[str], Clip]) -> bool:
    """Whether ``clip`` is in the kept one, or that cannot be told."""
    from fieldlog.audio.same_sound import is_same_sound

    try:
        return is_same_sound(clip.samples, read(name).samples)
    except (AudioError, StoreError):
        return True


def _seconds(text: str, started_at: datetime, zone: str) -> float:
    from fieldlog.photos.placing import session_zone

    try:
        seconds = float(text)
    except ValueError:
        pass
    else:
        if math.isfinite(seconds):
            return seconds
    local = started_at.astimezone(session_zone(zone))
    try:
        written = text if "T" in text or " " in text else f"{local:%Y-%m-%d}T{text}"
        moment = datetime.fromisoformat(written)
    except ValueError:
        raise UsageError(
            f"{text!r} is no instant",
            where="--begins",
            todo="write it like 09:15, 2026-05-04T09:15:30+02:00 or 90 (seconds)",
        ) from None
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=local.tzinfo)
    return (moment.astimezone(UTC) - started_at).total_seconds()


def _clock(moment: datetime, zone: str) -> str:
    from fieldlog.photos.placing import session_zone

    return f"{moment.astimezone(session_zone(zone)):%H:%M:%S}"
