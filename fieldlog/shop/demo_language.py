"""The demo in another language: ten sentences heard, or typed where nothing can hear them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from fieldlog.audio.endpointer import utterances
from fieldlog.language.other import OtherLanguage
from fieldlog.model.understanding import Decision
from fieldlog.shop.conversation import utterances_of
from fieldlog.shop.ears import Ears
from fieldlog.shop.events import Event
from fieldlog.shop.happened import understood_by
from fieldlog.shop.workshop import Workshop

SENTENCES = "sentences.txt"


@dataclass(frozen=True, slots=True)
class SentenceSaid:
    """One thing that was said or answered, and what it led to."""

    said: str
    """The sentence of the demo."""
    how: str
    """``heard``, ``typed`` or ``answered``."""
    words: str
    """What was heard, or typed."""
    events: tuple[Event, ...]


def sentences(media: Path) -> tuple[str, ...]:
    """The sentences of the demo in ``media``."""
    lines = (media / SENTENCES).read_text(encoding="utf-8").splitlines()
    return tuple(line.strip() for line in lines if line.strip())


def run(
    media: Path, shop: Workshop, language: OtherLanguage, ears: Ears | None
) -> Iterator[SentenceSaid]:
    """Every sentence of ``media`` into a new inspection of ``shop``, by ear where ``ears`` are there.

    What is asked is answered as the person of the demo would: yes where what was meant is offered, else
    the sentence typed. The inspection is the last of the record.
    """
    vehicle = shop.add_vehicle("Demo-Motorrad")
    started = datetime(2026, 3, 14, 8, 0, tzinfo=UTC)
    inspection = shop.store.start_inspection(
        vehicle.id, started_at=started, zone="Europe/Berlin", language=shop.spoken
    )
    inspecting = shop.inspecting(inspection.id, ears)
    for number, said in enumerate(sentences(media), start=1):
        meant = language.breath(said).whole.finding
        assert meant is not None, said
        if ears is None:
            yield SentenceSaid(said, "typed", said, inspecting.type(said))
            continue
        file = media / f"{number:02d}.ogg"
        inspecting.conversation.afresh()
        offered, taken = False, False
        for heard in utterances_of(utterances(file), inspecting.conversation):
            events = inspecting.say(heard, file.name, 10.0 * number)
            understood = understood_by(events)
            offered = any(one.meaning == meant.meaning for one in understood.offered)
            taken = understood.decision is Decision.ACCEPT and offered
            yield SentenceSaid(said, "heard", heard.text, events)
        if taken:
            continue
        answer = language.yes if offered and understood.decision is Decision.ASK else said
        yield SentenceSaid(said, "answered", answer, inspecting.type(answer))
