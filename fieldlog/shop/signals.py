"""Which tone tells what happened (pure): the one that must not be missed goes before the others."""

from __future__ import annotations

from collections.abc import Sequence

from fieldlog.audio.tones import Tone
from fieldlog.limits.cautions import is_dangerous
from fieldlog.model.state import State
from fieldlog.shop import events as ev
from fieldlog.shop.events import Event, Kept

_FIRST = (Tone.LOST, Tone.ASKED, Tone.BEYOND, Tone.NOT_UNDERSTOOD, Tone.SAVED)


def tone_of(events: Sequence[Event]) -> Tone | None:
    """The tone for what one utterance led to; None where nothing is to be told (standing by)."""
    found = {tone for event in events if (tone := _tone(event)) is not None}
    return next((tone for tone in _FIRST if tone in found), None)


def _tone(event: Event) -> Tone | None:
    match event:
        case ev.NotSaved():
            return Tone.LOST
        case ev.Asked() | ev.BeforeSigning():
            return Tone.ASKED
        case ev.ToAffirm(_, kept, _, asks, _):
            return Tone.ASKED if asks and not _is_beyond(kept) else None
        case ev.FindingSaved(_, kept, _) | ev.FindingCorrected(_, kept, _, _):
            return Tone.BEYOND if _is_beyond(kept) else Tone.SAVED
        case ev.Refused() | ev.Faulted() | ev.NothingToTake() | ev.GoneAlready():
            return Tone.NOT_UNDERSTOOD
        case ev.HeldBack() | ev.OwnVoice() | ev.JudgedAgain() | ev.AfterSignature():
            return None
        case _:
            return Tone.SAVED


def _is_beyond(kept: Kept) -> bool:
    verdict = kept.verdict
    return (verdict is not None and verdict.state is State.BEYOND) or is_dangerous(verdict)
