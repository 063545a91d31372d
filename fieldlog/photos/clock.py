"""The clock of each camera against the session clock: offset, drift, uncertainty (pure).

A camera's clock is whatever its photos record: UTC where they carry their offset, else local time
read in the session's zone ("assumed"). An alignment says what to add to it to get the session
clock; it belongs to one camera (make, model, serial), changes no photo and no other camera, and is
withdrawn by leaving it out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from enum import StrEnum

from fieldlog.photos.guessing import (
    UNALIGNED_S,
    ClockGuess,
    Guess,
    Guesses,
    guess_offsets,
    stretches,
    weighed,
)

READ_ERROR_S = 0.5
"""Half width of reading a clock that shows whole seconds."""
LAG_S = 1.0
"""What a person's time from word to shutter adds to the doubt about a clock found from it: within
a session it cannot be told from the clock's error (common practice)."""
_FEW = 4
"""Groups of shots below which a clock that nobody doubts is taken as it is without asking."""
_NAMED = 4
_WORTH_NAMING = 0.005
_ONE_READING = 3.0
"""A reading of a repeated hour is dropped when it explains the shots worse by this (natural log)."""
_CONTRADICTED = 7.0
"""A clock is not taken as it is when that explains the shots worse by this (natural log)."""


class Basis(StrEnum):
    """What an alignment rests on."""

    CODE = "photo of the time code"
    MARKS = "what was said against shutter times"
    EVENT = "known event"
    GIVEN = "given"
    MEASURED = "measured over the network"
    NONE = "not aligned"


@dataclass(frozen=True, slots=True)
class Alignment:
    """One camera's clock against the session clock.

    Session time = camera time + ``offset_s`` + ``drift`` x (camera time - ``reference``).
    ``uncertainty_s`` is the expanded uncertainty (k = 2) of that sum at the reference. ``ask`` is
    the question to put: what was asked once for the camera, not for each of its photos.
    """

    camera: str
    basis: Basis
    offset_s: float
    uncertainty_s: float
    drift: float = 0.0
    reference: datetime | None = None
    """Camera time (aware, UTC) at which ``offset_s`` holds; None when there is no drift."""
    pairs: int = 0
    """Groups of shots, or photos of the code, that support it."""
    guesses: tuple[Guess, ...] = ()
    """Every difference that what was said leaves possible; empty where it is known or not looked
    for."""
    readings: tuple[int, ...] = (0,)
    """Without guesses: the readings of the recorded times that remain possible, the best first."""
    ask: str = ""

    @property
    def usable(self) -> bool:
        """True when photos may be placed by it: where not a single guess was found, none is."""
        return not self.ask or bool(self.guesses)

    @property
    def stretches(self) -> tuple[ClockGuess, ...]:
        """The guesses as people see them, the most probable first."""
        return stretches(self.guesses)

    def session_time(self, time: CameraTime) -> datetime:
        """The instant on the session clock by the most probable guess."""
        reading = self.stretches[0].reading if self.guesses else self.readings[0]
        return self._moved(time.reading(reading), self.offset_s)

    def guessed_times(self, time: CameraTime) -> tuple[datetime, ...]:
        """The instant on the session clock under each of ``guesses``, or else of ``readings``."""
        if not self.guesses:
            return tuple(self._moved(time.reading(n), self.offset_s) for n in self.readings)
        return tuple(self._moved(time.reading(g.reading), g.offset_s) for g in self.guesses)

    def _moved(self, instant: datetime, offset_s: float) -> datetime:
        drifted = 0.0
        if self.drift and self.reference is not None:
            drifted = self.drift * (instant - self.reference).total_seconds()
        return instant + timedelta(seconds=offset_s + drifted)

    def __str__(self) -> str:
        """One line for people: what, how sure, why."""
        text = f"{self.camera}: {signed_duration(self.offset_s)} +/- {self.uncertainty_s:.1f} s"
        if self.drift:
            text += f", drifting {self.drift * 86400:+.1f} s a day"
        text += f" ({self.basis.value}"
        text += f", {self.pairs} times)" if self.pairs else ")"
        return f"{text}: {self.ask}" if self.ask else text


