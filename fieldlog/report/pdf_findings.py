"""Findings in the PDF: what was found, said and photographed, its ruler and limits, its verdict."""

from __future__ import annotations

from collections.abc import Iterator
from xml.sax.saxutils import escape

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether, Spacer, TableStyle

from fieldlog.report.pdf_drawing import Ruler, Stamp
from fieldlog.report.pdf_photos import rows_of, with_caption
from fieldlog.report.pdf_setting import Typesetting, rule, table
from fieldlog.report.view_model import FindingRow, LimitLine
from fieldlog.words.english import counted
from fieldlog.words.telling import say

_NUMBER, _STAMP = 8 * mm, 30 * mm


def findings(card: Typesetting) -> Iterator[Flowable]:
    """Every system with its findings; a heading stays with the first of them."""
    first_said = _first_said(card)
    for system in card.report.systems:
        if system.findings:
            count = counted(len(system.findings), "finding")
            head, *rest = [_finding(card, row, first_said) for row in system.findings]
            yield KeepTogether([*card.heading(system.name, count), *head])
            yield from (KeepTogether(parts) for parts in rest)


def _first_said(card: Typesetting) -> dict[tuple[str, str], int]:
    """Utterance (words and instant) -> the first finding said in it: the words are printed there."""
    found: dict[tuple[str, str], int] = {}
    for row in sorted(card.report.findings, key=lambda row: row.number):
        found.setdefault((row.spoken, row.when), row.number)
    return found


def _finding(
    card: Typesetting, row: FindingRow, first_said: dict[tuple[str, str], int]
) -> list[Flowable]:
    left = 70 * mm
    columns = [_NUMBER, left, card.width - _NUMBER - left - _STAMP, _STAMP]
    first = first_said[row.spoken, row.when]
    said = say("entered {when}", when=row.when)
    if row.told:
        with_first = say("in one breath with no. {number}, {when}", number=first, when=row.when)
        said = f"{row.told} {row.when}" if first == row.number else with_first
    typed = f"<font name='{card.faces.typed}' size='9.5'>{escape(row.value)}</font>"
    subject = row.subject[:1].upper() + row.subject[1:]
    found: list[Flowable] = [
        card.rich(f"<b>{escape(subject)}</b>: {typed}", "subject"),
        card.p(said, "faint"),
    ]
    found += [card.p("; ".join(row.notes), "small")] if row.notes else []
    if len(row.photos) == 1:
        found += [Spacer(1, 0.8 * mm), with_caption(card, row.photos[0], left - 8)]
    held: list[Flowable] = []
    if row.gauge:
        held.append(Ruler(row.gauge, columns[2] - 8 * mm))
    for limit in row.limits:
        held += _gate(card, limit) if limit.gates else []
    others = "; ".join(_other(limit) for limit in row.limits if not limit.gates)
    held += [card.p(say("also {others}", others=others), "faint")] if others else []
    if not any(limit.gates for limit in row.limits):
        held.append(card.p(row.reason, "faint"))
    beside = table(
        [
            [
                card.p(str(row.number), "typed"),
                found,
                held,
                Stamp(row.state, row.severity, card.faces.strong),
            ]
        ],
        colWidths=columns,
        style=TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("RIGHTPADDING", (0, 0), (-2, -1), 8),
                ("RIGHTPADDING", (-1, 0), (-1, -1), 0),
                ("ALIGN", (-1, 0), (-1, -1), "RIGHT"),
                ("TOPPADDING", (0, 0), (-1, -1), 1.8),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 1.4),
            ]
        ),
    )
    parts: list[Flowable] = [beside]
    if len(row.photos) > 1:
        parts.append(rows_of(card, row.photos, card.width - _NUMBER, _NUMBER))
    return [*parts, rule(card.width)]


def _gate(card: Typesetting, limit: LimitLine) -> list[Flowable]:
    source = f"{escape(limit.source)} · {escape(limit.status)}"
    lines: list[Flowable] = [card.rich(f"<b>{escape(limit.text)}</b> · {source}", "small")]
    return [*lines, card.p(limit.detail, "faint")] if limit.detail else lines


def _other(limit: LimitLine) -> str:
    return f"{limit.text}: {limit.state} · {limit.source} · {limit.status}"
