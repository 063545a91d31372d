"""One inspection as it is spoken: heard -> understood -> checked -> saved, utterance by utterance.

The session decides nothing about meaning or limits; it puts the parts in order and commits each
utterance, with all that follows from it, before anything is said or shown about it. What stands it
reads from the record each time: somebody may correct, skip or type in another terminal meanwhile.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

from fieldlog.aftercare.checklist import Item, Skip, progress
from fieldlog.aftercare.plan import skipped_event, skips_of
from fieldlog.assess import Assessment, again, assess
from fieldlog.catalogue.component import Catalogue
from fieldlog.doubt_question import MORE_SAID
from fieldlog.errors import FieldlogError, StoreError
from fieldlog.hearing import Heard
from fieldlog.language.answers import APART, UNCLEAR
from fieldlog.model import (
    NOT_TAKEN,
    Context,
    Decision,
    Finding,
    Kind,
    Limit,
    Understanding,
    Verdict,
)
from fieldlog.store.records import InspectionRecord, NewUtterance, RecordedFinding, Saved, Utterance
from fieldlog.store.repository import Repository

Transcribe = Callable[[Heard], str]
"""Open transcription of free speech, for remarks; clearly marked as unchecked."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one utterance led to."""

    heard: Heard
    saved: Saved
    assessment: Assessment | None = None
    corrects: Finding | None = None
    """The earlier finding that this one supersedes or withdraws."""
    gone: Finding | None = None
    """What was to be disregarded, where it was withdrawn by other hands already."""
    remark: str | None = None
    mark: str | None = None
    skipped: str | None = None
    """The item of the walk that was left out."""
    open: tuple[str, ...] | None = None
    """What of the walk is open, when that was asked; the next of it alone for "next item"."""
    advice: str | None = None
    """How to check what was asked about."""


@dataclass(frozen=True, slots=True)
class Rules:
    """What a session checks against."""

    catalogue: Catalogue
    limits: Sequence[Limit]
    context: Context
    walk: Sequence[Item] = ()
    """The vehicle's checklist."""
    checked: Mapping[str, date] = field(default_factory=dict)
    """Item of it -> the last day it was checked in an earlier inspection."""


RulesOf = Callable[[InspectionRecord], Rules]
"""Rules for an inspection as its vehicle is known now."""


