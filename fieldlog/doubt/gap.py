"""Sound of which some never came: nothing heard in it counts unasked, whoever heard it (pure)."""

from __future__ import annotations

from dataclasses import replace

from fieldlog.audio.clip import Clip, SoundFlag
from fieldlog.doubt.decide import Judge, asked_instead
from fieldlog.model.hearing import Hearing
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding


def minding_gaps(judge: Judge) -> Judge:
    """``judge``, and behind it that what was said in a gap may be another value, or a "not".

    However well the words fit. A remark is kept as it is; it is never judged.
    """

    def judged(understanding: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
        said = judge(understanding, hearing, clip)
        if SoundFlag.GAP not in clip.flags:
            return said
        if said.decision is Decision.ASK:
            return replace(said, flags=tuple(dict.fromkeys((*said.flags, Flag.UNCLEAR))))
        if said.decision is Decision.REFUSE or said.kind is Kind.REMARK:
            return said
        return asked_instead(said, (), "some of its sound is missing", Flag.UNSURE)

    return judged
