"""What a row must say of its source before it may claim anything (pure)."""

from __future__ import annotations

from datetime import date

from fieldlog.model.limit import Layer, Limit, LimitStatus
from fieldlog.model.state import State


def provenance_faults(limit: Limit) -> list[str]:
    """What a row lacks to be traced to its source, and any claim its status does not support."""
    faults = []
    if not limit.source:
        faults.append("no source")
    if limit.status is LimitStatus.CITED:
        faults += [
            f"cited without {key}"
            for key, value in (
                ("section", limit.section),
                ("the sentence that was read (text)", limit.text),
                ("edition", limit.edition),
                ("read_on", limit.read_on),
            )
            if not value
        ]
        if limit.seen not in ("text", "secondary"):
            faults.append("cited without seen = 'text' or 'secondary'")
        if limit.layer in (Layer.MEMORY, Layer.COMMON):
            faults.append(f"cited, but its layer is {limit.layer.value!r}")
    if limit.status is LimitStatus.MEMORY and limit.layer is not Layer.MEMORY:
        faults.append(f"from memory, but its layer is {limit.layer.value!r}: it must not gate")
    if limit.status is LimitStatus.COMMON and limit.layer is not Layer.COMMON:
        faults.append(f"common practice, but its layer is {limit.layer.value!r}")
    if limit.status is LimitStatus.ENTERED and limit.layer is not Layer.MAKER:
        faults.append(f"entered by user, but its layer is {limit.layer.value!r}")
    if limit.read_on:
        try:
            date.fromisoformat(limit.read_on)
        except ValueError:
            faults.append(f"read_on {limit.read_on!r} is not a date like 2026-05-01")
    return faults


def outright_faults(limit: Limit) -> list[str]:
    """What an outright row lacks: it says *beyond* whatever its status, so it must say why."""
    if not limit.outright:
        return []
    faults = []
    if limit.status is LimitStatus.MEMORY:
        faults.append("outright, but from memory: it must not gate")
    if limit.superseded:
        faults.append("outright, but of a superseded edition: it must not gate")
    if limit.outcome is not State.BEYOND:
        faults.append(f"outright, but its outcome is {limit.outcome.value!r}")
    if not limit.section:
        faults.append("outright without a section that says what leaves no room")
    return faults
