"""What needs a decision, and what comes first: the chance of being wrong times what that would change (pure)."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from fieldlog.aftercare.plan import left_open
from fieldlog.doubt.rules import KINDS, DoubtRules, terms
from fieldlog.doubt.twins import SLIPS, TWINS, exchanged
from fieldlog.model.command import Command
from fieldlog.model.finding import Finding
from fieldlog.model.hearing import Hearing
from fieldlog.model.state import Severity, State
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding
from fieldlog.model.verdict import Verdict
from fieldlog.quantities.number_words import PLAIN_DIGITS
from fieldlog.review.exchanges import Exchange, placed_photos
from fieldlog.store.records import InspectionRecord, Photo, Utterance


class Need(StrEnum):
    """Why something needs a decision."""

    QUESTION = "question left open"
    MORE_SAID = "more was said"
    NOT_UNDERSTOOD = "not understood"
    RIVALS = "two copies say different things"
    DOUBT = "another reading would change something"
    PHOTO = "photo without a place"


@dataclass(frozen=True, slots=True)
class Offered:
    """One thing that may have been said."""

    text: str
    findings: tuple[Finding, ...]
    command: Command | None = None

    @property
    def meaning(self) -> tuple[object, ...]:
        """What two readings must share to mean the same."""
        return (self.command, *(each.meaning for each in self.findings))

    @property
    def mark(self) -> str:
        """Fingerprint of the meaning: what somebody chose is what they saw."""
        return hashlib.sha256(repr(self.meaning).encode()).hexdigest()[:12]


Understand = Callable[[str], Understanding]
Assess = Callable[[Finding], Verdict]
Work = Callable[[Finding, Verdict], frozenset[str]]
"""What is to be done after a finding, by name."""

DANGEROUS, MAJOR, MINOR, JOB, DUE, VALUE = 8.0, 4.0, 2.0, 2.0, 1.0, 0.5
"""What a change weighs: of a verdict by the worst severity on either side, of the work, of a due date
(a distance or a measure that is followed), of the value alone. Our own scale: a dangerous thing missed
is worth sixteen values that change nothing."""
WORTH_IT = 0.05
"""Chance times change from which it is asked: one in a hundred of what would be dangerous, one in ten
of a value that changes nothing."""
UNKNOWN = 0.5
"""Chance that what nobody understood belongs into the record."""
MOST_READINGS = 9
"""As many as there are digits on the keys."""


@dataclass(frozen=True, slots=True)
class Weighed:
    """A exchange, or a photo without a place, with why it needs a decision and how much it matters."""

    exchange: Exchange | None
    need: Need | None
    chance: float = 0.0
    """Of being wrong as it stands."""
    change: float = 0.0
    """What the worst other reading would change."""
    photo: Photo | None = None

    @property
    def rank(self) -> float:
        """By which it is ordered, the largest first."""
        return self.chance * self.change


def chance_wrong(exchange: Exchange, rules: DoubtRules) -> float:
    """Chance that what was taken is not what was said, by doubt's figures; 0 for what was typed."""
    kinds = [_kind(each.finding) for each in exchange.findings] or ["dialogue"]
    kind = min(kinds, key=KINDS.index)
    said = [each for each in exchange.heard if each.decision is Decision.ACCEPT]
    return max((_wrong(each, kind, rules) for each in said), default=0.0)


def _kind(found: Finding) -> str:
    """Of which of doubt's kinds a finding is."""
    if found.quantity is not None or found.readings:
        return "measured"
    return "coded" if found.code else "judged"


def _wrong(said: Utterance, kind: str, rules: DoubtRules) -> float:
    hearing = hearing_of(said)
    known = rules.weights.get(hearing.listener)
    if known is None or not hearing.hypotheses:
        return 0.0
    return 1.0 - known[kind if said.kind is Kind.FINDING else "dialogue"].chance(terms(hearing))


def hearing_of(said: Utterance) -> Hearing:
    """What the first listener heard of it, as far as it was kept."""
    own = tuple(each for listener, each in said.hypotheses if listener == said.listener)
    return Hearing(said.listener, own, said.latency_ms or 0.0)


