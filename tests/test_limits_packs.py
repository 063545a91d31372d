"""Packs read exactly as printed, with every fault reported together; the linter over all of them."""

from __future__ import annotations

import os
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner

from fieldlog.catalogue.files import load_catalogue
from fieldlog.cli import main
from fieldlog.config import grammars, limit_packs
from fieldlog.errors import LimitError
from fieldlog.limits.pack_faults import pack_faults
from fieldlog.limits.packs import (
    pack_files,
    pair_fault,
    parse_pack,
    read_packs,
    read_printed,
    shipped_limits,
    shipped_packs,
    shipped_sides,
    with_own,
)
from fieldlog.limits.page import limits_page
from fieldlog.limits.sides import read_sides
from fieldlog.model.limit import LimitStatus
from fieldlog.quantities.units import convert

HEAD = """
[pack]
id = "own"
title = "own"
layer = "maker"
status = "entered by user"
source = "workshop manual"
section = "page 3-12"
"""
ROW = """
[[limit]]
id = "own.tread"
component = "tyre"
characteristic = "tread depth"
relation = "at least"
printed = "2.0 mm"
"""


@pytest.mark.parametrize(
    ("text", "low", "unit"),
    [
        ("2/32 in", Fraction(1, 16), "in"),
        ("1.6 mm", Fraction(8, 5), "mm"),
        ("1 1/2 in", Fraction(3, 2), "in"),
        ("-40 degC", Fraction(-40), "degC"),
        ("3/16 in (4.8 mm)", Fraction(3, 16), "in"),
        ("0.025 1", Fraction(1, 40), "1"),
        ("3 %", Fraction(3), "%"),
    ],
)
def test_printed_values_are_exact(text: str, low: Fraction, unit: str) -> None:
    printed = read_printed(text)
    assert (printed.low, printed.unit) == (low, unit)


def test_two_thirty_seconds_is_not_one_point_six() -> None:
    assert convert(read_printed("2/32 in").low, "in", "mm") == Fraction("1.5875")
    assert read_printed("1.6 mm").low != Fraction("1.5875")


@pytest.mark.parametrize("text", ["", "mm", "2/32", "two mm", "1.6 mm 2", "1.6mm (", "1,6 mm"])
def test_unreadable_values_are_refused(text: str) -> None:
    with pytest.raises(ValueError, match="printed value"):
        read_printed(text)


@pytest.mark.parametrize(
    "text",
    [
        # 49 CFR 393.47(d): rounded pairs as printed.
        "3/16 in (4.8 mm)",
        "1/4 in (6.4 mm)",
        "1/8 in (3.2 mm)",
        "1/16 in (1.6 mm)",
        "1/32 in (0.8 mm)",
        # FMVSS 116: exact pairs.
        "205 degC (401 degF)",
        "230 degC (446 degF)",
        "260 degC (500 degF)",
        "140 degC (284 degF)",
        "155 degC (311 degF)",
        "180 degC (356 degF)",
        # OEM torque tables: the good copies.
        "96 lbf.in (10.85 N.m)",
        "166 lbf.ft (225 N.m)",
    ],
)
def test_rounded_pairs_agree(text: str) -> None:
    assert pair_fault(read_printed(text)) == ""


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        # Misprints found in dual-unit OEM tables: 1018 N.cm for 1085, 255 N.m for 225.
        ("96 lbf.in (10.18 N.m)", "10.85"),
        ("166 lbf.ft (255 N.m)", "225.1"),
        ("2/32 in (2.0 mm)", "1.587"),
        ("3 mm (1 psi)", "same kind"),
        ("3 mm (1 furlong)", "unknown unit"),
    ],
)
def test_pairs_that_do_not_agree_are_found(text: str, shown: str) -> None:
    assert shown in pair_fault(read_printed(text))


def test_exact_fahrenheit_pairs() -> None:
    # 401/205, 446/230, 500/260, 284/140, 311/155, 356/180 (FMVSS 116 prints both).
    for f, c in ((401, 205), (446, 230), (500, 260), (284, 140), (311, 155), (356, 180)):
        assert convert(Fraction(c), "degC", "degF") == f
        assert convert(Fraction(f), "degF", "degC") == c


