"""What an utterance meets: the inspection as the record has it now, and what it is judged by (pure)."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from itertools import islice

from fieldlog.aftercare.checklist import Item, LeftOpen, Progress, Skip, progress
from fieldlog.aftercare.crosschecks import CrossCheck, Unanswered, WorkDone, unanswered
from fieldlog.catalogue.component import Catalogue
from fieldlog.errors import FieldlogError
from fieldlog.language.answers import APART
from fieldlog.language.in_words import in_words, value_said
from fieldlog.limits.assess import Assessment, again, assess
from fieldlog.limits.cautions import cautioned, is_dangerous
from fieldlog.model.command import Command
from fieldlog.model.context import Context
from fieldlog.model.finding import Finding
from fieldlog.model.limit import Limit
from fieldlog.model.question import Asks, Question
from fieldlog.model.state import State
from fieldlog.model.understanding import Decision, Flag, Understanding
from fieldlog.model.verdict import Verdict
from fieldlog.shop.events import Kept
from fieldlog.shop.known import VehicleKnown
from fieldlog.store.records import Remark
from fieldlog.words import questions

NEW = ""
"""Stands for the id of a finding that is not in the record yet."""
INSTEAD = "instead"
"""Slot of a correction: the finding (id) that goes where its question is answered with yes; empty: whichever
was said last, without asking."""


@dataclass(frozen=True, slots=True)
class Rules:
    """What an inspection is judged by and worked off after."""

    catalogue: Catalogue
    limits: Sequence[Limit]
    context: Context
    day: date
    """The day of the inspection."""
    walk: Sequence[Item] = ()
    """The vehicle's checklist."""
    checked: Mapping[str, date] = field(default_factory=dict)
    """Item of it -> the last day it was checked in an earlier inspection."""
    fault: str = ""
    """Why nothing can be judged now; empty when all is well."""
    entered: tuple[Finding, ...] = ()
    """What was read without being said."""
    crosschecks: tuple[CrossCheck, ...] = ()
    done: tuple[WorkDone, ...] = ()
    """Work that was done in the inspection."""


