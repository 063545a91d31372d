"""What a live session makes of a long recording in which nobody states a finding.

The recording goes through ``fieldlog listen`` itself: capture, endpointer, the first silence,
listener, doubt, and a record in a folder that is thrown away. What is counted is what stands in that
record, so nothing that was accepted can be missed.
"""

from __future__ import annotations

import os
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from fieldlog.audio.capture import Draft, Spoken
from fieldlog.audio.clip import RATE
from fieldlog.audio.source import Block, FileSource
from fieldlog.cli.board import Board
from fieldlog.cli.listen import run
from fieldlog.cli.terminal import Terminal
from fieldlog.doubt.decide import kind_of
from fieldlog.doubt.files import shipped_rules
from fieldlog.doubt.rules import terms
from fieldlog.lab.benchmarks.chatter_recording import Plan, Spell
from fieldlog.lab.benchmarks.hearing import peak_mb
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.hearing import Hearing
from fieldlog.model.understanding import Decision, Kind
from fieldlog.shop.ears import Ears
from fieldlog.shop.live import LiveInspection, Told
from fieldlog.shop.workshop import Workshop
from fieldlog.store.records import Utterance

NOISE, SILENCE = "noise alone", "silence and hiss"
NO_MORE_THAN = 3.0
"""With none seen, fewer than this many are expected in as much sound (95 %, Poisson)."""


@dataclass(frozen=True, slots=True)
class Material:
    """Minutes of one kind of material, and how many of these lie in noise."""

    kind: str
    utterances: int
    minutes: float
    in_noise: float


@dataclass(frozen=True, slots=True)
class NoiseMinutes:
    """Minutes of one noise at one level (RMS in dB below full scale)."""

    noise: str
    level_db: float
    minutes: float


@dataclass(frozen=True, slots=True)
class Taken:
    """One utterance of the record that is more than a refusal. Seconds in the recording."""

    start_s: float
    end_s: float
    decision: str
    kind: str
    heard: str
    said: tuple[str, ...]
    """What sounded there: kind of material, words, voice, room."""
    noise: tuple[str, ...]
    reason: str
    chance: float | None
    """Of being right, by the decision file; None for a listener that it does not know."""
    evidence: dict[str, float]


@dataclass(frozen=True, slots=True)
class Outcome:
    """Everything the benchmark prints."""

    listener: str
    seed: int
    seconds: float
    """Sound that was heard; less than was planned when it was interrupted."""
    planned_s: float
    material: tuple[Material, ...]
    noises: tuple[NoiseMinutes, ...]
    left_out: tuple[str, ...]
    utterances: int
    drafts: int
    findings: tuple[Taken, ...]
    """Accepted findings: there should be none."""
    others: tuple[Taken, ...]
    """Accepted words of the dialogue and remarks."""
    questions: tuple[Taken, ...]
    refused: int
    wall_s: float
    cpu_s: float
    load: float
    """Programs that wanted a core, mean of the last minute; 0 where the system does not tell."""
    memory_mb: float

    @property
    def hours(self) -> float:
        """Length of the sound."""
        return self.seconds / 3600.0

    @property
    def questions_per_hour(self) -> float:
        """Questions asked per hour of sound."""
        return len(self.questions) / self.hours if self.hours else 0.0


class _Watched(FileSource):
    """A file played as fast as it is heard, that says how far it is."""

    def __init__(self, path: Path, progress: Callable[[float], None]) -> None:
        super().__init__(path, fast=True)
        self.seconds = 0.0
        self._progress = progress

    def blocks(self) -> Iterator[Block]:
        """See ``AudioSource``."""
        for block in super().blocks():
            self.seconds += len(block.samples) / RATE
            self._progress(self.seconds)
            yield block


class _Counted(LiveInspection):
    """A live session that counts what it is given."""

    utterances = 0
    drafts = 0

    def draft(self, draft: Draft) -> None:
        """See ``LiveInspection``."""
        self.drafts += 1
        super().draft(draft)

    def spoken(self, spoken: Spoken) -> tuple[Told, ...]:
        """See ``LiveInspection``."""
        self.utterances += 1
        return super().spoken(spoken)


