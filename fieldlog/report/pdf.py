"""The report as a PDF: the same content as the HTML file, set for paper."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from itertools import zip_longest
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.units import mm
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    Image,
    KeepTogether,
    PageTemplate,
    Spacer,
    Table,
    TableStyle,
)

from fieldlog.report.copies import Copies
from fieldlog.report.lines import NOT_COVERED
from fieldlog.report.pdf_drawing import BLUE, INK, Ruler, Stamp, TickBox, VerdictMark
from fieldlog.report.pdf_fonts import choose_faces
from fieldlog.report.pdf_page import BOTTOM, SIDE, TOP, numbered_canvas
from fieldlog.report.pdf_setting import (
    Typesetting,
    counted,
    rule,
    ruled,
    table,
    tight,
    with_severity,
)
from fieldlog.report.pdf_trend import courses
from fieldlog.report.view_model import FindingRow, HeardLine, LimitLine, PhotoCell, Report, Shown

PAPERS: dict[str, tuple[float, float]] = {"a4": A4, "letter": LETTER}
_PHOTO = (54 * mm, 40 * mm)

HOW_TO_READ = (
    (Shown.WITHIN, "within: inside the limit by the guard band or more"),
    (Shown.MARGINAL, "marginal: inside, but by less; or that near to common practice"),
    (Shown.UNDECIDED, "undecided: the uncertainty or a missing fact leaves it open"),
    (Shown.FAULTY, "faulty: a fault by common practice; no cited limit covers it"),
    (Shown.BEYOND, "beyond: outside the limit"),
)


def render_pdf(report: Report, copies: Copies, paper: str = "a4") -> bytes:
    """The whole document; ``paper`` is a key of ``PAPERS``. Clips are listed, not embedded."""
    faces = choose_faces(_texts(report))
    return _Card(report, copies, faces, PAPERS[paper]).render()


def paper_for(jurisdiction: str | None) -> str:
    """The paper used there: letter in North America, A4 elsewhere."""
    country = (jurisdiction or "").partition("-")[0]
    return "letter" if country in {"US", "CA", "MX"} else "a4"


def _texts(value: object) -> Iterator[str]:
    """Every string of a view model."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple):
        for item in value:
            yield from _texts(item)
    elif hasattr(value, "__dataclass_fields__"):
        for name in value.__dataclass_fields__:
            yield from _texts(getattr(value, name))


