"""The demo's inspection spoken into ``fieldlog listen``, with everything that comes between in a shop."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import soundfile as sf
import soxr
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.audio.files import open_audio
from fieldlog.errors import UsageError
from fieldlog.lab.live_session import stage
from fieldlog.lab.live_session.person import Line, Reply, means
from fieldlog.shop.demo import Manifest, expected, read_manifest
from fieldlog.shop.workshop import Workshop
from fieldlog.store.records import InspectionRecord, RecordedFinding

LEAD_S, TRAIL_S = 0.35, 0.15
"""Kept of a recording around a line."""
LEVEL = 0.09
"""RMS of a voice, as in the demo's recordings."""
LONGEST_S = 600.0
Sound = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Played:
    """One session: what it printed, and what happened, in order."""

    printed: str
    happened: tuple[Mapping[str, Any], ...]


@dataclass
class Script:
    """What is said in one session."""

    lines: list[Line] = field(default_factory=list)


def scripts(media: Path) -> list[Script]:
    """Two sessions: the power goes out within a phrase of the first, which is said again in the second.

    In the second something else is said between a question and its answer, the microphone is pulled out in a
    pause and once within a phrase, which is said again; in both somebody talks into what is said to them.
    """
    first, second = Script(), Script()
    now = first
    by_name = {each.id: each for each in lines_of(media)}
    for name, line in by_name.items():
        if name == "horn":
            continue  # said earlier, between a question and its answer
        if name == "date-code":
            first.lines.append(replace(line, cut_at_s=2.0))
            now = second
        if name == "throttle":
            now.lines.append(by_name["horn"])
        if name == "headlamp":
            line = replace(line, away_at_s=1.5)
        if name == "pads":
            line = replace(line, away_at_s=len(line.sound) / RATE + 1.5)
        now.lines.append(replace(line, interrupts=name in INTERRUPTING))
    return [first, second]


INTERRUPTING = ("pressure-front", "mark-spokes")
"""Said into the read-back of the line before."""


def lines_of(media: Path) -> Iterator[Line]:
    """Every utterance of the demo as a line, with its own noise."""
    for part in read_manifest(media)["parts"]:
        with open_audio(media / part["file"]) as audio:
            sound = np.concatenate(list(audio.blocks(1.0)))
        said = part["utterances"]
        nexts = [each["start_s"] - LEAD_S for each in said[1:]] + [len(sound) / RATE]
        for each, next_s in zip(said, nexts, strict=True):
            begin, end = (
                round(at * RATE) for at in (each["start_s"] - LEAD_S, each["end_s"] + TRAIL_S)
            )
            wanted = expected(each)
            yield Line(
                id=each["id"],
                words=each["words"],
                sound=sound[begin:end],
                around=sound[end : round(next_s * RATE)],
                means=tuple(one for one in wanted if "component" in one),
                is_asked=any(one.get("decision") == "ask" for one in wanted),
            )


