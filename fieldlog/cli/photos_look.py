"""``fieldlog photos sheet|compare|mark-up``: photos to look at, and marks on a copy."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fieldlog.cli.store_option import opened, store_option
from fieldlog.errors import PhotoError, UsageError
from fieldlog.whole import reason

if TYPE_CHECKING:
    from fieldlog.photos.sheet import ReadCopy
    from fieldlog.store.records import Photo
    from fieldlog.store.repository import Repository


@click.command()
@click.argument("key", metavar="[INSPECTION]", default="last")
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), default=Path("photos.html"))
@store_option
def sheet(key: str, out: Path, folder: Path | None) -> None:
    """Write one page with every photo of an INSPECTION under its finding.

    The page holds small copies without any metadata, so no location leaves with it.

    \b
    Example:
      fieldlog photos sheet last --out photos.html
    """
    from fieldlog.photos.sheet import contact_sheet

    with opened(folder, reading=True) as store:
        record = store.inspection_record(key)
        text = contact_sheet(record, _copies(store, record.photos))
    _write(out, text)


@click.command()
@click.argument("vehicle")
@click.argument("component")
@click.option("--position", default=None, help='Such as "front".')
@click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False), default=Path("compare.html")
)
@store_option
def compare(
    vehicle: str, component: str, position: str | None, out: Path, folder: Path | None
) -> None:
    """Write one page with a COMPONENT of a VEHICLE before and after, inspection by inspection.

    \b
    Example:
      fieldlog photos compare "blue roadster" "brake pads" --position front
    """
    from fieldlog.photos.sheet import seen_of, side_by_side

    with opened(folder, reading=True) as store:
        chosen = store.vehicle(vehicle)
        heads = store.inspections(chosen.id)
        seen = [seen_of(store.inspection_record(h.id), component, position) for h in heads]
        photos = [p for one in seen for _finding, row in one.rows for p in row]
        title = f"{chosen.name}: {' '.join(w for w in (position, component) if w)}"
        text = side_by_side(title, seen, _copies(store, photos))
    _write(out, text)


@click.command("mark-up")
@click.argument("photo")
@click.option("--ring", "rings", multiple=True, metavar="X,Y,RADIUS", help="In per cent.")
@click.option("--arrow", "arrows", multiple=True, metavar="X,Y,X,Y", help="Tail, then tip.")
@click.option("--words", "texts", multiple=True, metavar="X,Y,WORDS", help="Words at a place.")
@click.option("--inspection", "key", default="last", show_default=True, help="Of which inspection.")
@store_option
def mark_up(
    photo: str,
    rings: tuple[str, ...],
    arrows: tuple[str, ...],
    texts: tuple[str, ...],
    key: str,
    folder: Path | None,
) -> None:
    """Draw on a copy of PHOTO (number, name or id); the original stays untouched.

    \b
    Example:
      fieldlog photos mark-up 4 --ring 40,55,8 --words 50,60,crack
    """
    from fieldlog.cli.photos_place import picked_photo
    from fieldlog.photos.derived import VIEW_PIXELS, DerivedFolder
    from fieldlog.photos.importer import kept_facts
    from fieldlog.photos.markup import Shape, read_arrow, read_ring, read_words
    from fieldlog.photos.markup import mark_up as draw

    shapes: list[Shape] = [
        *map(read_ring, rings),
        *map(read_arrow, arrows),
        *map(read_words, texts),
    ]
    if not shapes:
        raise UsageError("nothing to draw", todo="give --ring, --arrow or --words")
    with opened(folder, reading=True) as store:
        chosen = picked_photo(store.inspection_record(key), photo)
        derived = DerivedFolder(store.folder)
        facts = list(kept_facts(store, [(chosen.media, chosen.file)], datetime.now(UTC).date()))
        (copy,) = derived.small_copies([(chosen.media, facts[0])], VIEW_PIXELS)
        if copy.path is None:
            raise PhotoError(copy.problem or "no copy could be made", where=chosen.file)
        target = derived.next_marked(chosen.media)
        draw(copy.path, shapes, target)
    click.echo(str(target))


def _copies(store: Repository, photos: Iterable[Photo]) -> ReadCopy:
    """Small copies by media name, made when missing."""
    from fieldlog.photos.derived import DerivedFolder
    from fieldlog.photos.importer import kept_facts

    wanted = {p.media: p.file for p in photos}
    facts = kept_facts(store, list(wanted.items()), datetime.now(UTC).date())
    pairs = zip(wanted, facts, strict=True)
    found = {c.media: c.path for c in DerivedFolder(store.folder).small_copies(pairs)}

    def read(media: str) -> bytes | None:
        path = found.get(media)
        return path.read_bytes() if path is not None else None

    return read


def _write(out: Path, text: str) -> None:
    try:
        out.write_text(text, encoding="utf-8")
    except OSError as error:
        why = reason(error)
        raise UsageError(why, where=str(out), todo="name a file that can be written") from error
    click.echo(str(out))
