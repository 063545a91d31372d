"""``python -m fieldlog.lab adapt language``: additions for another language, spoken and trained in one go.

Findings, commands and answers drawn from the language's own grammar, and sentences that are not meant for
it, by the voices that ``tests/data/<language>/voices.toml`` has for training.
"""

from __future__ import annotations

import ctypes
import importlib
import multiprocessing
import random
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click
import numpy as np
import soxr
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.grammar.sample import Sampler
from fieldlog.lab.adapting.card import CardBatches
from fieldlog.lab.adapting.ear import Ear
from fieldlog.lab.adapting.takes import GENERAL, TRADE, Take
from fieldlog.lab.adapting.training import train
from fieldlog.language.contract import told_findings
from fieldlog.language.other import OtherLanguage
from fieldlog.language.tongues import language_of
from fieldlog.listeners.whisper.folder import open_folder

VARIANTS = (
    "", "m1", "m2", "m4", "m5", "m6", "m8", "f1", "f3", "f4", "f5", "Andy", "Annie", "Alex", "Alicia", "Denis", "Gene",
    "Hugo", "Jacky", "Lee", "Marco", "Mario", "Michael", "Mike", "adam", "anika", "antonio", "aunty", "belinda",
    "benjamin", "boris", "caleb", "david", "ed", "edward", "grandma", "grandpa", "gustave", "ian", "iven", "john",
    "klatt", "klatt2", "klatt4", "linda", "marcelo", "max", "michel", "miguel", "norbert", "pablo", "paul", "pedro",
    "quincy", "rob", "robert", "sandro", "shelby", "steph", "travis", "victor", "zac", "Reed", "Storm", "Diogo",
)  # fmt: skip
"""Variants of eSpeak NG's voice that are trained on."""
_PICO, _TALK = 0.45, 0.07
"""Share of the takes by SVOX Pico, and of sentences that are not meant for it."""
_SYNCHRONOUS, _SPEED, _PITCH, _RANGE = 2, 1, 3, 4  # speak_lib.h
_FROM_START, _UTF8 = 1, 1
_LONGEST, _SHORTEST = 9 * RATE, 3_000
Job = tuple[str, str, int, bool]
"""Kind, words as they are written, seed, whether SVOX Pico says it."""
_engines: dict[str, Any] = {}


@click.command("language")
@click.argument("code")
@click.option(
    "--model", type=click.Path(path_type=Path), required=True, help="Folder of Whisper base."
)
@click.option(
    "--talk", type=click.Path(path_type=Path), required=True, help="Sentences, a line each."
)
@click.option("--out", type=click.Path(path_type=Path), required=True)
@click.option("--takes", "count", default=12_000, show_default=True)
@click.option("--size", default=64, show_default=True)
@click.option("--rank", default=48, show_default=True)
@click.option("--rate", default=7e-4, show_default=True)
@click.option("--seconds", default=250.0, show_default=True, help="How long it may train.")
@click.option("--processes", default=12, show_default=True)
def language(
    code: str, model: Path, talk: Path, out: Path, count: int, size: int, rank: int, rate: float,
    seconds: float, processes: int,
) -> None:  # fmt: skip
    """Train additions for the language CODE on a graphics card; `adapt share` takes a part of the way.

    \b
    Example:
      python -m fieldlog.lab adapt language de --model whisper-base --talk tests/data/german/talk.txt --out whole.npz
    """
    spoken = language_of(code)
    assert isinstance(spoken, OtherLanguage)
    sentences = talk.read_text(encoding="utf-8").splitlines()
    wanted = jobs(spoken, sentences, count)
    with multiprocessing.get_context("spawn").Pool(processes, _prepare, (code,)) as pool:
        found = [take for take in pool.map(_spoken, wanted, chunksize=16) if take is not None]
    click.echo(f"{len(found)} takes", err=True)
    weights = open_folder(model, adapt=False, speech=code)
    cue = f" {spoken.cue}"
    batches = CardBatches(model, weights, size, 1, "cuda", found=found, cue=cue, writes=_one_way)
    ear = Ear(weights.weights, rank, 1)
    ear.to("cuda")

    def show(step: int, loss: float) -> None:
        print(f"step {step}: {loss:.3f} nats a token", file=sys.stderr, flush=True)

    began = time.monotonic()
    steps = train(
        ear, iter(batches), 20_000, out, show, every=200, rate=rate, device="cuda", seconds=seconds
    )
    click.echo(f"{out}: {steps} steps in {time.monotonic() - began:.0f} s")


