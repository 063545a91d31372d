"""Import, placing, moving and looking, through the store and the commands."""

from __future__ import annotations

import hashlib
import io
import json
import random
import signal
import subprocess
import sys
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from PIL import Image, features

from fieldlog.apart.frames import READY
from fieldlog.apart.process import Lost, Process
from fieldlog.cli import main
from fieldlog.errors import StoreError, UsageError
from fieldlog.model.finding import Finding
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.photos.attach import Why
from fieldlog.photos.clock import Basis, align_given
from fieldlog.photos.crew import TIME_LIMIT_S
from fieldlog.photos.derived import DerivedFolder
from fieldlog.photos.exif import read_photo
from fieldlog.photos.importer import import_folder, keep_original
from fieldlog.photos.markup import Arrow, Ring, Words, mark_up, read_arrow, read_ring, read_words
from fieldlog.photos.placing import (
    place_photos,
    save_alignment,
    session_zone,
    spoken_findings,
    withdraw_alignment,
)
from fieldlog.photos.sheet import seen_of, side_by_side
from fieldlog.photos.timecode import code_text, png_code, read_code, terminal_code
from fieldlog.photos.watch import EMPTY_SETTLE_S, SETTLE_S, Waiting, look, stamps
from fieldlog.store.media import MediaFolder
from fieldlog.store.records import NewEntry, NewUtterance, Photo
from fieldlog.store.repository import Repository
from tests.photo_files import exif_block, picture, save
from tests.photo_inspection import CAMERA_BEHIND, invent, take_photos
from tests.store_samples import START, ticking

TODAY = date(2026, 6, 1)


def _run(*words: object) -> Result:
    return CliRunner().invoke(main, ["photos", *map(str, words)])


def test_originals_are_kept_byte_for_byte_and_once(tmp_path: Path) -> None:
    invented = invent(tmp_path / "store", 2)
    card = tmp_path / "card"
    take_photos(invented, card)
    (card / "copy of IMG_1.JPEG").write_bytes((card / "IMG_1.jpg").read_bytes())
    before = {p.name: p.read_bytes() for p in card.iterdir()}
    first = import_folder(invented.store, invented.inspection_id, card, TODAY)
    assert (len(first.added), len(first.known)) == (2, 1)  # a renamed copy is recognised
    again = import_folder(invented.store, invented.inspection_id, card, TODAY)
    assert (len(again.added), len(again.known)) == (0, 3)
    assert {p.name: p.read_bytes() for p in card.iterdir()} == before
    for name, media in first.added:
        assert media == hashlib.sha256(before[name]).hexdigest() + ".jpg"
        assert invented.store.media.read(media) == before[name]
    assert len(invented.store.inspection_record("last").photos) == 2


def test_equal_times_are_different_photos(tmp_path: Path) -> None:
    invented = invent(tmp_path / "store", 1)
    (tmp_path / "card").mkdir()
    for n in range(10):
        save(tmp_path / "card" / f"IMG_{n}.jpg", size=(40 + n, 32))
    result = import_folder(invented.store, invented.inspection_id, tmp_path / "card", TODAY)
    assert len(result.added) == 10


