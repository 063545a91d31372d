"""Two findings in one breath, and pauses inside a phrase: what is taken, what is told, what is gone.

Each take goes the way of ``fieldlog hear``: cut into utterances, heard in turn, joined where a pause
cut a phrase, weighed by doubt. Every take is decided twice, without the rule that what goes on is
never accepted and with it.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from fieldlog.audio.clip import Clip
from fieldlog.audio.endpointer import utterances
from fieldlog.doubt.decide import DoubtRules, Judge, Policy, judge_for
from fieldlog.grammar.language import Language
from fieldlog.hearing import Heard
from fieldlog.lab.benchmarks.breath_takes import (
    PAIR,
    SINGLE,
    SPLIT,
    TALK,
    Take,
    findings_of,
    sound_of,
)
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.listeners.base import Listener
from fieldlog.listeners.replay import clip_key
from fieldlog.model import Decision, Flag, Hearing
from fieldlog.shop.conversation import Conversation, utterances_of
from fieldlog.shop.ears import Ears

RIGHT = "all right"
SWALLOWED = "accepted, the rest gone unasked"
PARTLY = "one accepted, the other asked or refused"
WRONG = "something else accepted"
TOLD = "asked, saying that more was said"
ASKED = "asked otherwise"
REFUSED = "refused"
RESULTS = (RIGHT, PARTLY, SWALLOWED, WRONG, TOLD, ASKED, REFUSED)
LEVELS = (-1.0, -1.5, -2.0, -2.5, -3.0, -4.0, -6.0)
"""Nats; levels of the tail that the page compares."""


@dataclass(frozen=True, slots=True)
class Came:
    """What one take came to."""

    take: Take
    without: str
    """One of ``RESULTS``, the tail left out of account."""
    result: str
    """The same with the rule."""
    heard: tuple[str, ...]
    """Texts of the utterances, by the rule."""
    tails: tuple[float, ...]
    """Tails (nats) of the findings that were accepted without the rule."""


@dataclass
class Remembering:
    """Hears each clip once for each language and question; the decisions may then be made again."""

    listener: Listener
    name: str = ""
    _known: dict[tuple[str, str], Hearing] = field(default_factory=dict)
    _plain: dict[str, str] = field(default_factory=dict)
    _wanted: Language | None = None
    _loaded: Language | None = None

    def __post_init__(self) -> None:
        """It answers in the listener's name, which doubt goes by."""
        self.name = self.listener.name

    def load(self, language: Language) -> None:
        """Loaded into the listener when it must hear."""
        self._wanted = language

    def hear(self, clip: Clip) -> Hearing:
        """As the listener hears it for the language that was loaded last."""
        assert self._wanted is not None
        asked = getattr(self._wanted, "_asked", None)
        key = (f"{self._wanted.name} {asked}", clip_key(clip))
        if key not in self._known:
            if self._loaded is not self._wanted:
                self.listener.load(self._wanted)
                self._loaded = self._wanted
            self._known[key] = self.listener.hear(clip)
        return self._known[key]

    def transcribe(self, clip: Clip) -> str:
        """Plain words, where the listener has them."""
        key = clip_key(clip)
        if key not in self._plain:
            plain = getattr(self.listener, "transcribe", lambda clip: "")
            self._plain[key] = plain(clip)
        return self._plain[key]

    def close(self) -> None:
        """The listener is somebody else's."""


def hear_takes(
    takes: Sequence[Take],
    folder: Path,
    listener: Listener,
    language: InspectionLanguage,
    rules: DoubtRules,
    policy: Policy = Policy.BALANCED,
    progress: Callable[[int, int], None] = lambda done, of: None,
) -> list[Came]:
    """What each take comes to; ``listener`` hears, whatever it was loaded with."""
    remembering = Remembering(listener)
    deaf = replace(rules, more_said={})
    came = []
    for number, take in enumerate(takes):
        clips = list(utterances([sound_of(take, folder)]))
        before, after = (
            _in_turn(clips, remembering, language, each, policy) for each in (deaf, rules)
        )
        tails = tuple(
            each.hearing.hypotheses[0].evidence.get("tail", 0.0)
            for each in before
            if each.accepted and each.hearing.hypotheses
        )
        texts = tuple(each.text for each in after)
        without, result = (result_of(take.said, each, language) for each in (before, after))
        came.append(Came(take, without, result, texts, tails))
        progress(number + 1, len(takes))
    return came


def _in_turn(
    clips: Sequence[Clip],
    listener: Listener,
    language: InspectionLanguage,
    rules: DoubtRules,
    policy: Policy,
) -> list[Heard]:
    def judging(spoken: Language) -> Judge:
        return judge_for(spoken, rules, policy)

    listener.load(language)
    ears = Ears(language, listener, judging(language), judging, reloads=True)
    return list(utterances_of(clips, Conversation(ears)))