def spoken(words: str, stretch: float) -> Sound:
    """``words`` in the demo's voice (flite); raises ``UsageError`` where that is not installed."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "said.wav"
        setting = ["-voice", "rms", "--setf", f"duration_stretch={stretch}"]
        try:
            subprocess.run(["flite", *setting, "-t", words, "-o", str(out)], check=True)
        except (OSError, subprocess.CalledProcessError) as error:
            raise UsageError(
                f"whoever speaks needs flite ({error})", todo="install flite"
            ) from None
        samples, rate = sf.read(out, dtype="float32")
    samples = soxr.resample(samples, rate, RATE)
    loud = np.flatnonzero(np.abs(samples) > 0.01 * np.abs(samples).max())
    samples = samples[max(0, loud[0] - 400) : loud[-1] + 1_200]
    return np.asarray(samples * (LEVEL / np.sqrt(np.mean(samples**2))), np.float32)


def written(script: Script, folder: Path) -> Path:
    """The script and its sounds as files; the path of the script."""
    path = folder / "script.json"
    sounds: dict[str, Sound] = {
        each.value: spoken(each.value, 1.1) for each in Reply if each not in _UNSPOKEN
    }
    for each in script.lines:
        sounds[each.id], sounds[f"{each.id} around"] = each.sound, each.around
        sounds[f"{each.id} again"] = spoken(each.words.replace(" ... ", " "), 1.2)
    rows = [
        {
            "id": each.id, "words": each.words, "means": each.means, "is_asked": each.is_asked,
            "interrupts": each.interrupts, "away_at_s": each.away_at_s, "cut_at_s": each.cut_at_s,
        }
        for each in script.lines
    ]  # fmt: skip
    path.write_text(json.dumps({"lines": rows}), encoding="utf-8")
    np.savez(path.with_suffix(".npz"), allow_pickle=False, **sounds)
    return path


_UNSPOKEN = (Reply.AGAIN, Reply.GOES_ON)


SESSIONS = 2


def in_turn(media: Path, folder: Path, *, one: bool = False) -> Iterator[Played]:
    """The sessions in ``folder``, each from the record that the one before left: played, or as they were.

    A session that was broken off is played again from where it began. ``one``: of those that are left, only
    the first is played.
    """
    store = folder / "record"
    arguments = ["--vehicle", "demo", "--jurisdiction", "US-VA"]
    for number, script in enumerate(scripts(media), start=1):
        here, before = folder / f"session-{number}", folder / f"record-{number}"
        account = here / "account.json"
        if account.exists():
            yield Played(**json.loads(account.read_text("utf-8")))
            arguments = ["--inspection", "last"]
            continue
        if number == 1:
            shutil.rmtree(store, ignore_errors=True)
            with Workshop.open(store) as shop:
                shop.add_vehicle("demo")
        elif before.exists():
            shutil.rmtree(store)
            shutil.copytree(before, store)
        else:
            shutil.copytree(store, before)
        played = play(script, store, here, arguments)
        account.write_text(json.dumps(asdict(played)), encoding="utf-8")
        yield played
        arguments = ["--inspection", "last"]
        if one:
            return


def play(script: Script, store: Path, folder: Path, arguments: Sequence[str]) -> Played:
    """One session through the microphone's path, killed where the power goes out."""
    folder.mkdir(parents=True, exist_ok=True)
    command = [sys.executable, "-m", stage.__name__, str(written(script, folder))]
    command += ["--store", str(store), "--say", "values", *arguments]
    path = os.pathsep.join(each for each in sys.path if each)
    printed: list[str] = []
    happened: list[Mapping[str, Any]] = []
    process = subprocess.Popen(
        command, env=os.environ | {"PYTHONPATH": path},
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )  # fmt: skip

    def read() -> None:
        assert process.stdout is not None
        for line in process.stdout:
            if not line.startswith(stage.MARK.decode()):
                printed.append(line)
                continue
            happened.append(json.loads(line[1:]))
            if happened[-1].get("happens") == stage.CUT:
                process.kill()

    reader = threading.Thread(target=read, daemon=True)
    reader.start()
    try:
        process.wait(LONGEST_S)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
    reader.join(30.0)
    assert process.stdout is not None
    process.stdout.close()
    return Played("".join(printed), tuple(happened))


def differences(record: InspectionRecord, manifest: Manifest) -> list[str]:
    """In what the standing findings and the remarks differ from the manifest's (pure)."""
    standing, found = held_against(record, manifest)
    wanted = [
        one for part in manifest["parts"] for said in part["utterances"] for one in expected(said)
    ]
    left = {one.id: one for one in record.findings if one.stands and one not in standing.values()}
    found += [f"nobody said {each.finding.words!r}" for each in left.values()]
    remarks = sum(one.get("kind") == "remark" for one in wanted)
    if len(record.remarks) != remarks:
        found.append(f"{len(record.remarks)} remarks instead of {remarks}")
    return found


def held_against(
    record: InspectionRecord, manifest: Manifest
) -> tuple[dict[str, RecordedFinding], list[str]]:
    """The finding that stands for each of the manifest's, by its name, and what is not there or judged otherwise (pure)."""
    wanted: dict[str, dict[str, str]] = {}
    for part in manifest["parts"]:
        for said in part["utterances"]:
            for one in expected(said):
                if "component" in one and one.get("decision") != "ask":
                    wanted.pop(one.get("corrects", ""), None)
                    wanted[one["id"]] = one
    standing = [each for each in record.findings if each.stands]
    matches: dict[str, RecordedFinding] = {}
    found = []
    for name, one in wanted.items():
        match = next((each for each in standing if means(each.finding, one)), None)
        if match is None:
            found.append(f"{name} is not there: {one}")
            continue
        standing.remove(match)
        matches[name] = match
        judged = match.verdict.state.value if match.verdict else ""
        if one.get("state", judged) != judged:
            found.append(f"{name} is judged {judged!r}: {one}")
    return matches, found