def test_shipped_packs_have_no_fault() -> None:
    assert pack_faults(shipped_packs(), load_catalogue(grammars())) == []


def test_every_shipped_row_can_be_traced() -> None:
    for limit in shipped_limits():
        assert limit.source
        if limit.status is LimitStatus.CITED:
            assert limit.section, limit.id
            assert limit.edition, limit.id
            assert limit.read_on, limit.id
            assert limit.seen in ("text", "secondary"), limit.id
        if limit.status is LimitStatus.MEMORY:
            assert limit.layer == "memory"


def test_heavy_vehicle_sections_are_not_confused() -> None:
    # 570.59 is "Service brake system", 570.62 tyres (often cited the other way round).
    for limit in shipped_limits():
        if "570.59" in limit.source:
            assert limit.component in ("brake pads", "brake shoes")
        if "570.62" in limit.source:
            assert limit.component == "tyre"
        # UN R75 is not known to have a 0.8 mm indicator clause, Part 570 no headlamp-aim section.
        assert "R75" not in limit.source
        assert not (limit.component == "headlamp" and "570" in limit.source)


def test_every_fault_of_a_pack_is_reported_together() -> None:
    text = """
[pack]
id = "bad"
title = "bad"
layer = "regulation"
status = "cited"
jurisdiction = "XX"
[[limit]]
component = "tyre"
characteristic = "tread depth"
relation = "over"
printed = "2 furlong"
aggregation = "5 of 4"
applies = { colour = "red", rim = "wood", engine_cc = ">big" }
severity = "awful"
sorce = "typo"
read_on = "yesterday"
"""
    pack, faults = parse_pack(text, "bad.toml")
    assert pack is not None
    assert pack.limits == ()
    told = "\n".join(faults)
    for part in (
        "jurisdiction 'XX'",
        "no id",
        "relation 'over'",
        "unit 'furlong'",
        "aggregation '5 of 4'",
        "unknown key 'colour'",
        "rim can never be 'wood'",
        "engine_cc = '>big'",
        "severity 'awful'",
        "unknown key 'sorce'",
        "no source",
        "cited without section",
        "cited without edition",
        "cited without seen",
        "read_on 'yesterday'",
    ):
        assert part in told, part
    assert all(fault.startswith("bad.toml") for fault in faults)


@pytest.mark.parametrize(
    ("status", "layer", "fault"),
    [
        ("from memory", "regulation", "must not gate"),
        ("common practice", "regulation", "common practice, but its layer"),
        ("entered by user", "regulation", "entered by user, but its layer"),
        ("cited", "memory", "cited, but its layer"),
    ],
)
def test_a_status_that_claims_too_much_is_a_fault(status: str, layer: str, fault: str) -> None:
    head = HEAD.replace("entered by user", status).replace('"maker"', f'"{layer}"')
    _, faults = parse_pack(head + ROW, "own.toml")
    assert any(fault in each for each in faults)


def test_the_linter_finds_unknown_names_units_duplicates_and_contradictions() -> None:
    rows = (
        ROW
        + ROW.replace("own.tread", "own.tread-2").replace("2.0", "2.5")
        + ROW.replace("own.tread", "own.max").replace("at least", "at most").replace("2.0", "1.0")
        + ROW.replace("own.tread", "own.bar").replace("2.0 mm", "2.0 bar")
        + ROW.replace("own.tread", "own.wing").replace('"tyre"', '"wing"')
        + ROW.replace("own.tread", "own.depth").replace("tread depth", "colour")
        + '[[limit]]\nid = "own.word"\ncomponent = "tyre"\nconditions = ["sleepy"]\n'
    )
    one, faults = parse_pack(HEAD + rows, "own.toml")
    two, more = parse_pack(HEAD + ROW, "second.toml")
    assert (faults, more) == ([], [])
    assert one is not None
    assert two is not None
    told = "\n".join(pack_faults([one, two], load_catalogue(grammars())))
    for part in (
        "own.tread and own.tread-2 contradict",
        "own.tread and own.max leave no value",
        "units of length, not in bar",
        "no component 'wing'",
        "no measured characteristic 'colour'",
        "never found 'sleepy'",
        "second.toml: limit own.tread: the id is used in own.toml too",
    ):
        assert part in told, part


