"""The demo's inspection for the reviewer: its own sound and words, without the seconds that hearing takes.

Two utterances are added that a reviewer has to decide about: a question that nobody answers, and speech
that nobody understands.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import soundfile as sf

from fieldlog import config
from fieldlog.audio.clip import RATE, Clip
from fieldlog.hearing import Heard
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.photos.importer import import_folder
from fieldlog.photos.placing import place_photos
from fieldlog.shop import demo
from fieldlog.shop.workshop import Workshop

CLEAR = {"margin": 8.0, "logprob": -0.2, "bend": 0.0, "tail": 0.0, "tokens": 10.0}
DIM = {"margin": 0.9, "logprob": -8.0, "bend": -0.6, "tail": -1.0, "tokens": 10.0}
DIMLY = {"axles": "front axle nut is at sixty five newton metres then rear ninety five"}
"""Heard with another reading beside it."""
EXTRA = (("brake pads two millimetres", False), ("thingummy wobbles", True))


def heard_demo(folder: Path, language: InspectionLanguage) -> str:
    """The id of the demo's inspection in a new record in ``folder``."""
    media = config.demo_media()
    manifest = demo.read_manifest(media)
    with Workshop.open(folder, language=language) as shop:
        head = demo.begin(shop, manifest)
        inspecting = shop.inspecting(head.id)
        for part in manifest["parts"]:
            sound, rate = sf.read(media / part["file"], dtype="float32")
            assert rate == RATE
            for said in part["utterances"]:
                begin, end = (int(said[key] * RATE) for key in ("start_s", "end_s"))
                words = " ".join(w for w in said["words"].split() if w not in {"...", "um", "okay"})
                words = words.replace(",", "")
                clip = Clip(sound[begin:end], said["start_s"])
                typed = inspecting.conversation.typed(words)
                other = DIMLY.get(said["id"])
                inspecting.say(_told(typed, clip, words, other), part["file"], part["begins_s"])
        last = manifest["parts"][-1]
        for number, (words, refused) in enumerate(EXTRA):
            clip = Clip(sound[number * RATE : (number + 2) * RATE], 90.0 + 5 * number)
            typed = inspecting.conversation.typed(words)
            inspecting.say(_told(typed, clip, words, None, refused), last["file"], last["begins_s"])
        day = datetime.fromisoformat(manifest["inspection"]["start"]).date()
        import_folder(shop.store, head.id, media / "photos", day)
        place_photos(shop.store, head.id, day)
        return head.id


def _told(typed: Heard, clip: Clip, words: str, other: str | None, refused: bool = False) -> Heard:
    said = typed.understanding
    if refused:
        said = Understanding(Decision.REFUSE, Kind.NOTHING, "nothing of the language fits", "")
    evidence = DIM if other else CLEAR
    texts = (words, other) if other else (words,)
    step = clip.duration_s / len(words.split())
    times = tuple((n * step, (n + 0.9) * step) for n in range(len(words.split())))
    hearing = Hearing(
        "whisper", tuple(Hypothesis(text, 0.0, evidence) for text in texts), 90.0, times
    )
    return Heard(clip, hearing, said, texts[1:], 90.0, typed.complete, answers=typed.answers)
