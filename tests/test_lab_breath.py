"""The benchmark of one breath: what it says holds what it should, and what is gone is counted as gone."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from click.testing import CliRunner

from fieldlog.audio.clip import RATE, Clip
from fieldlog.doubt.files import RULES, shipped_rules
from fieldlog.hearing import Heard
from fieldlog.lab.benchmarks import breath, breath_takes
from fieldlog.lab.benchmarks.breath import Came, Utterance, hear_takes
from fieldlog.lab.benchmarks.breath_outcome import (
    ASKED,
    LOST,
    OFFERED,
    REFUSED,
    RIGHT,
    WRONG,
    result_of,
)
from fieldlog.lab.benchmarks.breath_page import page
from fieldlog.lab.benchmarks.breath_sentences import Sentence, sentences, tails
from fieldlog.lab.benchmarks.breath_takes import (
    GAP,
    GAPS_S,
    JOINERS,
    PAIR,
    PAUSES_S,
    SENTENCE,
    SINGLE,
    SPLIT,
    TAIL,
    TALK,
    Plan,
    Take,
    findings_of,
    halves_of,
    planned,
    sound_of,
    spoken,
)
from fieldlog.lab.benchmarks.claim import upper_bound
from fieldlog.lab.benchmarks.noise_mix import rms
from fieldlog.lab.command import lab
from fieldlog.lab.speech_set.voices import TEST, TUNE, VOICES, Job, Voice
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.finding import Finding
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.question import Asks, Question
from fieldlog.model.understanding import Decision, Understanding

TOYS = [Voice(name, "toy", name, TEST) for name in ("one", "two", "three")]
PADS, MIRROR = "front pads two millimetres", "left mirror cracked"


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


def finding(language: InspectionLanguage, words: str) -> Finding:
    found = findings_of(language, words)
    assert found is not None, f"{words!r} is no finding: {language.understand(words).reason}"
    return found


# --- what is said


def test_enough_is_written_and_no_part_says_what_the_other_does() -> None:
    assert len(sentences(TEST)) >= 64
    assert len(tails(TEST)) >= 32
    said = [each.say for part in (TEST, TUNE) for each in (*sentences(part), *tails(part))]
    assert len(set(said)) == len(said)


@pytest.mark.parametrize("part", [TEST, TUNE])
def test_a_sentence_typed_is_the_findings_that_it_holds(
    language: InspectionLanguage, part: str
) -> None:
    for each in sentences(part):
        assert 2 <= len(each.holds) <= 4, each.say
        wanted = [finding(language, words).meaning for words in each.holds]
        got = [one.meaning for one in found(language, each)]
        assert got == wanted, each.say


@pytest.mark.parametrize("part", [TEST, TUNE])
def test_a_tail_typed_is_put_right_or_nothing_of_it_is_taken(
    language: InspectionLanguage, part: str
) -> None:
    kinds = Counter(bool(each.holds) for each in tails(part))
    assert min(kinds[True], kinds[False]) >= 5
    for each in tails(part):
        half = finding(language, each.half).meaning
        wanted = [finding(language, words).meaning for words in each.holds]
        assert half not in wanted, each.say
        got = [one.meaning for one in found(language, each)]
        assert got == wanted, each.say


def found(language: InspectionLanguage, each: Sentence) -> list[Finding]:
    parts = language.breath(each.say).parts
    return [part.finding for part in parts if part.finding and part.decision is Decision.ACCEPT]


@pytest.fixture(scope="module")
def takes(language: InspectionLanguage) -> list[Take]:
    return planned(language, TOYS, TEST, Plan(pairs=8, sentences=6, voices=2))


def test_sentences_and_tails_go_round_the_voices(language: InspectionLanguage) -> None:
    voices = [voice for voice in VOICES if voice.part == TEST]
    plan = Plan(frozenset({SENTENCE, TAIL}))
    said = [t for t in planned(language, voices, TEST, plan) if t.kind == SENTENCE]
    assert len(said) >= 300
    by_text = Counter(take.texts for take in said)
    assert set(by_text.values()) == {5}
    assert len({(take.texts, take.voice) for take in said}) == len(said)
    spoken_by = Counter(take.voice for take in said)
    assert max(spoken_by.values()) - min(spoken_by.values()) <= 1
    assert len(spoken_by) == len(voices)
    changed = [t for t in planned(language, voices, TEST, plan) if t.kind == TAIL]
    assert len(changed) >= 64
    assert {take.half for take in changed} == {each.half for each in tails(TEST)}
    fewer = Plan(frozenset({SENTENCE, TAIL}), sentences=9, voices=2)
    assert {*planned(language, voices, TEST, fewer)} < {*said, *changed}
    for take in (*said, *changed):
        assert take.voice.part == TEST


def test_what_is_planned(takes: list[Take], language: InspectionLanguage) -> None:
    count = Counter(take.kind for take in takes)
    assert (count[SENTENCE], count[TAIL]) == (12, 12)
    assert (count[PAIR], count[SINGLE], count[GAP]) == (8, 16, 8 * len(GAPS_S))
    assert (count[SPLIT], count[TALK]) == (4 * len(PAUSES_S), 4 * len(PAUSES_S))
    of = {kind: [take for take in takes if take.kind == kind] for kind in count}
    pairs, splits = of[PAIR], of[SPLIT]
    assert [take.said[0] for take in of[SINGLE]] == [each for take in pairs for each in take.said]
    assert {take.voice.name for take in pairs} == {"one", "two", "three"}
    assert len({take.joiner for take in pairs}) == len(JOINERS)
    assert {(take.said, take.voice) for take in of[GAP]} == {(t.said, t.voice) for t in pairs}
    assert Counter(take.pause_s for take in of[GAP]) == dict.fromkeys(GAPS_S, 8)
    for take in pairs:
        one, other = (finding(language, words) for words in take.said)
        assert one.component != other.component
    assert {take.pause_s for take in splits} == set(PAUSES_S)
    for take in splits:
        assert " ".join(take.texts) == take.said[0]
    for take in of[TALK]:
        assert take.said == ()
        assert language.understand(" ".join(take.texts)).decision is not Decision.ACCEPT
    plan = Plan(pairs=2, sentences=2, voices=2)
    few = planned(language, TOYS, TEST, plan)
    assert planned(language, TOYS, TEST, plan) == few
    gaps = planned(language, TOYS, TEST, replace(plan, kinds=frozenset({GAP})))
    assert gaps == [take for take in few if take.kind == GAP]


@pytest.mark.parametrize(
    ("words", "halves"),
    [
        (PADS, ("front pads", "two millimetres")),
        ("rear tyre tread four thirty seconds", ("rear tyre tread", "four thirty seconds")),
        (MIRROR, ("left mirror", "cracked")),
        ("horn works", None),  # its condition is not named in these words
        ("saddle cracked", None),  # one word is no half worth waiting for
        ("take photo", None),
    ],
)
def test_a_phrase_is_cut_before_what_it_states(
    language: InspectionLanguage, words: str, halves: tuple[str, str] | None
) -> None:
    assert halves_of(words, language) == halves


# --- what it came to


def heard(*understandings: Understanding) -> Heard:
    """One utterance, which is several findings where several are given."""
    clip = Clip(np.zeros(160, np.float32))
    first = understandings[0]
    parts = understandings if len(understandings) > 1 else ()
    whole = replace(first, finding=None, parts=parts) if parts else first
    return Heard(clip, Hearing("x", (), 0.0), whole, (), 0.0)


def asked(*understandings: Understanding) -> Understanding:
    return replace(
        understandings[0],
        decision=Decision.ASK,
        question=Question(Asks.HEARD, "Did you say that?"),
        finding=None,
        candidates=tuple(one for each in understandings for one in each.offered),
    )


def test_what_is_gone_counts_as_gone(language: InspectionLanguage) -> None:
    pads, mirror = language.understand(PADS), language.understand(MIRROR)
    other, nothing = language.understand("horn works"), language.understand("what a day")

    def came(*utterances: Heard, said: tuple[str, ...] = (PADS, MIRROR)) -> str:
        return result_of(Take(GAP, said, said, 0.1, "", TOYS[0]), utterances, language)

    one, two, none = heard(pads), heard(mirror), heard(nothing)
    assert came(one, two) == came(heard(pads, mirror)) == came(one, none, two) == RIGHT
    assert came(one) == came(two) == came(one, none) == came(none, two) == LOST
    assert came(one, heard(asked(other))) == LOST
    assert came(heard(asked(pads, mirror))) == OFFERED
    assert came(one, heard(asked(mirror))) == OFFERED
    assert came(heard(asked(pads)), heard(asked(mirror, other))) == OFFERED
    assert came(heard(asked(pads))) == came(heard(asked(other))) == came(none, heard(asked(mirror)))
    assert came(heard(asked(pads))) == ASKED
    assert came(none) == came() == came(none, none) == REFUSED
    wrong = [(heard(other),), (one, heard(other)), (one, one), (two, one, one), (one, two, two)]
    assert {came(*each) for each in wrong} == {WRONG}
    assert came(heard(pads, mirror, other)) == WRONG
    assert came(one, two, heard(language.understand("affirm"))) == WRONG
    assert came(one, said=(PADS,)) == RIGHT
    assert came(one, said=()) == came(heard(language.understand("affirm")), said=()) == WRONG
    assert came(none, said=()) == came(said=()) == REFUSED
    assert came(heard(asked(pads)), said=()) == ASKED


def test_of_three_findings_none_may_be_gone(language: InspectionLanguage) -> None:
    three = (PADS, MIRROR, "horn works")
    pads, mirror, horn = (language.understand(words) for words in three)
    take = Take(SENTENCE, three, (", ".join(three),), 0.0, "", TOYS[0])
    assert result_of(take, [heard(pads, mirror, horn)], language) == RIGHT
    assert result_of(take, [heard(pads, mirror)], language) == LOST
    assert result_of(take, [heard(pads, mirror), heard(asked(horn))], language) == OFFERED
    assert result_of(take, [heard(asked(pads, mirror))], language) == ASKED


def test_the_first_half_of_what_goes_on_is_never_right(language: InspectionLanguage) -> None:
    half, right = "front pads five millimetres", "front pads four millimetres"
    first, repaired = language.understand(half), language.understand(right)
    other, nothing = language.understand("horn works"), language.understand("what a day")
    corrected = language.understand(f"correction {right}")
    bare = language.understand("correction four millimetres")

    def came(*utterances: Understanding, said: tuple[str, ...] = (right,)) -> str:
        take = Take(TAIL, said, ("never mind",), 0.0, "", TOYS[0], half)
        return result_of(take, [heard(each) for each in utterances], language)

    assert came(repaired) == came(first, corrected) == came(asked(first), repaired) == RIGHT
    assert came(first) == came(first, nothing) == came(first, asked(repaired)) == LOST
    assert came(first, repaired) == LOST  # both stand, and only one was meant
    assert came(first, bare) == ASKED
    assert came(asked(first)) == ASKED
    assert came(asked(first, repaired)) == came(asked(repaired)) == OFFERED
    assert came(nothing) == REFUSED
    assert came(other) == WRONG
    assert came(first, said=()) == came(first, nothing, said=()) == LOST
    assert came(repaired, said=()) == came(other, said=()) == WRONG
    assert came(asked(first), said=()) == OFFERED
    assert came(asked(other), said=()) == ASKED
    assert came(nothing, said=()) == REFUSED


def test_what_is_taken_back_until_it_is_answered_does_not_stand(
    language: InspectionLanguage,
) -> None:
    take = Take(TAIL, (), ("never mind",), 0.0, "", TOYS[0], MIRROR)
    first = heard(language.understand(MIRROR))
    behind = replace(heard(asked(language.understand(MIRROR))), takes_back=True)
    assert result_of(take, [first], language) == LOST
    assert result_of(take, [first, behind], language) == OFFERED
    assert result_of(take, [first, replace(behind, takes_back=False)], language) == LOST


def test_the_upper_bound_is_clopper_and_pearsons() -> None:
    # NIST/SEMATECH e-Handbook, 7.2.4.1: 4 defectives of 20, 90 % two-sided, upper limit 0.401029.
    assert upper_bound(4, 20) == pytest.approx(0.401029, abs=1e-6)
    # None of n: 1 - 0.05 ** (1 / n), the exact form of the rule of three.
    assert upper_bound(0, 1500) == pytest.approx(1.0 - 0.05 ** (1 / 1500))
    assert upper_bound(0, 0) == upper_bound(7, 7) == 1.0


class Ear:
    """Hears the first finding of whatever is said, with the tail it is told."""

    name = "whisper"

    def __init__(self, tail: float = 0.0) -> None:
        self.tail, self.times = tail, 0

    def load(self, language: object) -> None:
        """Nothing to load."""

    def hear(self, clip: Clip) -> Hearing:
        self.times += 1
        sure = {"bend": 0.0, "margin": 8.0, "tokens": 4.0, "logprob": -0.1, "tail": self.tail}
        return Hearing(self.name, (Hypothesis(PADS, 0.0, sure),), 0.0)

    def close(self) -> None:
        """Nothing to close."""


def buzz(jobs: Sequence[Job]) -> None:
    for job in jobs:
        sf.write(job.path, 0.3 * np.sign(np.sin(np.arange(RATE // 2) * 0.05)), RATE)


@pytest.fixture
def whole(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every take is spoken as a buzz, and cut as one utterance."""
    monkeypatch.setattr(breath_takes, "speak", buzz)
    monkeypatch.setattr(breath, "utterances", lambda blocks: [Clip(blocks[0])])