def listen_to(
    path: Path,
    plan: Plan,
    ears: Ears,
    language: InspectionLanguage,
    progress: Callable[[float], None] = lambda seconds: None,
) -> Outcome:
    """A live session of the recording ``path``, made after ``plan``; Ctrl-C ends it early.

    ``progress`` gets the seconds heard so far, from another thread.
    """
    with (
        tempfile.TemporaryDirectory(prefix="fieldlog-chatter-") as scratch,
        Workshop.open(Path(scratch), language=language) as shop,
        Path(os.devnull).open("w", encoding="utf-8") as nowhere,
    ):
        head = shop.begin()
        live = _Counted(shop.inspecting(head.id, ears))
        source = _Watched(path, progress)
        wall, cpu = time.perf_counter(), time.process_time()
        with source:
            run(source, live, board=Board(_silent(nowhere)))
        live.finish(Path(scratch))
        wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
        record = shop.store.inspection_record(head.id)
    # What an answer to a question made is a finding of the record, too, whatever the answer is.
    made = {finding.utterance_id for finding in record.findings}
    taken = [(u, _taken(u, plan, language)) for u in record.utterances]
    findings = {
        u.id
        for u in record.utterances
        if u.id in made or (u.decision is Decision.ACCEPT and u.kind is Kind.FINDING)
    }
    return Outcome(
        listener=ears.listener.name,
        seed=plan.seed,
        seconds=source.seconds,
        planned_s=plan.seconds,
        material=tuple(materials(plan, source.seconds)),
        noises=tuple(noise_minutes(plan, source.seconds)),
        left_out=plan.left_out,
        utterances=live.utterances,
        drafts=live.drafts,
        findings=tuple(t for u, t in taken if u.id in findings),
        others=tuple(t for u, t in taken if u.decision is Decision.ACCEPT and u.id not in findings),
        questions=tuple(t for u, t in taken if u.decision is Decision.ASK),
        refused=sum(u.decision is Decision.REFUSE for u, _ in taken),
        wall_s=wall,
        cpu_s=cpu,
        load=os.getloadavg()[0] if hasattr(os, "getloadavg") else 0.0,
        memory_mb=peak_mb(),
    )


def materials(plan: Plan, until_s: float) -> list[Material]:
    """Minutes by kind of material in the first ``until_s`` seconds, most first (pure)."""
    spells = [(s.start_s, min(s.end_s, until_s)) for s in plan.spells if s.start_s < until_s]
    talked: defaultdict[str, float] = defaultdict(float)
    noisy: defaultdict[str, float] = defaultdict(float)
    times: Counter[str] = Counter()
    for piece in plan.pieces:
        span = (piece.start_s, min(piece.end_s, until_s))
        if span[0] < until_s:
            times[piece.item.kind] += 1
            talked[piece.item.kind] += span[1] - span[0]
            noisy[piece.item.kind] += sum(_shared(span, spell) for spell in spells)
    alone = sum(end - start for start, end in spells) - sum(noisy.values())
    quiet = until_s - sum(talked.values()) - alone
    found = [
        Material(kind, times[kind], seconds / 60.0, noisy[kind] / 60.0)
        for kind, seconds in sorted(talked.items(), key=lambda each: -each[1])
    ]
    found.append(Material(NOISE, 0, alone / 60.0, alone / 60.0))
    found.append(Material(SILENCE, 0, quiet / 60.0, 0.0))
    return found


def noise_minutes(plan: Plan, until_s: float) -> list[NoiseMinutes]:
    """Minutes by noise and level in the first ``until_s`` seconds, in the order of names (pure)."""
    seconds: defaultdict[tuple[str, float], float] = defaultdict(float)
    for spell in plan.spells:
        if spell.start_s < until_s:
            seconds[spell.noise, spell.level_db] += min(spell.end_s, until_s) - spell.start_s
    return [NoiseMinutes(*which, total / 60.0) for which, total in sorted(seconds.items())]


def _silent(nowhere: object) -> Terminal:
    from rich.console import Console

    console = Console(file=nowhere)  # type: ignore[arg-type]
    return Terminal(console, console)


def _taken(utterance: Utterance, plan: Plan, language: InspectionLanguage) -> Taken:
    span = (utterance.start_s, utterance.end_s)
    hypotheses = tuple(hypothesis for _, hypothesis in utterance.hypotheses)
    evidence = dict(hypotheses[0].evidence) if hypotheses else {}
    weights = shipped_rules().weights.get(utterance.listener)
    chance = None
    if weights is not None and hypotheses:
        kind = kind_of(language.understand(hypotheses[0].text))
        hearing = Hearing(utterance.listener, hypotheses, utterance.latency_ms or 0.0)
        chance = weights[kind].chance(terms(hearing))
    return Taken(
        start_s=utterance.start_s,
        end_s=utterance.end_s,
        decision=utterance.decision.value,
        kind=utterance.kind.value,
        heard=utterance.text,
        said=tuple(_said_in(plan, span)),
        noise=tuple(_named(s) for s in plan.spells if _shared(span, (s.start_s, s.end_s)) > 0.0),
        reason=utterance.reason,
        chance=chance,
        evidence=evidence,
    )


