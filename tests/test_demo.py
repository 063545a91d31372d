"""The demo, heard for real: every utterance, verdict and photo against its manifest."""

from __future__ import annotations

import hashlib
import json
import re
from collections import Counter
from dataclasses import replace
from html import unescape
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import soundfile
from click.testing import CliRunner
from pypdf import PdfReader
from rich.text import Text

from fieldlog import config
from fieldlog.audio.voice import bundled_voice
from fieldlog.bundle.checking import check_bundle
from fieldlog.cli import main
from fieldlog.cli.event_lines import events_behind
from fieldlog.language.files import load_language
from fieldlog.shop import demo
from fieldlog.shop.dialogue import write_dialogue
from fieldlog.shop.saying import Say, saying
from fieldlog.shop.sheets import Sheets
from fieldlog.shop.workshop import Workshop
from fieldlog.store.records import InspectionRecord
from tests.browser import browser
from tests.store_samples import START

if TYPE_CHECKING:
    from playwright.sync_api import Browser

__all__ = ["browser"]

MEDIA = config.demo_media()
DOCS = Path(__file__).parents[1] / "docs"


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> tuple[demo.Demo, InspectionRecord, bool]:
    """One run of the whole job with the default listener (some twenty seconds of work)."""
    out = tmp_path_factory.mktemp("demo")
    with Workshop.open(out / "record") as shop, shop.ears() as ears:
        result = demo.run(MEDIA, shop, out, ears, lambda file, outcome: None)
        record = shop.store.inspection_record(result.inspection.id)
        whole = shop.store.verify(result.inspection.id).agrees
    return result, record, whole


def test_the_manifest_asks_for_what_the_demo_must_show() -> None:
    manifest = demo.read_manifest(MEDIA)
    spoken = [each for part in manifest["parts"] for each in part["utterances"]]
    breaths = [demo.expected(each) for each in spoken]
    expected = [one for breath in breaths for one in breath]
    findings = [e for e in expected if "component" in e]
    assert 25 <= len(findings) <= 45
    assert set(map(len, breaths)) == {1, 2, 3}
    assert any(" ... " in each["words"] for each in spoken)
    assert len({one["id"] for one in expected}) == len(expected)
    assert 6 <= len(manifest["photos"]) <= 10
    kinds = Counter(e.get("kind", e.get("decision", "accept")) for e in expected)
    assert kinds["remark"] == 2
    assert kinds["ask"] == 2
    assert [e["decision"] for e in expected if "rest" in e] == ["ask"]
    assert sum("corrects" in e for e in expected) == 1
    assert any(part["noise"] for part in manifest["parts"])
    catalogue = load_language().catalogue
    systems = {catalogue[e["component"]].system for e in findings}
    assert systems >= {
        "fluids", "battery", "final drive", "tyres", "filters", "cables", "lights", "brakes",
        "fasteners", "wheels", "papers",
    }  # fmt: skip


def test_every_utterance_verdict_and_photo(
    ran: tuple[demo.Demo, InspectionRecord, bool],
) -> None:
    result, record, _ = ran
    assert demo.deviations(result.outcomes, record, demo.read_manifest(MEDIA)) == []


def test_deviations_would_be_seen(ran: tuple[demo.Demo, InspectionRecord, bool]) -> None:
    result, record, _ = ran
    manifest = demo.read_manifest(MEDIA)
    manifest["parts"][0]["utterances"][0]["expect"][0]["condition"] = "low"
    manifest["photos"][0]["belongs_to"] = "battery-volts"
    found = demo.deviations(result.outcomes, record, manifest)
    assert len(found) == 2
    assert "condition is 'between marks' instead of 'low'" in found[0]


def test_a_finding_lost_from_a_breath_would_be_seen(
    ran: tuple[demo.Demo, InspectionRecord, bool],
) -> None:
    result, record, _ = ran
    manifest = demo.read_manifest(MEDIA)
    for at in range(3):  # the fluids, three in the first breath
        kept = (*record.findings[:at], *record.findings[at + 1 :])
        lost = record.findings[at].finding.component
        (found,) = demo.deviations(result.outcomes, replace(record, findings=kept), manifest)
        assert found.endswith("is not in the record"), lost

    (file, breath), *others = result.outcomes
    shorter = replace(breath, events=breath.events[:-1])
    assert "fluids: findings taken: 2 instead of 3" in demo.deviations(
        ((file, shorter), *others), record, manifest
    )


