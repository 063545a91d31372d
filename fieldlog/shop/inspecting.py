"""One inspection that is being worked on: every verb is one transaction and says what happened.

Typed words and speech take the same way: understood, completed, judged, saved with all that follows
from it, and only then told. The record is read anew before each verb, so that what another
terminal changed meanwhile is what is corrected; an utterance has its id before the first try, so
that trying again is the same row.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

from fieldlog.aftercare.checklist import LeftOpen
from fieldlog.aftercare.plan import left_open
from fieldlog.errors import FieldlogError, StoreError, UsageError
from fieldlog.hearing import Heard
from fieldlog.model.command import Command
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding
from fieldlog.shop import events as ev
from fieldlog.shop.affirming import Affirming, read_back_events
from fieldlog.shop.asked import OpenQuestions
from fieldlog.shop.by_hand import ByHand, Origin
from fieldlog.shop.conversation import Conversation, typed_as
from fieldlog.shop.earlier import (
    become,
    been,
    only_of_the_last,
    saved_as,
    told_last,
    turned,
    turns_of,
    waiting_in,
)
from fieldlog.shop.events import Event, Said
from fieldlog.shop.happened import CHANGES, said_in
from fieldlog.shop.led import LEAVES_LED, asked_for, led_by
from fieldlog.shop.met import KeptFindings, scene_in
from fieldlog.shop.scene import Rules, Scene
from fieldlog.shop.steps import Around, Step, Transcribe, step_of
from fieldlog.shop.waiting import TURNS
from fieldlog.shop.where_said import stretches, times_of_words
from fieldlog.store.affirmed import unaffirmed
from fieldlog.store.records import (
    InspectionRecord,
    NewEntry,
    NewUtterance,
    Utterance,
    Vehicle,
)
from fieldlog.store.repository import Repository

RulesOf = Callable[[InspectionRecord], Rules]

_HELD = "standing by: nothing that is said counts"
_BY_VOICE = "spoken"


class Inspecting(ByHand):
    """The verbs of one inspection. Each returns what happened and hands it to the subscribers."""

    def __init__(
        self,
        store: Repository,
        key: str,
        rules_of: RulesOf,
        conversation: Conversation,
        *,
        transcribe: Transcribe | None = None,
        origin: Origin | None = None,
        now: Callable[[], datetime],
    ) -> None:
        """Of the inspection ``key`` (number, id or ``last``).

        ``rules_of``: what a record is judged by; ``conversation``: what turns clips and typed words
        into utterances. A question at the end of the record still waits for its answer. Raises
        ``UsageError`` for an inspection that is not there or a context that cannot be meant.
        """
        self._store = store
        self._rules_of = rules_of
        self.conversation = conversation
        self._understand = conversation.understand
        self._transcribe = transcribe
        self._origin = origin or Origin()
        self._now = now
        self._ruled: tuple[Vehicle, Rules] | None = None
        self._kept_findings = KeptFindings()
        record = store.inspection_record(key)
        self.head = record.inspection
        self._rules(record)
        self._questions = OpenQuestions(conversation, self._origin.grammar, self._scene_of)
        self._said = [each.id for each in record.findings if each.stands]
        """Ids of findings as they were said, as far as nobody said to disregard them."""
        self._standing_by = False
        self._told = told_last(record)
        self._subscribers: list[Callable[[Event], None]] = []
        standing, self._led = turns_of(record)
        self._led_to: LeftOpen | None = None
        self.affirming = Affirming()
        self._stands_by(standing)
        kept = waiting_in(record)
        if kept is not None:
            self._questions.reopen(kept, record)
        asked = self._questions.newest
        if kept is not None and asked is not None:
            self._told = (ev.Asked(Said(kept.id, asked, kept.source)),)

    # -- reading ------------------------------------------------------------------------------

    @property
    def record(self) -> InspectionRecord:
        """The inspection as the record has it now."""
        return self._store.inspection_record(self.head.id)

    @property
    def store_folder(self) -> Path:
        """Folder of the record."""
        return self._store.folder

    @property
    def scene(self) -> Scene:
        """What the next utterance meets."""
        return self._scene_of(self.record)

    @property
    def grammar(self) -> str:
        """Fingerprint of the grammar and catalogue that are in force."""
        return self._origin.grammar

    def scene_of(self, record: InspectionRecord) -> Scene:
        """What an utterance would meet in ``record``."""
        return self._scene_of(record)

    def tell(self, events: Sequence[Event], scene: Scene) -> tuple[Event, ...]:
        """Tell what was done by hand beside ``scene``, after it is in the record."""
        return self._happened(events, scene)

    def subscribe(self, told: Callable[[Event], None]) -> None:
        """Have ``told`` called with every event, after it is in the record."""
        self._subscribers.append(told)

    def new_id(self) -> str:
        """An id for an utterance that is to be saved, once, however often it is tried."""
        return self._store.new_id()

    # -- what is said or typed ------------------------------------------------------------------

    def say(
        self, heard: Heard, source: str, begins_s: float = 0.0, *, id: str | None = None
    ) -> tuple[Event, ...]:
        """Take one utterance. ``begins_s``: where its source starts on the session clock.

        ``id``: given again when the same utterance is tried again. Raises ``StoreError`` when it
        could not be saved; then nothing of it is in the record. Every other fault keeps the
        utterance and is told.
        """
        at = self.head.started_at + timedelta(seconds=begins_s + heard.clip.start_s)
        kept = None if id is None else self._saved_before(id, heard, source)
        return kept or self._take(heard, source, at, id or self.new_id())

    def type(self, text: str) -> tuple[Event, ...]:
        """Take typed words, said now: the same language as spoken, answers and corrections too."""
        try:
            heard = self.conversation.typed(text)
        except StoreError:
            raise
        except Exception as error:  # the words are kept all the same
            heard = typed_as(not_taken(text, error))
        try:
            return self._take(heard, "typed", self._now(), self.new_id())
        except StoreError:
            self.conversation.pending.standing_by = self._standing_by
            self._waits_again(heard)  # nothing of it was taken: it can be typed again
            raise

    def answer(self, question: str, text: str) -> tuple[Event, ...]:
        """Take ``text`` as the answer to the utterance ``question`` (id), however long ago it asked.

        Raises ``UsageError`` when that utterance asks nothing that is still open.
        """
        record = self.record
        asked = next((each for each in record.utterances if each.id == question), None)
        if (
            asked is None
            or not left_open(record, asked)
            or not self._questions.reopen(asked, record)
        ):
            raise UsageError(f"utterance {question} asks nothing that is still open")
        return self.type(text)

    def asked_before(self, kept: Utterance, said: Understanding) -> None:
        """``said`` is what the record holds as ``kept``: an answer may follow after an interruption.

        Nothing is saved. Only the same question to the same words, heard again, can get its answer.
        """
        self._questions.asked_before(kept, said)

    def _saved_before(self, id: str, heard: Heard, source: str) -> tuple[Event, ...]:
        """What an earlier try of this utterance saved though it seemed to fail; empty if nothing."""
        record = self.record
        before = next((each for each in record.utterances if each.id == id), None)
        if before is None:
            return ()
        clip = heard.clip
        understood = heard.understanding
        said = Said(id, understood, source, clip.start_s, clip.end_s, heard.answers)
        if before.decision is Decision.ASK:
            self._questions.note(id, understood)
            return self._happened((ev.Asked(said),))
        if before.decision is Decision.ACCEPT:
            self._turn(understood)
        saved = saved_as(said, record)
        if not saved:
            return self._happened((ev.AlreadySaved(said),))
        return self._happened(saved, self._scene_of(record))

    def _take(self, heard: Heard, source: str, at: datetime, id: str) -> tuple[Event, ...]:
        """Whatever goes wrong with one utterance, it is kept and told; only a full disk raises."""
        try:
            record = self.record
            scene = self._scene_of(record)
            heard = only_of_the_last(self._questions.dropped(heard, record), record)
            understood = self._completed(heard, scene, record)
            if understood is not heard.understanding:
                self.conversation.pending.completed(heard, understood)
            around = self._around(heard, scene, record)
            step = step_of(replace(heard, understanding=understood), scene, around)
            return self._kept(heard, understood, step, source, at, id, scene)
        except StoreError:
            raise
        except Exception as error:
            # Saving is the last thing done with an utterance: nothing of it is in the record yet.
            failed = replace(heard, answers=None)
            self._waits_again(heard)
            step = Step(NewEntry(), lambda said, _: (ev.Faulted(said),))
            return self._kept(failed, not_taken(heard.text, error), step, source, at, id)

    def _completed(self, heard: Heard, scene: Scene, record: InspectionRecord) -> Understanding:
        """A bare correction with what the last finding was about.

        Behind a question that no short word settles, or a finding that was refused or taken back, it is of that,
        of which nothing stands: its value is never given to the finding before. Nor is it behind a skip.
        """
        understood = scene.completed(heard.understanding, self._understand)
        if understood is not heard.understanding and heard.answers is None:
            of_another = self._questions.of_another(record)
            understood = heard.understanding if of_another else understood
        understood = scene.asked_instead(scene.met(understood, heard.answers), heard.answers)
        return self._questions.still_asked(understood, heard.answers, record)

    def _waits_again(self, heard: Heard) -> None:
        """The question that ``heard`` answered, of which nothing was taken."""
        if heard.answers is not None and self.conversation.waiting is None:
            self.conversation.pending.resume(heard.answers)

    def _kept(
        self,
        heard: Heard,
        understood: Understanding,
        step: Step,
        source: str,
        at: datetime,
        id: str,
        scene: Scene | None = None,
    ) -> tuple[Event, ...]:
        if self._is_held(understood):
            heard = replace(heard, answers=None)  # what nobody took leaves the question open
            understood = replace(understood, decision=Decision.REFUSE, reason=_HELD)
            step = Step(NewEntry(), lambda said, _: (ev.HeldBack(said),))
        sounds = len(heard.clip.samples) > 0
        utterance = NewUtterance(
            understanding=understood,
            said_at=at,
            hearings=(heard.hearing,) if sounds else (),
            clip=self._store.media.save_clip(heard.clip) if sounds else None,
            start_s=heard.clip.start_s if sounds else 0.0,
            end_s=heard.clip.end_s if sounds else 0.0,
            source=source,
            model=self._origin.model,
            grammar=self._origin.grammar,
            answers=self._questions.id_of(heard.answers),
            stretches=stretches(heard) if sounds else (),
            words=times_of_words(heard) if sounds else (),
            id=id,
        )
        entry = replace(step.entry, utterance=utterance, made_by=_BY_VOICE)
        saved = self._store.save(self.head.id, entry)
        self._witnessed(entry)
        said = Said(id, understood, source, utterance.start_s, utterance.end_s, heard.answers)
        if understood.decision is Decision.ASK:
            self._questions.note(id, understood)
        self._turn(understood)
        told = tuple(step.tell(said, saved))
        asked = () if scene is None else self._asked_to_affirm(told, understood, scene)
        told += asked
        if not any(each.asks for each in asked):  # one thing at a time
            told += tuple(self._further(heard, understood, said))
        self._walk_asks(told, understood, heard)
        return self._happened(told, scene, repeats=_is_told(understood))

    def _walk_asks(self, told: Sequence[Event], understood: Understanding, heard: Heard) -> None:
        """What a bare answer would be of now: what was asked for last, as long as nothing came between."""
        asked = [left for each in told if (left := asked_for(each)) is not None]
        if asked:
            self.conversation.asks_for(led_by(asked[-1]), heard)
        elif understood.decision is Decision.ACCEPT and understood.dialogue not in LEAVES_LED:
            self.conversation.asks_for(None, heard)

    def _asked_to_affirm(
        self, told: Sequence[Event], understood: Understanding, scene: Scene
    ) -> tuple[ev.ToAffirm, ...]:
        """What of ``told`` is read back to be affirmed; the record has that it was asked."""
        waits = self.conversation.waiting is not None  # "affirm" would be to that question
        owed = frozenset[str]()
        if self.affirming.asks and any(isinstance(each, ev.FindingBroughtBack) for each in told):
            with suppress(StoreError):  # it is saved by now; what cannot be read ends nothing
                owed = frozenset(each.id for each in unaffirmed(self.record))
        asked = self.affirming.behind(told, understood, scene, waits=waits, owed=owed)
        if asked:
            with suppress(StoreError):  # the findings are kept; that they were asked about is not
                events = tuple(one for each in asked for one in read_back_events(each))
                self._store.save(self.head.id, NewEntry(events=events))
        return asked

    def _further(self, heard: Heard, understood: Understanding, said: Said) -> Iterator[Event]:
        """What is told behind what followed: a question that is still open, else what comes next."""
        if understood.decision is not Decision.ACCEPT or self._standing_by:
            return
        asked = self.conversation.pending.told_again(heard)
        if understood.dialogue is Command.WHAT_IS_OPEN:
            asked = self._questions.told_again(self.record)
        if asked is not None:
            yield ev.AskedAgain(said, self._questions.left_of(asked, self.record))
        elif self._led and self.conversation.waiting is None:
            first = next(iter(self.scene.left), None)
            asks_for_it = understood.dialogue in (Command.NEXT_ITEM, Command.WHAT_IS_OPEN)
            anew = understood.dialogue is Command.GO_AHEAD or first != self._led_to
            self._led_to = first
            if anew and not asks_for_it:
                yield ev.NextTold(said, first)

    def _is_held(self, said: Understanding) -> bool:
        return self._standing_by and said.dialogue not in TURNS

    def _turn(self, said: Understanding) -> None:
        if said.decision is Decision.ACCEPT and said.dialogue is not None:
            self._standing_by, self._led = turned(
                said.dialogue, standing=self._standing_by, led=self._led
            )

    def _stands_by(self, whether: bool) -> None:
        """As the record was left: another process may have been told so."""
        self._standing_by = self.conversation.pending.standing_by = whether

    # -- inside -------------------------------------------------------------------------------

    def _around(self, heard: Heard, scene: Scene, record: InspectionRecord) -> Around:
        led = self._led or not self._standing_by
        by, affirming = self.head.inspector, self.affirming.of(heard.clip.start_s, scene)
        nothing, asked = self._questions.behind(heard.understanding, record)
        told, transcribe, fingerprint = self._told, self._transcribe, self._fingerprint
        return Around(by, told, transcribe, fingerprint, led, affirming, nothing, asked)

    def _fingerprint(self) -> str:
        return self.record.fingerprint

    def _scene_of(self, record: InspectionRecord) -> Scene:
        said = become(record, self._said[-1]) if self._said else None
        return scene_in(record, self._rules(record), said, self._kept_findings)

    def _remember(self, events: Sequence[Event]) -> None:
        """Which finding was said last, from what happened."""
        for event in events:
            match event:
                case ev.FindingSaved(_, kept, _):
                    self._said.append(kept.id)
                case ev.FindingCorrected(_, kept, _, was) | ev.FindingBroughtBack(_, kept, _, was):
                    # what was put right is what was said last now, once
                    self._forget((kept.id, was.id))
                    self._said.append(kept.id)
                case ev.FindingWithdrawn(_, was, _):
                    self._forget((was.id,))
                case ev.GoneAlready():
                    self._said.pop()
                case _:
                    pass

    def _rules(self, record: InspectionRecord) -> Rules:
        """What it is judged by, read anew when the vehicle changed.

        A setting that nobody can mean, entered meanwhile, leaves findings undecided with the reason.
        """
        ruled = self._ruled
        if ruled is not None and ruled[0] == record.vehicle:
            return ruled[1]
        try:
            rules = self._rules_of(record)
        except UsageError as error:
            if ruled is None:
                raise
            return replace(ruled[1], fault=str(error))
        self._ruled = (record.vehicle, rules)
        return rules

    def _forget(self, gone: tuple[str, ...]) -> None:
        names = been(self.record, gone)
        self._said = [one for one in self._said if one not in names]

    def _happened(
        self, events: Sequence[Event], scene: Scene | None = None, *, repeats: bool = True
    ) -> tuple[Event, ...]:
        """Tell ``events``, which followed from what met ``scene``; None: they changed nothing."""
        changed = next((each for each in events if isinstance(each, CHANGES)), None)
        told = tuple(events)
        if scene is not None and scene.signed and changed is not None:
            told += (ev.AfterSignature(said_in(changed)),)
        self._remember(told)
        if repeats:
            self._told = told
        for each in told:
            for subscriber in self._subscribers:
                subscriber(each)
        return told


def _is_told(said: Understanding) -> bool:
    """Whether "say again" repeats it: what was asked or found, not the repetition itself."""
    return said.dialogue is not Command.SAY_AGAIN and said.decision is not Decision.REFUSE


def not_taken(words: str, error: Exception) -> Understanding:
    """What an utterance is kept as that could not be taken, though ``words`` were heard."""
    ours = isinstance(error, FieldlogError)
    why = str(error) if ours else f"a fault of fieldlog itself: {type(error).__name__}: {error}"
    return Understanding(Decision.REFUSE, Kind.NOTHING, why, words, flags=(Flag.NOT_TAKEN,))
