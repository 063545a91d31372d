"""Sessions that are killed, and sessions whose disk fills: what is in the record after the next start."""

from __future__ import annotations

import io
import os
import random
import shlex
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from pathlib import Path

import soundfile as sf

from fieldlog.audio.clip import RATE
from fieldlog.audio.files import open_audio
from fieldlog.lab.crash import victim
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.understanding import Decision
from fieldlog.shop.ears import Ears
from fieldlog.shop.left_behind import cut_off, taken_again
from fieldlog.shop.workshop import Workshop
from fieldlog.store.records import InspectionRecord

Meaning = tuple[object, ...]
_STAGES = {
    victim.TOLD: "listening",
    victim.HEARING: "hearing",
    victim.HEARD: "waiting for the silence to last",
    victim.ENDED: "taking what had ended",
    victim.WRITING: "writing",
    victim.WRITTEN: "written, not yet told",
}
"""What a session does after the last thing that it told."""


@dataclass(frozen=True, slots=True)
class Whole:
    """A session that nobody cut off: what a cut one is held against."""

    found: Counter[Meaning]
    ends: tuple[tuple[float, tuple[Meaning, ...]], ...]
    """Where each utterance ended in the stream, and what was found in it."""
    lasted_s: float
    """From the first sound to the last commit."""


@dataclass(frozen=True, slots=True)
class Fell:
    """One session that was cut off."""

    number: int
    paced: bool
    """Whether the sound came as fast as it is spoken; else as fast as it was heard."""
    at_s: float
    """Seconds of sound on disk."""
    stage: str
    """What it was doing: the last thing that it told."""
    announced: int
    """Utterances whose commit was reached before."""
    recovered: int
    """Utterances that the next start took."""
    asked: int
    """Of these, asked about or not understood: kept with their sound."""
    lost: tuple[str, ...] = ()
    """What was in the record, or said to its end before, and is not there."""
    doubled: tuple[str, ...] = ()
    wrong: tuple[str, ...] = ()
    """What is in the record and was never said."""

    @property
    def clean(self) -> bool:
        """Nothing lost, doubled or wrong."""
        return not (self.lost or self.doubled or self.wrong)


def excerpt(source: Path, seconds: float, out: Path) -> Path:
    """The first seconds of a recording, and two of silence."""
    with open_audio(source) as audio:
        blocks = []
        for block in audio.blocks(1.0):
            blocks.append(block)
            if len(blocks) >= seconds:
                break
    with sf.SoundFile(out, "w", RATE, 1, "PCM_16") as file:
        for block in blocks:
            file.write(block)
        file.write([0.0] * (2 * RATE))
    return out


