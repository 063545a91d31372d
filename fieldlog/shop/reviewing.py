"""Going through an inspection: each decision is one transaction, and says what it saw standing.

Whoever decides hands over the state of the exchange as they saw it. When somebody else decided meanwhile,
here or in another program, nothing is done and what changed is told.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from functools import wraps
from typing import Any, TypeVar, cast

from fieldlog.aftercare.plan import left_open
from fieldlog.errors import ChangedError, UnsureError, UsageError
from fieldlog.model.finding import Finding
from fieldlog.model.question import Settled
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.review.deciding import offers
from fieldlog.review.exchanges import (
    Exchange,
    exchanges_of,
    placed_photos,
    remarks_of,
)
from fieldlog.review.matching import matched
from fieldlog.shop import events as ev
from fieldlog.shop.by_hand import standing_remark
from fieldlog.shop.events import Event
from fieldlog.shop.in_stead import Change, InStead, SeenThen, not_said, put
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.steps import remark_back
from fieldlog.store.records import (
    InspectionRecord,
    NewAttachment,
    NewEntry,
    NewUtterance,
    Remark,
    Saved,
    Utterance,
)
from fieldlog.store.repository import Repository
from fieldlog.store.reviews import Decided, NewReview, Review
from fieldlog.words.review import leaves_out
from fieldlog.words.tell import finding as finding_told

_BY_HAND = "review"
HEARD_OTHERWISE = "heard otherwise by the reviewer"
TAKEN_BACK = "the decision was taken back"
TRIES = 5
_BETWEEN = " "


class _OvertakenError(ChangedError):
    """Something of the inspection was written between looking and saving; it may be about other things."""


_Verb = TypeVar("_Verb", bound=Callable[..., tuple[Event, ...]])


def _tried(verb: _Verb) -> _Verb:
    """Look and decide anew where something was written meanwhile: whether it matters is seen then."""

    @wraps(verb)
    def tried(*args: Any, **options: Any) -> tuple[Event, ...]:
        for _ in range(TRIES - 1):
            try:
                return verb(*args, **options)
            except _OvertakenError:
                continue
        return verb(*args, **options)

    return cast(_Verb, tried)


class Reviewing:
    """What one person decides about one inspection."""

    def __init__(
        self,
        inspecting: Inspecting,
        store: Repository,
        understand: Callable[[str], Understanding],
        now: Callable[[], datetime],
        reviewer: str = "",
    ) -> None:
        """``understand``: what typed words mean; ``reviewer``: whose name goes with each decision."""
        self.inspecting = inspecting
        self.reviewer = reviewer
        self._store = store
        self._understand = understand
        self._now = now

    @property
    def record(self) -> InspectionRecord:
        """The inspection as the record has it now."""
        return self.inspecting.record

    # -- decisions ------------------------------------------------------------------------------

    @_tried
    def accept(self, item: str, state: str, *, sampled: bool = False) -> tuple[Event, ...]:
        """It stays as it stands: heard right, or nothing of it belongs into the record.

        A question that is still open is not accepted so: say which reading, or that it was nothing.
        """
        look = self._look(item, state)
        standing = look.exchange.standing
        asked = self._open_question(look)
        if asked is not None:
            raise UsageError("this was asked and nobody answered", todo="choose a reading")
        decided = Decided.AS_HEARD if standing else Decided.NOTHING
        held = standing[0].id if standing else None
        return self._save(look, NewEntry(), self._review(look, decided, sampled, held))

    @_tried
    def nothing(self, item: str, state: str, *, sampled: bool = False) -> tuple[Event, ...]:
        """Nothing of it belongs into the record: what stands of it is withdrawn, what it corrected stands again."""
        look = self._look(item, state)
        standing = look.exchange.standing
        decided = Decided.WITHDRAWN if standing else Decided.NOTHING
        return self._decided(look, not_said(look), self._review(look, decided, sampled))

    @_tried
    def take(
        self,
        item: str,
        state: str,
        texts: Sequence[str],
        *,
        sampled: bool = False,
        sure: bool = False,
    ) -> tuple[Event, ...]:
        """What was said are these words: another reading, or typed; several lines are several findings.

        What means the same as what stands is left as it is. ``sure``: words that would be asked about
        count where one thing is offered. Raises ``UsageError`` for what is no finding.
        """
        look = self._look(item, state)
        meant = [self._meant(text, sure, look) for text in texts if text.strip()]
        findings = [found for one in meant for found in one.offered]
        if not findings:
            raise UsageError("nothing was typed", todo="say what was said")
        return self._took(look, findings, " and ".join(one.text for one in meant), sampled, sure)

    @_tried
    def choose(
        self, item: str, state: str, mark: str, *, sampled: bool = False, sure: bool = False
    ) -> tuple[Event, ...]:
        """What was said is the reading of that ``mark`` (``review.deciding.Offered``).

        ``sure``: also where it leaves out something that stands.
        """
        look = self._look(item, state)
        offered = offers(look.exchange, self._understand, blind=sampled)
        one = next((each for each in offered if each.mark == mark), None)
        if one is None:
            raise ChangedError("this reading is not offered any more", todo="look at it again")
        if not one.findings:
            told = (
                "a command takes nothing afterwards: withdraw what was taken, or type what was said"
            )
            raise UsageError(told, where=one.text)
        return self._took(look, one.findings, one.text, sampled, sure)

    def _took(
        self, look: SeenThen, findings: Sequence[Finding], text: str, sampled: bool, sure: bool
    ) -> tuple[Event, ...]:
        standing = look.exchange.standing
        if [f.meaning for f in findings] == [each.finding.meaning for each in standing]:
            review = self._review(look, Decided.AS_HEARD, sampled, standing[0].id)
            return self._save(look, NewEntry(), review)
        decided = Decided.CORRECTED if standing else Decided.ADDED
        utterance = self._typed(look, text)
        pairs, new, gone = matched(standing, findings)
        if gone and not sure:  # whoever typed the wrong half of a breath must not lose the other
            told = leaves_out([finding_told(each.finding) for each in gone])
            raise UnsureError(told, where=text, todo="take it once more if it is so")
        made = [*(InStead(now, was) for was, now in pairs), *(InStead(each) for each in new)]
        review = self._review(look, decided, sampled)
        return self._decided(look, put(look, made, gone, utterance, HEARD_OTHERWISE), review)

    @_tried
    def remark(self, item: str, state: str, text: str) -> tuple[Event, ...]:
        """Keep a remark about it; it is never judged."""
        if not text.strip():
            raise UsageError("a remark has words", todo="say what is to be kept")
        look = self._look(item, state)
        review = self._review(look, Decided.REMARKED, False)
        return self._save(
            look,
            NewEntry(remark=text.strip(), remark_of=review.was, of=review.utterance_id),
            review,
            lambda _: (ev.RemarkKept(None, text.strip()),),
        )

    @_tried
    def take_back_remark(self, item: str, state: str, remark: str) -> tuple[Event, ...]:
        """The remark of that id, of this item, no longer stands, whoever made it."""
        look = self._look(item, state)
        one = standing_remark(look.record, remark)
        if one not in remarks_of(look.record, look.exchange):
            raise UsageError("this remark is of something else", where=one.text)
        review = self._review(look, Decided.UNREMARKED, False)
        return self._without_remark(look.record, one, review)

    @_tried
    def move(self, photo: str, number: int | None, attachment: str | None) -> tuple[Event, ...]:
        """Put a photo to finding ``number``, or to none. ``attachment``: the one that was seen."""
        record = self.record
        one = next((each for each in record.photos if each.id == photo), None)
        if one is None:
            raise UsageError("the inspection has no such photo")
        if (one.attachment.id if one.attachment else None) != attachment:
            raise ChangedError("somebody moved this photo meanwhile", todo="look where it is now")
        scene = self.inspecting.scene_of(record)
        at = None if number is None else scene.numbered(number)
        if number is not None and at is None:
            raise UsageError(f"no finding {number} stands", todo="choose one that does")
        review = NewReview(
            Decided.MOVED,
            self.reviewer,
            photo_id=photo,
            was=placed_photos(record)[photo],
            finding_id=at.id if at else None,
        )
        reason = "moved by the reviewer"
        entry = NewEntry(
            attachments=(NewAttachment(photo, at.id if at else None, reason),), review=review
        )
        self._kept(record, entry)
        told = (ev.PhotoAttached(photo, at, reason), ev.Reviewed(Decided.MOVED, self.reviewer))
        return self.inspecting.tell(told, scene)

    # -- taking back ------------------------------------------------------------------------------

    @_tried
    def undo(self) -> tuple[Event, ...]:
        """Take back what this reviewer decided last: what stood before stands again, as new rows.

        Raises ``UsageError`` where there is nothing to take back, ``ChangedError`` where somebody decided
        about the same thing since.
        """
        record = self.record
        own = [each for each in record.decisions if each.reviewer == self.reviewer]
        if not own:
            raise UsageError("there is nothing to take back")
        last = own[-1]
        if last.decided is Decided.UNREMARKED:
            raise UsageError("what was taken back is not brought back", todo="add the remark anew")
        undone = NewReview(Decided.UNDONE, self.reviewer, last.utterance_id, last.photo_id,
                           last.finding_id, last.was, undoes=last.id)  # fmt: skip
        if last.decided is Decided.MOVED:
            return self._moved_back(record, last, undone)
        if last.decided is Decided.REMARKED:
            return self._without_remark(record, _remark_of(record, last), undone)
        exchange = next(each for each in exchanges_of(record) if last in each.reviews)
        if exchange.reviews[-1] is not last or exchange.decided is not last:
            raise ChangedError("this was decided anew since", todo="look at it again")
        look = SeenThen(record, exchange, self.inspecting.scene_of(record))
        if last.decided in (Decided.AS_HEARD, Decided.NOTHING):
            return self._save(look, NewEntry(), undone)
        before = last.note.split(_BETWEEN) if last.note else []
        was = [each for each in record.findings if each.id in before and not each.stands]
        extra = [each for each in exchange.standing if each.id not in before]
        stead = (*extra, *(None for _ in was))
        made = [InStead(old.finding, new, old) for old, new in zip(was, stead, strict=False)]
        return self._decided(look, put(look, made, extra[len(made) :], None, TAKEN_BACK), undone)

    def _moved_back(
        self, record: InspectionRecord, last: Review, undone: NewReview
    ) -> tuple[Event, ...]:
        scene = self.inspecting.scene_of(record)
        at = next((each for each in scene.standing if each.id == last.was), None)
        reason = "moved back by the reviewer"
        attachment = NewAttachment(last.photo_id or "", at.id if at else None, reason)
        entry = NewEntry(attachments=(attachment,), review=undone)
        self._kept(record, entry)
        told = (
            ev.PhotoAttached(attachment.photo_id, at, reason),
            ev.Reviewed(Decided.UNDONE, self.reviewer),
        )
        return self.inspecting.tell(told, scene)

    def _without_remark(
        self, record: InspectionRecord, remark: Remark, review: NewReview
    ) -> tuple[Event, ...]:
        entry, told = remark_back(remark)
        self._kept(record, replace(entry, review=review))
        events = (*told(None), ev.Reviewed(review.decided, self.reviewer))
        return self.inspecting.tell(events, self.inspecting.scene_of(record))

    # -- inside -----------------------------------------------------------------------------------

    def _look(self, item: str, state: str) -> SeenThen:
        record = self.record
        exchange = next((each for each in exchanges_of(record) if each.id == item), None)
        if exchange is None:
            raise UsageError("the inspection has nothing of that name")
        if exchange.state != state:
            raise ChangedError(_changed(exchange), todo="look at it as it is now")
        return SeenThen(record, exchange, self.inspecting.scene_of(record))

    def _open_question(self, look: SeenThen) -> Utterance | None:
        return next(
            (
                each
                for each in look.exchange.said
                if each.decision is Decision.ASK and left_open(look.record, each)
            ),
            None,
        )

    def _meant(self, text: str, sure: bool, look: SeenThen) -> Understanding:
        """What a line means; raises ``UsageError`` for what is no whole finding."""
        said = look.scene.met(self._understand(text), None)
        if said.decision is Decision.ACCEPT and said.offered:
            return replace(said, dialogue=None)
        question = said.question
        can = question is not None and question.kind.settled is Settled.BY_YES
        if said.decision is Decision.ASK and can and len(said.offered) == 1:
            if sure:
                return replace(
                    said, decision=Decision.ACCEPT, finding=said.offered[0], question=None
                )
            raise UnsureError(said.question_text, where=text, todo="take it once more if it is so")
        told = said.question_text or said.reason or "this is no finding"
        raise UsageError(told, where=text, todo="say component, place, and value or condition")

    def _typed(self, look: SeenThen, text: str) -> NewUtterance:
        """The words of the reviewer, at the instant of what they are about: photos find it by that.

        They are no answer to what was asked: the decision settles it, and taken back it leaves it open.
        """
        first = look.exchange.first
        said = Understanding(Decision.ACCEPT, Kind.FINDING, "decided in review", text)
        return NewUtterance(
            said,
            first.said_at if first is not None else self._now(),
            id=self.inspecting.new_id(),
            grammar=self.inspecting.grammar,
        )

    def _review(
        self, look: SeenThen, decided: Decided, sampled: bool, held: str | None = None
    ) -> NewReview:
        first, standing = look.exchange.first, look.exchange.standing
        return NewReview(
            decided,
            self.reviewer,
            first.id if first is not None else None,
            was=standing[0].id if standing else None,
            finding_id=held,
            sampled=sampled,
            note=_BETWEEN.join(each.id for each in standing),
        )

    def _decided(self, look: SeenThen, change: Change, review: NewReview) -> tuple[Event, ...]:
        entry, tell = change
        return self._save(look, entry, review, tell)

    def _save(
        self,
        look: SeenThen,
        entry: NewEntry,
        review: NewReview,
        tell: Callable[[Saved], Sequence[Event]] = lambda _: (),
    ) -> tuple[Event, ...]:
        whole = replace(entry, review=review, made_by=_BY_HAND)
        saved = self._kept(look.record, whole)
        told = (*tell(saved), ev.Reviewed(review.decided, self.reviewer))
        return self.inspecting.tell(told, look.scene)

    def _kept(self, record: InspectionRecord, entry: NewEntry) -> Saved:
        try:
            return self._store.save(record.inspection.id, entry, record.rows)
        except ChangedError as error:
            raise _OvertakenError(error.what, todo=error.todo) from None


def _remark_of(record: InspectionRecord, review: Review) -> Remark:
    """The remark that came with a decision; raises ``UsageError`` where it was taken back since."""
    one = next(
        each
        for each in record.remarks
        if each.made_at == review.made_at
        and (each.utterance_id, each.finding_id) == (review.utterance_id, review.was)
    )
    return standing_remark(record, one.id)


def _changed(exchange: Exchange) -> str:
    """What happened to it last, for somebody who had not seen that."""
    if exchange.reviews:
        last = exchange.reviews[-1]
        return f"{last.reviewer or 'somebody'} decided about this meanwhile: {last.decided}"
    stands = exchange.standing
    told = "; ".join(f"no. {each.number} {finding_told(each.finding)}" for each in stands)
    return f"this changed meanwhile; now: {told or 'nothing stands of it'}"