def test_what_could_not_be_read_in_time_stays_where_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A reader that a busy machine starved says nothing of the photo: asked again with patience, else left alone."""
    invented = invent(tmp_path / "store", 2)
    take_photos(invented, tmp_path / "card")
    import_folder(invented.store, invented.inspection_id, tmp_path / "card", TODAY)
    camera = invented.store.inspection_record("last").photos[0].camera or ""
    known = align_given(camera, CAMERA_BEHIND.total_seconds())
    save_alignment(invented.store, invented.inspection_id, known)
    place_photos(invented.store, invented.inspection_id, TODAY)

    def places() -> list[str | None]:
        photos = invented.store.inspection_record(invented.inspection_id).photos
        return [photo.attachment.finding_id if photo.attachment else None for photo in photos]

    before, patience = places(), []
    assert None not in before
    real = Process.answer

    def late(process: Process, longest_s: float) -> bytes | Lost:
        said = real(process, longest_s)
        patience.append(longest_s)
        return said if said == READY else Lost("no answer in time", hung=True)

    monkeypatch.setattr(Process, "answer", late)
    assert place_photos(invented.store, invented.inspection_id, TODAY).changed == 0
    assert places() == before
    assert max(patience) == 10 * TIME_LIMIT_S


def test_an_original_that_is_missing_takes_no_other_photo_from_its_place(tmp_path: Path) -> None:
    """The clock of the camera is found from all of its times, which the record has."""
    invented = invent(tmp_path / "store", 8)
    take_photos(invented, tmp_path / "card")
    store = invented.store
    import_folder(store, invented.inspection_id, tmp_path / "card", TODAY)
    placed = place_photos(store, "last", TODAY)
    assert len(placed.placement.attached) == 8
    for photo in store.inspection_record("last").photos[:5]:
        store.media.path(photo.media).unlink()
    again = place_photos(store, "last", TODAY)
    assert again.changed == 0
    assert again.alignments[0].uncertainty_s == placed.alignments[0].uncertainty_s


def test_an_import_that_was_killed_is_finished_by_the_next(tmp_path: Path) -> None:
    invented = invent(tmp_path / "store", 6)
    card = tmp_path / "card"
    take_photos(invented, card)

    def stop(done: int, total: int) -> None:
        if done == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        import_folder(invented.store, invented.inspection_id, card, TODAY, progress=stop)
    result = import_folder(invented.store, invented.inspection_id, card, TODAY)
    assert len(result.added) == 6
    assert len(invented.store.inspection_record("last").photos) == 6


def test_photos_that_nobody_put_to_a_finding_are_told(tmp_path: Path) -> None:
    """The program was killed between keeping and placing them."""
    invented = invent(tmp_path / "store", 2)
    take_photos(invented, tmp_path / "card")
    import_folder(invented.store, invented.inspection_id, tmp_path / "card", TODAY)
    invented.store.close()
    asked = [
        ["photos", "list"],
        ["photos", "tray"],
        ["inspection", "show"],
        ["inspection", "enter", "horn works"],
    ]

    def told() -> list[str]:
        store = ["--store", str(tmp_path / "store")]
        return [CliRunner().invoke(main, [*words, *store]).stderr for words in asked]

    assert all(
        "! 2 photos wait to be put to findings: fieldlog photos attach 1" in t for t in told()
    )
    assert _run("attach", "--store", tmp_path / "store").exit_code == 0
    assert not any("wait" in t for t in told())


_DIES = """
import os, signal, sys
from datetime import date
from pathlib import Path
from fieldlog.photos.importer import import_folder
from fieldlog.store.repository import Repository

def stop(done, total):
    if done == 100:
        os.kill(os.getpid(), signal.SIGKILL)

