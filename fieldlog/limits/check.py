"""A finding against all limits that apply: which one gates, what the verdict is (pure).

Rules, from the design:

* The strictest limit that is *cited* or *entered by user* gates; all that apply are shown.
* *From memory* never gates. *Common practice* alone, and an edition that was superseded, give at most
  *faulty*, with its severity and advice; an *outright* row says *beyond* whatever its status, where
  nothing is left (no pad, no air).
* *Marginal* is what is nearer to a limit than the guard band, and of common practice on either side.
* An equipment standard (what a part must be made like) and a handbook of industry (chains of machines)
  can condemn, but they do not clear what common practice advises against.
* What is not known (rim material, grade) is tried both ways: if the answer is the same it stands,
  else the verdict is *undecided* and says what to set.
* The worst severity of the rows that the reading is outside of counts, decided or not. Minor is what
  is inside a limit by less than the guard band.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import reduce
from itertools import product

from fieldlog.limits.applies import asked, assumptions, holds, in_reach, missing_keys
from fieldlog.limits.context import SETTINGS
from fieldlog.limits.decision import DEFAULT_RULE
from fieldlog.limits.entered import ENTERED, entered_limits, hint
from fieldlog.limits.judge import SEVERENESS, comparable, judge, outside
from fieldlog.limits.uncertainty import Uncertainty, uncertainty_of
from fieldlog.model.context import Context
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.limit import Layer, Limit, LimitStatus, Relation
from fieldlog.model.state import Severity, State
from fieldlog.model.verdict import Judgement, Verdict
from fieldlog.quantities.units import convert
from fieldlog.words import tell

GATING = frozenset({LimitStatus.CITED, LimitStatus.ENTERED})
_NOT_CLEARING = frozenset({Layer.EQUIPMENT, Layer.HANDBOOK})
"""Layers written for other than a vehicle in use: met, they say nothing against common practice."""
SEVERITIES = tuple(Severity)
"""From minor to dangerous."""
_SOUND = "sound"
_LAYERS = (
    Layer.MEMORY,
    Layer.COMMON,
    Layer.EQUIPMENT,
    Layer.HANDBOOK,
    Layer.MAKER,
    Layer.REGULATION,
)
"""From what counts least, between rows that are as strict."""


@dataclass(frozen=True, slots=True)
class _Outcome:
    state: State
    gate: Judgement | None
    reason: str
    severity: Severity | None = None


def check(
    finding: Finding,
    limits: Sequence[Limit],
    context: Context,
    *,
    default_uncertainty: Quantity | None = None,
) -> Verdict:
    """The verdict on ``finding`` under ``limits`` in ``context``.

    ``default_uncertainty`` is the usual expanded uncertainty of the characteristic (from the
    catalogue), used where neither the reading nor the context has one. Raises ``UsageError`` when
    the context's uncertainty has a unit of another kind than the reading.
    """
    if finding.quantity is None and not finding.readings and not _said(finding):
        return Verdict(State.UNDECIDED, None, reason="nothing measured or judged yet")
    rows = relevant(finding, [*limits, *entered_limits(context, finding)], context)
    assumed = assumptions(context)
    settings = {**assumed, **context.settings}
    candidates = [(row, missing_keys(row, finding, settings)) for row in rows]
    applying = [(row, missing) for row, missing in candidates if missing is not None]
    uncertainty = _uncertainty(finding, context, default_uncertainty)
    rule = context.settings.get("decision_rule", DEFAULT_RULE)
    raw = {row.id: judge(row, finding, uncertainty, rule) for row, _ in applying}
    silent = {row.id for row, _ in applying if _one_way(row) and not outside(raw[row.id])}
    applying = [each for each in applying if each[0].id not in silent]
    if not applying:
        spoke = [row for row in rows if not _one_way(row)]
        return _nothing(finding, spoke, [each for each in candidates if not _one_way(each[0])])
    judged = {row.id: _tempered(asked(raw[row.id], settings)) for row, _ in applying}
    failed = frozenset(row.id for row, _ in applying if _fails(raw[row.id]))
    outcome = _settle(finding, applying, judged, settings, failed)
    others = tuple(
        sorted(
            (each for each in judged.values() if each is not outcome.gate),
            key=lambda each: (not gates(each.limit), -_strictness(each, finding)),
        )
    )
    notes = _assumed_notes(candidates, assumed)
    return Verdict(
        state=outcome.state,
        gate=outcome.gate,
        others=others,
        severity=outcome.severity,
        reason="; ".join(part for part in (outcome.reason, *notes) if part),
    )


def relevant(finding: Finding, limits: Iterable[Limit], context: Context) -> list[Limit]:
    """Rows that speak about this component and characteristic in the context's jurisdiction."""
    part = finding.component  # compared here: of a few hundred rows nearly all are of other parts
    return [
        row
        for row in limits
        if row.component == part and speaks_of(row, finding) and in_reach(row, context)
    ]


