"""What happened, as lines for the terminal: the same in every command."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import assert_never

from rich.text import Text

from fieldlog.aftercare.checklist import LeftOpen, left_text, told
from fieldlog.cli.signs import ALARM, ASKED, CHANGED, TOLD
from fieldlog.cli.verdict_lines import caution_lines, limit_text, outcome_text
from fieldlog.limits.cautions import is_dangerous
from fieldlog.model.command import Command
from fieldlog.model.finding import Finding
from fieldlog.model.understanding import Decision, Understanding
from fieldlog.model.verdict import Verdict
from fieldlog.report.lines import cross_check
from fieldlog.shop import events as ev
from fieldlog.shop.events import Event, Kept, Said
from fieldlog.words import tell
from fieldlog.words.english import counted


def events_text(events: Iterable[Event]) -> Text:
    """What an utterance led to, a line for each event that a person must see."""
    return Text("\n").join(line for event in events if (line := event_text(event)))


def events_behind(head: Text, events: Iterable[Event]) -> Text:
    """``head``, and what an utterance led to behind it: every further line under the first."""
    lines = events_text(events).split("\n")
    return Text.assemble(head, Text("\n" + " " * head.cell_len).join(lines))


def event_text(event: Event) -> Text:
    """One event as a line; empty where another line says it already."""
    match event:
        case ev.FindingSaved(said, _, assessment):
            line = outcome_text(said.understanding, assessment).append_text(answered(said))
            if said.understanding.dialogue is Command.CORRECTION:
                line.append(f"  {_CORRECTS_NOTHING}", CHANGED)
            return _warned(line, assessment.verdict)
        case ev.FindingCorrected(said, _, assessment, was):
            line = outcome_text(said.understanding, assessment)
            line.append(f"  corrects {_told(was)}", CHANGED)
            return _warned(line.append_text(answered(said)), assessment.verdict)
        case ev.FindingWithdrawn(_, was, _, before):
            gone = "" if before is None else f"; {_told(before)}{_NOR_STANDS}"
            return Text(f"withdrawn: {_told(was)}{gone}", CHANGED)
        case ev.FindingBroughtBack(_, kept, assessment, was):
            stands = f"{_told(kept)}, {tell.state(assessment.verdict)}"
            line = Text(
                f"withdrawn: {_told(was)}; what it corrected stands again: {stands}", CHANGED
            )
            return _warned(line, assessment.verdict)
        case ev.JudgedAgain(kept, verdict):
            return Text(f"  now {tell.state(verdict)}: {_told(kept)}", "dim")
        case ev.Asked(said) | ev.Refused(said):
            return outcome_text(said.understanding, None).append_text(answered(said))
        case ev.AskedAgain(_, asked):
            return Text(f"  still asked: {asked.question_text}  heard: {asked.text}", ASKED)
        case ev.ToAffirm(_, kept, _, asks, _):
            return Text(f"  read back: affirm? {_told(kept)}", ASKED) if asks else Text()
        case ev.Affirmed(_, kept):
            return Text(f"affirmed: {_told(kept)}", CHANGED)
        case ev.OwnVoice(said):
            return Text(f"(own voice, not taken: {said.text})", "dim")
        case ev.QuestionClosed(said):
            return Text(str(said.understanding.dialogue)).append_text(answered(said))
        case ev.NothingToTake(said, stays):
            nothing = (
                _nothing_there(said) if stays is None else f"{_NOT_OF_IT}; {_told(stays)} stays"
            )
            return Text(f"{said.understanding.dialogue}: {nothing}")
        case ev.HeldBack(said):
            words = said.text or "(not understood)"
            return Text(f"standing by until you say go ahead, not taken: {words}", "dim")
        case ev.Faulted(said):
            heard = f" (heard: {said.text})" if said.text else ""
            return Text(f"NOT TAKEN, say it again: {said.understanding.reason}{heard}", "bold")
        case ev.GoneAlready(_, was):
            return Text(f"{_told(was)} was withdrawn elsewhere already; nothing else was", CHANGED)
        case ev.RemarkKept(_, text, at):
            of = f" of {_told(at)}" if at else ""
            return Text.assemble(f"remark{of} (unchecked): ", (text, "italic"))
        case ev.RemarkTakenBack(_, text):
            return Text.assemble(("remark taken back: ", CHANGED), (text, "italic"))
        case ev.Marked(_, name, at, asked, others):
            of = f" of {'; '.join(map(_told, (*others, at)))}" if at else _OF_NO_FINDING
            waits = f", of what is asked: {asked.question_text}" if asked else of
            return Text(f"mark: {name}{waits}", "dim")
        case ev.PhotoAttached(_, at, reason):
            where = _told(at.finding) if at else "no finding"
            return Text(f"photo to {where} ({reason})", "dim")
        case ev.Reviewed(decided, reviewer):
            return Text(f"reviewed: {decided}{f' ({reviewer})' if reviewer else ''}", "dim")
        case ev.SignedOff():
            return _signed(event)
        case ev.BeforeSigning():
            return before_signing(event)
        case ev.AfterSignature():
            return Text(
                "  addendum, after the signature: not covered until it is signed again", CHANGED
            )
        case ev.AlreadySaved(said):
            return Text(f"saved already: {said.text}", "dim")
        case ev.NotSaved(words, waiting, fault):
            text = f"NOT SAVED YET, {waiting} waiting ({fault.what}); heard: "
            return Text(text + (words or "nothing of the language"), ALARM)
        case _:
            return _command_text(event)


def _command_text(
    event: ev.ItemSkipped
    | ev.OpenTold
    | ev.NextTold
    | ev.HowToCheckTold
    | ev.WhyTold
    | ev.ReadBack
    | ev.SaidAgain
    | ev.StandingBy
    | ev.GoingAhead
    | ev.OnYourOwn,
) -> Text:
    match event:
        case ev.ItemSkipped(_, items, reason):
            return Text("\n".join(f"left out: {item} ({reason})" for item in items), CHANGED)
        case ev.OpenTold(_, left):
            return _how_much(left)
        case ev.NextTold(_, left):
            return Text(f"next: {_next(left) if left else 'nothing is open'}", TOLD)
        case ev.HowToCheckTold(_, component, advice):
            known = f"{component}: {advice}" if component else "nothing is open: name what to check"
            return Text(known, TOLD)
        case ev.WhyTold(_, kept):
            return Text("\n").join(_why(kept)) if kept else Text("no finding stands", TOLD)
        case ev.ReadBack(_, kept, before):
            read = "; ".join(_read(each) for each in (*before, kept) if each)
            return Text(f"I read back: {read}" if read else "no finding stands", TOLD)
        case ev.SaidAgain(_, told):
            again = events_text(told)
            return (
                Text("once more: ", TOLD).append_text(again)
                if again
                else Text("(nothing was told here yet)")
            )
        case ev.StandingBy():
            return Text("standing by: nothing counts until you say go ahead", TOLD)
        case ev.GoingAhead(_, led):
            leads = "; each next item is told until you say on my own" if led else ""
            return Text(f"going ahead{leads}", TOLD)
        case ev.OnYourOwn():
            return Text("on your own: the next item is told when you say next item", TOLD)
        case _:
            assert_never(event)


def _warned(line: Text, verdict: Verdict) -> Text:
    """``line`` with the cautions under it where what was found is dangerous."""
    if not is_dangerous(verdict):
        return line
    return Text("\n").join([line, *caution_lines(verdict.cautions)])


def _open(left: Sequence[LeftOpen]) -> Text:
    """What is left open, stage by stage."""
    if not left:
        return Text("open: nothing is open", TOLD)
    stages = (f"{stage.name}: {', '.join(texts)}" for stage, texts in told(left).items())
    return Text(f"open: {'; '.join(stages)}", TOLD)


def _how_much(left: Sequence[LeftOpen]) -> Text:
    """How much is open, and what of it comes next: nobody keeps thirty names in mind."""
    if not left:
        return _open(left)
    stages = Counter(each.stage.name for each in left)
    counts = ", ".join(f"{stage} {count}" for stage, count in stages.items())
    return Text(f"open: {len(left)} to look at ({counts}); next: {_next(left[0])}", TOLD)


def _next(left: LeftOpen) -> str:
    return f"{left_text(left)} ({left.stage.name})"


def before_signing(known: ev.BeforeSigning) -> Text:
    """What whoever signs should know: what is dangerous first, then what nobody looked at."""
    lines = [Text(f"DANGEROUS, not put right: {_read(each)}", "bold") for each in known.dangerous]
    lines += [Text(f"beyond its limit: {_read(each)}", "bold") for each in known.beyond]
    lines += [Text(f"read back, not affirmed: {_read(each)}") for each in known.unaffirmed]
    lines += [Text(f"asked, not answered: {each}") for each in known.questions]
    lines += [Text(f"still to be looked at: {cross_check(each)}") for each in known.cross_checks]
    lines += [_open(known.left)] if known.left else []
    return Text("\n").join(lines) if lines else Text("nothing is open, nothing dangerous stands")


_NOT_OF_IT = "what was said last is no finding"
_NOR_STANDS = ", which it corrected, does not stand either"
_OF_NO_FINDING = ", of no finding"
_CORRECTS_NOTHING = "corrects nothing that stands"


def _nothing_there(said: Said) -> str:
    match said.understanding.dialogue:
        case Command.DISREGARD:
            return "no finding stands"
        case Command.SKIP:
            return "no such item is on the list; say what is open"
        case _:
            return "no question waits that it could answer"


def answered(said: Said) -> Text:
    """The question that an utterance answers, behind its line; nothing where there is none."""
    return answered_text(said.answers, said.understanding)


def answered_text(asked: Understanding | None, said: Understanding) -> Text:
    """The question ``asked`` that ``said`` answers, behind its line."""
    if asked is None or said.decision is Decision.REFUSE:
        return Text()
    nothing = f" ({said.reason})" if said.finding is None else ""
    again = said.decision is Decision.ASK
    return Text(f"  answers: {asked.question_text}{'' if again else nothing}", ASKED)


def _told(one: Kept | Finding) -> str:
    return tell.finding(one.finding if isinstance(one, Kept) else one)


def _read(kept: Kept) -> str:
    state = f", {tell.state(kept.verdict)}" if kept.verdict else ""
    return f"{kept.number}, {_told(kept)}{state}"


def _why(kept: Kept) -> Iterable[Text]:
    yield Text(_read(kept), TOLD)
    verdict = kept.verdict
    if verdict is None:
        return
    if verdict.reason:
        yield Text(f"  {verdict.reason}")
    for judgement in (verdict.gate, *verdict.others):
        if judgement is not None:
            yield Text(f"  {tell.state(judgement)}: {limit_text(judgement)}")


def _signed(event: ev.SignedOff) -> Text:
    by = f" by {event.name}" if event.name else ", by nobody named"
    again = " again" if event.again else ""
    items = (
        f"; {counted(event.open_items, 'item was', 'items were')} not checked"
        if event.open_items
        else ""
    )
    key = f"signed with key {event.key}" if event.key else "not signed with a key"
    return Text(f"signed off{again}{by}{items}; {key}; fingerprint {event.fingerprint}")
