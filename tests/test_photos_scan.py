"""Scanning folders: order, hostile files, limits of the worker process, the command's contract."""

from __future__ import annotations

import json
import os
import random
import struct
import time
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldlog.cli import main
from fieldlog.errors import PhotoError
from fieldlog.photos.crew import Crew
from fieldlog.photos.exif import read_photo
from fieldlog.photos.facts import PhotoFault
from fieldlog.photos.scan import list_files, natural_key, scan_folder
from tests.photo_files import EXIF_IFD, makernote_bomb, picture, save, tiff_block
from tests.photo_inspection import invent

TODAY = date(2026, 6, 1)
KEYS = ["file", "kind", "capture_local", "offset", "utc", "camera", "orientation", "problem"]


def test_natural_order() -> None:
    names = ["IMG_2.jpg", "IMG_10.jpg", "IMG_2(1).jpg", "img_1.jpg", "a.jpg", "IMG_2(10).jpg"]
    assert sorted(names, key=natural_key) == [
        "a.jpg",
        "img_1.jpg",
        "IMG_2.jpg",
        "IMG_2(1).jpg",
        "IMG_2(10).jpg",
        "IMG_10.jpg",
    ]


@given(st.lists(st.text(max_size=12), max_size=8))
def test_any_names_can_be_ordered(names: list[str]) -> None:
    assert sorted(sorted(names, key=natural_key)) == sorted(names)


def test_missing_folder_and_file_as_folder(tmp_path: Path) -> None:
    with pytest.raises(PhotoError, match="no such folder"):
        list_files(tmp_path / "nowhere")
    (tmp_path / "file").write_text("x")
    with pytest.raises(PhotoError, match="not a folder"):
        list_files(tmp_path / "file")


