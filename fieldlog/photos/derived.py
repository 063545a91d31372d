"""Copies beside the originals: thumbnails, views, marked-up pictures; never instead of them.

They lie in ``derived/<aa>/<sha256>.<what>.jpg`` beside the media folder, carry no metadata (so no
location leaves with them), and can all be made again.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from fieldlog.photos.crew import Crew
from fieldlog.photos.facts import PhotoFacts, to_row

THUMBNAIL_PIXELS = 320
VIEW_PIXELS = 1600


@dataclass(frozen=True, slots=True)
class SmallCopy:
    """One derived picture: where it lies, or in words why there is none."""

    media: str
    path: Path | None
    problem: str | None = None


class DerivedFolder:
    """The folder of derived pictures that belongs to a media folder."""

    def __init__(self, store_folder: Path) -> None:
        """``store_folder`` is the folder of the database; nothing is made until it is needed."""
        self.folder = store_folder / "derived"

    def path(self, media: str, what: str) -> Path:
        """Where the copy ``what`` ("320", "1600", "marked-1") of an original lies."""
        sha256 = media.partition(".")[0]
        return self.folder / sha256[:2] / f"{sha256}.{what}.jpg"

    def small_copies(
        self,
        photos: Iterable[tuple[str, PhotoFacts]],
        pixels: int = THUMBNAIL_PIXELS,
        *,
        crew: Crew | None = None,
    ) -> Iterator[SmallCopy]:
        """Upright copies of (media name, facts with the original's path), made when missing."""
        wanted = list(photos)
        missing = [(m, f) for m, f in wanted if not self.path(m, str(pixels)).exists()]
        problems: dict[str, str] = {}
        if missing:
            own = crew is None
            crew = crew or Crew("thumbnail", workers=1 if len(missing) < 8 else None)
            try:
                orders = [self._order(media, facts, pixels) for media, facts in missing]
                for (media, _), answer in zip(missing, crew.run(orders, batch=4), strict=True):
                    if answer.error is not None:
                        problems[media] = answer.error
            finally:
                if own:
                    crew.close()
        for media, _facts in wanted:
            path = self.path(media, str(pixels))
            if path.exists():
                yield SmallCopy(media, path)
            else:
                yield SmallCopy(media, None, problems.get(media, "no small copy could be made"))

    def next_marked(self, media: str) -> Path:
        """Where the next marked-up copy of an original goes; earlier ones stay."""
        number = 1
        while self.path(media, f"marked-{number}").exists():
            number += 1
        return self.path(media, f"marked-{number}")

    def marked(self, media: str) -> list[Path]:
        """The marked-up copies of an original, oldest first."""
        found = []
        number = 1
        while (path := self.path(media, f"marked-{number}")).exists():
            found.append(path)
            number += 1
        return found

    def _order(self, media: str, facts: PhotoFacts, pixels: int) -> list[object]:
        target = self.path(media, str(pixels))
        target.parent.mkdir(parents=True, exist_ok=True)
        return [str(target), pixels, to_row(facts)]
