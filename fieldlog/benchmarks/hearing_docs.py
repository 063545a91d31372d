"""Tables and plots of the hearing benchmark for the documentation, written by its command."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from fieldlog.benchmarks.calibrate_cases import samples
from fieldlog.benchmarks.calibrate_outcome import reliability, risk_coverage
from fieldlog.benchmarks.hearing import Absent, Progress
from fieldlog.benchmarks.hearing_inspection import (
    InspectionPlan,
    InspectionRow,
    Measured,
    compare_inspection,
    confusions,
)
from fieldlog.benchmarks.recognisers import Recogniser
from fieldlog.doubt import Policy, shipped_rules
from fieldlog.errors import UsageError
from fieldlog.inspection_language import InspectionLanguage
from fieldlog.listeners.base import Language


@dataclass(frozen=True, slots=True)
class Shown:
    """What a run came to, ready to be printed."""

    measured: list[Measured]
    absent: list[Absent]
    command: str
    written: list[Path]

    def as_json(self) -> list[str]:
        """One JSON object per row."""
        return [json.dumps(asdict(row)) for one in self.measured for row in one.rows]

    def as_text(self) -> list[str]:
        """The table, who was left out and why, and the files that were written."""
        rows = [row for one in self.measured for row in one.rows]
        lines = [table(rows, self.command)]
        lines += [f"{each.recogniser} left out: {each.reason}" for each in self.absent]
        return [*lines, *(f"{path}: written" for path in self.written)]


def inspect(
    recognisers: Sequence[Recogniser],
    plan: InspectionPlan,
    docs: Path | None,
    progress: Progress = lambda text: None,
) -> Shown:
    """Compare ``recognisers`` on the set of ``plan``; write the pages where ``docs`` is named."""
    measured, absent = compare_inspection(recognisers, plan, progress)
    limit = f" --limit {plan.limit}" if plan.limit is not None else ""
    command = f"fieldlog benchmarks hearing --set SET --set-only{limit} --docs docs/hearing"
    written = []
    if docs is not None and measured:
        written = write_docs(docs, measured, InspectionLanguage.load(), command)
    return Shown(measured, absent, command, written)


_MOST_PAIRS = 40
_DOUBTED = "whisper"


def write_docs(
    folder: Path, measured: Sequence[Measured], language: Language, command: str
) -> list[Path]:
    """``inspection.md``, ``confusions.md``, ``reliability.png`` and ``risk-coverage.png``.

    Raises ``UsageError`` where matplotlib is not installed.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written = [folder / "inspection.md", folder / "confusions.md"]
    rows = [row for one in measured for row in one.rows]
    written[0].write_text(table(rows, command), encoding="utf-8")
    written[1].write_text(confusion_page(measured, language, command), encoding="utf-8")
    for one in measured:
        if one.rows and one.rows[0].recogniser == _DOUBTED:
            written += plots(folder, one, language)
    return written


def table(rows: Sequence[InspectionRow], command: str) -> str:
    """All rows as one Markdown table."""
    head = (
        "| recogniser | noise | phrases | meaning right | number right | silently wrong "
        "| asked, right | asked, wrong | refused | others accepted | false accepts / h "
        "| median ms | p95 ms | x real time | peak MB |"
    )
    lines = [
        "# The inspection test part, recognisers side by side",
        "",
        f"Printed by `{command}`.",
        "",
        head,
        "|---|---" + "|---:" * 13 + "|",
    ]
    for row in rows:
        of = max(1, row.phrases)
        lines.append(
            f"| {row.recogniser} | {row.cell} | {row.phrases} | {_share(row.right, of)} "
            f"| {_share(row.numbers_right, row.numbers)} | {_share(row.silently_wrong, of)} "
            f"| {_share(row.asked_when_right, of)} | {row.asked_when_wrong} | {row.refused} "
            f"| {row.others_accepted} of {row.others} | {row.false_accepts_per_hour:.0f} "
            f"| {row.median_ms:.0f} | {row.p95_ms:.0f} | {row.real_time_factor:.2f} "
            f"| {row.memory_mb:.0f} |"
        )
    return "\n".join(lines) + "\n"


def confusion_page(measured: Sequence[Measured], language: Language, command: str) -> str:
    """The worst word pairs of each recogniser."""
    lines = [
        "# Words taken for others",
        "",
        f"Printed by `{command}`. (nothing) stands for no word.",
    ]
    for one in measured:
        if not one.rows:
            continue
        lines += [
            "",
            f"## {one.rows[0].recogniser}",
            "",
            "| said | heard | times |",
            "|---|---|---:|",
        ]
        for said, heard, count in confusions(one.lines, language)[:_MOST_PAIRS]:
            lines.append(f"| {said or '(nothing)'} | {heard or '(nothing)'} | {count} |")
    return "\n".join(lines) + "\n"


def plots(folder: Path, one: Measured, language: Language) -> list[Path]:
    """Reliability diagram and risk-coverage curve of the answers the parser accepts."""
    try:
        import matplotlib as mpl

        mpl.use("Agg")
        from matplotlib import pyplot
    except ImportError as error:
        raise UsageError(
            f"plots need matplotlib ({error})", todo="pip install 'fieldlog[bench]'"
        ) from error
    drawing: Any = pyplot
    weights = dict(shipped_rules().weights[_DOUBTED])
    paths = [folder / "reliability.png", folder / "risk-coverage.png"]
    found = samples(one.lines, language)

    figure, axes = drawing.subplots(figsize=(5, 5))
    points = reliability(found, weights)
    axes.plot([0, 1], [0, 1], color="grey", linewidth=1)
    axes.plot([p[0] for p in points], [p[1] for p in points], marker="o")
    axes.set(xlabel="chance given", ylabel="share right", title="Reliability, test part")
    figure.savefig(paths[0], dpi=100, metadata={"Software": None})
    drawing.close(figure)

    figure, axes = drawing.subplots(figsize=(6, 5))
    for row in one.rows:
        lines = [line for line in one.lines if line.cell == row.cell]
        curve = risk_coverage(samples(lines, language), weights, len(lines))
        axes.plot([c[1] for c in curve], [100.0 * c[2] for c in curve], label=row.cell)
        for policy in Policy:
            at = [c for c in curve if c[0] >= weights["measured"].accept[policy.value]]
            if at:
                axes.plot(at[-1][1], 100.0 * at[-1][2], marker="o", color="black", markersize=3)
    axes.set(
        xlabel="share of utterances accepted without a question",
        ylabel="silently wrong, % of utterances",
        title="Risk and coverage, test part (dots: policies)",
    )
    axes.legend()
    figure.savefig(paths[1], dpi=100, metadata={"Software": None})
    drawing.close(figure)
    return paths


def _share(count: int, of: int) -> str:
    return f"{count} ({100.0 * count / of:.1f} %)" if of else "-"
