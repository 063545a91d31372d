"""Reading photos by content: what the libraries say of them, and what none of them says."""

from __future__ import annotations

import io
import json
import os
import shutil
import struct
import subprocess
import zlib
from datetime import date, timedelta
from pathlib import Path

import exifread
import pytest
from PIL import Image

from fieldlog.photos.exif import photo_kind, read_photo
from fieldlog.photos.facts import FIELDS, PhotoFault, from_row, to_row
from fieldlog.photos.thumbnail import embedded_preview
from tests.photo_files import (
    EXIF_IFD,
    ORIGINAL,
    exif_block,
    jpeg_header,
    jpeg_with,
    picture,
    save,
    tiff_block,
)
from tests.shared import need_shared

TODAY = date(2026, 6, 1)
KINDS = {"JPEG": "jpeg", "PNG": "png", "WEBP": "webp", "TIFF": "tiff", "HEIF": "heic"}


@pytest.mark.parametrize(("writer", "kind"), KINDS.items())
def test_every_kind_gives_time_camera_and_size(tmp_path: Path, writer: str, kind: str) -> None:
    path = save(
        tmp_path / "photo.jpg",
        writer,
        original="2024:06:01 10:00:00",
        offset="+02:00",
        subsec="054",
        serial="B123",
        date_time="2024:06:01 10:00:00",
        extra={0x9010: "+01:00"},  # OffsetTime belongs to DateTime and must not be used
    )
    facts = read_photo(str(path), TODAY)
    assert facts.scan_row("photo.jpg") == {
        "file": "photo.jpg",
        "kind": kind,
        "capture_local": "2024-06-01T10:00:00.054",
        "offset": "+02:00",
        "utc": "2024-06-01T08:00:00.054Z",
        "camera": "Umberfold Ninth #B123",
        "orientation": facts.orientation,
        "problem": None,
    }
    assert (facts.width, facts.height) == (48, 32)
    assert facts.resolution_s == pytest.approx(0.001)
    assert from_row(json.loads(json.dumps(to_row(facts)))) == facts
    assert len(FIELDS) == len(to_row(facts))


def test_without_its_own_offset_there_is_no_utc(tmp_path: Path) -> None:
    path = save(tmp_path / "a.jpg", original="2024:06:01 10:00:00", extra={0x9010: "+01:00"})
    row = read_photo(str(path), TODAY).scan_row()
    assert (row["offset"], row["utc"]) == (None, None)


