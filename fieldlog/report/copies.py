"""Small copies for a report: thumbnails without metadata, and speech that every browser plays.

The originals stay as they are; copies are kept in ``copies/`` beside them and made again when
missing. Speech is MP3: all current browsers play it (WAV in Safari depends on byte ranges that a
data address cannot give, Opus in Ogg is missing in older Safari), and it takes a seventh of FLAC's
room. Where the sound library was built without MP3, WAV is used.
"""

from __future__ import annotations

import base64
import contextlib
import io
import secrets
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from fieldlog.errors import StoreError
from fieldlog.store.media import MediaFolder

PIXELS = 560
"""Longest side of a thumbnail: 20 to 45 kB as JPEG, 150 dpi or more where it is printed."""

Progress = Callable[[str, int, int], None]
"""Told what is being made, how many are done, and how many there are."""


@dataclass(frozen=True, slots=True)
class Copy:
    """One copy, and what kind of data it is."""

    kind: str
    """Media type, such as ``image/jpeg``."""
    data: bytes

    @property
    def address(self) -> str:
        """The copy as a data address."""
        return f"data:{self.kind};base64,{base64.b64encode(self.data).decode('ascii')}"


@dataclass(frozen=True, slots=True)
class Copies:
    """Copies by the name of their original; what could not be copied is named with its reason."""

    thumbnails: Mapping[str, Copy]
    clips: Mapping[str, Copy]
    problems: Mapping[str, str]


def _silent(_: str, __: int, ___: int) -> None:
    """No progress is shown."""


def make_copies(
    folder: Path,
    media: MediaFolder,
    photos: Sequence[str],
    clips: Sequence[str],
    today: date,
    progress: Progress = _silent,
) -> Copies:
    """Copies of ``photos`` and ``clips`` (names in the media folder), new ones kept in ``folder``.

    A missing or damaged original is named in ``problems`` and never stops the rest. Where ``folder``
    cannot be written or its disk is full, new ones are made elsewhere and not kept.
    """
    problems: dict[str, str] = {}
    with _place_for(folder) as made:
        wanted = list(dict.fromkeys(photos))
        there = {name: folder / thumbnail_name(name) for name in wanted}
        targets = {
            name: path if path.is_file() else made / path.name for name, path in there.items()
        }
        thumbnails = _thumbnails(targets, media, today, problems, progress)
        sounds = _sounds(folder, made, media, list(dict.fromkeys(clips)), problems, progress)
    return Copies(thumbnails, sounds, problems)


def thumbnail_name(original: str) -> str:
    """Name of the small copy of a photo."""
    return f"{original[:64]}-{PIXELS}.jpg"


@contextlib.contextmanager
def _place_for(folder: Path) -> Iterator[Path]:
    """``folder`` itself, or another for this once where nothing can be written there."""
    probe = folder / f".probe-{secrets.token_hex(4)}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe.write_bytes(bytes(1 << 16))
    except OSError:
        with contextlib.suppress(OSError):
            probe.unlink(missing_ok=True)
        with tempfile.TemporaryDirectory(prefix="fieldlog-") as other:
            yield Path(other)
        return
    probe.unlink(missing_ok=True)
    yield folder


# -- photos ---------------------------------------------------------------------------------------


def _thumbnails(
    targets: Mapping[str, Path],
    media: MediaFolder,
    today: date,
    problems: dict[str, str],
    progress: Progress,
) -> dict[str, Copy]:
    missing = [name for name, target in targets.items() if not target.is_file()]
    if missing:
        _make_thumbnails(media, missing, targets, today, problems, progress)
    return {
        name: Copy("image/jpeg", target.read_bytes())
        for name, target in targets.items()
        if target.is_file()
    }


def _make_thumbnails(
    media: MediaFolder,
    names: Sequence[str],
    targets: Mapping[str, Path],
    today: date,
    problems: dict[str, str],
    progress: Progress,
) -> None:
    # The photos' own worker processes: a hostile file costs at most their time and memory limits.
    from fieldlog.photos.crew import Crew
    from fieldlog.photos.facts import to_row
    from fieldlog.photos.scan import read_kept_facts

    usable = []
    for facts, name in zip(
        read_kept_facts([str(media.path(name)) for name in names], today), names, strict=True
    ):
        if facts.is_photo:
            usable.append((name, facts))
        else:
            problems[name] = facts.problem or f"not a photo ({facts.kind})"
    with Crew("thumbnail", workers=None if len(usable) > 8 else 1) as crew:
        orders = [[str(targets[name]), PIXELS, to_row(facts)] for name, facts in usable]
        answers = crew.run(orders, batch=4)
        for done, ((name, _), answer) in enumerate(zip(usable, answers, strict=True), 1):
            if answer.error is not None:
                problems[name] = answer.error
            progress("thumbnails", done, len(usable))


# -- sound ----------------------------------------------------------------------------------------


def _sounds(
    folder: Path,
    made: Path,
    media: MediaFolder,
    names: Sequence[str],
    problems: dict[str, str],
    progress: Progress,
) -> dict[str, Copy]:
    found: dict[str, Copy] = {}
    with ThreadPoolExecutor(2) as pool:  # the encoder works outside the interpreter's lock
        results = pool.map(lambda name: _sound(folder, made, media, name), names)
        for done, (name, result) in enumerate(zip(names, results, strict=True), 1):
            if isinstance(result, Copy):
                found[name] = result
            else:
                problems[name] = result
            progress("clips", done, len(names))
    return found


def _sound(folder: Path, made: Path, media: MediaFolder, name: str) -> Copy | str:
    import soundfile

    ending, kind = ("mp3", "audio/mpeg") if _writes_mp3() else ("wav", "audio/wav")
    kept = folder / f"{name[:64]}.{ending}"
    if kept.is_file():
        return Copy(kind, kept.read_bytes())
    try:
        samples, rate = soundfile.read(io.BytesIO(media.read(name)), dtype="float32")
        buffer = io.BytesIO()
        soundfile.write(buffer, samples, rate, format=ending.upper())
    except (StoreError, soundfile.LibsndfileError, RuntimeError) as error:
        return str(error)
    _keep(made / kept.name, buffer.getvalue())
    return Copy(kind, buffer.getvalue())


def _writes_mp3() -> bool:
    import soundfile

    return "MP3" in soundfile.available_formats()


def _keep(target: Path, data: bytes) -> None:
    partial = target.with_name(f"{target.name}.{secrets.token_hex(4)}")
    # A copy that cannot be kept (full disk) is only made again next time.
    with contextlib.suppress(OSError):
        partial.write_bytes(data)
        partial.replace(target)
    with contextlib.suppress(OSError):
        partial.unlink()
