"""The page of a scripted session: what was said, what was told, what was answered, what stands (pure)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from fieldlog.lab.live_session.scripted import Played
from fieldlog.model.understanding import Decision
from fieldlog.store.records import InspectionRecord

HEAD = """# The demo inspection, spoken live

Printed by `python -m fieldlog.lab session`. The demo's lines are spoken into `fieldlog listen` in real time, through
the microphone's path, with read-back on and its echo 6 dB down in the microphone; the recordings' own noise goes on
between the lines. Whoever speaks waits for the tone and for what is said, affirms what they said, denies what they did not, and
says again what was not understood; they know what they meant to say, and nothing of what the tool makes of it.
"""


ON_A_CLOCK = """
On a clock of its own (`--simulated`): a block of sound came when all before it was heard and told.
"""


def account(
    played: Sequence[Played],
    record: InspectionRecord,
    wrong: Sequence[str],
    *,
    simulated: bool = False,
) -> str:
    """The page; ``simulated``: whether it was on a clock of its own."""
    standing = sum(each.stands for each in record.findings)
    asked = sum(each.decision is Decision.ASK for each in record.utterances)
    refused = sum(each.decision is Decision.REFUSE for each in record.utterances)
    lasted = " and ".join(f"{_lasted(each):.0f} s" for each in played)
    replies = [row for each in played for row in each.happened if row.get("reply")]
    lines = [
        f"{HEAD.replace('session`', 'session --simulated`')}{ON_A_CLOCK}" if simulated else HEAD,
        f"Sessions of {lasted}; {len(record.utterances)} utterances, of which {asked} were asked about and {refused} "
        f"not understood; {len(replies)} answers and repetitions; {standing} findings and {len(record.remarks)} remarks "
        "stand.",
        "",
        *([f"**{len(wrong)} differences from the manifest:**", "", *(f"- {each}" for each in wrong)]
          if wrong else ["**Exactly the findings of the manifest.**"]),
        "",
        "| s | said | told |",
        "|---|---|---|",
    ]  # fmt: skip
    for each in played:
        lines += _rows(each.happened)
    return "\n".join(lines) + "\n"


def _lasted(played: Played) -> float:
    return float(played.happened[-1]["at_s"]) if played.happened else 0.0


def _rows(happened: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    for row in happened:
        if "said" in row:
            yield f"| {row['at_s']:.1f} | {'*' if row.get('reply') else ''}{row['words']}{'*' if row.get('reply') else ''} | |"
        elif "happens" in row:
            yield f"| {row['at_s']:.1f} | **{row['happens']}** | |"
        else:
            tone = f"({row['tone']}) " if row.get("tone") else ""
            yield f"| {row['at_s']:.1f} | | {tone}{row['told']} |"
