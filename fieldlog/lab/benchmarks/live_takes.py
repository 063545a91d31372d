"""A take heard as a live session hears it: drafts at the first silence, which say how long it lasts."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import FRAME, RATE, Clip
from fieldlog.audio.endpointer import Endpointer, is_draft
from fieldlog.hearing import Heard
from fieldlog.shop.conversation import Conversation
from fieldlog.shop.silence import Silences


@dataclass(frozen=True, slots=True)
class LiveHeard:
    """One utterance, and how long it took from its last voiced frame until it was known to be over."""

    heard: Heard
    wait_s: float


def hear_live(
    sound: NDArray[np.float32],
    conversation: Conversation,
    endpointer: Endpointer,
    silences: Silences | None = None,
) -> list[LiveHeard]:
    """The utterances of one stream, in order; what was accepted counts as kept at once.

    ``silences``: others than those that ship, to see what they cost. The stream goes on while a draft is heard: what that took of this machine's time passes in it
    before the draft can end its utterance.
    """
    found: list[LiveHeard] = []
    ahead: tuple[Clip, Heard] | None = None
    due: tuple[float, Clip, float] | None = None

    def take(clips: list[Clip]) -> None:
        nonlocal ahead, due
        for clip in clips:
            known = None
            if ahead is not None and is_draft(ahead[0], clip):
                known = replace(ahead[1], clip=clip)
            turn = conversation.next(clip, kept=True, ahead=known)
            conversation.ready()
            found.append(LiveHeard(turn.heard, endpointer.delay_s))
            ahead = due = None

    for at in range(0, len(sound), FRAME):
        if due is not None and at / RATE >= due[0]:
            endpointer.wait(due[1], due[2])
            due = None
        take(endpointer.process(sound[at : at + FRAME]))
        draft = endpointer.draft()
        if draft is None:
            ahead = None
        elif ahead is None:
            began = time.perf_counter()
            heard = conversation.hear(draft)
            took = time.perf_counter() - began
            ahead = draft, heard
            due = (at + FRAME) / RATE + took, draft, conversation.silence_s(heard, silences)
    take(endpointer.flush())
    return found
