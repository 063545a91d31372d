"""One filled store for the tests of the store and of the report: every kind of row at least once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path

import numpy as np

from fieldlog.audio.clip import RATE, Clip
from fieldlog.model.finding import Finding, Qualifier, Quantity
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.limit import Aggregation, Limit, LimitStatus, Relation
from fieldlog.model.state import Severity, State
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.model.verdict import Judgement, Verdict
from fieldlog.store.records import NewEntry, NewPhoto, NewUtterance, Stretch
from fieldlog.store.repository import Repository
from fieldlog.store.reviews import Decided, NewReview

START = datetime(2026, 5, 4, 8, 30, tzinfo=UTC)


def ticking(start: datetime = START, step_s: float = 1.0) -> Callable[[], datetime]:
    """A clock that moves on by ``step_s`` at each look."""
    now = start

    def clock() -> datetime:
        nonlocal now
        now += timedelta(seconds=step_s)
        return now

    return clock


def tread_limit(value: Fraction = Fraction(1), unit: str = "mm") -> Limit:
    """A limit with every part filled in (values invented for the tests)."""
    return Limit(
        id="test.tread",
        pack="test",
        component="tyre",
        characteristic="tread depth",
        relation=Relation.AT_LEAST,
        value=value,
        unit=unit,
        aggregation=Aggregation.THINNEST,
        applies={"jurisdiction": "GB"},
        source="an invented regulation, § 3",
        edition="2024",
        read_on="2026-05-01",
        status=LimitStatus.CITED,
        severity=Severity.MAJOR,
        advice="replace the tyre",
    )


def understood(text: str, **changes: object) -> Understanding:
    """An accepted finding said in ``text``, unless ``changes`` say otherwise."""
    parts: dict[str, object] = {
        "decision": Decision.ACCEPT,
        "kind": Kind.FINDING,
        "reason": "",
        "text": text,
        **changes,
    }
    return Understanding(**parts)  # type: ignore[arg-type]


def tone(seconds: float = 0.5, hertz: float = 440.0) -> Clip:
    """A clip of a plain tone."""
    t = np.arange(int(RATE * seconds)) / RATE
    return Clip((0.3 * np.sin(2 * np.pi * hertz * t)).astype(np.float32), start_s=1.0)


TREAD = Finding(
    "tyre",
    "rear",
    "tread depth",
    Quantity(
        Fraction(4, 32),
        "in",
        "four thirty seconds",
        high=Fraction(5, 32),
        qualifier=Qualifier.ABOUT,
        uncertainty=Fraction(1, 64),
    ),
    words="rear tread about four thirty seconds",
)
CRACKED = Finding(
    "brake disc", "front left", "condition", condition="cracked", words="disc cracked"
)
RUN_OUT = Finding(
    "rim",
    "front",
    "run-out lateral",
    Quantity(Fraction(2, 5), "mm", "nought to point four"),
    readings=(Quantity(Fraction(0), "mm", "nought"), Quantity(Fraction(2, 5), "mm", "point four")),
    words="front rim lateral nought point two point four",
    given=(("temperature", "20 degC"), ("rim", "steel")),
)
GRADE = Finding(
    "brake fluid", None, "grade", code="DOT 5.1", words="brake fluid dot five point one"
)


def tread_verdict(state: State = State.WITHIN) -> Verdict:
    """A verdict with a gating judgement, another one and a caution."""
    limit = tread_limit()
    other = tread_limit(Fraction(2, 32), "in")
    return Verdict(
        state=state,
        gate=Judgement(
            limit, state, Fraction(87, 40), 0.9987, Fraction(1, 10), Fraction(127, 40), "inside"
        ),
        others=(Judgement(other, state, Fraction(1, 16), None, None, Fraction(1, 8), "inside"),),
        severity=Severity.MAJOR,
        reason="inside by 2.2 mm",
        cautions=("support the machine before lifting a wheel",),
    )


@dataclass(frozen=True)
class Filled:
    """Ids of what ``fill`` wrote."""

    vehicle_id: str
    inspection_id: str
    tread_id: str
    corrected_id: str
    cracked_id: str
    photo_id: str
    clip: str
    original: str


def fill(store: Repository, folder: Path, *, newest: bool = True) -> Filled:
    """Write every kind of row at least once; ``folder`` is where a photo is made.

    ``newest``: with what only the newest schema has a column for.
    """
    vehicle = store.add_vehicle(
        "blue roadster", facts={"class": "L3e", "rim": "steel"}, odometer=_km(12_000)
    )
    store.set_facts(vehicle.id, {"rim": "alloy"})
    store.set_vehicle_limit(vehicle.id, tread_limit(Fraction(2)))
    inspection = store.start_inspection(
        vehicle.id,
        started_at=START,
        zone="Europe/Berlin",
        inspector="A. Inspector",
        place="bay 2",
        jurisdiction="DE",
        settings={"rim": "alloy"},
        odometer=_km(12_345),
        sure=True,  # in the past, and the vehicle was added with less
    )
    clip = store.media.save_clip(tone())
    hearings = (
        Hearing(
            "whisper",
            (
                Hypothesis("rear tread about four thirty seconds", -0.5, {"bend": 0.1}),
                Hypothesis("rear tread about five thirty seconds", -4.5, {"bend": 0.9}),
            ),
            95.0,
        ),
        Hearing("pocketsphinx", (Hypothesis("rear tread four", -2400.0),), 120.0),
    )
    saved = store.save(
        inspection.id,
        NewEntry(
            NewUtterance(
                understood("rear tread about four thirty seconds", flags=("homophone",)),
                said_at=START + timedelta(seconds=5),
                hearings=hearings,
                stretches=(Stretch(0.5, 1.9, 0), Stretch(1.9, 2.4)),
                words=((0.5, 0.8), (0.8, 1.1), (1.1, 1.4), (1.4, 1.6), (1.6, 1.9)),
                clip=clip,
                start_s=5.0,
                end_s=7.25,
                source="walk.flac",
                model="tiny.en 1a5afae0",
                grammar="9d3f",
            ),
            finding=TREAD,
            verdict=tread_verdict(),
            mark="photo",
        ),
    )
    assert saved.finding_id is not None
    corrected = store.save(
        inspection.id,
        NewEntry(
            finding=Finding(
                "tyre", "rear", "tread depth", Quantity(Fraction(1, 16), "in", "two thirty seconds")
            ),
            verdict=tread_verdict(State.MARGINAL),
            corrects=saved.finding_id,
            reason="misheard",
            made_by="review",
        ),
    )
    cracked = store.save(
        inspection.id, NewEntry(finding=CRACKED, verdict=Verdict(State.BEYOND, None))
    )
    store.save(inspection.id, NewEntry(finding=RUN_OUT if newest else replace(RUN_OUT, given=())))
    withdrawn = store.save(inspection.id, NewEntry(finding=GRADE))
    assert withdrawn.finding_id is not None
    store.withdraw(withdrawn.finding_id, reason="wrong machine")
    store.save(
        inspection.id,
        NewEntry(
            NewUtterance(
                understood("the owner wants it back friday", kind=Kind.REMARK),
                said_at=START + timedelta(seconds=30),
                clip=clip,
                start_s=30.0,
                end_s=33.0,
                source="walk.flac",
            ),
            remark="the owner wants it back friday",
        ),
    )
    store.save(
        inspection.id,
        NewEntry(
            NewUtterance(
                understood(
                    "",
                    decision=Decision.REFUSE,
                    kind=Kind.NOTHING,
                    reason="nothing of the grammar fits",
                ),
                said_at=START + timedelta(seconds=40),
                clip=clip,
                start_s=40.0,
                end_s=41.0,
                source="walk.flac",
            )
        ),
    )
    picture = folder / "IMG_0001.JPG"
    picture.write_bytes(b"\xff\xd8 not a real picture, only bytes \xff\xd9")
    original = store.media.save_file(picture)
    photo_id = store.add_photo(
        inspection.id,
        NewPhoto(
            original,
            "IMG_0001.JPG",
            "jpeg",
            capture_local="2026-05-04T10:30:07.25",
            offset="+02:00",
            utc=START + timedelta(seconds=7.25),
            camera="Umberfold X1 0042",
            orientation=6,
        ),
    )
    store.attach(inspection.id, photo_id, None, reason="two findings fit", candidates=("a", "b"))
    assert cracked.finding_id is not None
    store.attach(
        inspection.id,
        photo_id,
        cracked.finding_id,
        reason="moved on the review page",
        gap_s=2.25,
        uncertainty_s=0.5,
    )
    store.set_clock(
        inspection.id, "Umberfold X1 0042", 3600.5, 0.5, how="time code", evidence={"pairs": "4"}
    )
    decided = store.save(
        inspection.id,
        NewEntry(
            review=NewReview(
                Decided.MOVED,
                "R. Reviewer",
                saved.utterance_id,
                photo_id,
                saved.finding_id,
                cracked.finding_id,
                sampled=True,
                note="it shows the disc",
            )
        ),
    )
    assert decided.review_id is not None
    taken_back = NewReview(Decided.UNDONE, "R. Reviewer", undoes=decided.review_id)
    store.save(inspection.id, NewEntry(review=taken_back))
    store.add_event(inspection.id, "overflow", "0.2 s of sound lost", data={"at_s": "12.5"})
    return Filled(
        vehicle.id,
        inspection.id,
        saved.finding_id,
        str(corrected.finding_id),
        cracked.finding_id,
        photo_id,
        clip,
        original,
    )


def _km(distance: int) -> Quantity:
    return Quantity(Fraction(distance), "km", f"{distance} kilometres")
