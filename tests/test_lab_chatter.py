"""The chatter benchmark: what a live session accepts is counted, and nothing else."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path

import pytest
from click.testing import CliRunner

from fieldlog.doubt.decide import judge_for
from fieldlog.doubt.files import shipped_rules
from fieldlog.errors import UsageError
from fieldlog.lab.benchmarks.chatter import (
    NOISE,
    SILENCE,
    Outcome,
    listen_to,
    materials,
    noise_minutes,
    report,
)
from fieldlog.lab.benchmarks.chatter_recording import HALF, SEED, Plan, noises_of, planned, sound_of
from fieldlog.lab.benchmarks.chatter_recording import write_recording as write
from fieldlog.lab.command import lab
from fieldlog.lab.speech_set.items import SpeechSet
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.listeners.typed import TypedListener
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.shop.ears import Ears

FOLDER = Path(__file__).parent / "data" / "speech_set"
SOUNDS = SpeechSet(FOLDER)
SURE = {"bend": 0.0, "margin": 8.0, "logprob": -1.0, "tokens": 10.0, "tail": 0.0}


class Scripted:
    """Hears the same in every clip, as the default listener would report it."""

    name = "whisper"

    def __init__(self, text: str, evidence: dict[str, float]) -> None:
        self.text, self.evidence = text, evidence

    def load(self, language: object) -> None:
        """Nothing to load."""

    def hear(self, clip: object) -> Hearing:
        found = (Hypothesis(self.text, 0.0, self.evidence),) if self.text else ()
        return Hearing(self.name, found, 1.0)

    def close(self) -> None:
        """Nothing to close."""


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


@pytest.fixture(scope="module")
def plan(language: InspectionLanguage) -> Plan:
    return planned(list(SOUNDS.part("test")), noises_of(SOUNDS), 90.0, SEED, language)


@pytest.fixture(scope="module")
def recording(plan: Plan, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("chatter") / "recording.flac"
    made: list[float] = []
    write(plan, SOUNDS, path, made.append)
    assert made[-1] == pytest.approx(90.0)
    return path


def heard(
    listener: Scripted | TypedListener, plan: Plan, recording: Path, language: InspectionLanguage
) -> Outcome:
    ears = Ears(language, listener, judge_for(language, shipped_rules()))
    return listen_to(recording, plan, ears, language)


def test_an_accepted_finding_is_counted_and_named(
    plan: Plan, recording: Path, language: InspectionLanguage
) -> None:
    outcome = heard(Scripted("front tyre cracked", SURE), plan, recording, language)
    assert outcome.utterances > 0
    assert len(outcome.findings) == outcome.utterances
    assert (outcome.questions, outcome.refused) == ((), 0)
    assert outcome.seconds == pytest.approx(90.0)
    first = outcome.findings[0]
    assert first.heard == "front tyre cracked"
    assert first.evidence["margin"] == 8.0
    assert first.chance is not None
    assert first.chance > 0.5
    assert any(each.said for each in outcome.findings)
    page = report(outcome, "command")
    assert f"| **findings accepted** (target 0) | **{outcome.utterances}** |" in page
    assert "| front tyre cracked |" in page
    assert "margin 8.00" in page


def test_what_is_refused_or_asked_is_no_finding(
    plan: Plan, recording: Path, language: InspectionLanguage
) -> None:
    nothing = heard(Scripted("", {}), plan, recording, language)
    assert (nothing.findings, nothing.others, nothing.questions) == ((), (), ())
    assert nothing.refused == nothing.utterances > 0
    assert "0, and fewer than 120.0 with 95 % confidence" in report(nothing, "command")

    doubted = heard(
        Scripted("front tyre cracked", {**SURE, "margin": 0.0, "logprob": -9.0}),
        plan,
        recording,
        language,
    )
    assert doubted.findings == ()
    assert len(doubted.questions) + doubted.refused == doubted.utterances
    assert doubted.questions_per_hour == pytest.approx(len(doubted.questions) * 40.0)


def test_the_plan_is_the_same_again_and_adds_up(plan: Plan, language: InspectionLanguage) -> None:
    again = planned(list(SOUNDS.part("test")), noises_of(SOUNDS), 90.0, SEED, language)
    assert again == plan
    assert planned(list(SOUNDS.part("test")), noises_of(SOUNDS), 90.0, 2, language) != plan
    assert all(piece.item.is_negative and piece.item.part == "test" for piece in plan.pieces)
    table = materials(plan, 90.0)
    assert sum(m.minutes for m in table) == pytest.approx(1.5)
    assert {NOISE, SILENCE} <= {m.kind for m in table}
    noisy = sum(each.minutes for each in noise_minutes(plan, 90.0))
    assert noisy == pytest.approx(sum(m.in_noise for m in table))
    # Interrupted half-way, only what was heard counts.
    assert sum(m.minutes for m in materials(plan, 45.0)) == pytest.approx(0.75)


def test_half_sentences_never_follow_each_other(language: InspectionLanguage) -> None:
    long = planned(list(SOUNDS.part("test")), noises_of(SOUNDS), 900.0, SEED, language)
    kinds = [piece.item.kind for piece in long.pieces]
    assert HALF in kinds
    assert (HALF, HALF) not in set(pairwise(kinds))
    negatives = {item.id for item in SOUNDS.part("test") if item.is_negative}
    assert {piece.item.id for piece in long.pieces} == negatives
    assert {scene.kind for scene in long.scenes} == {"talk in noise", "talk", "noise", "silence"}


def test_noise_has_the_level_that_is_written_down(plan: Plan) -> None:
    scene = next(s for s in plan.scenes if s.kind == "noise" and s.spells)
    sound = sound_of(scene, SOUNDS, plan.seed)
    spell = max(scene.spells, key=lambda s: s.end_s - s.start_s)
    start, end = (round((t - scene.start_s) * 16_000) for t in (spell.start_s, spell.end_s))
    level = float((sound[start + 8_000 : end - 8_000] ** 2).mean() ** 0.5)
    # Tools come in bursts, so a part of a spell may be louder or quieter than the whole.
    assert level == pytest.approx(10.0 ** (spell.level_db / 20.0), rel=0.5)


def test_a_half_that_the_grammar_takes_whole_is_left_out(language: InspectionLanguage) -> None:
    from dataclasses import replace

    items = [item for item in SOUNDS.part("test") if item.is_negative]
    items.append(replace(items[0], id="x", kind=HALF, words="front tyre cracked"))
    found = planned(items, (), 60.0, SEED, language)
    assert found.left_out == ("front tyre cracked",)
    with pytest.raises(UsageError, match="no chatter"):
        planned([item for item in items if item.kind == HALF], (), 60.0, SEED, language)


def test_the_command_prints_one_object(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        "fieldlog.listeners.choose.open_listener",
        lambda *_, **__: Scripted("front tyre cracked", SURE),
    )
    kept = tmp_path / "kept.flac"
    arguments = ["chatter", "--set", str(FOLDER), "--minutes", "0.7", "--json"]
    arguments += ["--keep", str(kept), "--docs", str(tmp_path)]
    done = CliRunner().invoke(lab, arguments)
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert len(told["findings"]) == told["utterances"] > 0
    assert kept.is_file()
    assert f"**{told['utterances']}**" in (tmp_path / "chatter.md").read_text()
    missing = CliRunner().invoke(lab, ["chatter", "--set", str(tmp_path)])
    assert missing.exit_code == 2
