"""What is printed with ``--json``: understandings, findings and verdicts as plain values (pure).

Exact values are two integers, ``num`` and ``den``; ``margin`` is a float in the limit's unit, > 0
inside. Keys that have nothing to say are null or empty, not left out, except the ends of a range
(``high_num``, ``high_den``) and ``qualifier``.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

from fieldlog.limits.assess import Assessment
from fieldlog.model.finding import Finding
from fieldlog.model.understanding import Decision, Flag, Understanding
from fieldlog.model.verdict import Verdict
from fieldlog.words.as_json import Json, finding_json, judgement_json, picked

if TYPE_CHECKING:
    from fieldlog.shop.events import Event, Kept, Said


def breath_view(
    judged: Sequence[tuple[Understanding, Assessment | None]],
    left_over: Sequence[str] = (),
    utterance: int = 1,
) -> list[Json]:
    """The objects of ``fieldlog parse --json``: one for each finding or outcome of one breath.

    ``left_over``: the words that no finding covers; ``utterance``: the breath's number, from 1.
    """
    return [
        understanding_view(part, assessment)
        | {
            "utterance": utterance,
            "covered": is_covered(part, left_over),
            "left_over": " ".join(left_over),
        }
        for part, assessment in judged
    ]


def event_view(event: Event) -> Json:
    """One thing that happened: what, to which finding (its number), and the utterance behind it.

    ``event`` is the name of its kind (``finding_saved``, ``asked``, ``refused``...); keys that a kind
    has not are null.
    """
    said: Said | None = getattr(event, "said", None)
    kept: Kept | None = getattr(event, "kept", None)
    assessment: Assessment | None = getattr(event, "assessment", None)
    name = re.sub(r"(?<=[a-z])(?=[A-Z])", "_", type(event).__name__).lower()
    view: Json = {"event": name, "number": kept.number if kept else None}
    if said is None:
        return view
    return view | {
        "utterance_id": said.id,
        "file": said.source,
        "start_s": round(said.start_s, 3),
        "end_s": round(said.end_s, 3),
        "answers": said.answers.question_text if said.answers else None,
        **understanding_view(said.understanding, assessment),
    }


def is_covered(said: Understanding, left_over: Sequence[object]) -> bool:
    """Whether the words that were understood are all that was said."""
    refused = said.decision is Decision.REFUSE
    return not refused and not left_over and Flag.MORE_SAID not in said.flags


def understanding_view(understood: Understanding, assessment: Assessment | None = None) -> Json:
    """What was understood; ``assessment`` belongs to its finding."""
    finding = understood.finding
    return {
        **picked(understood, "decision", "reason", "kind", "flags", "dialogue", "slots", "text"),
        "finding": None if finding is None else finding_view(finding, assessment),
        "question": understood.question_text,
        "candidates": [finding_view(candidate) for candidate in understood.candidates],
    }


def finding_view(finding: Finding, assessment: Assessment | None = None) -> Json:
    """A finding with its verdict (null when it was not checked)."""
    view = finding_json(finding, None)
    if assessment is not None:
        view["verdict"] = verdict_view(assessment.verdict)
        view["derived"] = [
            {
                **finding_view(derived.finding),
                "arithmetic": derived.arithmetic,
                "verdict": verdict_view(verdict),
            }
            for derived, verdict in assessment.derived
        ]
    return view


def verdict_view(verdict: Verdict) -> Json:
    """State, gating limit and margin, and everything else that applies."""
    gate = judgement_json(verdict.gate) or {}
    return {
        **picked(verdict, "state", "severity", "reason", "cautions"),
        **{name: gate.get(name) for name in ("limit", "margin", "probability", "guard_band")},
        "others": [judgement_json(other) for other in verdict.others],
    }
