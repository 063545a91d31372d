"""What the walk asks for, and what a bare answer would be of (pure)."""

from __future__ import annotations

from fieldlog.aftercare.checklist import LeftOpen
from fieldlog.aftercare.sights import shown
from fieldlog.language.led import Led, names_of
from fieldlog.model.command import Command
from fieldlog.model.finding import Finding
from fieldlog.shop import events as ev
from fieldlog.shop.events import Event

LEAVES_LED = frozenset(
    {
        *(Command.PHOTO, Command.SAY_AGAIN, Command.READ_BACK, Command.WHY),
        *(Command.HOW_TO_CHECK, Command.WHAT_IS_OPEN, Command.NEXT_ITEM),
    }
)
"""Words behind which what was asked for is still what is looked at. Behind any other, and behind a finding,
a bare value may be of that: it waits until something is asked for anew."""


def asked_for(event: Event) -> LeftOpen | None:
    """What ``event`` asks for aloud."""
    match event:
        case ev.NextTold(_, first):
            return first
        case ev.OpenTold(_, left):
            return left[0] if left else None
        case _:
            return None


def led_by(left: LeftOpen) -> Led:
    """What a bare answer to ``left`` may be of: what shows any of its sights, and nothing else."""
    item, names = left.item, list[str]()
    for sight in left.sights:
        place = sight.at or item.position
        names += names_of(place, sight.of or (item.component,), sight.measures or ())

    def shows(finding: Finding) -> bool:
        return any(
            finding.component in (sight.of or (item.component,))
            and (finding.position or None) == (sight.at or item.position)
            and shown(sight, item.position, finding)
            for sight in left.sights
        )

    return Led(tuple(dict.fromkeys(names)), shows)