def test_a_broken_file_is_one_clear_error(tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text("[pack\n", encoding="utf-8")
    with pytest.raises(LimitError, match=r"bad\.toml: not TOML"):
        read_packs([bad, tmp_path / "missing.toml"])
    with pytest.raises(LimitError, match=r"missing\.toml: cannot be read"):
        read_packs([bad, tmp_path / "missing.toml"])


def test_a_vehicles_own_row_replaces_ours_by_id_and_leaves_ours_alone() -> None:
    text = HEAD + ROW.replace("own.tread", "us-va.tread")
    pack, faults = parse_pack(text, "vehicle.toml")
    assert faults == []
    assert pack is not None
    merged = with_own(shipped_limits(), pack.limits)
    assert [each.printed for each in merged if each.id == "us-va.tread"] == ["2.0 mm"]
    assert [each.printed for each in shipped_limits() if each.id == "us-va.tread"] == ["2/32 in"]


def test_the_committed_page_is_current() -> None:
    page = Path(__file__).resolve().parents[1] / "docs" / "limits.md"
    assert page.read_text(encoding="utf-8") == limits_page(shipped_packs()), (
        "run: fieldlog limits docs --out docs/limits.md"
    )


def test_lint_command() -> None:
    result = CliRunner().invoke(main, ["limits", "check"])
    assert result.exit_code == 0
    assert f"{len(pack_files())} packs" in result.output
    assert "no faults" in result.output


def test_lint_command_names_every_fault_and_exits_with_its_code(tmp_path: Path) -> None:
    bad = tmp_path / "own.toml"
    bad.write_text(HEAD + ROW.replace('"tyre"', '"wing"'), encoding="utf-8")
    result = CliRunner().invoke(main, ["limits", "check", str(bad)])
    assert result.exit_code == 7
    assert "no component 'wing'" in result.output
    empty = CliRunner().invoke(main, ["limits", "check", str(tmp_path / "sub")])
    assert empty.exit_code == 2


def test_list_command_by_jurisdiction_and_component() -> None:
    result = CliRunner().invoke(
        main, ["limits", "list", "--jurisdiction", "US-VA", "--component", "tyre"]
    )
    assert result.exit_code == 0
    assert "us-va.tread" in result.output
    assert "us-md.tread" not in result.output
    json_lines = CliRunner().invoke(main, ["limits", "list", "--pack", "gb", "--json"])
    assert '"id": "gb.tread"' in json_lines.output
    nothing = CliRunner().invoke(main, ["limits", "list", "--component", "wing"])
    assert nothing.exit_code == 2


def test_docs_command_prints_and_writes(tmp_path: Path) -> None:
    out = tmp_path / "limits.md"
    assert CliRunner().invoke(main, ["limits", "docs", "--out", str(out)]).exit_code == 0
    printed = CliRunner().invoke(main, ["limits", "docs"]).output
    assert out.read_text(encoding="utf-8") == printed
    bad = CliRunner().invoke(main, ["limits", "docs", "--out", str(tmp_path / "no" / "x.md")])
    assert bad.exit_code == 2


def test_what_is_kept_of_the_sides_is_what_their_file_says() -> None:
    shipped_sides.cache_clear()
    first = shipped_sides()
    assert shipped_sides() is first
    assert first == read_sides((limit_packs().parent / "sides.toml").read_text("utf-8"))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes with names")
def test_a_pipe_is_no_pack_and_nobody_waits_for_it(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.toml")
    result = CliRunner().invoke(main, ["limits", "check", str(tmp_path / "pipe.toml")])
    assert result.exit_code == 7
    assert "pipe.toml: is no pack" in result.output