@dataclass(frozen=True, slots=True)
class CameraTime:
    """A capture instant on the camera's clock: aware UTC, ``assumed`` when the zone was not said.

    ``others`` are the instants it may mean otherwise, by the ways of reading a camera's local times
    around a change of the clocks; ``repeated`` when that hour came twice.
    """

    instant: datetime
    assumed: bool
    others: tuple[datetime, ...] = ()
    repeated: bool = False

    def reading(self, number: int) -> datetime:
        """``instant`` for 0, then what it may mean otherwise."""
        ways = (self.instant, *self.others)
        return ways[min(number, len(ways) - 1)]


def align_given(camera: str, offset_s: float, uncertainty_s: float = READ_ERROR_S) -> Alignment:
    """An offset that somebody entered: session clock minus camera clock, in seconds."""
    return Alignment(camera, Basis.GIVEN, offset_s, uncertainty_s)


def align_measured(camera: str, offset_s: float, uncertainty_s: float) -> Alignment:
    """What a program measured of the clock of a camera that is on the network: session minus camera."""
    return Alignment(camera, Basis.MEASURED, offset_s, uncertainty_s)


def align_event(camera: str, seen: datetime, happened: datetime, within_s: float) -> Alignment:
    """One photo (``seen``, camera clock) of something that happened at a known session instant.

    ``within_s`` is how far from the event the shutter may have been pressed.
    """
    uncertainty = math.hypot(within_s, READ_ERROR_S)
    return Alignment(camera, Basis.EVENT, (happened - seen).total_seconds(), uncertainty, pairs=1)


