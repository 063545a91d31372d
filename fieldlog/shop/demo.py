"""The main job on the demo's audio and photos: hear, parse, check, attach, store, report.

The demo's manifest says which file begins when on the session clock; nothing else of it is used
here. What must come out is only read by ``deviations``, which holds the record against it.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path
from typing import Any

from fieldlog.audio.clip import Clip
from fieldlog.audio.endpointer import utterances
from fieldlog.bundle.make import whole
from fieldlog.bundle.page import page
from fieldlog.model.context import Context
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.understanding import Understanding
from fieldlog.photos.importer import import_folder
from fieldlog.photos.placing import Placed, place_photos
from fieldlog.report.write import ReportFiles
from fieldlog.shop import events as ev
from fieldlog.shop.conversation import utterances_of
from fieldlog.shop.ears import Ears
from fieldlog.shop.events import Event
from fieldlog.shop.happened import understood_by
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.witness import keyring
from fieldlog.shop.workshop import Workshop
from fieldlog.store.records import Inspection, InspectionRecord, RecordedFinding
from fieldlog.words.as_json import picked

Manifest = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one utterance led to."""

    clip: Clip
    understood: Understanding
    events: tuple[Event, ...]

    @property
    def start_s(self) -> float:
        """Where it begins in its recording."""
        return self.clip.start_s


Tell = Callable[[str, Outcome], None]
"""Called with a part's file name and what each utterance led to, as soon as it is in the record."""


@dataclass(frozen=True, slots=True)
class Demo:
    """What a run of the demo left behind."""

    inspection: Inspection
    outcomes: tuple[tuple[str, Outcome], ...]
    placed: Placed
    written: ReportFiles
    key: str
    """Fingerprint of the key that it was signed off with."""
    bundle: Path
    page: Path
    """The page that checks the bundle in any browser."""


def read_manifest(media: Path) -> Manifest:
    """The demo's manifest."""
    manifest: Manifest = json.loads((media / "manifest.json").read_text(encoding="utf-8"))
    return manifest


def run(
    media: Path,
    shop: Workshop,
    out: Path,
    ears: Ears,
    tell: Tell,
    *,
    formats: tuple[str, ...] = ("html", "pdf", "json", "csv"),
) -> Demo:
    """Do the whole job in ``shop`` and write the report into ``out``."""
    manifest = read_manifest(media)
    inspection = begin(shop, manifest)
    inspecting = shop.inspecting(inspection.id, ears)
    outcomes: list[tuple[str, Outcome]] = []
    for part in manifest["parts"]:
        inspecting.conversation.afresh()
        for heard in utterances_of(utterances(media / part["file"]), inspecting.conversation):
            events = inspecting.say(heard, part["file"], float(part["begins_s"]))
            outcome = Outcome(heard.clip, understood_by(events), events)
            outcomes.append((part["file"], outcome))
            tell(part["file"], outcome)
    day = inspection.started_at.date()
    import_folder(shop.store, inspection.id, media / "photos", day)
    placed = place_photos(shop.store, inspection.id, day)
    written = shop.report(inspection.id, out, formats)
    key = _signed(shop, inspecting)
    bundle = shop.bundle(inspection.id, out=out)
    checks = out / "verify-bundle.html"
    with whole(checks) as partial:
        partial.write_text(page(), encoding="utf-8")
    return Demo(inspection, tuple(outcomes), placed, written, key, bundle, checks)


def _signed(shop: Workshop, inspecting: Inspecting) -> str:
    """Sign the inspection off with a key made on the spot; its fingerprint.

    Nobody is told the PIN: the key is the demo's, and signs once.
    """
    ring, name = keyring(shop.store), inspecting.head.inspector
    pin = secrets.token_hex(8)
    ring.make(name, pin)
    signer = ring.open(name, pin)
    inspecting.sign_off(name, as_it_stands=True, signer=signer)
    return signer.fingerprint


