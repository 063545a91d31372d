"""One inspection as it is spoken: heard -> understood -> checked -> saved, utterance by utterance.

The session decides nothing about meaning or limits; it puts the parts in order and commits each
utterance, with all that follows from it, before anything is said or shown about it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

from fieldlog.aftercare.checklist import Item, Skip, progress
from fieldlog.aftercare.plan import skipped_event
from fieldlog.assess import Assessment, again, assess
from fieldlog.catalogue.component import Catalogue
from fieldlog.doubt_question import MORE_SAID
from fieldlog.hearing import Heard
from fieldlog.language.answers import APART, UNCLEAR
from fieldlog.model import Context, Decision, Finding, Kind, Limit, Understanding
from fieldlog.store.records import NewUtterance, Saved, Utterance
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


class Session:
    """Takes utterances in order and keeps each one; remembers the findings it may have to correct."""

    def __init__(
        self,
        store: Repository,
        inspection_id: str,
        started_at: datetime,
        rules: Rules,
        *,
        understand: Callable[[str], Understanding],
        transcribe: Transcribe | None = None,
        model: str = "",
        grammar: str = "",
        standing: Sequence[tuple[str, Finding]] = (),
        skips: Sequence[Skip] = (),
    ) -> None:
        """``started_at``: instant (UTC) of second 0.0 of the session clock.

        ``understand`` parses words again (a correction that only names the new value needs it).
        ``model`` and ``grammar`` are fingerprints that go with every utterance; ``standing`` holds
        the findings that stand already, oldest first, so that they too can be corrected; ``skips``
        the items of the walk that were left out already.
        """
        self._store = store
        self._inspection = inspection_id
        self._started_at = started_at
        self._rules = rules
        self._understand = understand
        self._transcribe = transcribe
        self._model = model
        self._grammar = grammar
        self._findings: list[tuple[str, Finding]] = list(standing)
        self._skips = list(skips)
        self._questions: list[tuple[str, Understanding]] = []
        """Utterances that led to a question."""

    def take(self, heard: Heard, source: str, begins_s: float = 0.0) -> Outcome:
        """Check and save one utterance. ``begins_s``: where its source starts on the session clock.

        Raises ``StoreError`` when it could not be saved; then nothing of it is in the record.
        """
        heard = self._completed(heard)
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
        last = self._findings[-1][1] if self._findings else None
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
        beside = [each for each in self._findings if each is not corrected]
        assessment = self._assess(finding, beside, said_at)
        saved = self._store.add_utterance(
            self._inspection,
            utterance,
            finding=finding,
            verdict=assessment.verdict,
            corrects=corrected[0] if corrected else None,
            reason="spoken correction" if corrected else "",
        )
        assert saved.finding_id is not None
        if corrected:
            self._findings.remove(corrected)
        self._findings.append((saved.finding_id, finding))
        if corrected:
            self._judge_again(corrected[1], saved.finding_id, said_at)
        return Outcome(heard, saved, assessment, corrects=corrected[1] if corrected else None)

    def _assess(
        self, finding: Finding, beside: Sequence[tuple[str, Finding]], at: datetime
    ) -> Assessment:
        rules = self._rules
        others = [each for _, each in beside]
        return assess(finding, rules.limits, rules.context, rules.catalogue, at.date(), others)

    def _judge_again(self, changed: Finding, new: str | None, at: datetime) -> None:
        """Newer verdicts for the findings that were judged together with one that is gone."""
        for name, finding in again(changed, self._findings):
            if name != new:
                beside = [each for each in self._findings if each[0] != name]
                verdict = self._assess(finding, beside, at).verdict
                self._store.judge(self._inspection, name, verdict)

    def _dialogue(
        self, heard: Heard, utterance: NewUtterance, understood: Understanding
    ) -> Outcome:
        last = self._findings[-1] if self._findings else None
        if understood.dialogue == "photo":
            saved = self._store.add_utterance(
                self._inspection, utterance, mark="photo", marks=last[0] if last else None
            )
            return Outcome(heard, saved, mark="photo")
        if understood.dialogue == "disregard" and heard.answers is not None:
            # What was said last is the question's utterance, and nothing was taken of that.
            return Outcome(heard, self._store.add_utterance(self._inspection, utterance))
        if understood.dialogue == "disregard" and last is not None:
            saved = self._store.add_utterance(
                self._inspection, utterance, corrects=last[0], reason="disregarded"
            )
            self._findings.pop()
            self._judge_again(last[1], None, utterance.said_at)
            return Outcome(heard, saved, corrects=last[1])
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

    def _skip(self, heard: Heard, utterance: NewUtterance, slots: Mapping[str, str]) -> Outcome:
        """ "skip front tyre no gauge": the item is left out, with the reason that was said."""
        place, component = slots.get("position", ""), slots["component"]
        skip = Skip(f"{place} {component}".strip(), slots["reason"])
        event = skipped_event(skip)
        saved = self._store.add_utterance(self._inspection, utterance, event=event)
        self._skips.append(skip)
        return Outcome(heard, saved, skipped=skip.key)

    def _open(self, today: date) -> tuple[Item, ...]:
        rules = self._rules
        findings = [finding for _, finding in self._findings]
        return progress(rules.walk, findings, self._skips, dict(rules.checked), today).open

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
        last = self._findings[-1] if self._findings else None
        return last if last is not None and last[1].component == finding.component else None


def _same_thing(one: Finding, other: Finding) -> bool:
    return (one.component, one.position, one.characteristic) == (
        other.component,
        other.position,
        other.characteristic,
    )
