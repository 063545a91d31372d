"""The hearing benchmark counts what it says it counts."""

from __future__ import annotations

import json
import os
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from fieldlog.doubt.files import shipped_rules
from fieldlog.errors import ModelError, UsageError
from fieldlog.lab.benchmarks import hearing_answers, hearing_start
from fieldlog.lab.benchmarks.calibrate_evidence import Line
from fieldlog.lab.benchmarks.hearing import Plan, measure
from fieldlog.lab.benchmarks.hearing_docs import write_docs
from fieldlog.lab.benchmarks.hearing_inspection import (
    ALL_ROOMS,
    NO_ROOM,
    InspectionPlan,
    Measured,
    compare_inspection,
    measure_inspection,
)
from fieldlog.lab.benchmarks.hearing_reach import page, reach
from fieldlog.lab.benchmarks.hearing_start import Run
from fieldlog.lab.benchmarks.recognisers import Recogniser
from fieldlog.lab.benchmarks.recordings import digits, orders
from fieldlog.lab.command import lab
from fieldlog.lab.speech_set.items import SpeechSet
from fieldlog.language.files import load_language
from fieldlog.model.hearing import Hearing, Hypothesis

SET = Path(__file__).parent / "data" / "speech_set"
CLIPS = Path(__file__).parent / "data" / "speech"
GRAMMAR = """#JSGF V1.0;
grammar orders;
public <order> = can i get a (small | large) {size} (latte | mocha) {drink} [with soy milk {milk}];
"""
SURE = {"bend": 0.0, "margin": 8.0, "logprob": -1.0, "tokens": 10.0, "tail": 0.0}
UNSURE = {"bend": -0.8, "margin": 0.0, "logprob": -10.0, "tokens": 10.0, "tail": -1.0}
FOREIGN = {"bend": -4.0, "margin": 2.0, "logprob": -60.0, "tokens": 10.0, "tail": -6.0}
SAID = {"size": "small", "drink": "latte", "milk": "soy milk"}


class Parrot:
    """Says the same whatever it hears, with the evidence the class was given."""

    name = "whisper"
    text = "can i get a small latte with soy milk"
    evidence = SURE

    def load(self, language: object) -> None:
        self.language = language

    def hear(self, clip: object) -> Hearing:
        return Hearing(self.name, (Hypothesis(self.text, 0.0, self.evidence),), 1.0)

    def close(self) -> None:
        self.language = None


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "audio").mkdir()
    (tmp_path / "orders.jsgf").write_text(GRAMMAR.replace("soy milk {milk}", "(soy milk) {milk}"))
    shutil.copy(CLIPS / "small_latte.flac", tmp_path / "audio")
    (tmp_path / "labels.json").write_text(json.dumps({"small_latte.flac": SAID}))
    return tmp_path


@pytest.mark.parametrize(
    ("text", "evidence", "counts"),
    [
        ("can i get a small latte with soy milk", SURE, (1, 0, 0, 0)),
        ("can i get a large latte with soy milk", SURE, (0, 1, 0, 0)),
        ("can i get a small latte with soy milk", UNSURE, (1, 0, 1, 0)),
        ("can i get a small latte with soy milk", FOREIGN, (0, 0, 0, 1)),
        ("something else", SURE, (0, 0, 0, 1)),
    ],
)
def test_right_silent_asked_refused(
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    text: str,
    evidence: dict[str, float],
    counts: tuple[int, ...],
) -> None:
    monkeypatch.setattr(Parrot, "text", text)
    monkeypatch.setattr(Parrot, "evidence", evidence)
    plan = Plan((orders(folder),), noise=None)
    (row,) = measure(Recogniser("parrot", f"{__name__}:Parrot"), plan)
    assert row.files == 1
    assert (row.right, row.silently_wrong, row.asked_when_right, row.refused) == counts
    assert bool(row.wrong) is (counts[1:2] == (1,) or counts[0] == 0)


def test_the_command_prints_rows_and_says_what_is_missing(folder: Path) -> None:
    arguments = ["hearing", "--orders", str(folder), "--only", "whisper", "--json"]
    arguments += ["--digits", str(folder / "none")]
    result = CliRunner().invoke(lab, arguments)
    assert result.exit_code == 2
    assert "no files like" in result.stderr

    noise = ["--noise", str(CLIPS / "chatter.flac"), "--ratio", "20"]
    command = ["hearing", "--orders", str(folder), "--only", "whisper", "--json"]
    result = CliRunner().invoke(lab, [*command, *noise, "--no-digits"])
    assert result.exit_code == 0, result.stderr
    rows = [json.loads(line) for line in result.stdout.splitlines()]
    assert [(row["ratio_db"], row["files"], row["right"]) for row in rows] == [
        (None, 1, 1),
        (20.0, 1, 1),
    ]
    assert all(row["median_ms"] > 0 and row["memory_mb"] >= 0 for row in rows)