def align_code(
    camera: str,
    readings: Sequence[tuple[datetime, datetime]],
    *,
    refresh_s: float = 1.0,
    resolution_s: float = 1.0,
) -> Alignment:
    """From photos of the time code: (camera time, code) each, both aware UTC.

    A code shown for ``refresh_s`` was on screen half of that later on average. The offset is from
    the time as recorded, cut to ``resolution_s``, so that applying it to other photos of the same
    camera gives their mean instant. Two or more photos that are at least an hour
    apart give a drift when it exceeds what their reading errors explain. Raises ValueError for no
    readings.
    """
    if not readings:
        raise ValueError("no photo of the time code")
    correction = refresh_s / 2
    offsets = [(code - seen).total_seconds() + correction for seen, code in readings]
    error = math.hypot(refresh_s / 2, resolution_s / 2)
    middle = sorted(offsets)[len(offsets) // 2]
    near = [(o, seen) for o, (seen, _) in zip(offsets, readings, strict=True)]
    first, last = min(near, key=lambda n: n[1]), max(near, key=lambda n: n[1])
    hours = (last[1] - first[1]).total_seconds() / 3600
    change = last[0] - first[0]
    if hours >= 1 and abs(change) > 2 * error:
        if abs(change) / (hours * 3600) > 0.002:
            ask = (
                f"the photos of the time code disagree by {abs(change):.0f} s: "
                "was the camera's clock set in between?"
            )
            return Alignment(camera, Basis.CODE, middle, abs(change), pairs=len(offsets), ask=ask)
        drift = change / (hours * 3600)
        return Alignment(camera, Basis.CODE, first[0], error, drift, first[1], pairs=len(offsets))
    if max(offsets) - min(offsets) > 4 * error:
        ask = f"the photos of the time code disagree by {max(offsets) - min(offsets):.0f} s"
        return Alignment(camera, Basis.CODE, middle, abs(change), pairs=len(offsets), ask=ask)
    return Alignment(camera, Basis.CODE, sum(offsets) / len(offsets), error, pairs=len(offsets))


def align_said(
    camera: str,
    said: Sequence[tuple[datetime, datetime]],
    marks: Sequence[datetime],
    shots: Sequence[CameraTime],
    *,
    resolution_s: float = 1.0,
) -> Alignment:
    """From what was said (findings' starts and ends, marks) against shutter times.

    Every guess that explains the shots is kept; photos that they put to the same finding are
    placed. Where the shots say nothing, the clock is taken as it is, unless they contradict that:
    then the alignment carries the question and places nothing.
    """
    found = _by_reading(said, marks, shots, resolution_s)
    guesses = weighed(found)
    if not guesses.supported:
        taken = unaligned(camera)
        if guesses.groups < _FEW or guesses.best - guesses.as_it_is <= _CONTRADICTED:
            return replace(taken, readings=_possible(found))
        return replace(taken, ask="what was said does not tell how far this clock is off")
    # guess_offsets reads shutter times half a resolution later than they were cut to
    moved = tuple(replace(g, offset_s=g.offset_s + resolution_s / 2) for g in guesses.found)
    best = stretches(moved)[0]
    return Alignment(
        camera,
        Basis.MARKS,
        best.offset_s,
        math.hypot(best.half_s, LAG_S),
        guesses.drift,
        datetime.fromtimestamp(guesses.reference_s, UTC) if guesses.drift else None,
        guesses.groups,
        moved,
    )


def read_by_session(
    alignment: Alignment,
    said: Sequence[tuple[datetime, datetime]],
    marks: Sequence[datetime],
    shots: Sequence[CameraTime],
) -> Alignment:
    """A known difference with the readings of the recorded times that the session leaves possible.

    Only times around a change of the clocks have more than one.
    """
    if not any(shot.others for shot in shots):
        return alignment
    move = timedelta(seconds=alignment.offset_s)
    moved = [
        replace(shot, instant=shot.instant + move, others=tuple(o + move for o in shot.others))
        for shot in shots
    ]
    return replace(alignment, readings=_possible(_by_reading(said, marks, moved, 0.0)))


def _by_reading(
    said: Sequence[tuple[datetime, datetime]],
    marks: Sequence[datetime],
    shots: Sequence[CameraTime],
    resolution_s: float,
) -> list[Guesses]:
    spoken = [(start.timestamp(), end.timestamp()) for start, end in said]
    moments = [mark.timestamp() for mark in marks]
    ways = 1 + max((len(shot.others) for shot in shots), default=0)
    found = []
    for way in range(ways):
        times = [shot.reading(way).timestamp() for shot in shots]
        found.append(guess_offsets(spoken, moments, times, resolution_s=resolution_s))
    return found


def _possible(found: Sequence[Guesses]) -> tuple[int, ...]:
    """The readings under which the clock as it is explains the shots best, or nearly as well."""
    order = sorted(range(len(found)), key=lambda n: -found[n].as_it_is)
    best = found[order[0]].as_it_is
    return tuple(n for n in order if found[n].as_it_is > best - _ONE_READING)


def asked(alignment: Alignment, waiting: int) -> Alignment:
    """The alignment with the one question about it, when ``waiting`` photos hang on the answer."""
    if not waiting or not alignment.guesses:
        return alignment
    found = [
        f"{signed_duration(guess.offset_s)} ({guess.probability:.0%})"
        for guess in alignment.stretches
        if guess.probability >= _WORTH_NAMING
    ]
    more = f" or {len(found) - _NAMED} more" if len(found) > _NAMED else ""
    photos = "1 photo hangs" if waiting == 1 else f"{waiting} photos hang"
    ask = (
        f"{photos} on which it is, {' or '.join(found[:_NAMED])}{more}: "
        "photograph the time code, or give the difference"
    )
    return replace(alignment, ask=ask)


def unaligned(camera: str) -> Alignment:
    """The camera's clock taken as it is, with the uncertainty of a clock nobody checked."""
    return Alignment(camera, Basis.NONE, 0.0, UNALIGNED_S)


def signed_duration(seconds: float) -> str:
    """``+1 h 02 min 03.4 s`` for people; tenths of a second."""
    tenths = round(abs(seconds) * 10)
    hours, rest = divmod(tenths, 36000)
    minutes, rest = divmod(rest, 600)
    sign = "-" if seconds < 0 and tenths else "+"
    text = f"{rest / 10:.1f} s"
    if minutes or hours:
        text = (
            f"{minutes:02} min {rest / 10:04.1f} s"
            if hours
            else f"{minutes} min {rest / 10:04.1f} s"
        )
    return f"{sign}{hours} h {text}" if hours else f"{sign}{text}"
