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
from fieldlog.words.telling import command, part, question, say


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
                line.append(f"  {say(_CORRECTS_NOTHING)}", CHANGED)
            return _warned(line, assessment.verdict)
        case ev.FindingCorrected(said, _, assessment, was):
            line = outcome_text(said.understanding, assessment)
            line.append(f"  {say('corrects {was}', was=_told(was))}", CHANGED)
            return _warned(line.append_text(answered(said)), assessment.verdict)
        case ev.FindingWithdrawn(_, was, _, before):
            line = Text(say("withdrawn: {was}", was=_told(was)), CHANGED)
            return line if before is None else line.append(f"; {_told(before)}{say(_NOR_STANDS)}")
        case ev.FindingBroughtBack(_, kept, assessment, was):
            stands = f"{_told(kept)}, {tell.state(assessment.verdict)}"
            told = say(
                "withdrawn: {was}; what it corrected stands again: {stands}",
                was=_told(was),
                stands=stands,
            )
            line = Text(told, CHANGED)
            return _warned(line, assessment.verdict)
        case ev.JudgedAgain(kept, verdict):
            now = say("now {state}: {of}", state=tell.state(verdict), of=_told(kept))
            return Text(f"  {now}", "dim")
        case ev.Asked(said) | ev.Refused(said):
            return outcome_text(said.understanding, None).append_text(answered(said))
        case ev.AskedAgain(_, asked):
            still = say(
                "still asked: {question}  heard: {words}",
                question=question(asked),
                words=asked.text,
            )
            return Text(f"  {still}", ASKED)
        case ev.ToAffirm(_, kept, _, asks, _):
            back = say("read back: affirm? {finding}", finding=_told(kept))
            return Text(f"  {back}", ASKED) if asks else Text()
        case ev.Affirmed(_, kept):
            return Text(say("affirmed: {finding}", finding=_told(kept)), CHANGED)
        case ev.OwnVoice(said):
            return Text(say("(own voice, not taken: {words})", words=said.text), "dim")
        case ev.QuestionClosed(said):
            return Text(command(said.understanding)).append_text(answered(said))
        case ev.NothingToTake(said, stays):
            nothing = (
                _nothing_there(said)
                if stays is None
                else say("what was said last is no finding; {finding} stays", finding=_told(stays))
            )
            return Text(f"{command(said.understanding)}: {nothing}")
        case ev.HeldBack(said):
            words = said.text or f"({say('not understood')})"
            return Text(
                say("standing by until you say go ahead, not taken: {words}", words=words), "dim"
            )
        case ev.Faulted(said):
            heard = f" ({say('heard: {words}', words=said.text)})" if said.text else ""
            why = say("NOT TAKEN, say it again: {why}", why=say(said.understanding.reason))
            return Text(f"{why}{heard}", "bold")
        case ev.GoneAlready(_, was):
            return Text(
                say(
                    "{finding} was withdrawn elsewhere already; nothing else was",
                    finding=_told(was),
                ),
                CHANGED,
            )
        case ev.RemarkKept(_, text, at):
            of = (
                say("remark of {finding} (unchecked)", finding=_told(at))
                if at
                else say("remark (unchecked)")
            )
            return Text.assemble(f"{of}: ", (text, "italic"))
        case ev.RemarkTakenBack(_, text):
            return Text.assemble((f"{say('remark taken back')}: ", CHANGED), (text, "italic"))
        case ev.Marked(_, name, at, asked, others):
            return Text(_mark(say(name), (*others, at) if at else (), asked), "dim")
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
            after = say("addendum, after the signature: not covered until it is signed again")
            return Text(f"  {after}", CHANGED)
        case ev.AlreadySaved(said):
            return Text(say("saved already: {words}", words=said.text), "dim")
        case ev.NotSaved(words, waiting, fault):
            return Text(
                say(
                    "NOT SAVED YET, {count} waiting ({why}); heard: {words}",
                    count=waiting, why=fault.what, words=words or say("nothing of the language"),
                ),
                ALARM,
            )  # fmt: skip
        case _:
            return _command_text(event)


