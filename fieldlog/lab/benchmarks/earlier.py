"""``python -m fieldlog.lab earlier``: today's code and an earlier one, hearing the same clips.

Both are run as they ship (``fieldlog hear --json``, each in a process of its own), and each clip on which
they come to something else is listed with what was said.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import click

from fieldlog.errors import UsageError
from fieldlog.lab.benchmarks.calibrate_cases import inspection_cases
from fieldlog.lab.benchmarks.calibrate_evidence import TEST
from fieldlog.lab.speech_set.items import SpeechSet, write_sound
from fieldlog.language.files import load_language

RIGHT, ASKED, OFFERED = "right", "asked otherwise", "asked, what was said is offered"
REFUSED, WRONG, LEFT = "refused", "SOMETHING ELSE", "nothing taken"
_RATIOS = (None, 15.0, 10.0)
_HEAR = "import sys; from fieldlog.cli import main; sys.exit(main(prog_name='fieldlog'))"


@dataclass(frozen=True, slots=True)
class Spoken:
    """A clip: its file, in which noise, what was said, and whether that is a phrase of the language."""

    file: Path
    cell: str
    words: str
    phrase: bool


@dataclass(frozen=True, slots=True)
class Came:
    """What it came to: one of the outcomes above, and the texts that were heard."""

    outcome: str
    heard: str


Line = Mapping[str, object]
"""An object of ``fieldlog hear --json``."""


def spoken(opened: SpeechSet, most: int, folder: Path) -> list[Spoken]:
    """The first ``most`` clips of the test part in the fixed random order, each in one noise, in turn."""
    found = []
    for case in islice(inspection_cases(opened, TEST, _RATIOS, None, spread=True), most):
        file = folder / f"{case.id}.flac"
        write_sound(file, case.sound())
        found.append(Spoken(file, case.cell, case.words, case.kind in ("phrase", "incomplete")))
    return found


def heard_by(checkout: Path, clips: Sequence[Spoken]) -> dict[str, list[Line]]:
    """File name -> what the code in ``checkout`` says of it; ``UsageError`` where it cannot hear."""
    done = subprocess.run(
        [sys.executable, "-P", "-c", _HEAR, "hear", *(str(one.file) for one in clips), "--json"],
        env={**os.environ, "PYTHONPATH": str(checkout)},
        cwd=clips[0].file.parent,
        capture_output=True,
        text=True,
        check=False,
    )
    found: dict[str, list[Line]] = {one.file.name: [] for one in clips}
    for line in done.stdout.splitlines():
        told = json.loads(line)
        found[Path(told["file"]).name].append(told)
    if not any(found.values()):
        raise UsageError(f"hears nothing: {done.stderr[-500:]}", where=str(checkout))
    return found


def came_to(said: Spoken, lines: Sequence[Line], meanings: Callable[[str], frozenset[str]]) -> Came:
    """What ``said`` came to; ``meanings``: a key for each thing that a text says, empty for none (pure)."""
    heard = " + ".join(f"{line['text']}" for line in lines if line["text"])
    taken = [f"{line['text']}" for line in lines if line["decision"] == "accept"]
    asked = [line for line in lines if line["decision"] == "ask"]
    wanted = meanings(said.words) if said.phrase else frozenset()
    if taken and (not said.phrase or frozenset().union(*map(meanings, taken)) != wanted):
        return Came(WRONG, heard)
    if taken:
        return Came(RIGHT, heard)
    if not said.phrase:
        return Came(ASKED if asked else LEFT, heard)
    if any(meanings(f"{line['text']}") == wanted for line in asked):
        return Came(OFFERED, heard)
    return Came(ASKED if asked else REFUSED, heard)


def page(old: str, told: Sequence[tuple[Spoken, Came, Came]]) -> str:
    """Counts, and each clip that came to something else (pure)."""
    lines = [
        "# The same clips by an earlier code and by today's",
        "",
        f"Made by `python -m fieldlog.lab earlier --set SET --checkout CHECKOUT --clips {len(told)} --docs docs/hearing`,",
        f"CHECKOUT being a worktree of {old}. Both run as they ship (`fieldlog hear --json`); each clip is heard in",
        "one of three noises. *Right*: accepted, with the meaning that was said; *something else*: accepted with another.",
        "",
        "| phrases | earlier | today |",
        "|---|---|---|",
        *_counts(told, True, (RIGHT, OFFERED, ASKED, REFUSED, WRONG)),
        "",
        "| half sentences, talk, noises | earlier | today |",
        "|---|---|---|",
        *_counts(told, False, (LEFT, ASKED, WRONG)),
        "",
        "## Each clip that came to another thing, and each that today's code still takes for something else",
        "",
        "| said | noise | earlier | today |",
        "|---|---|---|---|",
    ]
    for said, before, now in told:
        if before.outcome != now.outcome or now.outcome == WRONG:
            words = said.words or "(nothing)"
            lines.append(f"| {words} | {said.cell} | {_cell(before)} | {_cell(now)} |")
    return "\n".join([*lines, ""])


def _counts(
    told: Iterable[tuple[Spoken, Came, Came]], phrase: bool, outcomes: Iterable[str]
) -> list[str]:
    mine = [(before.outcome, now.outcome) for said, before, now in told if said.phrase is phrase]
    before, now = Counter(a for a, _ in mine), Counter(b for _, b in mine)
    return [f"| {each.lower()} | {before[each]} | {now[each]} |" for each in outcomes]


def _cell(came: Came) -> str:
    return f"{came.outcome}: {came.heard}" if came.heard else came.outcome


@click.command()
@click.option("--set", "folder", type=click.Path(path_type=Path), required=True)
@click.option(
    "--checkout", type=click.Path(path_type=Path), required=True, help="Where the earlier code is."
)
@click.option("--clips", default=600, show_default=True, help="Clips of the test part.")
@click.option("--docs", type=click.Path(path_type=Path), help="Folder for earlier.md.")
def earlier(folder: Path, checkout: Path, clips: int, docs: Path | None) -> None:
    """Hear the same clips with an earlier code and with today's, and list where they differ.

    \b
    Example:
      git worktree add ../before 2fba9c8
      python -m fieldlog.lab earlier --set SET --checkout ../before --docs docs/hearing
    """
    language = load_language()

    def meanings(text: str) -> frozenset[str]:
        keys = (language.meaning(part.text) for part in language.breath(text).parts)
        return frozenset(key for key in keys if key)

    with tempfile.TemporaryDirectory(prefix="fieldlog-") as made:
        said = [
            one
            for one in spoken(SpeechSet(folder), clips, Path(made))
            if not one.phrase or language.meaning(one.words)
        ]
        before = heard_by(checkout.resolve(), said)
        now = heard_by(Path(__file__).resolve().parents[3], said)
    told = [
        (
            one,
            came_to(one, before[one.file.name], meanings),
            came_to(one, now[one.file.name], meanings),
        )
        for one in said
    ]
    at = subprocess.run(
        ["git", "-C", str(checkout), "log", "-1", "--format=%h (%as)"],
        capture_output=True,
        text=True,
        check=False,
    ).stdout.strip()
    text = page(at or "the earlier commit", told)
    if docs is not None:
        (docs / "earlier.md").write_text(text, encoding="utf-8")
    click.echo(text, nl=False)
