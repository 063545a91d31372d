"""``fieldlog parse``: the contract's JSON, the readable line, one clear line for bad input."""

from __future__ import annotations

import json
from typing import Any

import pytest
from click.testing import CliRunner, Result

from fieldlog.cli import main


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["parse", *arguments])


def view(*arguments: str) -> dict[str, Any]:
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.output
    found: dict[str, Any] = json.loads(result.output)
    return found


def test_a_finding_comes_with_exact_value_and_verdict() -> None:
    found = view("rear tread one thirty second", "--jurisdiction", "US-OH")
    assert found["decision"] == "accept"
    finding = found["finding"]
    assert (finding["component"], finding["position"]) == ("tyre", "rear")
    assert finding["characteristic"] == "tread depth"
    quantity = finding["quantity"]
    assert quantity == {"num": 1, "den": 32, "unit": "in", "words": "one thirty second"}
    verdict = finding["verdict"]
    assert verdict["state"] == "beyond"
    # Ohio 4501:2-1-06: one sixteenth of one inch.
    assert (verdict["limit"]["num"], verdict["limit"]["den"]) == (1, 16)
    assert verdict["limit"]["unit"] == "in"
    assert verdict["limit"]["status"] == "cited"
    assert "4501:2-1-06" in verdict["limit"]["source"]
    assert verdict["margin"] == pytest.approx(-1 / 32)
    assert isinstance(verdict["others"], list)


def test_every_key_of_the_contract_is_there() -> None:
    found = view("front pads two millimetres")
    assert {"decision", "reason", "finding", "question", "candidates", "kind", "flags"} <= set(
        found
    )
    assert {"component", "position", "characteristic", "quantity", "condition", "code"} <= set(
        found["finding"]
    )
    assert {"state", "limit", "margin", "others"} <= set(found["finding"]["verdict"])


def test_two_readings_are_both_in_the_candidates_and_nothing_is_judged() -> None:
    found = view("front pads three four millimetres")
    assert found["decision"] == "ask"
    assert found["finding"] is None
    assert [c["quantity"]["num"] for c in found["candidates"]] == [3, 4]
    assert all(c["verdict"] is None for c in found["candidates"])


def test_a_range_keeps_both_ends() -> None:
    quantity = view("front pads two to three millimetres")["finding"]["quantity"]
    assert (quantity["num"], quantity["high_num"], quantity["high_den"]) == (2, 3, 1)


def test_a_qualifier_is_kept() -> None:
    assert view("front pads about two mm")["finding"]["quantity"]["qualifier"] == "about"


def test_a_condition_and_a_code_have_no_quantity() -> None:
    found = view("left front indicator not working")["finding"]
    assert (found["quantity"], found["condition"]) == (None, "not working")
    assert view("rear brake fluid dot four")["finding"]["code"] == "DOT 4"


def test_settings_reach_the_checks() -> None:
    words = "front rim lateral run out three millimetres"
    # UK MOT inspection manual for motorcycles 5.2.2: 4 mm steel, 2 mm aluminium alloy.
    steel = view(words, "--jurisdiction", "GB", "--set", "rim=steel", "--set", "uncertainty=0")
    alloy = view(words, "--jurisdiction", "GB", "--set", "rim=alloy", "--set", "uncertainty=0")
    assert steel["finding"]["verdict"]["state"] == "within"
    assert alloy["finding"]["verdict"]["state"] == "beyond"


def test_words_may_be_given_one_by_one() -> None:
    assert view("front", "pads", "2", "mm")["finding"]["quantity"]["unit"] == "mm"


def test_a_refusal_is_a_result_with_its_reason() -> None:
    found = view("front pads twelve volts")
    assert (found["decision"], found["kind"], found["finding"]) == (
        "refuse",
        "not understood",
        None,
    )
    assert "allowed: mm or in" in found["reason"]


@pytest.mark.parametrize(
    ("words", "line"),
    [
        ("rear tread four thirty-seconds", "rear tyre, tread depth: 4/32 in"),
        ("front pads two", "asked: 2 mm?"),
        ("go to front", "not understood: "),
        ("take photo", "photo"),
        ("remark it pulls to the left", "remark"),
        ("photo of the rear tyre", "photo"),
    ],
)
def test_the_readable_line(words: str, line: str) -> None:
    result = run(words)
    assert result.exit_code == 0
    assert result.output.startswith(line)


@pytest.mark.parametrize(
    "arguments", [("--jurisdiction", "XX"), ("--set", "rim"), ("--set", "colour=red")]
)
def test_bad_options_are_one_line_with_exit_code_2(arguments: tuple[str, str]) -> None:
    result = run("front pads two mm", *arguments)
    assert result.exit_code == 2
    assert len(result.output.strip().splitlines()) == 1
    assert "Traceback" not in result.output


def test_help_has_an_example() -> None:
    assert 'fieldlog parse "rear tread four thirty-seconds"' in run("--help").output


def test_a_breath_prints_one_object_for_each_finding() -> None:
    """Each with the fields of one finding, its own verdict, and the number of the utterance."""
    result = run("rear tread one thirty second, front three, chain dry", "--json")
    assert result.exit_code == 0, result.output
    views = [json.loads(line) for line in result.output.splitlines()]
    said = [(v["finding"]["component"], v["finding"]["position"], v["utterance"]) for v in views]
    assert said == [("tyre", "rear", 1), ("tyre", "front", 1), ("drive chain", None, 1)]
    assert [v["finding"]["quantity"]["den"] for v in views[:2]] == [32, 32]
    assert all(v["finding"]["verdict"] is not None for v in views)
    alone = view("chain dry")
    assert views[2] == alone


def test_a_breath_of_which_a_part_is_not_understood_is_one_object_and_no_finding() -> None:
    found = view("chain dry and the bloke wants it back")
    assert (found["decision"], found["finding"]) == ("ask", None)
    assert found["left_over"] == "the bloke wants it back"


def test_a_breath_reads_line_by_line() -> None:
    result = run("left mirror cracked, right loose")
    assert result.exit_code == 0
    first, second = (
        line for line in result.output.splitlines() if line.startswith(("left", "right"))
    )
    assert "left mirror" in first
    assert "right mirror" in second
