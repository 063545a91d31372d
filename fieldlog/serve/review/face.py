"""The ways into the reviewer's page."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response

from fieldlog.errors import UsageError
from fieldlog.model.state import State
from fieldlog.serve.app import Entrance, Face, OneHand
from fieldlog.serve.guard import NO_MARKUP
from fieldlog.serve.keys import Trust
from fieldlog.serve.review.again import Again
from fieldlog.serve.review.desk import Desk, Json
from fieldlog.serve.review.sights import Sights
from fieldlog.serve.review.vehicle import search, vehicle_page
from fieldlog.shop.workshop import Workshop
from fieldlog.words.signs import svg

PAGES = files("fieldlog.serve.review") / "page"
STRICT = {"content-security-policy": NO_MARKUP}


def review_face(hand: OneHand, sights: Sights, first: str) -> Face:
    """The face; ``first``: the inspection that is shown where the page names none."""
    desk = _Reviewed(hand, Desk(), sights, first, sights.again)
    page = shell()
    hand.soon(lambda shop: desk.desk.shown(shop, first, ""))  # the language is loaded meanwhile

    async def shown(_: Request) -> Response:
        return HTMLResponse(page, headers=STRICT | {"cache-control": "no-cache"})

    return Face(
        "review",
        (
            Entrance("/", shown, Trust.NOBODY),
            Entrance("/review/sheet", desk.sheet, Trust.DESK),
            Entrance("/review/item", desk.item, Trust.DESK),
            Entrance("/review/inspections", desk.inspections, Trust.DESK),
            Entrance("/review/vehicle", desk.vehicle, Trust.DESK),
            Entrance("/review/search", desk.search, Trust.DESK),
            Entrance("/review/decide", desk.decide, Trust.DESK, ("POST",)),
            Entrance("/review/move", desk.move, Trust.DESK, ("POST",)),
            Entrance("/review/undo", desk.undo, Trust.DESK, ("POST",)),
            Entrance("/review/rehear", desk.rehear, Trust.DESK, ("GET", "POST")),
            Entrance("/review/signing", desk.signing, Trust.DESK),
            Entrance("/review/sign", desk.sign, Trust.DESK, ("POST",)),
            Entrance("/review/checkpoint", desk.checkpoint, Trust.DESK),
            Entrance("/media/clip/{name}", sights.clip, Trust.DESK),
            Entrance("/media/shape/{name}", sights.shape, Trust.DESK),
            Entrance("/media/photo/{name}", sights.photo, Trust.DESK),
        ),
        PAGES,
    )


def shell() -> str:
    """The page without anything of the record, with the signs of the verdicts to be drawn."""
    signs = {str(state): svg(state) for state in State} | {"not judged": svg(None)}
    symbols = "".join(
        f'<symbol id="v-{name.replace(" ", "-")}" viewBox="0 0 32 20">{drawn}</symbol>'
        for name, drawn in signs.items()
    )
    return (PAGES / "index.html").read_text(encoding="utf-8").replace("<!--signs-->", symbols)


@dataclass(frozen=True, slots=True)
class _Reviewed:
    hand: OneHand
    desk: Desk
    sights: Sights
    first: str
    again: Again

    async def sheet(self, request: Request) -> Response:
        """The list of an inspection; copies of its photos are made meanwhile."""
        key, name = self._key(request), _name(request)

        shown, photos = await self.hand.do(lambda shop: self.desk.shown(shop, key, name))
        self.sights.prepare(photos)
        return JSONResponse(shown)

    async def item(self, request: Request) -> Response:
        """One thing in full."""
        key, name, item = self._key(request), _name(request), request.query_params.get("item", "")
        return JSONResponse(await self.hand.do(lambda shop: self.desk.item(shop, key, name, item)))

    async def decide(self, request: Request) -> Response:
        """One decision."""
        return await self._done(request, self.desk.decide)

    async def move(self, request: Request) -> Response:
        """One photo."""
        return await self._done(request, self.desk.move)

    async def undo(self, request: Request) -> Response:
        """The last decision taken back."""
        return await self._done(request, lambda shop, key, name, _: self.desk.undo(shop, key, name))

    async def rehear(self, request: Request) -> Response:
        """Hear something once more, end that, or tell how far it is."""
        if request.method != "POST":
            return JSONResponse(self.again.told(request.query_params.get("job", "")))
        what = await _body(request)
        if what.get("stop") is True:
            self.again.stop()
            return JSONResponse({})
        key, name = str(what.get("inspection") or self.first), _name(request)
        sheet = await self.hand.do(lambda shop: self.desk.sheet(shop, key, name))
        return JSONResponse(self.again.start(sheet, what))

    async def signing(self, request: Request) -> Response:
        """What whoever signs should know."""
        key, name = self._key(request), _name(request)
        return JSONResponse(await self.hand.do(lambda shop: self.desk.signing(shop, key, name)))

    async def sign(self, request: Request) -> Response:
        """A signature."""
        return await self._done(request, self.desk.sign)

    async def checkpoint(self, request: Request) -> Response:
        """The checkpoint of a sign-off, as a file to keep elsewhere."""
        key, of = self._key(request), request.query_params.get("of", "")
        text = await self.hand.do(lambda shop: self.desk.checkpoint(shop, key, of))
        if text is None:
            return PlainTextResponse("there is no such checkpoint\n", 404)
        kept = {"content-disposition": 'attachment; filename="checkpoint.txt"'}
        return PlainTextResponse(text, headers=kept)

    async def inspections(self, request: Request) -> Response:
        """Every inspection, newest first."""

        def work(shop: Workshop) -> list[Json]:
            return [
                {"number": e.number, "vehicle": e.vehicle_name, "findings": e.findings,
                 "date": f"{e.started_at:%Y-%m-%d}"}
                for e in reversed(shop.store.inspections())
            ][:200]  # fmt: skip

        return JSONResponse(await self.hand.do(work))

    async def vehicle(self, request: Request) -> Response:
        """A vehicle over the years."""
        key = request.query_params.get("vehicle", "")
        return JSONResponse(await self.hand.do(lambda shop: vehicle_page(shop, key)))

    async def search(self, request: Request) -> Response:
        """Findings by words, component, verdict and date."""
        asked = {k: v for k, v in request.query_params.items() if v.strip() and len(v) < 200}
        return JSONResponse(await self.hand.do(lambda shop: search(shop, asked)))

    def _key(self, request: Request) -> str:
        return request.query_params.get("inspection") or self.first

    async def _done(
        self, request: Request, verb: Callable[[Workshop, str, str, Json], Json]
    ) -> Response:
        what = await _body(request)
        key, name = str(what.get("inspection") or self.first), _name(request)
        return JSONResponse(await self.hand.do(lambda shop: verb(shop, key, name, what)))


def _name(request: Request) -> str:
    name: str = request.scope["fieldlog.session"].name
    return name


async def _body(request: Request) -> Json:
    try:
        what: Any = json.loads(await request.body())
    except (ValueError, RecursionError):
        raise UsageError("this is no JSON") from None
    if not isinstance(what, dict):
        raise UsageError("this is no JSON object")
    return what
