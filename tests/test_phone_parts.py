"""Sound by sequence numbers, the phone's clock, pairing, the list of phones, certificates: the parts alone."""

from __future__ import annotations

import hashlib
import ipaddress
import re
import stat
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from cryptography import x509
from cryptography.x509.oid import ExtendedKeyUsageOID
from hypothesis import given
from hypothesis import strategies as st

from fieldlog.apart.frames import READY
from fieldlog.apart.process import Lost, Process
from fieldlog.errors import StoreError, UsageError
from fieldlog.photos.importer import import_files
from fieldlog.photos.placing import unplaced_yet
from fieldlog.serve.phone import face
from fieldlog.serve.phone.book import PhoneBook, forget
from fieldlog.serve.phone.certificate import certify
from fieldlog.serve.phone.frames import BadFrame, Intake, read_frame, write_frame
from fieldlog.serve.phone.offset import Ahead, ClockAhead, Round
from fieldlog.serve.phone.pairing import MOST_WRONG, Entry, Pairing, TooMany, plain_name
from fieldlog.serve.phone.photos import PhonePhotos, Refusal
from fieldlog.store.repository import Repository
from tests.photo_files import jpeg_with

RATE = 16_000
TENTH = 1_600
NOW = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)


def frame(sequence: int, *, skipped: int = 0, level: int = 100) -> bytes:
    samples = np.full(TENTH, level, dtype=np.int16)
    return write_frame(sequence, sequence * TENTH + skipped, 1000.0 + sequence * 100, samples)


# -- frames ---------------------------------------------------------------------------------------


def test_frames_in_order_leave_no_gap_and_a_frame_sent_again_counts_once() -> None:
    intake = Intake(RATE)
    taken = [intake.take(read_frame(frame(n))) for n in (0, 1, 1, 0, 2)]
    assert [piece is not None for piece in taken] == [True, True, False, False, True]
    assert all(piece.missing_s == 0.0 for piece in taken if piece is not None)
    assert intake.next == 3


def test_samples_that_the_phone_dropped_are_told_with_their_length() -> None:
    """Blocks of 128 that never come are no rare thing (extendable-media-recorder-wav-encoder#400)."""
    intake = Intake(RATE)
    intake.take(read_frame(frame(0)))
    piece = intake.take(read_frame(frame(1, skipped=128)))
    assert piece is not None
    assert piece.missing_s == pytest.approx(0.008)


def test_frames_that_the_phone_no_longer_has_are_a_gap() -> None:
    intake = Intake(RATE)
    intake.take(read_frame(frame(0)))
    piece = intake.take(read_frame(frame(5)))
    assert piece is not None
    assert piece.missing_s == pytest.approx(0.4)


def test_a_damaged_frame_is_a_gap_and_not_silence() -> None:
    """A store that gives back zeros (mediabunny#459) must not look like a pause."""
    intake = Intake(RATE)
    intake.take(read_frame(frame(0)))
    zeros = frame(1)[:32] + bytes(2 * TENTH)
    assert intake.take(read_frame(zeros)) is None
    piece = intake.take(read_frame(frame(2)))
    assert piece is not None
    assert piece.missing_s == pytest.approx(0.1)
    assert intake.next == 3


def test_a_stream_whose_beginning_was_taken_elsewhere_starts_where_it_is() -> None:
    intake = Intake(RATE, begins=7)
    piece = intake.take(read_frame(frame(7)))
    assert piece is not None
    assert piece.missing_s == 0.0


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"FLP1",
        b"XXXX" + frame(0)[4:],
        frame(0)[:-1],
        frame(0) + b"\0\0",
        write_frame(0, -1.0, 0.0, np.zeros(4, np.int16)),
        write_frame(0, float("nan"), 0.0, np.zeros(4, np.int16)),
        write_frame(0, 0.0, float("inf"), np.zeros(4, np.int16)),
        write_frame(0, 0.0, 0.0, np.zeros(0, np.int16)),
        write_frame(0, 0.0, 0.0, np.zeros(20_000, np.int16)),
    ],
)
def test_what_is_no_frame_is_refused(data: bytes) -> None:
    with pytest.raises(BadFrame):
        read_frame(data)


def test_a_count_that_goes_back_is_refused() -> None:
    intake = Intake(RATE)
    intake.take(read_frame(frame(0)))
    with pytest.raises(BadFrame):
        intake.take(read_frame(frame(1, skipped=-TENTH)))
    with pytest.raises(BadFrame):
        Intake(2)


