"""Nothing that was said vanishes: every stretch of speech is in an utterance, and words cover it.

Voice activity over the whole recording, on its own, against what the pipeline made of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from fieldlog import config
from fieldlog.audio.behind import LEAST_LEFT_S
from fieldlog.audio.clip import FRAME, FRAME_S, RATE
from fieldlog.audio.endpointer import utterances
from fieldlog.audio.vad import voice_activity, voice_of
from fieldlog.hearing import Heard
from fieldlog.language.files import load_language
from fieldlog.shop.conversation import Conversation, utterances_of
from fieldlog.shop.ears import Ears, open_ears

CLIPS = Path(__file__).parent / "data" / "speech"
SHORTEST_S = 0.25
"""Seconds of speech that must be accounted for."""


@pytest.fixture(scope="module")
def ears() -> Iterator[Ears]:
    with open_ears(load_language(), "whisper", None) as opened:
        yield opened


def recording(*pieces: str | float) -> np.ndarray:
    """Clips by name, and seconds of near silence between them."""
    hiss = np.random.default_rng(5)
    parts = [
        hiss.normal(0.0, 2e-4, round(piece * RATE)).astype(np.float32)
        if isinstance(piece, float)
        else sf.read(CLIPS / f"{piece}.flac", dtype="float32")[0]
        for piece in (0.6, *pieces, 1.5)
    ]
    return np.asarray(np.concatenate(parts))


def spoken(sound: np.ndarray) -> list[tuple[float, float]]:
    """Stretches of speech, from when to when."""
    voiced = [chance > 0.5 for chance in voice_of(sound, voice_activity().activity)]
    edges = np.flatnonzero(np.diff([False, *voiced, False]))
    stretches = zip(edges[::2], edges[1::2], strict=True)
    return [
        (begin * FRAME_S, end * FRAME_S)
        for begin, end in stretches
        if (end - begin) * FRAME_S > SHORTEST_S
    ]


def unaccounted(sound: np.ndarray, heard: list[Heard]) -> list[tuple[float, float]]:
    """Speech that is in no utterance, or in one that neither covers it by words nor says so."""
    clips = [(each.clip.start_s, each.clip.end_s) for each in heard]
    covered = [
        (each.clip.start_s, each.clip.start_s + each.hearing.times[-1][1] + LEAST_LEFT_S)
        for each in heard
        if each.hearing.times
    ]
    told = [
        (each.clip.start_s + begin, each.clip.start_s + end)
        for each in heard
        for begin, end in each.hearing.left_over
    ]
    refused = [(e.clip.start_s, e.clip.end_s) for e in heard if not e.hearing.hypotheses]
    missing = []
    for begin, end in spoken(sound):
        frames = np.arange(begin, end, FRAME_S) + FRAME_S / 2
        for known in (clips, [*covered, *told, *refused]):
            left = [at for at in frames if not any(b <= at <= e for b, e in known)]
            if len(left) * FRAME_S > SHORTEST_S:
                missing.append((begin, end))
    return missing


def heard_in(sound: np.ndarray, ears: Ears, block: int) -> list[Heard]:
    blocks = (sound[at : at + block] for at in range(0, len(sound), block))
    return list(utterances_of(utterances(blocks), Conversation(ears)))


@pytest.mark.parametrize("gap_s", [0.1, 0.35, 0.7, 1.0])
def test_findings_in_quick_succession_are_all_accounted_for(ears: Ears, gap_s: float) -> None:
    sound = recording("parking_light", gap_s, "belt", gap_s, "rear_tyre", gap_s, "chain_clip")
    heard = heard_in(sound, ears, 1024)
    assert unaccounted(sound, heard) == []
    assert sum(len(each.outcomes) for each in heard if each.accepted) == 4


def test_talk_before_between_and_behind_is_accounted_for(ears: Ears) -> None:
    sound = recording("chatter", 0.5, "belt", 0.3, "chatter", 1.2, "parking_light", 0.2, "chatter")
    heard = heard_in(sound, ears, 4000)
    assert unaccounted(sound, heard) == []
    taken = [part.text for each in heard if each.accepted for part in each.outcomes]
    assert set(taken) <= {"belt all okay", "parking light filthy"}


@pytest.mark.parametrize("block", [FRAME // 2, 1600, 16_000])
def test_a_whole_recording_is_accounted_for_whatever_the_block_size(ears: Ears, block: int) -> None:
    path = sorted(config.demo_media().glob("*.flac"))[0]
    sound = sf.read(path, dtype="float32")[0][: 20 * RATE]
    heard = heard_in(sound, ears, block)
    assert unaccounted(sound, heard) == []
    assert len(heard) >= 4


def test_what_is_lost_is_seen(ears: Ears) -> None:
    """An utterance taken away, or one whose second half no word covers and nobody told."""
    sound = recording("parking_light", 1.4, "belt", 0.2, "chatter")
    heard = heard_in(sound, ears, 1024)
    assert unaccounted(sound, heard[1:])
    quiet = [replace(e, hearing=replace(e.hearing, left_over=())) for e in heard]
    assert unaccounted(sound, quiet)
