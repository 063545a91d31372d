"""Findings and verdicts as lines for the terminal, the same in every command."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date
from typing import TYPE_CHECKING

from rich.text import Text

from fieldlog.cli.signs import ALARM, ASKED, SIGNS, WEIGHTS
from fieldlog.grammar.language import Language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.limits.assess import Assessment, assess
from fieldlog.limits.context import parse_context
from fieldlog.limits.packs import shipped_limits
from fieldlog.model.limit import Limit
from fieldlog.model.state import State
from fieldlog.model.understanding import Decision, Understanding
from fieldlog.model.verdict import Judgement
from fieldlog.words import english, tell
from fieldlog.words.telling import question, say

if TYPE_CHECKING:
    from fieldlog.photos.placing import Placed
    from fieldlog.store.records import InspectionRecord

Assessor = Callable[[Understanding], Assessment | None]


def assessor(
    language: Language,
    jurisdiction: str | None,
    settings: Sequence[str],
    limits: Sequence[Limit] | None = None,
) -> Assessor:
    """What gives accepted findings their verdicts in this context; None for everything else.

    ``limits``: the rows to check against (ours when None). Raises ``UsageError`` for a context that
    cannot be meant, before anything is heard.
    """
    context = parse_context(jurisdiction, settings)
    day = context.settings.get("date")
    today = date.fromisoformat(day) if day else date.today()
    if not isinstance(language, InspectionLanguage):
        return lambda understood: None
    rows = shipped_limits() if limits is None else tuple(limits)
    catalogue = language.catalogue

    def assessed(understood: Understanding) -> Assessment | None:
        if understood.decision is not Decision.ACCEPT or understood.finding is None:
            return None
        return assess(understood.finding, rows, context, catalogue, today)

    return assessed


def outcome_text(understood: Understanding, assessment: Assessment | None) -> Text:
    """One line: what was understood, and the verdict with its gating limit, or why it has none."""
    if understood.decision is Decision.REFUSE:
        told = not understood.text or f"'{understood.text}'" in understood.reason
        said = "" if told else f" ({say('heard: {words}', words=understood.text)})"
        return Text(f"{say('not understood')}: {say(understood.reason)}{said}", "dim")
    if understood.decision is Decision.ASK:
        asked = say("asked: {question}", question=question(understood) or say(understood.reason))
        heard = say("heard: {words}", words=understood.text)
        return Text.assemble((asked, ASKED), (f"  {heard}", "dim"))
    if understood.finding is None:
        return Text(_other(understood))
    line = Text(tell.finding(understood.finding))
    if assessment is None:
        return line
    verdict = assessment.verdict
    line.append(f"  {SIGNS[verdict.state]} {tell.state(verdict)}", WEIGHTS[verdict.state])
    if verdict.severity is not None and verdict.state is not State.WITHIN:
        line.append(f" ({say(tell.severity(verdict))})")
    if doubt := tell.doubt(verdict):
        line.append(f" {doubt}", ALARM)
    if verdict.gate is not None:
        line.append(f"  {limit_text(verdict.gate)}", "dim")
    elif verdict.reason:
        line.append(f"  {say(verdict.reason)}", "dim")
    return line


AS_ABOVE = "  caution: what was cautioned of above holds here too"


def understood_lines(
    understood: Understanding, assessment: Assessment | None, cautioned: set[str] | None = None
) -> Iterator[Text]:
    """The line of ``outcome_text``, then what stands behind it, each on a line of its own.

    What could have been meant; the reason, every computed value with its arithmetic, the other limits
    with their sources and the cautions; what a reviewer should look at. ``cautioned``: the cautions
    that stand above already, which are not said again; those said here are added to it.
    """
    yield outcome_text(understood, assessment)
    for candidate in understood.candidates:
        yield Text(f"  - {tell.finding(candidate)}")
    if assessment is not None:
        verdict = assessment.verdict
        if verdict.reason and verdict.gate is not None:  # else it is in the line above
            yield Text(f"  {verdict.reason}")
        for derived, _ in assessment.derived:
            yield Text(f"  {derived.finding.characteristic}: {derived.arithmetic}")
        for other in verdict.others:
            told = "" if other.judged else other.reason
            yield Text(f"  also {told or tell.state(other)}: {limit_text(other)}")
        above = set() if cautioned is None else cautioned
        yield from caution_lines(text for text in verdict.cautions if text not in above)
        if not above.isdisjoint(verdict.cautions):
            yield Text(AS_ABOVE)
        above.update(verdict.cautions)
    if understood.flags:
        yield Text(f"  look at: {', '.join(map(english.flag, understood.flags))}")


def caution_lines(cautions: Iterable[str]) -> Iterator[Text]:
    """Cautions as they stand under a finding, before the work and before an inspection."""
    for caution in cautions:
        yield Text(f"  {say('caution: {text}', text=say(caution))}")


def limit_text(judgement: Judgement) -> str:
    """What the limit asks for as printed, the margin to it, and its source with its status."""
    limit = judgement.limit
    margin = ""
    if judgement.margin is not None:
        margin = tell.rounded(judgement.margin, limit.unit, signed=True, marked=False)
        margin = f", {say('margin {margin}', margin=margin)}"
    plain, status = limit.source, limit.status.value
    source = say(plain) if plain.startswith(status) else f"{say(plain)} ({say(status)})"
    return f"{tell.limit_in_full(limit)}{margin}; {source}"


def _other(understood: Understanding) -> str:
    if understood.slots and understood.dialogue is None:
        return "  ".join(f"{name}={words}" for name, words in understood.slots.items())
    told = " ".join(value for value in understood.slots.values() if value)
    return f"{understood.dialogue or understood.kind.value}: {told}".rstrip(": ")


def placed_lines(placed: Placed, record: InspectionRecord) -> Iterator[str]:
    """What was found out about each camera's clock, then where every photo went and why."""
    for alignment in placed.alignments:
        ahead = -alignment.offset_s
        yield (
            f"  {alignment.camera}: clock {abs(ahead):.1f} s {'ahead' if ahead > 0 else 'behind'}, "
            f"+-{alignment.uncertainty_s:.1f} s, from {alignment.pairs} times"
        )
        if alignment.ask:
            yield f"  {alignment.camera}: {alignment.ask}"
    findings = {each.id: each.finding for each in record.findings}
    for photo in record.photos:
        attachment = photo.attachment
        if attachment is None or attachment.finding_id is None:
            why = attachment.reason if attachment else "not placed"
            yield f"  {photo.file}: unplaced ({why})"
        else:
            about = tell.finding(findings[attachment.finding_id])
            yield f"  {photo.file} -> {about}  ({attachment.reason})"
