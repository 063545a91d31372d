"""Calibration: the fit against a reference, levels against counts, the same bytes every time."""

from __future__ import annotations

import json
import math
from dataclasses import asdict, replace
from functools import partial
from importlib import resources
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.optimize import minimize

from fieldlog.doubt.files import shipped_rules
from fieldlog.doubt.rules import KINDS, Policy, read_rules
from fieldlog.errors import UsageError
from fieldlog.lab.benchmarks import calibrate as module
from fieldlog.lab.benchmarks.calibrate import calibrate
from fieldlog.lab.benchmarks.calibrate_cases import samples, still_said
from fieldlog.lab.benchmarks.calibrate_evidence import (
    Case,
    Line,
    hear_by_many,
    hear_cases,
    read_lines,
    write_lines,
)
from fieldlog.lab.benchmarks.calibrate_file import BENT_WORD, FLAGS, MORE_SAID, YES_OR_NO, to_toml
from fieldlog.lab.benchmarks.calibrate_fit import (
    LEAST,
    MOST_REFUSED,
    SILENT,
    VALUES,
    Sample,
    allowed_of,
    design,
    fit,
    logistic,
    silent_and_asked,
    twin_margin,
    with_levels,
)
from fieldlog.lab.benchmarks.calibrate_outcome import outcomes, reliability, risk_coverage
from fieldlog.lab.benchmarks.claim import upper_bound
from fieldlog.lab.benchmarks.hearing_docs import confusion_page, table
from fieldlog.lab.benchmarks.hearing_inspection import Measured, confusions, row
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.listeners.typed import TypedListener
from fieldlog.model.hearing import Hearing, Hypothesis

OURS = tuple(kind for kind in KINDS if kind != "order")


def drawn(count: int, seed: int = 1) -> list[Sample]:
    """Answers whose chance follows a known rule, so that a fit has something to find."""
    rng = np.random.default_rng(seed)
    found = []
    for number in range(count):
        margin, logprob = float(rng.uniform(0, 8)), -float(rng.exponential(1.0))
        chance = 1.0 / (1.0 + math.exp(-(1.0 + 0.5 * margin + 2.0 * logprob)))
        evidence = {"bend": logprob / 2, "margin": margin, "logprob": logprob, "tail": -0.1}
        found.append(Sample(OURS[number % 4], "clean", evidence, bool(rng.random() < chance)))
    return found


def test_the_fit_is_the_optimum_scipy_finds() -> None:
    data = drawn(400)
    x, y = design(data), np.array([float(s.right) for s in data])
    ours = logistic(x, y, np.zeros(x.shape[1]), 0.5)

    def loss(weights: np.ndarray) -> float:
        z = x @ weights
        return float(np.sum(np.logaddexp(0.0, z) - y * z) + 0.25 * np.sum(weights**2))

    bounds = [(None, None)] + [(0.0, None)] * (x.shape[1] - 1)
    theirs = minimize(loss, np.zeros(x.shape[1]), bounds=bounds, method="L-BFGS-B")
    assert loss(ours) == pytest.approx(theirs.fun, abs=1e-3)
    assert (ours[1:] >= 0.0).all()


def test_a_kind_without_samples_takes_the_fit_of_all() -> None:
    data = [replace(sample, kind="judged") for sample in drawn(200)]
    found = fit(data, OURS)
    assert found["coded"].margin > 0.0
    assert found["coded"].intercept == pytest.approx(found["judged"].intercept, abs=0.2)


def test_levels_keep_what_the_policies_allow() -> None:
    data = drawn(1500)
    weights = with_levels(fit(data, OURS), data, len(data))
    for policy in Policy:
        words = [sample for sample in data if sample.kind in ("judged", "dialogue")]
        _, silent, _, _ = silent_and_asked(words, weights, policy)
        assert silent == 0 or upper_bound(silent, len(data)) <= SILENT[policy]
        for kind in VALUES:
            values = [sample for sample in data if sample.kind == kind]
            _, silent, _, _ = silent_and_asked(values, weights, policy)
            assert silent == 0 or upper_bound(silent, len(values)) <= SILENT[policy]
        assert weights["judged"].accept[policy.value] >= LEAST[policy]
        commands = [sample for sample in data if sample.kind == "dialogue"]
        assert silent_and_asked(commands, weights, policy)[1] == 0
        assert weights["dialogue"].accept[policy.value] >= weights["judged"].accept[policy.value]
    for kind in OURS:
        order = [weights[kind].accept[policy.value] for policy in Policy]
        assert order == sorted(order, reverse=True)
    assert weights["judged"].refuse <= MOST_REFUSED


