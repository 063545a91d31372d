"""What is said aloud of what happened, after which tone (pure).

One finding at a time, its value last. Three settings: the tone alone; what matters (what is asked,
beyond, near or in doubt, put right, or was asked for by a word of the dialogue); everything.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from fieldlog.aftercare.checklist import LeftOpen, left_text
from fieldlog.audio.tones import Tone
from fieldlog.limits.cautions import is_dangerous
from fieldlog.model.command import Command
from fieldlog.model.finding import Finding
from fieldlog.model.state import State
from fieldlog.model.understanding import Flag
from fieldlog.shop import events as ev
from fieldlog.shop.events import Event, Kept
from fieldlog.shop.signals import tone_of
from fieldlog.words import spoken
from fieldlog.words.aloud import aloud, sentence
from fieldlog.words.telling import translated


class Say(StrEnum):
    """How much is said."""

    NOTHING = "nothing"
    TONES = "tones"
    VALUES = "values"
    """What matters."""
    EVERYTHING = "everything"


@dataclass(frozen=True, slots=True)
class Saying:
    """A tone, and then words."""

    tone: Tone | None
    words: str = ""
    """Small letters and stops (``words.aloud``); empty: nothing is said."""
    findings: tuple[Finding, ...] = ()
    """What the words read back or ask about: who hears them again has heard no finding."""
    asks: bool = False
    """Whether the words ask something of which nothing is taken yet."""


def saying(events: Sequence[Event], how: Say) -> Saying:
    """What is sounded and said of what one utterance led to."""
    tone = None if how is Say.NOTHING else tone_of(events)
    if how in (Say.NOTHING, Say.TONES):
        return Saying(tone)
    told = [said for said in _all_said(events, how) if said.words]
    words = " ".join(said.words for said in told)
    findings = tuple(one for said in told for one in said.findings)
    return Saying(tone, words, findings, any(said.asks for said in told))


def _all_said(events: Sequence[Event], how: Say) -> Iterator[Saying]:
    asked = [each for each in events if isinstance(each, ev.ToAffirm)]
    affirms = {kept.id for each in asked for kept in (each.kept, *each.then)}
    for event in events:
        match event:
            case ev.FindingSaved(_, kept, _) | ev.FindingCorrected(_, kept, _, _):
                if kept.id not in affirms:
                    yield _saved(event, kept, how)
            case _:
                yield _said(event, how)


def _saved(event: ev.FindingSaved | ev.FindingCorrected, kept: Kept, how: Say) -> Saying:
    corrected = isinstance(event, ev.FindingCorrected)
    verdict = kept.verdict
    plain = verdict is None or verdict.state is State.WITHIN
    led = Flag.LED in event.said.understanding.flags  # nobody named the part: we do
    if how is Say.VALUES and plain and not corrected and not led:
        return Saying(None)
    lead = spoken.CORRECTED if corrected else spoken.SAVED if plain else ""
    stands = "" if plain else spoken.lead(verdict, dangerous=is_dangerous(verdict))
    return _read(kept.finding, lead, stands)


def _said(event: Event, how: Say) -> Saying:
    match event:
        case ev.ToAffirm(_, kept, apart, asks, _):
            lead = spoken.CONFIRM if asks else ""
            return _read(kept.finding, lead, _stands(kept), apart=apart)
        case ev.Affirmed():
            return _words(spoken.AFFIRMED)
        case ev.Asked(said):
            return _asked(said.understanding.question_text, said.understanding.offered)
        case ev.AskedAgain(_, asked):
            return _asked(asked.question_text, asked.offered)
        case ev.FindingBroughtBack(_, kept, _, was):
            gone = _read(was.finding, spoken.WITHDRAWN)
            return _joined((gone, _read(kept.finding, spoken.I_READ_BACK, _stands(kept))))
        case ev.FindingWithdrawn(said, was, _, _):
            negative = said is not None and said.understanding.dialogue is Command.NEGATIVE
            if negative:
                return _words(spoken.NOT_AFFIRMED)
            return _read(was.finding, spoken.WITHDRAWN)
        case ev.ReadBack(_, kept, _) | ev.WhyTold(_, kept):
            if kept is None:
                return _words(spoken.NO_FINDING)
            return _read(kept.finding, spoken.I_READ_BACK, _stands(kept))
        case ev.OpenTold(_, left):
            return _words(
                spoken.NOTHING_OPEN if not left else f"{_next(left[0])} {spoken.left(len(left))}"
            )
        case ev.NextTold(_, first):
            return _words(spoken.NOTHING_OPEN if first is None else _next(first))
        case ev.SaidAgain(_, told):
            return saying(told, how) if told else _words(spoken.NOTHING_TOLD)
        case ev.BeforeSigning(_, left, dangerous):
            each = [_read(kept.finding, spoken.DANGEROUS) for kept in dangerous]
            rest = [_words(spoken.left(len(left)))] if left else []
            return _joined((*each, *rest))
        case ev.SkipTakenBack(_, items):
            return _words(
                f"{translated(spoken.WITHDRAWN)}, {translated(spoken.LEFT_OUT)}: {', '.join(items)}."
            )
        case ev.RemarkTakenBack():
            return _words(spoken.REMARK_TAKEN_BACK)
        case ev.SignedOff():
            return _words(spoken.SIGNED_OFF)
        case ev.AfterSignature():
            return _words(spoken.AFTER_SIGNATURE)
        case ev.StandingBy():
            return _words(spoken.STANDING_BY)
        case ev.GoingAhead():
            return _words(spoken.GOING_AHEAD)
        case ev.OnYourOwn():
            return _words(spoken.ON_YOUR_OWN)
        case ev.NotSaved():
            return _words(spoken.NOT_SAVED)
        case ev.Faulted():
            return _words(spoken.NOT_TAKEN)
        case ev.GoneAlready():
            return _words(spoken.GONE_ALREADY)
        case ev.QuestionClosed():
            return _words(spoken.CLOSED)
        case ev.HowToCheckTold():
            return _words(spoken.ON_SCREEN)
        case _:
            return _of_everything(event) if how is Say.EVERYTHING else Saying(None)


def _of_everything(event: Event) -> Saying:
    match event:
        case ev.ItemSkipped(_, items, _):
            return _words(f"{translated(spoken.LEFT_OUT)}: {', '.join(items)}.")
        case ev.RemarkKept():
            return _words(spoken.REMARK)
        case ev.Marked():
            return _words(spoken.PHOTO)
        case ev.Refused():
            return _words(spoken.NOT_UNDERSTOOD)
        case ev.NothingToTake():
            return _words(spoken.NOTHING_TO_TAKE)
        case ev.JudgedAgain(kept, verdict):
            return _read(kept.finding, spoken.standing(verdict))
        case ev.AlreadySaved():
            return _words(spoken.ALREADY_SAVED)
        case _:
            return Saying(None)


def _stands(kept: Kept) -> str:
    return spoken.lead(kept.verdict, dangerous=is_dangerous(kept.verdict))


def _next(left: LeftOpen) -> str:
    return f"{translated(spoken.NEXT)}: {left_text(left)}."


def _read(one: Finding, *leads: str, apart: bool = False) -> Saying:
    told = (translated(lead) for lead in leads)
    return Saying(None, sentence(*told, spoken.read_back(one), apart=apart), (one,))


def _asked(question: str, offered: Sequence[Finding]) -> Saying:
    return Saying(None, aloud(question), tuple(offered), asks=True)


def _words(text: str) -> Saying:
    return Saying(None, aloud(translated(text)))


def _joined(parts: Iterable[Saying]) -> Saying:
    every = tuple(parts)
    words = " ".join(part.words for part in every)
    return Saying(None, words, tuple(one for part in every for one in part.findings))
