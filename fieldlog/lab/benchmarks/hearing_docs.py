"""Tables and plots of the hearing benchmark for the documentation, written by its command."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from fieldlog.doubt.files import shipped_rules
from fieldlog.doubt.rules import Policy
from fieldlog.grammar.language import Language
from fieldlog.lab.benchmarks.calibrate_cases import samples
from fieldlog.lab.benchmarks.calibrate_outcome import reliability, risk_coverage
from fieldlog.lab.benchmarks.claim import claim, share
from fieldlog.lab.benchmarks.hearing import Absent
from fieldlog.lab.benchmarks.hearing_inspection import (
    ALL_ROOMS,
    DEFAULT_RATIOS,
    NO_ROOM,
    InspectionPlan,
    InspectionRow,
    Measured,
    Step,
    compare_inspection,
    confusions,
)
from fieldlog.lab.benchmarks.hearing_parts import BY, Part
from fieldlog.lab.benchmarks.hearing_reach import page, reach
from fieldlog.lab.benchmarks.plot_style import INK, LINE, LINES, floor_of, pyplot
from fieldlog.lab.benchmarks.recognisers import BUNDLED, NEAREST, POCKETSPHINX, WHISPER, Recogniser
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage


@dataclass(frozen=True, slots=True)
class Shown:
    """What a run came to, ready to be printed."""

    measured: list[Measured]
    absent: list[Absent]
    command: str
    written: list[Path]

    def as_json(self) -> list[str]:
        """One JSON object per row, then one per part (they have ``by`` and ``group``)."""
        rows = [asdict(row) for one in self.measured for row in one.rows]
        parts = [asdict(part) for one in self.measured for part in one.parts]
        return [json.dumps(each) for each in (*rows, *parts)]

    def as_text(self) -> list[str]:
        """The tables, who was left out and why, and the files that were written."""
        lines = [table(_rows(self.measured), self.command)]
        lines += [part_page(self.measured, by, self.command) for by in BY]
        lines += [f"{each.recogniser} left out: {each.reason}" for each in self.absent]
        for one in self.measured:
            if one.gone and one.rows:
                name = one.rows[0].recogniser
                lines.append(f"{name}: {one.gone} phrases left out, the grammar has them no longer")
        return [*lines, *(f"{path}: written" for path in self.written)]


def inspect(
    recognisers: Sequence[Recogniser],
    plan: InspectionPlan,
    docs: Path | None,
    step: Step = lambda name, done, of: None,
) -> Shown:
    """Compare ``recognisers`` on the set of ``plan``; write the pages where ``docs`` is named."""
    measured, absent = compare_inspection(recognisers, plan, step)
    command = (
        f"python -m fieldlog.lab hearing --set SET --set-only{_options(recognisers, plan)} "
        "--docs docs/hearing"
    )
    written = []
    if docs is not None and measured:
        written = write_docs(docs, measured, load_language(), command)
    return Shown(measured, absent, command, written)


def _options(recognisers: Sequence[Recogniser], plan: InspectionPlan) -> str:
    """The options that change what is measured, as they were given."""
    names = [each.name for each in recognisers]
    told = []
    if any(each.name == "vosk" for each in recognisers):
        told.append("--vosk MODEL")
    if any(each.name == _DOUBTED and each.model is not None for each in recognisers):
        told.append("--model MODEL")
    if not {WHISPER.name, BUNDLED.name, POCKETSPHINX.name, NEAREST.name} <= set(names):
        told += [f"--only {name!r}" if " " in name else f"--only {name}" for name in names]
    if plan.ratios != DEFAULT_RATIOS:
        told += [f"--ratio {ratio:g}" for ratio in plan.ratios if ratio is not None]
    if plan.limit is not None:
        told.append(f"--limit {plan.limit}")
    if plan.processes > 1:
        told.append(f"--processes {plan.processes}")
    if plan.policy is not Policy.BALANCED:
        told.append(f"--policy {plan.policy.value}")
    return "".join(f" {each}" for each in told)


_MOST_PAIRS = 40
_DOUBTED = "whisper"
_TITLES = {"voice": "voice", "room": "room and microphone", "noise": "kind of noise"}
_NOTES = {
    "voice": "",
    "room": " `dry` has no effect; what the others do is in `lab/speech_set/effects.py`.",
    "noise": " In the clean columns the same utterances are heard without their noise.",
}


def write_docs(
    folder: Path, measured: Sequence[Measured], language: InspectionLanguage, command: str
) -> list[Path]:
    """Pages ``inspection``, ``by-...``, ``confusions`` and ``reach``, and plots.

    Plots: ``right-by-noise.png``, ``reliability.png`` and ``risk-coverage.png``. Raises
    ``UsageError`` where matplotlib is not installed.
    """
    folder.mkdir(parents=True, exist_ok=True)
    pages = {
        "inspection.md": table(_rows(measured), command),
        "confusions.md": confusion_page(measured, language, command),
        **{f"by-{by}.md": part_page(measured, by, command) for by in BY},
        "reach.md": page(
            [(one.rows[0].recogniser, reach(one.lines, language)) for one in measured if one.rows],
            command,
        ),
    }
    written = []
    for name, text in pages.items():
        written.append(folder / name)
        written[-1].write_text(text, encoding="utf-8")
    written += plot_right(folder, _rows(measured))
    for one in measured:
        if one.rows and one.rows[0].recogniser == _DOUBTED:
            written += plots(folder, one, language)
    return written


def table(rows: Sequence[InspectionRow], command: str) -> str:
    """All rows as one Markdown table."""
    head = (
        "| recogniser | noise | rooms | phrases | meaning right | number right | silently wrong "
        "| asked, right | asked, wrong | refused | others accepted | false accepts / h "
        "| median ms | p95 ms | x real time | peak MB |"
    )
    lines = [
        "# The inspection test part, recognisers side by side",
        "",
        f"Printed by `{command}`.",
        "Beside what is silently wrong, and what was accepted of others, stands the upper 95 % bound. "
        "By voice, room and noise: by-voice.md, by-room.md, by-noise.md.",
        "",
        head,
        "|---|---|---" + "|---:" * 13 + "|",
    ]
    for row in rows:
        of = max(1, row.phrases)
        lines.append(
            f"| {row.recogniser} | {row.cell} | {row.rooms} | {row.phrases} "
            f"| {share(row.right, of)} "
            f"| {share(row.numbers_right, row.numbers)} | {claim(row.silently_wrong, of)} "
            f"| {share(row.asked_when_right, of)} | {row.asked_when_wrong} | {row.refused} "
            f"| {claim(row.others_accepted, row.others)} of {row.others} | {row.false_accepts_per_hour:.0f} "
            f"| {row.median_ms:.0f} | {row.p95_ms:.0f} | {row.real_time_factor:.2f} "
            f"| {row.memory_mb:.0f} |"
        )
    return "\n".join(lines) + "\n"


def part_page(measured: Sequence[Measured], by: str, command: str) -> str:
    """The phrases by voice, room or noise (``by``), the total above them, for each recogniser."""
    title = _TITLES[by]
    lines = [f"# By {title}", "", f"Printed by `{command}`.{_NOTES[by]}"]
    for one in measured:
        mine = [part for part in one.parts if part.by == by]
        if not mine:
            continue
        cells = list(dict.fromkeys(part.cell for part in mine))
        heads = [
            f"{cell}: {what}" for cell in cells for what in ("right", "asked, right", "silent")
        ]
        lines += [
            "",
            f"## {mine[0].recogniser}",
            "",
            f"| {title} | phrases | {' | '.join(heads)} |",
        ]
        lines.append("|---|" + "---:|" * (1 + len(heads)))
        groups = {"**all**": mine}
        for part in mine:
            groups.setdefault(part.group, []).append(part)
        lines += [_part_line(group, parts, cells) for group, parts in groups.items()]
    return "\n".join(lines) + "\n"


def _part_line(group: str, parts: Sequence[Part], cells: Sequence[str]) -> str:
    """One row: ``parts`` of one group, or of all groups, added up in each cell."""
    shown: list[str] = []
    counts: list[int] = []
    for cell in cells:
        mine = [part for part in parts if part.cell == cell]
        of = sum(part.phrases for part in mine)
        counts.append(of)
        right = sum(part.right for part in mine)
        shown.append(f"{100.0 * right / of:.1f} %" if of else "-")
        shown.append(share(sum(part.asked_when_right for part in mine), of))
        shown.append(claim(sum(part.silently_wrong for part in mine), of))
    same = " / ".join(str(count) for count in dict.fromkeys(counts))
    return f"| {group} | {same} | {' | '.join(shown)} |"


def plot_right(folder: Path, rows: Sequence[InspectionRow]) -> list[Path]:
    """Meaning right by noise ratio, a line for each recogniser, with and without the effect of a room."""
    drawing = pyplot()
    path = folder / "right-by-noise.png"
    cells = list(dict.fromkeys(row.cell for row in rows))
    figure, axes = drawing.subplots(figsize=(6, 5))
    every: list[float] = []
    looks = iter(LINES)
    for name in dict.fromkeys(row.recogniser for row in rows):
        for rooms in (ALL_ROOMS, NO_ROOM):
            mine = [row for row in rows if (row.recogniser, row.rooms) == (name, rooms)]
            places = [cells.index(row.cell) for row in mine]
            shares = [100.0 * row.right / max(1, row.phrases) for row in mine]
            every += shares
            if places:
                axes.plot(places, shares, label=f"{name}, {rooms}", **next(looks))
    axes.set_xticks(range(len(cells)), cells)
    axes.set(
        xlabel="speech over noise",
        ylabel=f"meaning right, % of phrases (from {floor_of(every):.0f})",
        ylim=(floor_of(every), 100.5),
        title="Meaning right by noise, test part",
    )
    axes.grid(axis="y")
    # Beside the curves: eight of them leave no corner free.
    axes.legend(fontsize="small", loc="upper left", bbox_to_anchor=(1.01, 1.0))
    figure.savefig(path, dpi=100, bbox_inches="tight", metadata={"Software": None})
    drawing.close(figure)
    return [path]


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
    drawing = pyplot()
    weights = dict(shipped_rules().weights[_DOUBTED])
    paths = [folder / "reliability.png", folder / "risk-coverage.png"]
    found = samples(one.lines, language)

    figure, axes = drawing.subplots(figsize=(5, 5))
    points = reliability(found, weights)
    axes.plot([0, 1], [0, 1], color=LINE, linewidth=1)
    axes.plot([p[0] for p in points], [p[1] for p in points], **LINES[0])
    axes.set(xlabel="chance given", ylabel="share right", title="Reliability, test part")
    figure.savefig(paths[0], dpi=100, metadata={"Software": None})
    drawing.close(figure)

    figure, axes = drawing.subplots(figsize=(6, 5))
    shown = [each for each in one.rows if each.rooms == ALL_ROOMS]
    for row, look in zip(shown, LINES, strict=False):
        lines = [line for line in one.lines if line.cell == row.cell]
        curve = risk_coverage(samples(lines, language), weights, len(lines))
        line = {**look, "marker": ""}
        axes.plot([c[1] for c in curve], [100.0 * c[2] for c in curve], label=row.cell, **line)
        for policy in Policy:
            at = [c for c in curve if c[0] >= weights["measured"].accept[policy.value]]
            if at:
                axes.plot(at[-1][1], 100.0 * at[-1][2], marker="v", color=INK)
    axes.set(
        xlabel="share of utterances accepted without a question",
        ylabel="silently wrong, % of utterances",
        title="Risk and coverage, test part (pointers: policies)",
    )
    axes.legend()
    figure.savefig(paths[1], dpi=100, metadata={"Software": None})
    drawing.close(figure)
    return paths


def _rows(measured: Sequence[Measured]) -> list[InspectionRow]:
    return [row for one in measured for row in one.rows]
