"""The set on disk: one manifest line per utterance, a FLAC file each, noise mixed in when read."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.audio.files import read_clip
from fieldlog.errors import AudioError, UsageError
from fieldlog.lab.benchmarks.noise_mix import excerpt, mix, rms
from fieldlog.lab.speech_set.noises import NOISES, radio, workshop_noise

Samples = NDArray[np.float32]

MANIFEST = "manifest.jsonl"
ABOUT = "set.json"
KITCHEN = "kitchen.flac"
TALK = "radio without phrases"
"""The radio behind speech that is not meant for the listener, and behind silence: behind those it may
say no phrase of the grammar, because then that phrase would be what is heard, and heard right."""
_NOISE_S = 30.0
_NOISE_VARIANTS = 4
_RADIO_TALKS = 12


@dataclass(frozen=True, slots=True)
class Item:
    """One utterance. ``kind``: phrase, incomplete, or a negative (half, near, chatter, cough...)."""

    id: str
    part: str
    kind: str
    words: str
    """Words of the grammar (positives and halves) or what is said (other negatives); may be ""."""
    voice: str
    rate: float
    pitch: float
    effect: str
    noise: str
    """The noise it gets in the noisy rows."""
    seed: int
    file: str
    duration_s: float
    speech_start_s: float
    speech_end_s: float

    @property
    def is_negative(self) -> bool:
        """Whether no finding may be accepted from it."""
        return self.kind not in ("phrase", "incomplete")


class SpeechSet:
    """A generated set, opened for reading."""

    def __init__(self, folder: Path) -> None:
        """Read the manifest; raises ``UsageError`` when the folder holds no set."""
        self.folder = folder
        try:
            lines = (folder / MANIFEST).read_text(encoding="utf-8").splitlines()
            self.about: dict[str, object] = json.loads((folder / ABOUT).read_text("utf-8"))
        except (OSError, ValueError) as error:
            raise UsageError(
                f"holds no speech set ({error})",
                where=str(folder),
                todo=f"make one: python -m fieldlog.lab speech-set --out {folder}",
            ) from error
        self.items = [Item(**json.loads(line)) for line in lines]
        self._noise = lru_cache(maxsize=64)(self._make_noise)

    def __reduce__(self) -> tuple[type[SpeechSet], tuple[Path]]:
        """Another process reads it anew."""
        return SpeechSet, (self.folder,)

    def part(self, name: str) -> Iterator[Item]:
        """The items of the part ``tune`` or ``test``."""
        return (item for item in self.items if item.part == name)

    def clean(self, item: Item) -> Samples:
        """The utterance as recorded, with half a second before it and a second after."""
        return read_clip(self.folder / item.file, longest_s=3600.0).samples

    def noisy(self, item: Item, snr_db: float | None) -> Samples:
        """With its noise at ``snr_db`` over the spoken part; None gives it clean.

        Negatives without sound get the noise at an RMS of 0.02.
        """
        sound = self.clean(item)
        if snr_db is None:
            return sound
        variant = item.seed % _NOISE_VARIANTS
        rng = np.random.default_rng([item.seed, 77])
        kind = TALK if item.noise == "radio" and item.is_negative else item.noise
        noise = excerpt(self._noise(kind, item.part, variant), len(sound), rng)
        start, end = int(item.speech_start_s * RATE), int(item.speech_end_s * RATE)
        level = rms(sound[start:end])
        if level < 1e-4:
            return (sound + noise * np.float32(0.02 / max(rms(noise), 1e-9))).astype(np.float32)
        return mix(sound, noise, snr_db, speech_rms=level)

    def noise(self, kind: str, part: str, variant: int) -> Samples:
        """Half a minute of a noise; a radio says what is of ``part``."""
        return self._noise(kind, part, variant)

    def _make_noise(self, kind: str, part: str, variant: int) -> Samples:
        if kind in NOISES:
            return workshop_noise(kind, _NOISE_S, variant)
        if kind == "kitchen":
            return read_clip(self.folder / KITCHEN, longest_s=3600.0).samples
        if kind in ("radio", TALK):
            talks = self._talks(part, ("chatter",) if kind == TALK else ("phrase", "chatter"))
            rng = np.random.default_rng([variant, 5])
            picked = [talks[int(n)] for n in rng.integers(0, len(talks), _RADIO_TALKS)]
            return radio([self.clean(item) for item in picked], _NOISE_S, variant)
        raise AudioError(f"the set has no noise called {kind!r}", where=str(self.folder))

    def _talks(self, part: str, kinds: tuple[str, ...]) -> list[Item]:
        """What the radio may say; a small part of a set without any chatter takes what is spoken."""
        mine = [item for item in self.items if item.part == part and item.words]
        return [item for item in mine if item.kind in kinds] or mine


def write_items(folder: Path, items: list[Item], about: dict[str, object]) -> None:
    """Write manifest and description."""
    lines = [json.dumps(asdict(item), sort_keys=True) for item in items]
    (folder / MANIFEST).write_text("\n".join(lines) + "\n", encoding="utf-8")
    text = json.dumps(about, indent=1, sort_keys=True) + "\n"
    (folder / ABOUT).write_text(text, encoding="utf-8")


def write_sound(path: Path, sound: Samples) -> None:
    """16-bit FLAC at 16 kHz."""
    soundfile.write(path, np.clip(sound, -1.0, 1.0), RATE, format="FLAC", subtype="PCM_16")


def write_subset(opened: SpeechSet, out: Path, per_part: int, seed: int = 1) -> list[Item]:
    """Copy a small fixed part of a set: ``per_part`` utterances of each part, voices in turn.

    A quarter are negatives; the kitchen recording is not copied, so its items get the compressor.
    """
    (out / "audio").mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(seed)
    picked: list[Item] = []
    for part in ("tune", "test"):
        items = list(opened.part(part))
        order = [items[int(n)] for n in rng.permutation(len(items))]
        for negative, count in ((False, per_part - per_part // 4), (True, per_part // 4)):
            turns: dict[str, list[Item]] = {}
            for item in order:
                if item.is_negative == negative:
                    turns.setdefault(item.kind if negative else item.voice, []).append(item)
            queues = list(turns.values())
            chosen = [q[n] for n in range(count) for q in queues if n < len(q)]
            picked += chosen[:count]
    kept = [replace(i, noise="compressor") if i.noise == "kitchen" else i for i in picked]
    for item in kept:
        (out / item.file).write_bytes((opened.folder / item.file).read_bytes())
    about = {**opened.about, "items": len(kept), "subset of": opened.about["items"]}
    about["noises"] = [*NOISES, "radio"]
    write_items(out, kept, about)
    return kept
