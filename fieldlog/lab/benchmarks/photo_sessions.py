"""Invented photo sessions with a known truth, to measure alignment and attachment (pure).

How people behave in them is common practice, not measured: most say the finding and shoot within
seconds, half say "photo" first, a few shoot first and speak then, some come back later with the
camera, some photos have nothing to do with any finding.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from fieldlog.photos.attach import SpokenFinding, TimedMark

START = datetime(2026, 5, 1, 8, 0, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class TakenPhoto:
    """One invented photo: what its camera recorded and the finding it truly belongs to."""

    name: str
    recorded: datetime
    """The camera's clock cut to its resolution, as aware UTC."""
    resolution_s: float
    truth: str | None
    """Id of the finding it shows; None when it shows none."""


@dataclass(frozen=True, slots=True)
class Session:
    """Findings, marks and photos of one walk; ``offset_s``: session minus camera clock."""

    findings: tuple[SpokenFinding, ...]
    marks: tuple[TimedMark, ...]
    photos: tuple[TakenPhoto, ...]
    offset_s: float
    drift: float


def invent_session(
    seed: int,
    *,
    findings: int = 300,
    photos: int = 500,
    marked: float = 0.5,
    shot_first: float = 0.02,
    later: float = 0.02,
    strangers: float = 0.02,
) -> Session:
    """One session with about ``photos`` photos for ``findings`` findings.

    ``marked`` is the share of photographed findings for which "photo" is said, ``shot_first`` of
    those shot before they are spoken, ``later`` of those shot 20 to 50 s after; ``strangers`` is
    the share of photos that show nothing that was found.
    """
    rng = random.Random(seed)
    offset = rng.uniform(-14.5, 14.5) * 3600
    drift = rng.uniform(-40e-6, 40e-6)
    resolution = rng.choice((1.0, 1.0, 0.01))
    spoken: list[SpokenFinding] = []
    marks: list[TimedMark] = []
    shots: list[tuple[float, str | None]] = []
    own = round(photos * (1 - strangers))
    at = 30.0
    for number in range(findings):
        name = f"f{number:04}"
        left = own - len(shots)
        here = 0
        if rng.random() < 0.6 or left > 3 * (findings - number):
            here = max(1, min(round(rng.gammavariate(2.0, 1.4)), left, 8)) if left > 0 else 0
        style = rng.random()
        begin = at + rng.lognormvariate(2.2, 0.7)
        if here and style < shot_first:
            shots += [(begin - rng.uniform(0.5, 3.5), name)]
            here -= 1
        end = begin + rng.uniform(1.2, 4.0)
        spoken.append(SpokenFinding(name, _at(begin), _at(end)))
        at = end
        if here and style > 1 - marked:
            at = end + rng.uniform(0.3, 2.0)
            marks.append(TimedMark(_at(at), None))
        if here and shot_first <= style < shot_first + later:
            at += rng.uniform(20.0, 45.0)
        for _ in range(here):
            burst = rng.random() < 0.2
            at += rng.uniform(0.15, 0.5) if burst else 0.7 + rng.expovariate(1 / 2.0)
            shots.append((at, name))
        if rng.random() < 0.01:
            at += rng.uniform(240.0, 400.0)
            if rng.random() < 0.8:
                shots.append((at - rng.uniform(100.0, 130.0), None))
    while len(shots) < photos:
        at += rng.uniform(80.0, 200.0)
        shots.append((at, None))
    taken = []
    for number, (moment, truth) in enumerate(sorted(shots, key=lambda s: s[0])):
        camera = moment - offset - drift * moment
        recorded = (camera // resolution) * resolution
        taken.append(TakenPhoto(f"IMG_{number:05}.jpg", _at(recorded), resolution, truth))
    return Session(tuple(spoken), tuple(marks), tuple(taken), offset, drift)


def _at(seconds: float) -> datetime:
    return START + timedelta(seconds=seconds)


ORDINARY = 20
"""Scripted ordinary sessions."""
_CLOSE_S = 1.5


def ordinary_session(number: int) -> Session:
    """One of the scripted ordinary sessions, ``number`` from 0: the same each time.

    10 to 60 photos, the camera 0 s to 14 h off in either direction, every second pair of sessions
    with spoken marks; every second session has a rival: another difference within 10 s that pairs
    as many shots with words as the true one (``pairs_at``), either because some shots come late by
    about the same time, or because something else is said about that long after.
    """
    offsets = (0.0, 1022.0, -2.5, 3600.0, -7205.0, 41.0, 25200.0, -950.0, 13.0, 50390.0)
    offset = offsets[number % len(offsets)] * (1 if number < len(offsets) else -1)
    marked, rival = number % 4 < 2, number % 2 == 1
    attempt = 0
    while True:
        rng = random.Random(f"ordinary {number} {attempt}")
        session = _ordinary(rng, offset, 10 + round(50 * (number % 10) / 9), marked, rival)
        attempt += 1
        if not rival or rival_of(session) is not None:
            return session


def pairs_at(session: Session, offset_s: float) -> int:
    """Shots that a word (end of a finding, or mark) precedes by ``_CLOSE_S`` +/- the same."""
    words = sorted([f.end for f in session.findings] + [m.at for m in session.marks])
    found = 0
    for photo in session.photos:
        at = photo.recorded + timedelta(seconds=offset_s)
        found += any(0 <= (at - word).total_seconds() <= 2 * _CLOSE_S for word in words)
    return found


def rival_of(session: Session) -> float | None:
    """How far from the true one a difference lies that pairs as many shots; None without one."""
    own = pairs_at(session, session.offset_s)
    for away in (3.5, -3.5, 4.5, -4.5, 5.5, -5.5, 6.5, -6.5, 7.5, -7.5, 8.5, -8.5, 9.5, -9.5):
        if pairs_at(session, session.offset_s + away) >= own:
            return away
    return None


def _ordinary(rng: random.Random, offset: float, photos: int, marked: bool, rival: bool) -> Session:
    spoken: list[SpokenFinding] = []
    marks: list[TimedMark] = []
    shots: list[tuple[float, str | None]] = []
    habit, later = rng.uniform(0.8, 3.0), rng.uniform(3.5, 9.5)
    twins = rival and rng.random() < 0.5
    at = 20.0
    while len(shots) < photos:
        name = f"f{len(spoken):03}"
        begin = at + 4.0 + rng.lognormvariate(2.6, 0.6)
        at = begin + rng.uniform(1.2, 4.0)
        spoken.append(SpokenFinding(name, _at(begin), _at(at)))
        if rng.random() > 0.55:
            continue
        if marked:
            at += rng.uniform(0.5, 2.0)
            marks.append(TimedMark(_at(at), None))
        word = at
        at += 0.3 + habit * rng.lognormvariate(0.0, 0.45)
        if rival and not twins and rng.random() < 0.55:
            at += later
        shots.append((at, name))
        while len(shots) < photos and rng.random() < 0.25:
            at += rng.uniform(1.5, 6.0)
            shots.append((at, name))
        if twins and rng.random() < 0.6:
            at = max(at + rng.uniform(1.0, 2.0), word + later - 1.2)
            twin = f"f{len(spoken):03}"
            spoken.append(SpokenFinding(twin, _at(at), _at(at + 1.2)))
            at += 1.2
    taken = [
        TakenPhoto(f"IMG_{n:04}.jpg", _at((moment - offset) // 1), 1.0, truth)
        for n, (moment, truth) in enumerate(shots)
    ]
    return Session(tuple(spoken), tuple(marks), tuple(taken), offset, 0.0)
