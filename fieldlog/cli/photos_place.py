"""``fieldlog photos align|attach|list|tray|move``: photos onto the session clock and to findings."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fieldlog.cli.store_option import opened, store_option
from fieldlog.errors import UsageError
from fieldlog.words.english import counted

if TYPE_CHECKING:
    from fieldlog.photos.placing import Placed
    from fieldlog.store.records import InspectionRecord, Photo

_DURATION = re.compile(r"([+-]?)(?:(\d+):(\d\d):(\d\d(?:\.\d+)?)|(\d+(?:\.\d+)?))", re.ASCII)
_inspection = click.argument("key", metavar="[INSPECTION]", default="last")


@click.command()
@_inspection
@click.option("--camera", help="Only this camera (make, model and serial as listed).")
@click.option("--add", metavar="[+-]H:MM:SS", help="What to add to the camera's time; or seconds.")
@click.option("--within", type=float, default=1.0, show_default=True, help="How sure, in seconds.")
@click.option("--event", nargs=2, metavar="PHOTO INSTANT", help="PHOTO was taken at that UTC.")
@click.option("--withdraw", is_flag=True, help="Let what was entered no longer count.")
@click.option("--all-codes", is_flag=True, help="Look for the time code in every photo.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object per camera and line.")
@store_option
def align(
    key: str,
    camera: str | None,
    add: str | None,
    within: float,
    event: tuple[str, str] | None,
    withdraw: bool,
    all_codes: bool,
    as_json: bool,
    folder: Path | None,
) -> None:
    """Find how far each camera's clock is off, and place the photos again.

    By itself it uses photos of the time code, then the spoken marks. --add or --event settle one
    camera by hand; --withdraw takes that back. Other cameras do not move.

    \b
    Examples:
      fieldlog photos align
      fieldlog photos align last --camera "Umberfold Ninth" --add +1:02:07
      fieldlog photos align last --event 4 2026-05-04T09:12:30Z
    """
    from fieldlog.photos.clock import align_event, align_given
    from fieldlog.photos.placing import (
        photo_series,
        place_photos,
        save_alignment,
        withdraw_alignment,
    )

    today = datetime.now(UTC).date()
    with opened(folder) as store:
        record = store.inspection_record(key)
        head = record.inspection
        if event is not None:
            photo = picked_photo(record, event[0])
            pairs = [p for s in photo_series(store, record, today) for p in s.photos]
            seen = next(time for one, _facts, time in pairs if one.id == photo.id)
            if seen is None:
                raise UsageError("has no capture time", where=photo.file, todo="pick another photo")
            happened = _instant(event[1])
            save_alignment(
                store, head.id, align_event(photo.camera or "", seen.instant, happened, within)
            )
        elif add is not None:
            entered = align_given(_one_camera(record, camera), _duration(add), within)
            save_alignment(store, head.id, entered)
        elif withdraw:
            withdraw_alignment(store, head.id, _one_camera(record, camera))
        placed = place_photos(store, head.id, today, everywhere=all_codes)
        if as_json:
            for alignment in placed.alignments:
                click.echo(
                    json.dumps(
                        {
                            "camera": alignment.camera,
                            "basis": alignment.basis.value,
                            "offset_s": round(alignment.offset_s, 3),
                            "uncertainty_s": round(alignment.uncertainty_s, 3),
                            "drift_s_per_day": round(alignment.drift * 86400, 3),
                            "pairs": alignment.pairs,
                            "guesses": [
                                {
                                    "offset_s": round(guess.offset_s, 3),
                                    "half_s": round(guess.half_s, 3),
                                    "probability": round(guess.probability, 4),
                                }
                                for guess in alignment.stretches
                            ],
                            "question": alignment.ask or None,
                        }
                    )
                )
        else:
            echo_placed(placed, store.inspection_record(head.id))


@click.command()
@_inspection
@click.option("--all-codes", is_flag=True, help="Look for the time code in every photo.")
@store_option
def attach(key: str, all_codes: bool, folder: Path | None) -> None:
    """Place the photos of an INSPECTION again; what was moved by hand stays.

    \b
    Example:
      fieldlog photos attach last
    """
    from fieldlog.photos.placing import place_photos

    with opened(folder) as store:
        head = store.inspection(key)
        placed = place_photos(store, head.id, datetime.now(UTC).date(), everywhere=all_codes)
        echo_placed(placed, store.inspection_record(head.id))


@click.command("list")
@_inspection
@click.option("--json", "as_json", is_flag=True, help="One JSON object per photo and line.")
@store_option
def list_(key: str, as_json: bool, folder: Path | None) -> None:
    """List the photos of an INSPECTION with their finding, or why they are unplaced.

    \b
    Example:
      fieldlog photos list last
    """
    with opened(folder) as store:
        _show(store.inspection_record(key), tray_only=False, as_json=as_json)


@click.command()
@_inspection
@click.option("--json", "as_json", is_flag=True, help="One JSON object per photo and line.")
@store_option
def tray(key: str, as_json: bool, folder: Path | None) -> None:
    """List the unplaced photos of an INSPECTION with the findings they may belong to.

    \b
    Example:
      fieldlog photos tray last
    """
    with opened(folder) as store:
        _show(store.inspection_record(key), tray_only=True, as_json=as_json)


@click.command()
@click.argument("photo")
@click.argument("finding")
@click.option("--inspection", "key", default="last", show_default=True, help="Of which inspection.")
@store_option
def move(photo: str, finding: str, key: str, folder: Path | None) -> None:
    """Put PHOTO (number, name or id) to FINDING (its number), to the `tray`, or back to `auto`.

    It is a correction: the record keeps where the photo was before.

    \b
    Examples:
      fieldlog photos move 4 12
      fieldlog photos move IMG_0007.jpg tray
      fieldlog photos move 4 auto
    """
    from fieldlog.photos.attach import Why
    from fieldlog.photos.placing import place_photos

    with opened(folder) as store:
        record = store.inspection_record(key)
        head = record.inspection
        chosen = picked_photo(record, photo)
        if finding == "auto":
            store.attach(head.id, chosen.id, None, reason="taken back from where it was put")
            placed = place_photos(store, head.id, datetime.now(UTC).date())
            echo_placed(placed, store.inspection_record(head.id))
            return
        target = None
        if finding != "tray":
            target = next((f for f in record.findings if str(f.number) == finding), None)
            if target is None or not target.stands:
                raise UsageError(
                    f"there is no standing finding {finding!r} in inspection {head.number}",
                    todo="see `fieldlog inspection show`",
                )
        store.attach(
            head.id, chosen.id, target.id if target is not None else None, reason=Why.HAND.value
        )
    click.echo(f"{chosen.file}: moved by hand to {f'finding {finding}' if target else 'the tray'}")


def picked_photo(record: InspectionRecord, key: str) -> Photo:
    """A photo of a record by its number in ``photos list``, file name or id.

    Raises UsageError when there is none or when a name means several.
    """
    if key.isdigit() and 0 < int(key) <= len(record.photos):
        return record.photos[int(key) - 1]
    found = [p for p in record.photos if key in (p.file, p.id, p.media)]
    if len(found) == 1:
        return found[0]
    what = f"there are {len(found)} photos named {key!r}" if found else f"there is no photo {key!r}"
    raise UsageError(
        what,
        where=f"inspection {record.inspection.number}",
        todo="use its number from `fieldlog photos list`",
    )


def echo_placed(placed: Placed, record: InspectionRecord) -> None:
    """Print the clocks found and what became of the photos."""
    from fieldlog.photos.clock import Basis

    as_it_is = [a for a in placed.alignments if a.basis is Basis.NONE]
    for alignment in placed.alignments:
        if alignment not in as_it_is:
            click.echo(f"clock      {alignment if alignment.camera else f'(no camera){alignment}'}")
    if as_it_is:
        named = ", ".join(a.camera or "(no camera)" for a in as_it_is[:3])
        more = f" and {len(as_it_is) - 3} more" if len(as_it_is) > 3 else ""
        doubt = max(a.uncertainty_s for a in as_it_is)
        click.echo(f"clock      taken as it is, +/- {doubt:.0f} s: {named}{more}")
    unplaced = sum(1 for p in record.photos if not (p.attachment and p.attachment.finding_id))
    attached = len(record.photos) - unplaced
    click.echo(
        f"{counted(attached, 'photo')} attached, {unplaced} unplaced, {placed.changed} changed"
    )
    if unplaced:
        click.echo("see them with: fieldlog photos tray")


def tell_unplaced_yet(record: InspectionRecord) -> None:
    """Tell, beside the output, of photos that were kept and that nobody has put to a finding yet."""
    from fieldlog.photos.placing import unplaced_yet

    waiting = len(unplaced_yet(record))
    if waiting:
        wait = "waits" if waiting == 1 else "wait"
        click.echo(
            f"! {counted(waiting, 'photo')} {wait} to be put to findings: "
            f"fieldlog photos attach {record.inspection.number}",
            err=True,
        )


def _show(record: InspectionRecord, *, tray_only: bool, as_json: bool) -> None:
    tell_unplaced_yet(record)
    numbers = {f.id: f.number for f in record.findings}
    for number, photo in enumerate(record.photos, start=1):
        held = photo.attachment
        owner = held.finding_id if held else None
        if tray_only and owner is not None:
            continue
        candidates = [numbers[c] for c in (held.candidates if held else ()) if c in numbers]
        if as_json:
            row = {
                "number": number,
                "file": photo.file,
                "media": photo.media,
                "capture_local": photo.capture_local,
                "camera": photo.camera,
                "finding": numbers.get(owner) if owner else None,
                "reason": held.reason if held else None,
                "gap_s": held.gap_s if held else None,
                "uncertainty_s": held.uncertainty_s if held else None,
                "candidates": candidates,
                "problem": photo.problem,
            }
            click.echo(json.dumps(row))
            continue
        place = f"finding {numbers.get(owner, '?')}" if owner else "unplaced"
        why = held.reason if held else "not looked at yet"
        if held is not None and held.gap_s is not None and held.uncertainty_s is not None:
            why += f", {held.gap_s:+.1f} s +/- {held.uncertainty_s:.1f} s"
        if candidates and owner is None:
            why += "; may be " + " or ".join(f"finding {n}" for n in candidates)
        click.echo(f"{number:>4}  {photo.file:<28} {place:<12} {why}")


def _one_camera(record: InspectionRecord, camera: str | None) -> str:
    cameras = sorted({p.camera or "" for p in record.photos})
    if camera is not None and camera in cameras:
        return camera
    if camera is None and len(cameras) == 1:
        return cameras[0]
    listed = ", ".join(f'"{c}"' for c in cameras) or "none"
    what = f"no photo is from {camera!r}" if camera is not None else "say which camera"
    raise UsageError(what, todo=f"give --camera one of: {listed}")


def _duration(text: str) -> float:
    """Seconds of ``+1:02:03.5`` or ``-3723``. Raises UsageError."""
    match = _DURATION.fullmatch(text.strip())
    if match is None:
        raise UsageError(f"{text!r} is no duration", todo="write it like +1:02:03 or -15.5")
    if match[5] is not None:
        seconds = float(match[5])
    else:
        seconds = int(match[2]) * 3600 + int(match[3]) * 60 + float(match[4])
    return -seconds if match[1] == "-" else seconds


def _instant(text: str) -> datetime:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        raise UsageError(
            f"{text!r} is no instant with its zone", todo="write it like 2026-05-04T09:12:30Z"
        )
    return moment.astimezone(UTC)
