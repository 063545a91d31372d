"""Records that grow apart, and bundles of them: what the campaigns work on."""

from __future__ import annotations

import io
import random
import shutil
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path

import numpy as np
from PIL import Image

from fieldlog.audio.clip import RATE, Clip
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.state import Severity, State
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.model.verdict import Verdict
from fieldlog.shop import witness
from fieldlog.shop.workshop import Workshop
from fieldlog.store.records import NewEntry, NewPhoto, NewUtterance
from fieldlog.store.repository import Repository

START = datetime(2026, 5, 4, 8, 30, tzinfo=UTC)


def ticking(start: datetime = START, step_s: float = 1.0) -> Callable[[], datetime]:
    """A clock that moves on by ``step_s`` at each look."""
    now = start

    def clock() -> datetime:
        nonlocal now
        now += timedelta(seconds=step_s)
        return now

    return clock


def fill(store: Repository, name: str, seed: int = 0) -> str:
    """A vehicle with an inspection: clip, photo, findings, verdicts, a correction; its inspection's id."""
    vehicle = store.add_vehicle(name, facts={"rim": "steel"}, odometer=_km(12_000))
    head = store.start_inspection(
        vehicle.id,
        started_at=START,
        zone="UTC",
        inspector="A. Smith",
        odometer=_km(12_300 + seed),
        sure=True,
    )
    worn = say(store, head.id, "chain slack forty millimetres", _finding("drive chain", 40), seed)
    say(store, head.id, "front brake disc cracked", _cracked(), seed + 1, State.FAULTY)
    store.save(
        head.id,
        NewEntry(
            finding=_finding("drive chain", 30),
            verdict=_verdict(State.WITHIN),
            corrects=worn,
            reason="misheard",
            made_by="review",
        ),
    )
    store.add_remark(head.id, "pulls to the left")
    photo = store.add_photo(
        head.id,
        NewPhoto(store.media.save_bytes(picture(seed), "jpg"), f"IMG_{seed:04}.JPG", "jpeg"),
    )
    store.attach(head.id, photo, worn, reason="by hand")
    return head.id


def say(
    store: Repository,
    inspection: str,
    words: str,
    finding: Finding,
    seed: int,
    state: State = State.BEYOND,
) -> str:
    """An utterance with its clip and finding; the finding's id."""
    understanding = Understanding(Decision.ACCEPT, Kind.FINDING, "", words)
    clip = store.media.save_clip(tone(200.0 + 10 * seed))
    saved = store.save(
        inspection,
        NewEntry(
            NewUtterance(
                understanding,
                START + timedelta(seconds=seed),
                hearings=(Hearing("typed", (Hypothesis(words, -0.5, {}),), 90.0),),
                clip=clip,
                source="microphone",
            ),
            finding=finding,
            verdict=_verdict(state),
        ),
    )
    assert saved.finding_id is not None
    return saved.finding_id


def tone(hertz: float) -> Clip:
    """A tenth of a second of a plain tone."""
    t = np.arange(RATE // 10) / RATE
    return Clip((0.3 * np.sin(2 * np.pi * hertz * t)).astype(np.float32), start_s=1.0)


def picture(seed: int) -> bytes:
    """A small photo (JPEG) of noise and a bar."""
    pixels = np.random.default_rng(seed).integers(60, 120, (240, 320, 3), np.uint8)
    pixels[100:140, 40:280] = 230
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=85)
    return out.getvalue()


def _finding(component: str, value: int) -> Finding:
    return Finding(
        component,
        None,
        "slack",
        Quantity(Fraction(value), "mm", f"{value} millimetres"),
        words="slack",
    )


def _cracked() -> Finding:
    return Finding("brake disc", "front", "condition", condition="cracked", words="disc cracked")


def _verdict(state: State) -> Verdict:
    severity = Severity.DANGEROUS if state is State.FAULTY else Severity.MAJOR
    return Verdict(state, None, severity=severity, reason="by the campaign")


def _km(distance: int) -> Quantity:
    return Quantity(Fraction(distance), "km", f"{distance} kilometres")


def grown_apart(folder: Path, chance: random.Random) -> list[Path]:
    """Bundles of three copies of one record that went on apart, interleaved and merged now and then."""
    first = folder / "0"
    with Workshop.open(first, now=ticking()) as shop:
        for number, name in enumerate(("blue roadster", "red single")):
            fill(shop.store, name, number * 10)
    copies = [first]
    for number in (1, 2):
        copies.append(folder / str(number))
        shutil.copytree(first, copies[-1])
    bundles: list[Path] = []
    for step in range(9):
        at = copies[step % 3]
        with Workshop.open(at, now=ticking(START + timedelta(hours=1 + step))) as shop:
            heads = shop.store.inspections()
            for each in chance.sample(heads, len(heads)):
                _goes_on(shop.store, each.id, chance, 100 * step)
            if chance.random() < 0.3:
                shop.store.merge(chance.choice([each for each in copies if each != at]))
            out = folder / "bundles" / str(step)
            key = chance.choice(heads).id
            if chance.random() < 0.5:
                bundles.append(shop.bundle(key, out=out))
            else:
                bundles.append(shop.bundle(vehicle=shop.store.inspection(key).vehicle_id, out=out))
    return bundles


def _goes_on(store: Repository, inspection: str, chance: random.Random, seed: int) -> None:
    record = store.inspection_record(inspection)
    standing = [each for each in record.findings if each.stands]
    act = chance.random()
    if act < 0.4 or not standing:
        say(
            store,
            inspection,
            "chain slack",
            _finding("drive chain", seed % 50 + 1),
            seed + chance.randrange(90),
        )
    elif act < 0.6:
        again, of = replace(_cracked(), words=f"again {seed}"), chance.choice(standing).id
        store.save(inspection, NewEntry(finding=again, corrects=of, made_by="review"))
    elif act < 0.7:
        store.withdraw(chance.choice(standing).id, reason="by the campaign")
    elif act < 0.8:
        store.add_odometer(
            record.vehicle.id, _km(12_400 + seed), inspection_id=inspection, sure=True
        )
    else:
        event = "signed off"
        store.add_event(inspection, event, "A. Smith")


def checkpoint_of(store: Repository, now: datetime) -> str:
    """The text of a checkpoint of the whole record."""
    return witness.checkpoint(store, "campaign", now).text
