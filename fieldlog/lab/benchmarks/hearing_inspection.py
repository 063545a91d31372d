"""Recognisers side by side on the test part of the inspection speech set.

Unlike the orders, this set has speech and noise that says nothing of the language, and meanings
with numbers; so there are columns for both, and a list of the words that are taken for others.
"""

from __future__ import annotations

import multiprocessing
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from difflib import SequenceMatcher
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np

from fieldlog.doubt.rules import Policy
from fieldlog.errors import FieldlogError
from fieldlog.grammar.language import Language
from fieldlog.lab.benchmarks.calibrate_cases import (
    Ratios,
    inspection_cases,
    is_right,
    still_said,
    understood,
)
from fieldlog.lab.benchmarks.calibrate_evidence import (
    TEST,
    Case,
    Line,
    hear_by_many,
    hear_cases,
    write_lines,
)
from fieldlog.lab.benchmarks.hearing import Absent, peak_mb
from fieldlog.lab.benchmarks.hearing_answers import Answers, made_of
from fieldlog.lab.benchmarks.hearing_parts import (
    DRY,
    POSITIVE,
    Judged,
    Part,
    asked_when_right,
    judged,
    parts,
)
from fieldlog.lab.benchmarks.recognisers import Recogniser
from fieldlog.lab.speech_set.items import SpeechSet
from fieldlog.language.files import load_language
from fieldlog.listeners.base import Listener
from fieldlog.model.understanding import Decision, Kind

DEFAULT_RATIOS: Ratios = (None, 15.0, 10.0)
ALL_ROOMS, NO_ROOM = "all rooms", "dry, no effect"
Step = Callable[[str, int, int], None]
"""(recogniser, utterances heard, of how many)."""


@dataclass(frozen=True, slots=True)
class InspectionPlan:
    """What is measured: the set's folder, ratios in dB (None is clean), utterances, policy."""

    folder: Path
    ratios: Ratios = DEFAULT_RATIOS
    limit: int | None = None
    policy: Policy = Policy.BALANCED
    answers: Path | None = None
    """Folder in which hearings are kept; what is there already is not heard again."""
    processes: int = 1
    """So many hear at the same time: times are then those of a busy machine."""


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
    rooms: str = ALL_ROOMS
    """``all rooms``, or ``dry, no effect``: the utterances no room or microphone was added to."""


@dataclass(frozen=True, slots=True)
class Measured:
    """The rows of one recogniser with everything that was heard."""

    rows: list[InspectionRow]
    lines: list[Line]
    parts: list[Part] = field(default_factory=list)
    gone: int = 0
    """Phrases left out because the grammar has them no longer."""


def compare_inspection(
    recognisers: Sequence[Recogniser],
    plan: InspectionPlan,
    step: Step = lambda name, done, of: None,
    *,
    run: Callable[[Recogniser, InspectionPlan], Measured | Absent] | None = None,
) -> tuple[list[Measured], list[Absent]]:
    """Every recogniser over the plan, each in a fresh process (or through ``run``)."""
    found: list[Measured] = []
    absent: list[Absent] = []
    for recogniser in recognisers:
        step(recogniser.name, 0, 0)
        result = _apart(recogniser, plan, step) if run is None else run(recogniser, plan)
        if isinstance(result, Absent):
            absent.append(result)
        else:
            found.append(result)
    return found, absent


def _apart(recogniser: Recogniser, plan: InspectionPlan, step: Step) -> Measured | Absent:
    """``measure_safely`` in a process of its own, whose memory and crashes are its own."""
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe(duplex=False)
    process = context.Process(target=_work, args=(theirs, recogniser, plan))
    process.daemon = plan.processes == 1  # such a one may have no processes of its own
    process.start()
    theirs.close()
    try:
        while True:
            told: Measured | Absent | tuple[int, int] = ours.recv()
            if not isinstance(told, tuple):
                return told
            step(recogniser.name, *told)
    except EOFError:
        process.join()
        return Absent(recogniser.name, f"its process ended by itself (code {process.exitcode})")
    finally:
        process.terminate()
        process.join()


def _work(out: Connection, recogniser: Recogniser, plan: InspectionPlan) -> None:
    out.send(measure_safely(recogniser, plan, lambda name, done, of: out.send((done, of))))
    out.close()


def measure_safely(
    recogniser: Recogniser, plan: InspectionPlan, step: Step = lambda name, done, of: None
) -> Measured | Absent:
    """``measure_inspection``, or why it cannot be run here."""
    try:
        return measure_inspection(recogniser, plan, step)
    except FieldlogError as error:
        return Absent(recogniser.name, str(error))


