"""A live session: thinks ahead at the first silence, which what was heard so far makes short or
long, and saves at the end of each utterance."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from time import monotonic
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from fieldlog.apart.memory import give_back
from fieldlog.audio.capture import Capture, Cleans, Draft, Level, Spoken
from fieldlog.audio.clip import Clip
from fieldlog.audio.endpointer import Endpointer, is_draft
from fieldlog.audio.health import Notice
from fieldlog.audio.recorder import Recorder
from fieldlog.audio.source import AudioSource
from fieldlog.errors import StoreError
from fieldlog.hearing import Heard
from fieldlog.model.command import Command
from fieldlog.model.hearing import Hearing
from fieldlog.shop.events import Event, Faulted, HeldBack, NotSaved, Refused
from fieldlog.shop.inspecting import Inspecting, not_taken
from fieldlog.shop.mouth import QUIET_S, Mouth
from fieldlog.shop.whose_voice import KnownVoices
from fieldlog.store.affirmed import unaffirmed
from fieldlog.store.records import RecordedFinding
from fieldlog.store.rescue import hear_command, rescue


@dataclass(frozen=True, slots=True)
class Told:
    """What one utterance led to, or one that had to wait until the record took it."""

    spoken: Spoken
    """The utterance that ended now."""
    events: tuple[Event, ...]
    late: bool = False
    """Whether it is an earlier one, saved only now."""


GIVES_BACK_S = 20.0
"""Memory that hearing took is given back to the system so often, behind what was told: nobody waits then."""
Happening: TypeAlias = Level | Notice | Told


@dataclass(frozen=True, slots=True)
class _Waiting:
    """An utterance that is not in the record yet, with the id that it will have."""

    id: str
    heard: Heard
    spoken: Spoken
    begins_s: float


class LiveInspection:
    """Takes the utterances of a capture in order.

    A draft is heard while the speaker may still go on; when the utterance then ends with exactly
    those samples, its answer is there at once. A phrase that a pause cut in two is heard again as a
    whole, and counts when only the whole is accepted. What the record cannot take (a full disk)
    waits in memory and is tried again with every utterance, in order, and at the end. What the listener
    fails on is kept with its sound and told.
    """

    def __init__(self, inspecting: Inspecting) -> None:
        """``inspecting``: with the conversation whose ears hear the clips."""
        self._inspecting = inspecting
        self._conversation = inspecting.conversation
        self._ahead: Heard | None = None
        self._waiting: list[_Waiting] = []
        self._given_back = monotonic()
        self._mouth: Mouth | None = None
        self._spoke_s = 0.0

    def speaks(self, mouth: Mouth) -> None:
        """What is told is said aloud: *affirm* is asked for, and our own voice is no finding."""
        self._inspecting.affirming.asks = mouth.asks
        self._conversation.bare_answers = mouth.asks
        self._conversation.overheard = mouth.overheard
        self._mouth = mouth

    def minds_voices(self) -> None:
        """From here on a finding in a voice that was not heard before is asked about."""
        from fieldlog.listeners.timbre import timbre

        self._conversation.minded = KnownVoices(timbre).minded

    def begins(self) -> None:
        """Somebody begins to speak: what is said aloud gives way. Called by the thread that captures."""
        if self._mouth is not None:
            self._mouth.gives_way()

    def waits_for(self, is_spoken_to: Callable[[], bool]) -> None:
        """What is said aloud waits while somebody speaks."""
        if self._mouth is not None:
            self._mouth.is_spoken_to = is_spoken_to

    def level(self, level: Level) -> None:
        """How the stream goes on: after a while without speech, what was broken off is said again."""
        if level.speaking:
            self._spoke_s = level.position_s
        if self._mouth is not None:
            quiet = level.position_s - self._spoke_s >= QUIET_S
            self._mouth.goes_on(level.position_s, quiet=quiet)

    @property
    def unaffirmed(self) -> tuple[RecordedFinding, ...]:
        """What stands in the record, was read back, and was not affirmed."""
        return unaffirmed(self._inspecting.record)

    def draft(self, draft: Draft) -> float | None:
        """Hear the open utterance at its first silence: seconds of silence that shall end it.

        None: nobody can tell, and the usual silence ends it.
        """
        self._ahead = None
        with suppress(Exception):  # it is heard again, and told, when it has ended
            self._ahead = self._conversation.hear(draft.clip)
            return self._conversation.silence_s(self._ahead)
        return None

    def spoken(self, spoken: Spoken) -> tuple[Told, ...]:
        """Take an utterance that ended: in the record before it is told.

        When the record cannot take it, that is told and nothing is lost.
        """
        heard = self._heard(spoken.clip)
        self._ahead = None
        began = spoken.began - self._inspecting.head.started_at
        begins_s = began.total_seconds() - spoken.clip.start_s
        id = self._inspecting.new_id()
        self._waiting.append(_Waiting(id, heard, spoken, begins_s))
        return tuple(self._saved(spoken))

    def rest(self, source: str, position_s: float) -> tuple[Told, ...]:
        """Stand by until "go ahead", as if that had been said; nothing where it does already."""
        if self._conversation.standing_by:
            return ()
        spoken = Spoken(Clip(np.zeros(0, np.float32), position_s), 0.0, datetime.now(UTC), source)
        with suppress(StoreError):  # a full disk is told with the next utterance
            return (Told(spoken, self._inspecting.type(Command.STAND_BY)),)
        return ()

    def warm(self) -> None:
        """Hear what nobody said, once, so that the first utterance takes no longer than any other."""
        with suppress(Exception):  # it is tried, and told, with what somebody says
            self._conversation.warm()

    def ready(self) -> None:
        """It was told: make ready for the answer, where a question waits."""
        with suppress(Exception):  # it is tried again, and told, with the answer
            self._conversation.ready()
        if monotonic() - self._given_back > GIVES_BACK_S:
            self._given_back = monotonic()
            give_back()

    def finish(self, folder: Path) -> None:
        """Try once more to save what waits; raises ``StoreError`` that says where its sound is.

        ``folder``: of the stream's recordings.
        """
        try:
            while self._waiting:
                self._save(self._waiting[0])
                self._waiting.pop(0)
        except StoreError as error:
            raise self._lost(error, folder) from error

    def _saved(self, spoken: Spoken) -> Iterator[Told]:
        """Save what waits, oldest first: what each led to, or why none was saved."""
        try:
            while self._waiting:
                events = self._save(self._waiting[0])
                self._waiting.pop(0)
                yield Told(spoken, events, late=bool(self._waiting))
        except StoreError as error:
            words = self._waiting[-1].heard.text
            yield Told(spoken, (NotSaved(words, len(self._waiting), error),))

    def _save(self, each: _Waiting) -> tuple[Event, ...]:
        return self._inspecting.say(each.heard, each.spoken.source, each.begins_s, id=each.id)

    def _heard(self, clip: Clip) -> Heard:
        """What was said; refused with its sound where the listener or the language fails on it."""
        try:
            return self._conversation.next(clip, kept=True, ahead=self._known(clip)).heard
        except Exception as error:
            return Heard(clip, Hearing("", (), 0.0), not_taken("", error), (), 0.0)

    def _known(self, clip: Clip) -> Heard | None:
        ahead = self._ahead
        return (
            None if ahead is None or not is_draft(ahead.clip, clip) else replace(ahead, clip=clip)
        )

    def _lost(self, error: StoreError, folder: Path) -> StoreError:
        """What the person has to know about what is not in the record: where it is, what to type."""
        start = self._inspecting.head.started_at
        clips = [
            (start + timedelta(seconds=each.begins_s + each.heard.clip.start_s), each.heard.clip)
            for each in self._waiting
        ]
        kept = rescue(clips, folder)
        lost = [each.heard.text or "(not understood)" for each in self._waiting]
        told = f"{len(lost)} utterance{'s are' if len(lost) > 1 else ' is'} not in the record"
        if not kept:
            return StoreError(
                f"{told} ({error.what}) and the sound could be kept nowhere: {'; '.join(lost)}",
                where=error.where,
                todo="write these down, then free some space",
            )
        command = hear_command(kept, self._inspecting.head.number, self._inspecting.store_folder)
        return StoreError(
            f"{told} ({error.what}); the sound is kept in {kept[0].parent}",
            where=error.where,
            todo=f"free some space, then: {command}",
        )


def took(events: Sequence[Event]) -> bool:
    """Whether anything of it counts: not what was refused or held back."""
    return not all(isinstance(each, Refused | HeldBack | Faulted) for each in events)


def listen(
    source: AudioSource,
    live: LiveInspection,
    recorder: Recorder | None = None,
    echo: Cleans | None = None,
    *,
    rest_after_s: float | None = None,
    beside: Callable[[NDArray[np.float32], bool], None] | None = None,
) -> Iterator[Happening]:
    """Listen until ``source`` (open) ends or is stopped; what happens, in order.

    Utterances are taken in this thread; sound is kept (with a ``recorder``) and cut meanwhile,
    however long that takes. ``rest_after_s``: it stands by when nothing was taken for so long.
    ``beside``: see ``Capture``.
    """
    begins = live.begins if echo is not None else lambda: None  # else it would give way to itself
    capture = Capture(source, Endpointer(), recorder, echo=echo, begins=begins, beside=beside)
    if echo is not None:
        live.waits_for(lambda: capture.speaking)
    taken_s = 0.0
    cold = source.live
    for event in capture.events():
        if cold:  # it is listened to already: nobody waits for this
            cold = False
            live.warm()
        if isinstance(event, Level):
            live.level(event)
        if isinstance(event, Spoken):
            for told in live.spoken(event):
                taken_s = event.clip.end_s if took(told.events) else taken_s
                yield told
            live.ready()
        elif isinstance(event, Level) and rest_after_s is not None:
            yield event
            if not event.speaking and event.position_s - taken_s > rest_after_s:
                taken_s = event.position_s
                yield from live.rest(source.name, event.position_s)
        elif isinstance(event, Draft):
            seconds = live.draft(event)
            if seconds is not None:
                capture.wait(event, seconds)
        else:
            yield event
