"""What hears: a language, a listener made ready for it, and the doubt module's judge."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fieldlog.audio.clip import Clip
    from fieldlog.grammar.language import Language
    from fieldlog.hearing import Heard, Judge
    from fieldlog.listeners.base import Listener
    from fieldlog.listeners.worker import Crash
    from fieldlog.model.hearing import Hearing
    from fieldlog.words.told import TellsIn

CRASHABLE = ("vosk", "pocketsphinx")
"""Listeners whose native decoders have been seen to end the whole process."""

RELOADS = ("whisper", "two-ears")
"""Listeners that take up another language in a fraction of a second (two ears: both of them): while a question is open they
are offered the short answers too. The others hear the words of the language they began with."""


@dataclass(frozen=True, slots=True)
class Ears:
    """A listener ready for a language, and what weighs its answers."""

    language: Language
    listener: Listener
    judge: Judge
    judging_for: Callable[[Language], Judge] | None = None
    """The judge for another language; None: the same one for all."""
    reloads: bool = False
    """Whether the listener may be loaded with another language between two utterances."""

    def judging(self, language: Language) -> Judge:
        """What weighs answers heard for ``language``."""
        return self.judge if self.judging_for is None else self.judging_for(language)

    def transcribe(self, heard: Heard) -> str:
        """Free speech as plain words where the listener can; "" where it cannot."""
        open_words = getattr(self.listener, "transcribe", None)
        return str(open_words(heard.clip)) if open_words is not None else ""


def open_language(grammar: Path | None) -> Language:
    """The inspection language, or the language of a user's own JSGF file."""
    if grammar is not None:
        from fieldlog.grammar.tagged import TaggedLanguage

        return TaggedLanguage.from_file(grammar)
    from fieldlog.language.tongues import language_of

    return language_of()


@contextmanager
def open_ears(
    language: Language,
    name: str,
    model: Path | None = None,
    *,
    on_crash: Callable[[Crash], None] | None = None,
    loading: Callable[[str], AbstractContextManager[object]] = nullcontext,
) -> Iterator[Ears]:
    """Load the listener called ``name`` for ``language``; closed at the end, whatever happens.

    With ``on_crash`` a listener whose library may crash (``CRASHABLE``) runs in a process of its
    own, and every crash of it is told there: it costs one utterance, not the session. ``loading`` is
    entered with what takes its time.

    Raises ``ModelError`` (missing or broken model or library), ``GrammarError`` (words it cannot
    hear, all of them at once) or ``UsageError`` (``FIELDLOG_POLICY``) before any audio is opened.
    """
    from fieldlog.config import policy_name
    from fieldlog.doubt.decide import judge_for
    from fieldlog.doubt.echo import minding_echo
    from fieldlog.doubt.files import rules_for
    from fieldlog.doubt.gap import minding_gaps
    from fieldlog.doubt.rules import policy_named
    from fieldlog.doubt.second import minding_second
    from fieldlog.listeners.choose import open_listener

    policy = policy_named(policy_name())

    def judging(spoken: Language) -> Judge:
        rules = rules_for(spoken)
        judge = judge_for(spoken, rules, policy)
        if again := second_opinion(listener):
            judge = minding_second(judge, spoken, rules, policy, again)
        judge = minding_echo(minding_gaps(judge), spoken)
        told = getattr(spoken, "told", None)
        return judge if told is None else _asking(judge, told)

    isolated = on_crash is not None and name in CRASHABLE
    listener = open_listener(name, model, isolated=isolated, on_crash=on_crash)
    try:
        with loading(f"making {name} ready"):
            listener.load(language)
        yield Ears(language, listener, judging(language), judging, name in RELOADS)
    finally:
        listener.close()


def second_opinion(listener: Listener) -> Callable[[Clip], Hearing | None] | None:
    """What hears a clip once more, with other weights, where ``listener`` has a second ear.

    A clip is weighed several times before anything is made of it: it is heard once.
    """
    ask = getattr(listener, "second_opinion", None)
    if ask is None:
        return None
    from fieldlog.audio.behind import behind_s, left_over

    last: list[tuple[Clip, Hearing | None]] = []

    def heard(clip: Clip) -> Hearing | None:
        if not last or last[0][0] is not clip:
            again: Hearing | None = ask(clip)
            if again is not None:
                left, behind = left_over(clip, again.times), behind_s(clip, again.times)
                again = replace(again, left_over=left, behind_s=behind)
            last[:] = [(clip, again)]
        return last[0][1]

    return heard


def _asking(judge: Judge, told: TellsIn) -> Judge:
    """``judge``, whose questions read as ``told`` has them."""
    return lambda said, hearing, clip: told.asked(judge(said, hearing, clip))


def silent_ears(language: Language) -> Ears:
    """For typed words alone: nothing is heard, so nothing is doubted."""
    from fieldlog.listeners.typed import TypedListener

    return Ears(language, TypedListener(), lambda said, hearing, clip: said)
