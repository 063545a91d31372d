"""An inspection as exchanges: each thing that was said, with all that came of it (pure)."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from dataclasses import dataclass

from fieldlog.store.records import InspectionRecord, Photo, RecordedFinding, Remark, Utterance
from fieldlog.store.reviews import Decided, Review, counting

BESIDE = frozenset({Decided.MOVED, Decided.REMARKED, Decided.UNREMARKED})
"""What is done beside deciding whether it was heard right."""


@dataclass(frozen=True, slots=True)
class Exchange:
    """One thing said, the answers to what was asked of it, and all that they led to."""

    id: str
    """Of the utterance that it begins with; of the finding, where nothing was said."""
    said: tuple[Utterance, ...]
    """The first utterance, its answers, and what a reviewer typed in their place."""
    findings: tuple[RecordedFinding, ...]
    """All of them, oldest first; some may stand no more."""
    photos: tuple[Photo, ...]
    """Those of the findings that stand."""
    reviews: tuple[Review, ...]
    """Decisions that count, oldest first."""
    marks: tuple[str, ...]
    """Ids of everything that a decision about it may hang on."""

    @property
    def first(self) -> Utterance | None:
        """What was said first; None where nothing was."""
        return self.said[0] if self.said else None

    @property
    def heard(self) -> tuple[Utterance, ...]:
        """What was said with sound."""
        return tuple(each for each in self.said if each.clip is not None)

    @property
    def standing(self) -> tuple[RecordedFinding, ...]:
        """What stands of it now."""
        return tuple(each for each in self.findings if each.stands)

    @property
    def state(self) -> str:
        """Fingerprint of all that a decision about it may hang on: another one, and something changed."""
        return hashlib.sha256("\n".join(self.marks).encode()).hexdigest()[:16]

    @property
    def decided(self) -> Review | None:
        """The decision that counts; None where there is none, or findings came after it."""
        made = [each for each in self.reviews if each.decided not in BESIDE]
        if not made or any(each.turn > made[-1].turn for each in self.standing):
            return None
        return made[-1]


def exchanges_of(record: InspectionRecord) -> tuple[Exchange, ...]:
    """Every exchange of an inspection, in the order of what was said."""
    return _Grouping(record).exchanges()


class _Grouping:
    def __init__(self, record: InspectionRecord) -> None:
        self.record = record
        self.findings = {each.id: each for each in record.findings}
        self.said = {each.id: each for each in record.utterances}
        self.typed_for: dict[str, str] = {}
        for review in record.reviews:
            made = self.findings.get(review.finding_id or "")
            typed = self.said.get((made.utterance_id if made else None) or "")
            if typed is not None and typed.clip is None and review.utterance_id != typed.id:
                owner = review.utterance_id or self._unsaid(review.was)
                if owner:
                    self.typed_for.setdefault(typed.id, owner)

    def exchanges(self) -> tuple[Exchange, ...]:
        said: dict[str, list[Utterance]] = {}
        for each in self.record.utterances:
            said.setdefault(self._root(each.id), []).append(each)
        found: dict[str, list[RecordedFinding]] = defaultdict(list)
        for finding in self.record.findings:
            found[self.home(finding)].append(finding)
        homes = {each.id: home for home, several in found.items() for each in several}
        photos: dict[str, list[Photo]] = defaultdict(list)
        for photo in self.record.photos:
            at = self.placed(photo)
            if at is not None:
                photos[homes[at.id]].append(photo)
        reviews: dict[str, list[Review]] = defaultdict(list)
        for review in self.record.reviews:
            reviews[self._of(review)].append(review)
        return tuple(
            Exchange(
                name,
                tuple(said.get(name, ())),
                tuple(found.get(name, ())),
                tuple(photos.get(name, ())),
                counting(tuple(reviews.get(name, ()))),
                (
                    *(each.id for each in said.get(name, ())),
                    *(f"{each.id} {each.stands}" for each in found.get(name, ())),
                    *(each.id for each in reviews.get(name, ())),
                    *(p.attachment.id for p in photos.get(name, ()) if p.attachment),
                ),
            )
            for name in dict.fromkeys((*said, *found))
        )

    def placed(self, photo: Photo) -> RecordedFinding | None:
        """The standing finding that a photo belongs to, its corrections followed."""
        name = photo.attachment.finding_id if photo.attachment else None
        while name is not None:
            kept = self.findings[name]
            if kept.stands:
                return kept
            name = kept.superseded_by
        return None

    def home(self, finding: RecordedFinding) -> str:
        """Id of the exchange that a finding belongs to."""
        if finding.utterance_id is not None:
            return self._root(finding.utterance_id)
        return self._unsaid(finding.id) or finding.id

    def _unsaid(self, name: str | None) -> str | None:
        """The first of the findings that a finding without an utterance took the place of."""
        while name is not None:
            kept = self.findings[name]
            if kept.utterance_id is not None:
                return self._root(kept.utterance_id)
            if kept.supersedes is None:
                return name
            name = kept.supersedes
        return None

    def _root(self, name: str) -> str:
        seen = {name}
        while True:
            said = self.said.get(name)
            above = self.typed_for.get(name) or (said.answers if said else None)
            if above is None or above in seen:
                return name
            seen.add(above)
            name = above

    def _of(self, review: Review) -> str:
        if review.utterance_id is not None:
            return self._root(review.utterance_id)
        return self._unsaid(review.was or review.finding_id) or ""


def remarks_of(record: InspectionRecord, exchange: Exchange) -> tuple[Remark, ...]:
    """The remarks of an exchange: said in it, or put to it or to a finding of it."""
    said = {each.id for each in exchange.said}
    found = {each.id for each in exchange.findings}
    return tuple(
        each for each in record.remarks if each.utterance_id in said or each.finding_id in found
    )


def left_at(record: InspectionRecord, finding: str) -> tuple[str, ...]:
    """Ids of the photos that belonged to a finding when it was withdrawn, or still do."""
    findings = {each.id: each for each in record.findings}

    def last(name: str | None) -> str | None:
        while name is not None and (newer := findings[name].superseded_by) is not None:
            name = newer
        return name

    return tuple(
        photo.id
        for photo in record.photos
        if photo.attachment is not None and last(photo.attachment.finding_id) == finding
    )


def placed_photos(record: InspectionRecord) -> dict[str, str | None]:
    """Photo (id) -> the standing finding (id) that it belongs to; None: none."""
    grouping = _Grouping(record)
    found = {photo.id: grouping.placed(photo) for photo in record.photos}
    return {name: at.id if at is not None else None for name, at in found.items()}
