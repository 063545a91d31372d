"""What the reviewer's page asks of the workshop and has it do; runs in the one thread that drives it."""

from __future__ import annotations

from typing import Any

from fieldlog.errors import UsageError
from fieldlog.listeners.choose import names
from fieldlog.review.exchanges import exchanges_of
from fieldlog.review.sample import drawn
from fieldlog.review.view import Sheet
from fieldlog.serve.review.signing import checkpoint_text, sign, signing
from fieldlog.shop.reviewing import Reviewing
from fieldlog.shop.sheets import Sheets
from fieldlog.shop.workshop import Workshop

Json = dict[str, Any]


class Desk:
    """The workshop as the page sees it."""

    def __init__(self) -> None:
        """Nothing is read before somebody asks."""
        self._sheets: tuple[Workshop, Sheets] | None = None

    def shown(self, shop: Workshop, key: str, name: str) -> tuple[Json, tuple[str, ...]]:
        """The whole list, with the first thing on it in full; and the names of all photos."""
        sheet = self._of(shop).sheet(key, name)
        shown = sheet.shown()
        items = shown["items"]
        first = self._item(shop, sheet, items[0]["id"]) if items else None
        return shown | {"first": first, "listeners": names()}, tuple(
            each.media for each in sheet.record.photos
        )

    def item(self, shop: Workshop, key: str, name: str, item: str) -> Json:
        """One thing of it in full."""
        return self._item(shop, self._of(shop).sheet(key, name), item)

    def decide(self, shop: Workshop, key: str, name: str, what: Json) -> Json:
        """One decision; what it led to, and the list as it is then."""
        reviewing = self._of(shop).reviewing(key, name)
        item, seen = _text(what, "item"), _text(what, "seen")
        sampled = what.get("blind") is True and _is_drawn(reviewing, item)
        sure = what.get("sure") is True
        match what.get("verb"):
            case "accept":
                reviewing.accept(item, seen, sampled=sampled)
            case "nothing":
                reviewing.nothing(item, seen, sampled=sampled)
            case "choose":
                mark = _text(what, "mark")
                reviewing.choose(item, seen, mark, sampled=sampled, sure=sure)
            case "take":
                lines = _lines(_text(what, "text"))
                reviewing.take(item, seen, lines, sampled=sampled, sure=sure)
            case "remark":
                reviewing.remark(item, seen, _text(what, "text"))
            case "take back remark":
                reviewing.take_back_remark(item, seen, _text(what, "remark"))
            case other:
                raise UsageError(f"{other!r} is nothing that can be decided")
        return self._after(shop, key, name, item)

    def move(self, shop: Workshop, key: str, name: str, what: Json) -> Json:
        """A photo to another finding, or to none."""
        number = what.get("number")
        if number is not None and (type(number) is not int or not 0 < number < 1 << 31):
            raise UsageError("a finding has a number")
        seen = what.get("attachment")
        photo = _text(what, "photo")
        reviewing = self._of(shop).reviewing(key, name)
        reviewing.move(photo, number, seen if isinstance(seen, str) else None)
        return self._after(shop, key, name, photo)

    def undo(self, shop: Workshop, key: str, name: str) -> Json:
        """The last decision is taken back."""
        reviewing = self._of(shop).reviewing(key, name)
        last = [each for each in reviewing.record.decisions if each.reviewer == name]
        reviewing.undo()
        about = last[-1].utterance_id or last[-1].photo_id or last[-1].was or ""
        return self._after(shop, key, name, about)

    def sheet(self, shop: Workshop, key: str, name: str) -> Sheet:
        """An inspection as it is gone through."""
        return self._of(shop).sheet(key, name)

    def signing(self, shop: Workshop, key: str, name: str) -> Json:
        """What whoever signs should know, and what was signed."""
        sheets = self._of(shop)
        inspecting = sheets.reviewing(key, name).inspecting
        return signing(shop, inspecting, sheets.sheet(key, name), name)

    def sign(self, shop: Workshop, key: str, name: str, what: Json) -> Json:
        """Sign it off; the list, and what was signed, as they are then."""
        seen = what.get("seen")
        if type(seen) is not int:
            raise UsageError("say what was seen of it")
        sheets = self._of(shop)
        inspecting = sheets.reviewing(key, name).inspecting
        sign(shop, inspecting, seen, _text(what, "name").strip(), what)
        sheet = sheets.sheet(key, name)
        return {"sheet": sheet.shown(), "signing": signing(shop, inspecting, sheet, name)}

    def checkpoint(self, shop: Workshop, key: str, signature: str) -> str | None:
        """The checkpoint of a sign-off."""
        return checkpoint_text(shop.store.inspection_record(key), signature)

    def _after(self, shop: Workshop, key: str, name: str, item: str) -> Json:
        return {"item": item, "sheet": self._of(shop).sheet(key, name).shown()}

    def _item(self, shop: Workshop, sheet: Sheet, item: str) -> Json:
        sheets = self._of(shop)
        one = sheets.find(sheet, item)
        offered = sheets.offers(sheet, one)
        return sheet.item(one, offered, lambda found: sheets.judged(sheet, found))

    def _of(self, shop: Workshop) -> Sheets:
        if self._sheets is None or self._sheets[0] is not shop:
            self._sheets = (shop, Sheets(shop))
        return self._sheets[1]


def _is_drawn(reviewing: Reviewing, item: str) -> bool:
    found = next((e for e in exchanges_of(reviewing.record) if e.id == item), None)
    return found is not None and drawn(found)


def _text(what: Json, key: str) -> str:
    value = what.get(key)
    if not isinstance(value, str) or len(value) > 2000:
        raise UsageError(f"{key} is missing, or no text")
    if any("\ud800" <= letter <= "\udfff" for letter in value):
        raise UsageError(f"{key} has half a letter in it")
    return value


LONGEST, MOST = 300, 12
"""Letters of a line, lines: nobody says more in a breath, and longer ones take seconds to understand."""


def _lines(text: str) -> list[str]:
    lines = [line for line in text.splitlines() if line.strip()]
    if len(lines) > MOST or any(len(line) > LONGEST for line in lines):
        raise UsageError("this is longer than anything that is said in a breath")
    return lines
