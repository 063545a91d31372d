"""Sound and pictures of the record for the page: clips by ranges, their shape, small copies of photos."""

from __future__ import annotations

import io
import re
import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from functools import lru_cache
from pathlib import Path

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

from fieldlog.audio.peaks import peaks
from fieldlog.errors import StoreError
from fieldlog.photos.derived import VIEW_PIXELS, DerivedFolder
from fieldlog.photos.scan import read_kept_facts
from fieldlog.serve.review.again import Again
from fieldlog.store.media import MediaFolder
from fieldlog.store.where import media_of

_NAME = re.compile(r"[0-9a-f]{64}\.[a-z0-9]{1,5}")
_RANGE = re.compile(r"bytes=(\d{0,15})-(\d{0,15})", re.ASCII)
SMALL_PIXELS = 560
_SOUNDS = {"flac": "audio/flac", "wav": "audio/wav", "ogg": "audio/ogg"}
KEPT = {"cache-control": "private, max-age=31536000, immutable"}
"""What goes by its hash is the same for ever."""


class Sights:
    """What the page hears and sees of the media folder; nothing in it is decided."""

    def __init__(self, store_folder: Path, today: date) -> None:
        """``store_folder``: the folder of the record; ``today``: for reading a camera's date."""
        self.media = media_of(store_folder)
        self.again = Again(self.media)
        self._copies = DerivedFolder(store_folder)
        self._today = today
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="pictures")
        self._making = threading.Lock()

    async def clip(self, request: Request) -> Response:
        """A clip, whole or one range of it (RFC 9110, 14.2)."""
        name = request.path_params["name"]
        kind = _SOUNDS.get(name.rpartition(".")[2])
        data = self._read(name) if kind else None
        if data is None or kind is None:
            return _missing()
        return ranged(data, kind, request.headers.get("range"))

    async def shape(self, request: Request) -> Response:
        """The lowest and highest sample of each hundredth of a second, as signed bytes."""
        name = request.path_params["name"]
        if not _NAME.fullmatch(name):
            return _missing()
        shape = shape_of(self.media.folder, name)
        if shape is None:
            return _missing()
        return Response(shape, media_type="application/octet-stream", headers=KEPT)

    def photo(self, request: Request) -> Response:
        """A small copy of a photo without any of its data, ``?large`` one to look at."""
        name = request.path_params["name"]
        if not _NAME.fullmatch(name):
            return _missing()
        pixels = VIEW_PIXELS if "large" in request.query_params else SMALL_PIXELS
        path = self._copies.path(name, str(pixels))
        if not path.exists() and self.media.path(name).is_file():
            self.make((name,), pixels)
        if not path.exists():
            return PlainTextResponse("there is no picture of this photo\n", 404)
        return Response(path.read_bytes(), media_type="image/jpeg", headers=KEPT)

    def prepare(self, names: tuple[str, ...]) -> None:
        """Have small copies made of photos that have none, while the page is looked at."""
        self._pool.submit(self.make, names, SMALL_PIXELS)

    def make(self, names: tuple[str, ...], pixels: int) -> None:
        """Make what is missing, in the worker processes of the photos."""
        with self._making:
            wanted = [n for n in names if not self._copies.path(n, str(pixels)).exists()]
            facts = read_kept_facts([str(self.media.path(name)) for name in wanted], self._today)
            usable = [pair for pair in zip(wanted, facts, strict=True) if pair[1].is_photo]
            list(self._copies.small_copies(usable, pixels))

    def close(self) -> None:
        """Let go of the threads that make copies and hear again."""
        self.again.close()
        self._pool.shutdown(wait=False, cancel_futures=True)

    def _read(self, name: str) -> bytes | None:
        if not _NAME.fullmatch(name):
            return None
        try:
            return self.media.read(name)
        except StoreError:
            return None


def ranged(data: bytes, kind: str, asked: str | None) -> Response:
    """``data``, or the one range of it that is asked for; several at once are answered with all of it."""
    headers = {**KEPT, "accept-ranges": "bytes"}
    match = _RANGE.fullmatch(asked or "")
    if match is None or match.groups() == ("", ""):
        return Response(data, media_type=kind, headers=headers)
    first, last = match[1], match[2]
    size = len(data)
    begin = int(first) if first else max(0, size - int(last))
    end = min(int(last), size - 1) if first and last else size - 1
    if begin >= size or end < begin or (not first and int(last) == 0):
        return Response(status_code=416, headers=headers | {"content-range": f"bytes */{size}"})
    told = headers | {"content-range": f"bytes {begin}-{end}/{size}"}
    return Response(data[begin : end + 1], 206, told, kind)


@lru_cache(maxsize=2000)
def shape_of(folder: Path, name: str) -> bytes | None:
    """The shape of a clip of the media folder; None where it cannot be read."""
    import soundfile

    try:
        samples, rate = soundfile.read(
            io.BytesIO(MediaFolder(folder).read(name)), dtype="float32", always_2d=True
        )
    except (StoreError, soundfile.LibsndfileError, RuntimeError):
        return None
    return peaks(samples[:, 0], rate)


def _missing() -> Response:
    return PlainTextResponse("there is no such thing\n", 404)
