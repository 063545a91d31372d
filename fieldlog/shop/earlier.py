"""What the record tells of an inspection that was begun before, in this process or another (pure)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from fieldlog.aftercare.plan import left_open
from fieldlog.hearing import Heard
from fieldlog.limits.assess import Assessment
from fieldlog.model.command import BY_YES, Command
from fieldlog.model.question import Asks
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.shop import events as ev
from fieldlog.shop.events import Event, Kept, Said
from fieldlog.store.ids import part_id
from fieldlog.store.records import EventName, InspectionRecord, RecordedFinding, Remark, Utterance

_ONLY_TELL = frozenset(
    {
        *(Command.WHAT_IS_OPEN, Command.NEXT_ITEM, Command.HOW_TO_CHECK, Command.WHY),
        *(Command.READ_BACK, Command.SAY_AGAIN, Command.STAND_BY, Command.GO_AHEAD),
        *(Command.ON_MY_OWN, Command.PHOTO),
    }
)
"""What changes nothing of what was said before."""
TAKE_BACK = (Command.DISREGARD, Command.NEGATIVE)
"""What takes back what was said last."""


def become(record: InspectionRecord, name: str) -> RecordedFinding:
    """What the finding ``name`` has become, every correction of it followed."""
    known = {each.id: each for each in record.findings}
    while (newer := known[name].superseded_by) is not None:
        name = newer
    return known[name]


def stood_before(record: InspectionRecord) -> dict[str, Kept]:
    """Standing finding that a word put in the place of another (id) -> that other.

    What was brought back is as what it was then. Of what was put right by hand nothing: a word that takes
    back what was said last is not of that.
    """
    findings = {each.id: each for each in record.findings}
    before, _ = _put_right(record)
    return {one: kept_as(findings[was]) for one, was in before.items() if findings[one].stands}


def breath_of(record: InspectionRecord, last: RecordedFinding) -> set[str]:
    """Ids of what the breath said in which ``last`` was said: what was brought back is of the one that it was."""
    if last.supersedes is None:  # as good as always
        back = dict[str, str]()
    else:
        _, back = _put_right(record)
    breaths = {each.id: each.utterance_id for each in record.findings}
    said = breaths[back.get(last.id, last.id)]
    return {last.id} | {
        name for name in breaths if said is not None and breaths[back.get(name, name)] == said
    }


def _put_right(record: InspectionRecord) -> tuple[dict[str, str], dict[str, str]]:
    """Of ids: what a word put in its place -> what it replaced; what was brought back -> what it was first."""
    findings = {each.id: each for each in record.findings}
    words = {each.id: each for each in record.utterances}
    before, back = dict[str, str](), dict[str, str]()
    for each in record.findings:
        was = findings.get(each.supersedes or "")
        if was is None or was.utterance_id == each.utterance_id:
            continue  # a reviewer's is of the utterance of what it replaces
        said = words.get(each.utterance_id or "")
        if said is None:
            continue
        goes_on = (
            said.decision is Decision.ASK
        )  # "correction two ... or three": it took the two back
        if said.dialogue == Command.CORRECTION and not goes_on:
            before[each.id] = was.id
        elif (goes_on or said.dialogue in TAKE_BACK) and (again := before.get(was.id)):
            back[each.id] = back.get(again, again)
            if older := before.get(again):
                before[each.id] = older
    return before, back


def been(record: InspectionRecord, names: Sequence[str]) -> set[str]:
    """Ids of the findings that have become one of ``names``, themselves among them."""
    known = {each.id: each for each in record.findings}
    found, waiting = set(names), list(names)
    while waiting:
        name = waiting.pop()
        here = known.get(name)
        before = () if here is None else (here.supersedes, *here.rivals)
        for one in before:
            if one in known and one not in found and known[one].superseded_by == name:
                found.add(one)
                waiting.append(one)
    return found


def subjects_withdrawn(record: InspectionRecord) -> frozenset[tuple[str, str | None, str | None]]:
    """What the findings were about that somebody took back."""
    return frozenset(each.finding.subject for each in record.findings if each.withdrawn)


def said_last(record: InspectionRecord, last: RecordedFinding | None) -> Remark | None:
    """The newest remark that was said or typed and stands, where no finding (``last``) came after it.

    One that was put in by hand, or by a reviewer, is never what "disregard that" means.
    """
    said = [
        each
        for each in record.remarks
        if not each.taken_back
        and each.utterance_id is not None
        and each.id == part_id(each.utterance_id, "remark")
    ]
    newest = said[-1] if said else None
    if newest is None or last is None:
        return newest
    # By the order of the record: a clock that was set back meanwhile makes what is newer the older.
    order = {each.id: place for place, each in enumerate(record.utterances)}
    of_last = order.get(last.utterance_id or "", -1)
    return newest if order[newest.utterance_id or ""] > of_last else None


def taken_back_last(record: InspectionRecord) -> bool:
    """Whether nothing stands of what was said last: the finding that came last into the record was taken back,
    or what was asked about was denied. What was found before that was not said last, though it is the
    newest that stands."""
    if record.findings and not become(record, record.findings[-1].id).stands:
        return True
    said = (
        each
        for each in reversed(record.utterances)
        if each.decision is not Decision.REFUSE and each.dialogue not in _ONLY_TELL
    )
    last = next(said, None)
    if last is None or last.dialogue not in TAKE_BACK:
        return False
    asked = next((each for each in record.utterances if each.id == last.answers), None)
    return asked is not None and asked.kind is Kind.FINDING and asked.dialogue is None


def skipped_last(record: InspectionRecord) -> tuple[str, ...]:
    """Items of the walk that what was said last left out; empty where it was no skip.

    What was not understood, or only told something, is passed over, as behind a remark.
    """
    said = (
        each
        for each in reversed(record.utterances)
        if each.decision is not Decision.REFUSE and each.dialogue not in _ONLY_TELL
    )
    last = next(said, None)
    if last is None or (last.decision, last.dialogue) != (Decision.ACCEPT, Command.SKIP):
        return ()
    first = part_id(last.id, "event")
    return tuple(
        each.data.get("item", "")
        for each in record.events
        if each.name == EventName.SKIPPED and (each.id == first or each.id.startswith(f"{first}-"))
    )


def only_of_the_last(heard: Heard, record: InspectionRecord) -> Heard:
    """``heard``; where it is the whole of a remark whose beginning is not what the record has last, one more."""
    if not heard.takes_back or heard.understanding.kind is not Kind.REMARK:
        return heard
    last = record.utterances[-1].id if record.utterances else None
    begun = any(each.utterance_id == last for each in record.remarks)
    return heard if begun else replace(heard, takes_back=False)


def asked_in(record: InspectionRecord) -> Iterator[str]:
    """The questions that nobody answered, with what was heard."""
    for each in record.utterances:
        if each.decision is Decision.ASK and each.dialogue is None and left_open(record, each):
            yield " ".join(filter(None, (each.question or each.reason, f"({each.text})")))


def told_last(record: InspectionRecord) -> tuple[Event, ...]:
    """What "say again" repeats of a finding that was saved in another process and stands; else
    nothing.
    """
    standing = {each.utterance_id for each in record.findings if each.stands}
    for kept in reversed(record.utterances):
        if kept.dialogue == Command.SAY_AGAIN or kept.decision is Decision.REFUSE:
            continue
        meant = Understanding(kept.decision, kept.kind, kept.reason, kept.text)
        told = saved_as(Said(kept.id, meant, kept.source, kept.start_s, kept.end_s), record)
        return told if kept.id in standing else ()
    return ()


def saved_as(said: Said, record: InspectionRecord) -> tuple[Event, ...]:
    """What the utterance became in the record, told as it was: nothing where it made no finding."""
    made = [each for each in record.findings if each.utterance_id == said.id]
    stretches = next((each.stretches for each in record.utterances if each.id == said.id), ())
    where = {each.part: each for each in stretches}
    return tuple(
        _told(
            said
            if (own := where.get(part)) is None
            else replace(said, start_s=own.start_s, end_s=own.end_s),
            *(each, record),
        )
        for part, each in enumerate(made)
        if each.verdict is not None
    )


def _told(said: Said, made: RecordedFinding, record: InspectionRecord) -> Event:
    assert made.verdict is not None
    meant = replace(
        said.understanding, decision=Decision.ACCEPT, kind=Kind.FINDING, finding=made.finding
    )
    said = replace(said, understanding=meant)
    kept, assessment = kept_as(made), Assessment(made.verdict)
    was = next((each for each in record.findings if each.id == made.supersedes), None)
    if was is None:
        return ev.FindingSaved(said, kept, assessment)
    return ev.FindingCorrected(said, kept, assessment, kept_as(was))


def kept_as(made: RecordedFinding) -> Kept:
    """A finding of the record as events tell it."""
    return Kept(made.id, made.number, made.finding, made.verdict)


def waiting_in(record: InspectionRecord) -> Utterance | None:
    """The question at the end of the record that the next words may answer, if one waits.

    What was not understood, or told something, does not end it; an answer does, and so do another
    question and the second finding about something else (``since``). One that an answer to a later
    one, or what is open, told again is waited for as well.
    """
    found, told_again, accepted = 0, False, False
    for said in reversed(record.utterances):
        over = accepted and is_command_asked(said)
        over |= bool(found) and said.dialogue == Command.SIGN_OFF  # of what stood then
        accepted |= said.decision is Decision.ACCEPT
        if said.decision is Decision.ASK and not over and left_open(record, said):
            return said if found <= 1 or told_again else None
        if said.decision is Decision.ACCEPT:
            found += said.kind is Kind.FINDING
            told_again |= said.dialogue == Command.WHAT_IS_OPEN and not found
        if found > 1 and not told_again:
            return None  # whatever is open before them waits no more
    return None


def is_command_asked(said: Utterance) -> bool:
    """Whether it led to "Did you say 'disregard that'?", which is of what came before it alone."""
    return (
        said.asked is not None and said.asked.kind is Asks.HEARD
        and said.dialogue in BY_YES and not said.asked.about
    )  # fmt: skip


def but_commands_asked(record: InspectionRecord) -> InspectionRecord:
    """The record without the commands that were asked about: what they would have been of."""
    return replace(
        record, utterances=tuple(each for each in record.utterances if not is_command_asked(each))
    )


def since(record: InspectionRecord, asked: Utterance) -> bool:
    """Whether a finding about something else, or its answer, was said after ``asked``."""
    after = record.utterances[[each.id for each in record.utterances].index(asked.id) + 1 :]
    return any(u.decision is Decision.ACCEPT and u.kind is Kind.FINDING for u in after)


def turns_of(record: InspectionRecord) -> tuple[bool, bool]:
    """Whether the record was left standing by, and whether what comes next is told."""
    standing = led = False
    for said in record.utterances:
        if said.decision is Decision.ACCEPT and said.dialogue is not None:
            standing, led = turned(Command(said.dialogue), standing=standing, led=led)
    return standing, led


def turned(word: Command, *, standing: bool, led: bool) -> tuple[bool, bool]:
    """The same after ``word``: "go ahead" ends standing by, or leads on."""
    match word:
        case Command.STAND_BY:
            return True, led
        case Command.GO_AHEAD:
            return False, led or not standing
        case Command.ON_MY_OWN:
            return standing, False
        case _:
            return standing, led
