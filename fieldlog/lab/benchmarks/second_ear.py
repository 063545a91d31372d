"""``python -m fieldlog.lab second-ear``: what both ears together come to, from what each of them heard."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import click
import numpy as np

from fieldlog.audio.clip import Clip, SoundFlag
from fieldlog.doubt.decide import Judge, judge_for
from fieldlog.doubt.files import shipped_rules
from fieldlog.doubt.rules import Policy
from fieldlog.doubt.second import minding_second
from fieldlog.errors import UsageError
from fieldlog.grammar.language import Language
from fieldlog.lab.benchmarks.calibrate_cases import is_right, still_said, understood
from fieldlog.lab.benchmarks.calibrate_evidence import TEST, TUNE, Line, read_lines
from fieldlog.lab.benchmarks.claim import claim, share
from fieldlog.language.files import load_language
from fieldlog.model.hearing import Hearing
from fieldlog.model.understanding import Decision, Understanding

PHRASES = ("phrase", "incomplete")


@dataclass(slots=True)
class Count:
    """What became of the phrases of one cell, and of what says no phrase."""

    phrases: int = 0
    right: int = 0
    """Heard right, taken or asked about."""
    silent: int = 0
    asked_right: int = 0
    asked_wrong: int = 0
    offered: int = 0
    """Asked about, heard wrong, and what was said is among what is offered."""
    others: int = 0
    accepted: int = 0
    """Of ``others``."""

    def add(
        self, line: Line, parsed: Understanding | None, said: Decision, offers: bool, right: bool
    ) -> None:
        """One utterance; ``offers``: whether the question names what was said."""
        if line.kind not in PHRASES:
            self.others += 1
            self.accepted += said is Decision.ACCEPT
            return
        whole = parsed is not None and parsed.decision is Decision.ACCEPT
        self.phrases += 1
        self.right += right
        self.silent += said is Decision.ACCEPT and not right
        self.asked_right += said is Decision.ASK and right and whole
        self.asked_wrong += said is Decision.ASK and not right
        self.offered += said is Decision.ASK and not right and offers


@dataclass(frozen=True, slots=True)
class Row:
    """One cell: by the first ear alone, the second alone (what it heard right), and by both."""

    cell: str
    first: Count
    both: Count
    second_right: int


def rows(first: Sequence[Line], second: Sequence[Line], language: Language) -> list[Row]:
    """Each cell of ``first`` of which ``second`` heard the same utterances."""
    other = {(line.id, line.cell): line for line in second}
    lines = [x for x in still_said(first, language) if (x.id, x.cell) in other]
    rules, policy = shipped_rules(), Policy.BALANCED
    now: list[Hearing] = []
    alone = judge_for(language, rules, policy)
    both = minding_second(alone, language, rules, policy, lambda clip: now[-1])
    found = []
    for cell in dict.fromkeys(line.cell for line in lines):
        one, two, heard = Count(), Count(), 0
        for line in (each for each in lines if each.cell == cell):
            again = other[line.id, line.cell]
            now[:] = [again.hearing]
            parsed, theirs = understood(line, language), understood(again, language)
            right = parsed is not None and is_right(line, parsed, language)
            heard += theirs is not None and is_right(again, theirs, language)
            for count, judge in ((one, alone), (two, both)):
                count.add(line, parsed, *_said(line, parsed, judge, language), right)
        found.append(Row(cell, one, two, heard))
    return found


def _said(
    line: Line, parsed: Understanding | None, judge: Judge, language: Language
) -> tuple[Decision, bool]:
    """What became of it, and whether what was said is offered."""
    if parsed is None:
        return Decision.REFUSE, False
    flags = frozenset(map(SoundFlag, line.flags))
    said = judge(parsed, line.hearing, Clip(np.zeros(0, np.float32), flags=flags))
    meant = language.understand(line.words).finding if line.kind in PHRASES else None
    offers = meant is not None and any(one.meaning == meant.meaning for one in said.candidates)
    return said.decision, offers


def table(title: str, found: Sequence[Row]) -> str:
    """One part in Markdown."""
    head = (
        "| | phrases | heard right | silently wrong | asked when right | asked when wrong, of these offered "
        "| others accepted |\n|---|---|---|---|---|---|---|"
    )
    lines = [f"## {title}", "", head]
    for row in found:
        for name, count in (("first alone", row.first), ("**both**", row.both)):
            lines.append(
                f"| {row.cell}, {name} | {count.phrases} | {share(count.right, count.phrases)} "
                f"| {claim(count.silent, count.phrases)} | {share(count.asked_right, count.phrases)} "
                f"| {count.asked_wrong}, {count.offered} | {claim(count.accepted, count.others)} |"
            )
    seconds = ", ".join(f"{row.cell} {share(row.second_right, row.both.phrases)}" for row in found)
    return "\n".join([*lines, "", f"The second ear by itself hears right: {seconds}.", ""])


@click.command("second-ear")
@click.option(
    "--pair",
    "pairs",
    type=(str, click.Path(path_type=Path, exists=True), click.Path(path_type=Path, exists=True)),
    metavar="TITLE FIRST SECOND",
    multiple=True,
    required=True,
    help="Evidence of `calibrate` and of `calibrate --second-ear` of the same set (repeatable).",
)
@click.option(
    "--docs", type=click.Path(path_type=Path, file_okay=False), help="Write the page here."
)
def second_ear(pairs: tuple[tuple[str, Path, Path], ...], docs: Path | None) -> None:
    """What `--listener two-ears` would make of what both ears heard.

    \b
    Example:
      python -m fieldlog.lab second-ear --pair "Inspection" evidence evidence-base --docs docs/hearing
    """
    text = page(list(_tables(pairs, load_language)))
    if docs is not None:
        (docs / "second-ear.md").write_text(text, encoding="utf-8")
    click.echo(text)


def _tables(
    pairs: Sequence[tuple[str, Path, Path]], language: Callable[[], Language]
) -> Iterator[str]:
    spoken = language()
    for title, first, second in pairs:
        parts = [part for part in (TUNE, TEST) if (second / f"{part}-inspection.jsonl").is_file()]
        if not parts:
            raise UsageError("holds no evidence", where=str(second), todo="calibrate --second-ear")
        for part in parts:
            name = f"{part}-inspection.jsonl"
            found = rows(read_lines(first / name), read_lines(second / name), spoken)
            yield table(f"{title}, {part} part", found)


def page(tables: Sequence[str]) -> str:
    """The page in Markdown."""
    return (
        "# A second opinion\n\nPrinted by `python -m fieldlog.lab second-ear --pair TITLE FIRST SECOND ... --docs "
        "docs/hearing`. `--listener two-ears` holds each finding that the first ear takes, or is unsure of, against "
        'what Whisper base with additions of its own heard of the same sound (docs/doubt.md). "At most" is the '
        "one-sided 95 % bound (Clopper and Pearson). What both hear right is what the first does: the second one "
        "settles or asks, it never counts for itself.\n\n" + "\n".join(tables)
    )