def _said_in(plan: Plan, span: tuple[float, float]) -> Iterator[str]:
    for piece in plan.pieces:
        item = piece.item
        spoken = (piece.start_s + item.speech_start_s, piece.start_s + item.speech_end_s)
        if _shared(span, spoken) > 0.0:
            told = [f"'{item.words}'"] if item.words else []
            yield ", ".join([item.kind, *told, *filter(None, (item.voice, item.effect))])


def _named(spell: Spell) -> str:
    return f"{spell.noise} at {spell.level_db:g} dB"


def _shared(one: tuple[float, float], other: tuple[float, float]) -> float:
    return max(0.0, min(one[1], other[1]) - max(one[0], other[0]))


def report(outcome: Outcome, command: str) -> str:
    """The outcome as a Markdown page, which is what the command prints."""
    lines = ["# Talk, noise and silence through a live session", "", f"Printed by `{command}`."]
    if outcome.seconds < outcome.planned_s - 1.0:
        lines[-1] += f" Interrupted: {outcome.planned_s / 60.0:.1f} min were planned."
    lines += ["", *_head("what", "figure")]
    figures = (
        ("listener", outcome.listener),
        ("sound", f"{outcome.seconds / 60.0:.1f} min (seed {outcome.seed})"),
        ("utterances cut", f"{outcome.utterances}"),
        ("of them thought about ahead, at the first silence", f"{outcome.drafts}"),
        ("**findings accepted** (target 0)", f"**{len(outcome.findings)}**"),
        ("findings accepted an hour", _rate(outcome)),
        ("words of the dialogue and remarks accepted", f"{len(outcome.others)}"),
        ("questions asked", f"{len(outcome.questions)}"),
        ("questions an hour", f"{outcome.questions_per_hour:.1f}"),
        ("refused", f"{outcome.refused}"),
        ("x real time", f"{outcome.wall_s / max(outcome.seconds, 1e-9):.3f}"),
        ("CPU seconds a second of sound", f"{outcome.cpu_s / max(outcome.seconds, 1e-9):.3f}"),
        ("load of the machine meanwhile", f"{outcome.load:.1f}"),
        ("peak memory", f"{outcome.memory_mb:.0f} MB"),
    )
    lines += [f"| {what} | {figure} |" for what, figure in figures]
    lines += ["", "## Material", "", *_head("kind", "times", "minutes", "of it in noise")]
    lines += [
        f"| {m.kind} | {m.utterances or ''} | {m.minutes:.1f} | {m.in_noise:.1f} |"
        for m in outcome.material
    ]
    levels = sorted({each.level_db for each in outcome.noises})
    minutes = {(each.noise, each.level_db): each.minutes for each in outcome.noises}
    lines += ["", "Minutes by noise and its RMS below full scale (speech: -30 to -20 dB):", ""]
    lines += _head("noise", *(f"{level:g} dB" for level in levels))
    for noise in sorted({each.noise for each in outcome.noises}):
        cells = (f"{minutes.get((noise, level), 0.0):.1f}" for level in levels)
        lines.append(f"| {noise} | {' | '.join(cells)} |")
    if outcome.left_out:
        lines += ["", "Half sentences left out because the grammar takes them as whole now: "]
        lines[-1] += f"{', '.join(outcome.left_out)}."
    lines += _listed("Findings accepted", outcome.findings)
    lines += _listed("Words of the dialogue and remarks accepted", outcome.others)
    lines += _listed("Questions asked", outcome.questions)
    return "\n".join(lines) + "\n"


def _rate(outcome: Outcome) -> str:
    if not outcome.hours:
        return "-"
    if not outcome.findings:
        return f"0, and fewer than {NO_MORE_THAN / outcome.hours:.1f} with 95 % confidence"
    return f"{len(outcome.findings) / outcome.hours:.1f}"


def _listed(title: str, taken: Sequence[Taken]) -> list[str]:
    if not taken:
        return ["", f"## {title}", "", "None."]
    lines = ["", f"## {title}", ""]
    lines += _head("at", "heard", "what sounded", "noise", "chance", "evidence")
    for each in taken:
        evidence = ", ".join(f"{name} {value:.2f}" for name, value in each.evidence.items())
        chance = "-" if each.chance is None else f"{each.chance:.3f}"
        lines.append(
            f"| {each.start_s:.1f} s | {each.heard} | {'; '.join(each.said) or 'nothing'} "
            f"| {'; '.join(each.noise) or 'none'} | {chance} | {evidence} |"
        )
    return lines


def _head(*names: str) -> list[str]:
    return [f"| {' | '.join(names)} |", "|" + "---|" * len(names)]
