"""``python -m fieldlog.lab calibrate``: the decision file made again from evidence on the tuning part."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

import click

from fieldlog.doubt.files import shipped_rules
from fieldlog.doubt.rules import KINDS, Policy, Weights, read_rules
from fieldlog.errors import UsageError
from fieldlog.grammar.language import Language
from fieldlog.lab.benchmarks.calibrate_cases import (
    Ratios,
    foreign_cases,
    inspection_cases,
    order_cases,
    samples,
)
from fieldlog.lab.benchmarks.calibrate_evidence import (
    TEST,
    TUNE,
    Case,
    Line,
    fingerprint,
    hear_by_many,
    read_lines,
    write_lines,
)
from fieldlog.lab.benchmarks.calibrate_file import FLAGS, to_toml
from fieldlog.lab.benchmarks.calibrate_fit import Sample, fit, with_levels
from fieldlog.lab.benchmarks.calibrate_outcome import Outcome, outcomes
from fieldlog.lab.benchmarks.claim import claim, share
from fieldlog.lab.benchmarks.recordings import SpeechSet as Recordings
from fieldlog.listeners.base import Listener

CELLS: Ratios = (None, 15.0, 10.0)
ORDER_CELLS: Ratios = (None, 12.0, 6.0, 3.0, 0.0)
BEYOND = "0 dB"
"""A cell that teaches what wrong answers look like; no policy promises anything in such noise."""
FOREIGN = 90
"""Utterances of the inspection set that the orders' language hears besides, as what it must refuse."""
LISTENER, INSPECTION = "whisper", "inspection"


@click.command("calibrate")
@click.option(
    "--set",
    "folders",
    type=click.Path(path_type=Path),
    multiple=True,
    help="An inspection speech set (may be repeated).",
)
@click.option("--orders", type=click.Path(path_type=Path), help="Folder of spoken orders.")
@click.option("--digits", type=click.Path(path_type=Path), help="Folder of spoken digits.")
@click.option("--noise", type=click.Path(path_type=Path), help="Noise for orders and digits.")
@click.option(
    "--evidence",
    type=click.Path(path_type=Path, file_okay=False),
    required=True,
    help="Folder for what was heard; what is there already is not heard again.",
)
@click.option("--tune-limit", type=int, default=2000, show_default=True)
@click.option("--test-limit", type=int, default=400, show_default=True)
@click.option(
    "--second-ear",
    is_flag=True,
    help="Hear with Whisper base alone, the second of `--listener two-ears`.",
)
@click.option(
    "--processes",
    type=click.IntRange(min=1),
    default=1,
    show_default=True,
    help="So many hear at the same time.",
)
@click.option("--policy", type=click.Choice([p.value for p in Policy]), default="balanced")
@click.option("--date", default="", help="Date written into the file (YYYY-MM-DD).")
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="Write the file here.")
def calibrate(
    folders: tuple[Path, ...],
    orders: Path | None,
    digits: Path | None,
    noise: Path | None,
    evidence: Path,
    tune_limit: int,
    test_limit: int,
    second_ear: bool,
    processes: int,
    policy: str,
    date: str,
    out: Path | None,
) -> None:
    """Fit the decision file on the tuning part, and measure it on the test part.

    Without --out the shipped file is measured. What is named is heard once into --evidence; the
    same evidence gives the same file, bit for bit.

    \b
    Examples:
      python -m fieldlog.lab calibrate --set set --orders orders --evidence evidence --out doubt.toml
      python -m fieldlog.lab calibrate --set set --set more --evidence evidence
    """
    evidence.mkdir(parents=True, exist_ok=True)
    others = _others(orders, digits)
    build = base_alone if second_ear else _bundled
    _gather(folders, others, noise, evidence, tune_limit, test_limit, processes, build)
    languages: dict[str, Language] = {INSPECTION: _inspection()}
    languages |= {kind: spoken.language() for kind, spoken in others.items()}
    tune = _samples(evidence, languages)
    if out is not None:
        text = decision_file(tune, evidence, date)
        out.write_text(text, encoding="utf-8")
        rules = read_rules(text, str(out))
        click.echo(f"{out}: written", err=True)
    else:
        rules = shipped_rules()
    for part in (TUNE, TEST):
        for kind, language in languages.items():
            for path in _paths(evidence, part, kind):
                table = outcomes(read_lines(path), language, rules, Policy(policy))
                _print(f"{path.stem}, {policy}", table)