class Session:
    """Takes utterances in order and keeps each one; remembers which findings were said last."""

    def __init__(
        self,
        store: Repository,
        inspection_id: str,
        started_at: datetime,
        rules: Rules | RulesOf,
        *,
        understand: Callable[[str], Understanding],
        transcribe: Transcribe | None = None,
        model: str = "",
        grammar: str = "",
    ) -> None:
        """``started_at``: instant (UTC) of second 0.0 of the session clock.

        ``rules`` as a function is asked again whenever the vehicle's facts, limits or checklist
        changed in the record. ``understand`` parses words again (a correction that only names the
        new value needs it). ``model`` and ``grammar`` are fingerprints that go with every utterance.
        Findings that stand already can be corrected too.
        """
        self._store = store
        self._inspection = inspection_id
        self._started_at = started_at
        self._understand = understand
        self._transcribe = transcribe
        self._model = model
        self._grammar = grammar
        self._record = store.inspection_record(inspection_id)
        self._rules_of: RulesOf = (lambda record: rules) if isinstance(rules, Rules) else rules
        self._rules = self._rules_of(self._record)
        self._said = [each.id for each in self._record.findings if each.stands]
        """Ids of the findings as they were said, as far as nobody said to disregard them."""
        self._questions: list[tuple[str, Understanding]] = []
        """Utterances that led to a question."""

    def take(self, heard: Heard, source: str, begins_s: float = 0.0) -> Outcome:
        """Check and save one utterance. ``begins_s``: where its source starts on the session clock.

        What cannot be taken for what it says is kept as refused, with its sound and the reason,
        whatever went wrong: one utterance never ends a session. Raises ``StoreError`` when it could
        not be saved; then nothing of it is in the record.
        """
        try:
            self._read()
            return self._take(self._completed(heard), source, begins_s)
        except StoreError:
            raise
        except Exception as error:
            # Saving is the last thing done with an utterance: nothing of it is in the record yet.
            kept = replace(heard, understanding=not_taken(heard.text, error), answers=None)
            return self._take(kept, source, begins_s)

    def _read(self) -> None:
        """What stands now, whoever wrote it."""
        record = self._store.inspection_record(self._inspection)
        if record.vehicle != self._record.vehicle:
            self._rules = self._rules_of(record)
        self._record = record

    @property
    def _findings(self) -> list[tuple[str, Finding]]:
        """The findings that stand (id, finding), oldest first."""
        return [(each.id, each.finding) for each in self._record.findings if each.stands]

    @property
    def _last(self) -> tuple[str, Finding] | None:
        """What the last finding said has become, other hands' corrections of it followed.

        None: none was said, or it was withdrawn by other hands.
        """
        last = self._become(self._said[-1]) if self._said else None
        return None if last is None or not last.stands else (last.id, last.finding)

    def _become(self, name: str) -> RecordedFinding:
        known = {each.id: each for each in self._record.findings}
        while (newer := known[name].superseded_by) is not None:
            name = newer
        return known[name]

    def _take(self, heard: Heard, source: str, begins_s: float) -> Outcome:
        understood = heard.understanding
        said_at = self._started_at + timedelta(seconds=begins_s + heard.clip.start_s)
        utterance = NewUtterance(
            understanding=understood,
            said_at=said_at,
            hearings=(heard.hearing,),
            clip=self._store.media.save_clip(heard.clip),
            start_s=heard.clip.start_s,
            end_s=heard.clip.end_s,
            source=source,
            model=self._model,
            grammar=self._grammar,
            answers=self._question(heard.answers),
        )
        if understood.decision is not Decision.ACCEPT:
            saved = self._store.add_utterance(self._inspection, utterance)
            if understood.decision is Decision.ASK and saved.utterance_id is not None:
                self._questions.append((saved.utterance_id, understood))
            return Outcome(heard, saved)
        if understood.kind is Kind.FINDING and understood.finding is not None:
            return self._finding(heard, utterance, understood.finding, said_at)
        if understood.kind is Kind.REMARK:
            words = understood.slots.get("remark", "")
            if not words and self._transcribe is not None:
                words = self._transcribe(heard)
            words = words or understood.text
            saved = self._store.add_utterance(self._inspection, utterance, remark=words)
            return Outcome(heard, saved, remark=words)
        return self._dialogue(heard, utterance, understood)

    def asked_before(self, kept: Utterance, heard: Understanding) -> None:
        """``heard`` is what the record holds as ``kept``: an answer may follow after an interruption.

        Nothing is saved. Only the same question to the same words, heard again, can get its answer.
        """
        asks = Decision.ASK is kept.decision is heard.decision
        if asks and (kept.text, kept.question) == (heard.text, heard.question):
            self._questions.append((kept.id, heard))

    def _question(self, asked: Understanding | None) -> str | None:
        """Id of the utterance behind a question, the newest where it was asked twice."""
        ids = (name for name, kept in reversed(self._questions) if kept == asked)
        return None if asked is None else next(ids, None)

    def _completed(self, heard: Heard) -> Heard:
        """ "correction four millimetres" as the whole phrase, with what the last finding was about.

        Stays as it was heard, and so a question, where the value does not fit that finding or was
        not heard clearly to its end.
        """
        said = heard.understanding
        if {UNCLEAR, MORE_SAID} & set(said.flags):
            return heard
        value = said.slots.get("value", "") if said.dialogue == "correction" else ""
        last = self._last[1] if self._last else None
        if not value or last is None or last.quantity is None or not last.quantity.words:
            return heard
        whole = last.words.removeprefix("correction ").replace(last.quantity.words, value)
        if APART in whole and not last.given:  # "pads two millimetres / front" is no phrase
            named = (last.position, last.component, last.characteristic, value)
            whole = " ".join(part for part in named if part)
        understood = self._understand(f"correction {whole}")
        if understood.finding is None or not _same_thing(understood.finding, last):
            return heard
        return replace(heard, understanding=replace(understood, text=said.text))

    def _finding(
        self, heard: Heard, utterance: NewUtterance, finding: Finding, said_at: datetime
    ) -> Outcome:
        corrected = None
        if utterance.understanding.dialogue == "correction":
            corrected = self._to_correct(finding)
        beside = [each for each in self._findings if each != corrected]
        assessment = self._assess(finding, beside, said_at)
        again_ = (
            self._judged_again(corrected[1], [*beside, ("", finding)], said_at) if corrected else ()
        )
        saved = self._store.add_utterance(
            self._inspection,
            utterance,
            finding=finding,
            verdict=assessment.verdict,
            corrects=corrected[0] if corrected else None,
            reason="spoken correction" if corrected else "",
            verdicts=again_,
        )
        assert saved.finding_id is not None
        if corrected:
            self._said = [one for one in self._said if self._become(one).id != corrected[0]]
        self._said.append(saved.finding_id)
        return Outcome(heard, saved, assessment, corrects=corrected[1] if corrected else None)

    def _assess(
        self, finding: Finding, beside: Sequence[tuple[str, Finding]], at: datetime
    ) -> Assessment:
        rules = self._rules
        others = [each for _, each in beside]
        return assess(finding, rules.limits, rules.context, rules.catalogue, at.date(), others)

    def _judged_again(
        self, changed: Finding, standing: Sequence[tuple[str, Finding]], at: datetime
    ) -> list[tuple[str, Verdict]]:
        """Newer verdicts for the findings that were judged together with one that is gone.

        ``standing``: what stands from now on, the new finding under an empty id.
        """
        found = []
        for name, finding in again(changed, standing):
            if name:
                beside = [each for each in standing if each[0] != name]
                found.append((name, self._assess(finding, beside, at).verdict))
        return found

    def _dialogue(
        self, heard: Heard, utterance: NewUtterance, understood: Understanding
    ) -> Outcome:
        last = self._last
        if understood.dialogue == "photo":
            saved = self._store.add_utterance(
                self._inspection, utterance, mark="photo", marks=last[0] if last else None
            )
            return Outcome(heard, saved, mark="photo")
        if understood.dialogue == "disregard" and heard.answers is not None:
            # What was said last is the question's utterance, and nothing was taken of that.
            return Outcome(heard, self._store.add_utterance(self._inspection, utterance))
        if understood.dialogue == "disregard" and self._said:
            return self._disregard(heard, utterance, last)
        if understood.dialogue == "skip":
            return self._skip(heard, utterance, understood.slots)
        saved = self._store.add_utterance(self._inspection, utterance)
        open_ = self._open(utterance.said_at.date())
        if understood.dialogue == "what is open":
            return Outcome(heard, saved, open=tuple(item.key for item in open_))
        if understood.dialogue == "next item":
            return Outcome(heard, saved, open=tuple(item.key for item in open_[:1]))
        if understood.dialogue == "how to check":
            return Outcome(heard, saved, advice=self._how_to_check(understood.slots, open_))
        return Outcome(heard, saved)

    def _disregard(
        self, heard: Heard, utterance: NewUtterance, last: tuple[str, Finding] | None
    ) -> Outcome:
        """The last finding said no longer stands; one withdrawn by other hands takes no other along."""
        if last is None:
            saved = self._store.add_utterance(self._inspection, utterance)
            known = {each.id: each.finding for each in self._record.findings}
            return Outcome(heard, saved, gone=known[self._said.pop()])
        standing = [each for each in self._findings if each != last]
        saved = self._store.add_utterance(
            self._inspection,
            utterance,
            corrects=last[0],
            reason="disregarded",
            verdicts=self._judged_again(last[1], standing, utterance.said_at),
        )
        self._said.pop()
        return Outcome(heard, saved, corrects=last[1])

    def _skip(self, heard: Heard, utterance: NewUtterance, slots: Mapping[str, str]) -> Outcome:
        """ "skip front tyre no gauge": the item is left out, with the reason that was said."""
        place, component = slots.get("position", ""), slots["component"]
        skip = Skip(f"{place} {component}".strip(), slots["reason"])
        event = skipped_event(skip)
        saved = self._store.add_utterance(self._inspection, utterance, event=event)
        return Outcome(heard, saved, skipped=skip.key)

    def _open(self, today: date) -> tuple[Item, ...]:
        rules = self._rules
        findings = [finding for _, finding in self._findings]
        skips = skips_of(self._record)
        return progress(rules.walk, findings, skips, dict(rules.checked), today).open

    def _how_to_check(self, slots: Mapping[str, str], open_: Sequence[Item]) -> str:
        """The catalogue's words for what was named, else for the next open item."""
        name = slots.get("component") or (open_[0].component if open_ else "")
        component = self._rules.catalogue.get(name)
        if component is None:
            return "nothing is open: name what you want to check"
        measured = component.characteristic(slots.get("characteristic"))
        own = measured.how_to_check if measured else ""
        return f"{component.name}: {own or component.how_to_check}"

    def _to_correct(self, finding: Finding) -> tuple[str, Finding] | None:
        """What a spoken correction replaces: the newest standing finding about the same thing.

        Else the last finding, when it is about the same component (the place was wrong); nothing
        else is ever withdrawn by a correction that does not name it.
        """
        for kept in reversed(self._findings):
            if _same_thing(kept[1], finding):
                return kept
        last = self._last
        return last if last is not None and last[1].component == finding.component else None


def not_taken(text: str, error: Exception) -> Understanding:
    """What an utterance is kept as that could not be taken, though ``text`` was heard (pure)."""
    ours = isinstance(error, FieldlogError)
    why = str(error) if ours else f"a fault of fieldlog itself: {type(error).__name__}: {error}"
    return Understanding(Decision.REFUSE, Kind.NOTHING, why, text, flags=(NOT_TAKEN,))


def _same_thing(one: Finding, other: Finding) -> bool:
    return (one.component, one.position, one.characteristic) == (
        other.component,
        other.position,
        other.characteristic,
    )