def measure_inspection(
    recogniser: Recogniser, plan: InspectionPlan, step: Step = lambda name, done, of: None
) -> Measured:
    """All cells of one recogniser, in this process."""
    language = load_language()
    opened = SpeechSet(plan.folder)
    cases = list(inspection_cases(opened, TEST, plan.ratios, plan.limit, spread=False))
    listener = recogniser.build()
    listener.load(language)
    try:
        answers = None
        if plan.answers is not None:
            depends = made_of(recogniser, listener, plan.folder)
            answers = Answers(plan.answers, recogniser.name, depends)
        heard = {} if answers is None else {(x.id, x.cell): x for x in answers.lines()}
        left = [case for case in cases if (case.id, case.cell) not in heard]
        before = len(cases) - len(left)
        step(recogniser.name, before, len(cases))

        def kept() -> Iterator[Line]:
            for line in _heard(left, listener, recogniser, plan.processes):
                heard[line.id, line.cell] = line
                yield line

        if answers is not None:
            try:
                write_lines(
                    kept(),
                    answers.path,
                    lambda count: step(recogniser.name, before + count, len(cases)),
                )
            finally:
                memory = answers.peak_mb(peak_mb())
        else:
            for count, _ in enumerate(kept(), 1):
                step(recogniser.name, count, len(cases))
            memory = peak_mb()
    finally:
        listener.close()
    every = [heard[case.id, case.cell] for case in cases]
    lines = still_said(every, language)
    items = {item.id: item for item in opened.items}
    found = judged(lines, language, plan.policy)
    rows = []
    for rooms in (ALL_ROOMS, NO_ROOM):
        mine = [x for x in found if rooms == ALL_ROOMS or items[x.line.id].effect == DRY]
        for cell in dict.fromkeys(x.line.cell for x in mine):
            these = [x for x in mine if x.line.cell == cell]
            rows.append(tally(recogniser.name, these, memory, rooms))
    gone = len({x.id for x in every} - {x.id for x in lines})
    return Measured(rows, lines, parts(recogniser.name, found, items), gone)


def _heard(
    cases: Sequence[Case], listener: Listener, recogniser: Recogniser, processes: int
) -> Iterator[Line]:
    if processes == 1 or not cases:
        return hear_cases(cases, listener)
    return hear_by_many(cases, recogniser.build, load_language, processes)


def row(
    name: str, lines: Sequence[Line], language: Language, policy: Policy, memory_mb: float
) -> InspectionRow:
    """The counts of one cell."""
    return tally(name, judged(lines, language, policy), memory_mb)


def tally(
    name: str, found: Sequence[Judged], memory_mb: float, rooms: str = ALL_ROOMS
) -> InspectionRow:
    """The counts of one cell whose lines are judged."""
    counts: Counter[str] = Counter()
    idle_s = 0.0
    for each in found:
        accepted = each.decision is Decision.ACCEPT
        if not each.positive:
            counts["others"] += 1
            counts["others accepted"] += accepted
            if each.line.kind != "half":
                idle_s += each.line.seconds
                counts["idle accepted"] += accepted and each.kind is Kind.FINDING
            continue
        counts["phrases"] += 1
        counts["right"] += each.right and each.decision is not Decision.REFUSE
        counts["numbers"] += each.states_value
        counts["numbers right"] += each.states_value and each.value_right
        counts["silent"] += accepted and not each.right
        counts["asked right"] += asked_when_right(each)
        counts["asked wrong"] += each.decision is Decision.ASK and not each.right
        counts["refused"] += each.decision is Decision.REFUSE
    latencies = [each.line.hearing.latency_ms for each in found]
    seconds = sum(each.line.seconds for each in found)
    return InspectionRow(
        recogniser=name,
        cell=found[0].line.cell if found else "",
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
        rooms=rooms,
    )


def confusions(lines: Iterable[Line], language: Language) -> list[tuple[str, str, int]]:
    """(said, heard, how often) where a whole phrase was heard with another meaning, worst first.

    The words that differ are taken as they stand side by side; "" stands for nothing.
    """
    counts: Counter[tuple[str, str]] = Counter()
    for line in lines:
        parsed = understood(line, language)
        if line.kind not in POSITIVE or parsed is None or is_right(line, parsed, language):
            continue
        said, heard = line.words.split(), line.hearing.hypotheses[0].text.split()
        matcher = SequenceMatcher(None, said, heard, autojunk=False)
        for tag, a, b, c, d in matcher.get_opcodes():
            if tag != "equal" and max(b - a, d - c) <= 2:
                counts[" ".join(said[a:b]), " ".join(heard[c:d])] += 1
    ranked = sorted(counts.items(), key=lambda item: (-item[1], item[0]))
    return [(said, heard, count) for (said, heard), count in ranked]
