"""Accept, ask or refuse on evidence."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldlog.audio.clip import Clip
from fieldlog.doubt.again import said_again
from fieldlog.doubt.decide import doubted, judge_for, twin_distances
from fieldlog.doubt.files import RULES as RULES_FILE
from fieldlog.doubt.files import shipped_rules
from fieldlog.doubt.question import waits
from fieldlog.doubt.rules import (
    KINDS,
    LARGEST_TAIL,
    TERMS,
    DoubtRules,
    Policy,
    policy_named,
    read_rules,
)
from fieldlog.doubt.twins import TWINS, exchanged, slipped
from fieldlog.errors import UsageError
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.language.led import Led
from fieldlog.model.command import Command
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.question import Rest
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding
from fieldlog.shop.answering import Answering
from fieldlog.words.questions import REST
from tests.phrase_language import PhraseLanguage

RULES: DoubtRules = shipped_rules()
_INSPECTION = lru_cache(load_language)


def heard(bend: float, margin: float, listener: str = "whisper", text: str = "x") -> Hearing:
    evidence = {"bend": bend, "margin": margin, "tokens": 4.0, "logprob": 4.0 * bend}
    return Hearing(listener, (Hypothesis(text, 0.0, evidence),), 1.0)


def accepted(text: str = "x") -> Understanding:
    return Understanding(Decision.ACCEPT, Kind.ORDER, "fits", text)


@pytest.mark.parametrize(
    ("bend", "margin", "flags", "policy", "decision"),
    [
        (-0.02, 8.0, (), Policy.BALANCED, Decision.ACCEPT),
        (-0.02, 8.0, (), Policy.CAUTIOUS, Decision.ACCEPT),
        (-1.6, 1.0, (), Policy.BALANCED, Decision.ASK),
        (-1.6, 1.0, (), Policy.BRISK, Decision.ASK),
        (-0.02, 8.0, ("cut at maximum",), Policy.BRISK, Decision.ASK),
        (-4.6, 2.0, (), Policy.BRISK, Decision.REFUSE),
    ],
)
def test_decisions(
    bend: float, margin: float, flags: tuple[str, ...], policy: Policy, decision: Decision
) -> None:
    result = doubted(accepted(), heard(bend, margin), frozenset(flags), RULES, policy)
    assert result.decision is decision
    assert result.reason
    assert (result.question_text != "") is (decision is Decision.ASK)


def test_listeners_without_evidence_are_left_alone() -> None:
    for listener in ("typed", "replay"):
        found = doubted(accepted(), heard(-9, 0, listener), frozenset(), RULES)
        assert found.decision is Decision.ACCEPT


@given(
    st.sampled_from(list(Decision)),
    st.floats(-10, 0.1),
    st.floats(0, 30),
    st.sampled_from(list(Policy)),
)
def test_doubt_never_makes_a_decision_better(
    before: Decision, bend: float, margin: float, policy: Policy
) -> None:
    order = [Decision.REFUSE, Decision.ASK, Decision.ACCEPT]
    understanding = Understanding(before, Kind.ORDER, "r", "x")
    after = doubted(understanding, heard(bend, margin), frozenset(), RULES, policy).decision
    assert order.index(after) <= order.index(before)


@given(
    st.sampled_from(KINDS),
    st.tuples(st.floats(-5, 0), st.floats(0, 20), st.floats(-6, 0), st.floats(-12, 0)),
    st.sampled_from(TERMS),
    st.floats(0, 3),
)
def test_more_evidence_never_lowers_the_chance(
    kind: str, values: tuple[float, float, float, float], better: str, more: float
) -> None:
    weights = RULES.weights["whisper"][kind]
    evidence = dict(zip(TERMS, values, strict=True))
    assert weights.chance({**evidence, better: evidence[better] + more}) >= weights.chance(evidence)


@pytest.mark.parametrize("kind", KINDS)
def test_policies_are_ordered(kind: str) -> None:
    weights = RULES.weights["whisper"][kind]
    least = [RULES.least(weights, policy, frozenset()) for policy in Policy]
    assert least == sorted(least, reverse=True)
    assert weights.refuse < least[-1]
    assert RULES.least(weights, Policy.BRISK, frozenset({"cut at maximum"})) == 1.0


def test_twins_go_both_ways() -> None:
    assert {(other, one) for one, other in TWINS} == set(TWINS)
    assert list(exchanged("axle fifteen newton metres", TWINS)) == ["axle fifty newton metres"]
    assert list(exchanged("seventy point four", TWINS)) == [
        "seventeen point four",
        "seven to point four",
    ]
    assert list(exchanged("six to eight", TWINS)) == ["sixty eight"]
    assert list(exchanged("twelve point six volts", TWINS)) == []


def test_what_is_mostly_a_slip_is_asked_about() -> None:
    language = PhraseLanguage(
        ["torque three to sixteen foot pounds", "torque reads sixteen foot pounds"]
    )
    clip = Clip(np.zeros(160, np.float32))
    hearing = heard(0.0, 8.0, text="torque three to sixteen foot pounds")
    asked = judge_for(language, RULES)(
        language.understand(hearing.hypotheses[0].text), hearing, clip
    )
    assert asked.question_text == "Three to or reads?"


@pytest.mark.parametrize(
    ("said", "other", "question"),
    [
        ("axle one to five", "axle one two five", "To or two?"),
        ("axle one two five", "axle one to five", "Two or to?"),
        ("pads too loose", "pads two loose", "Too or two?"),
    ],
)
def test_what_sounds_the_same_is_asked_about(said: str, other: str, question: str) -> None:
    clip = Clip(np.zeros(160, np.float32))
    language = PhraseLanguage([said, other])
    asked = judge_for(language, RULES)(language.understand(said), heard(0.0, 8.0, text=said), clip)
    assert asked.question_text == question


def test_another_side_is_asked_about_however_far_behind_it_was_heard() -> None:
    clip = Clip(np.zeros(160, np.float32))
    said, other = "mirror right side cracked", "mirror nearside cracked"
    language = PhraseLanguage([said, other])
    judge = judge_for(language, RULES)
    for best, second in ((said, other), (other, said)):
        far = two_heard(best, second, 7.8)
        assert judge(language.understand(best), far, clip).decision is Decision.ASK
        alone = heard(0.0, 8.0, text=best)
        assert judge(language.understand(best), alone, clip).decision is Decision.ACCEPT


@pytest.mark.parametrize(
    ("said", "asked"),
    [
        ("right front pads worn", True),
        ("seat torn right rear disc worn", True),
        ("the right front pads worn", False),
        ("left and right front pads worn", False),
    ],
)
def test_right_is_a_slip_where_one_may_begin_with_it(said: str, asked: bool) -> None:
    assert (said.replace("right ", "", 1) in set(slipped(said))) is asked


@pytest.mark.parametrize(
    ("best", "other", "asked"),
    [
        ("rear disc good", "rear disc grooved", True),  # a fault that was heard as well
        ("rear disc grooved", "rear disc good", False),
        ("rear disc good", "front disc good", False),  # another part, as near as any
        ("exhaust are loose", "exhaust stud loose", True),  # a word heard as a mere "are"
        ("exhaust stud loose", "exhaust are loose", False),
        ("seat is torn", "seat looks torn", False),  # the same
        ("chain play five millimetres", "chain play forty five millimetres", True),  # a word more
        ("chain play forty five millimetres", "chain play five millimetres", False),
    ],
)
def test_what_is_worst_to_be_wrong_about_is_asked_however_far_behind_it_was_heard(
    best: str, other: str, asked: bool
) -> None:
    language = _INSPECTION()
    far = two_heard(best, other, 7.5)
    assert (twin_distances(far, language) == {other: 0.0}) is asked
    said = judge_for(language, RULES)(
        language.understand(best), far, Clip(np.zeros(160, np.float32))
    )
    assert said.decision is (Decision.ASK if asked else Decision.ACCEPT)
    assert len(said.candidates) == (2 if asked else 0)


@pytest.mark.parametrize(
    ("best", "other", "asked"),
    [
        ("back brake fluid fine", "read back brake fluid back", True),  # a command
        ("read back brake fluid back", "back brake fluid fine", False),
        ("fork sag four inches", "fork sag four millimetres", True),
        ("left fork sag four inches", "right fork sag four millimetres", True),
        ("fork sag four inches", "fork sag five millimetres", False),
        ("fork sag four inches", "brake lever travel four millimetres", False),
    ],
)
def test_another_kind_of_thing_that_was_heard_nearly_as_well_is_asked_about(
    best: str, other: str, asked: bool
) -> None:
    language = _INSPECTION()
    assert twin_distances(two_heard(best, other, 4.3), language) == ({other: 4.3} if asked else {})
    judge = judge_for(language, RULES)
    for behind, is_asked in ((4.3, asked), (7.5, False)):
        heard = two_heard(best, other, behind)
        said = judge(language.understand(best), heard, Clip(np.zeros(160, np.float32)))
        assert said.decision is (Decision.ASK if is_asked else Decision.ACCEPT), behind


@pytest.mark.parametrize(
    ("best", "other", "asked"),
    [
        ("rear drum inner diameter one hundred and thirty millimetres",
         "rear drum inner diameter one hundred and ten millimetres", True),
        ("insurance papers expires february two thousand thirty",
         "insurance papers expires october two thousand thirty", True),
        ("front rim cracked", "front rim dented", False),
        ("fork sag thirty millimetres", "brake lever travel thirty millimetres", False),
    ],
)  # fmt: skip
def test_another_value_that_is_two_nats_behind_is_asked_about(
    best: str, other: str, asked: bool
) -> None:
    language = _INSPECTION()
    assert twin_distances(two_heard(best, other, 1.9), language) == ({other: 1.9} if asked else {})
    assert twin_distances(two_heard(best, other, 2.1), language) == {}
    said = judge_for(language, RULES)(
        language.understand(best), two_heard(best, other, 1.9), Clip(np.zeros(160, np.float32))
    )
    assert (Flag.TWIN in said.flags) is asked


@pytest.mark.parametrize(
    ("heard", "other"),
    [
        ("fork sag right around thirty millimetres", "fork sag around thirty millimetres"),
        ("rear spokes just under three turns", "rear spokes adjustment three turns"),
    ],
)
def test_how_about_it_is_said_is_no_side_and_no_characteristic(heard: str, other: str) -> None:
    language = _INSPECTION()
    assert twin_distances(two_heard(heard, "seat torn", 7.5), language) == {other: 0.0}


def test_a_command_that_lacks_a_word_is_asked_about() -> None:
    language = _INSPECTION()
    best, other = "photo of the tank", "photo of the tank cap"
    judge = judge_for(language, RULES)
    clip = Clip(np.zeros(160, np.float32))
    for one, two, decision in ((best, other, Decision.ASK), (other, best, Decision.ACCEPT)):
        said = judge(language.understand(one), two_heard(one, two, 7.5), clip)
        assert said.decision is decision


def test_a_bare_word_to_what_was_asked_is_not_held_to_that() -> None:
    led = _INSPECTION().led(Led(("front brake pads",), lambda finding: True))
    assert Flag.LED in led.understand("good").flags
    assert twin_distances(two_heard("good", "worn", 7.5), led) == {}
    whole = two_heard("front brake pads good", "front brake pads worn", 7.5)
    assert twin_distances(whole, led) == {"front brake pads worn": 0.0}


@pytest.mark.parametrize(
    ("said", "other"),
    [
        ("axle is twenty five", "axle one twenty five"),
        ("axle torqued to eighty", "axle torque twenty"),
        ("seal weeping", "seal leaking"),
        ("lamp working", "lamp not working"),
        ("bolt sound", "bolt sheared"),
        ("sidewall cut", "sidewall good"),
        ("seat worn", "seat torn"),
    ],
)
def test_a_fault_or_value_for_another_is_asked_about_where_it_was_heard_too(
    said: str, other: str
) -> None:
    clip = Clip(np.zeros(160, np.float32))
    language = PhraseLanguage([said, other])
    for text, near in ((said, two_heard(said, other, 4.8)), (other, two_heard(other, said, 4.8))):
        asked = judge_for(language, RULES)(language.understand(text), near, clip)
        assert asked.decision is Decision.ASK
        alone = judge_for(language, RULES)(
            language.understand(text), heard(0.0, 8.0, text=text), clip
        )
        assert alone.decision is Decision.ACCEPT


def test_a_twin_that_is_possible_too_is_asked_about() -> None:
    # a teen heard as its ty (codeforamerica/balance#240): "fifteen" was heard as fifty with margin 4.8
    both = PhraseLanguage(["axle fifteen newton metres", "axle fifty newton metres"])
    clip = Clip(np.zeros(160, np.float32))
    understanding = both.understand("axle fifty newton metres")
    near = two_heard("axle fifty newton metres", "axle fifteen newton metres", 4.8)
    asked = judge_for(both, RULES)(understanding, near, clip)
    assert asked.decision is Decision.ASK
    assert asked.question_text == "Fifty or fifteen?"
    assert "twin" in asked.flags
    far = two_heard("axle fifty newton metres", "axle fifteen newton metres", 8.1)
    assert judge_for(both, RULES)(understanding, far, clip) == understanding
    only = PhraseLanguage(["axle fifty newton metres"])
    assert judge_for(only, RULES)(understanding, near, clip) == understanding


def test_a_meaning_that_was_heard_as_well_is_asked_about() -> None:
    language = PhraseLanguage(["large tea", "small tea"])
    hearing = two_heard("large tea", "small tea", 0.3, margin=0.3)
    asked = judge_for(language, RULES, Policy.BRISK)(
        language.understand("large tea"), hearing, Clip(np.zeros(160, np.float32))
    )
    assert (asked.decision, asked.question_text) == (Decision.ASK, "Large or small?")


def two_heard(best: str, other: str, behind: float, margin: float = 8.0) -> Hearing:
    evidence = {"bend": 0.0, "margin": margin, "tokens": 4.0, "logprob": -0.1}
    heard = (Hypothesis(best, 0.0, evidence), Hypothesis(other, -behind, {}))
    return Hearing("whisper", heard, 1.0)


@pytest.mark.parametrize("text", ["", "[accept]\n", "nonsense", "[whisper]\nbend = 'x'\n"])
def test_a_broken_decision_file_is_named(text: str) -> None:
    with pytest.raises(UsageError, match="decision file"):
        read_rules(text)


def test_a_policy_that_is_none_is_named() -> None:
    assert policy_named("brisk") is Policy.BRISK
    with pytest.raises(UsageError, match="no policy 'bold'"):
        policy_named("bold")


@pytest.mark.parametrize(("bend", "margin"), [(-4.6, 2.0), (-1.6, 1.0)])
def test_reasons_are_a_mechanics_words_and_the_figures_stay_evidence(
    bend: float, margin: float
) -> None:
    hearing = heard(bend, margin, text="left fork seal leaking")
    told = doubted(accepted("left fork seal leaking"), hearing, frozenset(), RULES)
    for internal in ("chance", "nats", "token", "margin", "0.", "-1.", "-4."):
        assert internal not in told.reason
    if told.decision is Decision.REFUSE:
        assert "'left fork seal leaking'" in told.reason
        assert "say it again" in told.reason
        assert "type it" in told.reason
    assert hearing.hypotheses[0].evidence["bend"] == bend


def test_a_question_about_something_else_does_not_clear_what_was_misheard() -> None:
    language = load_language()
    asked = language.understand("pads two millimetres")
    clear = doubted(asked, heard(-0.02, 8.0), frozenset(), RULES)
    assert clear == asked
    unclear = doubted(asked, heard(-1.0, 1.0), frozenset(), RULES)
    assert (unclear.decision, unclear.question_text) == (Decision.ASK, asked.question_text)
    assert language.answer(clear, "front").decision is Decision.ACCEPT
    front = language.answer(unclear, "front")
    assert (front.decision, front.question_text) == (
        Decision.ASK, "Did you say front brake pads, thickness: 2 mm?",
    )  # fmt: skip
    assert language.answer(front, "front").decision is not Decision.ACCEPT
    for word in ("affirm", "two"):
        assert language.answer(front, word).decision is Decision.ACCEPT


def test_how_many_and_how_loose_sound_the_same() -> None:
    judge = judge_for(load_language(), RULES)
    clip = Clip(np.zeros(1600, dtype=np.float32), 0.0)
    for text, twin in (("front spokes two loose", True), ("chain too loose", False)):
        understood = load_language().understand(text)
        found = judge(understood, heard(-0.02, 8.0, text=text), clip)
        assert (found.decision is Decision.ASK) is twin, text
        if twin:
            assert found.question_text == "Front spokes: loose (count 2) or front spokes: loose?"


# The level was chosen on spoken pairs (docs/hearing/breath.md); the tests take it from the file.
LEVEL = RULES.more_said["whisper"]


def ending(tail: float, text: str = "x", margin: float = 8.0, listener: str = "whisper") -> Hearing:
    """Heard as well as can be, but for what stands behind the last word."""
    evidence = {"bend": 0.0, "margin": margin, "tokens": 4.0, "logprob": -0.1, "tail": tail}
    return Hearing(listener, (Hypothesis(text, 0.0, evidence),), 1.0)


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return _INSPECTION()


@pytest.mark.parametrize("policy", Policy)
@pytest.mark.parametrize(
    ("text", "question"),
    [
        (
            "front pads two millimetres",
            f"Did you say front brake pads, thickness: two millimetres? {REST[Rest.AGAIN]}",
        ),
        ("front tyre cracked", f"Did you say front tyre: cracked? {REST[Rest.AGAIN]}"),
        (
            "correction front pads two millimetres",
            f"Did you say correction, front brake pads, thickness: two millimetres? {REST[Rest.AGAIN]}",
        ),
        ("take photo", f"Did you say 'take photo'? {REST[Rest.ALL_AGAIN]}"),
        ("affirm", f"Did you say 'affirm'? {REST[Rest.ALL_AGAIN]}"),
        ("negative", f"Did you say 'negative'? {REST[Rest.ALL_AGAIN]}"),
    ],
)
def test_a_finding_behind_the_first_is_never_swallowed(
    language: InspectionLanguage, text: str, question: str, policy: Policy
) -> None:
    said = language.understand(text)
    assert said.decision is Decision.ACCEPT
    found = doubted(said, ending(LEVEL - 0.1, text), frozenset(), RULES, policy)
    assert found.decision is not Decision.ACCEPT
    if found.decision is Decision.ASK:
        assert found.question_text == question
        assert Flag.MORE_SAID in found.flags
        assert waits(found) is (REST[Rest.AGAIN] in question)
    whole = doubted(said, ending(LEVEL + 0.1, text), frozenset(), RULES, policy)
    assert Flag.MORE_SAID not in whole.flags
    assert doubted(said, ending(0.0, text), frozenset(), RULES, policy) == said


@pytest.mark.parametrize(
    ("text", "question"),
    [
        ("pads two millimetres", f"Which end: front or rear? {REST[Rest.AGAIN]}"),
        ("front pads two", f"2 mm? {REST[Rest.AGAIN]}"),
        ("no nail in the tyre", REST[Rest.ALL_AGAIN]),
        ("correction four millimetres", f"Correction of what? {REST[Rest.ALL_AGAIN]}"),
    ],
)
def test_what_is_asked_for_another_reason_tells_of_the_rest(
    language: InspectionLanguage, text: str, question: str
) -> None:
    asked = language.understand(text)
    assert asked.decision is Decision.ASK
    found = doubted(asked, ending(LEVEL - 0.1, text), frozenset(), RULES)
    assert found.decision is Decision.ASK
    assert found.question_text.endswith(question)
    assert Flag.MORE_SAID in found.flags
    assert waits(found) == waits(asked)
    assert (
        doubted(asked, ending(LEVEL + 0.1, text), frozenset(), RULES).question_text
        == asked.question_text
    )


def test_a_rival_and_the_rest_are_both_told() -> None:
    both = PhraseLanguage(["large tea", "small tea"])
    evidence = {"margin": 0.3, "tokens": 4.0, "logprob": -0.1, "tail": LEVEL - 0.1}
    hearing = Hearing(
        "whisper", (Hypothesis("large tea", 0.0, evidence), Hypothesis("small tea", -0.3)), 1.0
    )
    clip = Clip(np.zeros(160, np.float32))
    asked = judge_for(both, RULES)(both.understand("large tea"), hearing, clip)
    assert asked.question_text == f"Large or small? {REST[Rest.ALL_AGAIN]}"


def test_only_a_listener_that_has_a_level_is_held_to_it() -> None:
    assert set(RULES.more_said) == set(RULES.weights)
    said = accepted()
    assert doubted(said, ending(-30.0, listener="vosk"), frozenset(), RULES) == said


@given(st.floats(-30.0, 0.0), st.sampled_from(KINDS), st.sampled_from(list(Policy)))
def test_no_tail_below_the_level_is_accepted(tail: float, kind: str, policy: Policy) -> None:
    text = {"order": "x", "dialogue": "take photo", "judged": "front tyre cracked"}.get(
        kind, "front pads two millimetres"
    )
    said = accepted() if kind == "order" else _INSPECTION().understand(text)
    found = doubted(said, ending(tail, text), frozenset(), RULES, policy)
    assert found.decision is not Decision.ACCEPT or tail >= LEVEL


@pytest.mark.parametrize("kind", [k for k in KINDS if RULES.weights["whisper"][k].tail])
def test_an_end_bent_further_than_the_largest_tail_counts_no_more(kind: str) -> None:
    weights = RULES.weights["whisper"][kind]
    evidence = {"bend": 0.0, "margin": 8.0, "logprob": -0.1}
    chances = [weights.chance({**evidence, "tail": -tail}) for tail in (7.9, LARGEST_TAIL, 9.0, 60)]
    assert chances[0] > chances[1] == chances[2] == chances[3]


def test_a_yes_has_a_level_of_its_own() -> None:
    language = PhraseLanguage(["affirm"])
    said = replace(language.understand("affirm"), kind=Kind.DIALOGUE, dialogue=Command.AFFIRM)
    for least, decision in ((0.0, Decision.ACCEPT), (0.999999, Decision.ASK)):
        rules = replace(RULES, yes_or_no=dict.fromkeys(Policy, least))
        hearing = heard(0.0, 2.0, text="affirm")
        found = doubted(said, hearing, frozenset(), rules, yes_or_no=True)
        assert found.decision is decision
    asked = load_language().understand("front pads two")
    answering = Answering(load_language(), asked)
    assert answering.is_yes_or_no("yes")
    assert not answering.is_yes_or_no("two millimetres")
    assert set(RULES.yes_or_no) == {policy.value for policy in Policy}


def test_the_whole_value_said_again_settles_what_sounds_like_it() -> None:
    language = load_language()
    fifty, fifteen = (f"front axle nut torque {n} newton metres" for n in ("fifty", "fifteen"))
    clip = Clip(np.zeros(160, np.float32))
    first = judge_for(language, RULES)(
        language.understand(fifty), two_heard(fifty, fifteen, 4.8), clip
    )
    assert Flag.TWIN in first.flags
    answering = Answering(language, first)
    for text, other, margin, decision in (
        ("fifty newton metres", "fifteen newton metres", 4.8, Decision.ACCEPT),
        ("fifteen newton metres", "fifty newton metres", 4.8, Decision.ACCEPT),
        ("fifty newton metres", "fifteen newton metres", 0.3, Decision.ASK),
        ("fifty", "fifteen", 4.8, Decision.ASK),
    ):
        judge = said_again(judge_for(answering, RULES), first, answering)
        heard_again = two_heard(text, other, margin, margin=margin)
        found = judge(answering.understand(text), heard_again, clip)
        assert found.decision is decision, text


def test_a_finding_with_a_bent_end_is_asked_about_where_more_was_said_and_its_words_were_likely() -> (
    None
):
    """The end is bent by what follows; of words that lack something no more is offered than before."""
    language = load_language()
    behind = replace(heard(-9.6 / 4, 5.0), left_over=((0.8, 2.0),))
    best = behind.hypotheses[0]
    evidence = {**best.evidence, "tokens": 4.0, "tail": -9.6, "logprob": -9.7, "margin": 5.0}
    behind = replace(behind, hypotheses=(replace(best, evidence=evidence),))
    whole = doubted(language.understand("left mirror cracked"), behind, frozenset(), RULES)
    assert whole.decision is Decision.ASK
    assert Flag.MORE_SAID in whole.flags
    silent = replace(behind, left_over=(), behind_s=0.1)  # half a sentence, and nobody went on
    cut = doubted(language.understand("left mirror cracked"), silent, frozenset(), RULES)
    assert cut.decision is Decision.REFUSE
    less = replace(best, evidence={**evidence, "logprob": -12.0})
    lacking = replace(behind, hypotheses=(less,))
    half = doubted(language.understand("pads two millimetres"), lacking, frozenset(), RULES)
    assert half.decision is Decision.REFUSE
    whole = doubted(language.understand("left mirror cracked"), lacking, frozenset(), RULES)
    assert whole.decision is Decision.ASK
    unlikely = {**evidence, "logprob": -20.0}
    behind = replace(behind, hypotheses=(replace(best, evidence=unlikely),))
    assert (
        doubted(language.understand("left mirror cracked"), behind, frozenset(), RULES).decision
        is Decision.REFUSE
    )


@pytest.mark.parametrize("listener", ["pocketsphinx", "vosk", "another"])
def test_a_finding_of_a_listener_that_tells_nothing_of_itself_is_asked_about(listener: str) -> None:
    language = _INSPECTION()
    words = "front brake pads two millimetres"
    judge = judge_for(language, RULES)
    clip = Clip(np.zeros(0, dtype=np.float32), 0.0)
    hearing = Hearing(listener, (Hypothesis(words, -2400.0),), 1.0)
    found = judge(language.understand(words), hearing, clip)
    assert (found.decision, found.flags) == (Decision.ASK, (Flag.UNSURE,))
    settled = judge_for(Answering(language, found), RULES)(
        Answering(language, found).understand("affirm"),
        Hearing(listener, (Hypothesis("affirm", -900.0),), 1.0),
        clip,
    )
    assert settled.decision is Decision.ACCEPT
    typed = Hearing("typed", (Hypothesis(words, 0.0),), 1.0)
    assert judge(language.understand(words), typed, clip).decision is Decision.ACCEPT


@pytest.mark.parametrize(
    ("text", "worst", "decision"),
    [
        ("motor is dirty and clutch cable frayed and exhaust loose", -5.09, Decision.ASK),
        ("motor is dirty and clutch cable frayed and exhaust loose", -3.2, Decision.ACCEPT),
    ],
)
def test_one_word_of_a_breath_that_did_not_sound_like_that_is_asked_about(
    text: str, worst: float, decision: Decision
) -> None:
    """As heard behind a tone, of "air filter is dirty and ...": 0.4 nats per token are little."""
    evidence = {"bend": -0.42, "margin": 8.0, "tokens": 12.0, "logprob": -5.11, "tail": 0.0}
    hearing = Hearing("whisper", (Hypothesis(text, -1.7, {**evidence, "worst": worst}),), 1.0)
    clip = Clip(np.zeros(16000, np.float32))
    language = _INSPECTION()
    found = judge_for(language, RULES)(language.understand(text), hearing, clip)
    assert found.decision is decision
    assert len(found.offered) == 3
    assert set(RULES.bent_word) == set(RULES.weights)


def test_what_is_kept_of_the_rules_is_what_their_file_says() -> None:
    assert read_rules(RULES_FILE.read_text("utf-8"), RULES_FILE.name) == shipped_rules()
