"""The page that the benchmark of one breath prints (pure)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from fieldlog.lab.benchmarks.breath import Came
from fieldlog.lab.benchmarks.breath_outcome import (
    ASKED,
    LOST,
    OFFERED,
    RESULTS,
    RIGHT,
    SILENT,
    WRONG,
)
from fieldlog.lab.benchmarks.breath_takes import (
    GAP,
    KINDS,
    PAIR,
    SENTENCE,
    SINGLE,
    SPLIT,
    TAIL,
    TALK,
)
from fieldlog.lab.benchmarks.claim import claim
from fieldlog.model.understanding import Decision

LEVELS = (-1.0, -1.5, -2.0, -2.5, -3.0, -4.0, -6.0)
"""Nats; levels of the tail that the page compares."""

_BOTH = {None: "at least 95 %", 10.0: "at least 88 %"}
"""Noise (dB) -> how many sentences of two findings are aimed at."""


def page(came: Sequence[Came], part: str, snr_db: float | None, command: str) -> str:
    """What the command prints: Markdown."""
    voices = sorted({each.take.voice.name for each in came})
    noise = "clean" if snr_db is None else f"workshop noise {snr_db:g} dB below the words"
    lines = [
        "# Several findings in one breath, tails, gaps and pauses", "",
        f"Printed by `{command}`.", "",
        f"{len(came)} takes, {noise}, by {len(voices)} voices of the part {part}: {', '.join(voices)}.", "",
        "*Gaps* are two findings spoken apart, *pairs* the same as one sentence, *singles* the same each "
        "alone; *pauses* and *talk* are a finding, and what is none, with a pause inside. Asked counts only where every finding "
        "that was said is offered (or accepted beside it). *Silently wrong*: a finding that was said is gone (part accepted "
        "alone), or something else was accepted; behind each count its upper 95 % bound.", "",
        *_head("what", "takes", *RESULTS, "silently wrong"),
    ]  # fmt: skip
    by_kind = {kind: [c for c in came if c.take.kind == kind] for kind in KINDS}
    lines += _rows(((kind, by_kind[kind]) for kind in KINDS), bounds=True)
    lines += ["", *_times(came), *_targets(by_kind, snr_db)]
    for title, kind, group in (
        ("Sentences by how many findings they hold", SENTENCE, _findings),
        ("Sentences by voice", SENTENCE, _voice),
        ("Tails: put right, or changed and limited", TAIL, _put_right),
        ("Two findings by the silence between them", GAP, _joiner),
        ("Two findings in one sentence by what joins them", PAIR, _joiner),
        ("A pause inside a phrase", SPLIT, _joiner),
        ("A pause inside a sentence that is no finding", TALK, _joiner),
    ):
        if by_kind[kind]:
            lines += ["", f"## {title}", "", *_head("", "takes", *RESULTS, "silently wrong")]
            names = sorted({group(each) for each in by_kind[kind]})
            lines += _rows((n, [c for c in by_kind[kind] if group(c) == n]) for n in names)
    lines += _levels(came)
    for title, result in (("Part accepted alone", LOST), ("Something else accepted", WRONG)):
        lines += _named(title, [c for c in came if c.result == result])
    lines += _named("Singles that are not right", [c for c in by_kind[SINGLE] if c.result != RIGHT])
    return "\n".join(lines) + "\n"


def _findings(came: Came) -> str:
    return f"{len(came.take.said)} findings"


def _voice(came: Came) -> str:
    return came.take.voice.name


def _put_right(came: Came) -> str:
    return "put right" if came.take.said else "changed or limited"


def _joiner(came: Came) -> str:
    return came.take.joiner


def _rows(groups: Iterable[tuple[str, Sequence[Came]]], *, bounds: bool = False) -> list[str]:
    rows = []
    for name, came in groups:
        if came:
            counts = Counter(each.result for each in came)
            told = [claim(counts[r], len(came)) if bounds else str(counts[r]) for r in RESULTS]
            silent = claim(_silent(came), len(came))
            rows.append(f"| {name} | {len(came)} | {' | '.join(told)} | {silent} |")
    return rows


def _silent(came: Iterable[Came]) -> int:
    return sum(each.result in SILENT for each in came)


def _times(came: Sequence[Came]) -> list[str]:
    times = [each.latency_ms for c in came for each in c.heard]
    if not times:
        return []
    median, most = np.percentile(times, [50, 95])
    lines = [
        f"{len(times)} utterances, each understood {median:.0f} ms (median), {most:.0f} ms (p95) after its end."
    ]
    waits = [wait for c in came for wait in c.waits_s]
    if waits:
        median, most = np.percentile(waits, [50, 95])
        lines.append(
            f"Known to be over {median:.2f} s (median), {most:.2f} s (p95) after the last voiced frame."
        )
        whole = [c for c in came if c.take.kind in (SENTENCE, PAIR, SINGLE, TAIL)]
        cut = sum(len(c.heard) > 1 for c in whole)
        lines.append(
            f"Of what was said without a pause {claim(cut, len(whole))} takes were cut in two or more."
        )
    return lines


def _targets(by_kind: Mapping[str, Sequence[Came]], snr_db: float | None) -> list[str]:
    """What is aimed at, beside what came; questions stand beside every share that is right."""
    lines = []
    two = [c for kind in (SENTENCE, PAIR) for c in by_kind[kind] if len(c.take.said) == 2]
    if two and snr_db in _BOTH:
        both = claim(sum(c.result == RIGHT for c in two), len(two))
        lines.append(
            f"| sentences of two findings, and pairs: {RIGHT} | {_BOTH[snr_db]} | {both} |"
        )
    for kind, results, aim in (
        (SENTENCE, (RIGHT,), "at least 80 %"),
        (SENTENCE, (OFFERED, ASKED), "at most 15 %"),
        (SENTENCE, SILENT, "0"),
        (TAIL, SILENT, "0"),
        (GAP, SILENT, "0"),
        (SPLIT, (RIGHT, OFFERED), "at least 90 %"),
    ):
        came = [c for c in by_kind[kind] if kind != SPLIT or c.take.pause_s >= 1.0]
        if came:
            count = sum(each.result in results for each in came)
            what = f"{kind}{' of 1 s and more' if kind == SPLIT else ''}: {' or '.join(results)}"
            lines.append(f"| {what} | {aim} | {claim(count, len(came))} |")
    return ["", "## Aimed at", "", *_head("what", "aim", "came"), *lines] if lines else []


def _levels(came: Sequence[Came]) -> list[str]:
    """Levels of the tail below which all is asked about; only those above the rules' own say anything."""
    lines = ["", "## Levels of the tail", ""]
    lines += _head("nats", "silently wrong takes that stay accepted", "right takes asked about")
    silent = [_tail(each) for each in came if each.result in SILENT]
    right = [_tail(each) for each in came if each.result == RIGHT]
    for level in LEVELS:
        stay, asked = sum(t >= level for t in silent), sum(t < level for t in right)
        lines.append(f"| {level:g} | {claim(stay, len(silent))} | {claim(asked, len(right))} |")
    return lines


def _tail(came: Came) -> float:
    """The worst tail of what was accepted."""
    accepted = (each for each in came.heard if each.decision == Decision.ACCEPT.value)
    return min((each.evidence.get("tail", 0.0) for each in accepted), default=0.0)


def _named(title: str, came: Sequence[Came]) -> list[str]:
    lines = ["", f"## {title}", ""]
    if not came:
        return [*lines, "None."]
    lines += _head("what", "said", "voice", "heard", "accepted or offered")
    for each in came:
        take = each.take
        said = f" ... ({take.joiner}) ".join(take.texts)
        heard = " / ".join(f"{one.text} ({one.decision})" for one in each.heard)
        found = "; ".join(one for utterance in each.heard for one in utterance.findings)
        lines.append(f"| {take.kind} | {said} | {take.voice.name} | {heard} | {found} |")
    return lines


def _head(*names: str) -> list[str]:
    return [f"| {' | '.join(names)} |", "|" + "---|" * len(names)]
