"""The clock of each camera against the session clock: offset, drift, uncertainty (pure).

A camera's clock is whatever its photos record: UTC where they carry their offset, else local time
read in the session's zone ("assumed"). An alignment says what to add to it to get the session
clock; it belongs to one camera (make, model, serial), changes no photo and no other camera, and is
withdrawn by leaving it out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from enum import StrEnum

from fieldlog.photos.facts import PhotoFacts
from fieldlog.photos.matching import MatchResult, match_times

READ_ERROR_S = 0.5
"""Half width of reading a clock that shows whole seconds."""
SPOKEN_LAG_S = 1.0
"""A shutter follows the word "photo" by about this long, give or take as much (common practice)."""
UNALIGNED_OFFSET_S = 10.0
"""Uncertainty taken for a camera that was never aligned (common practice: set by hand or network)."""


class Basis(StrEnum):
    """What an alignment rests on."""

    CODE = "photo of the time code"
    MARKS = "marks against shutter times"
    EVENT = "known event"
    GIVEN = "given"
    NONE = "not aligned"


@dataclass(frozen=True, slots=True)
class RivalOffset:
    """Another difference that explains the marks nearly as well."""

    offset_s: float
    pairs: int


@dataclass(frozen=True, slots=True)
class Alignment:
    """One camera's clock against the session clock.

    Session time = camera time + ``offset_s`` + ``drift`` x (camera time - ``reference``).
    ``uncertainty_s`` is the expanded uncertainty (k = 2) of that sum at the reference; ``ask`` is
    the question to put when the alignment must not be used without an answer.
    """

    camera: str
    basis: Basis
    offset_s: float
    uncertainty_s: float
    drift: float = 0.0
    reference: datetime | None = None
    """Camera time (aware, UTC) at which ``offset_s`` holds; None when there is no drift."""
    pairs: int = 0
    """Pairs of mark and shot, or photos of the code, that support it."""
    spread_s: float = 0.0
    """Robust standard deviation of those pairs."""
    runner_up: RivalOffset | None = None
    ask: str = ""

    @property
    def usable(self) -> bool:
        """True when nothing has to be asked first."""
        return not self.ask

    def session_time(self, camera_time: datetime) -> datetime:
        """The instant on the session clock for an aware instant on the camera's clock."""
        drifted = 0.0
        if self.drift and self.reference is not None:
            drifted = self.drift * (camera_time - self.reference).total_seconds()
        return camera_time + timedelta(seconds=self.offset_s + drifted)

    def __str__(self) -> str:
        """One line for people: what, how sure, why."""
        text = f"{self.camera}: {signed_duration(self.offset_s)} +/- {self.uncertainty_s:.1f} s"
        if self.drift:
            text += f", drifting {self.drift * 86400:+.1f} s a day"
        text += f" ({self.basis.value}"
        text += f", {self.pairs} pairs)" if self.pairs else ")"
        return f"{text}: {self.ask}" if self.ask else text


@dataclass(frozen=True, slots=True)
class CameraTime:
    """A capture instant on the camera's clock: aware UTC, ``assumed`` when the zone was not said."""

    instant: datetime
    assumed: bool


def camera_time(facts: PhotoFacts, zone: tzinfo) -> CameraTime | None:
    """When the camera says a photo was taken; None when it says nothing usable.

    Without OffsetTimeOriginal the local time is read in ``zone``, the session's, and marked
    assumed.
    """
    utc = facts.utc
    if utc is not None:
        return CameraTime(utc, assumed=False)
    local = facts.local
    if local is None:
        return None
    try:
        return CameraTime(local.replace(tzinfo=zone).astimezone(UTC), assumed=True)
    except OverflowError:
        return None


def align_given(camera: str, offset_s: float, uncertainty_s: float = READ_ERROR_S) -> Alignment:
    """An offset that somebody entered: session clock minus camera clock, in seconds."""
    return Alignment(camera, Basis.GIVEN, offset_s, uncertainty_s)


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


def align_marks(
    camera: str,
    marks: Sequence[datetime],
    shots: Sequence[datetime],
    *,
    resolution_s: float = 1.0,
    centre_s: float = 0.0,
    lag_s: float = 0.0,
) -> Alignment | None:
    """From marks (session clock) against shutter times (camera clock), all aware UTC.

    ``lag_s`` is how long after its mark a shot comes on average; it is added to the offset and,
    since nobody measured it, to the uncertainty too. Spoken marks have ``SPOKEN_LAG_S``.

    None when there are too few to say anything. When another difference explains them nearly as
    well, the alignment carries the question and is not usable until somebody answers it.
    """
    result = match_times(
        [mark.timestamp() for mark in marks],
        [shot.timestamp() for shot in shots],
        resolution_s=resolution_s,
        centre_s=centre_s,
    )
    return _from_match(camera, result, resolution_s, lag_s)


def _from_match(
    camera: str, result: MatchResult, resolution_s: float, lag_s: float
) -> Alignment | None:
    best = result.best
    if best is None:
        return None
    runner_up = None
    if result.runner_up is not None:
        runner_up = RivalOffset(result.runner_up.offset_s, result.runner_up.pairs)
    ask = ""
    if not result.clear:
        ask = f"{signed_duration(best.offset_s)} pairs {best.pairs} photos with marks"
        if runner_up is not None:
            ask += f", but {signed_duration(runner_up.offset_s)} pairs {runner_up.pairs}"
        else:
            ask += ", no more than chance may"
        ask += ": photograph the time code, or give the difference"
    reference = datetime.fromtimestamp(best.reference_s, UTC)
    # match_times reads shutter times half a resolution later than they were cut to
    offset = best.offset_s + resolution_s / 2 + lag_s
    return Alignment(
        camera,
        Basis.MARKS,
        offset,
        math.hypot(best.uncertainty_s, lag_s),
        best.drift,
        reference if best.drift else None,
        best.pairs,
        best.spread_s,
        runner_up,
        ask,
    )


def unaligned(camera: str) -> Alignment:
    """The camera's clock taken as it is, with the uncertainty of a clock nobody checked."""
    return Alignment(camera, Basis.NONE, 0.0, UNALIGNED_OFFSET_S)


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
