"""Recognisers side by side on the same sound: right, silently wrong, asked, refused, how fast.

Each recogniser runs in a process of its own, so that its memory is its own. The noise mixed in is
the same for all (fixed seed). ``whole clip`` hears each file as one clip; ``endpointed`` cuts it
with the project's endpointer first and takes the utterance that was not refused.
"""

from __future__ import annotations

import multiprocessing
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fieldlog.audio.clip import RATE, Clip
from fieldlog.doubt.decide import judge_for
from fieldlog.doubt.files import shipped_rules
from fieldlog.doubt.rules import Policy
from fieldlog.errors import FieldlogError
from fieldlog.grammar.language import Language
from fieldlog.hearing import Heard, hear_clip
from fieldlog.lab.benchmarks.noise_mix import Samples
from fieldlog.lab.benchmarks.recognisers import Recogniser
from fieldlog.lab.benchmarks.recordings import Item, SpeechSet, read
from fieldlog.listeners.base import Listener
from fieldlog.model.understanding import Decision, Kind
from fieldlog.shop.conversation import Conversation, utterances_of
from fieldlog.shop.ears import Ears

SEED = 20_261_125

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Plan:
    """What is measured: sets, noise, how clips are cut, how many files."""

    sets: tuple[SpeechSet, ...]
    noise: Path | None
    ratios: tuple[float, ...] = ()
    """Ratios in dB beside clean; those of each set when empty."""
    endpointed: bool = False
    limit: int | None = None
    policy: Policy = Policy.BALANCED


@dataclass(frozen=True, slots=True)
class Row:
    """One recogniser on one set at one ratio. Counts are of files, times milliseconds."""

    recogniser: str
    speech: str
    ratio_db: float | None
    files: int
    right: int
    """All slots right, whether accepted or asked about."""
    silently_wrong: int
    """Accepted without a question, and wrong."""
    asked_when_right: int
    asked_when_wrong: int
    refused: int
    false_accepts: int
    """Something accepted from sound that was not meant for it (remarks aside)."""
    hours: float
    """Length of all the sound."""
    median_ms: float
    p95_ms: float
    real_time_factor: float
    memory_mb: float
    """Peak resident memory of the process so far."""
    wrong: tuple[str, ...] = ()
    """``file: heard`` of everything that was not right, for the confusion report."""


@dataclass(frozen=True, slots=True)
class Absent:
    """A recogniser that could not run here, and why."""

    recogniser: str
    reason: str


def compare(
    recognisers: Sequence[Recogniser], plan: Plan, progress: Progress = lambda text: None
) -> tuple[list[Row], list[Absent]]:
    """Run every recogniser over the plan, one after the other, each in a fresh process."""
    rows: list[Row] = []
    absent: list[Absent] = []
    context = multiprocessing.get_context("spawn")
    for recogniser in recognisers:
        progress(recogniser.name)
        with context.Pool(1) as pool:
            result = pool.apply(_measure_safely, (recogniser, plan))
        if isinstance(result, Absent):
            absent.append(result)
        else:
            rows += result
    return rows, absent


def _measure_safely(recogniser: Recogniser, plan: Plan) -> list[Row] | Absent:
    try:
        return measure(recogniser, plan)
    except FieldlogError as error:
        return Absent(recogniser.name, str(error))


def measure(recogniser: Recogniser, plan: Plan) -> list[Row]:
    """All rows of one recogniser, in this process."""
    noise = None if plan.noise is None else read(plan.noise)
    rows = []
    for speech in plan.sets:
        language = speech.language()
        listener = recogniser.build()
        listener.load(language)
        try:
            for ratio in (None, *(plan.ratios or speech.ratios)):
                if ratio is None or noise is not None or speech.own_noise:
                    rows.append(_row(recogniser, speech, language, listener, plan, ratio, noise))
        finally:
            listener.close()
    return rows


def _row(
    recogniser: Recogniser,
    speech: SpeechSet,
    language: Language,
    listener: Listener,
    plan: Plan,
    ratio: float | None,
    noise: Samples | None,
) -> Row:
    rng = np.random.default_rng(SEED)
    judge = judge_for(language, shipped_rules(), plan.policy)
    right = silent = asked_right = asked_wrong = refused = false_accepts = 0
    latencies: list[float] = []
    wrong: list[str] = []
    seconds = spent = 0.0
    items = _some(speech, plan.limit)
    for item in items:
        sound = item.sound(noise, ratio, rng)
        seconds += len(sound) / RATE
        began = time.perf_counter()
        if plan.endpointed:
            from fieldlog.audio.endpointer import utterances

            conversation = Conversation(Ears(language, listener, judge), keeps_left=True)
            heard = _chosen(list(utterances_of(utterances([sound]), conversation)))
        else:
            heard = hear_clip(Clip(sound), listener, language, judge)
        spent += time.perf_counter() - began
        decision = Decision.REFUSE if heard is None else heard.understanding.decision
        if heard is not None:
            latencies.append(heard.latency_ms)
        if item.negative:
            taken = decision is Decision.ACCEPT and heard is not None
            if taken and heard is not None and heard.understanding.kind is not Kind.REMARK:
                false_accepts += 1
                wrong.append(f"{item.path.name}: {heard.text}")
            refused += decision is Decision.REFUSE
            asked_wrong += decision is Decision.ASK
            continue
        is_right = heard is not None and item.is_right(heard.understanding, language)
        meant = not item.words or language.understand(item.words).decision is Decision.ACCEPT
        right += is_right and decision is not Decision.REFUSE
        silent += decision is Decision.ACCEPT and not is_right
        asked_right += decision is Decision.ASK and is_right and meant
        asked_wrong += decision is Decision.ASK and not is_right
        refused += decision is Decision.REFUSE
        if not is_right:
            said = f" ({item.words})" if item.words else ""
            wrong.append(f"{item.path.name}{said}: {heard.text if heard else ''}")
    return Row(
        recogniser=recogniser.name,
        speech=speech.name,
        ratio_db=ratio,
        files=len(items),
        right=right,
        silently_wrong=silent,
        asked_when_right=asked_right,
        asked_when_wrong=asked_wrong,
        refused=refused,
        false_accepts=false_accepts,
        hours=seconds / 3600.0,
        median_ms=float(np.median(latencies)) if latencies else 0.0,
        p95_ms=float(np.percentile(latencies, 95)) if latencies else 0.0,
        real_time_factor=spent / seconds if seconds else 0.0,
        memory_mb=peak_mb(),
        wrong=tuple(wrong),
    )


def _some(speech: SpeechSet, limit: int | None) -> list[Item]:
    items = list(speech.items)
    if limit is None or limit >= len(items):
        return items
    picked = np.random.default_rng(SEED).permutation(len(items))[:limit]
    return [items[index] for index in sorted(picked)]


def _chosen(heard: list[Heard]) -> Heard | None:
    """Of several utterances in one file: accepted before asked before refused, longest first."""
    order = {Decision.ACCEPT: 0, Decision.ASK: 1, Decision.REFUSE: 2}
    ranked = sorted(heard, key=lambda h: (order[h.understanding.decision], -h.clip.duration_s))
    return ranked[0] if ranked else None


def peak_mb() -> float:
    """Peak resident memory of this process in MB; 0 where the platform does not tell."""
    try:
        import resource
        import sys
    except ImportError:
        return 0.0
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1024.0 * 1024.0) if sys.platform == "darwin" else peak / 1024.0
