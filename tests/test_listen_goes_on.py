"""`listen` while somebody works on the same record in another terminal, and where it cannot start.

Each conversation is a file played as if spoken; a stand-in for the recogniser says which words each
utterance was, and runs commands in the "other terminal" just before it hears one.
"""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile as sf
from click.testing import Result

from fieldlog import config
from fieldlog.audio.clip import RATE, Clip
from fieldlog.catalogue.files import load_catalogue
from fieldlog.errors import ModelError
from fieldlog.limits.cautions import DEFERS, at_start
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.understanding import Decision
from fieldlog.store.records import InspectionRecord, NewEntry
from fieldlog.store.repository import Repository
from tests.spoken import run, sentence, stub_listener


@dataclass
class Told:
    """A listener that is told what each utterance was: words, or what is done in their place."""

    turns: list[str | Exception | Callable[[], str]]
    name: str = "told"
    _known: dict[float, str | Exception] = field(default_factory=dict)

    def load(self, language: object) -> None:
        """Nothing to load."""

    def hear(self, clip: Clip) -> Hearing:
        """The same for an utterance at its first silence and at its end."""
        if clip.start_s not in self._known:
            turn = self.turns[len(self._known)]
            self._known[clip.start_s] = turn() if callable(turn) else turn
        said = self._known[clip.start_s]
        if isinstance(said, Exception):
            raise said
        return Hearing(self.name, (Hypothesis(said, 0.0),), 1.0)

    def close(self) -> None:
        """Nothing to close."""