store = Repository.open(Path(sys.argv[1]))
import_folder(store, store.inspection("last").id, Path(sys.argv[2]), date(2026, 6, 1), progress=stop)
"""


def test_kill_9_during_an_import_loses_nothing(tmp_path: Path) -> None:
    invented = invent(tmp_path / "store", 1)
    invented.store.close()
    (tmp_path / "card").mkdir()
    for n in range(140):
        save(tmp_path / "card" / f"IMG_{n}.jpg", size=(20 + n, 16))
    command = [sys.executable, "-c", _DIES, str(tmp_path / "store"), str(tmp_path / "card")]
    assert subprocess.run(command, check=False).returncode == -signal.SIGKILL
    with Repository.open(tmp_path / "store") as store:
        first = store.inspection_record("last")
        assert len(first.photos) == 64  # the first batch was committed
        result = import_folder(store, first.inspection.id, tmp_path / "card", TODAY)
        assert (len(result.known), len(result.added)) == (64, 76)
        assert store.verify().agrees


def test_aligning_one_camera_moves_only_its_photos(tmp_path: Path) -> None:
    invented = invent(tmp_path / "store", 2)
    card = tmp_path / "card"
    card.mkdir()
    moment = invented.findings[0][1] + timedelta(seconds=1)
    for serial in ("1", "2"):
        save(card / f"{serial}.jpg", serial=serial, original=f"{moment:%Y:%m:%d %H:%M:%S}")
    store, inspection = invented.store, invented.inspection_id
    import_folder(store, inspection, card, TODAY)
    save_alignment(store, inspection, align_given("Umberfold Ninth #1", 36000.0))
    save_alignment(store, inspection, align_given("Umberfold Ninth #2", 0.0))
    place_photos(store, "last", TODAY)
    owners = {p.file: p.attachment and p.attachment.finding_id for p in _photos(store)}
    assert owners == {"1.jpg": None, "2.jpg": invented.findings[0][0]}
    withdraw_alignment(store, inspection, "Umberfold Ninth #1")
    save_alignment(store, inspection, align_given("Umberfold Ninth #1", 0.0))
    place_photos(store, "last", TODAY)
    assert {p.attachment and p.attachment.finding_id for p in _photos(store)} == {
        invented.findings[0][0]
    }


def _photos(store: Repository) -> tuple[Photo, ...]:
    return store.inspection_record("last").photos


def test_before_and_after_stand_side_by_side(tmp_path: Path) -> None:
    invented = invent(tmp_path / "store", 3)
    seen = seen_of(invented.store.inspection_record("last"), "brake pads", "front")
    assert len(seen.rows) == 2
    page = side_by_side("pads <front>", [seen, seen], lambda media: None)
    assert page.count("<th>") == 2
    assert page.count("<section>") == 4
    assert "pads &lt;front&gt;" in page
    none = seen_of(invented.store.inspection_record("last"), "battery")
    assert "Nothing was found" in side_by_side("battery", [none], lambda media: None)


def test_a_file_that_changes_while_it_is_copied_is_refused(tmp_path: Path) -> None:
    path = save(tmp_path / "a.jpg")

    class Growing(MediaFolder):
        def save_file(self, source: Path, suffix: str | None = None) -> str:
            source.write_bytes(source.read_bytes() + b"more")
            return super().save_file(source, suffix)

    with pytest.raises(StoreError, match="changed while it was copied"):
        keep_original(Growing(tmp_path / "media"), path, "jpeg")


def test_the_cameras_clock_error_is_found_and_photos_land_right(tmp_path: Path) -> None:
    invented = invent(tmp_path / "store")
    truth = take_photos(invented, tmp_path / "card")
    import_folder(invented.store, invented.inspection_id, tmp_path / "card", TODAY)
    placed = place_photos(invented.store, "last", TODAY)
    (alignment,) = placed.alignments
    assert alignment.usable
    assert alignment.offset_s == pytest.approx(CAMERA_BEHIND.total_seconds(), abs=2.0)
    record = invented.store.inspection_record("last")
    got = {p.file: p.attachment.finding_id for p in record.photos if p.attachment}
    assert got == truth
    (clock,) = record.clocks
    assert clock.offset_s == pytest.approx(-alignment.offset_s)
    assert place_photos(invented.store, "last", TODAY).changed == 0


def test_a_camera_seventeen_minutes_fast_with_a_rival_five_seconds_off_lands(
    tmp_path: Path,
) -> None:
    """38 utterances, 12 photos, ten of them with a time; half are shot five seconds later than usual."""
    store = Repository.open(tmp_path / "store", now=ticking())
    vehicle = store.add_vehicle("blue roadster")
    head = store.start_inspection(vehicle.id, started_at=START, zone="+02:00")
    rng = random.Random(17)
    card = tmp_path / "card"
    card.mkdir()
    at, truth = START, {}
    for number in range(38):
        at += timedelta(seconds=rng.uniform(14, 60))
        heard = Understanding(Decision.ACCEPT, Kind.FINDING, "", f"pads {number}")
        pads = Finding("brake pads", ("front", "rear")[number % 2], "thickness")
        saved = store.save(
            head.id, NewEntry(NewUtterance(heard, at, start_s=0.0, end_s=2.0), finding=pads)
        )
        if number % 4 == 1:
            shot = at + timedelta(seconds=2 + rng.uniform(1.2, 2.4) + (5 if number % 8 == 1 else 0))
            local = shot + timedelta(hours=2, seconds=1022)
            save(
                card / f"IMG_{number}.jpg",
                original=f"{local:%Y:%m:%d %H:%M:%S}",
                size=(40 + number, 32),
            )
            truth[f"IMG_{number}.jpg"] = saved.finding_id
    for name in ("IMG-20260504-WA0001.jpg", "IMG-20260504-WA0002.jpg"):
        picture((50, 30 + len(truth) + int(name[-5]))).save(card / name)
    assert len(truth) == 10
    import_folder(store, head.id, card, TODAY)
    placed = place_photos(store, "last", TODAY)
    photos = store.inspection_record("last").photos
    owners = {p.file: p.attachment.finding_id for p in photos if p.attachment}
    assert owners == truth | dict.fromkeys(owners.keys() - truth.keys())
    (alignment,) = placed.alignments  # photos without a camera are none, and nothing is asked
    assert alignment.camera == "Umberfold Ninth"
    assert alignment.ask == ""
    assert abs(alignment.offset_s + 1022) <= alignment.uncertainty_s


def test_what_two_guesses_put_apart_is_asked_once_for_the_camera(tmp_path: Path) -> None:
    """The same walk twice, an hour apart: only a round can be told, not which."""
    store = Repository.open(tmp_path / "store", now=ticking())
    vehicle = store.add_vehicle("blue roadster")
    head = store.start_inspection(vehicle.id, started_at=START, zone="+00:00")
    rng = random.Random(3)
    steps = [rng.uniform(15, 80) for _ in range(14)]
    card = tmp_path / "card"
    card.mkdir()
    at = START
    for number, step in enumerate(steps + steps):
        at += timedelta(seconds=step)
        heard = Understanding(Decision.ACCEPT, Kind.FINDING, "", f"pads {number}")
        pads = Finding("brake pads", ("front", "rear")[number % 2], "thickness")
        store.save(head.id, NewEntry(NewUtterance(heard, at, start_s=0.0, end_s=2.0), finding=pads))
        if number < len(steps):
            shot = at + timedelta(seconds=4, hours=-5)
            save(
                card / f"IMG_{number}.jpg",
                original=f"{shot:%Y:%m:%d %H:%M:%S}",
                size=(40 + number, 32),
            )
    import_folder(store, head.id, card, TODAY)
    placed = place_photos(store, "last", TODAY)
    (alignment,) = placed.alignments
    assert "14 photos hang on which it is, +" in alignment.ask
    record = store.inspection_record("last")
    for photo in record.photos:
        assert photo.attachment is not None
        assert (
            photo.attachment.reason
            == "the camera's clock is in question: see the question about it"
        )
        assert len(photo.attachment.candidates) == 2
    (clock,) = record.clocks
    assert clock.evidence["question"] == alignment.ask
    assert place_photos(store, "last", TODAY).changed == 0


def test_a_photo_of_the_time_code_settles_a_clock_that_is_years_off(tmp_path: Path) -> None:
    invented = invent(tmp_path / "store", 3)
    card = tmp_path / "card"
    card.mkdir()
    wrong = timedelta(days=9000, seconds=13)
    moments = [
        ("code.jpg", START),
        *((f"{n}.jpg", t) for n, (_, t) in enumerate(invented.findings)),
    ]
    for name, moment in moments:
        image = picture((640, 480))
        if name == "code.jpg":
            image.paste(Image.open(io.BytesIO(png_code(moment, 8))).convert("RGB"), (60, 60))
        seen = moment + timedelta(seconds=1) - wrong
        image.save(card / name, exif=exif_block(f"{seen:%Y:%m:%d %H:%M:%S}"))
    import_folder(invented.store, invented.inspection_id, card, TODAY)
    placed = place_photos(invented.store, "last", TODAY)
    (alignment,) = placed.alignments
    assert alignment.offset_s == pytest.approx(wrong.total_seconds(), abs=1.5)
    owners = {a.finding_id for a in placed.placement.attached}
    assert owners == {finding for finding, _ in invented.findings}
    photos = invented.store.inspection_record("last").photos
    (code,) = (photo.media for photo in photos if photo.file == "code.jpg")
    invented.store.media.path(code).unlink()
    placed = place_photos(invented.store, "last", TODAY)
    assert (placed.changed, placed.alignments[0].basis) == (0, Basis.CODE), "it was read once"


def test_a_clock_that_is_right_leaves_the_record_intact(tmp_path: Path) -> None:
    """-0.0 comes back from SQLite as 0.0: the hash of its row once did not match."""
    invented = invent(tmp_path / "store", 2)
    take_photos(invented, tmp_path / "card")
    import_folder(invented.store, invented.inspection_id, tmp_path / "card", TODAY)
    store, inspection = invented.store, invented.inspection_id
    save_alignment(store, inspection, align_given("Umberfold Ninth", 0.0))
    store.set_clock(inspection, "other", -0.0, 1.0, how="given")
    place_photos(store, "last", TODAY)
    assert store.verify().agrees


def test_corrections_keep_the_photos_of_what_they_correct(tmp_path: Path) -> None:
    invented = invent(tmp_path / "store", 2)
    record = invented.store.inspection_record("last")
    first = record.findings[0]
    entry = NewEntry(finding=first.finding, corrects=first.id, reason="misheard")
    saved = invented.store.save(record.inspection.id, entry)
    spoken = spoken_findings(invented.store.inspection_record("last"))
    assert saved.finding_id in {s.id for s in spoken}
    assert first.id not in {s.id for s in spoken}
    invented.store.withdraw(invented.findings[1][0])
    spoken = spoken_findings(invented.store.inspection_record("last"))
    assert [s.id for s in spoken] == [saved.finding_id]


def test_zones() -> None:
    at = datetime(2026, 7, 1, 12, tzinfo=UTC)
    assert at.astimezone(session_zone("+02:00")).hour == 14
    assert at.astimezone(session_zone("Europe/Berlin")).hour == 14
    assert at.astimezone(session_zone("nowhere/at all")).hour == 12


@pytest.mark.parametrize("kind", ["JPEG", "HEIF", "PNG", "TIFF", "WEBP", "AVIF"])
def test_small_copies_are_upright_once(tmp_path: Path, kind: str) -> None:
    if kind == "AVIF" and not features.check("avif"):
        pytest.skip("this Pillow was built without AVIF")
    path = save(tmp_path / "photo", kind, size=(96, 64), orientation=6)
    pairs = [("a" * 64 + ".x", read_photo(str(path), TODAY))]
    (copy,) = DerivedFolder(tmp_path).small_copies(pairs, 64)
    assert copy.problem is None
    assert copy.path is not None
    with Image.open(copy.path) as image:
        assert image.size == (43, 64)
        assert not image.getexif()
        red = image.convert("RGB").getpixel((35, 8))  # red was top left, now top right
    assert isinstance(red, tuple)
    assert red[0] > 180
    assert red[2] < 90


def test_small_copies_of_huge_and_broken_pictures(tmp_path: Path) -> None:
    huge = tmp_path / "huge.png"
    image = Image.new("1", (20000, 12000))
    image.save(huge)
    broken = save(tmp_path / "broken.jpg", size=(800, 600))
    broken.write_bytes(broken.read_bytes()[:900])
    large = save(tmp_path / "large.jpg", size=(8000, 6500))
    paths = (huge, broken, large)
    photos = [(f"{n}" * 64 + ".x", read_photo(str(p), TODAY)) for n, p in enumerate(paths)]
    first, second, third = DerivedFolder(tmp_path / "d").small_copies(photos)
    assert "too many to decode" in str(first.problem)
    assert second.path is None
    assert third.path is not None


def test_time_code_text_round_trip() -> None:
    moment = datetime(2026, 5, 4, 8, 30, 7, tzinfo=UTC)
    assert read_code(code_text(moment)) == moment
    assert read_code("https://example.org") is None
    assert read_code("FIELDLOG 2026-13-04T08:30:07Z") is None
    with pytest.raises(ValueError):
        code_text(datetime(2026, 5, 4))
    assert len(terminal_code(moment).splitlines()) > 10


def test_watched_files_are_ready_once_they_are_still() -> None:
    state = look({}, {"a.jpg": (5, 1), "0.jpg": (0, 1)}, 0.0)
    assert state.ready == ()
    state = look(state.files, {"a.jpg": (9, 2), "0.jpg": (0, 1)}, SETTLE_S)
    assert state.ready == ()
    state = look(state.files, {"a.jpg": (9, 2), "0.jpg": (0, 1)}, 2 * SETTLE_S)
    assert state.ready == ("a.jpg",)
    state = look(state.files, {"a.jpg": (9, 2), "0.jpg": (0, 1)}, 3 * SETTLE_S)
    assert state.ready == ()
    state = look(state.files, {"0.jpg": (0, 1)}, EMPTY_SETTLE_S)
    assert state.ready == ("0.jpg",)
    assert state.files == {"0.jpg": Waiting((0, 1), 0.0, taken=True)}


def test_unfinished_names_are_not_watched(tmp_path: Path) -> None:
    for name in ("a.jpg", "b.jpg.part", ".c.jpg", "d.tmp", "e.crdownload"):
        (tmp_path / name).write_bytes(b"x")
    assert set(stamps(tmp_path)) == {"a.jpg"}


def test_mark_up_draws_on_a_copy(tmp_path: Path) -> None:
    path = save(tmp_path / "a.jpg", size=(400, 300))
    before = path.read_bytes()
    shapes: list[Ring | Arrow | Words] = [
        read_ring("50,50,20"),
        read_arrow("10,10,40,40"),
        read_words("5,80,crack, 2 mm"),
    ]
    assert shapes == [Ring(50, 50, 20), Arrow(10, 10, 40, 40), Words(5, 80, "crack, 2 mm")]
    mark_up(path, shapes, tmp_path / "m" / "marked.jpg")
    assert path.read_bytes() == before
    with Image.open(tmp_path / "m" / "marked.jpg") as image:
        ring = image.getpixel((278, 150))
    assert isinstance(ring, tuple)
    assert ring[0] > 150
    assert ring[1] < 110


@pytest.mark.parametrize("text", ["", "1,2", "1,2,x", "1,2,101", "nan,1,1", "1,2,3,4"])
def test_bad_rings_are_refused(text: str) -> None:
    with pytest.raises(UsageError, match="is not X,Y,RADIUS"):
        read_ring(text)


def test_commands_from_card_to_page(tmp_path: Path) -> None:
    home = tmp_path / "store"
    invented = invent(home)
    truth = take_photos(invented, tmp_path / "card")
    (tmp_path / "card" / "zero.jpg").write_bytes(b"")
    (tmp_path / "card" / "IMG-20260504-WA0001.jpg").write_bytes(
        save(tmp_path / "plain.jpg", original=None).read_bytes()
    )
    invented.store.close()

    result = _run("import", tmp_path / "card", "--store", home)
    assert result.exit_code == 9, result.output
    assert "zero.jpg: the file is empty" in result.stdout
    assert "13 photos added" in result.stdout
    assert "12 photos attached, 1 unplaced" in result.stdout

    rows = [json.loads(s) for s in _run("list", "--json", "--store", home).stdout.splitlines()]
    assert len(rows) == len(truth) + 1
    (row,) = [
        json.loads(s) for s in _run("tray", "last", "--json", "--store", home).stdout.splitlines()
    ]
    assert row["file"] == "IMG-20260504-WA0001.jpg"
    assert "its name says 2026-05-04" in row["problem"]

    moved = _run("move", "IMG-20260504-WA0001.jpg", 3, "--store", home)
    assert moved.exit_code == 0, moved.output
    assert _run("tray", "last", "--store", home).stdout == ""
    assert _run("attach", "--store", home).exit_code == 0
    assert _run("tray", "--store", home).stdout == ""  # what was moved by hand stays
    assert _run("move", "IMG-20260504-WA0001.jpg", "auto", "--store", home).exit_code == 0
    assert "IMG-20260504" in _run("tray", "--store", home).stdout
    for bad in (("move", "none.jpg", 3), ("move", 1, 999)):
        assert _run(*bad, "--store", home).exit_code == 2

    page = tmp_path / "sheet.html"
    assert _run("sheet", "last", "--out", page, "--store", home).exit_code == 0
    text = page.read_text()
    assert text.count("data:image/jpeg;base64,") == 13
    assert "Unplaced" in text
    both = tmp_path / "both.html"
    done = _run("compare", "blue roadster", "brake pads", "--out", both, "--store", home)
    assert done.exit_code == 0, done.output
    assert both.read_text().count("<th>") == 1  # one inspection
    assert both.read_text().count("<td>") == 2  # front and rear
    marked = _run("mark-up", 1, "--ring", "50,50,10", "--store", home)
    assert marked.exit_code == 0, marked.output
    assert Path(marked.stdout.strip()).exists()


def test_align_by_hand_is_reversible(tmp_path: Path) -> None:
    home = tmp_path / "store"
    invented = invent(home)
    truth = take_photos(invented, tmp_path / "card")
    invented.store.close()
    _run("import", tmp_path / "card", "--store", home)
    found = json.loads(_run("align", "--json", "--store", home).stdout)
    assert found["basis"] == "what was said against shutter times"

    wrong = json.loads(_run("align", "--add", "-9:00:00", "--json", "--store", home).stdout)
    assert (wrong["basis"], wrong["offset_s"]) == ("given", -32400.0)
    assert len(_run("tray", "--store", home).stdout.splitlines()) == 12
    back = json.loads(_run("align", "--withdraw", "--json", "--store", home).stdout)
    assert back["offset_s"] == pytest.approx(found["offset_s"])
    assert _run("tray", "--store", home).stdout == ""

    moment = invented.findings[0][1] + timedelta(seconds=3)
    event = _run("align", "--event", "IMG_1.jpg", moment.isoformat(), "--json", "--store", home)
    assert json.loads(event.stdout)["basis"] == "known event"
    rows = [json.loads(s) for s in _run("list", "--json", "--store", home).stdout.splitlines()]
    assert {r["file"] for r in rows if r["finding"]} == set(truth)
    for bad in (
        ["--add", "soon"],
        ["--event", "IMG_1.jpg", "noon"],
        ["--camera", "x", "--withdraw"],
    ):
        assert _run("align", *bad, "--store", home).exit_code == 2


def test_watch_imports_what_arrives_and_asks_again_for_what_was_read_too_slowly(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    home = tmp_path / "store"
    invented = invent(home, 3)
    take_photos(invented, tmp_path / "phone")
    invented.store.close()
    real, slow = Process.answer, ["one"]

    def late(process: Process, longest_s: float) -> bytes | Lost:
        said = real(process, longest_s)
        return Lost("busy", hung=True) if said != READY and slow and slow.pop() else said

    monkeypatch.setattr(Process, "answer", late)
    result = _run("watch", tmp_path / "phone", "--for", "3.2", "--store", home)
    assert result.exit_code == 0, result.output
    assert "2 photos added" in result.stdout
    assert "IMG_1.jpg: gave up after 2 s" in result.stdout
    assert "1 photo added" in result.stdout, "it was the machine's doing"
    with Repository.open(home) as store:
        assert len(store.inspection_record("last").photos) == 3


def test_an_empty_folder_is_told(tmp_path: Path) -> None:
    home = tmp_path / "store"
    invent(home, 1).store.close()
    (tmp_path / "card").mkdir()
    result = _run("import", tmp_path / "card", "--store", home)
    assert result.exit_code == 0
    assert "no photos are in this folder" in result.stderr


def test_code_command(tmp_path: Path) -> None:
    shown = _run("code", "--once")
    assert shown.exit_code == 0
    assert "FIELDLOG 20" in shown.stdout
    assert _run("code", "--png", tmp_path / "code.png").exit_code == 0
    with Image.open(tmp_path / "code.png") as image:
        assert image.width > 300
    assert _run("code", "--png", tmp_path / "no" / "code.png").exit_code == 2


def test_hand_is_the_reason_the_tray_respects() -> None:
    assert Why.HAND.value == "moved by hand"
