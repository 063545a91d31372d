"""Recognisers side by side on the test part of the inspection speech set.

Unlike the orders, this set has speech and noise that says nothing of the language, and meanings
with numbers; so there are columns for both, and a list of the words that are taken for others.
"""

from __future__ import annotations

import multiprocessing
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from pathlib import Path

import numpy as np

from fieldlog.audio.clip import Clip
from fieldlog.benchmarks.calibrate_cases import Ratios, inspection_cases, is_right, understood
from fieldlog.benchmarks.calibrate_evidence import TEST, Line, hear_cases
from fieldlog.benchmarks.hearing import Absent, Progress, peak_mb
from fieldlog.benchmarks.recognisers import Recogniser
from fieldlog.benchmarks.speech_set.items import SpeechSet
from fieldlog.doubt import Policy, judge_for, shipped_rules
from fieldlog.errors import FieldlogError
from fieldlog.inspection_language import InspectionLanguage
from fieldlog.listeners.base import Language
from fieldlog.model import Decision, Finding, Kind, Understanding

_POSITIVE = ("phrase", "incomplete")


@dataclass(frozen=True, slots=True)
class InspectionPlan:
    """What is measured: the set's folder, ratios in dB (None is clean), utterances, policy."""

    folder: Path
    ratios: Ratios = (None, 15.0, 10.0)
    limit: int | None = None
    policy: Policy = Policy.BALANCED


@dataclass(frozen=True, slots=True)
class InspectionRow:
    """One recogniser in one cell. Counts are of utterances, times milliseconds."""

    recogniser: str
    cell: str
    phrases: int
    right: int
    """Meaning right, whether accepted or asked about."""
    numbers: int
    """Phrases that state a value."""
    numbers_right: int
    """Of these, heard with the right value and unit, wherever it was put."""
    silently_wrong: int
    asked_when_right: int
    asked_when_wrong: int
    refused: int
    others: int
    """Half sentences, chatter, near-grammar speech, coughs, silence."""
    others_accepted: int
    false_accepts_per_hour: float
    """Findings accepted from chatter and noise (half sentences not counted), per hour of it."""
    median_ms: float
    p95_ms: float
    real_time_factor: float
    memory_mb: float


@dataclass(frozen=True, slots=True)
class Measured:
    """The rows of one recogniser with everything that was heard."""

    rows: list[InspectionRow]
    lines: list[Line]


def compare_inspection(
    recognisers: Sequence[Recogniser],
    plan: InspectionPlan,
    progress: Progress = lambda text: None,
    *,
    run: Callable[[Recogniser, InspectionPlan], Measured | Absent] | None = None,
) -> tuple[list[Measured], list[Absent]]:
    """Every recogniser over the plan, each in a fresh process (or through ``run``)."""
    found: list[Measured] = []
    absent: list[Absent] = []
    context = multiprocessing.get_context("spawn")
    for recogniser in recognisers:
        progress(recogniser.name)
        if run is not None:
            result = run(recogniser, plan)
        else:
            with context.Pool(1) as pool:
                result = pool.apply(measure_safely, (recogniser, plan))
        if isinstance(result, Absent):
            absent.append(result)
        else:
            found.append(result)
    return found, absent


def measure_safely(recogniser: Recogniser, plan: InspectionPlan) -> Measured | Absent:
    """``measure_inspection``, or why it cannot be run here."""
    try:
        return measure_inspection(recogniser, plan)
    except FieldlogError as error:
        return Absent(recogniser.name, str(error))


def measure_inspection(recogniser: Recogniser, plan: InspectionPlan) -> Measured:
    """All cells of one recogniser, in this process."""
    language = InspectionLanguage.load()
    listener = recogniser.build()
    listener.load(language)
    cases = inspection_cases(SpeechSet(plan.folder), TEST, plan.ratios, plan.limit, spread=False)
    try:
        lines = list(hear_cases(cases, listener))
    finally:
        listener.close()
    memory = peak_mb()
    cells = dict.fromkeys(line.cell for line in lines)
    rows = [
        row(recogniser.name, [x for x in lines if x.cell == cell], language, plan.policy, memory)
        for cell in cells
    ]
    return Measured(rows, lines)