@given(st.lists(st.integers(0, 30), max_size=60))
def test_whatever_comes_again_each_frame_counts_at_most_once(sent: list[int]) -> None:
    intake = Intake(RATE)
    taken = [n for n in sent if intake.take(read_frame(frame(n))) is not None]
    assert taken == sorted(set(taken))


# -- the phone's clock ----------------------------------------------------------------------------


def test_a_clock_that_is_ahead_is_measured_within_half_the_way() -> None:
    clock = ClockAhead()
    for start, there, back in ((0.0, 0.30, 0.02), (5.0, 0.010, 0.020), (9.0, 0.4, 0.4)):
        got = start + there + 2232.4
        assert clock.add(Round(start, got, got + 0.001, start + there + 0.001 + back))
    found = clock.at(9.0)
    assert found is not None
    assert abs(found.seconds - 2232.4) <= found.uncertainty_s < 0.02


def test_a_clock_that_was_set_meanwhile_is_measured_anew() -> None:
    clock = ClockAhead()
    clock.add(Round(0.0, 100.0005, 100.0005, 0.001))  # the better round, of a clock that is no more
    clock.add(Round(10.0, 13.01, 13.01, 10.02))
    found = clock.at(10.0)
    assert found is not None
    assert found.seconds == pytest.approx(3.0, abs=0.02)


def test_an_answer_before_its_question_counts_for_nothing() -> None:
    clock = ClockAhead()
    assert not clock.add(Round(5.0, 4.0, 3.0, 6.0))
    assert not clock.add(Round(5.0, 4.0, 4.0, 4.0))
    assert not clock.add(Round(5.0, 5.0, 9.0, 6.0))
    assert clock.at(6.0) is None


# -- pairing --------------------------------------------------------------------------------------


class Clock:
    now = 0.0

    def __call__(self) -> float:
        return self.now


def test_a_phone_comes_in_by_a_code_once_after_a_yes_to_its_digits() -> None:
    pairing = Pairing(Clock())
    code = pairing.offer()
    asked = pairing.ask(code, "a phone")
    assert asked is not None
    assert pairing.ask(code, "another") is None, "a code opens once"
    assert pairing.fetch(asked.ticket) == (Entry.WAITING, "a phone")
    assert not pairing.allow("12345")
    assert pairing.fetch(asked.ticket)[0] is Entry.WAITING
    assert pairing.allow(asked.digits)
    assert pairing.fetch("guessed")[0] is Entry.GONE
    assert pairing.fetch(asked.ticket) == (Entry.ALLOWED, "a phone")
    assert pairing.fetch(asked.ticket)[0] is Entry.GONE, "it is given once"


def test_a_new_code_closes_the_old_one_and_its_request() -> None:
    """Elsewhere the old code stayed good after "new code" (fused-render PR#902)."""
    pairing = Pairing(Clock())
    old = pairing.offer()
    pairing.offer()
    assert pairing.ask(old, "x") is None
    asked = pairing.ask(pairing.offer(), "x")
    assert asked is not None
    pairing.offer()
    assert not pairing.allow(asked.digits)
    assert pairing.fetch(asked.ticket)[0] is Entry.GONE


def test_codes_and_requests_end_after_two_minutes() -> None:
    clock = Clock()
    pairing = Pairing(clock)
    code = pairing.offer()
    clock.now = 120.5
    assert pairing.ask(code, "x") is None
    asked = pairing.ask(pairing.offer(), "x")
    assert asked is not None
    clock.now += 120.5
    assert not pairing.allow(asked.digits)
    assert pairing.fetch(asked.ticket)[0] is Entry.GONE


def test_who_is_turned_down_is_out() -> None:
    pairing = Pairing(Clock())
    asked = pairing.ask(pairing.offer(), "x")
    assert asked is not None
    pairing.turn_down()
    assert pairing.fetch(asked.ticket)[0] is Entry.GONE


def test_wrong_codes_are_limited() -> None:
    clock = Clock()
    pairing = Pairing(clock)
    code = pairing.offer()
    for _ in range(MOST_WRONG):
        assert pairing.ask("guess", "x") is None
    with pytest.raises(TooMany):
        pairing.ask(code, "x")
    clock.now = 61.0
    assert pairing.ask(code, "x") is not None