class _Card(Typesetting):
    def render(self) -> bytes:
        buffer = io.BytesIO()
        report = self.report
        document = BaseDocTemplate(
            buffer,
            pagesize=self.page,
            title=self.plain(f"{report.title}: {report.vehicle}, {report.card_number}"),
            author=self.plain(dict(report.fields).get("inspector", "")),
            subject=f"fingerprint {report.fingerprint}",
            creator=dict(report.provenance).get("kept by", "fieldlog"),
            lang="en",
        )
        frame = Frame(
            SIDE,
            BOTTOM,
            self.width,
            self.page[1] - TOP - BOTTOM,
            leftPadding=0,
            rightPadding=0,
            topPadding=0,
            bottomPadding=0,
        )
        document.addPageTemplates([PageTemplate(id="card", frames=[frame])])
        document.build(
            list(self._story()), canvasmaker=numbered_canvas(report, self.faces, self.page)
        )
        return buffer.getvalue()

    # -- content ----------------------------------------------------------------------------------

    def _story(self) -> Iterator[Flowable]:
        report = self.report
        yield self.p(report.vehicle, "title")
        yield Spacer(1, 3 * mm)
        yield self._boxes()
        yield Spacer(1, 5 * mm)
        yield self._outcome()
        yield from self._attention()
        yield from self.labelled("still to be looked at", "; ".join(report.cross_checks))
        yield from self._jobs()
        yield from self._due()
        for system in report.systems:
            if system.findings:
                count = counted(len(system.findings), "finding")
                first, *rest = [self._finding(row) for row in system.findings]
                yield KeepTogether([*self.heading(system.name, count), *first])
                yield from (KeepTogether(parts) for parts in rest)
                yield from self.labelled("left out on purpose", "; ".join(system.left_out))
                yield from self.labelled("not checked", ", ".join(system.not_checked))
        yield from self._untouched()
        yield from self._heard("remarks", "as heard, not checked", report.remarks)
        if report.unplaced:
            yield from self.heading("photos without a place", "")
            yield Spacer(1, 2 * mm)
            yield self._photos(report.unplaced, self.width)
        yield from self._heard("asked about", "", report.asked)
        yield from self._heard("not understood", "kept, never guessed", report.not_understood)
        yield from self._corrections()
        yield from self._cautions()
        yield from self._legend()
        yield from self._sign_off()
        yield from self._made()

    def _boxes(self) -> Table:
        cells = [
            [self.p(label, "label"), self.p(value, "typed")] for label, value in self.report.fields
        ]
        across = 4
        cells += [[] for _ in range(-len(cells) % across)]
        rows = [cells[i : i + across] for i in range(0, len(cells), across)]
        return table(
            rows,
            colWidths=[self.width / across] * across,
            style=TableStyle(
                [
                    ("GRID", (0, 0), (-1, -1), 0.7, BLUE),
                    ("VALIGN", (0, 0), (-1, -1), "TOP"),
                    ("LEFTPADDING", (0, 0), (-1, -1), 4),
                    ("TOPPADDING", (0, 0), (-1, -1), 2),
                    ("BOTTOMPADDING", (0, 0), (-1, -1), 4),
                ]
            ),
        )

    def _outcome(self) -> Table:
        tally = table(
            [
                [self.p(str(count), "typed"), VerdictMark(state, state, self.faces.strong, 8.5)]
                for state, count in self.report.counts
            ],
            colWidths=[8 * mm, 27 * mm],
            style=tight(),
        )
        said = [
            self.p(self.report.headline, "headline"),
            Spacer(1, 2 * mm),
            self.p(self.report.deferral, "soft"),
        ]
        return table(
            [[said, tally]], colWidths=[self.width - 38 * mm, 38 * mm], style=tight(right=4 * mm)
        )

    def _attention(self) -> Iterator[Flowable]:
        if not self.report.attention:
            return
        count = f"{len(self.report.attention)} of {len(self.report.findings)} findings"
        rows = [
            [
                self.p(str(row.number), "typed"),
                VerdictMark(row.state, with_severity(row), self.faces.strong, 8),
                self.rich(
                    f"<b>{escape(row.subject)}</b>: {escape(row.value)}"
                    + (f" ({escape(row.limits[0].text)})" if row.limits else ""),
                    "text",
                ),
            ]
            for row in self.report.attention
        ]
        yield from self.heading("needs attention", count)
        yield table(rows, colWidths=[10 * mm, 45 * mm, self.width - 55 * mm], style=ruled())

    def _jobs(self) -> Iterator[Flowable]:
        if not self.report.jobs:
            return
        rows: list[list[Any]] = [
            [
                "",
                *(self.p(t, "label") for t in ("work", "parts and consumables", "torque, advice")),
                self.p("from", "label"),
            ]
        ]
        for job in self.report.jobs:
            where = f" ({escape(job.where)})" if job.where else ""
            how = f", {escape(job.severity)}" if job.severity else ""
            rows.append(
                [
                    TickBox(),
                    self.rich(f"<b>{escape(job.do)}</b>{where}{how}", "text"),
                    self.p("; ".join(p for p in (job.parts, job.consumables) if p), "text"),
                    self.p(
                        "; ".join(p for p in (job.torques, job.advice) if p),
                        "text",
                    ),
                    self.p(", ".join(map(str, job.because)), "typed"),
                ]
            )
        rest = self.width - 6 * mm - 16 * mm
        yield from self.heading("work to do", "in the order it is done")
        yield table(
            rows,
            colWidths=[6 * mm, rest * 0.36, rest * 0.32, rest * 0.32, 16 * mm],
            style=ruled(),
            repeatRows=1,
        )
        yield from self.labelled("to buy", ", ".join(self.report.shopping))

    def _due(self) -> Iterator[Flowable]:
        if not self.report.due:
            return
        rows = [
            [
                self.rich(f"<b>{escape(item.what)}</b>", "text"),
                self.p(
                    item.by
                    + ("" if item.nearness in {"later", "unknown"} else f", {item.nearness}"),
                    "text",
                ),
                self.p(f"{item.reason}; {item.source}", "soft"),
            ]
            for item in self.report.due
        ]
        yield from self.heading("coming due", "")
        yield table(rows, colWidths=[self.width * w for w in (0.34, 0.28, 0.38)], style=ruled())
        if self.report.trends:
            yield courses(self.report.trends, self.faces, self.width)
            told = "Shaded: where 95 % of new readings will lie. Thick line: the limit. "
            yield self.p(f"{told}Open circles: the part that was on before.", "soft")

    def _finding(self, row: FindingRow) -> list[Flowable]:
        columns = [9 * mm, 60 * mm, self.width - 69 * mm - 27 * mm, 27 * mm]
        said = f"said “{row.spoken}” {row.when}" if row.spoken else f"entered {row.when}"
        found: list[Flowable] = [
            self.p(row.subject[:1].upper() + row.subject[1:], "subject"),
            self.p(row.value, "value"),
            self.p(said, "soft"),
        ]
        found += [self.p("; ".join(row.notes), "small")] if row.notes else []
        if len(row.photos) == 1:
            found += [Spacer(1, 2 * mm), *self._photo(row.photos[0])]
        held: list[Flowable] = []
        if row.gauge:
            held.append(Ruler(row.gauge, columns[2] - 8 * mm))
        for limit in row.limits:
            held += self._limit(limit)
        if not any(limit.gates for limit in row.limits):
            held.append(self.p(row.reason, "soft"))
        held_together = table(
            [
                [
                    self.p(str(row.number), "typed"),
                    found,
                    held,
                    Stamp(row.state, row.severity, self.faces.strong),
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
                    ("TOPPADDING", (0, 0), (-1, -1), 5),
                    ("BOTTOMPADDING", (0, 0), (-1, -1), 4),
                ]
            ),
        )
        parts: list[Flowable] = [held_together]
        if len(row.photos) > 1:
            parts.append(self._photos(row.photos, self.width - 9 * mm, indent=9 * mm))
        return [*parts, rule(self.width)]

    def _limit(self, limit: LimitLine) -> list[Flowable]:
        source = f"{escape(limit.source)} · {escape(limit.status)}"
        if not limit.gates:
            also = f"also {escape(limit.text)}: {escape(limit.state)} · {source}"
            return [self.rich(also, "soft"), Spacer(1, 1)]
        lines: list[Flowable] = [self.rich(f"<b>{escape(limit.text)}</b> · {source}", "small")]
        if limit.detail:
            lines.append(self.p(limit.detail, "soft"))
        return [*lines, Spacer(1, 2)]

    def _photos(self, cells: Sequence[PhotoCell], width: float, indent: float = 0.0) -> Table:
        across = max(1, int(width // (_PHOTO[0] + 3 * mm)))
        boxes: list[Any] = [self._photo(cell) for cell in cells]
        boxes += [""] * (-len(boxes) % across)
        rows = [boxes[i : i + across] for i in range(0, len(boxes), across)]
        side = width / across
        return table(
            [["", *row] for row in rows],
            colWidths=[indent, *[side] * across],
            style=tight(right=3 * mm, bottom=2 * mm),
        )

    def _photo(self, cell: PhotoCell) -> list[Flowable]:
        copy = self.copies.thumbnails.get(cell.media)
        picture: Flowable
        if copy is None:
            picture = self.p(
                f"{cell.file}: {self.copies.problems.get(cell.media, 'not copied')}", "soft"
            )
        else:
            picture = Image(io.BytesIO(copy.data), lazy=0)
            factor = min(_PHOTO[0] / picture.imageWidth, _PHOTO[1] / picture.imageHeight)
            picture.drawWidth = picture.imageWidth * factor
            picture.drawHeight = picture.imageHeight * factor
            picture.hAlign = "LEFT"
        return [
            picture,
            Spacer(1, 2),
            self.p(f"{cell.file} {cell.when}", "small"),
            self.p(cell.reason, "soft"),
        ]

    def _untouched(self) -> Iterator[Flowable]:
        rows = [
            [
                self.rich(f"<b>{escape(system.name)}</b>", "text"),
                self.p("; ".join([*system.left_out, *system.not_checked]), "text"),
            ]
            for system in self.report.systems
            if not system.findings
        ]
        if rows:
            yield from self.heading("nothing checked in", "")
            yield table(rows, colWidths=[38 * mm, self.width - 38 * mm], style=ruled())

    def _heard(self, name: str, note: str, lines: Sequence[HeardLine]) -> Iterator[Flowable]:
        if not lines:
            return
        yield from self.heading(name, note)
        for line in lines:
            text = f"“{escape(line.text)}”" if line.text else "(no words)"
            why = f": {escape(line.reason)}" if line.reason else ""
            clip = f", {line.clip.seconds:.1f} s of sound kept" if line.clip else ""
            yield self.rich(f"{text} <font color='#55534c'>{line.when}{why}{clip}</font>", "text")
            yield rule(self.width, 3)

    def _corrections(self) -> Iterator[Flowable]:
        if not self.report.corrections:
            return
        yield from self.heading("corrections", "nothing is overwritten")
        for line in self.report.corrections:
            why = f" <font color='#55534c'>{escape(line.reason)}</font>" if line.reason else ""
            yield self.rich(
                f"{line.number} <strike>{escape(line.before)}</strike> → <b>{escape(line.after)}</b>{why}",
                "text",
            )
            yield rule(self.width, 3)

    def _cautions(self) -> Iterator[Flowable]:
        cautions = [self.p(f"! {caution}", "small") for caution in self.report.cautions]
        if not cautions:
            return
        half = (len(cautions) + 1) // 2
        rows = list(zip_longest(cautions[:half], cautions[half:], fillvalue=""))
        yield from self.heading("cautions", "")
        yield Spacer(1, 1 * mm)
        yield table(rows, colWidths=[self.width / 2] * 2, style=tight(right=4 * mm, bottom=1.5))

    def _legend(self) -> Iterator[Flowable]:
        yield from self.heading("how to read the verdicts", "")
        for state, text in HOW_TO_READ:
            yield VerdictMark(state, text, self.faces.text, 8)
            yield Spacer(1, 2)
        yield self.p(
            "Rulers: the thick stretch is allowed, the upright stroke is the limit, the hatching the "
            "guard band, the pointer the reading. Every value is exact unless ≈ stands before it.",
            "soft",
        )

    def _sign_off(self) -> Iterator[Flowable]:
        blocks: list[Flowable] = list(self.heading("sign-off", ""))
        blocks += [self.p(line, "typed") for line in self.report.signed]
        if self.report.not_covered:
            blocks.append(self.p(f"{NOT_COVERED}: {'; '.join(self.report.not_covered)}", "text"))
        space = 12 * mm
        blocks.append(
            table(
                [[self.p(t, "label") for t in ("inspected by", "received by", "date")]],
                colWidths=[self.width * w for w in (0.4, 0.4, 0.2)],
                rowHeights=[space],
                style=TableStyle(
                    [
                        ("LINEBELOW", (0, 0), (-1, -1), 0.8, INK),
                        ("VALIGN", (0, 0), (-1, -1), "TOP"),
                        ("LEFTPADDING", (0, 0), (-1, -1), 0),
                    ]
                ),
            )
        )
        yield KeepTogether(blocks)

    def _made(self) -> Iterator[Flowable]:
        rows = [
            [self.p(label, "label"), self.p(value, "small")]
            for label, value in (
                *self.report.provenance,
                ("fingerprint", f"{self.report.fingerprint} ({self.report.rows} rows)"),
                ("printed", self.report.printed),
            )
        ]
        note = (
            "The fingerprint is the last of a chain of SHA-256 hashes over every row of this "
            "inspection; fieldlog inspection verify computes it again. It shows a row changed, taken "
            "out or moved; a record written anew would have another one."
        )
        if self.faces.missing:
            note += " Some letters could not be printed here; the HTML report has them."
        told = table(rows, colWidths=[32 * mm, self.width - 32 * mm], style=tight(bottom=1))
        yield KeepTogether(
            [
                *self.heading("how this record was made", ""),
                self.p(note, "soft"),
                Spacer(1, 4),
                told,
            ]
        )