def result_of(said: Sequence[str], heard: Sequence[Heard], language: InspectionLanguage) -> str:
    """Which of ``RESULTS`` the utterances of one take are (pure)."""
    wanted = [one.meaning for each in said if (one := findings_of(language, each))]
    taken = [each.understanding.finding for each in heard if each.accepted]
    meant = [None if one is None else one.meaning for one in taken]
    asked = [each.understanding for each in heard if each.understanding.decision is Decision.ASK]
    if meant == wanted != []:
        return RIGHT
    if any(one not in wanted for one in meant) or len(set(meant)) < len(meant):
        return WRONG
    if meant:
        # The rest was heard as an utterance of its own, and the speaker was told of it.
        return PARTLY if len(heard) > len(meant) else SWALLOWED
    if any(Flag.MORE_SAID in each.flags for each in asked):
        return TOLD
    return ASKED if asked else REFUSED


def upper_bound(hits: int, of: int, confidence: float = 0.95) -> float:
    """The share (0..1) that is not exceeded with this confidence, one-sided.

    Clopper and Pearson, "The use of confidence or fiducial limits illustrated in the case of the
    binomial", Biometrika 26 (1934), 404-413.
    """
    if not of or hits >= of:
        return 1.0
    from scipy.special import betaincinv

    return float(betaincinv(hits + 1, of - hits, confidence))


def page(came: Sequence[Came], part: str, rules: DoubtRules, command: str) -> str:
    """What the command prints: Markdown."""
    pairs, singles, splits, talk = (
        [c for c in came if c.take.kind == kind] for kind in (PAIR, SINGLE, SPLIT, TALK)
    )
    voices = sorted({each.take.voice.name for each in came})
    level = rules.more_said.get("whisper", -math.inf)
    lines = [
        "# Two findings in one breath, and a pause inside a phrase", "",
        f"Printed by `{command}`.", "",
        f"{len(pairs)} pairs of findings and the same {len(singles)} findings singly, clean, by "
        f"{len(voices)} voices of the part {part}: {', '.join(voices)}. An utterance whose tail is "
        f"below {level:g} nats is asked about or refused. Behind each share the upper 95 % bound.",
        "",
        *_results("pair", pairs), "", *_results("single", singles), "",
        "## Pairs by what is between them", "",
        *_head("between", "pairs", *RESULTS),
    ]  # fmt: skip
    lines += _by(pairs)
    lines += ["", "## A pause inside a phrase", "", *_head("pause", "phrases", *RESULTS)]
    lines += _by(splits)
    lines += ["", "## A pause inside a sentence that is no finding", ""]
    lines += [*_head("pause", "sentences", *RESULTS), *_by(talk)]
    lines += ["", "## Levels of the tail", ""]
    lines += _head(
        "nats", "swallowed pairs that would still be accepted", "right singles asked about"
    )
    gone = [max(c.tails, default=0.0) for c in pairs if c.without == SWALLOWED]
    right = [min(c.tails, default=0.0) for c in singles if c.without == RIGHT]
    for each in LEVELS:
        lines.append(
            f"| {each:g} | {_share(sum(t >= each for t in gone), len(gone))} "
            f"| {_share(sum(t < each for t in right), len(right))} |"
        )
    lines += _named(
        "Accepted, and the rest gone unasked", [c for c in came if c.result == SWALLOWED]
    )
    lines += _named("Something else accepted", [c for c in came if c.result == WRONG])
    asked = [c for c in singles if c.without == RIGHT != c.result]
    lines += _named("Right singles that are asked about by the rule", asked)
    return "\n".join(lines) + "\n"


def _results(kind: str, came: Sequence[Came]) -> list[str]:
    lines = _head(f"of {len(came)} {kind}s", "without the rule", "with it")
    for result in RESULTS:
        counts = (sum(way(c) == result for c in came) for way in (_without, _with))
        told = " | ".join(_share(count, len(came)) for count in counts)
        lines.append(f"| {result} | {told} |")
    return lines


def _without(came: Came) -> str:
    return came.without


def _with(came: Came) -> str:
    return came.result


def _by(came: Sequence[Came]) -> list[str]:
    groups: dict[str, Counter[str]] = {}
    for each in came:
        groups.setdefault(each.take.joiner, Counter())[each.result] += 1
    return [
        f"| {name} | {found.total()} | {' | '.join(str(found[result]) for result in RESULTS)} |"
        for name, found in sorted(groups.items())
    ]


def _share(count: int, of: int) -> str:
    share = f"{100.0 * count / of:.1f}" if of else "-"
    return f"{count} ({share} %, at most {100.0 * upper_bound(count, of):.1f} %)"


def _named(title: str, came: Sequence[Came]) -> list[str]:
    lines = ["", f"## {title}", ""]
    if not came:
        return [*lines, "None."]
    lines += _head("said", "between", "voice", "heard", "tail")
    for each in came:
        tails = ", ".join(f"{tail:.2f}" for tail in each.tails)
        lines.append(
            f"| {' + '.join(each.take.said)} | {each.take.joiner} | {each.take.voice.name} "
            f"| {' / '.join(each.heard)} | {tails} |"
        )
    return lines


def _head(*names: str) -> list[str]:
    return [f"| {' | '.join(names)} |", "|" + "---|" * len(names)]
