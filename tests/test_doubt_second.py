"""A second opinion settles a doubt or widens the question; it never makes anything count by itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
import pytest

from fieldlog.audio.clip import Clip
from fieldlog.doubt.decide import judge_for
from fieldlog.doubt.files import shipped_rules
from fieldlog.doubt.rules import Policy, Weights
from fieldlog.doubt.second import OTHERWISE, VALUES, minding_second, strictest
from fieldlog.grammar.language import Language
from fieldlog.language.files import load_language
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.understanding import Decision, Understanding

_SHIPPED = shipped_rules()


def _accepting(kind: str, least: float) -> Weights:
    weights = _SHIPPED.weights["whisper"][kind]
    return replace(weights, accept={**weights.accept, "balanced": least})


RULES = replace(
    _SHIPPED,
    weights={
        **_SHIPPED.weights,
        "whisper": {
            **_SHIPPED.weights["whisper"],
            "measured": _accepting("measured", 0.88),
            "judged": _accepting("judged", 0.958),
        },
    },
)
"""The weights as shipped, with levels that lie apart whatever the fit of the day comes to."""
CLIP = Clip(np.zeros(160, np.float32))
SURE = {"margin": 8.0, "logprob": -0.1, "tokens": 5.0, "tail": 0.0, "bend": 0.0}
UNSURE = {"margin": 1.2, "logprob": -1.5, "tokens": 5.0, "tail": 0.0, "bend": -0.2}
POOR = {"margin": 0.1, "logprob": -14.0, "tokens": 5.0, "tail": -6.0, "bend": -2.5}
NEARLY = {"margin": 2.6, "logprob": -1.0, "tokens": 5.0, "tail": 0.0, "bend": -0.1}
"""Sure enough for a value, not for a condition."""
FORK, WORN = "rear brake pads three millimetres", "rear brake pads worn"
Heard = Callable[..., tuple[Understanding, list[Clip]]]


def hearing(
    *texts: str, evidence: Mapping[str, float] = SURE, listener: str = "whisper"
) -> Hearing:
    found = tuple(Hypothesis(text, -float(n), evidence) for n, text in enumerate(texts))
    return Hearing(listener, found, 1.0)


@pytest.fixture(scope="module")
def language() -> Language:
    return load_language()


@pytest.fixture(scope="module")
def weigh(language: Language) -> Heard:
    """What becomes of a first hearing beside a second, and the clips that were heard again."""

    def weighed(first: Hearing, second: Hearing | None) -> tuple[Understanding, list[Clip]]:
        again: list[Clip] = []

        def hear_again(clip: Clip) -> Hearing | None:
            again.append(clip)
            return second

        alone = judge_for(language, RULES, Policy.BALANCED)
        judge = minding_second(alone, language, RULES, Policy.BALANCED, hear_again)
        text = first.hypotheses[0].text
        return judge(language.understand(text), first, CLIP), again

    return weighed


def test_what_both_heard_stands(weigh: Heard) -> None:
    said, again = weigh(hearing(WORN), hearing(WORN, listener="whisper-base"))
    assert said.decision is Decision.ACCEPT
    assert again == [CLIP]


def test_a_doubt_is_settled_by_who_heard_the_same_surely(weigh: Heard) -> None:
    unsure = hearing(WORN, evidence=UNSURE)
    assert weigh(unsure, None)[0].decision is Decision.ASK
    said, _ = weigh(unsure, hearing("rear brake pad worn", WORN))
    assert said.decision is Decision.ACCEPT
    assert said.finding is not None


@pytest.mark.parametrize("evidence", [UNSURE, POOR])
def test_who_is_not_sure_settles_nothing(weigh: Heard, evidence: Mapping[str, float]) -> None:
    said, _ = weigh(hearing(WORN, evidence=UNSURE), hearing(WORN, evidence=evidence))
    assert said.decision is Decision.ASK


def test_a_value_is_settled_only_by_what_would_do_for_a_condition(
    language: Language, weigh: Heard
) -> None:
    first = hearing(FORK, evidence=NEARLY)
    value = RULES.weights["whisper"]["measured"]
    chance = value.chance({"margin": 2.6, "logprob": -0.2, "tail": 0.0, "bend": -0.1})
    strict = strictest(RULES).weights["whisper"]
    highest = max(RULES.weights["whisper"][kind].accept["balanced"] for kind in VALUES)
    assert value.accept["balanced"] < chance < highest
    assert {strict[kind].accept["balanced"] for kind in VALUES} == {highest}
    own = judge_for(language, strictest(RULES), Policy.BALANCED)
    assert own(language.understand(FORK), first, CLIP).decision is Decision.ASK
    assert weigh(first, first)[0].decision is Decision.ACCEPT
    unsure = hearing(FORK, evidence=UNSURE)
    assert weigh(unsure, first)[0].decision is Decision.ASK
    assert weigh(unsure, hearing(FORK))[0].decision is Decision.ACCEPT


def test_what_the_other_heard_otherwise_never_counts_unasked(weigh: Heard) -> None:
    said, _ = weigh(hearing(WORN), hearing("rear brake pads good"))
    assert said.decision is Decision.ASK
    assert said.reason == OTHERWISE
    assert {finding.condition for finding in said.candidates} == {"worn", "sound"}


@pytest.mark.parametrize("second", [hearing(), hearing("affirm"), hearing(FORK, evidence=POOR)])
def test_what_the_other_could_not_hear_is_asked_about_alone(weigh: Heard, second: Hearing) -> None:
    said, _ = weigh(hearing(WORN), second)
    assert said.decision is Decision.ASK
    assert [finding.condition for finding in said.candidates] == ["worn"]


def test_both_are_offered_where_the_first_asks_already(weigh: Heard) -> None:
    said, _ = weigh(hearing(WORN, evidence=UNSURE), hearing("rear brake pads good"))
    assert said.decision is Decision.ASK
    assert len(said.candidates) == 2


def test_a_twin_and_what_goes_on_stay_asked(weigh: Heard) -> None:
    twin = hearing("clutch free play fifteen millimetres", "clutch free play fifty millimetres")
    said, again = weigh(twin, hearing("clutch free play fifteen millimetres"))
    assert (said.decision, again) == (Decision.ASK, [])
    on = hearing(WORN, evidence={**SURE, "tail": -5.0})
    said, again = weigh(on, hearing(WORN))
    assert (said.decision, again) == (Decision.ASK, [])


def test_a_command_a_refusal_and_another_listener_are_left_alone(weigh: Heard) -> None:
    for first in (hearing("disregard that"), hearing(WORN, evidence=POOR)):
        said, again = weigh(first, hearing("rear brake pads good"))
        assert said.decision is not Decision.ASK
        assert again == []
    assert weigh(hearing(WORN, listener="vosk"), hearing(WORN))[1] == []


def test_a_breath_is_asked_about_where_one_part_was_heard_otherwise(weigh: Heard) -> None:
    both = "rear brake pads worn and left mirror cracked"
    assert weigh(hearing(both), hearing(both))[0].decision is Decision.ACCEPT
    said, _ = weigh(hearing(both), hearing("rear brake pads good and left mirror cracked"))
    assert said.decision is Decision.ASK
    assert len(said.candidates) == 2