def test_folders_without_the_files_are_named(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"no labels\.json"):
        orders(tmp_path)
    with pytest.raises(UsageError, match="no files like"):
        digits(tmp_path)


class Counting:
    """Hears one sentence in everything, and counts how often it is asked."""

    name = "whisper"
    asked = 0

    def __init__(self, model: Path | None = None) -> None:
        self.model = model

    def load(self, language: object) -> None:
        """Nothing to load."""

    def hear(self, clip: object) -> Hearing:
        Counting.asked += 1
        return Hearing(self.name, (Hypothesis("oil is dirty", 0.0, SURE),), 1.0)

    def close(self) -> None:
        """Nothing to close."""


def weights_in(folder: Path) -> Recogniser:
    """The counting recogniser with a model folder that holds something."""
    folder.mkdir()
    (folder / "model.bin").write_bytes(b"first weights")
    return Recogniser("whisper", f"{__name__}:Counting", folder)


def test_answers_are_kept_and_never_taken_for_those_of_other_weights(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    recogniser = weights_in(tmp_path / "model")
    plan = InspectionPlan(SET, (None, 10.0), 6, answers=tmp_path / "answers")

    def asked() -> int:
        before = Counting.asked
        measured.append(measure_inspection(recogniser, plan, lambda *step: steps.append(step)))
        return Counting.asked - before

    measured: list[Measured] = []
    steps: list[tuple[str, int, int]] = []
    assert asked() == 1 + 12  # the probe, and six utterances in two cells
    assert steps[-1] == ("whisper", 12, 12)
    assert asked() == 1
    assert measured[1] == replace(measured[0], rows=measured[1].rows)

    # A run that was killed while it wrote: the broken line is heard again, nothing else.
    (kept,) = (tmp_path / "answers").glob("*.jsonl")
    kept.write_bytes(kept.read_bytes()[:-20])
    assert asked() == 1 + 1

    # Another decision file decides otherwise about the same hearings.
    rules = shipped_rules()
    never = {
        listener: {
            kind: replace(each, accept=dict.fromkeys(each.accept, 2.0))
            for kind, each in weights.items()
        }
        for listener, weights in rules.weights.items()
    }
    with monkeypatch.context() as patch:
        changed = replace(rules, weights=never)
        patch.setattr("fieldlog.lab.benchmarks.hearing_parts.shipped_rules", lambda: changed)
        assert asked() == 1
    assert sum(row.silently_wrong for row in measured[0].rows) > 0
    assert sum(row.silently_wrong for row in measured[-1].rows) == 0

    (tmp_path / "model" / "model.bin").write_bytes(b"second weights")
    assert asked() == 1 + 12
    assert len(list((tmp_path / "answers").glob("*.jsonl"))) == 2


def test_parts_add_up_to_the_total_and_dry_is_apart(tmp_path: Path) -> None:
    recogniser = weights_in(tmp_path / "model")
    found = measure_inspection(recogniser, InspectionPlan(SET, (None, 10.0)))
    items = {item.id: item for item in SpeechSet(SET).items}
    said = {line.id for line in found.lines if line.kind in ("phrase", "incomplete")}
    totals = {(row.cell, row.rooms): row for row in found.rows}
    assert set(totals) == {(c, r) for c in ("clean", "10 dB") for r in (ALL_ROOMS, NO_ROOM)}
    for cell in ("clean", "10 dB"):
        total = totals[cell, ALL_ROOMS]
        assert total.phrases == len(said)
        assert totals[cell, NO_ROOM].phrases == sum(items[x].effect == "dry" for x in said)
        for by in ("voice", "room", "noise"):
            parts = [part for part in found.parts if (part.by, part.cell) == (by, cell)]
            assert sum(part.phrases for part in parts) == total.phrases
            assert sum(part.silently_wrong for part in parts) == total.silently_wrong > 0
            assert sum(part.right for part in parts) == total.right
    dry = [part for part in found.parts if (part.by, part.group) == ("room", "dry")]
    assert [part.phrases for part in dry] == [totals[part.cell, NO_ROOM].phrases for part in dry]

    written = write_docs(tmp_path / "docs", [found], load_language(), "the command")
    names = {"inspection.md", "confusions.md", "by-voice.md", "by-room.md", "by-noise.md"}
    names.add("reach.md")
    names |= {"right-by-noise.png", "reliability.png", "risk-coverage.png"}
    assert {path.name for path in written} == names
    assert all(path.stat().st_size > 0 for path in written)
    rooms = (tmp_path / "docs" / "by-room.md").read_text()
    assert f"| **all** | {len(said)} |" in rooms
    assert "| garage |" in rooms


def test_reach_counts_what_was_said_and_what_was_heard_right() -> None:
    language = load_language()

    def line(said: str, heard: str, kind: str = "phrase") -> Line:
        hearing = Hearing("x", (Hypothesis(heard, 0.0),) if heard else (), 1.0)
        return Line(said, "test", kind, "clean", said, (), 1.0, hearing, {})

    lines = [
        line("rear tread four thirty seconds", "rear tread four thirty seconds"),
        line("rear tread four millimetres", "rear tread five millimetres"),
        line("battery terminals corroded", ""),
        line("horn works", "horn works", kind="half"),
    ]
    found = {row.kind: row for row in reach(lines, language)}
    assert (found["component"].said, found["component"].right) == (2, 1)
    assert found["component"].entries == len(language.catalogue.heard)
    assert "horn" in found["component"].never_said
    assert found["unit"].never_right == ("tyre, tread depth in mm",)
    assert (found["condition"].said, found["condition"].right) == (1, 0)
    assert "tyre, tread depth" not in found["characteristic"].never_said
    text = page([("x", list(found.values()))], "the command")
    assert f"| component | {len(language.catalogue.heard)} | 2 | 1 |" in text
    assert "unit, never right: tyre, tread depth in mm." in text


def test_only_one_recogniser_hears_the_set(monkeypatch: pytest.MonkeyPatch) -> None:
    target = f"{__name__}:Counting"
    monkeypatch.setattr(
        "fieldlog.lab.benchmarks.recognisers.WHISPER", Recogniser("whisper", target)
    )
    command = ["hearing", "--set", str(SET), "--set-only", "--limit", "3", "--json"]
    done = CliRunner().invoke(lab, [*command, "--only", "whisper"])
    assert done.exit_code == 0, done.output
    rows = [json.loads(line) for line in done.stdout.splitlines()]
    assert {row["recogniser"] for row in rows} == {"whisper"}
    assert {row["by"] for row in rows if "by" in row} <= {"voice", "room", "noise"}
    done = CliRunner().invoke(lab, [*command, "--only", "whisperer"])
    assert done.exit_code == 2
    assert "no recogniser 'whisperer'" in done.stderr


def test_a_process_that_dies_is_a_recogniser_left_out() -> None:
    recogniser = Recogniser("dying", f"{__name__}:Dying")
    measured, absent = compare_inspection([recogniser], InspectionPlan(SET, (None,), 1))
    assert measured == []
    assert absent[0].reason == "its process ended by itself (code 7)"


class Dying(Counting):
    """Ends its process as a crash in a library would."""

    def hear(self, clip: object) -> Hearing:
        os._exit(7)


def test_starts_are_medians_of_runs_that_take_turns() -> None:
    order: list[str] = []
    starts = iter((1.0, 9.0, 5.0, 9.0, 2.0))

    def once(name: str, model: Path | None) -> Run:
        order.append(name)
        if name == "gone":
            raise ModelError("no library", where=name)
        return Run(next(starts), 300.0, (100.0, 110.0, 200.0), 250.0, 320.0)

    rows, absent = hearing_start.measure([("a", None), ("gone", None)], 5, once=once)
    (row,) = rows
    assert order == ["a", "gone", "a", "a", "a", "a"]
    assert (row.runs, row.start_s, row.slowest_start_s) == (5, 5.0, 9.0)
    assert (row.median_ms, row.p95_ms, row.utterances) == (110.0, 200.0, 15)
    assert "no library" in absent["gone"]
    page = hearing_start.page(rows, absent, "command")
    assert "| a | 5 | 5.00 | 9.00 | 300 | 110 | 200 | 15 | 250 | 320 |" in page
    assert "gone left out" in page


def test_a_fresh_process_is_timed_or_says_why_not(tmp_path: Path) -> None:
    run = hearing_start.fresh_run("whisper", None)
    assert run.start_s > 0.1
    assert len(run.warm_ms) == hearing_start.UTTERANCES - 1
    assert 0.0 < run.ready_mb <= run.memory_mb
    with pytest.raises(ModelError, match="no such folder"):
        hearing_start.fresh_run("whisper", tmp_path / "none")


def test_what_shapes_a_hearing_is_there_to_be_fingerprinted() -> None:
    """A module that moved would drop out of the fingerprint, and old answers pass for new ones."""
    package = Path(hearing_answers.__file__).parents[2]
    for name in (*hearing_answers.CODE, *hearing_answers.SOUND):
        assert (package / name).exists(), name