def offers(
    exchange: Exchange, understand: Understand, *, blind: bool = False
) -> tuple[Offered, ...]:
    """What may have been said, each meaning once: as taken, as heard besides, what sounds like it.

    ``blind``: with something else among them, so that there is a choice where only one thing was heard.
    """
    found: dict[tuple[object, ...], Offered] = {}
    typed = () if exchange.heard else _asked_typed(exchange)
    heard = {*typed, *_heard(exchange)}
    texts = (*typed, *_texts(exchange), *(_decoys(exchange) if blind else ()))
    for text in texts:
        if blind and len(found) >= _CHOICE and text not in heard:
            break
        said = understand(text)
        if said.decision is Decision.ASK and text not in heard:
            continue  # what merely sounds like it counts only where it is whole
        for one in offered_by(said):
            if one.findings or not exchange.findings:  # of an answer nobody is asked
                found.setdefault(one.meaning, one)
        if len(found) >= MOST_READINGS:
            break
    return tuple(found.values())[:MOST_READINGS]


def offered_by(said: Understanding) -> tuple[Offered, ...]:
    """The readings that an understanding is: each thing that it offers, where it would be asked about."""
    if said.decision is Decision.ASK:
        return tuple(Offered(said.text, (each,)) for each in said.offered)
    if said.decision is Decision.ACCEPT and said.offered:
        return (Offered(said.text, said.offered),)
    if said.decision is Decision.ACCEPT and said.kind is Kind.DIALOGUE:
        return (Offered(said.text, (), said.dialogue),)
    return ()


def _heard(exchange: Exchange) -> Iterator[str]:
    """As taken, and as every listener heard it."""
    for said in exchange.heard:
        yield said.text.rpartition(" / ")[2] if said.answers else said.text
        yield from (each.text for _, each in said.hypotheses)


def _asked_typed(exchange: Exchange) -> tuple[str, ...]:
    """What was typed and is asked about: nothing sounds like it, and what it was taken for may be meant."""
    return tuple(each.text for each in exchange.said if each.decision is Decision.ASK)


def _texts(exchange: Exchange) -> Iterator[str]:
    best = tuple(_heard(exchange))
    yield from best
    for pairs in (TWINS, SLIPS):
        for text in best[:2]:
            yield from exchanged(text, pairs)


_NUMBERS = (*PLAIN_DIGITS, PLAIN_DIGITS[0])
_ENDS = (("front", "rear"), ("rear", "front"), ("left", "right"), ("right", "left"))
_CHOICE = 3
"""Readings that a blind one has at least, where the language has so many."""


def _decoys(exchange: Exchange) -> Iterator[str]:
    """Nobody said these: the next number, the other end."""
    for text in _heard(exchange):
        yield from exchanged(text, tuple(pairwise(_NUMBERS)))
        yield from exchanged(text, _ENDS)


def change(one: Verdict | None, other: Verdict | None, work: Sequence[frozenset[str]]) -> float:
    """What it would change that another verdict, with other work, holds instead of the first."""
    weight = VALUE
    if _told(one) != _told(other):
        weight += max(_weight(one), _weight(other))
    if len(work) == 2 and work[0] != work[1]:
        weight += JOB
    return weight


def _told(verdict: Verdict | None) -> tuple[State | None, Severity | None]:
    return (None, None) if verdict is None else (verdict.state, verdict.severity)


def _weight(verdict: Verdict | None) -> float:
    severity = None if verdict is None or verdict.state is State.WITHIN else verdict.severity
    match severity:
        case Severity.DANGEROUS:
            return DANGEROUS
        case Severity.MAJOR:
            return MAJOR
        case _:
            return MINOR if verdict is not None else 0.0


