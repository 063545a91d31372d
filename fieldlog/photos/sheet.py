"""Photos to look at: a contact sheet of one inspection, and a component before and after (pure).

Both are single HTML pages with the small copies inside; the pages carry no location, since the
copies have no metadata.
"""

from __future__ import annotations

import base64
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape

from fieldlog.store.records import Inspection, InspectionRecord, Photo, RecordedFinding
from fieldlog.words import tell
from fieldlog.words.english import counted
from fieldlog.words.signs import svg

ReadCopy = Callable[[str], bytes | None]
"""Media name -> JPEG bytes of its small copy; None when there is none."""

_STYLE = """
:root { color-scheme: light; }
body { font: 15px/1.45 system-ui, sans-serif; color: #1d2320; background: #f6f5f0; margin: 2rem; }
h1 { font-size: 1.5rem; margin: 0 0 .2rem; } h2 { font-size: 1.05rem; margin: 1.6rem 0 .5rem; }
p.note { color: #55605a; margin: 0 0 .6rem; }
.sheet { display: flex; flex-wrap: wrap; gap: .4rem 1.6rem; align-items: flex-start; }
section { max-width: 100%; break-inside: avoid; }
section h2 { width: min-content; min-width: 15.8rem; min-height: 2.9rem; }
.row { display: flex; flex-wrap: wrap; gap: .8rem; align-items: flex-start; }
figure { margin: 0; width: 15rem; background: #fff; border: 1px solid #cfd3cb; padding: .4rem;
  break-inside: avoid; }
figure img { width: 100%; display: block; }
figure .none { height: 8rem; display: grid; place-items: center; border: 1px dashed #8a938d; }
figcaption { font-size: .8rem; margin-top: .35rem; overflow-wrap: anywhere; }
.verdict { white-space: nowrap; font-weight: 600; border: 1.5px solid currentColor; padding: 0 .35rem; }
.verdict svg { width: 1.6rem; height: 1rem; margin-right: .35rem; vertical-align: -.1rem; }
table { border-collapse: collapse; } td, th { vertical-align: top; text-align: left;
  padding: .4rem .8rem .4rem 0; }
@media print { body { background: #fff; margin: 0; } }
"""


@dataclass(frozen=True, slots=True)
class Seen:
    """One inspection's findings on a component, with their photos."""

    inspection: Inspection
    rows: tuple[tuple[RecordedFinding, tuple[Photo, ...]], ...]


def contact_sheet(record: InspectionRecord, read_copy: ReadCopy) -> str:
    """One HTML page: every photo of an inspection under its finding, the tray at the end."""
    by_finding: dict[str, list[Photo]] = {}
    tray: list[Photo] = []
    for photo in record.photos:
        owner = photo.attachment.finding_id if photo.attachment else None
        if owner is None:
            tray.append(photo)
        else:
            by_finding.setdefault(owner, []).append(photo)
    numbers = {f.id: f.number for f in record.findings}
    parts = []
    for finding in record.findings:
        photos = by_finding.get(finding.id)
        if photos:
            parts.append(_finding_block(finding, photos, read_copy))
    parts = [f"<div class=sheet>{''.join(parts)}</div>"] if parts else []
    if tray:
        parts.append("<h2>Unplaced</h2><p class=note>Each says why, and what it may show.</p>")
        parts.append(_figures(tray, read_copy, numbers))
    if not parts:
        parts.append("<p>No photos were imported into this inspection.</p>")
    head = record.inspection
    title = f"Photos of inspection {head.number}, {head.vehicle_name}"
    count = f"{counted(len(record.photos), 'photo')}, {len(tray)} unplaced"
    note = f"{head.started_at:%Y-%m-%d %H:%M} UTC · {count}"
    return _page(title, note, "".join(parts))