def speaks_of(limit: Limit, finding: Finding) -> bool:
    """Whether the row is about what the finding says (whatever the context)."""
    if limit.component != finding.component:
        return False
    if limit.relation is Relation.IS:
        if finding.condition is not None:
            judged = finding.characteristic or "condition"
            return limit.characteristic == judged and finding.condition in limit.words
        if finding.code is None or limit.characteristic != finding.characteristic:
            return False
        return finding.code in limit.words
    if limit.characteristic != finding.characteristic:
        return False
    readings = finding.readings or ((finding.quantity,) if finding.quantity else ())
    return bool(readings) and all(comparable(limit, reading) for reading in readings)


def merge_readings(findings: Sequence[Finding]) -> Finding:
    """One finding from several of the same component and characteristic, every reading kept.

    For rules over points or cells ("three of four points", spread between cells). The position is
    kept only when all agree. Raises ``ValueError`` when there are none or they differ in kind.
    """
    if not findings:
        raise ValueError("no findings to merge")
    first = findings[0]
    kinds = {(each.component, each.characteristic) for each in findings}
    if len(kinds) != 1:
        raise ValueError(f"these findings are of different kinds: {sorted(map(str, kinds))}")
    readings = tuple(
        reading
        for each in findings
        for reading in (each.readings or ((each.quantity,) if each.quantity else ()))
    )
    same = {each.position for each in findings}
    return replace(
        first,
        position=first.position if len(same) == 1 else None,
        quantity=readings[0] if readings else None,
        readings=readings,
        words="; ".join(each.words for each in findings if each.words),
    )


def gates(limit: Limit) -> bool:
    """Whether the row may decide *beyond*: cited or entered in an edition that holds, or outright."""
    return limit.outright or (limit.status in GATING and not limit.superseded)


def advises(limit: Limit) -> bool:
    """Whether the row speaks without deciding *beyond*: common practice, a superseded edition."""
    return not gates(limit) and (limit.status is LimitStatus.COMMON or limit.superseded)


def _one_way(limit: Limit) -> bool:
    return limit.outright or limit.silent


def worse_severity(one: Severity | None, other: Severity | None) -> Severity | None:
    """The worse of two severities; None is none."""
    return max((each for each in (one, other) if each), key=SEVERITIES.index, default=None)


def _fails(judgement: Judgement) -> bool:
    """Outside the row; of what advises also what may be, which counts with its severity."""
    open_ = judgement.state is State.UNDECIDED and advises(judgement.limit)
    return open_ or outside(judgement)


def _tempered(judgement: Judgement) -> Judgement:
    """What advises says no more than faulty; a value from memory says that it does not gate."""
    if gates(judgement.limit):
        return judgement
    if advises(judgement.limit):
        if judgement.state is State.BEYOND:
            return replace(judgement, state=State.FAULTY)
        near = judgement.state is State.UNDECIDED and judgement.guard_band and judgement.margin
        return replace(judgement, state=State.MARGINAL) if near else judgement
    if judgement.limit.status is LimitStatus.MEMORY:
        note = "from memory: shown, never gating"
        reason = f"{judgement.reason}; {note}" if judgement.reason else note
        return replace(judgement, reason=reason)
    return judgement