def test_the_bound_holds_not_the_count() -> None:
    """Clopper and Pearson 1934: 1 of 1,580 and 3 of 2,583 claim 0.3 % (one-sided, 95 %)."""
    assert [allowed_of(heard, 0.003) for heard in (500, 1579, 1580, 2096, 2583)] == [0, 0, 1, 1, 3]
    for heard in (1_600, 2_800, 9_000):
        most = allowed_of(heard, 0.003)
        assert upper_bound(most, heard) <= 0.003 < upper_bound(most + 1, heard)


def test_a_twin_must_be_further_behind_than_the_right_one_ever_was() -> None:
    base = drawn(1)[0]
    far = replace(base, right=False, twin=6.1, is_twin=True)
    assert twin_margin([far]) == 6.5
    assert twin_margin([replace(far, twin=0.3)]) == 5.0
    assert twin_margin([replace(far, twin=7.9)]) == 8.0
    # Another meaning was wrong, or the twin was never heard: neither says how near twins come.
    assert twin_margin([replace(far, is_twin=False), replace(far, twin=math.inf)]) == 5.0


def test_the_file_is_read_back_and_is_the_same_bytes_again() -> None:
    def text() -> str:
        data = drawn(600)
        found = with_levels(fit(data, KINDS), data, len(data))
        return to_toml("whisper", found, {"made_by": "test"}, FLAGS)

    first = text()
    assert text() == first
    rules = read_rules(first)
    assert set(rules.weights["whisper"]) == set(KINDS)
    assert rules.flags == FLAGS
    assert rules.more_said == {"whisper": MORE_SAID}
    assert rules.bent_word == {"whisper": BENT_WORD}
    assert rules.yes_or_no == {policy.value: least for policy, least in YES_OR_NO.items()}
    assert rules.provenance == {"made_by": "test"}


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


def line(said: str, heard: str, kind: str = "phrase", **evidence: float) -> Line:
    figures = {"bend": -0.1, "margin": 8.0, "tokens": 5.0, "logprob": -0.5, "tail": 0.0, **evidence}
    hypotheses = (Hypothesis(heard, 0.0, figures),) if heard else ()
    hearing = Hearing("whisper", hypotheses, 100.0)
    return Line(f"{said}-{heard}", "tune", kind, "clean", said, (), 2.0, hearing, {})


LINES = [
    line("front tyre cracked", "front tyre cracked"),
    line(
        "front axle nut torque fifty newton metres", "front axle nut torque fifteen newton metres"
    ),
    line("rear pads three millimetres", "front pads three millimetres"),
    line("horn working", "horn working", margin=0.1, logprob=-15.0, bend=-0.9),
    line("hand me that rag", "horn working", "chatter"),
    line("hand me that rag", "horn working", "chatter", logprob=-25.0, bend=-4.0, margin=0.2),
    line("the front pads", "", "half"),
    line("words of an older grammar", "horn working"),
]


def test_what_the_rules_make_of_lines_is_counted(language: InspectionLanguage) -> None:
    rules = shipped_rules()
    (found,) = outcomes(LINES, language, rules, Policy.BALANCED)
    assert (found.phrases, found.right, found.silent) == (4, 2, 2)
    assert found.asked_right + found.refused_right == 1
    assert (found.negatives, found.negatives_accepted) == (3, 1)
    assert LINES[-1] not in still_said(LINES, language)


def test_rows_count_numbers_and_false_accepts(language: InspectionLanguage) -> None:
    found = row("whisper", still_said(LINES, language), language, Policy.BALANCED, 1.0)
    assert (found.phrases, found.numbers, found.numbers_right) == (4, 2, 1)
    assert (found.silently_wrong, found.others, found.others_accepted) == (2, 3, 1)
    assert found.false_accepts_per_hour == pytest.approx(900.0)  # one in the four seconds of it
    assert "| whisper | clean | all rooms | 4 |" in table([found], "command")


def test_the_words_taken_for_others_are_named(language: InspectionLanguage) -> None:
    pairs = confusions(LINES[:4], language)
    assert ("fifty", "fifteen", 1) in pairs
    assert ("rear", "front", 1) in pairs
    one = Measured([row("whisper", LINES[:4], language, Policy.BALANCED, 1.0)], LINES[:4])
    assert "| fifty | fifteen | 1 |" in confusion_page([one], language, "command")


def test_curves_go_from_the_surest_answer_to_all(language: InspectionLanguage) -> None:
    data = drawn(300)
    weights = fit(data, OURS)
    curve = risk_coverage(data, weights, 400)
    assert [point[0] for point in curve] == sorted((p[0] for p in curve), reverse=True)
    assert curve[-1][1] == pytest.approx(300 / 400)
    assert curve[-1][2] == pytest.approx(sum(not s.right for s in data) / 400)
    bins = reliability(data, weights)
    assert sum(count for _, _, count in bins) == 300
    assert all(abs(chance - share) < 0.25 for chance, share, _ in bins)


