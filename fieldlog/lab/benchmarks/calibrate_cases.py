"""Cases to calibrate on: the inspection speech set and spoken orders, in cells of noise."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

from fieldlog.doubt.decide import kind_of, twin_distances
from fieldlog.doubt.rules import terms
from fieldlog.grammar.language import Language
from fieldlog.lab.benchmarks.calibrate_evidence import TUNE, Case, Line
from fieldlog.lab.benchmarks.calibrate_fit import Sample
from fieldlog.lab.benchmarks.noise_mix import Samples, excerpt, mix
from fieldlog.lab.benchmarks.recordings import Item as Recording
from fieldlog.lab.benchmarks.recordings import SpeechSet as Recordings
from fieldlog.lab.benchmarks.recordings import read
from fieldlog.lab.speech_set.items import Item, SpeechSet
from fieldlog.model.understanding import Decision, Understanding

SEED = 7
ORDER, FOREIGN = "order", "foreign"
Ratios = Sequence[float | None]


def cell(ratio_db: float | None) -> str:
    """ "clean" or "15 dB"."""
    return "clean" if ratio_db is None else f"{ratio_db:g} dB"


def inspection_cases(
    opened: SpeechSet, part: str, ratios: Ratios, limit: int | None, *, spread: bool
) -> Iterator[Case]:
    """Cases of one part in a fixed random order.

    ``spread`` puts each utterance into one cell only, in turn: as many different phrases as can be
    had for the time; otherwise each is in every cell.
    """
    items = [item for item in opened.items if item.part == part]
    order = np.random.default_rng(SEED).permutation(len(items))[:limit]
    for place, index in enumerate(order):
        item = items[int(index)]
        for turn, ratio in enumerate(ratios):
            if not spread or place % len(ratios) == turn:
                yield Case(
                    item.id,
                    part,
                    item.kind,
                    cell(ratio),
                    item.words,
                    partial(_heard_in, opened, item, ratio),
                )


def _heard_in(opened: SpeechSet, item: Item, ratio: float | None) -> Samples:
    return opened.noisy(item, ratio)


def order_cases(
    recordings: Recordings, noise: Path | None, part: str, ratios: Ratios, limit: int | None = None
) -> Iterator[Case]:
    """Half of the orders (fixed random halves: tune, test), clean and with noise of its own seed."""
    order = np.random.default_rng(SEED).permutation(len(recordings.items))
    half = len(order) // 2
    chosen = sorted(int(n) for n in (order[:half] if part == TUNE else order[half:]))[:limit]
    noises = None if noise is None else read(noise)
    for ratio in ratios:
        if ratio is None or noises is not None:
            for number in chosen:
                item = recordings.items[number]
                yield Case(
                    item.path.name,
                    part,
                    ORDER,
                    cell(ratio),
                    json.dumps(dict(item.slots), sort_keys=True),
                    partial(_order_in, item, noises, ratio, number),
                )


def foreign_cases(opened: SpeechSet, part: str, ratios: Ratios, limit: int) -> Iterator[Case]:
    """Speech of the inspection set, heard by a language that it is foreign to."""
    for case in inspection_cases(opened, part, ratios, limit, spread=True):
        yield replace(case, kind=FOREIGN)


def _order_in(item: Recording, noise: Samples | None, ratio: float | None, number: int) -> Samples:
    sound = read(item.path)
    if ratio is None or noise is None:
        return sound
    rng = np.random.default_rng([SEED, number, int(ratio * 10)])
    return mix(sound, excerpt(noise, len(sound), rng), ratio)


def understood(line: Line, language: Language) -> Understanding | None:
    """What the parser makes of the best hypothesis; None when nothing was heard."""
    found = line.hearing.hypotheses
    return language.understand(found[0].text) if found else None


def is_right(line: Line, understanding: Understanding, language: Language) -> bool:
    """Whether the meaning is what was said; never for negatives."""
    if line.kind == ORDER:
        return bool(dict(understanding.slots) == json.loads(line.words))
    if line.kind not in ("phrase", "incomplete"):
        return False
    return language.meaning(understanding.text) == language.meaning(line.words) != ""


def still_said(lines: Iterable[Line], language: Language) -> list[Line]:
    """Without phrases that the language no longer has: a set is older than the grammar at times."""
    return [
        line
        for line in lines
        if line.kind not in ("phrase", "incomplete") or language.meaning(line.words)
    ]


def samples(lines: Iterable[Line], language: Language) -> list[Sample]:
    """The answers that the parser accepts, as samples for fitting."""
    found = []
    for line in still_said(lines, language):
        understanding = understood(line, language)
        if understanding is None or understanding.decision is not Decision.ACCEPT:
            continue
        right = is_right(line, understanding, language)
        near = twin_distances(line.hearing, language)
        found.append(
            Sample(
                kind_of(understanding),
                line.cell,
                terms(line.hearing),
                right,
                min(near.values(), default=math.inf),
                not right and line.kind != ORDER and _is_among(near, line.words, language),
            )
        )
    return found


def _is_among(texts: Iterable[str], words: str, language: Language) -> bool:
    meaning = language.meaning(words)
    return any(language.meaning(text) == meaning != "" for text in texts)