def row(
    name: str, lines: Sequence[Line], language: Language, policy: Policy, memory_mb: float
) -> InspectionRow:
    """The counts of one cell."""
    judge = judge_for(language, shipped_rules(), policy)
    counts: Counter[str] = Counter()
    idle_s = 0.0
    for line in lines:
        parsed = understood(line, language)
        decision, kind = Decision.REFUSE, Kind.NOTHING
        if parsed is not None:
            clip = Clip(np.zeros(0, np.float32), flags=frozenset(line.flags))
            judged = judge(parsed, line.hearing, clip)
            decision, kind = judged.decision, judged.kind
        if line.kind not in _POSITIVE:
            counts["others"] += 1
            counts["others accepted"] += decision is Decision.ACCEPT
            if line.kind != "half":
                idle_s += line.seconds
                counts["idle accepted"] += decision is Decision.ACCEPT and kind is Kind.FINDING
            continue
        right = parsed is not None and is_right(line, parsed, language)
        whole = parsed is not None and parsed.decision is Decision.ACCEPT
        values = _values(language.understand(line.words))
        counts["phrases"] += 1
        counts["right"] += right and decision is not Decision.REFUSE
        counts["numbers"] += bool(values)
        counts["numbers right"] += (
            bool(values) and parsed is not None and bool(values & _values(parsed))
        )
        counts["silent"] += decision is Decision.ACCEPT and not right
        counts["asked right"] += decision is Decision.ASK and right and whole
        counts["asked wrong"] += decision is Decision.ASK and not right
        counts["refused"] += decision is Decision.REFUSE
    latencies = [line.hearing.latency_ms for line in lines]
    seconds = sum(line.seconds for line in lines)
    return InspectionRow(
        recogniser=name,
        cell=lines[0].cell if lines else "",
        phrases=counts["phrases"],
        right=counts["right"],
        numbers=counts["numbers"],
        numbers_right=counts["numbers right"],
        silently_wrong=counts["silent"],
        asked_when_right=counts["asked right"],
        asked_when_wrong=counts["asked wrong"],
        refused=counts["refused"],
        others=counts["others"],
        others_accepted=counts["others accepted"],
        false_accepts_per_hour=3600.0 * counts["idle accepted"] / idle_s if idle_s else 0.0,
        median_ms=float(np.median(latencies)) if latencies else 0.0,
        p95_ms=float(np.percentile(latencies, 95)) if latencies else 0.0,
        real_time_factor=sum(latencies) / 1000.0 / seconds if seconds else 0.0,
        memory_mb=memory_mb,
    )


def _values(found: Understanding) -> frozenset[tuple[object, ...]]:
    """The values of all candidate findings, by number and unit."""
    findings: tuple[Finding, ...] = (found.finding,) if found.finding else found.candidates
    return frozenset(
        tuple((q.value, q.high, q.unit) for q in (f.readings or (f.quantity,)) if q is not None)
        for f in findings
        if f.quantity is not None or f.readings
    )


def confusions(lines: Iterable[Line], language: Language) -> list[tuple[str, str, int]]:
    """(said, heard, how often) where a whole phrase was heard with another meaning, worst first.

    The words that differ are taken as they stand side by side; "" stands for nothing.
    """
    counts: Counter[tuple[str, str]] = Counter()
    for line in lines:
        parsed = understood(line, language)
        if line.kind not in _POSITIVE or parsed is None or is_right(line, parsed, language):
            continue
        said, heard = line.words.split(), line.hearing.hypotheses[0].text.split()
        matcher = SequenceMatcher(None, said, heard, autojunk=False)
        for tag, a, b, c, d in matcher.get_opcodes():
            if tag != "equal" and max(b - a, d - c) <= 2:
                counts[" ".join(said[a:b]), " ".join(heard[c:d])] += 1
    ranked = sorted(counts.items(), key=lambda item: (-item[1], item[0]))
    return [(said, heard, count) for (said, heard), count in ranked]
