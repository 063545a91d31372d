"""Writing the report's files: the only part of it that opens the store and makes files."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from fieldlog.added.entries import Adds, added, folder_of, named
from fieldlog.aftercare.due import DueItem, folded
from fieldlog.aftercare.files import load_care, past_of
from fieldlog.aftercare.plan import checked_before, cross_checks_of, plan, vehicle_walk
from fieldlog.errors import UsageError
from fieldlog.limits.packs import covered, shipped_limits, with_own
from fieldlog.proof.note import Checkpoint
from fieldlog.proof.sshsig import fingerprint
from fieldlog.report.copies import Progress, make_copies
from fieldlog.report.export import findings_csv, record_json
from fieldlog.report.surroundings import Surroundings
from fieldlog.report.view import build, follow_up
from fieldlog.store.records import InspectionRecord
from fieldlog.store.repository import Repository
from fieldlog.whole import refused, write_whole
from fieldlog.words.telling import Telling, say, told_in

OWN_FORMATS = ("html", "pdf", "json", "csv")


@dataclass(frozen=True, slots=True)
class ReportFiles:
    """The files written, and what could not be shown in them (name of the original: reason)."""

    files: tuple[Path, ...]
    problems: Mapping[str, str]


def write_report(
    store: Repository,
    key: str,
    formats: Sequence[str],
    out: Path,
    *,
    printed_at: datetime,
    paper: str | None = None,
    due: tuple[DueItem, ...] | None = None,
    progress: Progress | None = None,
    checkpoint: Checkpoint | None = None,
    language: Telling | None = None,
) -> ReportFiles:
    """Write ``formats`` (html, pdf, json, csv, a form that another package adds) of an inspection.

    ``key``: id, local number or ``last``. ``paper``: a4 or letter, None: as used where the
    inspection took place. ``due``: what comes due; None: as it follows from the vehicle's record on
    the day of the inspection. ``checkpoint``: of the record as it is now, which the report then carries.
    ``language``: the one in which html, pdf and forms are told; json and csv keep canonical names.
    Each file appears whole or not at all. Raises ``UsageError`` for an
    unknown format or inspection, ``StoreError`` when a file cannot be written.
    """
    forms = _forms([name for name in formats if name not in OWN_FORMATS])
    record = store.inspection_record(key)
    with told_in(language):
        around = surroundings(store, record, printed_at)
        around = around if due is None else replace(around, due=due)
        report = build(record, around)
        if checkpoint is not None:
            told = say("not signed")
            if checkpoint.is_signed:
                told = say("signed with key {key}", key=fingerprint(checkpoint.key))
            report = replace(report, checkpoint=checkpoint.text, checkpoint_told=told)
    name = f"inspection-{record.inspection.started_at:%Y-%m-%d}-{record.inspection.number}"
    contents: dict[str, bytes] = {}
    problems: Mapping[str, str] = {}
    if {"html", "pdf"} & set(formats) or forms:
        with_sound = "html" in formats
        copies = make_copies(
            store.folder / "copies",
            store.media,
            [cell.media for cell in report.photos],
            [line.media for line in report.clips] if with_sound else [],
            printed_at.date(),
            progress or (lambda what, done, total: None),
        )
        problems = copies.problems
        if "html" in formats:
            from fieldlog.report.html import render_html

            with told_in(language):
                contents["html"] = render_html(report, copies).encode("utf-8")
        if "pdf" in formats:
            from fieldlog.report.pdf import paper_for, render_pdf

            sheet = paper or paper_for(record.inspection.jurisdiction)
            with told_in(language):
                contents["pdf"] = render_pdf(report, copies, sheet, printed_at)
        for form, folder in forms.items():
            from fieldlog.report.form import render_form

            with told_in(language):
                contents[form] = render_form(report, copies, folder).encode("utf-8")
    if "json" in formats:
        if language is not None and due is None:
            around = surroundings(store, record, printed_at)  # canonical names
        whole = record_json(record) | follow_up(record, around)
        whole["checkpoint"] = report.checkpoint or None
        text = json.dumps(whole, ensure_ascii=False, indent=1)
        contents["json"] = f"{text}\n".encode()
    if "csv" in formats:
        systems = {component.name: component.system for component in around.catalogue}
        contents["csv"] = findings_csv(record, systems).encode("utf-8")
    order = [ending for ending in OWN_FORMATS if ending in contents]
    files = (
        *(_write(out / f"{name}.{ending}", contents[ending]) for ending in order),
        *(_write(out / f"{name}-{form}.html", contents[form]) for form in forms),
    )
    return ReportFiles(files, problems)


def _forms(names: Sequence[str]) -> dict[str, Path]:
    """Form -> the folder of its template; raises ``UsageError`` for a name that nobody has."""
    found = {}
    for name in names:
        if name not in {each.name for each in added(Adds.REPORT)}:
            raise UsageError(
                f"{name!r} is no format of the report",
                todo=f"{', '.join(OWN_FORMATS)}, or a form that `fieldlog added list` names",
            )
        found[name] = folder_of(named(Adds.REPORT, name))
    return found


def surroundings(store: Repository, record: InspectionRecord, printed_at: datetime) -> Surroundings:
    """Catalogue, limits, checklist, work and what comes due, for the report of ``record``."""
    care, vehicle, head = load_care(), record.vehicle, record.inspection
    limits = with_own(shipped_limits(), vehicle.limits)
    past = past_of(store, vehicle).until(head)
    walk = vehicle_walk(vehicle, care, head)
    planned = plan(past, care, limits, head.started_at.date())
    return Surroundings(
        care.catalogue,
        printed_at,
        limits,
        folded(planned.due),
        walk.items,
        notes=(*walk.notes, *planned.notes),
        checked=checked_before(past, walk.items, head),
        work=care.work,
        crossed=cross_checks_of(record, care),
        trends=planned.worn(care.intervals),
        covered=covered(head.jurisdiction),
    )


def _write(target: Path, data: bytes) -> Path:
    todo = "choose another folder with --out DIR, or free some space"
    with refused("the report cannot be written", target, todo):
        write_whole(target, data)
    return target
