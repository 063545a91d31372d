"""What the page on a phone shows: what stands now, and what happened, as plain tables (pure)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from fieldlog.aftercare.checklist import Progress, left_text
from fieldlog.aftercare.plan import left_open
from fieldlog.limits.cautions import is_dangerous, worst_first
from fieldlog.model.finding import Finding
from fieldlog.model.question import Settled
from fieldlog.model.state import State
from fieldlog.model.understanding import Decision, Understanding
from fieldlog.model.verdict import Verdict
from fieldlog.report.lines import cross_check, limit_lines
from fieldlog.shop import events as ev
from fieldlog.shop.events import Event, Kept, Said
from fieldlog.shop.happened import said_in
from fieldlog.shop.signals import tone_of
from fieldlog.store.records import InspectionRecord, RecordedFinding, Utterance
from fieldlog.words import tell
from fieldlog.words.telling import say

Table = dict[str, Any]
Meant = Callable[[str, Understanding], Understanding]
"""What a text means as the answer to a question."""
_NEXT = 6
_MOST_BUTTONS = 6


def stands(
    record: InspectionRecord, progress: Progress, asked: Understanding | None, meant: Meant
) -> Table:
    """What the page shows; ``asked``: the question that waits for an answer, if one does."""
    standing = [each for each in record.findings if each.stands]
    left = progress.left
    return {
        "inspection": {
            "id": record.inspection.id,
            "number": record.inspection.number,
            "vehicle": record.inspection.vehicle_name,
        },
        "findings": len(standing),
        "photos": len(record.photos),
        "last": _finding(_last(standing)) if standing else None,
        "question": _question(record, asked, meant),
        "open": {
            "count": len(progress.open),
            "next": [left_text(each) for each in left[:_NEXT]],
        },
    }


def happened(events: Sequence[Event]) -> list[Table]:
    """What one utterance led to, a line for each event that a person must see, the tone beside."""
    tone = tone_of(events)
    lines = [line for event in events for line in _lines(event)]
    return [{**line, "tone": tone.value if tone else None} for line in lines]


def _last(standing: Sequence[RecordedFinding]) -> RecordedFinding:
    """The newest; of several in its breath the worst, which what was said behind it does not hide."""
    breath = [each for each in standing if each.utterance_id == standing[-1].utterance_id]
    return min(reversed(breath), key=lambda each: worst_first(each.verdict))


def _finding(one: RecordedFinding) -> Table:
    return {"number": one.number, **_told(one.finding, one.verdict)}


def _told(finding: Finding, verdict: Verdict | None) -> Table:
    limits = limit_lines(verdict, finding.quantity)
    gate = next((each for each in limits if each.gates), None)
    return {
        "words": tell.finding(finding),
        "verdict": tell.state(verdict),
        "state": verdict.state.value if verdict else "",
        "severity": tell.severity(verdict) if verdict and verdict.state is not State.WITHIN else "",
        "limit": gate.text if gate else "",
        "source": gate.source if gate else "",
        "why": "" if gate or verdict is None else verdict.reason,
        "dangerous": is_dangerous(verdict),
        "cautions": list(verdict.cautions) if verdict and is_dangerous(verdict) else [],
    }


def _question(record: InspectionRecord, asked: Understanding | None, meant: Meant) -> Table | None:
    """The newest question that nobody answered."""
    kept = next((u for u in reversed(record.utterances) if _waits(record, u)), None)
    if kept is None:
        return None
    same = asked is not None and asked.text == kept.text
    return {
        "id": kept.id,
        "text": kept.question or kept.reason,
        "heard": kept.text,
        "answers": answers_to(asked, meant) if asked is not None and same else [],
    }


def _waits(record: InspectionRecord, said: Utterance) -> bool:
    return said.decision is Decision.ASK and left_open(record, said)


def answers_to(asked: Understanding, meant: Meant) -> list[str]:
    """Words that settle the question, each tried: what would not be taken is not offered."""
    if asked.question is None:
        return []
    offered = asked.offered
    tried = ["affirm", "negative"] if asked.question.kind.settled is Settled.BY_YES else []
    for one in offered:
        value = one.quantity
        tried += [one.position or "", value.words if value else "", one.condition or ""]
    found: dict[object, str] = {}
    for text in dict.fromkeys(filter(None, tried)):
        said = meant(text, asked)
        if said.decision is Decision.ACCEPT:
            found.setdefault((said.dialogue, said.finding), text)
    return list(found.values())[:_MOST_BUTTONS]


def _line(event: Event) -> Table | None:
    match event:
        case ev.FindingSaved(_, kept, _):
            return {"kind": "saved", **_told(kept.finding, kept.verdict), "number": kept.number}
        case ev.FindingCorrected(_, kept, _, was):
            told = _told(kept.finding, kept.verdict)
            return {"kind": "corrected", **told, "was": tell.finding(was.finding)}
        case ev.FindingBroughtBack(_, kept, _, was):
            told = _told(kept.finding, kept.verdict)
            return {"kind": "stands again", **told, "was": tell.finding(was.finding)}
        case ev.FindingWithdrawn(_, was, _, _):
            return {"kind": "withdrawn", "words": tell.finding(was.finding)}
        case ev.JudgedAgain(kept, verdict):
            return {"kind": "judged again", **_told(kept.finding, verdict)}
        case ev.Asked(said):
            question = said.understanding.question_text or said.understanding.reason
            return {"kind": "asked", "words": question, "heard": said.text}
        case ev.Refused(said) | ev.Faulted(said):
            return {
                "kind": "not understood",
                "words": said.understanding.reason,
                "heard": said.text,
            }
        case ev.ToAffirm(_, kept, _, _, _):
            return {"kind": "affirm?", "words": tell.finding(kept.finding)}
        case ev.Affirmed(_, kept):
            return {"kind": "affirmed", "words": tell.finding(kept.finding)}
        case ev.OwnVoice(said):
            return {"kind": "own voice, not taken", "words": said.text}
        case ev.HeldBack(said):
            return {"kind": "standing by", "words": said.text}
        case ev.RemarkKept(_, text):
            return {"kind": "remark", "words": text}
        case ev.RemarkTakenBack(_, text):
            return {"kind": "remark taken back", "words": text}
        case ev.NotSaved(words, _, fault):
            return {"kind": "NOT SAVED YET", "words": fault.what, "heard": words}
        case _:
            return _word(event)


def _lines(event: Event) -> list[Table]:
    """The lines of one event: what is told before signing, or read back, may be several."""
    match event:
        case ev.BeforeSigning():
            return _before_signing(event)
        case ev.SaidAgain(_, told):
            return [line for each in told for line in _lines(each)]
        case ev.ReadBack(_, None, _) | ev.WhyTold(_, None):
            return [{"kind": "read back", "words": say("no finding stands")}]
        case ev.ReadBack(_, Kept() as kept, before):
            return [_kept("read back", each) for each in (*before, kept)]
        case ev.WhyTold(_, Kept() as kept):
            return [_kept("why", kept)]
        case _:
            line = _line(event)
            return [] if line is None else [line]


def _before_signing(known: ev.BeforeSigning) -> list[Table]:
    """What whoever signs should know, the worst first; how much nobody looked at stands in the view."""
    lines = [_kept("not put right", each) for each in (*known.dangerous, *known.beyond)]
    lines += [_kept("not affirmed", each) for each in known.unaffirmed]
    lines += [{"kind": "not answered", "words": each} for each in known.questions]
    lines += [{"kind": "to look at", "words": cross_check(each)} for each in known.cross_checks]
    if known.left:
        lines.append({"kind": "not looked at", "words": str(len(known.left))})
    return lines or [{"kind": "signing", "words": say("nothing is open, nothing dangerous stands")}]


def _kept(kind: str, one: Kept) -> Table:
    return {"kind": kind, **_told(one.finding, one.verdict), "number": one.number}


def _word(event: Event) -> Table | None:
    """A word of the dialogue: what it gave, else that it was taken; what took nothing says so."""
    match event:
        case ev.AskedAgain(_, asked):
            words = asked.question_text or asked.reason
            return {"kind": "still asked", "words": words, "heard": asked.text}
        case ev.NothingToTake(said, stays):
            there = f"; {tell.finding(stays.finding)} stays" if stays else ""
            return {"kind": "nothing to take", "words": f"{said.text}{there}"}
        case ev.GoneAlready(_, was):
            return {"kind": "gone already", "words": tell.finding(was)}
        case ev.AfterSignature():
            told = "addendum, after the signature: not covered until it is signed again"
            return {"kind": "addendum", "words": say(told)}
        case ev.SignedOff(_, name):
            return {"kind": "signed off", "words": name or "by nobody named"}
        case ev.StandingBy():
            told = "standing by: nothing counts until you say go ahead"
            return {"kind": "standing by", "words": say(told)}
        case ev.NextTold(_, first):
            return {"kind": "next", "words": left_text(first) if first else say("nothing is open")}
        case ev.HowToCheckTold(_, _, advice):
            nothing = say("nothing is open: name what to check")
            return {"kind": "how to check", "words": say(advice) if advice else nothing}
        case ev.AlreadySaved(said):
            return {"kind": "saved already", "words": said.text}
        case _:
            spoken: Said | None = said_in(event)
            return {"kind": "taken", "words": spoken.text} if spoken and spoken.text else None
