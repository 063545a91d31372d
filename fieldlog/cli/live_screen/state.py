"""What stands on the screen of a live session, and how what happens changes it (pure)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from fieldlog.aftercare.checklist import LeftOpen, left_text
from fieldlog.audio.capture import Level
from fieldlog.audio.health import Notice, Trouble
from fieldlog.cli.event_lines import event_text
from fieldlog.cli.plain import plain
from fieldlog.doubt.question import waits
from fieldlog.limits.cautions import is_dangerous, worst_first
from fieldlog.model.state import State
from fieldlog.model.understanding import Understanding
from fieldlog.shop import events as ev
from fieldlog.shop.events import Event, Kept
from fieldlog.shop.live import Told
from fieldlog.words import tell
from fieldlog.words.telling import question, say

FLOOR_DB = -60.0
TOO_LOUD_DB = -0.5
_ENDS: dict[Trouble, frozenset[Trouble]] = {
    Trouble.BACK: frozenset({Trouble.LOST, Trouble.AWAY, Trouble.SILENT, Trouble.RENAMED}),
    Trouble.RENAMED: frozenset({Trouble.LOST, Trouble.AWAY}),
}
"""What a notice puts right."""
_Saved = ev.FindingSaved | ev.FindingCorrected | ev.FindingBroughtBack
_PASSING = frozenset({Trouble.BACK, Trouble.OVERFLOW, Trouble.CLOCK, Trouble.TOO_LOUD, Trouble.GAP})
"""What is told until the next utterance; everything else stays until it is put right."""


@dataclass(frozen=True, slots=True)
class LastFinding:
    """The finding that was saved last."""

    number: int
    subject: str
    value: str
    state: State | None
    short: str
    """The verdict in a word."""
    verdict: str
    """How it reads in full, with its severity and what is doubtful about it."""
    limit: str
    dangerous: bool
    corrects: bool = False
    withdrawn: bool = False


@dataclass(frozen=True, slots=True)
class Screen:
    """Everything that is shown."""

    title: str
    microphone: str
    clock: str = ""
    level_db: float = FLOOR_DB
    too_loud: bool = False
    speaking: bool = False
    hearing: str = ""
    """What is being understood while it is said, where a listener tells it."""
    standing_by: bool = False
    led: bool = False
    last: LastFinding | None = None
    findings: int = 0
    question: str = ""
    asked_of: str = ""
    """The words that the question is about."""
    told: tuple[str, ...] = ()
    """What was told last that is no finding and no question."""
    next_item: str = ""
    left: tuple[tuple[str, int], ...] = ()
    """Stage of the walk: how much of it is open."""
    alarms: tuple[tuple[Trouble | None, str], ...] = ()
    """None: the record takes nothing."""

    def with_level(self, level: Level, hearing: str = "") -> Screen:
        """The level now; sound ends the alarm about its absence. ``hearing``: words that may still change."""
        minutes, seconds = divmod(int(level.position_s), 60)
        heard = level.rms_db > -90.0
        return replace(
            self,
            clock=f"{minutes}:{seconds:02d}",
            level_db=level.rms_db,
            too_loud=level.peak_db > TOO_LOUD_DB,
            speaking=level.speaking,
            hearing=plain(hearing) if level.speaking else "",
            alarms=_without(self.alarms, {Trouble.SILENT}) if heard else self.alarms,
        )

    def with_notice(self, notice: Notice, microphone: str) -> Screen:
        """Something about the sound; ``microphone``: what is heard now."""
        kept = _without(self.alarms, _ENDS.get(notice.trouble, frozenset()) | {notice.trouble})
        return replace(self, microphone=microphone, alarms=(*kept, (notice.trouble, notice.text)))

    def with_told(self, told: Told) -> Screen:
        """What an utterance led to."""
        screen = replace(self, hearing="", alarms=_without(self.alarms, {None, *_PASSING}), told=())
        for event in told.events:
            screen = screen._with(event)
        return screen._with_worst_of([event for event in told.events if isinstance(event, _Saved)])

    def _with_worst_of(self, saved: Sequence[_Saved]) -> Screen:
        """Of several findings in a breath the worst is the large one: what came behind it does not hide it."""
        if len(saved) < 2:
            return self
        worst = min(reversed(saved), key=lambda event: worst_first(event.kept.verdict))
        others = (_in_a_line(each.kept) for each in saved if each is not worst)
        corrects = not isinstance(worst, ev.FindingSaved)
        return replace(self, last=_shown(worst.kept, corrects=corrects), told=(*others, *self.told))

    def with_walk(
        self, left: Sequence[LeftOpen], waiting: Understanding | None, *, standing_by: bool
    ) -> Screen:
        """Where the walk stands and what waits for an answer, as the record has it now."""
        counts = Counter(each.stage.name for each in left)
        first = f"{left_text(left[0])} ({say(left[0].stage.name)})" if left else ""
        return replace(
            self,
            next_item=first,
            left=tuple((say(stage), count) for stage, count in counts.items()),
            question="" if waiting is None else question(waiting),
            asked_of="" if waiting is None else waiting.text,
            standing_by=standing_by,
        )

    def _with(self, event: Event) -> Screen:
        match event:
            case ev.FindingSaved(_, kept, _):
                return replace(self, last=_shown(kept), findings=self.findings + 1)
            case ev.FindingCorrected(_, kept, _, _):
                return replace(self, last=_shown(kept, corrects=True))
            case ev.FindingBroughtBack(_, kept, _, _):
                return replace(self, last=_shown(kept, corrects=True))
            case ev.FindingWithdrawn(_, was, _, _):
                gone = replace(_shown(was), withdrawn=True)
                return replace(self, last=gone, findings=max(0, self.findings - 1))
            case ev.NotSaved():
                text = event_text(event).plain
                return replace(self, alarms=(*self.alarms, (None, text)))
            case ev.GoingAhead(_, led):
                return replace(self, led=self.led or led)
            case ev.OnYourOwn():
                return replace(self, led=False)
            case ev.NextTold() | ev.JudgedAgain() | ev.AskedAgain() | ev.StandingBy():
                return self  # stands elsewhere on the screen
            case ev.Asked(said) if waits(said.understanding):
                return self
            case _:
                text = event_text(event).plain.strip()
                return replace(self, told=(*self.told, text) if text else self.told)


def _shown(kept: Kept, *, corrects: bool = False) -> LastFinding:
    verdict, finding = kept.verdict, kept.finding
    short = told = limit = ""
    if verdict is not None:
        short = told = tell.state(verdict)
        if verdict.severity is not None and verdict.state is not State.WITHIN:
            told += f" ({say(tell.severity(verdict))})"
        told = " ".join((told, tell.doubt(verdict) or "")).strip()
        limit = tell.limit_in_full(verdict.gate.limit) if verdict.gate else say(verdict.reason)
    return LastFinding(
        kept.number,
        tell.subject(finding),
        tell.value(finding),
        verdict.state if verdict is not None else None,
        short,
        told,
        limit,
        is_dangerous(verdict),
        corrects,
    )


def _in_a_line(kept: Kept) -> str:
    shown = _shown(kept)
    return f"{shown.number}  {shown.subject}: {shown.value}  {shown.verdict}".rstrip()


def _without(
    alarms: tuple[tuple[Trouble | None, str], ...], gone: frozenset[Trouble] | set[Trouble | None]
) -> tuple[tuple[Trouble | None, str], ...]:
    return tuple(each for each in alarms if each[0] not in gone)