def test_a_phones_name_cannot_act_on_a_terminal() -> None:
    assert plain_name("\x1b[2J my\nphone\u202e ") == "[2J my phone"
    assert plain_name("\n") == "phone"
    assert len(plain_name("x" * 500)) == 40


# -- the list of phones ---------------------------------------------------------------------------


def test_a_phone_is_known_by_its_secret_until_it_is_revoked(tmp_path: Path) -> None:
    book = PhoneBook(tmp_path / "keys", lambda: NOW)
    secret, phone = book.add("a phone")
    session = book.session(secret)
    assert session is not None
    assert session.name == phone.id
    assert book.session("another") is None
    text = (tmp_path / "keys" / "phones.json").read_text()
    assert secret not in text
    assert session.token not in text
    # from another terminal, as a command does
    PhoneBook(tmp_path / "keys", lambda: NOW).revoke("1")
    assert book.session(secret) is None
    assert book.phone(phone.id) is None
    with pytest.raises(UsageError):
        book.revoke("7")


def test_a_pairing_ends_after_ninety_days(tmp_path: Path) -> None:
    secret, _ = PhoneBook(tmp_path, lambda: NOW).add("a phone")
    assert PhoneBook(tmp_path, lambda: NOW + timedelta(days=89)).session(secret)
    assert not PhoneBook(tmp_path, lambda: NOW + timedelta(days=90)).session(secret)


def test_a_broken_list_lets_nobody_in(tmp_path: Path) -> None:
    (tmp_path / "phones.json").write_text('[{"number": 1}]')
    with pytest.raises(StoreError):
        PhoneBook(tmp_path).session("x")


# -- certificates ---------------------------------------------------------------------------------


def test_a_photo_that_was_kept_when_the_program_was_killed_is_tried_again(tmp_path: Path) -> None:
    """It was in the record, without the clock of its phone and without a finding."""
    data = jpeg_with(b"at the wrong moment")
    name, arrived = hashlib.sha256(data).hexdigest(), tmp_path / "record" / "from-phone"
    arrived.mkdir(parents=True)
    with Repository.open(tmp_path / "record") as store:
        head = store.start_inspection(store.add_vehicle("grey twin").id)
        (arrived / f"{name[:16]}.jpg").write_bytes(data)
        import_files(store, head.id, arrived, [f"{name[:16]}.jpg"], NOW.date())
        assert len(unplaced_yet(store.inspection_record(head.id))) == 1
        photos = PhonePhotos(store, lambda *_: Ahead(2.0, 0.1, 3), imported=lambda _: None)
        have = photos.held(name, head.id).have
        assert have == len(data) - 1
        asked = {"inspection": head.id, "phone": "1", "run": "abcd"}
        assert photos.put(name, have, len(data), data[have:], **asked).whole
        record = store.inspection_record(head.id)
        assert [each.offset_s for each in record.clocks] == [2.0]
        assert unplaced_yet(record) == ()
        assert len(record.photos) == 1
        assert photos.held(name, head.id).whole
    assert list(arrived.iterdir()) == []