def _settle(
    finding: Finding,
    applying: Sequence[tuple[Limit, set[str]]],
    judged: Mapping[str, Judgement],
    settings: Mapping[str, str],
    failed: Set[str],
) -> _Outcome:
    """The outcome, tried over every value of the keys that are not set.

    Only keys with a closed list of values can be tried; a row that waits for another key stays out.
    """
    unknown = sorted({key for _, missing in applying for key in missing if SETTINGS[key].choices})
    choices = [SETTINGS[key].choices for key in unknown]
    found: dict[tuple[str, ...], _Outcome] = {}
    for values in product(*choices):
        tried = {**settings, **dict(zip(unknown, values, strict=True))}
        rows = [row for row, _ in applying if missing_keys(row, finding, tried) == set()]
        found[values] = _gate([judged[row.id] for row in rows], finding, failed)
    outcomes = list(found.values())
    # Values for which no cited row exists say nothing against those that have one.
    telling = [o for o in outcomes if o.gate and gates(o.gate.limit)] or [
        o for o in outcomes if o.gate
    ]
    telling = telling or outcomes
    worst = max(telling, key=lambda o: (SEVERENESS.index(o.state), _outcome_strictness(o, finding)))
    if len({outcome.state for outcome in telling}) == 1:
        severities = [outcome.severity for outcome in telling]
        return replace(worst, severity=reduce(worse_severity, severities, None))
    parts: dict[str, list[str]] = {}
    for values, outcome in found.items():
        if outcome in telling and outcome.gate:
            printed = outcome.gate.limit.printed
            text = f"{outcome.state.value} ({printed})" if printed else outcome.state.value
            parts.setdefault(text, []).append(" ".join(values))
    seen = "; ".join(f"{' or '.join(names)}: {text}" for text, names in parts.items())
    keys = " and ".join(f"{key}={'|'.join(SETTINGS[key].choices)}" for key in unknown)
    # Common practice alone, and what is near a limit at worst, leave it plainly open.
    counts = worst.gate is not None and worst.gate.limit.id in failed and gates(worst.gate.limit)
    severity = worst.severity if counts else None
    return _Outcome(State.UNDECIDED, worst.gate, f"depends on {seen}; set {keys}", severity)


def _gate(judgements: Sequence[Judgement], finding: Finding, failed: Set[str]) -> _Outcome:
    """The outcome of the rows that apply, all keys being known."""
    usable = [each for each in judgements if each.judged]
    cited = [each for each in usable if gates(each.limit)]
    common = [each for each in usable if advises(each.limit)]
    advice = _worst(common, finding)
    if cited:
        gate = _worst(cited, finding)
        assert gate is not None
        clears = any(each.limit.layer not in _NOT_CLEARING for each in cited)
        against = advice is not None and advice.state is not State.WITHIN
        if not clears and advice and against and gate.state in (State.WITHIN, State.MARGINAL):
            severity = _severity(advice.state, common, failed)
            return _Outcome(advice.state, advice, _common_reason(advice, gate), severity)
        reason = _cited_reason(gate)
        severity = _severity(gate.state, cited, failed)
        if severity is not None and gate.state is not State.MARGINAL:
            # out of a cited row, common practice may know how far out: a rim 10 mm off its true
            for each in common:
                if each.limit.id in failed:
                    severity = worse_severity(severity, each.limit.severity)
        open_ = gate.state is State.UNDECIDED and severity is None
        if advice and against and (open_ or gate.state is State.WITHIN):
            note = f"{_whose(advice.limit)}: {advice.limit.advice}"
            reason = "; ".join(part for part in (reason, note) if part)
        if open_:  # what common practice alone would have said is not lost
            severity = _severity(gate.state, common, failed)
        return _Outcome(gate.state, gate, reason, severity)
    if advice:
        if advice.state is State.WITHIN:
            return _Outcome(State.WITHIN, advice, f"{_by(advice.limit)} only")
        severity = _severity(advice.state, common, failed)
        return _Outcome(advice.state, advice, _common_reason(advice, None), severity)
    if usable:
        return _Outcome(State.UNDECIDED, None, "only a value from memory, which never gates")
    lacking = next((each.reason for each in judgements if each.reason), "no limit applies")
    return _Outcome(State.UNDECIDED, None, lacking)


def _severity(state: State, judgements: Sequence[Judgement], failed: Set[str]) -> Severity | None:
    """The worst class of the rows that the reading is outside of; a condition keeps its class.

    What is only near a limit is minor; what is within, or open on both sides, has none.
    """
    if state is State.WITHIN:
        return None
    told: Severity | None = None
    for each in judgements:
        word = each.limit.relation is Relation.IS and each.state is not State.WITHIN
        if word or each.limit.id in failed:
            told = worse_severity(told, each.limit.severity)
    return told if told or state is State.UNDECIDED else Severity.MINOR


