"""The whole value said again settles a question about what sounds like it (pure)."""

from __future__ import annotations

from dataclasses import replace

from fieldlog.audio.clip import Clip
from fieldlog.doubt.decide import CLOSE, Judge
from fieldlog.doubt.rules import terms
from fieldlog.grammar.language import Language
from fieldlog.model.hearing import Hearing
from fieldlog.model.understanding import Flag, Understanding
from fieldlog.quantities.number_words import NUMBER_WORDS


def said_again(judge: Judge, asked: Understanding, language: Language) -> Judge:
    """``judge``, but for the answer to a question about twins (``asked``, under ``language``).

    Where one of the values that were offered is said once more, with its unit, what sounds like it is no
    reason to ask a second time; a lone "fifty" could be the same slip again, and what was heard as well as
    its twin (less than ``CLOSE`` apart) is asked about as ever.
    """
    if Flag.TWIN not in asked.flags or len(asked.offered) < 2:
        return judge
    offered = {one.meaning for one in asked.offered}

    def judging(understanding: Understanding, hearing: Hearing, clip: Clip) -> Understanding:
        one = understanding.finding
        words = hearing.hypotheses[0].text.split() if hearing.hypotheses else []
        whole = bool(words) and words[-1] not in NUMBER_WORDS and not understanding.dialogue
        again = one is not None and one.meaning in offered and whole
        if not again or terms(hearing)["margin"] < CLOSE:
            return judge(understanding, hearing, clip)
        kept = [
            each
            for n, each in enumerate(hearing.hypotheses)
            if n == 0 or not _is_offered(language.understand(each.text), offered)
        ]
        return judge(understanding, replace(hearing, hypotheses=tuple(kept)), clip)

    return judging


def _is_offered(said: Understanding, offered: set[tuple[object, ...]]) -> bool:
    return said.finding is not None and said.finding.meaning in offered