def test_a_photo_whose_reader_was_too_slow_waits_on_the_phone_and_is_taken_later(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A busy machine says nothing against a photo: refused for good it would stay on the phone until that forgets it."""
    data = jpeg_with(b"while all cores are busy")
    name = hashlib.sha256(data).hexdigest()
    with Repository.open(tmp_path / "record") as store:
        head = store.start_inspection(store.add_vehicle("grey twin").id)
        photos = PhonePhotos(store, lambda *_: Ahead(2.0, 0.1, 3), imported=lambda _: None)
        asked = {"inspection": head.id, "phone": "1", "run": "abcd"}
        monkeypatch.setattr(Process, "answer", _busy(Process.answer))
        with pytest.raises(Refusal, match="gave up") as refused:
            photos.put(name, 0, len(data), data, **asked)
        assert refused.value.status == 503
        monkeypatch.undo()
        have = photos.held(name, head.id).have
        assert photos.put(name, have, len(data), data[have:], **asked).whole
        assert len(store.inspection_record(head.id).photos) == 1


def test_a_photo_that_is_here_to_its_last_byte_and_not_imported_is_taken(tmp_path: Path) -> None:
    """Killed behind the last piece, or a disk that took it and said that it did not."""
    data = jpeg_with(b"the last piece came")
    name, arrived = hashlib.sha256(data).hexdigest(), tmp_path / "record" / "from-phone"
    with Repository.open(tmp_path / "record") as store:
        head = store.start_inspection(store.add_vehicle("grey twin").id)
        arrived.mkdir()
        (arrived / f"{name}.part").write_bytes(data)
        photos = PhonePhotos(store, lambda *_: Ahead(2.0, 0.1, 3), imported=lambda _: None)
        have = photos.held(name, head.id).have
        asked = {"inspection": head.id, "phone": "1", "run": "abcd"}
        with pytest.raises(Refusal, match="beyond the end"):
            photos.put(name, have - 1, len(data), b"", **asked)
        assert photos.put(name, have, len(data), data[have:], **asked).whole
        assert len(store.inspection_record(head.id).photos) == 1


def _busy(answer: Callable[[Process, float], bytes | Lost]) -> Callable[[Process, float], object]:
    """A process that starts, and then takes too long for whatever is asked."""

    def late(process: Process, longest_s: float) -> bytes | Lost:
        said = answer(process, longest_s)
        return said if said == READY else Lost("no answer in time", hung=True)

    return late


def test_a_certificate_is_what_phones_take_and_the_authority_is_bound(tmp_path: Path) -> None:
    made = certify(tmp_path, ["192.168.1.20", "127.0.0.1"], ["localhost", "bay.local"], NOW)
    leaf, authority = x509.load_pem_x509_certificates(made.certificate.read_bytes())
    names = leaf.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert [str(a) for a in names.get_values_for_type(x509.IPAddress)] == [
        "192.168.1.20",
        "127.0.0.1",
    ]
    assert names.get_values_for_type(x509.DNSName) == ["localhost", "bay.local"]
    assert leaf.not_valid_after_utc - leaf.not_valid_before_utc < timedelta(days=91)
    use = leaf.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
    assert list(use) == [ExtendedKeyUsageOID.SERVER_AUTH]
    leaf.verify_directly_issued_by(authority)
    bound = authority.extensions.get_extension_for_class(x509.NameConstraints)
    assert bound.critical
    ranges = [
        c.value for c in bound.value.permitted_subtrees or () if isinstance(c, x509.IPAddress)
    ]
    assert ipaddress.ip_network("192.168.0.0/16") in ranges
    assert all(each.is_private for each in ranges)
    for path in tmp_path.iterdir():
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(tmp_path.stat().st_mode) == 0o700


def test_the_authority_stays_and_the_certificate_is_new_until_all_is_forgotten(
    tmp_path: Path,
) -> None:
    first = certify(tmp_path, ["10.0.0.1"], [], NOW)
    leaf = first.certificate.read_bytes()
    second = certify(tmp_path, ["10.0.0.2"], [], NOW + timedelta(days=1))
    assert second.fingerprint == first.fingerprint
    assert second.certificate.read_bytes() != leaf
    late = NOW + timedelta(days=5 * 365 - 60)
    assert certify(tmp_path, ["10.0.0.2"], [], late).fingerprint != first.fingerprint
    assert len(forget(tmp_path)) == 4
    assert certify(tmp_path, ["10.0.0.2"], [], NOW).fingerprint != first.fingerprint


@pytest.mark.parametrize("address", ["8.8.8.8", "2001:4860::1", "0.0.0.0", "bay.local"])
def test_no_certificate_for_the_internet(tmp_path: Path, address: str) -> None:
    with pytest.raises(UsageError):
        certify(tmp_path, [address], [], NOW)


# -- the page -------------------------------------------------------------------------------------


def test_the_page_without_a_network_has_every_file_of_it() -> None:
    folder = Path(face.__file__).parent / "page"
    kept = (folder / "offline.js").read_text(encoding="utf-8")
    scripts = {path.stem for path in folder.glob("*.js")} - {"offline"}
    assert {name for name in scripts if not re.search(f'["/]{name}(.js)?"', kept)} == set()
    assert {path.name for path in folder.iterdir() if path.suffix in {".css", ".svg"}} == {
        "phone.css",
        "icon.svg",
    }


def test_nothing_of_the_page_is_inline_or_from_elsewhere() -> None:
    folder = Path(face.__file__).parent / "page"
    page = (folder / "index.html").read_text(encoding="utf-8")
    assert not re.search(r"<script(?![^>]*src=)|<style|\son\w+=|style=", page)
    for path in folder.iterdir():
        text = path.read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", "")
        assert not re.search(r"https?://|innerHTML|insertAdjacentHTML|eval\(", text), path.name