def _hostile(folder: Path) -> dict[str, str | None]:
    """Write hostile files; name -> expected fault (None: readable, with its time)."""
    good = save(folder / "good.jpg").read_bytes()
    heic = save(folder / "phone.jpg", "HEIF").read_bytes()
    cycle = tiff_block([(EXIF_IFD, 4, 1, struct.pack("<I", 8))], next_ifd=8)
    cases: dict[str, tuple[bytes, str | None]] = {
        "zero.jpg": (b"", PhotoFault.UNREADABLE),
        "text.jpg": (b"this is no picture\n" * 20, PhotoFault.UNREADABLE),
        "cut.jpg": (good[: len(good) - 40], PhotoFault.DAMAGED),
        "head only.jpg": (good[:12], PhotoFault.DAMAGED),
        "two bytes.jpg": (good[:2], PhotoFault.UNREADABLE),
        "makernote.jpg": (makernote_bomb(), None),
        "cycle.tif": (cycle, PhotoFault.DAMAGED),
        "no directory.tif": (b"II*\0\xff\xff\xff\x7f", PhotoFault.DAMAGED),
        "huge directory.tif": (b"II*\0\x08\0\0\0\xff\xff" + b"\0" * 64, PhotoFault.DAMAGED),
        "cut.heic": (heic[:-50], PhotoFault.DAMAGED),
        "no meta.heic": (heic[:24], PhotoFault.UNREADABLE),
        "huge box.heic": (heic[:24] + b"\xff\xff\xff\xffmeta" + b"\0" * 32, PhotoFault.UNREADABLE),
        "zero boxes.heic": (heic[:24] + b"\0\0\0\x01mdat" + b"\0" * 32, PhotoFault.UNREADABLE),
        "cut.png": (b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR\0\0", PhotoFault.UNREADABLE),
        "endless.png": (
            b"\x89PNG\r\n\x1a\n" + b"\0\0\0\0abcd\0\0\0\0" * 300_000,
            PhotoFault.UNREADABLE,
        ),
        "cut.webp": (b"RIFF\xff\xff\0\0WEBPVP8X", PhotoFault.UNREADABLE),
        "fill.jpg": (b"\xff\xd8" + b"\xff" * 16_000_000, PhotoFault.NOT_READ),
        "video.mp4": (b"\0\0\0\x18ftypmp42\0\0\0\0" + b"\0" * 99, PhotoFault.NOT_A_PHOTO),
        "own.cr3": (b"\0\0\0\x18ftypcrx " + b"\0" * 99, PhotoFault.UNREADABLE),
        "own.raf": (b"FUJIFILMCCD-RAW 0201" + b"\0" * 99, PhotoFault.UNREADABLE),
        "odd.orf": (b"\1\2\3\4" * 30, PhotoFault.UNREADABLE),
        "notes.txt": (b"remember the milk", PhotoFault.NOT_A_PHOTO),
    }
    for name, (data, _fault) in cases.items():
        (folder / name).write_bytes(data)
    os.mkfifo(folder / "pipe.jpg")
    expected: dict[str, str | None] = {name: fault for name, (_data, fault) in cases.items()}
    return expected | {"good.jpg": None, "phone.jpg": None, "pipe.jpg": PhotoFault.UNREADABLE}


def test_hostile_files_never_stop_the_batch(tmp_path: Path) -> None:
    expected = _hostile(tmp_path)
    got = dict(scan_folder(tmp_path, TODAY))
    assert {name: facts.fault for name, facts in got.items()} == expected
    assert got["phone.jpg"].kind == "heic"
    assert (got["cut.heic"].width, got["cut.heic"].height) == (48, 32)
    assert got["cut.jpg"].capture_local == "2024-06-01T10:00:00"
    assert got["makernote.jpg"].capture_local == "2024-06-01T10:00:00"
    for name, fault in expected.items():
        assert (got[name].problem is None) == (fault is None)


@settings(max_examples=120, deadline=None)
@given(st.randoms(use_true_random=False), st.sampled_from(["JPEG", "HEIF", "TIFF", "PNG", "WEBP"]))
def test_damaged_bytes_are_a_value_never_an_exception(
    tmp_path_factory: pytest.TempPathFactory, rng: random.Random, writer: str
) -> None:
    folder = tmp_path_factory.getbasetemp() / "fuzz"
    folder.mkdir(exist_ok=True)
    whole = folder / writer
    if not whole.exists():
        save(whole, writer, subsec="12", offset="+01:00", serial="7")
    data = bytearray(whole.read_bytes())
    for _ in range(rng.randrange(1, 20)):
        data[rng.randrange(min(len(data), 600))] = rng.choice([0, 1, 0x7F, 0x80, 0xFF])
    del data[rng.randrange(len(data)) if rng.random() < 0.3 else len(data) :]
    path = folder / "broken"
    path.write_bytes(data)
    facts = read_photo(str(path), TODAY)
    assert json.dumps(facts.scan_row())


def test_a_size_that_is_text_is_told_as_damage(tmp_path: Path) -> None:
    """TIFF 6.0: ImageWidth (tag 256) is SHORT or LONG; here it is ASCII, type 2."""
    path = tmp_path / "text.tif"
    save(path, "TIFF", subsec="12", offset="+01:00", serial="7")
    data = bytearray(path.read_bytes())
    first = int.from_bytes(data[4:8], "little")
    entry = first + 2
    assert data[entry : entry + 2] == b"\0\1"
    data[entry + 2 : entry + 4] = b"\2\0"
    data[entry + 8 : entry + 12] = b" \0\0\0"
    path.write_bytes(data)
    facts = read_photo(str(path), TODAY)
    assert facts.width is None
    assert (
        facts.capture_local is not None or facts.problem == "the size of its picture cannot be read"
    )


def test_a_box_that_says_nothing_of_its_size_ends_the_reading(tmp_path: Path) -> None:
    """Of size 1, then 0 in 64 bits: ExifRead goes back to where the box begins, for ever."""
    path = tmp_path / "round.heic"
    save(path, "HEIF", subsec="12", offset="+01:00", serial="7")
    data = bytearray(path.read_bytes())
    at = data.index(b"hdlr")
    data[at - 4 : at] = b"\0\0\0\1"
    data[at + 4 : at + 12] = bytes(8)
    path.write_bytes(data)
    facts = read_photo(str(path), TODAY)
    assert facts.kind == "heic"
    assert facts.capture_local is None


def test_a_slow_file_costs_its_limit_and_the_rest_is_done() -> None:
    with Crew("sleep", workers=1, time_limit_s=2.5) as crew:
        answers = list(crew.run([[0, 1], [0, 2], [60, 1], [0, 3]]))
    assert [a.value for a in answers] == [1 << 20, 2 << 20, None, 3 << 20]
    assert answers[2].error == "gave up after 2.5 s"


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="no memory limit on this system")
def test_a_greedy_file_is_refused_its_memory() -> None:
    with Crew("sleep", workers=1) as crew:
        answers = list(crew.run([[0, 100], [0, 400], [0, 5]]))
    assert [a.value for a in answers] == [100 << 20, None, 5 << 20]
    assert answers[1].error == "needs more than 170 MB"