def test_an_edited_copy_keeps_its_original_time(tmp_path: Path) -> None:
    path = save(tmp_path / "a.jpg", original="2024:06:01 10:00:00", date_time="2024:07:09 20:00:01")
    facts = read_photo(str(path), TODAY)
    assert facts.capture_local == "2024-06-01T10:00:00"
    with Image.open(path) as image:
        assert image.getexif().get_ifd(EXIF_IFD)[ORIGINAL] == "2024:06:01 10:00:00"


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("writer", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_orientation_and_upright_size(tmp_path: Path, writer: str, orientation: int) -> None:
    path = save(tmp_path / "a.jpg", writer, orientation=orientation)
    facts = read_photo(str(path), TODAY)
    assert (facts.orientation, facts.turn) == (orientation, orientation)
    assert (facts.width, facts.height) == ((48, 32) if orientation < 5 else (32, 48))


@pytest.mark.parametrize("orientation", range(1, 9))
def test_heif_rotation_is_read_from_the_container_and_applied_once(
    tmp_path: Path, orientation: int
) -> None:
    path = save(tmp_path / "a.heic", "HEIF", orientation=orientation)
    facts = read_photo(str(path), TODAY)
    with Image.open(path) as image:  # libheif applies irot and imir: the oracle for upright size
        assert (facts.width, facts.height) == image.size
        assert (image.info.get("original_orientation") or 1) == orientation
    assert facts.turn == 1
    assert facts.orientation in ({1, None} if orientation == 1 else {orientation})


@pytest.mark.parametrize(("writer", "kind"), KINDS.items())
def test_no_exif_is_no_time_and_never_the_file_time(tmp_path: Path, writer: str, kind: str) -> None:
    path = tmp_path / "IMG-20240203-WA0001.jpg"
    picture().save(path, writer)
    facts = read_photo(str(path), TODAY)
    assert facts.kind == kind
    assert (facts.capture_local, facts.fault) == (None, PhotoFault.NO_TIME)
    assert facts.problem == (
        "no capture time recorded; its name says 2024-02-03, perhaps when it was received: not used"
    )
    assert not facts.unread


@pytest.mark.parametrize(
    "raw", ["0000:00:00 00:00:00", "2023:02:30 10:00:00", "2023-12-01T10:00:00"]
)
def test_bad_times_show_what_was_recorded(tmp_path: Path, raw: str) -> None:
    facts = read_photo(str(save(tmp_path / "a.jpg", original=raw)), TODAY)
    assert facts.capture_local is None
    assert facts.fault == PhotoFault.BAD_TIME
    assert raw in str(facts.problem)


def test_an_implausible_time_is_kept_and_named(tmp_path: Path) -> None:
    facts = read_photo(str(save(tmp_path / "a.jpg", original="2000:01:01 00:00:05")), TODAY)
    assert facts.capture_local == "2000-01-01T00:00:05"
    assert facts.fault == PhotoFault.IMPLAUSIBLE
    later = read_photo(str(save(tmp_path / "b.jpg")), date(2020, 1, 1))
    assert later.fault == PhotoFault.IMPLAUSIBLE


def test_the_preview_inside_an_exif_block_is_found() -> None:
    thumb = io.BytesIO()
    picture((16, 12)).save(thumb, "JPEG")
    data = thumb.getvalue()
    second_at = 8 + 2 + 12 + 4
    data_at = second_at + 2 + 3 * 12 + 4
    block = tiff_block([(0x0112, 3, 1, struct.pack("<HH", 1, 0))], next_ifd=second_at)
    block += struct.pack("<H", 3) + struct.pack("<HHIHH", 0x0103, 3, 1, 6, 0)
    block += struct.pack("<HHII", 0x0201, 4, 1, data_at)
    block += struct.pack("<HHII", 0x0202, 4, 1, len(data)) + b"\0\0\0\0" + data
    assert embedded_preview(b"Exif\0\0" + block) == data
    assert embedded_preview(block[:30]) is None
    assert embedded_preview(None) is None


def test_the_preview_of_a_dng_is_the_largest_jpeg_in_its_directories(tmp_path: Path) -> None:
    data = jpeg_header(320, 240)
    inner_at = 8 + 2 + 4 * 12 + 4
    data_at = inner_at + 2 + 5 * 12 + 4
    outer = [
        (0x0100, 4, 1, struct.pack("<I", 64)),
        (0x0101, 4, 1, struct.pack("<I", 48)),
        (0x014A, 4, 1, struct.pack("<I", inner_at)),
        (0xC612, 1, 4, b"\1\4\0\0"),
    ]
    inner = [
        (0x0100, 4, 1, struct.pack("<I", 4000)),
        (0x0101, 4, 1, struct.pack("<I", 3000)),
        (0x0103, 3, 1, struct.pack("<HH", 7, 0)),
        (0x0111, 4, 1, struct.pack("<I", data_at)),
        (0x0117, 4, 1, struct.pack("<I", len(data))),
    ]
    body = struct.pack("<H", 5) + b"".join(struct.pack("<HHI4s", *e) for e in inner) + b"\0" * 4
    path = tmp_path / "a.dng"
    path.write_bytes(tiff_block(outer) + body + data)
    facts = read_photo(str(path), TODAY)
    assert (facts.kind, facts.width, facts.height) == ("dng", 4000, 3000)
    assert (facts.preview_at, facts.preview_bytes) == (data_at, len(data))


def test_dng_by_its_tag_with_serial(tmp_path: Path) -> None:
    serial = b"SN77\0\0\0\0"
    entries = [
        (0x0100, 4, 1, struct.pack("<I", 640)),
        (0x0101, 4, 1, struct.pack("<I", 480)),
        (0xC612, 1, 4, b"\1\4\0\0"),
        (0xC62F, 2, 5, struct.pack("<I", 8 + 2 + 4 * 12 + 4)),
    ]
    path = tmp_path / "a.dng"
    path.write_bytes(tiff_block(entries) + serial)
    facts = read_photo(str(path), TODAY)
    assert (facts.kind, facts.serial, facts.width) == ("dng", "SN77", 640)


def test_original_time_in_the_first_directory_counts_too(tmp_path: Path) -> None:
    """TIFF/EP (ISO 12234-2) keeps DateTimeOriginal in IFD0, as raw files do."""
    date_at = 8 + 2 + 12 + 4
    entries = [(ORIGINAL, 2, 20, struct.pack("<I", date_at))]
    path = tmp_path / "a.tif"
    path.write_bytes(tiff_block(entries) + b"2024:06:01 10:00:00\0")
    assert read_photo(str(path), TODAY).capture_local == "2024-06-01T10:00:00"


def test_a_video_behind_the_picture_is_no_damage(tmp_path: Path) -> None:
    path = save(tmp_path / "a.jpg")
    path.write_bytes(path.read_bytes() + b"\0\0\0\x18ftypmp42" + b"\0" * 500)
    facts = read_photo(str(path), TODAY)
    assert facts.problem is None


def test_a_jpeg_cut_off_in_its_header_keeps_the_time_that_was_before(tmp_path: Path) -> None:
    whole = jpeg_with(exif_block().tobytes().removeprefix(b"Exif\0\0"))
    path = tmp_path / "a.jpg"
    path.write_bytes(whole[: 4 + int.from_bytes(whole[4:6], "big") + 6])
    facts = read_photo(str(path), TODAY)
    assert facts.capture_local == "2024-06-01T10:00:00"
    assert facts.camera == "Umberfold Ninth"
    assert facts.fault == PhotoFault.DAMAGED


@pytest.mark.parametrize(
    "head", [b"\0\0\0\x18ftypcrx isom", b"FUJIFILMCCD-RAW 0201", b"IIRO\x08\0\0\0", b"FOVb\0\0"]
)
def test_raw_files_are_known_by_their_content(head: bytes) -> None:
    assert photo_kind(head + b"\0" * 100) == "raw"


def test_padding_behind_the_picture_is_nothing(tmp_path: Path) -> None:
    path = save(tmp_path / "a.jpg")
    path.write_bytes(path.read_bytes() + b"\0" * 4096)
    facts = read_photo(str(path), TODAY)
    assert facts.problem is None


def test_png_exif_as_raw_profile_of_older_tools(tmp_path: Path) -> None:
    block = b"Exif\0\0" + exif_block().tobytes().removeprefix(b"Exif\0\0")
    text = f"\nexif\n{len(block):8}\n{block.hex()}\n".encode()
    body = b"Raw profile type exif\0\0" + zlib.compress(text)
    chunk = struct.pack(">I", len(body)) + b"zTXt" + body
    chunk += struct.pack(">I", zlib.crc32(b"zTXt" + body))
    buffer = io.BytesIO()
    picture().save(buffer, "PNG")
    plain = buffer.getvalue()
    path = tmp_path / "a.png"
    path.write_bytes(plain[:33] + chunk + plain[33:])
    assert read_photo(str(path), TODAY).capture_local == "2024-06-01T10:00:00"


def test_200_megapixels_are_read_and_a_bomb_is_refused(tmp_path: Path) -> None:
    block = exif_block().tobytes().removeprefix(b"Exif\0\0")
    phone, bomb = tmp_path / "phone.jpg", tmp_path / "bomb.jpg"
    phone.write_bytes(jpeg_header(16320, 12240, block))
    bomb.write_bytes(jpeg_header(40000, 25000, block))
    facts = read_photo(str(phone), TODAY)
    assert (facts.width, facts.height, facts.problem) == (16320, 12240, None)
    assert facts.capture_local == "2024-06-01T10:00:00"
    assert read_photo(str(bomb), TODAY).fault == PhotoFault.UNREADABLE


def test_times_agree_with_exifread(tmp_path: Path) -> None:
    for seconds in range(0, 86400 * 400, 86400 * 37 + 4321):
        moment = f"{date(2020, 2, 28) + timedelta(seconds=seconds):%Y:%m:%d} 07:08:09"
        path = save(tmp_path / "a.jpg", original=moment, offset="-03:30", subsec="7")
        facts = read_photo(str(path), TODAY)
        with path.open("rb") as stream:
            tags = exifread.process_file(stream, details=False)
        said = str(tags["EXIF DateTimeOriginal"]).replace(":", "-", 2).replace(" ", "T")
        assert facts.capture_local == f"{said}.{tags['EXIF SubSecTimeOriginal']}"
        assert facts.offset == str(tags["EXIF OffsetTimeOriginal"])


DIFFERENCES = {
    # file -> (field, exiftool's value, ours): why ours differs
    ("jpg__corrupted.jpg", "SerialNumber"): "only in the MakerNote, which is never entered",
}


def test_shared_photos_agree_with_exiftool() -> None:
    folder = need_shared("photos")
    listed = json.loads((folder / "exiftool_times.json").read_text())
    seen: set[tuple[str, str]] = set()
    for row in listed:
        name = row["SourceFile"]
        if name == "exiftool_times.json":
            continue
        facts = read_photo(str(folder / name), TODAY)
        ours = {
            "SerialNumber": facts.serial,
            "Orientation": facts.orientation,
            "OffsetTimeOriginal": facts.offset,
            "SubSecTimeOriginal": None,
            "Make": facts.make,
            "Model": facts.model,
            "DateTimeOriginal": None,
        }
        if facts.capture_local:
            whole, _, digits = facts.capture_local.partition(".")
            ours["SubSecTimeOriginal"] = digits or None
            ours["DateTimeOriginal"] = whole.replace("-", ":").replace("T", " ")
        theirs = {key: row.get(key) for key in ours}
        theirs = {k: v.strip() if isinstance(v, str) else v for k, v in theirs.items()}
        if isinstance(theirs["SubSecTimeOriginal"], int):
            theirs["SubSecTimeOriginal"] = str(theirs["SubSecTimeOriginal"])
        if theirs["DateTimeOriginal"] and theirs["DateTimeOriginal"].endswith("Z"):
            # from XMP, where the zone is part of the value: we report it as the offset
            theirs["DateTimeOriginal"] = theirs["DateTimeOriginal"][:-1]
            theirs["OffsetTimeOriginal"] = "+00:00"
        for key, value in theirs.items():
            if ours[key] != value:
                seen.add((name, key))
    assert seen == set(DIFFERENCES)


def test_all_kinds_agree_with_exiftool_where_it_is_installed(tmp_path: Path) -> None:
    exiftool = shutil.which("exiftool")
    if exiftool is None:
        pytest.skip("exiftool is not installed: the other oracles still ran")
    for number, writer in enumerate(KINDS):
        save(tmp_path / f"{writer}-a.jpg", writer, offset="+05:45", subsec="050", serial="77")
        save(
            tmp_path / f"{writer}-b.jpg", writer, orientation=1 + number, make="Fööü", original=None
        )
    tags = ["DateTimeOriginal", "SubSecTimeOriginal", "OffsetTimeOriginal", "Make", "Model"]
    command = [exiftool, "-json", *(f"-{t}" for t in (*tags, "SerialNumber", "Orientation#"))]
    said = subprocess.run([*command, str(tmp_path)], check=True, capture_output=True).stdout
    rows = json.loads(said)
    assert len(rows) == 2 * len(KINDS)
    for row in rows:
        facts = read_photo(row["SourceFile"], TODAY)
        whole, _, digits = (facts.capture_local or "").partition(".")
        assert whole.replace("-", ":").replace("T", " ") == row.get("DateTimeOriginal", "")
        assert digits == str(row.get("SubSecTimeOriginal", "")).zfill(len(digits))
        assert facts.offset == row.get("OffsetTimeOriginal")
        assert (facts.make, facts.model) == (row["Make"], row["Model"])
        assert facts.serial == (str(row["SerialNumber"]) if "SerialNumber" in row else None)
        assert (facts.orientation or 1) == row.get("Orientation", 1)


def test_unreadable_by_permission(tmp_path: Path) -> None:
    path = save(tmp_path / "a.jpg")
    path.chmod(0)
    if os.access(path, os.R_OK):
        pytest.skip("this user may read everything, so permissions cannot be tested")
    facts = read_photo(str(path), TODAY)
    assert facts.fault == PhotoFault.UNREADABLE
    assert facts.problem == "permission denied"