@pytest.mark.usefixtures("whole")
def test_takes_are_heard_as_live_and_told_on_the_page(
    language: InspectionLanguage, tmp_path: Path
) -> None:
    rules = shipped_rules()
    pair = Take(GAP, (PADS, MIRROR), (PADS, MIRROR), 0.5, "0.50 s", TOYS[0])
    single = Take(SINGLE, (PADS,), (PADS,), 0.0, "", TOYS[0])
    spoken([pair, single], tmp_path)
    assert len(sound_of(pair, tmp_path)) > len(sound_of(single, tmp_path)) + RATE // 2
    gone, right = hear_takes([pair, single], tmp_path, Ear(-2.0), language, rules)
    assert (gone.result, right.result) == (LOST, RIGHT)
    (utterance,) = gone.heard
    assert (utterance.text, utterance.decision) == (PADS, "accept")
    assert utterance.findings == ("front brake pads, thickness: 2 mm",)
    assert utterance.evidence["tail"] == -2.0
    text = page([gone, right], TEST, None, "command")
    none, one = "0 (0.0 %, at most 95.0 %)", "1 (100.0 %, at most 100.0 %)"
    assert f"| gaps | 1 | {none} | {none} | {none} | {none} | {one} | {none} | {one} |" in text
    assert f"| singles | 1 | {one} | {none} | {none} | {none} | {none} | {none} | {none} |" in text
    assert f"| gaps: part accepted alone or something else accepted | 0 | {one} |" in text
    assert f"| 0.50 s | 1 | 0 | 0 | 0 | 0 | 1 | 0 | {one} |" in text
    assert f"| -1.5 | {none} | {one} |" in text
    assert f"| -2 | {one} | {none} |" in text
    assert f"| gaps | {PADS} ... (0.50 s) {MIRROR} | one | {PADS} (accept) |" in text
    doubted = hear_takes([pair, single], tmp_path, Ear(-9.0), language, rules)
    assert [each.result for each in doubted] == [ASKED, OFFERED]


