"""What is known of a vehicle where a part is bought or a value set: its facts and what was read (pure)."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from fieldlog.aftercare.repairs import WHAT, end_of
from fieldlog.model.finding import Finding
from fieldlog.words import advice, tell

_AMOUNT = re.compile(r"(-?[\d./]+)([A-Za-z].*)")
_READ: Mapping[tuple[str, str | None], str] = {
    ("drive chain", "size"): "chain",
    ("drive chain", "length"): "chain_links",
    ("sprocket", "teeth"): "teeth",
    ("tyre", "size"): "tyre_size",
}
"""Component and characteristic -> the fact that a reading of it is, where nobody entered it."""
_AT_AN_END = frozenset({"teeth", "tyre_size"})


def known_facts(facts: Mapping[str, str], findings: Iterable[Finding]) -> dict[str, str]:
    """The vehicle's facts, completed by what the inspection read of it (size, links, teeth)."""
    read: dict[str, str] = {}
    for finding in findings:
        fact = _READ.get((finding.component, finding.characteristic))
        value = finding.code
        if value is None and finding.quantity is not None and finding.quantity.high is None:
            value = str(finding.quantity.value)
        end = end_of(finding.position)
        if fact is None or value is None or (fact in _AT_AN_END and end is None):
            continue
        read[f"{fact}_{end}" if fact in _AT_AN_END else fact] = value
    return {**read, **{key: _told(value) for key, value in facts.items()}}


def values_for(finding: Finding, facts: Mapping[str, str]) -> dict[str, str]:
    """Everything that a text about ``finding`` may name; what belongs to its end without the end."""
    end = end_of(finding.position)
    own = {
        key.removesuffix(f"_{end}"): value
        for key, value in facts.items()
        if end is not None and key.endswith(f"_{end}")
    }
    given = {key: _told(value) for key, value in finding.given}
    fixed = {WHAT: finding.component, "aim": advice.aim(finding)}
    return {**facts, **own, **given, **fixed}


def _told(value: str) -> str:
    """``36psi`` as ``36 psi``; anything else as it stands."""
    match = _AMOUNT.fullmatch(value.strip())
    return value.strip() if match is None or "/" in match[2] else tell.with_unit(match[1], match[2])