def jobs(spoken: OtherLanguage, talk: Sequence[str], count: int, seed: int = 21) -> list[Job]:
    """What is said: two thirds findings, then anything of an inspection, commands and short answers."""
    rules, rng = spoken.spoken.offered.rules, random.Random(3)
    drawn: dict[str, None] = {}
    for rule, until in (("catalogue.findings", 0.62), ("inspection.utterance", 0.72)):
        source = Sampler(rules, [rule], seed)
        while len(drawn) < count * until:
            phrase = source.next_phrase() if len(drawn) % 3 == 0 else source.random_phrase()
            if len(phrase.split()) <= 13:
                drawn[phrase] = None
    said = [*drawn, *(spoken.aloud(spoken.told.finding(one)) for one in told_findings(spoken))]
    commands = Sampler(rules, ["dialogue.dialogue"], seed).covering(300)
    said += commands * max(1, round(count * 0.05 / len(commands)))
    said += Sampler(spoken.spoken.answers.rules, ["answer.answer"], seed).covering(300)[:200]
    meant = [
        ("phrase", written(words, spoken), n, rng.random() < _PICO) for n, words in enumerate(said)
    ]
    others = [rng.choice(talk) for _ in range(round(count * _TALK))]
    return [*meant, *((GENERAL, each, 10**6 + n, n % 2 == 0) for n, each in enumerate(others))]


def written(words: str, spoken: OtherLanguage) -> str:
    """The one way of writing: small letters, numbers in words, first halves of compounds in one with the next."""
    text, glued = "", True
    for word in words.split():
        text += word if glued else f" {word}"
        glued = spoken.forms is not None and word in spoken.forms.joined
    return text


def _one_way(take: Take) -> str:
    return take.words.lower() if take.kind in TRADE else take.words.lower().rstrip(".")


def _prepare(code: str) -> None:
    loader: Any = importlib.import_module("espeakng_loader")
    library = ctypes.CDLL(str(loader.get_library_path()))
    rate = library.espeak_Initialize(_SYNCHRONOUS, 0, str(loader.get_data_path()).encode(), 0)
    chunks: list[bytes] = []

    def take(samples: Any, count: int, _events: object) -> int:
        if count > 0:
            chunks.append(ctypes.string_at(samples, 2 * count))
        return 0

    shape = ctypes.CFUNCTYPE(
        ctypes.c_int, ctypes.POINTER(ctypes.c_short), ctypes.c_int, ctypes.c_void_p
    )
    called = shape(take)
    library.espeak_SetSynthCallback(called)
    pico: Any = importlib.import_module("py_nanotts").NanoTTS()
    _engines.update(code=code, library=library, rate=rate, chunks=chunks, called=called, pico=pico)


def _spoken(job: Job) -> Take | None:
    kind, words, seed, by_pico = job
    rng = random.Random(seed)
    sound = _pico(words, rng) if by_pico else _espeak(words, rng)
    if not _SHORTEST <= len(sound) <= _LONGEST:
        return None
    level = 0.1 / max(1e-6, float(np.sqrt(np.mean(sound**2))))
    told = words if kind != GENERAL else f"{words[:1].upper()}{words[1:]}."
    samples = (np.clip(sound * level, -0.99, 0.99) * 32_767).astype(np.int16)
    return Take(kind, told, "kokoro" if by_pico else "espeak", samples)


def _pico(words: str, rng: random.Random) -> NDArray[np.float32]:
    code = str(_engines["code"])
    settings = {"speed": rng.uniform(0.8, 1.35), "pitch": rng.uniform(0.7, 1.35)}
    said = _engines["pico"].speak(words, voice=f"{code}-{code.upper()}", **settings)
    sound = np.frombuffer(said, dtype="<i2").astype(np.float32) / 32_768
    throat = rng.uniform(0.84, 1.2)
    at = np.arange(int(len(sound) / throat)) * throat
    played = np.interp(at, np.arange(len(sound)), sound) if len(sound) else sound
    return np.asarray(played, np.float32)


def _espeak(words: str, rng: random.Random) -> NDArray[np.float32]:
    library, chunks = _engines["library"], _engines["chunks"]
    chunks.clear()
    variant = rng.choice(VARIANTS)
    voice = f"{_engines['code']}+{variant}" if variant else str(_engines["code"])
    library.espeak_SetVoiceByName(voice.encode())
    for what, value in ((_SPEED, (120, 215)), (_PITCH, (25, 75)), (_RANGE, (20, 90))):
        library.espeak_SetParameter(what, rng.randint(*value), 0)
    text, none = words.encode(), ctypes.c_uint(0)
    size = ctypes.c_size_t(len(text) + 1)
    library.espeak_Synth(text, size, none, _FROM_START, none, _UTF8, None, None)
    library.espeak_Synchronize()
    sound = np.frombuffer(b"".join(chunks), "<i2").astype(np.float32) / 32_768
    there = soxr.resample(sound, _engines["rate"], RATE) if len(sound) else sound
    return np.asarray(there, np.float32)