def seen_of(record: InspectionRecord, component: str, position: str | None = None) -> Seen:
    """The standing findings of a record on a component (and position), with their photos."""
    rows = []
    for finding in record.findings:
        what = finding.finding
        if not finding.stands or what.component != component:
            continue
        if position is not None and what.position != position:
            continue
        photos = tuple(
            p for p in record.photos if p.attachment and p.attachment.finding_id == finding.id
        )
        rows.append((finding, photos))
    return Seen(record.inspection, tuple(rows))


def side_by_side(title: str, seen: Sequence[Seen], read_copy: ReadCopy) -> str:
    """One HTML page on one component: inspections as columns, oldest first, what was looked at as
    rows, each with its findings and photos."""
    shown = [one for one in seen if one.rows]
    if not shown:
        return _page(title, "", "<p>Nothing was found on it in any inspection.</p>")
    subjects = dict.fromkeys(f.finding.subject for one in shown for f, _ in one.rows)
    heads = "".join(
        f"<th>{one.inspection.started_at:%Y-%m-%d} · inspection {one.inspection.number}</th>"
        for one in shown
    )
    lines = [f"<tr>{heads}</tr>"]
    for subject in subjects:
        cells = []
        for one in shown:
            here = [(f, p) for f, p in one.rows if f.finding.subject == subject]
            blocks = "".join(_finding_block(f, photos, read_copy) for f, photos in here)
            cells.append(f"<td>{blocks or '<p class=note>not looked at</p>'}</td>")
        lines.append(f"<tr>{''.join(cells)}</tr>")
    body = f"<table>{''.join(lines)}</table>"
    return _page(title, f"{counted(len(shown), 'inspection')}, oldest first", body)


def _finding_block(finding: RecordedFinding, photos: Sequence[Photo], read_copy: ReadCopy) -> str:
    verdict = tell.state(finding.verdict)
    text = escape(tell.finding(finding.finding))
    state = finding.verdict.state if finding.verdict else None
    sign = f'<svg viewBox="0 0 32 20" aria-hidden="true">{svg(state)}</svg>'
    head = f"<h2>{finding.number}. {text} <span class=verdict>{sign}{escape(verdict)}</span></h2>"
    note = "" if finding.stands else "<p class=note>corrected or withdrawn since</p>"
    return f"<section>{head}{note}{_figures(photos, read_copy, {})}</section>"


def _figures(photos: Sequence[Photo], read_copy: ReadCopy, numbers: dict[str, int]) -> str:
    return f"<div class=row>{''.join(_figure(p, read_copy, numbers) for p in photos)}</div>"


def _figure(photo: Photo, read_copy: ReadCopy, numbers: dict[str, int]) -> str:
    data = read_copy(photo.media)
    name = escape(photo.file)
    if data is None:
        picture = "<div class=none>no small copy</div>"
    else:
        source = base64.b64encode(data).decode("ascii")
        picture = f'<img alt="{name}" src="data:image/jpeg;base64,{source}">'
    lines = [f"<strong>{name}</strong>"]
    if photo.capture_local:
        lines.append(
            escape(f"{photo.capture_local.replace('T', ' ')} {photo.offset or ''}".strip())
        )
    attachment = photo.attachment
    if attachment is not None:
        text = attachment.reason
        if attachment.gap_s is not None and attachment.uncertainty_s is not None:
            text += f", {attachment.gap_s:+.1f} s ± {attachment.uncertainty_s:.1f} s"
        lines.append(escape(text))
        named = [f"finding {numbers[c]}" for c in attachment.candidates if c in numbers]
        if named:
            lines.append(escape("may belong to " + " or ".join(named)))
    if photo.problem:
        lines.append(escape(photo.problem))
    return f"<figure>{picture}<figcaption>{'<br>'.join(lines)}</figcaption></figure>"


def _page(title: str, note: str, body: str) -> str:
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title>'
        f"<style>{_STYLE}</style></head><body><h1>{escape(title)}</h1>"
        f"<p class=note>{escape(note)}</p>{body}</body></html>\n"
    )