def _cited_reason(gate: Judgement) -> str:
    parts = [gate.reason]
    if gate.limit.outright:
        parts.append(f"{gate.limit.status.value}: {gate.limit.section}")
    if gate.state is not State.WITHIN:
        parts.append(gate.limit.advice)
    return "; ".join(part for part in parts if part)


def _common_reason(advice: Judgement, cited: Judgement | None) -> str:
    text = _whose(advice.limit)
    if advice.limit.pack == ENTERED:
        text += f", {advice.limit.source}"
    if advice.limit.advice:
        text += f": {advice.limit.advice}"
    if cited is not None:
        return f"{text}; inside {tell.limit(cited.limit, outcome=False)} of {cited.limit.source}"
    return f"{text}; no cited limit" if advice.state is State.FAULTY else text


def _by(limit: Limit) -> str:
    return "superseded edition" if limit.superseded else "common practice"


def _whose(limit: Limit) -> str:
    return f"{_by(limit)} ({tell.limit(limit, outcome=False)})"


def _worst(judgements: Sequence[Judgement], finding: Finding) -> Judgement | None:
    if not judgements:
        return None
    return max(
        judgements,
        key=lambda each: (
            SEVERENESS.index(each.state),
            _step_of(each),
            _strictness(each, finding),
            _LAYERS.index(each.limit.layer),
        ),
    )


def _step_of(judgement: Judgement) -> int:
    """Of what advises and is not met the worst step leads: *worn* before *near*."""
    asks = advises(judgement.limit) and judgement.state is not State.WITHIN
    return SEVERITIES.index(judgement.limit.severity) if asks else 0


def _strictness(judgement: Judgement, finding: Finding) -> Fraction:
    """Order within one state: less margin is stricter, compared in the finding's unit.

    Limits are converted here for ordering only; what is judged and shown stays as printed.
    """
    limit, readings = judgement.limit, finding.readings or (finding.quantity,)
    if judgement.margin is None or readings[0] is None:
        return Fraction(SEVERITIES.index(limit.severity))
    return -convert(judgement.margin, limit.unit, readings[0].unit, difference=True)


def _outcome_strictness(outcome: _Outcome, finding: Finding) -> Fraction:
    return _strictness(outcome.gate, finding) if outcome.gate else Fraction(0)


def _uncertainty(
    finding: Finding, context: Context, default: Quantity | None
) -> Uncertainty | None:
    readings = finding.readings or ((finding.quantity,) if finding.quantity else ())
    found = [uncertainty_of(reading, context, default) for reading in readings]
    if not found:
        return None
    unit = found[0].unit
    return max(found, key=lambda each: each.in_unit(unit))


def _nothing(
    finding: Finding, rows: Sequence[Limit], candidates: Sequence[tuple[Limit, set[str] | None]]
) -> Verdict:
    if finding.condition == _SOUND:
        return Verdict(State.WITHIN, None, reason="found sound; nothing was measured")
    what = finding.condition or finding.characteristic or "this"
    reason = f"no limit for {what} of {finding.component}"
    if rows and all(missing is None for _, missing in candidates):
        reason += " applies here (class of vehicle, position or equipment differ)"
    if told := hint(finding):
        reason += f"; {told}"
    return Verdict(State.UNDECIDED, None, reason=reason)


def _assumed_notes(
    candidates: Sequence[tuple[Limit, set[str] | None]], assumed: Mapping[str, str]
) -> list[str]:
    """What was assumed and what is missing, where it kept a row out that could gate."""
    notes: dict[str, None] = {}
    for row, missing in candidates:
        if row.status not in GATING:
            continue
        for key in missing or ():
            if not SETTINGS[key].choices:
                notes[f"set {key} to judge by {row.source}"] = None
        for key, wanted in row.applies.items():
            if key in assumed and not SETTINGS[key].silent and not holds(wanted, assumed[key]):
                value = "over 50" if (key, assumed[key]) == ("engine_cc", "51") else assumed[key]
                notes[f"{key} not set: taken as {value}"] = None
    return list(notes)


def _said(finding: Finding) -> bool:
    return finding.condition is not None or finding.code is not None
