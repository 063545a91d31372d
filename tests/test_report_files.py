"""The files a report is handed over as: HTML, PDF, JSON and CSV, and the copies inside them."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import re
import zlib
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from html.parser import HTMLParser
from pathlib import Path

import pytest
import soundfile
from PIL import Image

from fieldlog.errors import StoreError, UsageError
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.state import State
from fieldlog.report import copies as copies_module
from fieldlog.report.copies import Copies, make_copies
from fieldlog.report.export import (
    COLUMNS,
    findings_csv,
    record_json,
)
from fieldlog.report.html import render_html
from fieldlog.report.pdf import PAPERS, paper_for, render_pdf
from fieldlog.report.pdf_fonts import choose_faces
from fieldlog.report.surroundings import Surroundings
from fieldlog.report.view import build
from fieldlog.report.view_model import Report
from fieldlog.report.write import write_report
from fieldlog.store.records import NewEntry, NewPhoto, NewUtterance
from fieldlog.store.repository import Repository
from tests.exported import finding_from_json, read_csv
from tests.store_samples import START, Filled, fill, ticking, tone, tread_verdict, understood
from tests.test_report_view import CATALOGUE, PRINTED

NASTY = "</script><script>alert('x')</script> & \"quoted\" <b>bold</b>"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Repository]:
    with Repository.open(tmp_path / "shop", now=ticking()) as opened:
        yield opened


@pytest.fixture
def filled(store: Repository, tmp_path: Path) -> Filled:
    """A record with a real photo (its place in the Exif data), a remark in code, and speech."""
    return _filled(store, tmp_path)


def _filled(store: Repository, tmp_path: Path) -> Filled:
    done = fill(store, tmp_path)
    image = Image.new("RGB", (1600, 1200), (90, 60, 30))
    exif = Image.Exif()
    gps = {1: "N", 2: (51.0, 28.0, 40.0), 3: "W", 4: (0.0, 0.0, 5.0)}
    exif.get_ifd(0x8825).update(gps)
    path = tmp_path / "pads & discs.jpg"
    image.save(path, exif=exif)
    with Image.open(path) as saved:
        assert saved.getexif().get_ifd(0x8825)[1] == "N"
    media = store.media.save_file(path)
    photo = store.add_photo(
        done.inspection_id,
        NewPhoto(media, path.name, "jpeg", "2026-05-04T10:30:09", "+02:00", START),
    )
    store.attach(done.inspection_id, photo, done.corrected_id, reason="said photo", gap_s=1.0)
    store.add_remark(done.inspection_id, NASTY)
    store.save(
        done.inspection_id,
        NewEntry(
            NewUtterance(
                understood("front tread two millimetres"),
                START + timedelta(seconds=50),
                clip=store.media.save_clip(tone(1.5)),
                start_s=50.0,
                end_s=51.5,
                source="walk.flac",
            ),
            finding=Finding("tyre", "front", "tread depth", Quantity(Fraction(2), "mm", "two")),
            verdict=tread_verdict(State.WITHIN),
        ),
    )
    return done


def _made(store: Repository, folder: Path) -> tuple[Report, Copies]:
    report = build(store.inspection_record("last"), Surroundings(CATALOGUE, PRINTED))
    made = make_copies(
        folder,
        store.media,
        [cell.media for cell in report.photos],
        [line.media for line in report.clips],
        date(2026, 5, 4),
    )
    return report, made


# -- copies ---------------------------------------------------------------------------------------


def test_copies_are_small_upright_playable_and_without_place(
    store: Repository, filled: Filled, tmp_path: Path
) -> None:
    report, made = _made(store, tmp_path / "copies")
    assert set(made.thumbnails) | set(made.problems) >= {cell.media for cell in report.photos}
    (thumbnail,) = made.thumbnails.values()
    image = Image.open(io.BytesIO(thumbnail.data))
    assert max(image.size) == copies_module.PIXELS
    assert not image.getexif()
    assert b"Exif" not in thumbnail.data
    # The other "photo" of the sample is no picture: it is named with its reason.
    assert list(made.problems) == [filled.original]
    clip = made.clips[report.clips[0].media]
    sound, rate = soundfile.read(io.BytesIO(clip.data))
    assert (rate, clip.kind) == (16_000, "audio/mpeg")
    assert abs(len(sound) / rate - report.clips[0].seconds) < 0.1


def test_copies_are_made_once(
    store: Repository, filled: Filled, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, first = _made(store, tmp_path / "copies")
    seen: list[str] = []

    def refuse(name: str) -> bytes:
        seen.append(name)
        raise StoreError("read again")

    monkeypatch.setattr(store.media, "read", refuse)
    _, again = _made(store, tmp_path / "copies")
    assert again == first
    assert seen == []


def test_without_mp3_speech_is_wav(
    store: Repository, filled: Filled, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(copies_module, "_writes_mp3", lambda: False)
    _, made = _made(store, tmp_path / "copies")
    assert {clip.kind for clip in made.clips.values()} == {"audio/wav"}


def test_a_missing_original_is_named(store: Repository, filled: Filled, tmp_path: Path) -> None:
    store.media.path(filled.clip).unlink()
    report, made = _made(store, tmp_path / "copies")
    assert "cannot be read" in made.problems[filled.clip]
    assert "cannot be read" in render_html(report, made)


def test_copies_that_cannot_be_kept_are_made_all_the_same(
    store: Repository, filled: Filled, tmp_path: Path
) -> None:
    (tmp_path / "file").touch()
    made = make_copies(tmp_path / "file" / "x", store.media, [], [filled.clip], date(2026, 5, 4))
    assert list(made.clips) == [filled.clip]
    assert not made.problems


# -- HTML -----------------------------------------------------------------------------------------


class _Page(HTMLParser):
    """Collects what a reader sees and everything that points elsewhere."""

    def __init__(self) -> None:
        super().__init__()
        self.text: list[str] = []
        self.addresses: list[str] = []
        self.ids: list[str] = []
        self.scripts: dict[str, str] = {}
        self._inside: list[str] = []
        self.hidden_alone = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = {key: value or "" for key, value in attrs}
        for name in ("src", "href", "data", "poster", "action", "srcset"):
            if name in values:
                self.addresses.append(values[name])
        if "id" in values:
            self.ids.append(values["id"])
        if tag not in {"meta", "img", "br", "link", "input"}:
            self._inside.append(tag)
        if tag == "script":
            self.scripts[values.get("type", "code")] = ""
            self._script = values.get("type", "code")

    def handle_endtag(self, tag: str) -> None:
        while self._inside and self._inside.pop() != tag:
            continue

    def handle_data(self, data: str) -> None:
        if self._inside and self._inside[-1] == "script":
            self.scripts[self._script] += data
        elif not self._inside or self._inside[-1] != "style":
            self.text.append(data)


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, _Page, Report]:
    folder = tmp_path_factory.mktemp("page")
    with Repository.open(folder / "shop", now=ticking()) as opened:
        _filled(opened, folder)
        report, made = _made(opened, folder / "copies")
    html = render_html(report, made)
    parsed = _Page()
    parsed.feed(html)
    return html, parsed, report


def test_the_page_needs_nothing_else(page: tuple[str, _Page, Report]) -> None:
    html, parsed, _ = page
    assert all(a.startswith(("#", "data:")) for a in parsed.addresses)
    assert not re.search(r"@import|url\((?!#hatch)", html)
    assert set(parsed.scripts) == {"application/json", "code"}
    assert len(parsed.ids) == len(set(parsed.ids))
    targets = {a[1:] for a in parsed.addresses if a.startswith("#")}
    assert targets <= set(parsed.ids)


def test_the_page_runs_its_own_script_only(page: tuple[str, _Page, Report]) -> None:
    html, parsed, _ = page
    digest = base64.b64encode(hashlib.sha256(parsed.scripts["code"].encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}'" in html
    assert "default-src 'none'" in html


def test_the_page_shows_everything(page: tuple[str, _Page, Report]) -> None:
    _, parsed, report = page
    text = " ".join(" ".join(parsed.text).split())
    for row in report.findings:
        assert row.value in text
        assert row.spoken in text
        for limit in row.limits:
            assert limit.text in text
            assert limit.source in text
            assert limit.status in text
    for word in ("within", "marginal", "beyond", "undecided", "not judged", "not checked"):
        assert word in text
    for section in (
        *("Not within", "Remarks", "Not understood", "Corrections", "Cautions", "Sign-off"),
    ):
        assert section.lower() in text.lower()
    assert NASTY in text  # shown as text, not obeyed
    assert report.fingerprint in text
    assert report.deferral in text
    assert not re.search(r"\bsafe(ly|ty)?\b", text.lower())


def test_every_clip_can_be_played(page: tuple[str, _Page, Report]) -> None:
    html, parsed, report = page
    clips = json.loads(parsed.scripts["application/json"])
    buttons = set(re.findall(r'data-clip="([^"]+)"', html))
    assert buttons == set(clips) == {line.media for line in report.clips}
    for address in clips.values():
        data = base64.b64decode(address.removeprefix("data:audio/mpeg;base64,"))
        assert len(soundfile.read(io.BytesIO(data))[0]) > 0


def test_every_verdict_has_shape_and_word(page: tuple[str, _Page, Report]) -> None:
    """Colour never alone: each verdict is a drawn mark and its word."""
    html, parsed, report = page
    for state in {row.state for row in report.findings}:
        assert f'href="#v-{state.replace(" ", "-")}"' in html
        assert f"v-{state.replace(' ', '-')}" in parsed.ids


# -- PDF ------------------------------------------------------------------------------------------


def _pdf_text(pdf: bytes) -> str:
    """Text operands of all content streams (built-in faces: one byte per letter)."""
    texts = []
    for stream in re.findall(rb"stream\r?\n(.*?)endstream", pdf, re.DOTALL):
        try:
            content = zlib.decompress(base64.a85decode(stream.strip(), adobe=False))
        except (ValueError, zlib.error):
            try:
                content = zlib.decompress(base64.a85decode(b"<~" + stream.strip(), adobe=True))
            except (ValueError, zlib.error):
                continue
        for text in re.findall(rb"\(((?:[^()\\]|\\.)*)\)\s*Tj", content):
            plain = re.sub(rb"\\([0-7]{3})", lambda m: bytes([int(m[1], 8)]), text)
            texts.append(re.sub(rb"\\(.)", rb"\1", plain).decode("cp1252"))
    return " ".join(texts)


def test_the_pdf_shows_the_same(store: Repository, filled: Filled, tmp_path: Path) -> None:
    report, made = _made(store, tmp_path / "copies")
    pdf = render_pdf(report, made)
    assert pdf.startswith(b"%PDF-")
    text = " ".join(_pdf_text(pdf).split())
    for row in report.findings:
        assert row.value in text
        assert row.subject[1:] in text
    for phrase in (
        "an invented regulation, § 3, 2024",
        "page 1 of",
        "ot looked at",
        "as heard, not checked",
        report.fingerprint[:32],
    ):
        assert phrase in text
    assert pdf.count(b"/Subtype /Image") >= 1
    assert not re.search(r"\bsafe(ly|ty)?\b", text.lower())


def test_paper() -> None:
    assert [paper_for(j) for j in ("US-VA", "CA", "GB", None)] == ["letter", "letter", "a4", "a4"]
    assert set(PAPERS) == {"a4", "letter"}


def test_letters_the_built_in_faces_lack(tmp_path: Path) -> None:
    assert choose_faces(["Größe ≈ 3 mm → 2 mm"]).built_in
    without = choose_faces(["Łódź Ωmega"], folders=[tmp_path])
    assert without.missing == {"Ł", "ź", "Ω"}
    assert without.printable("Łódź ≈ 1") == "?ódz approx. 1"
    (tmp_path / "DejaVuSans.ttf").write_bytes(b"not a typeface")
    assert choose_faces(["Łódź"], folders=[tmp_path]).built_in


def test_a_system_face_is_used_where_it_has_more_letters() -> None:
    import reportlab

    shipped = Path(reportlab.__file__).parent / "fonts" / "Vera.ttf"
    from fieldlog.report import pdf_fonts

    files = {"DejaVuSans": shipped}
    faces = pdf_fonts._register("DejaVuSans", files, {"a", "≈", "\u4e2d"})
    assert faces is not None
    assert faces.missing == {"\u4e2d"}
    assert not faces.built_in
    assert faces.printable("a ≈ 中") == "a ≈ ?"


def test_nothing_said_breaks_the_pdf(store: Repository, tmp_path: Path) -> None:
    inspection = store.start_inspection(
        store.add_vehicle(NASTY).id, inspector=NASTY, place="long word " * 900
    )
    verdict = replace(tread_verdict(State.BEYOND), reason="very " * 2000)
    for number in range(48):
        store.save(
            inspection.id,
            NewEntry(
                finding=Finding("tyre", "rear", "condition", condition=f"<i>odd & {number}"),
                verdict=replace(verdict, gate=None, others=())
                if number % 24 == 0
                else tread_verdict(),
            ),
        )
    store.add_remark(inspection.id, "and so on " * 3000)
    store.add_event(inspection.id, "overflow", "z" * 4000)
    report, made = _made(store, tmp_path / "copies")
    for paper in PAPERS:
        assert b"%%EOF" in render_pdf(report, made, paper)


# -- JSON and CSV ---------------------------------------------------------------------------------


def keys_of(value: object) -> Iterator[str]:
    """Every key of a JSON document, however deep."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield key
            yield from keys_of(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from keys_of(inner)


def test_json_gives_every_finding_back_exactly(store: Repository, filled: Filled) -> None:
    record = store.inspection_record("last")
    document = json.loads(json.dumps(record_json(record), allow_nan=False))
    assert [finding_from_json(f) for f in document["findings"]] == [
        kept.finding for kept in record.findings
    ]
    assert [f["verdict"] and f["verdict"]["state"] for f in document["findings"]] == [
        kept.verdict and kept.verdict.state.value for kept in record.findings
    ]
    assert [f["stands"] for f in document["findings"]] == [k.stands for k in record.findings]
    assert len(document["utterances"]) == len(record.utterances)
    assert document["fingerprint"] == record.fingerprint
    assert document["utterances"][0]["hypotheses"][0]["score"] == -0.5
    assert document["photos"][1]["attachment"]["finding_id"] == filled.corrected_id
    keys = " ".join(keys_of(document)).lower()  # not the whole text: ids are random letters
    assert "photos" in keys
    assert "latitude" not in keys
    assert "gps" not in keys


def test_csv_gives_every_value_back_exactly(store: Repository, filled: Filled) -> None:
    store.save(
        filled.inspection_id,
        NewEntry(finding=Finding("tyre", "rear", "size", code="=1+1", words="-2")),
    )
    record = store.inspection_record("last")
    text = findings_csv(record, {c.name: c.system for c in CATALOGUE})
    rows = list(read_csv(text))
    assert text.splitlines()[0] == ",".join(COLUMNS)
    assert len(rows) == len(record.findings)
    for row, kept in zip(rows, record.findings, strict=True):
        quantity = kept.finding.quantity
        if quantity is None:
            assert row["value_num"] == row["unit"] == ""
        else:
            assert Fraction(int(row["value_num"]), int(row["value_den"])) == quantity.value
            assert row["unit"] == quantity.unit
        assert row["component"] == kept.finding.component
        assert row["code"] == (kept.finding.code or "")
        assert int(row["number"]) == kept.number
    assert [row["stands"] for row in rows[:2]] == ["corrected", "yes"]
    assert rows[4]["stands"] == "withdrawn"
    assert rows[0]["superseded_by"] == "2"
    assert rows[0]["system"] == "tyres"
    assert "'=1+1" in text  # a spreadsheet must not compute it
    assert rows[1]["photos"] == "pads & discs.jpg"


# -- writing --------------------------------------------------------------------------------------


def test_files_are_written_whole_and_named_after_the_inspection(
    store: Repository, filled: Filled, tmp_path: Path
) -> None:
    out = tmp_path / "out" / "deep"
    seen: list[tuple[str, int, int]] = []
    written = write_report(
        store,
        "last",
        ("csv", "json", "pdf", "html"),
        out,
        printed_at=datetime(2026, 5, 4, tzinfo=UTC),
        progress=lambda what, done, total: seen.append((what, done, total)),
    )
    names = [path.name for path in written.files]
    assert names == [f"inspection-2026-05-04-1.{e}" for e in ("html", "pdf", "json", "csv")]
    assert sorted(p.name for p in out.iterdir()) == sorted(names)
    assert set(written.problems) == {filled.original}
    assert ("clips", 2, 2) in seen
    json.loads(written.files[2].read_text("utf-8"))


def test_what_cannot_be_written_is_one_clear_line(
    store: Repository, filled: Filled, tmp_path: Path
) -> None:
    (tmp_path / "file").touch()
    at = datetime(2026, 5, 4, tzinfo=UTC)
    with pytest.raises(StoreError, match=r"report cannot be written.*--out DIR"):
        write_report(store, "last", ("json",), tmp_path / "file", printed_at=at)
    with pytest.raises(UsageError, match="no format of the report"):
        write_report(store, "last", ("docx",), tmp_path, printed_at=at)


def test_wear_is_drawn_on_screen_and_on_paper(store: Repository, tmp_path: Path) -> None:
    vehicle = store.add_vehicle("year of four")
    for number, tread in enumerate(("5.5", "4.9", "4.2", "3.8")):
        inspection = store.start_inspection(
            vehicle.id,
            started_at=START + timedelta(days=90 * number),
            odometer=Quantity(Fraction(10_000 + 2_000 * number), "km"),
        )
        store.save(
            inspection.id,
            NewEntry(
                finding=Finding("tyre", "rear", "tread depth", Quantity(Fraction(tread), "mm")),
                verdict=tread_verdict(),
            ),
        )
    written = write_report(store, "last", ("html", "pdf"), tmp_path, printed_at=PRINTED)
    page, paper = (path.read_bytes() for path in written.files)
    assert b'class="course"' in page
    assert b"rear tyre, tread depth" in page
    text = " ".join(_pdf_text(paper).split())
    assert "shaded: where 95 % of new readings will lie" in text
    for value in ("5.5 mm", "3.8 mm"):  # on the axis, as they were said
        assert value in text
        assert f">{value}</text>".encode() in page
    assert "2027" in text or "2026" in text
