"""``fieldlog why`` from words to source and arithmetic."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from fieldlog.cli import main


def why(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["why", *arguments])


def test_source_and_arithmetic_in_one_command() -> None:
    result = why("rear tread four thirty-seconds", "--jurisdiction", "US-VA")
    assert result.exit_code == 0, result.output
    for part in (
        "WITHIN",
        "at least 2/32 in, thinnest",
        "19VAC30-70-400",
        "4/32 (0.125) - 2/32 = +0.0625 in",
        "usual for this characteristic",
        "from memory",
        "holds in DE",
    ):
        assert part in result.output, part


def test_the_trap_of_the_rounded_millimetre() -> None:
    inch = why("rear tread 1.59 mm", "--jurisdiction", "US-VA", "--set", "uncertainty=0")
    metric = why("rear tread 1.59 mm", "--jurisdiction", "DE", "--set", "uncertainty=0")
    assert "verdict       WITHIN" in inch.output
    assert "verdict       BEYOND" in metric.output


def test_derived_values_are_explained() -> None:
    result = why("chain span 328 mm", "--set", "chain=520", "--set", "pitches=20")
    assert result.exit_code == 0, result.output
    assert "20 x 15.875 mm" in result.output
    assert "through     elongation, derived below" in result.output
    assert "[chain.elongation]" in result.output


def test_json() -> None:
    result = why("rear spokes loose", "--jurisdiction", "US-VA", "--json")
    view = json.loads(result.output)
    assert view["finding"]["verdict"]["state"] == "beyond"
    assert view["finding"]["verdict"]["limit"]["id"] == "us-va.spokes"
    assert view["not_applied"][0]["why_not"]
    assert any("19VAC30-70-400" in line for line in view["lines"])


def test_a_vehicles_own_limit_gates(tmp_path: Path) -> None:
    own = tmp_path / "vehicle.toml"
    own.write_text(
        '[pack]\nid = "red"\ntitle = "red single"\nlayer = "maker"\nstatus = "entered by user"\n'
        'source = "workshop manual"\nsection = "page 3-12"\n'
        '[[limit]]\nid = "red.slack"\ncomponent = "drive chain"\ncharacteristic = "slack"\n'
        'relation = "between"\nprinted = "25 to 35 mm"\n',
        encoding="utf-8",
    )
    result = why("chain slack 45 mm", "--limits", str(own))
    assert result.exit_code == 0, result.output
    assert "BEYOND" in result.output
    assert "workshop manual; page 3-12" in result.output


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("purple monkey",), "not one finding"),
        (("rear tread four thirty-seconds", "--set", "colour=red"), "unknown setting"),
        (("rear tread four thirty-seconds", "--jurisdiction", "XX"), "no limits for jurisdiction"),
        (("rear tread four thirty-seconds", "--set", "uncertainty=2psi"), "unit of length"),
    ],
)
def test_bad_input_is_one_clear_line(arguments: tuple[str, ...], told: str) -> None:
    result = why(*arguments)
    assert result.exit_code == 2
    assert told in result.output
    assert "Traceback" not in result.output
