"""Inspections as they are gone through: what needs a decision, in which order, with which readings."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from fieldlog.aftercare.job_lines import Judged, job_lines
from fieldlog.doubt.files import shipped_rules
from fieldlog.errors import UsageError
from fieldlog.model.finding import Finding
from fieldlog.model.understanding import Understanding
from fieldlog.model.verdict import Verdict
from fieldlog.review.deciding import Offered, Weighed, Weighing, offers
from fieldlog.review.exchanges import Exchange, exchanges_of
from fieldlog.review.sample import statement
from fieldlog.review.view import Sheet, is_blind
from fieldlog.shop.reviewing import Reviewing

if TYPE_CHECKING:
    from fieldlog.shop.workshop import Workshop
    from fieldlog.store.records import InspectionRecord


class Sheets:
    """What a face of the reviewer asks of the workshop. What words mean is asked once for each text."""

    def __init__(self, shop: Workshop) -> None:
        """Of that workshop."""
        self._shop = shop
        self._meant: dict[str, Understanding] = {}
        self._reviewing: dict[tuple[str, str], Reviewing] = {}
        self._followed: dict[str, frozenset[str]] = {}
        self._offered: dict[tuple[str, str], tuple[Offered, ...]] = {}
        self._last: tuple[tuple[str, int, int], Sheet] | None = None

    def reviewing(self, key: str, reviewer: str) -> Reviewing:
        """The verbs of ``reviewer`` for an inspection (number, id or ``last``)."""
        known = self._shop.store.inspection(key).id
        if (known, reviewer) not in self._reviewing:
            self._reviewing[known, reviewer] = self._shop.reviewing(known, reviewer)
        return self._reviewing[known, reviewer]

    def sheet(self, key: str, reviewer: str = "") -> Sheet:
        """The inspection as it is now; the last one again, as long as nothing was added to the record."""
        reviewing = self.reviewing(key, reviewer)
        head, engine = reviewing.inspecting.head, self._shop.store.engine
        now = (head.id, engine.rows_of(head.id), engine.rows_of(head.vehicle_id))
        if self._last is None or self._last[0] != now:
            record = reviewing.record
            weighed = self._weighing(reviewing, record).weighed(record, exchanges_of(record))
            sheet = Sheet(record, weighed, statement(self._shop.store.sampled()))
            self._last = (now, sheet)
        return self._last[1]

    def find(self, sheet: Sheet, item: str) -> Weighed:
        """The thing of that id; raises ``UsageError`` where there is none."""
        one = sheet.find(item)
        if one is None:
            raise UsageError("the inspection has nothing of that name")
        return one

    def offers(self, sheet: Sheet, one: Weighed) -> tuple[Offered, ...]:
        """What may have been said."""
        reviewing = self.reviewing(sheet.record.inspection.id, "")
        if one.exchange is None:
            return ()
        return offers(one.exchange, self._understand(reviewing), blind=is_blind(one))

    def judged(self, sheet: Sheet, found: Finding) -> Verdict:
        """What a finding would be told, beside all that stands about other things."""
        scene = self.reviewing(sheet.record.inspection.id, "").inspecting.scene_of(sheet.record)
        same = (each for each in scene.standing if each.finding.subject == found.subject)
        return scene.assess(found, without=next(same, None)).verdict

    # -- inside -----------------------------------------------------------------------------------

    def _understand(self, reviewing: Reviewing) -> Callable[[str], Understanding]:
        understand, meant = reviewing.inspecting.conversation.understand, self._meant

        def understood(text: str) -> Understanding:
            if text not in meant:
                meant[text] = understand(text)
            return meant[text]

        return understood

    def _weighing(self, reviewing: Reviewing, record: InspectionRecord) -> Weighing:
        shop = self._shop
        scene = reviewing.inspecting.scene_of(record)
        care, vehicle = shop.care, record.vehicle
        limits = shop.limits_of(vehicle)

        def assess(found: Finding) -> Verdict:
            same = (each for each in scene.standing if each.finding.subject == found.subject)
            return scene.assess(found, without=next(same, None)).verdict

        def work(found: Finding, verdict: Verdict) -> frozenset[str]:
            judged = [Judged("", found, verdict)]
            lines = job_lines(judged, care.catalogue, limits, care.work, vehicle.facts)
            return frozenset(line.do for line in lines)

        understand = self._understand(reviewing)

        def offered(exchange: Exchange) -> tuple[Offered, ...]:
            key = (exchange.id, exchange.state)
            if key not in self._offered:
                self._offered[key] = offers(exchange, understand)
            return self._offered[key]

        return Weighing(offered, assess, work, shipped_rules(), self._follows(record))

    def _follows(self, record: InspectionRecord) -> frozenset[str]:
        """Components of the vehicle something of which comes due."""
        vehicle = record.vehicle.id
        if vehicle not in self._followed:
            head = record.inspection
            due = self._shop.due(record.vehicle, head.started_at.date(), head).due
            self._followed[vehicle] = frozenset(each.component for each in due)
        return self._followed[vehicle]