def begin(shop: Workshop, manifest: Manifest) -> Inspection:
    """The demo's vehicle and the head of its inspection, in the record."""
    facts = {key: str(value) for key, value in manifest["vehicle"].items()}
    name = facts.pop("name")
    odometer = Quantity(Fraction(facts.pop("odometer_mi")), "mi")
    vehicle = shop.add_vehicle(name, facts)
    head = manifest["inspection"]
    started = datetime.fromisoformat(head["start"])
    return shop.begin(
        vehicle.name,
        Context(head["jurisdiction"]),
        started_at=started.astimezone(UTC),
        zone=started.isoformat()[-6:],
        inspector=head["inspector"],
        place=head["workshop"],
        odometer=odometer,
    )


def deviations(
    outcomes: Sequence[tuple[str, Outcome]], record: InspectionRecord, manifest: Manifest
) -> list[str]:
    """Everything in which the record differs from what the manifest says must come out.

    ``outcomes``: of each utterance, in order, with its part's file name.
    """
    found: list[str] = []
    ids: dict[str, str] = {}
    kept = {each.id: each for each in record.findings}
    for part in manifest["parts"]:
        heard = [outcome for file, outcome in outcomes if file == part["file"]]
        wanted = part["utterances"]
        if len(heard) != len(wanted):
            found.append(f"{part['file']}: {len(heard)} utterances instead of {len(wanted)}")
        for spoken, outcome in zip(wanted, heard, strict=False):
            found += _differs(spoken, outcome, kept, ids)
    unasked = [each for key, each in kept.items() if key not in ids.values()]
    found += [f"finding {each.number}: nobody said {each.finding.component}" for each in unasked]
    attached = {
        photo.file: photo.attachment.finding_id if photo.attachment else None
        for photo in record.photos
    }
    for photo in manifest["photos"]:
        name, owner = photo["file"], photo["belongs_to"]
        if attached.get(name) is None or attached.get(name) != ids.get(owner):
            found.append(f"photo {name}: not at {owner}")
    return found


def expected(spoken: Manifest) -> list[dict[str, str]]:
    """What an utterance of the manifest must come out as: a table for each finding of a breath."""
    expect = spoken["expect"]
    return expect if isinstance(expect, list) else [{"id": spoken["id"], **expect}]


def _differs(
    spoken: Manifest, outcome: Outcome, kept: Mapping[str, RecordedFinding], ids: dict[str, str]
) -> Iterable[str]:
    """One utterance against the record; what it put there goes into ``ids``, by the manifest's ids."""
    wanted = expected(spoken)
    taken = sum("component" in one and one.get("decision") != "ask" for one in wanted)
    saved = [e for e in outcome.events if isinstance(e, ev.FindingSaved | ev.FindingCorrected)]
    if len(saved) != taken:
        yield f"{spoken['id']}: findings taken: {len(saved)} instead of {taken}"
    for one, event in zip(wanted, saved or (None,), strict=False):
        understood = event.said.understanding if event else outcome.understood
        recorded = kept.get(event.kept.id) if event else None
        if event and recorded is None:
            yield f"{one['id']}: is not in the record"
            continue
        if recorded is not None:
            ids[one["id"]] = recorded.id
        got = _facts(understood, recorded)
        for key, told in {"decision": "accept", **one}.items():
            want = ids.get(told) if key == "corrects" else told
            if key != "id" and got.get(key) != want:
                yield f"{one['id']}: {key} is {got.get(key)!r} instead of {want!r} (heard: {understood.text!r})"


def _facts(understood: Understanding, recorded: RecordedFinding | None) -> dict[str, str | None]:
    question, finding = understood.question, understood.finding
    facts: dict[str, str | None] = {
        **picked(understood, "decision", "kind", "dialogue"),
        "rest": question.rest if question is not None else None,
    }
    if recorded is not None:
        finding = recorded.finding
        facts["corrects"] = recorded.supersedes
        facts["state"] = recorded.verdict.state.value if recorded.verdict else None
    return facts if finding is None else facts | _of(finding)


def _of(finding: Finding) -> dict[str, str | None]:
    quantity = finding.quantity
    return {
        **picked(finding, "component", "position", "characteristic", "condition", "code"),
        "value": None if quantity is None else str(quantity.value),
        "unit": None if quantity is None else quantity.unit,
    }
