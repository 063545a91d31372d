"""``python -m fieldlog.lab language``: what another language comes to, typed and heard."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import NamedTuple

import click
import numpy as np
import soundfile
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE, Clip
from fieldlog.doubt.decide import judge_for
from fieldlog.doubt.files import shipped_rules
from fieldlog.hearing import hear_clip
from fieldlog.lab.benchmarks.claim import upper_bound
from fieldlog.lab.benchmarks.noise_mix import excerpt, mix
from fieldlog.lab.speech_set.noises import NOISES, workshop_noise
from fieldlog.language.contract import told_findings
from fieldlog.language.other import OtherLanguage
from fieldlog.language.tongues import language_of
from fieldlog.listeners.whisper.listener import WhisperListener
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.shop.other_voice import OtherVoice

PHRASES = Path(__file__).resolve().parents[2] / "tests" / "data"
VOICES = ("", "+m1", "+m3", "+m7", "+f1", "+f2", "+f4")
"""Variants of eSpeak NG's voice of the language; nothing was fitted on any of them."""
LEVELS = (None, 15.0, 10.0)
_MARGIN = np.zeros(RATE // 4, np.float32)


class _Heard(NamedTuple):
    """What one take came to."""

    said: str
    got: str
    how: str
    measured: bool
    """Whether a figure was said."""


@click.command()
@click.argument("code", default="de")
@click.option("--hear", "takes", type=int, default=0, help="Takes at each noise level to hear.")
@click.option("--demo", type=click.Path(path_type=Path), help="Write the demo's sound there.")
def language(code: str, takes: int, demo: Path | None) -> None:
    """Numbers against an outside library, what is told read again, and what is heard.

    \b
    Examples:
      python -m fieldlog.lab language de
      python -m fieldlog.lab language de --hear 60
      python -m fieldlog.lab language de --demo demo_media/de
    """
    spoken = language_of(code)
    if not isinstance(spoken, OtherLanguage):
        raise click.BadParameter("the reference language needs none of this")
    if demo is not None:
        _demo(spoken, demo)
    elif takes:
        _hearing(spoken, takes)
    else:
        _typed(spoken)


def _typed(spoken: OtherLanguage) -> None:
    from num2words import num2words

    wrong = [
        number
        for number in range(1, 10_000)
        if [
            one.quantity.value
            for one in spoken.breath(
                f"{spoken.told.said.components['odometer']} {num2words(number, lang=spoken.tongue.code)} "
                f"{spoken.tongue.written['km']}"
            ).whole.offered
            if one.quantity
        ]
        != [number]
    ]
    click.echo(
        f"numbers 1 to 9,999 said as num2words says them: {len(wrong)} of 9,999 wrong {wrong[:5]}"
    )
    count, lost = 0, []
    for one in told_findings(spoken):
        count += 1
        said = spoken.breath(spoken.told.finding(one)).whole
        if said.finding is None or said.finding.meaning != one.meaning:
            lost.append(spoken.told.finding(one))
    click.echo(f"findings told and read again: {len(lost)} of {count} lost {lost[:5]}")


# --- heard -----------------------------------------------------------------------------------


def _phrases(spoken: OtherLanguage) -> list[str]:
    lines = (PHRASES / _FOLDER[spoken.tongue.code] / "phrases.tsv").read_text(encoding="utf-8")
    rows = [line.split("\t")[0] for line in lines.splitlines() if line and line[0] != "#"]
    whole = [(row, spoken.breath(row).whole) for row in rows]
    return [row for row, one in whole if one.decision is Decision.ACCEPT and one.finding]


_FOLDER = {"de": "german"}


def _hearing(spoken: OtherLanguage, takes: int) -> None:
    phrases = _phrases(spoken)
    drawn = np.random.default_rng(5)
    order = [phrases[at] for at in drawn.permutation(len(phrases))[:takes]]
    listener = WhisperListener()
    listener.load(spoken)
    judge = judge_for(spoken, shipped_rules())
    click.echo(f"{len(order)} phrases, {len(VOICES)} voices of eSpeak NG, listener {listener.name}")
    sounds = [_said(each, spoken.tongue.code, n) for n, each in enumerate(order)]
    for level in LEVELS:
        came = []
        for number, (said, sound) in enumerate(zip(order, sounds, strict=True)):
            noisy = _noisy(sound, level, number, drawn)
            got = hear_clip(Clip(noisy, 0.0), listener, spoken, judge).understanding
            meant = spoken.breath(said).whole.finding
            measured = meant is not None and meant.quantity is not None
            came.append(_Heard(said, got.text, _how(spoken, said, got), measured))
        _told(level, came)


def _how(spoken: OtherLanguage, said: str, got: Understanding) -> str:
    meant = spoken.breath(said).whole.finding
    assert meant is not None
    if got.decision is Decision.REFUSE or got.kind is not Kind.FINDING:
        return "refused"
    right = any(one.meaning == meant.meaning for one in got.offered)
    if got.decision is Decision.ACCEPT:
        return "right" if right else "SILENTLY WRONG"
    return "asked, offered" if right else "asked, not offered"


def _told(level: float | None, came: list[_Heard]) -> None:
    counts = Counter(each.how for each in came)
    silent = counts["SILENTLY WRONG"]
    figures = [each for each in came if each.measured]
    offered = sum(each.how in ("right", "asked, offered") for each in figures)
    click.echo(
        f"{'clean' if level is None else f'{level:g} dB'}: "
        + ", ".join(f"{how} {count}" for how, count in sorted(counts.items()))
        + f"; silently wrong {silent} of {len(came)} (at most {upper_bound(silent, len(came)):.1%} at 95 %)"
        + f"; of {len(figures)} with figures the right one offered in {offered}"
    )
    for each in came:
        if each.how != "asked, offered":
            click.echo(f"    {each.said!r}: {each.got!r} ({each.how})")


def _said(text: str, code: str, number: int) -> NDArray[np.float32]:
    with OtherVoice() as voice:
        sound = voice.say(text, f"{code}{VOICES[number % len(VOICES)]}")
    if sound is None:
        raise click.ClickException("eSpeak NG says nothing: pip install 'fieldlog[speak]'")
    return np.concatenate([_MARGIN, sound, _MARGIN]).astype(np.float32)


def _noisy(
    sound: NDArray[np.float32], level: float | None, number: int, drawn: np.random.Generator
) -> NDArray[np.float32]:
    if level is None:
        return sound
    noise = workshop_noise(NOISES[number % len(NOISES)], len(sound) / RATE + 1, number)
    return mix(sound, excerpt(noise, len(sound), drawn), level)


def _demo(spoken: OtherLanguage, folder: Path) -> None:
    """The demo's sentences as sound, a file each."""
    lines = (folder / "sentences.txt").read_text(encoding="utf-8").splitlines()
    for number, text in enumerate((line for line in lines if line.strip()), start=1):
        sound = _said(text, spoken.tongue.code, 0)
        soundfile.write(folder / f"{number:02d}.ogg", sound, RATE, format="OGG", subtype="OPUS")
        click.echo(f"{number:02d}.ogg: {text}")