def _command_text(
    event: ev.ItemSkipped
    | ev.SkipTakenBack
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
            out = (say("left out: {item} ({why})", item=item, why=reason) for item in items)
            return Text("\n".join(out), CHANGED)
        case ev.SkipTakenBack(_, items):
            back = (say("not left out after all: {item}", item=item) for item in items)
            return Text("\n".join(back), CHANGED)
        case ev.OpenTold(_, left):
            return _how_much(left)
        case ev.NextTold(_, left):
            return Text(
                say("next: {item}", item=_next(left) if left else say("nothing is open")), TOLD
            )
        case ev.HowToCheckTold(_, component, advice):
            if component is None:
                return Text(say("nothing is open: name what to check"), TOLD)
            return Text(f"{part(component)}: {say(advice)}", TOLD)
        case ev.WhyTold(_, kept):
            return Text("\n").join(_why(kept)) if kept else Text(say(_NOTHING), TOLD)
        case ev.ReadBack(_, kept, before):
            read = "; ".join(_read(each) for each in (*before, kept) if each)
            return Text(
                say("I read back: {findings}", findings=read) if read else say(_NOTHING), TOLD
            )
        case ev.SaidAgain(_, told):
            again = events_text(told)
            return (
                Text(f"{say('once more')}: ", TOLD).append_text(again)
                if again
                else Text(say("(nothing was told here yet)"))
            )
        case ev.StandingBy():
            return Text(say("standing by: nothing counts until you say go ahead"), TOLD)
        case ev.GoingAhead(_, led):
            leads = f"; {say('each next item is told until you say on my own')}" if led else ""
            return Text(f"{say('going ahead')}{leads}", TOLD)
        case ev.OnYourOwn():
            return Text(say("on your own: the next item is told when you say next item"), TOLD)
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
        return Text(say("open: {items}", items=say("nothing is open")), TOLD)
    stages = (f"{say(stage.name)}: {', '.join(texts)}" for stage, texts in told(left).items())
    return Text(say("open: {items}", items="; ".join(stages)), TOLD)


def _how_much(left: Sequence[LeftOpen]) -> Text:
    """How much is open, and what of it comes next: nobody keeps thirty names in mind."""
    if not left:
        return _open(left)
    stages = Counter(each.stage.name for each in left)
    counts = ", ".join(f"{say(stage)} {count}" for stage, count in stages.items())
    return Text(
        say(
            "open: {count} to look at ({stages}); next: {item}",
            count=len(left), stages=counts, item=_next(left[0]),
        ),
        TOLD,
    )  # fmt: skip


def _next(left: LeftOpen) -> str:
    return f"{left_text(left)} ({say(left.stage.name)})"


def before_signing(known: ev.BeforeSigning) -> Text:
    """What whoever signs should know: what is dangerous first, then what nobody looked at."""
    dangerous, beyond = say("DANGEROUS, not put right"), say("beyond its limit")
    lines = [Text(f"{dangerous}: {_read(each)}", "bold") for each in known.dangerous]
    lines += [Text(f"{beyond}: {_read(each)}", "bold") for each in known.beyond]
    back, asked = say("read back, not affirmed"), say("asked, not answered")
    lines += [Text(f"{back}: {_read(each)}") for each in known.unaffirmed]
    lines += [Text(f"{asked}: {each}") for each in known.questions]
    still = say("still to be looked at")
    lines += [Text(f"{still}: {cross_check(each)}") for each in known.cross_checks]
    lines += [_open(known.left)] if known.left else []
    nothing = say("nothing is open, nothing dangerous stands")
    return Text("\n").join(lines) if lines else Text(nothing)


def _mark(name: str, of: Sequence[Kept], asked: Understanding | None) -> str:
    """What an instant is of."""
    if asked is not None:
        return say(
            "mark: {name}, of what is asked: {question}", name=name, question=question(asked)
        )
    if not of:
        return say("mark: {name}, of no finding", name=name)
    return say("mark: {name} of {findings}", name=name, findings="; ".join(map(_told, of)))


_NOTHING = "no finding stands"
_NOR_STANDS = ", which it corrected, does not stand either"
_CORRECTS_NOTHING = "corrects nothing that stands"


def _nothing_there(said: Said) -> str:
    match said.understanding.dialogue:
        case Command.DISREGARD:
            return say(_NOTHING)
        case Command.SKIP:
            return say("no such item is on the list; say what is open")
        case _:
            return say("no question waits that it could answer")


def answered(said: Said) -> Text:
    """The question that an utterance answers, behind its line; nothing where there is none."""
    return answered_text(said.answers, said.understanding)


def answered_text(asked: Understanding | None, said: Understanding) -> Text:
    """The question ``asked`` that ``said`` answers, behind its line."""
    if asked is None or said.decision is Decision.REFUSE:
        return Text()
    nothing = f" ({say(said.reason)})" if said.finding is None else ""
    again = said.decision is Decision.ASK
    answers = say("answers: {what}", what=question(asked))
    return Text(f"  {answers}{'' if again else nothing}", ASKED)


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
        yield Text(f"  {say(verdict.reason)}")
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
