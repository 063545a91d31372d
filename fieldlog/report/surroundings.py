"""What a report needs beside the record of its inspection (pure)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from fieldlog.aftercare.checklist import Item
from fieldlog.aftercare.crosschecks import Unanswered
from fieldlog.aftercare.due import DueItem
from fieldlog.aftercare.trend import Trend
from fieldlog.aftercare.walk_list import places_of
from fieldlog.aftercare.work import NO_WORK, Work
from fieldlog.catalogue.component import Catalogue
from fieldlog.limits.items import Coverage
from fieldlog.model.limit import Limit


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What a report needs beside the record itself."""

    catalogue: Catalogue
    printed_at: datetime
    limits: tuple[Limit, ...] = ()
    due: tuple[DueItem, ...] = ()
    walk: tuple[Item, ...] | None = None
    """The vehicle's own checklist; None: every component of the catalogue."""
    checked: Mapping[str, date] = field(default_factory=dict)
    """Item of the checklist -> the last day it was checked in an earlier inspection."""
    work: Work = NO_WORK
    crossed: tuple[Unanswered, ...] = ()
    """Cross-checks that are open."""
    trends: tuple[Trend, ...] = ()
    """Wear of what this vehicle was measured on."""
    covered: tuple[tuple[str, Coverage], ...] = ()
    """Pack and coverage of the rules held against the findings."""
    notes: tuple[str, ...] = field(default=())


def catalogue_walk(catalogue: Catalogue) -> tuple[Item, ...]:
    """Every component once, those with a front and a rear one at each end."""
    return tuple(
        Item(component.system, component.name, position)
        for component in catalogue
        for position in places_of(component)
    )