@dataclass
class Shop:
    """A record with one inspection, and `listen` on it."""

    store: Path
    folder: Path
    monkeypatch: pytest.MonkeyPatch

    def other(self, *words: str) -> str:
        """A command of the other terminal."""
        done = run(*words, "--store", self.store)
        assert done.exit_code == 0, done.output
        return done.output

    def listen(self, *turns: str | Exception | Callable[[], str]) -> Result:
        """A whole `listen`; one utterance for each turn."""
        told = Told(list(turns))
        self.monkeypatch.setattr("fieldlog.listeners.choose.open_listener", lambda *_, **__: told)
        one = sentence()[RATE // 2 : 5 * RATE]
        sf.write(self.folder / "walk.wav", np.tile(one, len(turns)), RATE)
        done = run("listen", "--source", self.folder / "walk.wav", "--fast", "--inspection", "last",
                   "--store", self.store)  # fmt: skip
        assert done.exit_code == 0, done.output
        assert "AssertionError" not in done.stdout  # of the other terminal
        assert sum(u.clip is not None for u in self.record.utterances) == len(turns)
        return done

    def first(self, command: list[str], words: str) -> Callable[[], str]:
        """``words``, said after the other terminal ran ``command``."""

        def turn() -> str:
            self.other(*command)
            return words

        return turn

    @property
    def record(self) -> InspectionRecord:
        with Repository.open(self.store) as store:
            assert store.verify().agrees
            return store.inspection_record("last")

    def standing(self) -> list[str]:
        """Place and value of what stands, as the record shows it."""
        return [
            f"{f.finding.position} {f.finding.quantity.value if f.finding.quantity else ''}".strip()
            for f in self.record.findings if f.stands
        ]  # fmt: skip


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Shop:
    stub_listener(monkeypatch)
    made = Shop(tmp_path / "record", tmp_path, monkeypatch)
    made.other("vehicle", "add", "grey twin", "--set", "rim=steel")
    made.other("inspection", "start", "1", "--jurisdiction", "US-VA")
    return made


FRONT, REAR = "front pads three millimetres", "rear pads four millimetres"
WITHDRAW = ["inspection", "withdraw", "2", "--reason", "wrong wheel"]
CORRECT = ["inspection", "correct", "2", "rear pads five millimetres"]


def test_the_usual_cautions_come_first(shop: Shop) -> None:
    done = shop.listen(FRONT)
    catalogue = load_catalogue(config.grammars())
    assert len(at_start(catalogue)) > 5
    for caution in at_start(catalogue):
        assert f"  caution: {caution}" in done.stderr


def test_hear_shows_the_cautions_of_each_finding(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stub_listener(monkeypatch)
    heard = Told(["front brake line leaking"])
    monkeypatch.setattr("fieldlog.listeners.choose.open_listener", lambda *_, **__: heard)
    sf.write(tmp_path / "walk.wav", sentence()[RATE // 2 : 5 * RATE], RATE)
    done = run("hear", tmp_path / "walk.wav")
    assert done.exit_code == 0, done.output
    for caution in (*load_catalogue(config.grammars())["brake line"].warned, DEFERS):
        assert f"caution: {caution}" in done.stdout


# -- corrected by other hands ----------------------------------------------------------------------


def test_disregard_of_what_was_withdrawn_elsewhere_takes_no_other_finding_along(shop: Shop) -> None:
    done = shop.listen(FRONT, REAR, shop.first(WITHDRAW, "disregard that"))
    assert shop.standing() == ["front 3"]
    assert "withdrawn elsewhere already; nothing else was" in done.stdout
    assert shop.record.utterances[-1].clip is not None


def test_a_second_disregard_goes_on_to_the_finding_before(shop: Shop) -> None:
    shop.listen(FRONT, REAR, shop.first(WITHDRAW, "disregard that"), "disregard that")
    assert shop.standing() == []


def test_disregard_takes_back_what_a_correction_elsewhere_made_of_it(shop: Shop) -> None:
    shop.listen(FRONT, REAR, shop.first(CORRECT, "disregard that"))
    assert shop.standing() == ["front 3"]


def test_disregard_leaves_alone_what_was_typed_elsewhere(shop: Shop) -> None:
    typed = ["inspection", "enter", "front disc four point two millimetres"]
    shop.listen(FRONT, REAR, shop.first(typed, "disregard that"))
    assert shop.standing() == ["front 3", "front 21/5"]


@pytest.mark.parametrize(
    "words", ["correction rear pads six millimetres", "correction six millimetres"]
)
def test_a_correction_replaces_the_one_that_stands_now(shop: Shop, words: str) -> None:
    shop.listen(FRONT, REAR, shop.first(CORRECT, words))
    assert shop.standing() == ["front 3", "rear 6"]
    assert [f.superseded_by is not None for f in shop.record.findings] == [False, True, True, False]


def test_a_correction_of_what_was_withdrawn_elsewhere_is_a_finding_of_its_own(shop: Shop) -> None:
    shop.listen(FRONT, REAR, shop.first(WITHDRAW, "correction rear pads six millimetres"))
    assert shop.standing() == ["front 3", "rear 6"]
    (withdrawn,) = (f for f in shop.record.findings if f.withdrawn)
    assert withdrawn.number == 2


def test_what_was_typed_elsewhere_can_be_corrected(shop: Shop) -> None:
    typed = ["inspection", "enter", "rear pads four millimetres"]
    shop.listen(FRONT, shop.first(typed, "correction rear pads six millimetres"))
    assert shop.standing() == ["front 3", "rear 6"]


def test_after_a_spoken_correction_disregard_brings_back_what_it_corrected(shop: Shop) -> None:
    done = shop.listen(
        FRONT, REAR, "correction six millimetres", "disregard that", "disregard that"
    )
    assert shop.standing() == ["front 3"]
    assert done.stdout.count("withdrawn: ") == 2


def test_a_photo_is_of_what_stands(shop: Shop) -> None:
    shop.listen(FRONT, REAR, shop.first(CORRECT, "take photo"))
    record = shop.record
    assert [mark.finding_id for mark in record.marks] == [record.findings[2].id]


def test_a_photo_after_a_finding_withdrawn_elsewhere_is_of_none(shop: Shop) -> None:
    shop.listen(FRONT, REAR, shop.first(WITHDRAW, "take photo"))
    assert [mark.finding_id for mark in shop.record.marks] == [None]


# -- the walk and the vehicle, changed by other hands ----------------------------------------------


def open_in(told: str) -> list[int]:
    """How much was open each time."""
    return [int(count) for count in re.findall(r"open: (\d+) to look at", told)]


def test_an_item_left_out_elsewhere_is_no_longer_open(shop: Shop) -> None:
    skip = ["inspection", "skip", "horn", "--reason", "no key"]
    done = shop.listen("what is open", shop.first(skip, "what is open"))
    before, after = open_in(done.stdout)
    assert after == before - 1


def test_a_limit_given_elsewhere_judges_what_is_said_next(shop: Shop) -> None:
    limit = ["vehicle", "limit", "1", "brake pads", "thickness", "at least", "3.5 mm",
             "--source", "maker's handbook, p. 12"]  # fmt: skip
    shop.listen(FRONT, shop.first(limit, FRONT))
    print([(u.text, u.decision, u.reason) for u in shop.record.utterances])
    states = [f.verdict.state.value for f in shop.record.findings if f.verdict]
    assert states[0] != states[1] == "beyond"


def test_a_fact_given_elsewhere_changes_the_walk(shop: Shop) -> None:
    done = shop.listen(
        "what is open", shop.first(["vehicle", "set", "1", "cooling=air"], "what is open")
    )
    before, after = open_in(done.stdout)
    assert after < before


def test_what_is_said_after_the_sign_off_is_kept(shop: Shop) -> None:
    shop.listen(FRONT, shop.first(["inspection", "sign-off", "A. Smith", "--as-it-stands"], REAR))
    assert shop.standing() == ["front 3", "rear 4"]


# -- one utterance fails ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    "fault", [ModelError("the model is gone", todo="put it back"), ValueError("no such state")]
)
def test_what_the_listener_fails_on_is_kept_with_its_sound(shop: Shop, fault: Exception) -> None:
    done = shop.listen(FRONT, fault, REAR)
    assert shop.standing() == ["front 3", "rear 4"]
    kept = shop.record.utterances[1]
    assert kept.decision is Decision.REFUSE
    assert str(fault) in kept.reason
    assert kept.clip is not None
    with Repository.open(shop.store) as store:
        assert store.media.fault(kept.clip) is None
    assert f"NOT TAKEN, say it again: {kept.reason}" in done.stdout


def test_a_finding_that_cannot_be_judged_is_kept_as_words_and_sound(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    from fieldlog.limits.assess import assess as judged

    def assess(finding: Any, *others: Any) -> Any:
        if finding.position == "rear":
            raise ValueError("no such limit")
        return judged(finding, *others)

    monkeypatch.setattr("fieldlog.shop.scene.assess", assess)
    done = shop.listen(FRONT, REAR, FRONT)
    assert shop.standing() == ["front 3", "front 3"]
    kept = shop.record.utterances[1]
    assert (kept.text, kept.decision, kept.clip is None) == (REAR, Decision.REFUSE, False)
    assert f"no such limit (heard: {REAR})" in done.stdout


def test_a_race_for_one_finding_supersedes_it_once(shop: Shop, monkeypatch: Any) -> None:
    """The other terminal is quicker, between reading what stands and saving."""
    save = Repository.save

    def late(store: Repository, inspection: str, entry: NewEntry) -> Any:
        if entry.corrects:
            monkeypatch.setattr(Repository, "save", save)
            shop.other(*WITHDRAW)
        return save(store, inspection, entry)

    monkeypatch.setattr(Repository, "save", late)
    done = shop.listen(FRONT, REAR, "disregard that", FRONT)
    assert shop.standing() == ["front 3", "front 3"]
    assert "already corrected or withdrawn" in done.stdout
    assert [u.text for u in shop.record.utterances] == [FRONT, REAR, "disregard that", FRONT]


# -- listening that cannot start makes nothing -----------------------------------------------------


class NoSound:
    """As much of sounddevice as is asked when a device is looked for; none can be opened."""

    def query_hostapis(self) -> list[dict[str, str]]:
        return [{"name": "Fake"}]

    def query_devices(self, index: int | None = None, kind: str = "") -> Any:
        found = {"name": "USB mic", "hostapi": 0, "max_input_channels": 1,
                 "default_samplerate": 16_000.0}  # fmt: skip
        return {"index": 0} if kind else [found] if index is None else found

    def InputStream(self, **how: object) -> Any:
        raise RuntimeError("Invalid sample rate [PaErrorCode -9997]")


def refused(store: Path, *arguments: str | Path) -> str:
    done = run("listen", *arguments, "--store", store)
    assert done.exit_code in {2, 5, 8}, done.output
    return done.stderr


@pytest.mark.parametrize(
    ("device", "says"),
    [("nosuchmic", "no microphone is called 'nosuchmic'; there are: USB mic"),
     ("usb", "cannot be opened at any rate")],
)  # fmt: skip
def test_a_device_that_cannot_be_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, device: str, says: str
) -> None:
    stub_listener(monkeypatch)
    monkeypatch.setitem(sys.modules, "sounddevice", NoSound())
    assert says in refused(tmp_path / "record", "--device", device, "--vehicle", "grey twin")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("content", [None, b"", b"no sound at all " * 64, "cut", "headers only"])
def test_a_source_that_cannot_be_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, content: bytes | str | None
) -> None:
    stub_listener(monkeypatch)
    source = tmp_path / "walk.flac"
    if isinstance(content, bytes):
        source.write_bytes(content)
    elif content is not None:
        sf.write(source, sentence(), RATE)
        whole = source.read_bytes()
        frames = b"\0" * 2000 if content == "headers only" else b""
        source.write_bytes(whole[: 20 if content == "cut" else 100] + frames)
    assert "walk.flac" in refused(tmp_path / "record", "--source", source)
    assert not (tmp_path / "record").exists()


@pytest.mark.parametrize("key", ["last", "7", "not-an-id"])
def test_an_inspection_that_is_not_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, key: str
) -> None:
    stub_listener(monkeypatch)
    source = tmp_path / "walk.wav"
    sf.write(source, sentence(), RATE)
    said = refused(tmp_path / "record", "--source", source, "--inspection", key)
    assert "there is no record here" in said
    assert not (tmp_path / "record").exists()


def test_an_inspection_that_the_record_does_not_hold(shop: Shop) -> None:
    source = shop.folder / "walk.wav"
    sf.write(source, sentence(), RATE)
    before = sorted(shop.store.rglob("*"))
    assert "no inspection '7'" in refused(shop.store, "--source", source, "--inspection", "7")
    assert sorted(shop.store.rglob("*")) == before


def test_a_folder_for_the_recording_that_cannot_be_made(shop: Shop) -> None:
    source = shop.folder / "walk.wav"
    sf.write(source, sentence(), RATE)
    (shop.folder / "file").write_text("in the way", encoding="utf-8")
    refused(shop.store, "--source", source, "--keep", shop.folder / "file" / "keep")
    assert (
        len(json.loads(f"[{shop.other('inspection', 'list', '--json').replace(chr(10), ',')}0]"))
        == 2
    )
