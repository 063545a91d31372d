"""The ways in for bays: parts and lists of bundles, put there by who was let in, and nothing to be read."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from pathlib import Path

from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response

from fieldlog.bundle.handover import FOLDER, Box, FolderPlace, fetch, part_named
from fieldlog.bundle.parts import LARGEST, LONGEST_LIST, BundlePart, read_list
from fieldlog.errors import UsageError
from fieldlog.serve.app import Entrance, Face, OneHand
from fieldlog.serve.keys import Trust
from fieldlog.serve.phone.book import PhoneBook
from fieldlog.shop.workshop import Workshop
from fieldlog.store.media import MediaFolder
from fieldlog.words.english import counted, originals

BAYS = "bays"
"""Folder among this machine's keys with the bays that may come in."""
_LONGEST_NAME = 40


class ShopFloor(FolderPlace):
    """Where a server keeps what comes in; originals that the record has are there already."""

    def __init__(self, folder: Path, media: MediaFolder) -> None:
        """``folder``: beside the record; ``media``: its originals."""
        super().__init__(folder, new=True)
        self._media = media.folder

    def has(self, part: BundlePart) -> bool:
        """Whether the part is there, or the record has it as an original."""
        return super().has(part) or self._original(part) is not None

    def get(self, part: BundlePart) -> bytes | None:
        """The bytes of a part, or of the original."""
        found = super().get(part)
        original = self._original(part) if found is None else None
        with contextlib.suppress(OSError):
            return found if original is None else original.read_bytes()
        return None

    def clear(self, name: str) -> None:
        """Let go of a bundle that was taken."""
        data = self.get_list(name)
        for part in () if data is None else read_list(name, data).parts:
            with contextlib.suppress(OSError):
                self._part(part).unlink(missing_ok=True)
        with contextlib.suppress(OSError):
            (self.folder / "lists" / name).unlink(missing_ok=True)

    def _original(self, part: BundlePart) -> Path | None:
        with contextlib.suppress(OSError):
            for path in (self._media / part.sha256[:2]).glob(f"{part.sha256}.*"):
                if path.stat().st_size == part.size:
                    return path
        return None


@dataclass(frozen=True, slots=True)
class _Handover:
    hand: OneHand
    floor: ShopFloor
    book: PhoneBook
    authority: bytes

    async def show(self, request: Request) -> Response:
        """The certificate of this shop's authority, which anybody may have."""
        return PlainTextResponse(self.authority)

    async def join(self, request: Request) -> Response:
        """A bay that came in by a code gets a secret of its own."""
        name = (await request.body()).decode("utf-8", "replace").strip()[:_LONGEST_NAME]
        secret, _ = self.book.add(request.scope["fieldlog.session"].name or name or "bay")
        return JSONResponse({"secret": secret})

    async def lists(self, request: Request) -> Response:
        """Names of what was taken or set aside: what was cut off in between is sent again."""

        def work(shop: Workshop) -> list[str]:
            box = Box(shop.store.folder / FOLDER)
            return sorted(box.taken() | box.set_aside().keys())

        return JSONResponse({"lists": await self.hand.do(work)})

    async def there(self, request: Request) -> Response:
        """Whether a part is there."""
        part = _part(request, request.query_params.get("size", ""))
        return JSONResponse({"there": await self.hand.do(lambda _: self.floor.has(part))})

    async def put(self, request: Request) -> Response:
        """A part, which must be what its name says."""
        from hashlib import sha256

        data = await request.body()
        part = _part(request, str(len(data)))
        if sha256(data).hexdigest() != part.sha256:
            raise UsageError("this is not the part that it is called", todo="send it again")
        await self.hand.do(lambda _: self.floor.put(part, data))
        return JSONResponse({"there": True})

    async def list(self, request: Request) -> Response:
        """A list: what it is of is taken now, or set aside, and the answer says which."""
        name, data = str(request.path_params["name"]), await request.body()
        try:
            read_list(name, data)
        except ValueError as error:
            raise UsageError(str(error)) from None

        def work(shop: Workshop) -> tuple[int, str]:
            self.floor.put_list(name, data)
            found = fetch(shop.store, self.floor, shop.now(), again=True, only=name)
            aside = {each.name: each.why for each in found.aside}
            if name in aside:
                return 422, f"set aside, and nothing of it taken: {aside[name]}"
            if name in found.waiting:
                return 409, "parts of it are missing"
            self.floor.clear(name)
            return 200, f"{counted(found.rows, 'row')} came in, {originals(found.originals)}"

        status, told = await self.hand.do(work)
        return JSONResponse({"told": told} if status == 200 else {"what": told}, status)


def handover_face(hand: OneHand, book: PhoneBook, authority: bytes) -> Face:
    """The face. ``book``: the bays that were let in; ``authority``: its certificate (PEM)."""
    store = hand.workshop.store
    floor = ShopFloor(store.folder / FOLDER / "floor", store.media)
    way = _Handover(hand, floor, book, authority)
    return Face(
        "handover",
        (
            Entrance("/handover/authority", way.show, Trust.NOBODY),
            Entrance("/handover/join", way.join, Trust.DEVICE, ("POST",), 1024),
            Entrance("/handover/lists", way.lists, Trust.DEVICE),
            Entrance("/handover/part/{sha256}", way.there, Trust.DEVICE),
            Entrance("/handover/part/{sha256}", way.put, Trust.DEVICE, ("PUT",), LARGEST),
            Entrance("/handover/list/{name}", way.list, Trust.DEVICE, ("PUT",), LONGEST_LIST),
        ),
        known=(book,),
    )


def _part(request: Request, size: str) -> BundlePart:
    try:
        return part_named(str(request.path_params["sha256"]), int(size) if size.isdecimal() else 0)
    except ValueError as error:
        raise UsageError(str(error)) from None
