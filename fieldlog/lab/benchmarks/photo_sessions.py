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
