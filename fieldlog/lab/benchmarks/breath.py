"""Several findings in one breath, tails, gaps and pauses: each take heard the way of ``fieldlog hear``.

Cut into utterances, heard in turn, joined where a pause cut a phrase, weighed by doubt; or (``live``) the
way of ``fieldlog listen``, where what was heard so far says how long a silence ends an utterance.
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from fieldlog.audio.endpointer import Endpointer, utterances
from fieldlog.doubt.decide import Judge, judge_for
from fieldlog.doubt.rules import DoubtRules, Policy
from fieldlog.grammar.language import Language
from fieldlog.hearing import Heard
from fieldlog.lab.benchmarks.breath_outcome import result_of
from fieldlog.lab.benchmarks.breath_takes import Take, sound_of
from fieldlog.lab.benchmarks.live_takes import hear_live
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.listeners.base import Listener
from fieldlog.shop.conversation import Conversation, utterances_of
from fieldlog.shop.ears import Ears
from fieldlog.shop.silence import Silences
from fieldlog.words import tell

if TYPE_CHECKING:
    from fieldlog.listeners.whisper.listener import WhisperListener


@dataclass(frozen=True, slots=True)
class Utterance:
    """One utterance of a take, as it was heard."""

    text: str
    decision: str
    findings: tuple[str, ...]
    """What is accepted, or offered by the question."""
    flags: tuple[str, ...]
    start_s: float
    end_s: float
    latency_ms: float
    evidence: Mapping[str, float]
    """Of the best hypothesis, as the listener gives it."""


@dataclass(frozen=True, slots=True)
class Came:
    """What one take came to."""

    take: Take
    result: str
    """One of ``breath_outcome.RESULTS``."""
    heard: tuple[Utterance, ...]
    waits_s: tuple[float, ...] = ()
    """Live: from the last voiced frame of each utterance until it was known to be over."""


def hear_takes(
    takes: Sequence[Take],
    folder: Path,
    listener: Listener,
    language: InspectionLanguage,
    rules: DoubtRules,
    policy: Policy = Policy.BALANCED,
    snr_db: float | None = None,
    progress: Callable[[int, int], None] = lambda done, of: None,
    *,
    live: bool = False,
    silences: Silences | None = None,
) -> list[Came]:
    """What each take comes to; ``listener`` hears, whatever it was loaded with.

    ``live``: as a live session cuts and keeps it (with ``silences``), else as a recording is.
    """

    def judging(spoken: Language) -> Judge:
        return judge_for(spoken, rules, policy)

    listener.load(language)
    ears = Ears(language, listener, judging(language), judging, reloads=True)
    conversation = Conversation(ears, keeps_left=True)
    came = []
    for number, take in enumerate(takes):
        conversation.afresh()
        conversation.pending.standing_by = False
        sound = sound_of(take, folder, snr_db)
        waits: tuple[float, ...] = ()
        if live:
            found = hear_live(sound, conversation, Endpointer(), silences)
            heard, waits = [each.heard for each in found], tuple(each.wait_s for each in found)
        else:
            heard = list(utterances_of(utterances([sound]), conversation))
        result = result_of(take, heard, language)
        came.append(Came(take, result, tuple(_utterance(each) for each in heard), waits))
        progress(number + 1, len(takes))
    return came


def hear_by_many(
    takes: Sequence[Take],
    folder: Path,
    rules: DoubtRules,
    policy: Policy,
    snr_db: float | None,
    progress: Callable[[int, int], None],
    *,
    live: bool = False,
    silences: Silences | None = None,
    processes: int = 1,
) -> list[Came]:
    """``hear_takes`` with what ships, by several processes; each of them has a listener of one thread."""
    hear = partial(_hear_some, folder, rules, policy, snr_db, live, silences)
    if processes == 1:
        listener, language = _ears()
        try:
            return hear(takes, progress, listener, language)
        finally:
            listener.close()
    groups = [takes[at : at + _TOGETHER] for at in range(0, len(takes), _TOGETHER)]
    came: list[Came] = []
    with multiprocessing.get_context("spawn").Pool(processes, _prepare) as pool:
        for some in pool.imap(hear, groups):
            came += some
            progress(len(came), len(takes))
    return came


_TOGETHER = 8
"""Takes that a process hears before it gives them back."""
_prepared: list[tuple[WhisperListener, InspectionLanguage]] = []
"""What a process of ``hear_by_many`` hears with."""


def _ears() -> tuple[WhisperListener, InspectionLanguage]:
    from fieldlog.listeners.whisper.listener import WhisperListener

    return WhisperListener(), load_language()


def _prepare() -> None:
    listener, language = _ears()
    listener.threads = 1
    _prepared.append((listener, language))


def _hear_some(
    folder: Path,
    rules: DoubtRules,
    policy: Policy,
    snr_db: float | None,
    live: bool,
    silences: Silences | None,
    takes: Sequence[Take],
    progress: Callable[[int, int], None] = lambda done, of: None,
    listener: WhisperListener | None = None,
    language: InspectionLanguage | None = None,
) -> list[Came]:
    if listener is None or language is None:
        listener, language = _prepared[0]
    return hear_takes(
        takes, folder, listener, language, rules, policy, snr_db, progress,
        live=live, silences=silences,
    )  # fmt: skip


def _utterance(heard: Heard) -> Utterance:
    said, best = heard.understanding, heard.hearing.hypotheses[:1]
    found = [one for part in heard.parts or (said,) for one in part.offered]
    return Utterance(
        heard.text,
        said.decision.value,
        tuple(f"{tell.subject(one)}: {tell.value(one)}" for one in found),
        tuple(flag.value for flag in said.flags),
        heard.clip.start_s,
        heard.clip.end_s,
        heard.latency_ms,
        dict(best[0].evidence) if best else {},
    )
