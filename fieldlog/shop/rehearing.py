"""Hearing what is in the record once more; nothing of the record changes by it."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path

import soundfile

from fieldlog.audio.clip import RATE, Clip
from fieldlog.errors import AudioError, UsageError
from fieldlog.grammar.language import Language
from fieldlog.hearing import hear_clip
from fieldlog.language.files import load_language
from fieldlog.review.again import HeardAgain, differs
from fieldlog.review.exchanges import exchanges_of
from fieldlog.shop.ears import Ears
from fieldlog.store.media import MediaFolder
from fieldlog.store.records import InspectionRecord


def heard_again(
    record: InspectionRecord, media: MediaFolder, ears: Ears, number: int | None = None
) -> Iterator[HeardAgain]:
    """Each thing said (or that of utterance ``number``), heard by ``ears`` under today's grammar.

    Heard by itself, without the question that it may have answered; answers are of the thing that was
    asked about. Raises ``AudioError`` for a clip that cannot be read.
    """
    for exchange in exchanges_of(record):
        first = exchange.first
        if first is None or first.clip is None or number not in (None, first.number):
            continue
        clip = clip_of(media, first.clip, first.start_s)
        now = hear_clip(clip, ears.listener, ears.language, ears.judge).understanding
        yield HeardAgain(exchange, first.number, first.text, now, differs(exchange, now))


def language_of(grammar: Path | None) -> Language:
    """The inspection language of the folder ``grammar``, made as the one that ships; None: that one.

    Raises ``UsageError`` for what is no folder, ``GrammarError`` with every fault in it.
    """
    if grammar is not None and not grammar.is_dir():
        raise UsageError(
            "is no folder of grammar files", where=str(grammar), todo="name one like `grammars`"
        )
    return load_language(grammar)


def clip_of(media: MediaFolder, name: str, start_s: float = 0.0) -> Clip:
    """A clip of the media folder; raises ``AudioError`` for one that cannot be read."""
    try:
        samples, rate = soundfile.read(io.BytesIO(media.read(name)), dtype="float32")
    except (soundfile.LibsndfileError, RuntimeError) as error:
        raise AudioError(f"the clip cannot be read ({error})", where=name) from None
    if rate != RATE or samples.ndim != 1:
        raise AudioError("the clip is not as fieldlog keeps clips", where=name)
    return Clip(samples, start_s)
