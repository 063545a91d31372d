"""The commands of the record: vehicle, inspection, report."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from pypdf import PdfReader

from fieldlog.cli import main
from fieldlog.store.repository import Repository


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> object:
    monkeypatch.setenv("FIELDLOG_HOME", str(tmp_path / "shop"))
    runner = CliRunner()

    def call(*arguments: str, code: int = 0) -> Result:
        result = runner.invoke(main, list(arguments))
        assert result.exit_code == code, result.output
        assert "Traceback" not in result.output
        return result

    return call


def test_the_walk_from_vehicle_to_report(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    run("vehicle", "add", "red single", "--set", "rim=steel", "--odometer", "8000 mi")
    run("inspection", "start", "red single", "--jurisdiction", "US-VA", "--odometer", "8100.5 mi")
    assert (
        "rear tyre, tread depth: 4/32 in"
        in run("inspection", "enter", "rear tread four thirty-seconds").output
    )
    corrected = run("inspection", "correct", "1", "rear tread one thirty second")
    assert "beyond" in corrected.output
    run("inspection", "enter", "horn", "sound")
    run("inspection", "withdraw", "3", "--reason", "another machine")
    run("inspection", "remark", "pulls to the left")
    run("inspection", "skip", "battery", "--reason", "sealed")
    signed = run("inspection", "sign-off", "A. Smith", "--as-it-stands").output
    shown = run("inspection", "show", "--all").output
    assert "(corrected)" in shown
    assert "(withdrawn)" in shown
    assert "pulls to the left" in shown
    document = json.loads(run("inspection", "show", "--json").output)
    assert document["fingerprint"] in signed
    assert [f["stands"] for f in document["findings"]] == [False, True, False]
    checked = json.loads(run("inspection", "verify", "last", "--json").output)
    assert checked["agrees"]
    assert checked["fingerprint"] == document["fingerprint"]
    told = run("inspection", "verify").output.splitlines()[-1]
    assert told.startswith("agrees with itself: ")
    assert "a record written anew would not show" in run("inspection", "verify", "last").output
    out = tmp_path / "out"
    files = run("report", "--out", str(out)).output.split()
    assert [Path(f).suffix for f in files] == [".html", ".pdf"]
    files = run("report", "1", "--json", "--csv", "--out", str(out)).output.split()
    assert [Path(f).suffix for f in files] == [".json", ".csv"]


def test_lists(run) -> None:  # type: ignore[no-untyped-def]
    added = json.loads(run("vehicle", "add", "red single", "--json").output)
    assert added["number"] == 1
    run("vehicle", "set", "1", "rim=alloy", "chain=525")
    run("vehicle", "odometer", "1", "12480 km")
    shown = run("vehicle", "show", "1").output
    assert "rim = alloy" in shown
    assert "odometer 12480 km" in shown
    started = json.loads(run("inspection", "start", "1", "--json").output)
    assert started["vehicle"] == "red single"
    assert json.loads(run("vehicle", "show", "1", "--json").output)["inspections"] == [1]
    assert json.loads(run("inspection", "list", "--json").output)["number"] == 1
    assert "red single" in run("inspection", "list", "--vehicle", "red single").output
    assert json.loads(run("vehicle", "list", "--json").output)["facts"]["chain"] == "525"


@pytest.mark.parametrize(
    ("arguments", "code", "line"),
    [
        (["vehicle", "show", "9"], 2, "there is no vehicle '9'. Next: see `fieldlog vehicle list`"),
        (["vehicle", "add", "x", "--set", "rim"], 2, "'rim' is not KEY=VALUE"),
        (["vehicle", "add", "x", "--odometer", "far"], 2, "'far' is no odometer reading"),
        (["inspection", "show", "7"], 2, "there is no inspection '7'"),
        (["inspection", "start", "nobody"], 2, "there is no vehicle 'nobody'"),
        (["report", "7"], 2, "there is no inspection '7'"),
    ],
)
def test_mistakes_are_one_clear_line(run, arguments: list[str], code: int, line: str) -> None:  # type: ignore[no-untyped-def]
    run("vehicle", "add", "red single")
    result = run(*arguments, code=code)
    assert line in result.output
    assert len(result.output.strip().splitlines()) == 1


def test_typed_words_are_taken_as_if_they_were_spoken(run) -> None:  # type: ignore[no-untyped-def]
    run("vehicle", "add", "red single")
    run("inspection", "start", "1")
    assert "was not understood" in run("inspection", "enter", "lovely weather", code=2).output
    assert "asked: " in run("inspection", "enter", "tread four thirty seconds").output
    assert "0 findings" in run("inspection", "list").output
    assert "rear tyre, tread depth: 4/32 in" in run("inspection", "enter", "rear").output
    told = run("inspection", "enter", "correction rear tread three thirty seconds").output
    assert "corrects rear tyre, tread depth: 4/32 in" in told
    assert "1 finding" in run("inspection", "list").output
    kept = json.loads(run("inspection", "show", "--json").output)["utterances"]
    assert [each["decision"] for each in kept] == ["refuse", "ask", "accept", "accept"]


def test_a_breath_is_taken_whole_or_not_at_all(run) -> None:  # type: ignore[no-untyped-def]
    run("vehicle", "add", "grey twin")
    run("inspection", "start", "1", "--jurisdiction", "US-VA")
    told = run("inspection", "enter", "left mirror cracked, right loose, rear tread 1/32")
    lines = [line for line in told.output.splitlines() if line[:4].strip().isdigit()]
    assert [line.split(":")[0].split(maxsplit=1) for line in lines] == [
        ["1", "left mirror"],
        ["2", "right mirror"],
        ["3", "rear tyre, tread depth"],
    ]
    assert "beyond" in lines[2]
    whole = run("inspection", "enter", "chain dry and the bloke wants it back").output
    assert "heard: chain dry and the bloke wants it back" in whole
    assert whole.startswith("asked: ")
    asked = run("inspection", "enter", "chain dry, sprocket worn").output
    assert "drive chain: dry; 'sprocket worn': which end: front or rear?" in asked.lower()
    shown = run("inspection", "show").output
    assert "open       Drive chain: dry" in shown
    assert not re.search(r"^ +\d+  .*chain", shown, re.MULTILINE), "no finding of it"
    asked = run("inspection", "enter", "front disc four and a half, rear five").output
    assert (
        "asked: Front brake disc, thickness: 4 1/2 mm; rear brake disc, thickness: 5 mm?" in asked
    )
    told = run("inspection", "enter", "yes").output
    assert ("front brake disc" in told, "rear brake disc" in told) == (True, True)
    assert "5 findings" in run("inspection", "list").output


def test_each_word_that_is_entered_is_a_process_of_its_own(run) -> None:  # type: ignore[no-untyped-def]
    run("vehicle", "add", "red single")
    run("inspection", "start", "1")
    run("inspection", "enter", "stand by")
    held = run("inspection", "enter", "front pads 3 mm", code=2).output
    assert "enter go ahead" in held
    assert "0 findings" in run("inspection", "list").output
    run("inspection", "enter", "go ahead")
    run("inspection", "enter", "front pads 3 mm")
    told = run("inspection", "enter", "correction 4 mm").output
    assert "front brake pads, thickness: 4 mm" in told
    assert "corrects front brake pads, thickness: 3 mm" in told
    assert "asked: " in run("inspection", "enter", "tyre pressure 36").output
    assert "asked: " in run("inspection", "enter", "front").output
    assert "front tyre, pressure: 36 psi" in run("inspection", "enter", "psi").output


def test_what_two_copies_said_of_one_finding_is_told_by_merging(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    here, there = tmp_path / "shop", tmp_path / "other"
    run("vehicle", "add", "red single")
    run("inspection", "start", "1")
    for words in ("front pads 3 mm", "rear pads 3 mm"):
        run("inspection", "enter", words)
    shutil.copytree(here, there)
    at = ("--store", str(there))
    run("inspection", "enter", "correction front pads 4 mm")
    run("inspection", "withdraw", "1", "--reason", "wrong wheel", *at)
    run("inspection", "withdraw", "2", "--reason", "wrong wheel")
    run("inspection", "enter", "correction rear pads 5 mm", *at)
    told = run("store", "merge", str(there)).output
    assert "inspection 1: finding 1 is withdrawn" in told
    assert "finding 4 stands; withdrawn in one record, and corrected later in the other" in told
    told = run("inspection", "show", "--all").output
    assert "withdrawn; another copy of the record had corrected it" in told
    assert "withdrawn in another copy of the record; this is newer" in told


def test_a_finding_that_is_not_there_is_named(run) -> None:  # type: ignore[no-untyped-def]
    run("vehicle", "add", "red single")
    run("inspection", "start", "1")
    assert (
        "no finding 5 stands" in run("inspection", "withdraw", "5", "--reason", "x", code=2).output
    )


def test_a_changed_record_is_exit_code_8(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    import sqlite3

    run("vehicle", "add", "red single")
    run("inspection", "start", "1")
    run("inspection", "remark", "as it was")
    connection = sqlite3.connect(tmp_path / "shop" / "fieldlog.db")
    connection.execute("DROP TRIGGER remark_no_update")
    connection.execute("UPDATE remark SET text = 'as they would like it'")
    connection.commit()
    connection.close()
    result = run("inspection", "verify", "last", code=8)
    assert "changed after it was written" in result.output
    assert "trigger remark_no_update: gone or changed" in result.output
    assert "does not agree with itself (2 faults)" in result.output


def test_verify_speaks_of_nothing_that_does_not_exist(run) -> None:  # type: ignore[no-untyped-def]
    """Neither what it prints nor its help promises more than a chain of hashes proves."""
    run("vehicle", "add", "red single")
    told = run("inspection", "verify").output + run("inspection", "verify", "--help").output
    for word in ("intact", "any later change", "as it was written"):
        assert word not in told.lower()


def test_an_emptied_store_does_not_pass(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    run("vehicle", "add", "red single")
    (tmp_path / "shop" / "fieldlog.db").unlink()
    assert "there is no record here" in run("inspection", "verify", code=8).output
    with Repository.open(tmp_path / "shop"):
        pass
    assert "the record holds no rows" in run("inspection", "verify", code=8).output


def test_a_database_set_aside_does_not_pass(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    run("vehicle", "add", "red single")
    (tmp_path / "shop" / "fieldlog.db").write_bytes(b"nonsense" * 1000)
    assert "fieldlog store set-aside" in run("vehicle", "add", "red single", code=8).output
    assert "moved to" in run("store", "set-aside").output
    run("vehicle", "add", "red single")
    told = run("inspection", "verify", code=8).output
    assert "fieldlog.db.corrupt-" in told
    assert "set aside as damaged" in told


@pytest.mark.parametrize(
    "command",
    [
        *(["vehicle", name] for name in ("add", "list", "show", "set", "odometer")),
        *(
            ["inspection", name]
            for name in (
                *("start", "list", "show", "verify", "enter", "correct", "withdraw"),
                *("remark", "skip", "sign-off"),
            )
        ),
        ["report"],
        ["vehicle"],
        ["inspection"],
    ],
    ids=" ".join,
)
def test_every_command_has_help_with_an_example(run, command: list[str]) -> None:  # type: ignore[no-untyped-def]
    text = run(*command, "--help").output
    assert "Example" in text
    assert f"fieldlog {command[0]}" in text


def test_two_copies_of_a_record_are_brought_together(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    shop, copy = tmp_path / "shop", tmp_path / "copy"
    run("vehicle", "add", "red single")
    run("inspection", "start", "1")
    run("inspection", "enter", "rear tread four thirty-seconds")
    shutil.copytree(shop, copy)
    run("inspection", "correct", "1", "rear tread three thirty-seconds")
    run("inspection", "correct", "1", "rear tread two thirty-seconds", "--store", str(copy))
    merged = run("store", "merge", str(copy)).output
    assert "4 of 9 rows came in" in merged
    assert "inspection 1: finding 3 stands; corrected in both records" in merged
    shown = run("inspection", "show", "--all").output.splitlines()
    assert [("(corrected)" in line, "in two copies" in line) for line in shown[1:4]] == [
        (True, False),
        (True, False),
        (False, True),
    ]
    told = json.loads(run("store", "merge", str(shop), "--store", str(copy), "--json").output)
    assert f"fingerprint {told['fingerprint']}" in merged
    assert "(13 rows) is here" in run("store", "merge", str(copy)).output
    assert "agrees with itself" in run("inspection", "verify").output


def test_a_folder_without_a_record_is_not_merged(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    result = run("store", "merge", str(tmp_path / "nowhere"), code=8)
    assert "there is no record here. Next: name the folder that holds fieldlog.db" in result.output
    assert len(result.output.strip().splitlines()) == 1
    assert not (tmp_path / "nowhere").exists()


def test_what_came_after_the_signature_is_told_wherever_the_record_is(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    run("vehicle", "add", "red single")
    run("inspection", "start", "red single", "--jurisdiction", "US-VA")
    run("inspection", "enter", "rear tread four thirty-seconds")
    run("inspection", "enter", "left fork seal leaking")
    assert (
        "after the signature"
        not in run("inspection", "sign-off", "A. Smith", "--as-it-stands").output
    )
    shown = run("inspection", "show").output
    assert "not covered by the signature" not in shown
    for arguments in (
        ("correct", "1", "rear tread three thirty-seconds"),
        ("withdraw", "2", "--reason", "clean"),
        ("enter", "horn dead"),
        ("remark", "pulls to the left"),
    ):
        assert "not covered until it is signed again" in run("inspection", *arguments).output
    told = "added no. 4; corrected no. 1 (now no. 3); withdrawn no. 2; 1 remark"
    shown = run("inspection", "show").output
    assert f"not covered by the signature: {told}" in shown
    assert shown.count("(addendum, after the signature)") == 2
    out = str(tmp_path / "out")
    files = run("report", "--html", "--pdf", "--json", "--csv", "--out", out).output.split()
    html, pdf, document, table = (Path(each) for each in files)
    page = html.read_text(encoding="utf-8")
    assert f'<span class="label">addendum, not covered by the signature</span> {told}</p>' in page
    assert (
        page.count("not covered by the signature") == 1 + 2 + 2 + 1
    )  # findings, corrections, remark
    text = " ".join(" ".join(p.extract_text() for p in PdfReader(pdf).pages).split())
    assert f"not covered by the signature: {told}" in text
    found = json.loads(document.read_text(encoding="utf-8"))
    flags = [(f["made_after_signature"], f["fallen_after_signature"]) for f in found["findings"]]
    assert flags == [(False, True), (False, True), (True, False), (True, False)]
    assert [each["after_signature"] for each in found["remarks"] + found["events"]] == [
        *(True, False, False)  # the remark; the sign-off and its checkpoint
    ]
    assert found["addenda"] == told.split("; ")
    assert found["signatures"][0]["key"] == ""
    rows = csv.DictReader(io.StringIO(table.read_text(encoding="utf-8")))
    assert [row["not_covered"] for row in rows] == ["fallen", "fallen", "made", "made"]
    assert "signed off again" in run("inspection", "sign-off", "A. Smith", "--as-it-stands").output
    assert "not covered" not in run("inspection", "show").output