def test_a_finding_nobody_said_would_be_seen(
    ran: tuple[demo.Demo, InspectionRecord, bool],
) -> None:
    result, record, _ = ran
    manifest = demo.read_manifest(MEDIA)
    asked = next(
        each
        for part in manifest["parts"]
        for each in part["utterances"]
        if each["id"] == "throttle"
    )
    asked["expect"] = {"dialogue": "affirm"}
    found = demo.deviations(result.outcomes, record, manifest)
    assert "throttle: findings taken: 1 instead of 0" in found


def test_what_a_correction_corrects_is_held(
    ran: tuple[demo.Demo, InspectionRecord, bool],
) -> None:
    result, record, _ = ran
    manifest = demo.read_manifest(MEDIA)
    spoken = (each for part in manifest["parts"] for each in part["utterances"])
    next(each for each in spoken if each["id"] == "pads-rear-again")["expect"]["corrects"] = (
        "pads-front"
    )
    (found,) = demo.deviations(result.outcomes, record, manifest)
    assert found.startswith("pads-rear-again: corrects is ")


def test_the_camera_clock_is_found_not_given(
    ran: tuple[demo.Demo, InspectionRecord, bool],
) -> None:
    result, _, _ = ran
    (alignment,) = result.placed.alignments
    planted = demo.read_manifest(MEDIA)["camera"]["ahead_of_session_s"]
    assert abs(-alignment.offset_s - planted) <= alignment.uncertainty_s
    assert alignment.uncertainty_s < 5.0
    assert not alignment.ask


