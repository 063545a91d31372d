"""What an utterance, or a verb by hand, puts into the record, and what is told of it then (pure)."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from fieldlog.aftercare.checklist import Skip
from fieldlog.aftercare.plan import skipped_event
from fieldlog.hearing import Heard
from fieldlog.language.in_words import in_words
from fieldlog.limits.assess import Assessment
from fieldlog.model.command import Command
from fieldlog.model.finding import Finding
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding
from fieldlog.model.verdict import Verdict
from fieldlog.shop import events as ev
from fieldlog.shop.affirming import NOT_AFFIRMED, affirmed_event
from fieldlog.shop.events import Event, Kept, Said
from fieldlog.shop.scene import Scene
from fieldlog.shop.witness import known_before
from fieldlog.store.records import EventName, NewEntry, NewEvent, NewFinding, Remark, Saved

PHOTO = "photo"
Transcribe = Callable[[Heard], str]
"""Open transcription of free speech, for remarks; clearly marked as unchecked."""


@dataclass(frozen=True, slots=True)
class Step:
    """What an utterance puts into the record besides itself, and what is told of it afterwards."""

    entry: NewEntry
    tell: Callable[[Said, Saved], Sequence[Event]]


@dataclass(frozen=True, slots=True)
class AskedLast:
    """A question that a command may be of: nothing was said of anything else since."""

    id: str
    """Of its utterance."""
    asked: Understanding

    @property
    def about(self) -> dict[str, str]:
        """The slots of what all that is offered is about, as a command would name it."""
        parts = {(one.component, one.characteristic) for one in self.asked.offered}
        component, measure = parts.pop() if len(parts) == 1 else ("", None)
        named = {"component": component, "characteristic": measure or ""}
        return {name: value for name, value in named.items() if value}

    def is_of(self, slots: Mapping[str, str]) -> bool:
        """Whether whatever answers it is of the thing that a command names; "the rear pads" are not the front
        ones that are asked about, nor surely those of "front or rear?"."""
        place = set(slots.get("position", "").split())
        placed = all(place <= set((one.position or "").split()) for one in self.asked.offered)
        about, measure = self.about, slots.get("characteristic")
        same = slots.get("component") == about.get("component")
        return placed and same and measure in (None, about.get("characteristic"))


@dataclass(frozen=True, slots=True)
class Around:
    """What steps need besides the scene."""

    inspector: str
    told: tuple[Event, ...]
    """What "say again" repeats."""
    transcribe: Transcribe | None
    fingerprint: Callable[[], str]
    """Of the record as it is when it is called."""
    led: bool = False
    """Whether "go ahead" leads on through what is open."""
    affirming: Kept | None = None
    """What was read back and waits for *affirm*."""
    of_no_finding: bool = False
    """Whether what was said last put no finding into the record: *disregard* of it takes none, and no photo
    is of the one before."""
    asked: AskedLast | None = None
    """The question that was said last and nobody answered."""


def step_of(heard: Heard, scene: Scene, around: Around) -> Step:
    """What an utterance leads to that is meant as ``heard.understanding`` says."""
    said = heard.understanding
    if said.decision is Decision.ASK and heard.takes_back:
        return _taken_back(scene)
    if said.decision is Decision.ASK:
        return Step(NewEntry(), lambda s, _: (ev.Asked(s), *_sign_off_told(s, scene)))
    if said.decision is Decision.REFUSE:
        if Flag.OWN_VOICE in said.flags:
            return Step(NewEntry(), lambda s, _: (ev.OwnVoice(s),))
        failed = Flag.NOT_TAKEN in said.flags
        return Step(NewEntry(), lambda s, _: (ev.Faulted(s) if failed else ev.Refused(s),))
    if heard.parts:
        return _breath_step(scene, heard)
    if said.finding is not None:
        return finding_step(
            scene, said.finding, scene.corrected_by(said, heard.answers), "spoken correction"
        )
    if said.kind is Kind.REMARK:
        words = said.slots.get("remark", "")
        if not words and around.transcribe is not None:
            words = around.transcribe(heard)
            if (
                words and in_words(words)[0] == in_words(said.text)[0]
            ):  # its opening, and nothing behind it
                return Step(NewEntry(), lambda s, _: (ev.Refused(s),))
        text = words or said.text
        entry, begun = NewEntry(), scene.remark if heard.takes_back else None
        if begun is not None:  # this is the whole of it
            entry, _ = remark_back(begun)
        return Step(replace(entry, remark=text), lambda s, _: (ev.RemarkKept(s, text),))
    if said.dialogue is None:
        return Step(NewEntry(), lambda s, _: (ev.Refused(s),))
    return _command(said.dialogue, heard, scene, around)


def _command(command: Command, heard: Heard, scene: Scene, around: Around) -> Step:
    """What a dialogue word does: each one of them something."""
    slots, last = heard.understanding.slots, scene.last
    match command:
        case Command.PHOTO:
            return _marked(heard, scene, around)
        case Command.DISREGARD:
            return _disregard(heard, scene, around)
        case Command.SKIP:
            items, reason = scene.left_out(slots), slots["reason"]
            if not items:
                return Step(NewEntry(), lambda s, _: (ev.NothingToTake(s),))
            return Step(
                NewEntry(events=tuple(skipped_event(Skip(key, reason)) for key in items)),
                lambda s, _: (ev.ItemSkipped(s, items, reason),),
            )
        case Command.WHAT_IS_OPEN:
            left = scene.left
            return Step(NewEntry(), lambda s, _: (ev.OpenTold(s, left),))
        case Command.NEXT_ITEM:
            first = next(iter(scene.left), None)
            return Step(NewEntry(), lambda s, _: (ev.NextTold(s, first),))
        case Command.HOW_TO_CHECK:
            asked = around.asked
            about, advice = scene.how_to_check(slots or (asked.about if asked else {}))
            return Step(NewEntry(), lambda s, _: (ev.HowToCheckTold(s, about, advice),))
        case Command.READ_BACK if slots:
            *before, newest = scene.all_named_in(slots) or (None,)
            return Step(NewEntry(), lambda s, _: (ev.ReadBack(s, newest, tuple(before)),))
        case Command.WHY | Command.READ_BACK if around.asked is not None:
            again = around.asked.asked  # nothing was taken of what was said last
            return Step(NewEntry(), lambda s, _: (ev.AskedAgain(s, again),))
        case Command.WHY | Command.READ_BACK if scene.gone is not None:
            gone = scene.gone
            return Step(NewEntry(), lambda s, _: (ev.GoneAlready(s, gone),))
        case Command.WHY:
            return Step(NewEntry(), lambda s, _: (ev.WhyTold(s, last),))
        case Command.READ_BACK:
            return Step(NewEntry(), lambda s, _: (ev.ReadBack(s, last),))
        case Command.ON_MY_OWN:
            return Step(NewEntry(), lambda s, _: (ev.OnYourOwn(s),))
        case Command.SAY_AGAIN:
            told = around.told
            return Step(NewEntry(), lambda s, _: (ev.SaidAgain(s, told),))
        case Command.STAND_BY:
            return Step(NewEntry(), lambda s, _: (ev.StandingBy(s),))
        case Command.GO_AHEAD:
            led = around.led
            return Step(NewEntry(), lambda s, _: (ev.GoingAhead(s, led),))
        case Command.SIGN_OFF:
            return _spoken(*sign_off(scene, around.inspector, around.fingerprint))
        case Command.AFFIRM | Command.NEGATIVE if around.affirming and heard.answers is None:
            return _affirmed(command, scene, around.affirming)
        case Command.AFFIRM | Command.NEGATIVE | Command.CORRECTION:
            closed = heard.answers is not None
            return Step(
                NewEntry(),
                lambda s, _: (ev.QuestionClosed(s) if closed else ev.NothingToTake(s),),
            )


def _marked(heard: Heard, scene: Scene, around: Around) -> Step:
    """A photo is of the finding that is named, else of what was said last: behind a question, of none yet.

    Behind "both", or where several places have what is named, it may be of any of them: nobody said which.
    """
    slots, asked = heard.understanding.slots, around.asked
    of_another = around.of_no_finding or asked is not None
    of = scene.newest_in(slots) if slots else () if of_another else scene.alike
    at = of[-1] if of else None
    if len(of) > 1:
        data = {"findings": " ".join(each.id for each in of)}
        entry = NewEntry(mark=PHOTO, events=(NewEvent(EventName.MARKS_SEVERAL, PHOTO, data),))
        return Step(entry, lambda s, _: (ev.Marked(s, PHOTO, at, others=of[:-1]),))
    waits = at is None and asked is not None and (not slots or asked.is_of(slots))
    entry = NewEntry(mark=PHOTO, marks=at.id if at else None)
    if asked is None or not waits:
        return Step(entry, lambda s, _: (ev.Marked(s, PHOTO, at),))
    events = (NewEvent(EventName.MARK_WAITS, PHOTO, {"question": asked.id}),)
    behind = asked.asked
    return Step(replace(entry, events=events), lambda s, _: (ev.Marked(s, PHOTO, None, behind),))


def _affirmed(command: Command, scene: Scene, kept: Kept) -> Step:
    """What an answer to a read-back does: *negative* alone takes the finding back."""
    if command is Command.NEGATIVE:
        return _taken_from(scene, (kept,), NOT_AFFIRMED)
    entry = NewEntry(events=(affirmed_event(kept),))
    return Step(entry, lambda said, _: (ev.Affirmed(said, kept),))


def closes(heard: Heard) -> bool:
    """Whether it answers another question than "Did you say 'disregard that'?"."""
    return heard.answers is not None and heard.answers.command_asked is not Command.DISREGARD


def _disregard(heard: Heard, scene: Scene, around: Around) -> Step:
    last = scene.last
    if closes(heard):
        # What was said last is the question's utterance, and nothing was taken of that.
        return Step(NewEntry(), lambda s, _: (ev.QuestionClosed(s),))
    if scene.skipped:
        items = scene.skipped
        back = tuple(NewEvent(EventName.SKIP_TAKEN_BACK, "", {"item": key}) for key in items)
        return Step(NewEntry(events=back), lambda s, _: (ev.SkipTakenBack(s, items),))
    if around.of_no_finding:
        return Step(NewEntry(), lambda s, _: (ev.NothingToTake(s, last),))
    if scene.remark is not None:
        return _spoken(*remark_back(scene.remark))
    if scene.gone is not None:
        gone = scene.gone
        return Step(NewEntry(), lambda s, _: (ev.GoneAlready(s, gone),))
    if last is None:
        return Step(NewEntry(), lambda s, _: (ev.NothingToTake(s),))
    return _taken_from(scene, scene.together or (last,), "disregarded")


def remark_back(
    remark: Remark,
) -> tuple[NewEntry, Callable[[Said | None], Sequence[Event]]]:
    """A remark that no longer stands, and what is told of it."""
    taken = NewEvent(EventName.REMARK_TAKEN_BACK, remark.text, {"remark": remark.id})
    return NewEntry(events=(taken,)), lambda said: (ev.RemarkTakenBack(said, remark.text),)


def sign_off(
    scene: Scene, name: str, fingerprint: Callable[[], str], *, confirmed: bool = False
) -> tuple[NewEntry, Callable[[Said | None], Sequence[Event]]]:
    """A signature as ``name``, and what is told of it; ``fingerprint``: with the signature in it.

    ``confirmed``: whoever signs was shown what is open and dangerous, and signs all the same.
    """
    told = known_before(before_signing(scene, None), confirmed)

    def tell(said: Said | None) -> Sequence[Event]:
        items = len(scene.progress.open)
        return (ev.SignedOff(said, name, fingerprint(), items, again=scene.signed),)

    return NewEntry(events=(NewEvent(EventName.SIGNED_OFF, name, told),)), tell


def _sign_off_told(said: Said, scene: Scene) -> tuple[Event, ...]:
    """Before anybody signs, what nobody looked at and what was found dangerous."""
    if said.understanding.dialogue is not Command.SIGN_OFF:
        return ()
    return (before_signing(scene, said),)


def before_signing(scene: Scene, said: Said | None) -> ev.BeforeSigning:
    """What whoever signs should know."""
    return ev.BeforeSigning(
        said,
        scene.left,
        scene.dangerous,
        scene.cross_checks,
        scene.beyond,
        scene.unaffirmed,
        scene.questions,
    )


def finding_step(scene: Scene, finding: Finding, corrects: Kept | None, reason: str) -> Step:
    """``finding`` with its verdict and, where it replaces ``corrects``, what leaned on that."""
    assessment = scene.assess(finding, without=corrects)
    again = scene.judged_again(corrects, finding) if corrects else ()
    entry = NewEntry(
        finding=finding,
        verdict=assessment.verdict,
        corrects=corrects.id if corrects else None,
        reason=reason if corrects else "",
        verdicts=tuple((kept.id, verdict) for kept, verdict in again),
    )

    def tell(said: Said, saved: Saved) -> Sequence[Event]:
        return (_saved_event(said, saved, finding, assessment, corrects), *_rejudged(again))

    return Step(entry, tell)


def _breath_step(scene: Scene, heard: Heard) -> Step:
    """Every finding of a breath with its verdict, each beside those before it."""
    parts, stretches = heard.parts, heard.stretches
    judged: list[tuple[Understanding, Finding, Assessment]] = []
    for part in parts:
        assert part.finding is not None  # a breath with several parts has accepted findings only
        assessment = scene.assess(part.finding)
        judged.append((part, part.finding, assessment))
        scene = scene.beside(part.finding, assessment.verdict)
    (_, first, of_first), *further = judged
    entry = NewEntry(
        finding=first,
        verdict=of_first.verdict,
        further=tuple(NewFinding(found, of.verdict) for _, found, of in further),
    )

    def tell(said: Said, saved: Saved) -> Sequence[Event]:
        kept = ((saved.finding_id, saved.number), *saved.further)
        return tuple(
            _new(
                replace(said, understanding=part, start_s=begin_s, end_s=end_s),
                *(name, number, found, of),
            )
            for (part, found, of), (name, number), (begin_s, end_s) in zip(
                judged, kept, stretches, strict=True
            )
        )

    return Step(entry, tell)


def _new(
    said: Said, name: str | None, number: int | None, finding: Finding, assessment: Assessment
) -> ev.FindingSaved:
    assert name is not None
    assert number is not None
    return ev.FindingSaved(said, Kept(name, number, finding, assessment.verdict), assessment)


def _saved_event(
    said: Said, saved: Saved, finding: Finding, assessment: Assessment, corrects: Kept | None
) -> Event:
    event = _new(said, saved.finding_id, saved.number, finding, assessment)
    if corrects is not None:
        return ev.FindingCorrected(said, event.kept, assessment, corrects)
    return event


def withdrawal(
    scene: Scene, was: Kept, reason: str
) -> tuple[NewEntry, Callable[[Said | None], Sequence[Event]]]:
    """A finding that no longer stands, with what leaned on it, and what is told of it."""
    again = scene.judged_again(was, None)
    verdicts = tuple((kept.id, verdict) for kept, verdict in again)
    return (
        NewEntry(corrects=was.id, reason=reason, verdicts=verdicts),
        lambda said: (
            ev.FindingWithdrawn(said, was, reason, scene.before.get(was.id)),
            *_rejudged(again),
        ),
    )


def withdrawals(scene: Scene, gone: Sequence[Kept], reason: str) -> Step:
    """Findings of one utterance that no longer stand, with what leaned on them."""
    again = dict[str, tuple[Kept, Verdict]]()
    for was in gone:
        again |= {kept.id: (kept, verdict) for kept, verdict in scene.judged_again(was, None)}
        scene = scene.without(was)
    left = tuple(again[each.id] for each in scene.standing if each.id in again)
    entry = NewEntry(
        takes_back=tuple(was.id for was in gone),
        reason=reason,
        verdicts=tuple((kept.id, verdict) for kept, verdict in left),
    )

    def tell(said: Said, _: Saved) -> Sequence[Event]:
        return (*(ev.FindingWithdrawn(said, was, reason) for was in gone), *_rejudged(left))

    return Step(entry, tell)


def _taken_from(scene: Scene, gone: Sequence[Kept], reason: str) -> Step:
    """What was said last is taken back, all of it; where it was a correction, what it put right stands again."""
    if len(gone) != 1:  # none: other hands withdrew it meanwhile
        return withdrawals(scene, gone, reason)
    before = scene.before.get(gone[0].id)
    return (
        _spoken(*withdrawal(scene, gone[0], reason))
        if before is None
        else brought_back(scene, gone[0], before, reason)
    )


def brought_back(scene: Scene, was: Kept, before: Kept, reason: str) -> Step:
    """The correction ``was`` is taken back: ``before`` stands again, as a new row in its place."""
    step = finding_step(scene, before.finding, was, reason)

    def tell(said: Said, saved: Saved) -> Sequence[Event]:
        corrected, *rest = step.tell(said, saved)
        assert isinstance(corrected, ev.FindingCorrected)
        return (ev.FindingBroughtBack(said, corrected.kept, corrected.assessment, was), *rest)

    return Step(step.entry, tell)


def _taken_back(scene: Scene) -> Step:
    """What was said next asks about the breath before: none of it stands until that is answered."""
    step = _taken_from(scene, scene.together, SAID_ON)
    return Step(step.entry, lambda said, saved: (*step.tell(said, saved), ev.Asked(said)))


SAID_ON = "more was said of it"
"""Why a finding is taken back whose speaker went on."""


def _spoken(entry: NewEntry, tell: Callable[[Said | None], Sequence[Event]]) -> Step:
    return Step(entry, lambda said, _: tell(said))


def _rejudged(again: Sequence[tuple[Kept, Verdict]]) -> tuple[Event, ...]:
    return tuple(ev.JudgedAgain(kept, verdict) for kept, verdict in again)