@dataclass(frozen=True, slots=True)
class Scene:
    """One inspection at one moment."""

    rules: Rules
    standing: tuple[Kept, ...] = ()
    """Findings that stand, oldest first."""
    last: Kept | None = None
    """What the last finding that was said has become; None: none was, or it no longer stands."""
    together: tuple[Kept, ...] = ()
    """What stands of the breath in which ``last`` was said."""
    put_right: Callable[[], Mapping[str, Kept]] = dict
    """Gives ``before``: only what takes back asks for it."""
    gone: Finding | None = None
    """That finding, where other hands withdrew it."""
    withdrawn: frozenset[tuple[str, str | None, str | None]] = frozenset()
    """What findings were about that were withdrawn."""
    skips: tuple[Skip, ...] = ()
    skipped: tuple[str, ...] = ()
    """Items of the walk that were left out by what was said last."""
    signed: bool = False
    known: VehicleKnown | None = None
    """What the record knows of the vehicle."""
    remark: Remark | None = None
    """What was said last, where that was a remark, and it stands."""
    not_affirmed: Callable[[], tuple[Kept, ...]] = tuple
    """Gives what ``unaffirmed`` says: only signing asks for it."""
    not_answered: Callable[[], tuple[str, ...]] = tuple
    """Gives ``questions``."""

    @property
    def unaffirmed(self) -> tuple[Kept, ...]:
        """What stands and was read back, and nobody affirmed."""
        return self.not_affirmed()

    @property
    def questions(self) -> tuple[str, ...]:
        """Questions that nobody answered."""
        return self.not_answered()

    @property
    def before(self) -> Mapping[str, Kept]:
        """A standing correction that was said (id) -> what it put right."""
        return self.put_right()

    @property
    def alike(self) -> tuple[Kept, ...]:
        """``last``, with what the same breath said alike of other places; empty: nothing was said last."""
        last = self.last
        if last is None:
            return ()
        others = (each for each in self.together if each.finding.alike(last.finding))
        return tuple(others) or (last,)

    def numbered(self, number: int) -> Kept | None:
        """The standing finding of that number."""
        return next((each for each in self.standing if each.number == number), None)

    def same(self, kept: Kept) -> Kept | None:
        """``kept`` as it stands now; None where it no longer does."""
        return next((each for each in self.standing if each.id == kept.id), None)

    def beside(self, finding: Finding, verdict: Verdict) -> Scene:
        """The scene with a finding that is about to be saved."""
        return replace(self, standing=(*self.standing, Kept(NEW, 0, finding, verdict)))

    def without(self, was: Kept) -> Scene:
        """The scene once ``was`` no longer stands."""
        return replace(self, standing=tuple(each for each in self.standing if each is not was))

    def named_in(self, slots: Mapping[str, str]) -> Kept | None:
        """The newest standing finding of the component and place that were said."""
        return next(reversed(self.all_named_in(slots)), None)

    def all_named_in(self, slots: Mapping[str, str]) -> tuple[Kept, ...]:
        """Every standing finding of the component and place that were said, oldest first."""
        place = set(slots.get("position", "").split())
        return tuple(
            kept
            for kept in self.standing
            if kept.finding.component == slots.get("component")
            and place <= set((kept.finding.position or "").split())
            and slots.get("characteristic") in (None, kept.finding.characteristic)
        )

    def newest_in(self, slots: Mapping[str, str]) -> tuple[Kept, ...]:
        """The newest standing finding of the component that was said, at each place that it may mean."""
        newest = dict[str | None, Kept]()
        for each in self.all_named_in(slots):
            newest.pop(each.finding.position, None)
            newest[each.finding.position] = each
        return tuple(newest.values())

    # -- judging ------------------------------------------------------------------------------

    def assess(self, finding: Finding, without: Kept | None = None) -> Assessment:
        """``finding`` against every limit, beside all that stands but ``without``.

        A context that contradicts the reading leaves it undecided, with the reason: the finding
        itself is never lost over it.
        """
        beside = [each.finding for each in self.standing if each is not without]
        return self._assess(finding, beside)

    def judged_again(
        self, changed: Kept, replacement: Finding | None
    ) -> tuple[tuple[Kept, Verdict], ...]:
        """Newer verdicts of findings that leaned on ``changed``, which ``replacement`` replaces."""
        rest = [each for each in self.standing if each is not changed]
        kept = {each.id: each for each in rest}
        after = [(each.id, each.finding) for each in rest]
        if replacement is not None:
            after.append((NEW, replacement))
        found = []
        for name, finding in again(changed.finding, after):
            if name != NEW:
                beside = [other for key, other in after if key != name]
                found.append((kept[name], self._assess(finding, beside).verdict))
        return tuple(found)

    def _assess(self, finding: Finding, beside: Sequence[Finding]) -> Assessment:
        rules = self.rules
        if rules.fault:
            return self._undecided(finding, rules.fault)
        try:
            return assess(finding, rules.limits, rules.context, rules.catalogue, rules.day, beside)
        except FieldlogError as error:
            return self._undecided(finding, str(error))

    def _undecided(self, finding: Finding, why: str) -> Assessment:
        verdict = Verdict(State.UNDECIDED, None, reason=why)
        return Assessment(cautioned(verdict, finding.component, self.rules.catalogue))

    # -- corrections --------------------------------------------------------------------------

    def to_correct(self, finding: Finding, *, elsewhere: bool = True) -> Kept | None:
        """What a correction replaces: the newest standing finding about the same thing that it may be of.

        Else, where it may be ``elsewhere``, the last finding, when it is about the same component
        (the place was wrong); nothing else is ever withdrawn by a correction that does not name it. Nor
        is that where the place is one that was said before, and withdrawn; where the last breath said
        the same of several places; or where what is said is of another kind: "correction rear left
        indicator fine" is not what was found broken in front.
        """
        same = self.may_be_of(finding)
        if same:
            return same[-1]
        last = self.last if elsewhere and finding.subject not in self.withdrawn else None
        if last is None or last.finding.component != finding.component:
            return None
        other = finding.says.leaves_out(last.finding.says) or self._said_of_several(last.finding)
        return None if other else last

    def may_be_of(self, finding: Finding) -> tuple[Kept, ...]:
        """What stands about the same thing and ``finding`` may put right, oldest first.

        A part has one newest value, and may have several faults at once: of "two loose, one broken" the
        correction "three loose" is of the loose ones, else it is of what was said last, where that is one of
        them alone. Otherwise nobody said of which.
        """
        newest_first = (
            each
            for each in reversed(self.standing)
            if each.finding.component == finding.component and same_thing(each.finding, finding)
        )
        if finding.condition is None:
            return tuple(islice(newest_first, 1))
        same = tuple(newest_first)[::-1]
        if len(same) < 2:
            return same
        counted = [each for each in same if each.finding.condition == finding.condition]
        if len(counted) == 1 and counted[0].finding.meaning != finding.meaning:
            return tuple(counted)
        said = {each.id for each in self.together}
        in_breath = tuple(each for each in same if each.id in said)
        of_last = self.last is not None and [self.last.id] == [each.id for each in in_breath]
        return in_breath if of_last else same

    def completed(
        self, said: Understanding, understand: Callable[[str], Understanding]
    ) -> Understanding:
        """ "correction four millimetres" as the whole phrase, with what the last finding was about.

        Stays as it was said, and so a question, where the value does not fit that finding or was
        not heard clearly to its end, or where the same was said of several at once: of which it is?
        """
        unclear = {Flag.UNCLEAR, Flag.MORE_SAID} & set(said.flags)
        if said.dialogue is not Command.CORRECTION or unclear:
            return said
        value = value_said(said)
        last = self.last.finding if self.last else None
        if not value or last is None or self._said_of_several(last):
            return said
        for whole in _with_value(last, value):
            understood = understand(f"{Command.CORRECTION} {whole}")
            offered = understood.offered
            if offered and all(same_thing(one, last) for one in offered):
                return replace(understood, text=said.text)
        return said

    def asked_instead(self, said: Understanding, asked: Understanding | None) -> Understanding:
        """``said``, or, where it corrects what was found of another thing and says another, or one of several
        faults of the same thing, whether that goes.

        "Front pads four", "correction rear pads three": the place was wrong, and the value, or it is one more
        finding. ``asked``: the question that it answers.
        """
        finding = said.finding
        if said.decision is not Decision.ACCEPT or finding is None or INSTEAD in said.slots:
            return said
        settled = asked is not None and asked.dialogue is not Command.CORRECTION
        if asked is not None and asked.asks is Asks.INSTEAD:  # "correction rear pads two" asks anew
            settled = finding.meaning in {one.meaning for one in asked.offered}
        was = (
            None if settled or said.dialogue is not Command.CORRECTION else self.to_correct(finding)
        )
        if was is None:
            return said
        several = len(self.may_be_of(finding)) > 1
        if same_thing(was.finding, finding) and not several:
            return said
        if finding.alike(was.finding):
            return said  # the place alone was wrong
        question = Question(Asks.INSTEAD, questions.instead(was.finding, finding))
        reason = questions.SEVERAL_FAULTS if several else questions.ANOTHER_PLACE
        return replace(
            said, decision=Decision.ASK, reason=reason, finding=None, candidates=(finding,),
            question=question, slots={**said.slots, INSTEAD: was.id},
        )  # fmt: skip

    def corrected_by(self, said: Understanding, asked: Understanding | None) -> Kept | None:
        """What a finding replaces that answers ``asked``: nothing unless it is a correction.

        "Rear pads two", a question, "correction rear pads four" puts right the words that were asked
        about: what was found before them at another place stays.
        """
        if said.finding is None or said.dialogue is not Command.CORRECTION:
            return None
        if said.slots.get(INSTEAD):
            return next((each for each in self.standing if each.id == said.slots[INSTEAD]), None)
        anew = asked is not None and asked.dialogue is not Command.CORRECTION
        return self.to_correct(said.finding, elsewhere=not anew)

    def _said_of_several(self, last: Finding) -> bool:
        """Whether ``last`` and another of its breath are the same but for their places: "both pads two"."""
        return sum(each.finding.alike(last) for each in self.together) > 1

    def met(self, said: Understanding, asked: Understanding | None) -> Understanding:
        """``said``, which answers what was ``asked``, beside what is known of the vehicle."""
        return said if self.known is None else self.known.met(said, asked)

    # -- the walk -----------------------------------------------------------------------------

    @property
    def cross_checks(self) -> tuple[Unanswered, ...]:
        """What was found makes one look at as well, and nobody did."""
        findings = [each.finding for each in self.standing]
        return unanswered(findings, self.rules.done, self.rules.crosschecks)

    @property
    def progress(self) -> Progress:
        """Where the walk stands."""
        rules = self.rules
        findings = [*(each.finding for each in self.standing), *rules.entered]
        return progress(rules.walk, findings, self.skips, dict(rules.checked), rules.day)

    @property
    def left(self) -> tuple[LeftOpen, ...]:
        """What nobody has looked at or left out, stage by stage."""
        return self.progress.left

    @property
    def dangerous(self) -> tuple[Kept, ...]:
        """Standing findings that are dangerous, or may be."""
        return tuple(each for each in self.standing if is_dangerous(each.verdict))

    @property
    def beyond(self) -> tuple[Kept, ...]:
        """Standing findings that are beyond a limit and not dangerous for all we know."""
        return tuple(
            each
            for each in self.standing
            if each.verdict is not None
            and each.verdict.state is State.BEYOND
            and not is_dangerous(each.verdict)
        )

    def left_out(self, slots: Mapping[str, str]) -> tuple[str, ...]:
        """Keys of what a skip of the component and place that were said leaves out.

        Empty where the walk has the component and no item as fine: "front left brake disc" would
        leave all of the front one out, or nothing. What is not on the walk at all is left out by
        the name it was given.
        """
        component, place = slots["component"], slots.get("position", "")
        key = f"{place} {component}".strip()
        ours = [item for item in self.rules.walk if item.component == component]
        if not ours or not place or any(item.key == key for item in ours):
            return (key,)
        within = set(place.split())
        return tuple(item.key for item in ours if within <= set((item.position or "").split()))

    def how_to_check(self, slots: Mapping[str, str]) -> tuple[str | None, str]:
        """The component that was named (else the next open item's) and how it is checked."""
        named, measure = slots.get("component"), slots.get("characteristic")
        left = self.left
        if not named and left:
            sight = left[0].sights[0]
            named = (*sight.of, left[0].item.component)[0]
            measure = measure or (sight.measures[0] if sight.name and sight.measures else None)
        component = self.rules.catalogue.get(named or "")
        if component is None:
            return None, ""
        measured = component.characteristic(measure)
        own = measured.how_to_check if measured else ""
        return component.name, own or component.how_to_check


def same_thing(one: Finding, other: Finding) -> bool:
    """Whether two findings are about the same characteristic of the same part."""
    return one.subject == other.subject


def _with_value(last: Finding, value: str) -> Iterator[str]:
    """The phrase of ``last`` with ``value`` in place of its own, in every way that may be meant.

    How it was typed ("3 mm") is not how its value is kept ("three millimetres"): what is replaced
    is looked for in the words of the grammar, and without it there the old value would be said anew.
    """
    if last.quantity is None or not last.quantity.words:
        return
    if APART not in last.words:
        old = tuple(last.quantity.words.split())
        for words in in_words(last.words):
            phrase = words[1:] if words[:1] == (Command.CORRECTION,) else words
            for at in reversed(range(len(phrase))):
                if phrase[at : at + len(old)] == old:
                    yield " ".join((*phrase[:at], value, *phrase[at + len(old) :]))
    if (
        not last.given
    ):  # "pads two millimetres / front" and, of a breath, "rear three" are no phrases
        named = (last.position, last.component, last.characteristic, value)
        yield " ".join(part for part in named if part)
