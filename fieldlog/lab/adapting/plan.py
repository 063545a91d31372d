"""What is said to train on, and by whom: voices without end, blended out of those of the training part (pure).

A blended voice is a random convex mixture of three style vectors of the natural voice, moved a little
in a random direction (``neural_worker.chosen_style``), with a rate of its own: no two takes have the
same speaker.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass

from fieldlog.lab.adapting.sentences import PAUSE, TALK, Said, Sentences, findings_to_train
from fieldlog.lab.adapting.takes import (
    GENERAL,
    LANGUAGES,
    NATURAL_STYLES,
    TRADE,
    VARIANTS,
    answers,
    negatives,
    trade_texts,
)
from fieldlog.lab.speech_set.phrases import PhraseSource
from fieldlog.lab.speech_set.voices import as_said
from fieldlog.language.inspection import InspectionLanguage

SHARES = {
    "single": 0.31, "answer": 0.02, "breath": 0.20, "carried": 0.08, "repair": 0.05, "limit": 0.05, "side": 0.06,
    "pause": 0.05, "talk": 0.08, "negative": 0.04, "general": 0.06,
}  # fmt: skip
"""How much of all takes each way of saying something is; ``single`` are phrases and answers."""
_BLENDED = 3
_DIRICHLET = 0.7
_OTHERS = 0.28
"""Share of the takes that the older engines speak."""
_FILLERS = ("um", "uh", "er")


@dataclass(frozen=True, slots=True)
class Spoken:
    """One take to be: pieces of text as they are said, the silences between them, and the speaker."""

    kind: str
    words: str
    """As the take is written down."""
    pieces: tuple[str, ...]
    gaps_s: tuple[float, ...]
    """Silence behind each piece but the last; 0: said in one go, without a break."""
    engine: str
    setting: str
    """Of ``voices.Voice``; of the natural voice a mixture ("a:0.7~b:0.3%12")."""
    rate: float
    seed: int

    @property
    def texts(self) -> tuple[str, ...]:
        """What is spoken by itself: the pieces, or all of them in one go."""
        if any(self.gaps_s):
            return self.pieces
        return ((" " if self.seed % 2 else ", ").join(self.pieces),)


def planned(
    language: InspectionLanguage, plain: Sequence[tuple[str, str]], count: int, seed: int
) -> list[Spoken]:
    """About ``count`` takes in random order; ``plain``: (kind, sentence) that have nothing to do with it."""
    rng = random.Random(seed)
    texts = _texts(language, plain, count, seed, rng)
    rng.shuffle(texts)
    return [_spoken(said, rng) for said in texts]


def _texts(
    language: InspectionLanguage,
    plain: Sequence[tuple[str, str]],
    count: int,
    seed: int,
    rng: random.Random,
) -> list[Said]:
    found = []
    for name, texts in (("single", trade_texts(seed)), ("answer", answers(seed))):
        picked = rng.sample(texts, min(len(texts), round(SHARES[name] * count)))
        found += [Said(kind, (words,)) for kind, words in picked]
    source = PhraseSource(language, seed)
    sentences = Sentences(language, seed, findings_to_train(source, language))
    for name, make in (
        ("breath", sentences.breath),
        ("carried", sentences.carried),
        ("repair", sentences.repair),
        ("limit", sentences.limit),
        ("side", sentences.side),
        ("pause", sentences.pause),
        ("talk", sentences.talk),
    ):
        found += sentences.draw(make, round(SHARES[name] * count))
    for name, texts in (("negative", negatives()), ("general", list(plain))):
        wanted = round(SHARES[name] * count)
        found += [
            Said(kind, (words,)) for kind, words in (texts * (wanted // len(texts) + 1))[:wanted]
        ]
    return found


def _spoken(said: Said, rng: random.Random) -> Spoken:
    pieces = tuple(as_said(piece) if said.kind in TRADE else piece for piece in said.pieces)
    apart = said.kind == PAUSE or rng.random() < 0.35
    longest = 1.2 if said.kind == PAUSE else 0.5
    gaps = tuple(rng.uniform(0.06, longest) if apart else 0.0 for _ in pieces[1:])
    if len(pieces) > 1 and rng.random() < (0.35 if said.kind == PAUSE else 0.06):
        at = rng.randrange(1, len(pieces))
        pieces = (*pieces[:at], f"{rng.choice(_FILLERS)}, {pieces[at]}", *pieces[at + 1 :])
    engine, setting = _speaker(said, rng)
    rate = rng.uniform(0.85, 1.3)
    return Spoken(said.kind, said.words, pieces, gaps, engine, setting, rate, rng.randrange(2**31))


def _speaker(said: Said, rng: random.Random) -> tuple[str, str]:
    if rng.random() < _OTHERS and said.kind not in (GENERAL, TALK):
        if rng.random() < 0.75:
            return "espeak-ng", f"{rng.choice(LANGUAGES)}+{rng.choice(VARIANTS)}"
        return "flite", "rms"
    drawn = sorted((rng.gammavariate(_DIRICHLET, 1.0) for _ in range(_BLENDED)), reverse=True)
    names = rng.sample(NATURAL_STYLES, _BLENDED)
    mixed = "~".join(f"{n}:{each / sum(drawn):.4f}" for n, each in zip(names, drawn, strict=True))
    return "kokoro english", f"{mixed}%{rng.randrange(2**31)}"
