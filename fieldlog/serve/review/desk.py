"""What the reviewer's page asks of the workshop and has it do; runs in the one thread that drives it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from fieldlog.aftercare.job_lines import Judged, job_lines
from fieldlog.doubt.files import shipped_rules
from fieldlog.errors import UsageError
from fieldlog.model import Finding, Understanding, Verdict
from fieldlog.review.deciding import Weighing, offers
from fieldlog.review.exchanges import exchanges_of
from fieldlog.review.sample import drawn, statement
from fieldlog.review.view import Sheet
from fieldlog.shop.reviewing import Reviewing
from fieldlog.shop.workshop import Workshop
from fieldlog.store.records import InspectionRecord

Json = dict[str, Any]


@dataclass(slots=True)
class Desk:
    """The workshop as the page sees it. What words mean is asked once for each text."""

    _meant: dict[str, Understanding] = field(default_factory=dict)
    _reviewing: dict[tuple[str, str], Reviewing] = field(default_factory=dict)
    _followed: dict[str, frozenset[str]] = field(default_factory=dict)
    _last: tuple[tuple[str, int, int], Sheet] | None = None

    def sheet(self, shop: Workshop, key: str, name: str) -> Sheet:
        """The inspection as it is now; the last one again, as long as nothing was added to the record."""
        reviewing = self._as(shop, key, name)
        head, engine = reviewing.inspecting.head, shop.store.engine
        now = (head.id, engine.rows_of(head.id), engine.rows_of(head.vehicle_id))
        if self._last is None or self._last[0] != now:
            self._last = (now, self._sheet(shop, reviewing))
        return self._last[1]

    def shown(self, shop: Workshop, key: str, name: str) -> Json:
        """The whole list, with the first thing on it in full."""
        sheet = self.sheet(shop, key, name)
        shown = sheet.shown()
        first = shown["items"][0]["id"] if shown["items"] else None
        item = self.item(shop, key, name, first) if first else None
        return shown | {"first": item}

    def _sheet(self, shop: Workshop, reviewing: Reviewing) -> Sheet:
        record = reviewing.record
        exchanges = exchanges_of(record)
        weighing = self._weighing(shop, record, reviewing)
        weighed = weighing.weighed(record, exchanges)
        return Sheet(record, weighed, statement(shop.store.sampled()))

    def item(self, shop: Workshop, key: str, name: str, item: str) -> Json:
        """One thing of it in full."""
        sheet = self.sheet(shop, key, name)
        return self._item(shop, sheet, self._as(shop, key, name), item)

    def decide(self, shop: Workshop, key: str, name: str, what: Json) -> Json:
        """One decision; what it led to, and the thing as it is then."""
        reviewing = self._as(shop, key, name)
        item, seen = _text(what, "item"), _text(what, "seen")
        sampled = what.get("blind") is True and self._is_drawn(reviewing, item)
        match what.get("verb"):
            case "accept":
                reviewing.accept(item, seen, sampled=sampled)
            case "nothing":
                reviewing.nothing(item, seen, sampled=sampled)
            case "choose":
                reviewing.choose(item, seen, _text(what, "mark"), sampled=sampled)
            case "take":
                lines = _text(what, "text").splitlines()
                sure = what.get("sure") is True
                reviewing.take(item, seen, lines, sampled=sampled, sure=sure)
            case "remark":
                reviewing.remark(item, seen, _text(what, "text"))
            case other:
                raise UsageError(f"{other!r} is nothing that can be decided")
        return self._after(shop, key, name, item)

    def move(self, shop: Workshop, key: str, name: str, what: Json) -> Json:
        """A photo to another finding, or to none."""
        number = what.get("number")
        if number is not None and not (isinstance(number, int) and 0 < number < 1 << 31):
            raise UsageError("a finding has a number")
        seen = what.get("attachment")
        photo = _text(what, "photo")
        reviewing = self._as(shop, key, name)
        reviewing.move(photo, number, seen if isinstance(seen, str) else None)
        return self._after(shop, key, name, photo)

    def undo(self, shop: Workshop, key: str, name: str) -> Json:
        """The last decision is taken back."""
        reviewing = self._as(shop, key, name)
        last = [each for each in reviewing.record.decisions if each.reviewer == name]
        reviewing.undo()
        about = last[-1].utterance_id or last[-1].photo_id or last[-1].was or ""
        return self._after(shop, key, name, about)

    # -- inside -----------------------------------------------------------------------------------

    def _after(self, shop: Workshop, key: str, name: str, item: str) -> Json:
        sheet = self.sheet(shop, key, name)
        return {"item": item, "sheet": sheet.shown()}

    def _item(self, shop: Workshop, sheet: Sheet, reviewing: Reviewing, item: str) -> Json:
        one = sheet.find(item)
        if one is None:
            raise UsageError("the inspection has nothing of that name")
        scene = reviewing.inspecting.scene_of(sheet.record)
        offered = offers(one.exchange, self._understand(reviewing)) if one.exchange else ()
        return sheet.item(one, offered, lambda found: scene.assess(found).verdict)

    def _as(self, shop: Workshop, key: str, name: str) -> Reviewing:
        known = shop.store.inspection(key).id
        if (known, name) not in self._reviewing:
            self._reviewing[known, name] = shop.reviewing(known, name)
        return self._reviewing[known, name]

    def _is_drawn(self, reviewing: Reviewing, item: str) -> bool:
        found = next((e for e in exchanges_of(reviewing.record) if e.id == item), None)
        return found is not None and drawn(found)

    def _understand(self, reviewing: Reviewing) -> Callable[[str], Understanding]:
        understand, meant = reviewing.inspecting.conversation.understand, self._meant

        def understood(text: str) -> Understanding:
            if text not in meant:
                meant[text] = understand(text)
            return meant[text]

        return understood

    def _weighing(self, shop: Workshop, record: InspectionRecord, reviewing: Reviewing) -> Weighing:
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

        return Weighing(
            self._understand(reviewing), assess, work, shipped_rules(), self._follows(shop, record)
        )

    def _follows(self, shop: Workshop, record: InspectionRecord) -> frozenset[str]:
        """Components of the vehicle something of which comes due."""
        vehicle = record.vehicle.id
        if vehicle not in self._followed:
            due = shop.due(record.vehicle, record.inspection.started_at.date(), record.inspection)
            self._followed[vehicle] = frozenset(each.component for each in due.due)
        return self._followed[vehicle]


def _text(what: Json, key: str) -> str:
    value = what.get(key)
    if not isinstance(value, str) or len(value) > 2000:
        raise UsageError(f"{key} is missing, or no text")
    return value
