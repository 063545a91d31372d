"""What we sounded ourselves stands in the sound: where it means something else with that left in, it is asked about (pure).

What is taken out of the sound may take some of a voice along, and what is left of a word may be another one: behind a
tone "air filter is dirty" was "motor is dirty", as sure as most. The calibration knows no such sound.
"""

from __future__ import annotations

from fieldlog.audio.clip import Clip
from fieldlog.doubt.decide import Judge, asked_instead
from fieldlog.grammar.language import Language
from fieldlog.model.hearing import Hearing
from fieldlog.model.understanding import Decision, Flag, Kind, Understanding

OTHERWISE = "with our own sound left in it, it was heard otherwise"


def minding_echo(judge: Judge, language: Language) -> Judge:
    """``judge``, and behind it that the microphone as it came in must not mean something else.

    A remark is kept as it is; what was not heard twice, or not understood there, is as ``judge`` says.
    """

    def judged(understanding: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
        said, came = judge(understanding, hearing, clip), hearing.as_it_came
        if came is None or said.decision is not Decision.ACCEPT or said.kind is Kind.REMARK:
            return said
        if language.meaning(came) == language.meaning(hearing.hypotheses[0].text):
            return said
        other = language.understand(came)
        one_each = said.finding is not None and other.finding is not None
        accepted = one_each and other.decision is Decision.ACCEPT
        return asked_instead(said, (other,) if accepted else (), OTHERWISE, Flag.UNSURE)

    return judged
