"""What is heard of another language: takes by voices of it, levels fitted on some, figures of others."""

from __future__ import annotations

import importlib
import subprocess
import tempfile
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import chain, cycle
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.doubt.files import shipped_rules
from fieldlog.doubt.rules import KINDS, DoubtRules, Policy
from fieldlog.grammar.sample import Sampler
from fieldlog.lab.benchmarks.calibrate_cases import samples
from fieldlog.lab.benchmarks.calibrate_evidence import TEST, TUNE, Case, Line, fingerprint
from fieldlog.lab.benchmarks.calibrate_file import FLAGS, to_toml
from fieldlog.lab.benchmarks.calibrate_fit import fit, with_levels
from fieldlog.lab.benchmarks.calibrate_outcome import outcomes
from fieldlog.lab.benchmarks.claim import claim, share
from fieldlog.lab.benchmarks.noise_mix import excerpt, mix
from fieldlog.lab.speech_set.noises import NOISES, workshop_noise
from fieldlog.language.contract import told_findings
from fieldlog.language.other import OtherLanguage
from fieldlog.listeners.whisper.listener import TRAINED
from fieldlog.model.understanding import Decision

KNOWN = "known"
"""Takes of an engine that was trained on."""
CELLS: tuple[tuple[str, float | None], ...] = (("clean", None), ("10 dB", 10.0))
_LOUD = 0.1
_MARGIN = np.zeros(RATE // 4, np.float32)
_TOLD, _MEASURED, _COMMANDS = 230, 170, 30
_LISTENER = "whisper"
_MOST_TRIES = 5
_tries: list[str] = []
Samples = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Said:
    """One take: what is said by which voice of which engine."""

    id: str
    part: str
    kind: str
    words: str
    engine: str
    voice: str


def cases(spoken: OtherLanguage, data: Path, phrases: Sequence[str]) -> Iterator[Case]:
    """Every take in every cell of noise, as ``calibrate`` hears them."""
    for said in takes(spoken, data, phrases):
        for cell, ratio in CELLS:
            sound = partial(heard_in, said, ratio)
            yield Case(said.id, said.part, said.kind, cell, said.words, sound)


def takes(spoken: OtherLanguage, data: Path, phrases: Sequence[str]) -> Iterator[Said]:
    """Who says what: findings as they are told and drawn ones to tune on, ``phrases`` to measure by."""
    voices = tomllib.loads((data / "voices.toml").read_text(encoding="utf-8"))
    others = (data / "not-meant.txt").read_text(encoding="utf-8").splitlines()
    rules = spoken.spoken.offered.rules
    told = [spoken.told.finding(one) for one in told_findings(spoken)]
    Random(11).shuffle(told)
    commands = Sampler(rules, ["dialogue.dialogue"], 5).covering(200)
    measured = _measured(spoken)
    tune = [*told[:_TOLD], *measured, *commands[:_COMMANDS]]
    test = [*phrases, *commands[_COMMANDS : _COMMANDS + 20]]
    mine = {
        TUNE: (tune, others[0::2], 1),
        TEST: (test, others[1::2], 2),
        KNOWN: (test, others[1::2], 1),
    }
    for part, (meant, not_meant, rounds) in mine.items():
        texts = [*(("phrase", each) for each in meant), *(("chatter", each) for each in not_meant)]
        by = [(engine, voice) for engine, names in voices[part].items() for voice in names]
        turns = chain.from_iterable(
            zip(texts, cycle(by[2 * turn :] + by[: 2 * turn]), strict=False)
            for turn in range(rounds)
        )
        for number, ((kind, words), (engine, voice)) in enumerate(turns):
            yield Said(f"{part}{number:04d}", part, kind, words, engine, voice)


def _measured(spoken: OtherLanguage) -> list[str]:
    drawn = Sampler(spoken.spoken.offered.rules, ["catalogue.findings"], 14)
    found: list[str] = []
    while len(found) < _MEASURED:
        phrase = drawn.random_phrase()
        if len(phrase.split()) > 11:
            continue
        whole = spoken.breath(phrase).whole
        if whole.decision is Decision.ACCEPT and whole.finding and whole.finding.quantity:
            found.append(phrase)
    return found


def heard_in(said: Said, ratio: float | None) -> Samples:
    """The take, clean or in the noise of a workshop that lies so many decibels below it."""
    sound = np.concatenate([_MARGIN, speak(said.engine, said.voice, said.words), _MARGIN])
    sound = np.asarray(np.clip(sound, -0.95, 0.95), np.float32)
    if ratio is None:
        return sound
    number = int(said.id[-4:])
    noise = workshop_noise(NOISES[number % len(NOISES)], len(sound) / RATE + 1, number)
    there = excerpt(noise, len(sound), np.random.default_rng([5, number]))
    return np.asarray(mix(sound, there, ratio), np.float32)


def speak(engine: str, voice: str, text: str) -> Samples:
    """``text`` by ``voice``, as loud as any other; raises ``OSError`` where the engine is not there."""
    if engine == "pico":
        pico: Any = importlib.import_module("py_nanotts").NanoTTS()
        sound = np.frombuffer(pico.speak(text, voice=voice), dtype="<i2") / np.float32(32_768)
        rate = 16_000
    else:
        with tempfile.NamedTemporaryFile(suffix=".wav") as file:
            command = ["espeak-ng", "-v", voice, "-w", file.name, text]
            while subprocess.run(command, check=False, capture_output=True).returncode:
                _tries.append(text)  # MBROLA ends at random now and then
                if _tries.count(text) > _MOST_TRIES:
                    raise OSError(f"{voice} does not say {text!r}")
            sound, rate = soundfile.read(file.name, dtype="float32")
    there = soxr.resample(sound, rate, RATE) if rate != RATE else sound
    loud = there[np.abs(there) > 0.02]
    level = float(np.sqrt(np.mean(loud**2))) if len(loud) else 1.0
    return np.asarray(there * (_LOUD / level), np.float32)


def decision_file(lines: Sequence[Line], spoken: OtherLanguage, evidence: Path, date: str) -> str:
    """The language's own levels from the part it is tuned on; nowhere below those of the reference."""
    mine = [line for line in lines if line.part == TUNE]
    answers = samples(mine, spoken)
    weights = with_levels(fit(answers, [k for k in KINDS if k != "order"]), answers, len(mine))
    kept = shipped_rules().weights[_LISTENER]
    for kind in KINDS:
        one = weights.get(kind, kept[kind])
        least = {p.value: max(one.accept[p.value], kept[kind].accept[p.value]) for p in Policy}
        weights[kind] = replace(one, accept=least)
    right = sum(each.right for each in answers)
    told = {
        "made_by": f"python -m fieldlog.lab language {spoken.tongue.code} --evidence DIR --out FILE",
        "data": f"{len(mine)} utterances ({right} right of {len(answers)} answers)",
        "evidence": fingerprint([evidence]),
        "date": date or "not given",
    }
    return to_toml(TRAINED, {kind: weights[kind] for kind in KINDS}, told, FLAGS)


def as_page(lines: Sequence[Line], spoken: OtherLanguage, rules: DoubtRules) -> str:
    """The figures of every part that is no tuning part, as a page."""
    code = spoken.tongue.code
    rows = [
        f"# Heard: {spoken.tongue.name}",
        "",
        f"Printed by `python -m fieldlog.lab language {code} --evidence DIR --page FILE`, policy *balanced*; which voices speak "
        f"in which part stands in `tests/data/german/voices.toml`, what is tuned in `grammars/{code}/doubt.toml`.",
        "Synthetic voices all: nobody who speaks the language was recorded. *Silently wrong*: taken unasked, and another meaning; "
        "beside it what it is at most (95 %, one-sided).",
        "",
        "| part | cell | phrases | heard right | silently wrong | asked, and right | asked, and wrong | refused, and right | not meant for it, taken |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    names = {TEST: "voices that nothing was fitted to", KNOWN: "an engine that was trained on"}
    for part, name in names.items():
        for one in outcomes(
            [line for line in lines if line.part == part], spoken, rules, Policy.BALANCED
        ):
            cells = (
                name, one.cell, str(one.phrases), share(one.right, one.phrases), claim(one.silent, one.phrases),
                share(one.asked_right, one.phrases), str(one.asked_wrong),
                share(one.refused_right, one.phrases), claim(one.negatives_accepted, one.negatives),
            )  # fmt: skip
            rows.append(f"| {' | '.join(cells)} |")
    return "\n".join(rows) + "\n"
