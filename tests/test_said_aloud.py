"""What is said back: printed text in spoken words, all of it in the pack, spliced from what it holds."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldlog.aftercare.files import load_care
from fieldlog.audio.clip import RATE
from fieldlog.audio.voice import Unsayable, bundled_voice, ended, spliced
from fieldlog.catalogue.component import Component
from fieldlog.language.files import load_language
from fieldlog.model.finding import Finding, Qualifier, Quantity
from fieldlog.quantities.units import UNITS
from fieldlog.words import questions, spoken, tell
from fieldlog.words.aloud import STOPS, aloud, phrases

VOICE = bundled_voice()
LANGUAGE = load_language()
COMPONENTS = tuple(LANGUAGE.catalogue)


def words_of(text: str) -> list[str]:
    return "".join(one for one in text if one not in STOPS).split()


def must_be_sayable(printed: str) -> None:
    """The pack has it all, and what is spliced are its words and nothing else."""
    said = aloud(printed)
    stretches = VOICE.says(tuple(phrases(said)))
    assert " ".join(text for text, _ in stretches).split() == words_of(said), printed


@pytest.mark.parametrize(
    ("printed", "said"),
    [
        ("front brake pads, thickness: 1.5 mm", "front brake pads, thickness, one decimal five millimetres"),
        ("rear tyre, tread depth: 4/32 in", "rear tyre, tread depth, four thirty seconds of an inch"),
        ("drive chain, slack: 1 3/4 in", "drive chain, slack, one and three quarters inches"),
        ("battery, cell 3, specific gravity: 1.265", "battery, cell three, specific gravity, one decimal two six five"),
        ("front spokes: missing (count 2)", "front spokes, missing, count two,"),
        ("brake disc, run-out: 0 / 0.2 mm", "brake disc, run out, zero, zero decimal two millimetres"),
        ("front tyre, size: 130/70-17", "front tyre, size, one three zero, seventy, seventeen"),
        ("brake fluid, grade: DOT 5.1", "brake fluid, grade, dot five decimal one"),
        ("engine oil, grade: SAE 40", "engine oil, grade, s a e forty"),
        ("tyre, date code: 2501", "tyre, date code, two five zero one"),
        ("odometer: 18350 mi", "odometer, eighteen thousand three hundred and fifty miles"),
        ("battery, resting voltage: 12.50 V", "battery, resting voltage, twelve decimal five zero volts"),
        ("idle: 85/min", "idle, eighty five per minute"),
        ("air temperature: -5 °C", "air temperature, minus five degrees celsius"),
        ("about 2 to 3 mm", "about two to three millimetres"),
        ("15 N·m or 50 N·m?", "fifteen newton metres or fifty newton metres?"),
        ("psi or kilopascals?", "p s i or kilopascals?"),
        ("≈ 2.381 mm", "about two decimal three eight one millimetres"),
        ("5/7 mm", "five over seven millimetres"),
        ("1/32 mm", "one over thirty two millimetres"),
        ("12 345 (x)", "twelve three four five, x,"),
    ],
)  # fmt: skip
def test_what_is_printed_is_said_in_words(printed: str, said: str) -> None:
    assert aloud(printed) == said


def test_digits_are_said_apart_where_that_is_asked_for() -> None:
    assert aloud("13 mm", apart=True) == "one three millimetres"
    assert aloud("30 mm", apart=True) == "three zero millimetres"
    assert aloud("12.5 V", apart=True) == "one two decimal five volts"


def test_a_point_is_never_said() -> None:
    assert all("point" not in words_of(aloud(f"{n / 8} mm")) for n in range(80))


numbers = st.builds(
    Fraction, st.integers(-20_000, 99_999), st.sampled_from((1, 2, 3, 4, 5, 8, 10, 16, 32, 64, 100, 1000))
)  # fmt: skip


@given(
    st.sampled_from(COMPONENTS),
    st.sampled_from((None, "front", "rear left", "cell 3", "up", "both locks", "inner", "upper")),
    numbers,
    st.none() | numbers,
    st.sampled_from(tuple(UNITS)),
    st.none() | st.sampled_from(tuple(Qualifier)),
)
def test_every_value_of_every_component_can_be_said(
    component: Component,
    position: str | None,
    value: Fraction,
    high: Fraction | None,
    unit: str,
    qualifier: Qualifier | None,
) -> None:
    for one in component.characteristics[:3]:
        quantity = Quantity(value, unit, high=high, qualifier=qualifier)
        finding = Finding(component.name, position, one.name, quantity=quantity)
        must_be_sayable(spoken.read_back(finding))
        must_be_sayable(questions.did_you_say(finding, correction=True))


def everything_printed() -> Iterator[str]:
    for one in COMPONENTS:
        for characteristic, condition, _ in one.judged():
            yield tell.finding(Finding(one.name, None, characteristic, condition=condition))
        yield questions.how_it_is(one.name, "front", tuple(one.conditions))
        yield questions.which_year(one.name, None)
        yield questions.why_skipped(one.name, "rear")
        for measured in one.characteristics:
            yield tell.about(one.name, None, measured.name)
            for unit in measured.units:
                yield tell.quantity(Quantity(Fraction(3, 2), unit))
            if measured.units:
                yield questions.measure(one.name, "rear", measured)
                yield tell.which_unit(measured.units)
        for given_with in (*one.given, *(g for c in one.characteristics for g in c.given)):
            yield given_with.setting.replace("_", " ")
    care = load_care()
    for walk in (care.walk, *care.others.values()):
        for stop in walk.places:
            yield stop.item.key
            yield from (f"{s.name} not looked at ({s.stage.name})" for s in stop.item.sees)
    horn = Finding("horn", None, None, condition="weak")
    yield questions.instead(horn, horn)
    yield from spoken.SENTENCES
    yield from questions.REST.values()
    yield from (questions.IN_FULL, questions.OF_WHAT, questions.SIGN_OFF, questions.AGAIN)
    yield from (questions.SOME_UNIT, questions.value_again("50 mm"), questions.code_again("5501"))
    yield from (spoken.left(n) for n in range(200))


def test_everything_of_catalogue_walk_and_questions_can_be_said() -> None:
    for printed in everything_printed():
        must_be_sayable(printed)


def test_every_word_that_can_be_heard_can_be_said_back() -> None:
    for word in sorted(LANGUAGE.words()):
        must_be_sayable(f"Did you say '{word}'?")


def test_a_word_that_nobody_rendered_is_named_and_nothing_is_said() -> None:
    with pytest.raises(Unsayable, match="zebra"):
        VOICE.say(tuple(phrases(aloud("front zebra, thickness: 2 mm"))))


def test_whole_names_are_taken_before_their_words() -> None:
    stretches = VOICE.says(tuple(phrases("front brake pads, thickness, two millimetres.")))
    assert [text for text, _ in stretches] == [
        "front brake pads",
        "thickness",
        "two",
        "millimetres",
    ]
    assert [stop for _, stop in stretches] == [",", ",", "", "."]


def test_a_sentence_is_level_and_has_no_clicks_and_its_pauses() -> None:
    sound = VOICE.say(tuple(phrases(aloud("confirm, front brake pads, thickness: 1.5 mm"))))
    assert 0.3 < float(np.abs(sound).max()) <= 1.0
    assert float(np.abs(np.diff(sound)).max()) < 0.5
    frames = sound[: len(sound) // 800 * 800].reshape(-1, 800)
    loud = np.sqrt(np.mean(np.square(frames), axis=1))
    assert np.median(loud[loud > 0.01]) == pytest.approx(0.09, rel=0.5)
    silent = loud < 4e-3
    assert silent.sum() >= 2 * int(0.2 / 0.05) - 2  # its commas
    longest = max(len(run) for run in "".join("x" if one else " " for one in silent).split())
    assert (
        longest * 0.05 <= 0.45
    )  # and no more than these: "confirm" was rendered with 0.5 s behind it


def test_the_silence_that_a_stretch_was_rendered_with_is_left_out_at_a_stop() -> None:
    tone = np.full(RATE // 2, 0.1, np.float32)
    sound = np.concatenate([tone, np.full(RATE // 2, 1e-3, np.float32)])
    kept = ended(sound)
    assert len(tone) < len(kept) <= len(tone) + RATE // 20
    assert np.array_equal(kept[: len(tone)], tone)
    assert kept[-1] == 0.0
    assert len(ended(tone)) == len(tone)
    silence = np.zeros(RATE, np.float32)
    assert ended(silence) is silence


def test_two_stretches_are_faded_into_each_other() -> None:
    first, second = np.full(RATE // 10, 0.5, np.float32), np.full(RATE // 10, -0.5, np.float32)
    joint = spliced(first, second, 0.0)
    assert len(joint) == len(first) + len(second) - RATE // 100
    assert float(np.abs(np.diff(joint)).max()) < 0.02
    assert len(spliced(first, second, 0.2)) == len(first) + len(second) + RATE // 5