@dataclass(frozen=True, slots=True)
class Weighing:
    """How exchanges are weighed: what may have been said, what limits, work and doubt say of it."""

    offered: Callable[[Exchange], tuple[Offered, ...]]
    """What may have been said (``offers``)."""
    assess: Assess
    work: Work
    rules: DoubtRules
    followed: frozenset[str] = frozenset()
    """Components something of which comes due."""

    def weighed(
        self, record: InspectionRecord, exchanges: Sequence[Exchange]
    ) -> tuple[Weighed, ...]:
        """Every exchange and every photo without a place, in the order of the inspection."""
        placed = placed_photos(record)
        loose = tuple(
            Weighed(None, Need.PHOTO, UNKNOWN, VALUE, photo)
            for photo in record.photos
            if placed[photo.id] is None and not _left_loose(record, photo)
        )
        return (*(self._one(record, each) for each in exchanges), *loose)

    def _one(self, record: InspectionRecord, exchange: Exchange) -> Weighed:
        if exchange.decided is not None:
            return Weighed(exchange, None)
        need = self._open(record, exchange)
        if need is not None:
            return Weighed(exchange, need, 1.0 - UNKNOWN if need is Need.NOT_UNDERSTOOD else 1.0,
                           self._offered(exchange))  # fmt: skip
        chance = chance_wrong(exchange, self.rules)
        most = DANGEROUS + JOB + DUE + VALUE
        if chance * most < WORTH_IT or not exchange.standing:
            return Weighed(exchange, None, chance)
        worst = self.worst(exchange)
        need = Need.DOUBT if chance * worst >= WORTH_IT else None
        return Weighed(exchange, need, chance, worst)

    def worst(self, exchange: Exchange) -> float:
        """What the worst of its other readings would change; without one, that nothing was said."""
        now = {each.finding.meaning: each for each in exchange.standing}
        others = [
            found
            for one in self.offered(exchange)
            for found in one.findings
            if found.meaning not in now
        ]
        changes = [self._against(exchange, found) for found in others]
        gone = [change(each.verdict, None, (self._of(each.finding, each.verdict), frozenset()))
                for each in exchange.standing]  # fmt: skip
        return max(changes or gone, default=0.0)

    def _against(self, exchange: Exchange, other: Finding) -> float:
        verdict = self.assess(other)
        was = next((e for e in exchange.standing if e.finding.subject == other.subject), None)
        if was is None:
            return change(None, verdict, (frozenset(), self._of(other, verdict)))
        work = (self._of(was.finding, was.verdict), self._of(other, verdict))
        due = DUE if other.component in self.followed and other.quantity is not None else 0.0
        return change(was.verdict, verdict, work) + due

    def _of(self, finding: Finding, verdict: Verdict | None) -> frozenset[str]:
        return frozenset() if verdict is None else self.work(finding, verdict)

    def _offered(self, exchange: Exchange) -> float:
        """What it would change to take what was asked about, or the best guess of it."""
        offered = [each for one in self.offered(exchange) for each in one.findings]
        return max((self._against(exchange, each) for each in offered), default=MINOR)

    def _open(self, record: InspectionRecord, exchange: Exchange) -> Need | None:
        said = exchange.said
        if any(each.rivalled for each in exchange.standing):
            return Need.RIVALS
        if any(each.decision is Decision.ASK and left_open(record, each) for each in said):
            return Need.QUESTION
        more = Flag.MORE_SAID in (said[-1].flags if said else ())
        left = any(part.part is None for each in said for part in each.stretches)
        if said and said[-1].decision is not Decision.REFUSE and (more or left):
            return Need.MORE_SAID
        if len(said) == 1 and said[0].decision is Decision.REFUSE and said[0].clip is not None:
            return Need.NOT_UNDERSTOOD
        return None


def _left_loose(record: InspectionRecord, photo: Photo) -> bool:
    """Whether somebody decided already that it belongs to no finding."""
    return any(each.photo_id == photo.id for each in record.reviews)


def ordered(weighed: Sequence[Weighed]) -> tuple[Weighed, ...]:
    """What needs a decision, what matters most first; ties in the order of the inspection."""
    return tuple(sorted((e for e in weighed if e.need is not None), key=lambda each: -each.rank))