def test_no_question_of_one_take_waits_in_the_next(
    language: InspectionLanguage, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(breath_takes, "speak", buzz)
    monkeypatch.setattr(
        breath, "utterances", lambda blocks: [Clip(blocks[0]), Clip(blocks[0], 20.0)]
    )
    take = Take(SINGLE, (PADS,), (PADS,), 0.0, "", TOYS[0])
    spoken([take], tmp_path)

    unsure, noise = "front pads two", "what a day"

    class InTurn(Ear):
        """Each clip has words of its own, however often it is heard."""

        says = iter([unsure, noise, "affirm", noise, "stand by", noise, unsure, "affirm"])

        def __init__(self) -> None:
            super().__init__()
            self.words: list[tuple[Clip, str]] = []

        def hear(self, clip: Clip) -> Hearing:
            known = next((words for one, words in self.words if one is clip), None)
            if known is None:
                known = next(self.says)
                self.words.append((clip, known))
            sure = {"bend": 0.0, "margin": 8.0, "tokens": 4.0, "logprob": -0.1, "tail": 0.0}
            return Hearing(self.name, (Hypothesis(known, 0.0, sure),), 0.0)

    came = hear_takes([take] * 4, tmp_path, InTurn(), language, shipped_rules())
    assert [each.result for each in came] == [OFFERED, WRONG, WRONG, RIGHT]


def test_the_page_counts_what_it_is_given() -> None:
    take = Take(GAP, (PADS, MIRROR), (PADS, MIRROR), 1.0, "1.00 s", TOYS[0])

    def one(decision: str, tail: float) -> Utterance:
        return Utterance("x", decision, (), (), 0.0, 1.0, 100.0, {"tail": tail})

    both = Came(take, RIGHT, (one("accept", -0.5), one("accept", -1.7), one("refuse", -7.0)))
    paused = [
        Came(replace(take, kind=SPLIT, pause_s=pause_s), result, ())
        for pause_s, result in ((0.5, LOST), (1.0, RIGHT), (2.5, OFFERED), (2.5, LOST))
    ]
    text = page([both, *paused], TEST, 10.0, "command")
    assert (
        "| pauses of 1 s and more: all right or asked, all of it offered | at least 90 % | 2 (66.7 %, at most 98.3 %) |"
        in text
    )
    assert "| -1.5 | 2 (100.0 %, at most 100.0 %) | 1 (50.0 %, at most 97.5 %) |" in text
    assert "| -2 | 2 (100.0 %, at most 100.0 %) | 0 (0.0 %, at most 77.6 %) |" in text
    assert "3 utterances, each understood 100 ms (median), 100 ms (p95) after its end" in text
    assert "workshop noise 10 dB below the words" in text


@pytest.mark.usefixtures("whole")
@pytest.mark.parametrize("snr_db", [15.0, 10.0])
def test_noise_lies_so_much_below_the_words(tmp_path: Path, snr_db: float) -> None:
    for take in planned_pair(0.1), planned_pair(1.0):
        spoken([take], tmp_path)
        clean, noisy = sound_of(take, tmp_path), sound_of(take, tmp_path, snr_db)
        words = clean[np.abs(clean) > 0.05]  # the buzz has no zeros
        below = 20.0 * np.log10(rms(words) / rms(noisy - clean))
        assert below == pytest.approx(snr_db, abs=0.3)
        assert np.array_equal(noisy, sound_of(take, tmp_path, snr_db))


def planned_pair(gap_s: float) -> Take:
    return Take(GAP, (PADS, MIRROR), (PADS, MIRROR), gap_s, f"{gap_s:.2f} s", TOYS[0])


def test_what_is_between_commas_is_said_as_mechanics_would(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    said: list[str] = []

    def speak(jobs: Sequence[Job]) -> None:
        said.extend(job.text for job in jobs)
        buzz(jobs)

    monkeypatch.setattr(breath_takes, "speak", speak)
    text = "front tyre two p s i, rear five thou, I meant six"
    spoken([Take(TAIL, (), (text,), 0.0, "", TOYS[0])], tmp_path)
    assert said == ["front tyre two pee ess eye, rear five thow, I meant six"]


@pytest.mark.usefixtures("whole")
def test_the_command_keeps_its_takes_and_prints_the_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        "fieldlog.lab.speech_set.voices.available", lambda: (TOYS, {"x": "no x here"})
    )
    monkeypatch.setattr("fieldlog.listeners.whisper.listener.WhisperListener", Ear)
    arguments = ["breath", "--takes", str(tmp_path / "takes"), "--pairs", "2", "--sentences", "2"]
    silent = CliRunner().invoke(lab, [*arguments, "--speak-only"])
    assert silent.exit_code == 0, silent.output
    assert silent.stdout == ""
    kept = {path: path.stat().st_mtime_ns for path in (tmp_path / "takes").iterdir()}
    assert kept
    done = CliRunner().invoke(lab, [*arguments, "--docs", str(tmp_path)])
    assert done.exit_code == 0, done.output
    assert (tmp_path / "breath.md").read_text().splitlines()[4:] == done.stdout.splitlines()[4:]
    assert "--pairs 2 --sentences 2`" in done.stdout
    noisy = [*arguments, "--only", "pairs", "--snr", "10", "--docs", str(tmp_path)]
    assert CliRunner().invoke(lab, noisy).exit_code == 0
    pairs = (tmp_path / "breath-10-db.md").read_text()
    assert "| sentences of two findings, and pairs: all right | at least 88 % |" in pairs
    assert "no x here" in done.stderr
    again = CliRunner().invoke(lab, [*arguments, "--json"])
    assert {path: path.stat().st_mtime_ns for path in (tmp_path / "takes").iterdir()} == kept
    came = [json.loads(line) for line in again.stdout.splitlines()]
    kinds = Counter(each["take"]["kind"] for each in came)
    assert (kinds[PAIR], kinds[SINGLE], kinds[GAP]) == (2, 4, 2 * len(GAPS_S))
    assert {each["heard"][0]["text"] for each in came} == {PADS}
    only = CliRunner().invoke(lab, [*arguments, "--only", TAIL, "--voices", "1", "--json"])
    assert [json.loads(x)["take"]["kind"] for x in only.stdout.splitlines()] == [TAIL, TAIL]
    for wrong in (["--voice", "nobody"], ["--sentences", "0"], ["--pairs", "1"]):
        none = CliRunner().invoke(lab, [*arguments, *wrong])
        assert none.exit_code != 0
    assert "say 64" in none.output


@pytest.mark.usefixtures("whole")
def test_levels_are_tried_with_rules_of_ones_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fieldlog.lab.speech_set.voices.available", lambda: (TOYS, {}))
    monkeypatch.setattr(
        "fieldlog.listeners.whisper.listener.WhisperListener", lambda: Ear(tail=-4.0)
    )
    own = tmp_path / "rules.toml"
    text = RULES.read_text(encoding="utf-8")
    assert "whisper = -2.5" in text
    own.write_text(text.replace("whisper = -2.5", "whisper = -5.0"), encoding="utf-8")
    arguments = ["breath", "--takes", str(tmp_path / "takes"), "--sentences", "1", "--json"]
    arguments += ["--only", SENTENCE, "--voices", "1"]
    decided = []
    for more in ([], ["--rules", str(own)]):
        done = CliRunner().invoke(lab, [*arguments, *more])
        assert done.exit_code == 0, done.output
        decided.append(json.loads(done.stdout)["heard"][0]["decision"])
    assert decided == ["ask", "accept"]