def test_a_worker_that_cannot_start_is_said_once() -> None:
    with Crew("no such task", workers=1) as crew, pytest.raises(PhotoError, match="does not start"):
        list(crew.run([[0, 0]] * 3))


def test_nothing_in_the_current_folder_is_imported(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "json.py").write_text("raise SystemExit(3)")
    (tmp_path / "fieldlog").mkdir()
    (tmp_path / "fieldlog" / "__init__.py").write_text("raise SystemExit(3)")
    monkeypatch.chdir(tmp_path)
    with Crew("sleep", workers=1) as crew:
        assert crew.ask([0, 1]).value == 1 << 20


def test_many_orders_come_back_in_order() -> None:
    with Crew("sleep", workers=2) as crew:
        values = [a.value for a in crew.run([[0, n % 7] for n in range(200)], batch=9)]
    assert values == [(n % 7) << 20 for n in range(200)]


def test_scan_command_prints_the_contract(tmp_path: Path) -> None:
    (tmp_path / "card" / "sub").mkdir(parents=True)
    for name in ("IMG_10.jpg", "IMG_9.jpg", "sub/IMG_1.jpg"):
        save(tmp_path / "card" / name, offset="+02:00", subsec="054")
    result = CliRunner().invoke(main, ["photos", "scan", str(tmp_path / "card"), "--json"])
    assert result.exit_code == 0, result.output
    rows = [json.loads(line) for line in result.stdout.splitlines()]
    assert [row["file"] for row in rows] == ["IMG_9.jpg", "IMG_10.jpg", "sub/IMG_1.jpg"]
    assert all(list(row) == KEYS for row in rows)


def test_scan_is_partial_after_all_work_is_done(tmp_path: Path) -> None:
    save(tmp_path / "z good.jpg")
    (tmp_path / "a zero.jpg").write_bytes(b"")
    result = CliRunner().invoke(main, ["photos", "scan", str(tmp_path)])
    assert result.exit_code == 9
    assert "a zero.jpg  ! the file is empty" in result.stdout
    assert "z good.jpg" in result.stdout
    assert "1 of 2 files could not be read" in result.stderr


def test_raw_files_that_are_not_read_count_as_left_out(tmp_path: Path) -> None:
    home, card = tmp_path / "store", tmp_path / "card"
    invent(home, 1).store.close()
    card.mkdir()
    save(card / "own.jpg")
    (card / "own.cr3").write_bytes(b"\0\0\0\x18ftypcrx " + b"\0" * 99)
    for words in (["scan", str(card)], ["import", str(card), "--store", str(home)]):
        result = CliRunner().invoke(main, ["photos", *words])
        assert result.exit_code == 9, result.output
        assert "own.cr3" in result.stdout
        assert "raw file of a kind that is not read: left out" in result.stdout
        assert "the JPEG beside a raw file" in result.stderr


def test_scan_of_no_folder_is_one_line(tmp_path: Path) -> None:
    result = CliRunner().invoke(main, ["photos", "scan", str(tmp_path / "none")])
    assert result.exit_code == 6
    assert len(result.stderr.splitlines()) == 1


def test_the_time_of_the_file_is_never_used(tmp_path: Path) -> None:
    path = tmp_path / "IMG-20240203-WA0001.jpg"
    picture().save(path)
    os.utime(path, (time.time(), 1_706_950_000))
    ((_, facts),) = scan_folder(tmp_path, TODAY)
    assert facts.capture_local is None
    assert "its name says 2024-02-03" in str(facts.problem)


@pytest.mark.parametrize(
    "error",
    [
        OSError("image file is truncated"),
        ValueError("x"),
        EOFError(),
        SyntaxError("broken PNG file"),
    ],
)
def test_a_picture_that_cannot_be_read_is_told_in_a_sentence(error: Exception) -> None:
    from fieldlog.photos.worker import in_words

    told = in_words(error)
    assert type(error).__name__ not in told
    assert told.startswith("the picture is damaged")


def test_a_picture_cut_short_gets_a_sentence_where_its_copy_would_be(tmp_path: Path) -> None:
    from fieldlog.photos.facts import to_row
    from fieldlog.photos.scan import read_facts

    path = save(tmp_path / "cut.jpg", size=(640, 480))
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    (facts,) = read_facts([str(path)], TODAY)
    with Crew("thumbnail", workers=1) as crew:
        (answer,) = crew.run([[str(tmp_path / "small.jpg"), 320, to_row(facts)]])
    told = answer.error or ""
    assert "Error" not in told
    assert "(" not in told
