"""The owner's page and the cautions, in every output of one inspection that has something of each."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from fieldlog.cli import main
from fieldlog.cli.event_lines import events_text
from fieldlog.cli.verdict_lines import AS_ABOVE
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.limits.cautions import DEFERS, cautions_for, cautions_of_work
from fieldlog.model.context import Context
from fieldlog.model.state import Severity
from fieldlog.report.owner import PHOTOS
from fieldlog.report.view import build
from fieldlog.report.view_model import OwnerLine, Report, Shown, Urgency
from fieldlog.report.write import surroundings
from fieldlog.shop.workshop import Workshop
from fieldlog.store.records import InspectionRecord, NewPhoto

START = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)
SAID = (
    "rear tread one thirty-second",
    "rear tyre bulging",
    "rear tyre date code 2418",
    "front brake line leaking",
    "left fork seal leaking",
    "battery twelve point four volts",
    "chain dry",
    "chain slack thirty five millimetres",
    "air filter dirty",
    "registration expires fifth of june 2026",
    "horn works",
    "fuel line leaking",
)


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


@dataclass
class Filled:
    shop: Workshop
    folder: Path
    told: str

    @property
    def record(self) -> InspectionRecord:
        return self.shop.store.inspection_record("last")

    @property
    def report(self) -> Report:
        return build(self.record, surroundings(self.shop.store, self.record, START))

    def cli(self, *words: str) -> str:
        result = CliRunner().invoke(main, [*words, "--store", str(self.folder)])
        assert result.exit_code == 0, result.output
        return result.output

    def written(self, ending: str) -> bytes:
        (path,) = self.shop.report("last", self.folder / "out", (ending,)).files
        return path.read_bytes()

    def pdf(self) -> list[str]:
        """The text of each page, with single spaces."""
        pages = PdfReader(io.BytesIO(self.written("pdf"))).pages
        return [" ".join(page.extract_text().split()) for page in pages]

    def html(self) -> str:
        page = self.written("html").decode()
        shown = re.sub(r"<(script|style)\b.*?</\1>|<[^>]*>", " ", page, flags=re.DOTALL)
        return " ".join(shown.replace("&#39;", "'").replace("&amp;", "&").split())


@pytest.fixture(scope="module")
def filled(
    tmp_path_factory: pytest.TempPathFactory, language: InspectionLanguage
) -> Iterator[Filled]:
    folder = tmp_path_factory.mktemp("owner") / "record"
    with Workshop.open(folder, language=language) as shop:
        shop.add_vehicle("grey twin", {"cooling": "air", "wheels": "cast"})
        shop.begin("grey twin", Context("US-VA"), started_at=START, inspector="A. Smith")
        inspecting = shop.inspecting()
        told = "\n".join(events_text(inspecting.type(words)).plain for words in SAID)
        inspecting.skip("mirror", "taken off")
        for number in (2, 4, 5, 6, 7, 11):
            name = folder.parent / f"{number}.jpg"
            from PIL import Image

            Image.new("RGB", (64, 48), (number * 9, 9, 9)).save(name)
            photo = NewPhoto(shop.store.media.save_file(name), name.name, "jpeg")
            at = shop.store.add_photo(inspecting.head.id, photo)
            inspecting.attach(at, number, "said photo")
        yield Filled(shop, folder, told)


def lines(report: Report) -> dict[Urgency, tuple[OwnerLine, ...]]:
    return {each.urgency: each.lines for each in report.owner.lists}


class TestThreeLists:
    def test_every_finding_with_a_severity_is_in_one_of_them(self, filled: Filled) -> None:
        report = filled.report
        in_lists = {n for found in lines(report).values() for line in found for n in line.because}
        wanted = {row.number for row in report.findings if row.severity}
        assert len(wanted) >= 8
        assert wanted <= in_lists

    def test_what_is_dangerous_stands_before_riding(self, filled: Filled) -> None:
        report = filled.report
        first = {n for line in lines(report)[Urgency.DO_NOT_RIDE] for n in line.because}
        dangerous = {row.number for row in report.findings if row.severity == "dangerous"}
        assert len(dangerous) >= 4
        assert dangerous <= first

    def test_what_is_major_is_not_put_off(self, filled: Filled) -> None:
        report = filled.report
        planned = {n for line in lines(report)[Urgency.PLAN] for n in line.because}
        grave = {row.number for row in report.findings if row.severity in {"major", "dangerous"}}
        assert not planned & grave

    def test_what_no_work_is_known_for_is_told_all_the_same(self, filled: Filled) -> None:
        record = filled.record
        gone = [
            replace(each, finding=replace(each.finding, component="sidecar wheel"))
            for each in record.findings
            if each.verdict and each.verdict.severity is Severity.DANGEROUS
        ]
        around = surroundings(filled.shop.store, record, START)
        report = build(replace(record, findings=tuple(gone), photos=()), around)
        (only,) = report.owner.lists
        assert only.urgency is Urgency.DO_NOT_RIDE
        assert {n for line in only.lines for n in line.because} == {each.number for each in gone}
        assert all(line.found for line in only.lines)

    def test_no_values_no_guard_bands_no_probabilities(self, filled: Filled) -> None:
        (first, *behind) = filled.pdf()
        for words in ("1/32 in", "12.4 V", "guard band", "probability", "margin"):
            assert words not in first, words
        assert "guard band" in " ".join(behind)
        assert "rear tyre, tread depth: outside its limit" in first

    def test_in_the_order_of_urgency_on_the_first_page(self, filled: Filled) -> None:
        (first, *_) = filled.pdf()
        page = filled.html()
        for text in (first, page):
            places = [text.lower().index(f"{each.value} ") for each in Urgency]
            assert places == sorted(places)
        for each in (line for found in lines(filled.report).values() for line in found):
            assert each.do[1:] in first
            assert each.do in page


class TestTheRestOfThePage:
    def test_what_nobody_looked_at(self, filled: Filled) -> None:
        owner = filled.report.owner
        left = dict(owner.left)
        assert [*left] == ["before start", "standing", "running", "loaded", "test ride"]
        assert "rear tyre: pressure" in left["before start"]
        assert "rear tyre: sidewall" not in left["standing"]  # a bulge is of the sidewall
        assert owner.left_out == ("left mirror (taken off)", "right mirror (taken off)")
        assert "drive chain, slack" in owner.undecided
        (first, *_), page = filled.pdf(), filled.html()
        for text in (first, page):
            assert "ot looked at" in text
            for stage, items in owner.left:
                assert stage in text
                assert ", ".join(items) in text
            assert "left mirror (taken off)" in text
            assert "drive chain, slack" in text

    def test_photos_that_matter_and_dates(self, filled: Filled) -> None:
        owner = filled.report.owner
        numbers = [photo.number for photo in owner.photos]
        assert len(numbers) == PHOTOS
        assert numbers[:2] == [2, 4]  # dangerous first
        assert 11 not in numbers  # a horn that works is no photo that matters
        assert any("registration" in row.what for row in owner.dates)
        (first, *_), page = filled.pdf(), filled.html()
        for text in (first, page):
            assert "hotos that matter" in text
            for row in owner.dates:
                assert row.what in text

    def test_room_to_write_in_is_never_alone_on_a_line(self, filled: Filled) -> None:
        pages = PdfReader(io.BytesIO(filled.written("pdf"))).pages
        lines = [line.strip() for page in pages for line in page.extract_text().splitlines()]
        assert any("reached" in line and "____" in line for line in lines)
        assert not [line for line in lines if line.startswith("____")]

    def test_both_sign(self, filled: Filled) -> None:
        (first, *_) = filled.pdf()
        for text in (first, filled.html()):
            assert "inspected by" in text
            assert "read and received by the owner" in text

    def test_nothing_found_is_still_a_page(
        self, tmp_path: Path, language: InspectionLanguage
    ) -> None:
        with Workshop.open(tmp_path, language=language) as shop:
            shop.begin("bare", started_at=START)
            made = Filled(shop, tmp_path, "")
            assert made.report.owner.lists == ()
            assert made.report.cautions == ()
            first, *more = made.pdf()
            assert "Not looked at" in first
            assert "Nothing was judged" in first
            assert "How this record was made" in first  # one sheet, not two half-empty ones
            assert more == []

    def test_a_short_owners_page_is_not_left_half_empty(
        self, tmp_path: Path, language: InspectionLanguage
    ) -> None:
        with Workshop.open(tmp_path, language=language) as shop:
            head = shop.begin("bare", started_at=START)
            shop.inspecting(head.id).type("chain dry")
            first, *_ = Filled(shop, tmp_path, "").pdf()
            assert "Cautions" in first


class TestJson:
    def test_conclusion_jobs_and_due_items(self, filled: Filled) -> None:
        kept = json.loads(filled.written("json"))
        shown = json.loads(filled.cli("inspection", "show", "--json"))
        report = filled.report
        for one in (kept, shown):
            assert one["conclusion"]["headline"] == report.headline
            assert one["conclusion"]["worst"] == "dangerous"
            assert one["conclusion"]["deferral"] == report.deferral
            assert [job["do"] for job in one["jobs"]] == [job.do for job in report.jobs]
            assert [job["because"] for job in one["jobs"]] == [
                [*job.because] for job in report.jobs
            ]
            assert len(one["due"]) == len(report.due)
            assert any(each["component"] == "registration" for each in one["due"])
            assert {"item": "rear tyre", "system": "tyres", "stage": "before start",
                    "sights": ["pressure"], "begun": True} in one["not_looked_at"]  # fmt: skip
            assert one["cautions"] == list(report.cautions)
            assert len(one["cross_checks"]) == len(report.cross_checks)
        assert one["findings"] == kept["findings"]


class TestCautions:
    """Each must be in each output: with any of them emptied, one of these fails."""

    def wanted(self, filled: Filled) -> tuple[str, ...]:
        catalogue = filled.shop.care.catalogue
        bad = [row for row in filled.report.findings if row.state is not Shown.WITHIN]
        names = {
            each.finding.component
            for each in filled.record.findings
            if each.number in {row.number for row in bad}
        }
        wanted = cautions_for(sorted(names), catalogue)
        assert len(wanted) > 20
        assert wanted[-1] == DEFERS
        return wanted

    def test_in_the_report(self, filled: Filled) -> None:
        cautions = filled.report.cautions
        assert set(self.wanted(filled)) <= set(cautions)
        assert cautions[-1] == DEFERS
        assert len(cautions) == len(set(cautions))

    def test_above_the_work_list_in_the_pdf_and_the_page(self, filled: Filled) -> None:
        for text in (" ".join(filled.pdf()), filled.html()):
            head = text[: text.lower().index("work to do")]
            for caution in self.wanted(filled):
                assert caution in head, caution

    def test_in_the_csv_with_each_finding(self, filled: Filled) -> None:
        rows = [*csv.DictReader(io.StringIO(filled.written("csv").decode()))]
        catalogue = filled.shop.care.catalogue
        for row in rows:
            for caution in catalogue[row["component"]].warned:
                assert (caution in row["cautions"]) is (row["state"] != "within"), caution
            assert (DEFERS in row["cautions"]) is (row["state"] != "within")
        assert {row["state"] for row in rows} > {"within"}

    def test_before_the_jobs(self, filled: Filled) -> None:
        text = filled.cli("inspection", "jobs")
        every = filled.cli("inspection", "jobs", "--cautions")
        as_json = json.loads(filled.cli("inspection", "jobs", "--json"))
        catalogue = filled.shop.care.catalogue
        lines = filled.shop.jobs(filled.record)
        wanted = cautions_for((name for line in lines for name in line.components), catalogue)
        assert len(wanted) > 20
        for caution in wanted:
            assert f"  caution: {caution}" in every[: every.index(" 1. ")]
        assert set(as_json["cautions"]) == set(wanted)
        head = text[: text.index(" 1. ")]
        assert "more cautions: fieldlog inspection jobs last --cautions" in head
        dangerous = [line for line in lines if line.severity is Severity.DANGEROUS]
        assert dangerous
        for line in dangerous:
            for name in line.components:
                for each in catalogue[name].classes:
                    assert all(f"  caution: {text}" in head for text in each.says)
        for each in catalogue.at_start:
            assert all((text in head) is (text in wanted) for text in each.says)
        assert f"  caution: {DEFERS}" in head
        assert head.count("  caution: ") < len(wanted)

    def test_what_is_worst_is_cautioned_of_first(self, filled: Filled) -> None:
        catalogue = filled.shop.care.catalogue
        work = (("battery", Severity.MINOR), ("fuel line", Severity.DANGEROUS))
        told = cautions_of_work(work, catalogue)
        assert told[: len(catalogue["fuel line"].warned)] == catalogue["fuel line"].warned
        assert set(told) == set(cautions_for(("battery", "fuel line"), catalogue))

    def test_under_each_dangerous_finding_and_no_other(self, filled: Filled) -> None:
        catalogue = filled.shop.care.catalogue
        for caution in (*catalogue["fuel line"].warned, *catalogue["brake line"].warned, DEFERS):
            assert f"  caution: {caution}" in filled.told
        assert "Lubricate warm" not in filled.told  # the chain is dry, which is no danger

    @pytest.mark.parametrize("words", ["front brake line leaking", "chain dry", "battery 12.4 V"])
    def test_under_every_verdict_of_parse(self, filled: Filled, words: str) -> None:
        result = CliRunner().invoke(main, ["parse", words, "--jurisdiction", "US-VA"])
        finding = filled.shop.language.understand(words).finding
        assert finding is not None
        for caution in (*filled.shop.care.catalogue[finding.component].warned, DEFERS):
            assert f"  caution: {caution}" in result.output, result.output

    def test_what_was_cautioned_of_above_is_not_said_again(self, filled: Filled) -> None:
        words = "front pads 1 mm, rear pads worn, front disc cracked"
        told = CliRunner().invoke(main, ["parse", words]).output.splitlines()
        cautions = [line for line in told if line.startswith("  caution: ")]
        wanted = cautions_for(["brake pads", "brake disc"], filled.shop.care.catalogue)
        assert {line.removeprefix("  caution: ") for line in cautions} == {
            *wanted,
            AS_ABOVE.removeprefix("  caution: "),
        }
        assert cautions.count(AS_ABOVE) == 2
        assert len(cautions) == len(wanted) + 2
