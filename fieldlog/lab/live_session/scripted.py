"""The demo's inspection spoken into ``fieldlog listen``, with everything that comes between in a shop."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import soundfile as sf
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.audio.files import open_audio
from fieldlog.lab.live_session import stage
from fieldlog.model.finding import Finding
from fieldlog.shop.demo import expected, read_manifest
from fieldlog.store.records import InspectionRecord

LEAD_S = 0.35
Sound = NDArray[np.float32]


@dataclass
class Script:
    """What is said in one session, and what happens meanwhile."""

    sounds: list[Sound] = field(default_factory=list)
    at_s: float = 0.0
    away: list[tuple[float, float]] = field(default_factory=list)
    begins: list[float] = field(default_factory=list)
    cut_s: float | None = None
    """The power goes out then."""

    def say(self, sound: Sound, pause_s: float) -> float:
        """Add ``sound`` and a pause; returns where it begins."""
        begins = self.at_s
        self.begins.append(begins)
        for part in (sound, np.zeros(round(pause_s * RATE), np.float32)):
            self.sounds.append(part)
            self.at_s += len(part) / RATE
        return begins


def scripts(media: Path, pause_s: float) -> list[Script]:
    """Two sessions: the power goes out within a phrase of the first, which is said again in the second.

    In the second, something else is said between a question and its answer, the microphone is pulled out in a
    pause and once within a phrase, which is said again.
    """
    first, second = Script(), Script()
    now, horn = first, np.zeros(0, np.float32)
    parts = read_manifest(media)["parts"]
    cut = {each["id"]: each for each in _utterances(media, parts)}
    for each in cut.values():
        name, sound = each["id"], each["sound"]
        if name == "horn":
            continue  # said earlier, between a question and its answer
        if name == "date-code":
            first.cut_s = first.say(sound, pause_s) + 2.0
            now = second
        if name == "throttle":
            horn = cut["horn"]["sound"]
            now.say(horn, pause_s)
        if name == "headlamp":
            now.away.append((now.say(sound, pause_s) + 1.5, 4.0))
        begins = now.say(sound, pause_s)
        if name == "pads":
            now.away.append((begins + len(sound) / RATE + pause_s / 2, 4.0))
    return [first, second]


def _utterances(media: Path, parts: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    found = []
    for part in parts:
        with open_audio(media / part["file"]) as audio:
            sound = np.concatenate(list(audio.blocks(1.0)))
        said = part["utterances"]
        ends = [each["start_s"] - LEAD_S for each in said[1:]] + [len(sound) / RATE]
        for each, end_s in zip(said, ends, strict=True):
            begin = round((each["start_s"] - LEAD_S) * RATE)
            found.append({**each, "sound": sound[begin : round(end_s * RATE)]})
    return found


def play(script: Script, store: Path, folder: Path, arguments: Sequence[str]) -> str:
    """One session through the microphone's path, killed where the power goes out; what it printed."""
    folder.mkdir(parents=True, exist_ok=True)
    sf.write(folder / "said.wav", np.concatenate(script.sounds), RATE)
    plan = {"sound": str(folder / "said.wav"), "away": script.away, "begins": script.begins}
    (folder / "script.json").write_text(json.dumps(plan), encoding="utf-8")
    command = [sys.executable, "-m", stage.__name__, str(folder / "script.json")]
    command += ["--store", str(store), "--say", "values", *arguments]
    path = os.pathsep.join(each for each in sys.path if each)
    told: list[str] = []
    process = subprocess.Popen(
        command, env=os.environ | {"PYTHONPATH": path},
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )  # fmt: skip

    def read() -> None:
        assert process.stdout is not None
        for line in process.stdout:
            if not line.startswith(stage.MARK.decode()):
                told.append(line)
            elif script.cut_s is not None and float(line[1:]) >= script.cut_s:
                process.kill()

    reader = threading.Thread(target=read, daemon=True)
    reader.start()
    process.wait()
    reader.join(30.0)
    assert process.stdout is not None
    process.stdout.close()
    return "".join(told)


def differences(record: InspectionRecord, media: Path) -> list[str]:
    """In what the standing findings differ from those of the manifest (pure but for the manifest)."""
    wanted: dict[str, dict[str, str]] = {}
    for part in read_manifest(media)["parts"]:
        for said in part["utterances"]:
            for one in expected(said):
                if "component" in one and one.get("decision") != "ask":
                    wanted.pop(one.get("corrects", ""), None)
                    wanted[one["id"]] = one
    standing = [each.finding for each in record.findings if each.stands]
    found = []
    for name, one in wanted.items():
        match = next((each for each in standing if _is(each, one)), None)
        if match is None:
            found.append(f"{name} is not there: {one}")
        else:
            standing.remove(match)
    return [*found, *(f"nobody said {each.words!r}" for each in standing)]


def _is(finding: Finding, wanted: dict[str, str]) -> bool:
    quantity = finding.quantity
    facts = {
        "component": finding.component, "position": finding.position,
        "characteristic": finding.characteristic, "condition": finding.condition,
        "code": finding.code,
        "value": None if quantity is None else str(quantity.value),
        "unit": None if quantity is None else quantity.unit,
    }  # fmt: skip
    return all(facts[key] == value for key, value in wanted.items() if key in facts)
