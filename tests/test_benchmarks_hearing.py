"""The hearing benchmark counts what it says it counts."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from fieldlog.benchmarks.hearing import Plan, measure
from fieldlog.benchmarks.recognisers import Recogniser
from fieldlog.benchmarks.recordings import digits, orders
from fieldlog.cli import main
from fieldlog.errors import UsageError
from fieldlog.model import Hearing, Hypothesis

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
    arguments = ["benchmarks", "hearing", "--orders", str(folder), "--only", "whisper", "--json"]
    arguments += ["--digits", str(folder / "none")]
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == 2
    assert "no files like" in result.stderr

    noise = ["--noise", str(CLIPS / "chatter.flac"), "--ratio", "20"]
    command = ["benchmarks", "hearing", "--orders", str(folder), "--only", "whisper", "--json"]
    result = CliRunner().invoke(main, [*command, *noise, "--no-digits"])
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
