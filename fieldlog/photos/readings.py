"""What a camera's recorded local times may mean as instants (pure).

A photo that carries its offset from UTC means one instant. Without it the local time is read in
the session's zone and marked assumed. When the zone's clocks change around that time, a camera may
have followed the change or not, and an hour comes twice or never: every way to read the whole
series is then a candidate, and what was said decides between them (``clock.align_said``).
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta, timezone, tzinfo

from fieldlog.photos.clock import CameraTime
from fieldlog.photos.facts import PhotoFacts

_AROUND = timedelta(hours=3)
"""How near to a series of photos a change of the clocks must be to matter for how it is read."""


def camera_times(photos: Sequence[PhotoFacts], zone: tzinfo) -> list[CameraTime | None]:
    """When the camera says each photo was taken, in the order given; None where nothing usable.

    ``photos`` are those of one camera in the order of their names, which is that of their taking:
    where the times go back while the names go on, the repeated hour has begun again.
    """
    own = [_instant(facts.utc) for facts in photos]
    local = [facts.local if utc is None else None for facts, utc in zip(photos, own, strict=True)]
    ways = _ways([moment for moment in local if moment is not None], zone)
    found: list[CameraTime | None] = []
    assumed: list[list[datetime | None]] = []
    for way in ways:
        read = _read(local, way)
        if read not in assumed:
            assumed.append(read)
    for number, utc in enumerate(own):
        moment = local[number]
        if utc is not None:
            found.append(CameraTime(utc, assumed=False))
            continue
        first, *others = [way[number] for way in assumed]
        if moment is None or first is None:
            found.append(None)
            continue
        usable = tuple(first if other is None else other for other in others)
        repeated = _offset(zone, moment, 0) > _offset(zone, moment, 1)
        found.append(CameraTime(first, True, usable, repeated))
    return found


Way = tuple[tzinfo, int | None]
"""A zone and which of two equal local times is meant: 0 the first, 1 the second, None: in order."""


def _ways(local: Sequence[datetime], zone: tzinfo) -> list[Way]:
    """The ways to read a series of local times, the plainest first."""
    plain: Way = (zone, None)
    if not local:
        return [plain]
    try:
        before = _offset(zone, min(local) - _AROUND, 0)
        after = _offset(zone, max(local) + _AROUND, 1)
    except OverflowError:
        return [plain]
    if before == after:
        return [plain]
    # The camera followed the change, before or after or between two photos; or it did not.
    return [plain, (zone, 0), (zone, 1), (timezone(before), 0), (timezone(after), 0)]


def _offset(zone: tzinfo, moment: datetime, fold: int) -> timedelta:
    return moment.replace(tzinfo=zone, fold=fold).utcoffset() or timedelta(0)


def _read(local: Sequence[datetime | None], way: Way) -> list[datetime | None]:
    zone, fold = way
    found: list[datetime | None] = []
    again = False
    last: datetime | None = None
    for moment in local:
        if moment is None:
            found.append(None)
            continue
        again = again or (last is not None and moment < last)
        last = moment
        which = int(again) if fold is None else fold
        found.append(_instant(moment.replace(tzinfo=zone, fold=which)))
    return found


def _instant(moment: datetime | None) -> datetime | None:
    try:
        return moment.astimezone(UTC) if moment is not None else None
    except OverflowError:
        return None