def test_a_demo_that_differs_from_its_manifest_is_no_success(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    manifest = demo.read_manifest(MEDIA)
    manifest["parts"] = []  # nothing is heard, so that no photo can be at its finding
    monkeypatch.setattr(demo, "read_manifest", lambda media: manifest)
    result = CliRunner().invoke(main, ["demo", "--out", str(tmp_path)])
    assert result.exit_code == 9, result.output
    assert f"differs from what its manifest says in {len(manifest['photos'])} places" in str(
        result.stderr
    )
    assert "pdf: " in result.stdout


def test_the_session_can_be_listened_to_with_what_is_said_back(
    ran: tuple[demo.Demo, InspectionRecord, bool], tmp_path: Path
) -> None:
    result, _, _ = ran
    every = [(outcome.clip, outcome.events) for _, outcome in result.outcomes]
    words = [saying(events, Say.VALUES).words for _, events in every]
    assert sum(bool(each) for each in words) >= 12
    turns = [turn for turn, said_back in zip(every, words, strict=True) if said_back][:8]
    path = write_dialogue(tmp_path / "dialogue.ogg", turns, bundled_voice())
    said = sum(clip.duration_s for clip, _ in turns)
    assert soundfile.info(path).duration > said + 2.0 * len(turns)


def test_the_record_verifies_and_the_report_is_whole(
    ran: tuple[demo.Demo, InspectionRecord, bool],
) -> None:
    result, record, whole = ran
    assert whole
    files = {path.suffix: path for path in result.written.files}
    assert set(files) == {".html", ".pdf", ".json", ".csv"}
    page = files[".html"].read_text(encoding="utf-8")
    assert not re.search(r"""(src|href)=["']https?:""", page)
    assert page.count("data:image/") >= len(record.photos)
    shown = re.sub(r"<(script|style)\b.*?</\1>|<[^>]*>", " ", page, flags=re.DOTALL)
    assert "Tidewell Curlew 640" in shown
    assert not re.search(r"\bsafe\b", shown, re.IGNORECASE)
    pdf = PdfReader(files[".pdf"])
    text = " ".join(sheet.extract_text() for sheet in pdf.pages)
    for words in ("Tidewell Curlew 640", "19VAC30-70-400", "Not looked at", "leaking"):
        assert words in text
    assert_laid_out(pdf)
    standing = [f for f in record.findings if f.stands]
    kept = json.loads(files[".json"].read_text(encoding="utf-8"))
    assert json.dumps(kept).count('"component"') >= len(standing)
    rows = files[".csv"].read_text(encoding="utf-8").strip().splitlines()
    assert len(rows) >= len(standing) + 1


def assert_laid_out(pdf: PdfReader) -> None:
    """Six pages at most, the owner's on the first, and none of them half empty but the last."""
    assert len(pdf.pages) <= 6
    first = pdf.pages[0].extract_text()
    for words in ("Do not ride before", "Before the next ride", "read and received by the owner"):
        assert words in first
    for number, page in enumerate(pdf.pages):
        heights: list[float] = []

        def told(
            text: str, place: list[float], at: list[float], *_: object, to: list[float] = heights
        ) -> None:
            if text.strip():
                to.append(at[4] * place[1] + at[5] * place[3] + place[5])

        page.extract_text(visitor_text=told)
        lowest = min(height for height in heights if height > 40)  # above the foot of the page
        share = 1 - lowest / float(page.mediabox.height)
        assert share > (0.5 if number == len(pdf.pages) - 1 else 0.8), number + 1


def test_photos_in_the_media_are_the_drawn_ones() -> None:
    names = {path.name for path in (MEDIA / "photos").iterdir()}
    assert names == {photo["file"] for photo in demo.read_manifest(MEDIA)["photos"]}
    assert all(Path(MEDIA / "photos" / name).stat().st_size < 400_000 for name in names)


def test_the_pictures_of_the_readme_show_what_the_demo_gives(
    ran: tuple[demo.Demo, InspectionRecord, bool],
) -> None:
    """Run `python -m fieldlog.lab pictures` where this fails: letters may differ, what is said may not."""
    kept = json.loads((DOCS / "pictures" / "sources.json").read_text(encoding="utf-8"))
    shown = " ".join("".join(part for part, _ in line) for line in kept["terminal"])
    outcomes = ran[0].outcomes
    told = [
        " ".join(events_behind(Text(f"{outcome.start_s:.1f} s "), outcome.events).plain.split())
        for _, outcome in outcomes
    ]
    found = [text for text in told if text in " ".join(shown.split())]
    assert len(" ".join(found)) == len(" ".join(shown.split())), "something else is shown"
    page = next(path for path in ran[0].written.files if path.suffix == ".html")
    owner = page.read_text(encoding="utf-8").split("<main>", 1)[1].split('<div class="behind">')[0]
    text = " ".join(unescape(re.sub(r"<[^>]+>", " ", owner)).split())
    assert hashlib.sha256(text.encode()).hexdigest() == kept["report"]
    with Workshop.open(page.parent / "record") as shop:
        asked = [
            [one.need.value, *(said.text for said in one.exchange.said)]
            for one in Sheets(shop).sheet("last").queue
            if one.need is not None and one.exchange is not None
        ]
    assert asked == kept["review"]


def test_the_demo_ends_with_a_signed_bundle_that_the_page_checks(
    ran: tuple[demo.Demo, InspectionRecord, bool], browser: Browser
) -> None:
    result, _, _ = ran
    content = check_bundle(result.bundle, START)
    assert content.faults == ()
    tab = browser.new_page()
    tab.goto(result.page.as_uri())
    tab.set_input_files("#file", result.bundle)
    tab.wait_for_function("name => outcome.textContent.startsWith(name)", arg=result.bundle.name)
    said = tab.inner_text("main")
    assert f"{result.bundle.name}: it agrees with itself." in said
    assert "signed off by" in said
    tab.close()


@pytest.mark.parametrize("wide", [390, 320])
def test_the_report_is_read_on_a_phone(
    ran: tuple[demo.Demo, InspectionRecord, bool], browser: Browser, wide: int
) -> None:
    """What was found stood in the column of its number, a letter or two to a line, under the words of its limit."""
    result, _, _ = ran
    (page,) = (path for path in result.written.files if path.suffix == ".html")
    tab = browser.new_page(viewport={"width": wide, "height": 800})
    tab.goto(page.as_uri())
    assert tab.evaluate("document.documentElement.scrollWidth") <= wide, "nothing to the side"
    found = tab.evaluate(
        "[...document.querySelectorAll('.finding')].map((one) => [...one.children].slice(1)"
        ".map((part) => [part.clientWidth, part.scrollWidth]))"
    )
    assert found
    for parts in found:
        assert all(has <= width for width, has in parts), parts
        assert parts[0][0] > wide / 2
    tab.close()