@dataclass
class Running:
    """A victim: its process, and what it told."""

    process: subprocess.Popen[bytes]
    told: list[tuple[float, str, str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Begin to read."""
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        victim.lines_of(
            iter(self.process.stdout.readline, b""),
            lambda stage, what: self.told.append((time.monotonic(), stage, what)),
        )

    def of(self, stage: str) -> list[tuple[float, str]]:
        """When it told ``stage``, and what."""
        return [(at, what) for at, each, what in list(self.told) if each == stage]

    def wait_for_sound(self) -> bool:
        """Wait for the first sound; whether there was any."""
        while self.process.poll() is None and not self.of(victim.SOUND):
            time.sleep(0.005)
        return bool(self.of(victim.SOUND))

    def end(self, *, kill: bool) -> str:
        """Kill it, or let it end by itself; what it wrote on stderr."""
        if kill:
            self.process.kill()
        self.process.wait()
        self._reader.join(30.0)
        assert self.process.stdout is not None
        assert self.process.stderr is not None
        self.process.stdout.close()
        with self.process.stderr as stderr:
            return stderr.read().decode("utf-8", "replace")


def start(store: Path, sound: Path, *, paced: bool) -> Running:
    """``fieldlog listen`` on ``sound``."""
    command = [sys.executable, "-m", victim.__name__, "--source", str(sound), "--store", str(store)]
    command += ["--jurisdiction", "US-VA"] + ([] if paced else ["--fast"])
    path = os.pathsep.join(each for each in sys.path if each)
    return Running(
        subprocess.Popen(
            command,
            env=os.environ | {"PYTHONPATH": path},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
    )


def whole(folder: Path, sound: Path, language: InspectionLanguage, *, paced: bool) -> Whole:
    """The session that nobody cuts off."""
    running = start(folder, sound, paced=paced)
    running.wait_for_sound()
    told = running.end(kill=False)
    if running.process.returncode:
        raise RuntimeError(told)
    first, last = running.of(victim.SOUND)[0][0], running.of(victim.WRITTEN)[-1][0]
    record = _record(folder, language)
    by_utterance: dict[str, list[Meaning]] = {}
    for each in record.findings:
        if each.stands:
            by_utterance.setdefault(each.utterance_id or "", []).append(each.finding.meaning)
    ends = tuple((u.end_s, tuple(by_utterance.get(u.id, ()))) for u in record.utterances)
    return Whole(_found(record), ends, last - first)


def killed(
    number: int, sound: Path, of: Whole, ears: Ears, chance: random.Random, *, paced: bool
) -> Fell | None:
    """Kill a session at a random instant and start again; None: it was over, which counts for nothing."""
    with tempfile.TemporaryDirectory(prefix="fieldlog-killed-") as folder:
        store = Path(folder)
        running = start(store, sound, paced=paced)
        running.wait_for_sound()
        time.sleep(chance.uniform(0.0, of.lasted_s))
        over = len(running.of(victim.WRITTEN)) >= len(of.ends)
        running.end(kill=True)
        return None if over else _after(number, store, of, ears, running, paced=paced)


def _after(
    number: int, store: Path, of: Whole, ears: Ears, running: Running, *, paced: bool
) -> Fell:
    language = ears.language
    assert isinstance(language, InspectionLanguage)
    announced = {what for _, what in running.of(victim.WRITTEN)}
    recovered = asked = 0
    with Workshop.open(store, language=language) as shop:
        for cut in cut_off(store):
            for heard, _ in taken_again(cut, shop.inspecting(cut.inspection, ears)):
                recovered += 1
                asked += heard.understanding.decision is not Decision.ACCEPT
        record = shop.store.inspection_record("last")
        checked = shop.store.verify(record.inspection.id)
    sound_s = float(running.of(victim.SOUND)[-1][1])
    stages = [stage for _, stage, _ in running.told if stage != victim.SOUND]
    return Fell(
        number,
        paced,
        sound_s,
        _STAGES[stages[-1] if stages else victim.TOLD],
        len(announced),
        recovered,
        asked,
        *_compared(record, of, announced, sound_s, checked.faults),
    )


def _compared(
    record: InspectionRecord,
    of: Whole,
    announced: set[str],
    sound_s: float,
    faults: Sequence[str],
) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """What is lost, doubled and wrong in ``record``, of which ``sound_s`` seconds had been said.

    Said to its end is what ended, in the whole session, a second before the sound did. What was asked
    about or not understood instead is there with its sound, and not lost.
    """
    found, kept = _found(record), {each.id for each in record.utterances}
    lost = [f"utterance {name}" for name in announced - kept]
    due: Counter[Meaning] = Counter()
    for end_s, meanings in of.ends:
        kept_otherwise = any(
            each.decision is not Decision.ACCEPT and each.start_s < end_s < each.end_s + 1.0
            for each in record.utterances
        )
        if end_s + 1.0 <= sound_s and not kept_otherwise:
            due.update(meanings)
    lost += [str(each) for each in (due - found).elements()]
    doubled = [str(each) for each in (found - of.found) if each in of.found]
    wrong = [str(each) for each in (found - of.found) if each not in of.found]
    return (*lost, *faults), tuple(doubled), tuple(wrong)


def filled(
    number: int, sound: Path, of: Whole, ears: Ears, chance: random.Random, *, paced: bool
) -> Fell | None:
    """A disk with little room: the session goes on, ends with what to do, and that brings the rest.

    As fast as it is heard all of the sound is on the disk before the first commit; at the pace of speech the disk
    fills behind some of them.
    None: too little even to begin, which is told and leaves nothing.
    """
    from fieldlog.cli import main

    with small_disk(megabytes=24) as disk, tempfile.TemporaryDirectory() as elsewhere:
        store, filler = disk / "record", disk / "filler"
        with Workshop.open(store, language=ears.language):  # type: ignore[arg-type]
            pass
        free = shutil.disk_usage(disk).free - chance.randrange(
            40_000, 1_500_000 if paced else 700_000
        )
        filler.write_bytes(b"\0" * max(0, free))
        os.environ["TMPDIR"], before = elsewhere, os.environ.get("TMPDIR")
        try:
            running = start(store, sound, paced=paced)
            began = running.wait_for_sound()
            told = running.end(kill=False)
        finally:
            os.environ["TMPDIR"] = before or tempfile.gettempdir()
        filler.unlink()
        if not began:
            return None
        fell = _after(number, store, of, ears, running, paced=paced)
        command = told.rpartition("then: ")[2].splitlines()[0] if "then: " in told else ""
        if command.startswith(
            "fieldlog "
        ):  # what the person was told to do must do no harm behind it
            nowhere = io.StringIO()
            with redirect_stdout(nowhere), redirect_stderr(nowhere):
                main(shlex.split(command)[1:], standalone_mode=False)
        record = _record(store, ears.language)  # type: ignore[arg-type]
        announced = {what for _, what in running.of(victim.WRITTEN)}
        again = _compared(record, of, announced, fell.at_s, ())
        return Fell(
            number, paced, fell.at_s, "full" if running.process.returncode else "room enough",
            fell.announced, fell.recovered, fell.asked, *again,
        )  # fmt: skip


@contextmanager
def small_disk(megabytes: int) -> Iterator[Path]:
    """A disk of its own in memory; raises ``OSError`` where this user may not make one."""
    with tempfile.TemporaryDirectory(prefix="fieldlog-full-") as folder:
        made = subprocess.run(
            ["mount", "-t", "tmpfs", "-o", f"size={megabytes}m", "fieldlog", folder],
            capture_output=True, text=True,
        )  # fmt: skip
        if made.returncode:
            raise OSError(f"no disk of its own can be made here: {made.stderr.strip()}")
        try:
            yield Path(folder)
        finally:
            subprocess.run(["umount", "-l", folder], check=False)


def _record(folder: Path, language: InspectionLanguage) -> InspectionRecord:
    with Workshop.open(folder, language=language) as shop:
        return shop.store.inspection_record("last")


def _found(record: InspectionRecord) -> Counter[Meaning]:
    return Counter(each.finding.meaning for each in record.findings if each.stands)