def test_evidence_is_written_and_read_back(tmp_path: Path, language: InspectionLanguage) -> None:
    listener = TypedListener(["front tyre cracked"])
    listener.load(language)
    case = Case("a", "tune", "phrase", "clean", "front tyre cracked", lambda: np.ones(16000, "f4"))
    path = tmp_path / "tune-inspection.jsonl"
    counted: list[int] = []
    write_lines(hear_cases([case], listener), path, counted.append)
    (back,) = read_lines(path)
    assert back.hearing.hypotheses[0].text == "front tyre cracked"
    assert back.seconds == 1.0
    assert counted == [1]
    path.write_text(path.read_text() + "{}\n")
    with pytest.raises(UsageError, match="not a line of evidence"):
        read_lines(path)


def test_several_processes_hear_in_the_order_of_the_cases() -> None:
    cases = [
        Case(f"{n}", "tune", "phrase", "clean", "", partial(np.full, 8000 * (4 - n), 0.1, "f4"))
        for n in range(4)
    ]
    build = partial(TypedListener, ["front tyre cracked"] * 4)
    lines = list(hear_by_many(cases, build, load_language, 2))
    assert [(line.id, line.seconds) for line in lines] == [
        ("0", 2.0), ("1", 1.5), ("2", 1.0), ("3", 0.5),
    ]  # fmt: skip
    assert {line.hearing.hypotheses[0].text for line in lines} == {"front tyre cracked"}


def test_the_command_fits_and_measures_what_was_heard(tmp_path: Path) -> None:
    folder, out = tmp_path / "evidence", tmp_path / "doubt.toml"
    folder.mkdir()
    text = "".join(json.dumps(asdict(each)) + "\n" for each in LINES * 3)
    (folder / "tune-inspection.jsonl").write_text(text)
    arguments = ["--evidence", str(folder), "--out", str(out), "--date", "2026-01-02"]
    done = CliRunner().invoke(calibrate, arguments)
    assert done.exit_code == 0, done.output
    first = out.read_bytes()
    assert CliRunner().invoke(calibrate, arguments).exit_code == 0
    assert out.read_bytes() == first
    rules = read_rules(first.decode())
    assert rules.provenance["date"] == "2026-01-02"
    assert "24 inspection utterances" in rules.provenance["data"]
    (folder / "tune-inspection-2.jsonl").write_text(text)
    done = CliRunner().invoke(calibrate, arguments)
    both = read_rules(out.read_text())
    assert "48 inspection utterances" in both.provenance["data"]
    assert both.provenance["evidence"] != rules.provenance["evidence"]
    assert "tune-inspection-2" in done.output


def test_what_each_set_was_heard_as_is_kept_apart(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    heard = []
    monkeypatch.setattr("fieldlog.lab.speech_set.items.SpeechSet", lambda folder: folder)
    monkeypatch.setattr(module, "inspection_cases", lambda opened, part, *_, spread: [opened, part])
    monkeypatch.setattr(module, "_hear", lambda path, cases, *_: heard.append((path.name, *cases)))
    arguments = ["--set", "one", "--set", "two", "--evidence", str(tmp_path)]
    CliRunner().invoke(calibrate, arguments)
    assert heard == [
        ("tune-inspection.jsonl", Path("one"), "tune"),
        ("test-inspection.jsonl", Path("one"), "test"),
        ("tune-inspection-2.jsonl", Path("two"), "tune"),
        ("test-inspection-2.jsonl", Path("two"), "test"),
    ]


def test_without_evidence_the_command_says_what_to_do(tmp_path: Path) -> None:
    done = CliRunner().invoke(calibrate, ["--evidence", str(tmp_path)])
    assert isinstance(done.exception, UsageError)
    assert "--set" in done.exception.todo


def test_samples_know_their_twin(language: InspectionLanguage) -> None:
    said, heard = LINES[1].words, LINES[1].hearing.hypotheses[0]
    other = Hypothesis(said, -6.1, {})
    hearing = Hearing("whisper", (heard, other), 1.0)
    (sample,) = samples([replace(LINES[1], hearing=hearing)], language)
    assert sample.twin == pytest.approx(6.1)
    assert sample.is_twin
    assert not sample.right


def test_the_shipped_file_is_written_again_as_it_is() -> None:
    """A value put in by hand, or one that the next calibration would lose, shows here."""
    rules = shipped_rules()
    text = resources.files("fieldlog").joinpath("doubt/rules.toml").read_text(encoding="utf-8")
    assert to_toml("whisper", rules.weights["whisper"], rules.provenance, FLAGS) == text