def decision_file(
    tune: dict[str, tuple[list[Line], list[Sample]]], evidence: Path, date: str
) -> str:
    """The file's text from the evidence of the tuning parts; all grammars not ours go together."""
    weights: dict[str, Weights] = {}
    told = []
    for ours in (True, False):
        parts = {kind: part for kind, part in tune.items() if (kind == INSPECTION) == ours}
        if not parts:
            continue
        kinds = [kind for kind in KINDS if (kind != "order") == ours]
        found = [sample for _, part in parts.values() for sample in part]
        lines = [line for part, _ in parts.values() for line in part]
        kept_to = [sample for sample in found if sample.cell != BEYOND]
        utterances = sum(line.cell != BEYOND for line in lines)
        weights |= with_levels(fit(found, kinds), kept_to, utterances)
        for kind, (heard, answers) in parts.items():
            right = sum(s.right for s in answers)
            told.append(f"{len(heard)} {kind} utterances ({right} right of {len(answers)} answers)")
    kept = shipped_rules()
    for kind in KINDS:  # what was not heard this time stays as it was
        weights.setdefault(kind, kept.weights[LISTENER][kind])
    provenance = {
        "made_by": "python -m fieldlog.lab calibrate",
        "data": ", ".join(told),
        "evidence": fingerprint(evidence.glob(f"{TUNE}-*.jsonl")),
        "date": date or "not given",
    }
    return to_toml(LISTENER, {kind: weights[kind] for kind in KINDS}, provenance, FLAGS)


def _gather(
    folders: Sequence[Path],
    others: dict[str, Recordings],
    noise: Path | None,
    evidence: Path,
    tune_limit: int,
    test_limit: int,
    processes: int,
    build: Callable[[], Listener],
) -> None:
    from fieldlog.lab.speech_set.items import SpeechSet

    sets = [SpeechSet(folder) for folder in folders]
    opened = sets[0] if sets else None
    for number, each in enumerate(sets):
        for part, limit in ((TUNE, tune_limit), (TEST, test_limit)):
            cases = inspection_cases(each, part, CELLS, limit, spread=False)
            path = _path(evidence, part, INSPECTION, number)
            _hear(path, cases, _inspection, processes, build)
    for kind, spoken in others.items():
        for part in (TUNE, TEST):
            mine = order_cases(spoken, noise, part, ORDER_CELLS)
            foreign = foreign_cases(opened, part, CELLS, FOREIGN) if opened is not None else ()
            _hear(
                *(_path(evidence, part, kind), [*mine, *foreign], spoken.language, processes),
                build,
            )


def _hear(
    path: Path,
    cases: Iterable[Case],
    language: Callable[[], Language],
    processes: int,
    build: Callable[[], Listener],
) -> None:
    wanted = list(cases)
    done = {(line.id, line.cell) for line in read_lines(path)} if path.is_file() else set()
    left = [case for case in wanted if (case.id, case.cell) not in done]
    if not left:
        return
    with click.progressbar(length=len(left), label=path.name) as bar:
        lines = hear_by_many(left, build, language, processes)
        write_lines(lines, path, lambda count: bar.update(1))


def _bundled() -> Listener:
    from fieldlog.listeners.whisper.listener import WhisperListener

    return WhisperListener()


def base_alone() -> Listener:
    """The second ear by itself."""
    from fieldlog.listeners.whisper.folder import ADDED_TO_BASE
    from fieldlog.listeners.whisper.languages import folder_of_parts
    from fieldlog.listeners.whisper.listener import WhisperListener

    return WhisperListener(folder_of_parts(), additions=ADDED_TO_BASE)


def _inspection() -> Language:
    from fieldlog.language.files import load_language

    return load_language()


def _others(orders: Path | None, digits: Path | None) -> dict[str, Recordings]:
    from fieldlog.lab.benchmarks import recordings

    found = {}
    if orders is not None:
        found["order"] = recordings.orders(orders)
    if digits is not None:
        found["digit"] = recordings.digits(digits)
    return found


def _samples(
    evidence: Path, languages: dict[str, Language]
) -> dict[str, tuple[list[Line], list[Sample]]]:
    found = {}
    for kind, language in languages.items():
        lines = [line for path in _paths(evidence, TUNE, kind) for line in read_lines(path)]
        if lines:
            found[kind] = (lines, samples(lines, language))
    if not found:
        raise UsageError(
            "no evidence to fit on", where=str(evidence), todo="name --set DIR or --orders DIR"
        )
    return found


def _path(evidence: Path, part: str, kind: str, number: int = 0) -> Path:
    """What was heard of one kind of one part; of the second set and further ones apart."""
    return evidence / f"{part}-{kind}{f'-{number + 1}' if number else ''}.jsonl"


def _paths(evidence: Path, part: str, kind: str) -> list[Path]:
    """Those that are there, the first set's first."""
    return sorted(evidence.glob(f"{part}-{kind}.jsonl")) + sorted(
        evidence.glob(f"{part}-{kind}-[0-9]*.jsonl")
    )


def _print(title: str, table: Sequence[Outcome]) -> None:
    from rich.console import Console
    from rich.table import Table

    shown = Table(title=title)
    headings = ("cell", "phrases", "heard right", "silently wrong", "asked, right", "asked, wrong")
    for heading in (*headings, "refused, right", "negatives", "accepted"):
        shown.add_column(heading, justify="right")
    for one in table:
        shown.add_row(
            one.cell,
            str(one.phrases),
            share(one.right, one.phrases),
            claim(one.silent, one.phrases),
            share(one.asked_right, one.phrases),
            str(one.asked_wrong),
            share(one.refused_right, one.phrases),
            str(one.negatives),
            claim(one.negatives_accepted, one.negatives),
        )
    Console(width=130).print(shown)
