"""The report as a PDF: the same content as the HTML file, set for paper."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.units import mm
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    KeepTogether,
    PageTemplate,
    Spacer,
)

from fieldlog.report.copies import Copies
from fieldlog.report.pdf_drawing import TickBox, VerdictMark
from fieldlog.report.pdf_findings import findings
from fieldlog.report.pdf_fonts import choose_faces
from fieldlog.report.pdf_owner import behind, first_page, form
from fieldlog.report.pdf_page import BOTTOM, SIDE, TOP, numbered_canvas
from fieldlog.report.pdf_photos import rows_of
from fieldlog.report.pdf_setting import BehindTheFirst, Typesetting, rule, ruled, table, tight
from fieldlog.report.pdf_trend import courses
from fieldlog.report.view_model import HeardLine, Report, Shown
from fieldlog.report.witness_code import WitnessCode
from fieldlog.words.english import counted
from fieldlog.words.telling import say, spoken_code

PAPERS: dict[str, tuple[float, float]] = {"a4": A4, "letter": LETTER}

_BOX = 32
"""Letters that a box of the form holds; what is longer stands under them."""

HOW_TO_READ = (
    (Shown.WITHIN, "within: inside the limit by the guard band or more"),
    (Shown.MARGINAL, "marginal: inside, but by less; or that near to common practice"),
    (Shown.UNDECIDED, "undecided: the uncertainty or a missing fact leaves it open"),
    (Shown.FAULTY, "faulty: a fault by common practice; no cited limit covers it"),
    (Shown.BEYOND, "beyond: outside the limit"),
)


def render_pdf(
    report: Report, copies: Copies, paper: str = "a4", at: datetime | None = None
) -> bytes:
    """The whole document; ``paper`` is a key of ``PAPERS``. Clips are listed, not embedded.

    ``at``: when it says that it was made.
    """
    faces = choose_faces(_texts(report))
    return _Card(report, copies, faces, PAPERS[paper]).render(at)


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
    def render(self, at: datetime | None) -> bytes:
        buffer = io.BytesIO()
        report = self.report
        document = BaseDocTemplate(
            buffer,
            pagesize=self.page,
            title=self.plain(f"{report.title}: {report.vehicle}, {report.card_number}"),
            author=self.plain(dict(report.fields).get("inspector", "")),
            subject=f"{say('fingerprint')} {report.fingerprint}",
            creator=dict(report.provenance).get("kept by", "fieldlog"),
            lang=spoken_code(),
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
            list(self._story()), canvasmaker=numbered_canvas(report, self.faces, self.page, at)
        )
        return buffer.getvalue()

    # -- content ----------------------------------------------------------------------------------

    def _story(self) -> Iterator[Flowable]:
        """The owner's page, then the mechanic's: cautions and work, what comes due, every finding."""
        report = self.report
        yield from first_page(self)
        yield BehindTheFirst()
        yield Spacer(1, 3 * mm)
        yield from self._counted()
        yield from self._cautions()
        yield from self._jobs()
        yield from self._due()
        yield from findings(self)
        yield from self._heard("remarks", "as heard, not checked", report.remarks)
        if report.unplaced:
            yield from self.heading("photos without a place", "")
            yield Spacer(1, 2 * mm)
            yield rows_of(self, report.unplaced, self.width, 0)
        yield from self._heard("asked about", "", report.asked)
        yield from self._heard("not understood", "kept, never guessed", report.not_understood)
        yield from self._corrections()
        yield from self._legend()
        yield from self._made()

    def _counted(self) -> Iterator[Flowable]:
        """How many findings stand how, and what is known of the vehicle."""
        marks = [
            [VerdictMark(state, f"{count} {say(state)}", self.faces.strong, 8)]
            for state, count in self.report.counts
        ]
        share = self.width / max(len(marks), 1)
        yield table([marks], colWidths=[share] * len(marks), style=tight())
        known = behind(self)
        short = [(label, value) for label, value in known if len(value) <= _BOX]
        if short:
            yield Spacer(1, 2 * mm)
            yield form(self, short, [self.width / 5] * 5)
        for label, value in known:
            if len(value) > _BOX:
                yield from self.labelled(label, value)

    def _jobs(self) -> Iterator[Flowable]:
        if not self.report.jobs:
            return
        rows: list[list[Any]] = []
        for job in self.report.jobs:
            where = f" ({escape(job.where)})" if job.where else ""
            how = f", {escape(say(job.severity))}" if job.severity else ""
            told: list[Flowable] = [self.rich(f"<b>{escape(job.do)}</b>{where}{how}", "text")]
            needs = "; ".join(p for p in (job.parts, job.consumables) if p)
            told += [
                self.rich(
                    f"<font color='#1d3f72'>{say(label)}</font> {_held(escape(text))}", "fine"
                )
                for label, text in (
                    ("with", needs),
                    ("torque", job.torques),
                    ("", job.advice),
                )
                if text
            ]
            rows.append([TickBox(), told, self.p(", ".join(map(str, job.because)), "small")])
        yield from self.heading("work to do", "in the order it is done; right: from findings no.")
        yield table(
            rows,
            colWidths=[6.5 * mm, self.width - 26.5 * mm, 20 * mm],
            style=ruled(tight=True),
        )
        yield from self.labelled("to buy", "; ".join(self.report.shopping))

    def _due(self) -> Iterator[Flowable]:
        if not self.report.due:
            return
        rows = [
            [
                self.rich(f"<b>{escape(item.what)}</b>", "text"),
                self.p(
                    item.by
                    + ("" if item.nearness in {"later", "unknown"} else f", {say(item.nearness)}"),
                    "text",
                ),
                self.p(f"{item.reason}; {item.source}", "soft"),
            ]
            for item in self.report.due
        ]
        yield from self.heading("coming due", "")
        yield table(
            rows, colWidths=[self.width * w for w in (0.34, 0.28, 0.38)], style=ruled(tight=True)
        )
        if self.report.trends:
            yield courses(self.report.trends, self.faces, self.width)
            told = say(
                "Upright the ruler of the limit; shaded: where 95 % of new readings will lie."
            )
            before = say("Open pointers: the part that was on before.")
            yield self.p(f"{told} {before}", "soft")

    def _heard(self, name: str, note: str, lines: Sequence[HeardLine]) -> Iterator[Flowable]:
        if not lines:
            return
        yield from self.heading(name, note)
        for line in lines:
            text = escape(line.told)
            why = f": {escape(line.reason)}" if line.reason else ""
            clip = ""
            if line.clip:
                clip = f", {say('{seconds} s of sound kept', seconds=f'{line.clip.seconds:.1f}')}"
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
        cautions = [self.p(f"! {caution}", "fine") for caution in self.report.cautions]
        if not cautions:
            return
        third = -(-len(cautions) // 3)
        columns = [cautions[i * third : (i + 1) * third] for i in range(3)]
        yield from self.heading("cautions", "before any of the work")
        yield Spacer(1, 1 * mm)
        yield table([columns], colWidths=[self.width / 3] * 3, style=tight(right=3 * mm))

    def _legend(self) -> Iterator[Flowable]:
        yield from self.heading("how to read the verdicts", "")
        marks: list[Any] = [
            VerdictMark(state, say(text), self.faces.text, 7.4) for state, text in HOW_TO_READ
        ]
        marks += [""] * (len(marks) % 2)
        rows = [marks[i : i + 2] for i in range(0, len(marks), 2)]
        yield Spacer(1, 1 * mm)
        yield table(rows, colWidths=[self.width / 2] * 2, style=tight(bottom=1))
        yield self.p(
            say(
                "Rulers: the thick stretch is allowed, the upright stroke is the limit, the hatching the "
                "guard band, the pointer the reading. Every value is exact unless ≈ stands before it."
            ),
            "soft",
        )

    def _made(self) -> Iterator[Flowable]:
        rows = [
            [self.p(say(label), "label"), self.p(value, "fine")]
            for label, value in (
                *self.report.provenance,
                ("fingerprint", f"{self.report.fingerprint} ({counted(self.report.rows, 'row')})"),
                ("printed", self.report.printed),
            )
        ]
        first = say(
            "The fingerprint is the last of a chain of SHA-256 hashes over every row of this inspection;"
        )
        rest = say(
            "computes it again. It shows a row changed, taken out or moved; a record written anew would "
            "have another one."
        )
        note = f"{first} fieldlog inspection verify {rest}"
        if self.faces.missing:
            note += f" {say('Some letters could not be printed here; the HTML report has them.')}"
        told = table(rows, colWidths=[32 * mm, self.width - 32 * mm], style=tight(bottom=1))
        code: list[Flowable] = []
        if self.report.checkpoint:
            head = self.report.checkpoint.split("\n")[:3]
            kept = say(
                "Whoever keeps this page can show later that nothing of the record was changed or left "
                "out since:"
            )
            text = (
                f"{say('checkpoint of the whole record')}, {self.report.checkpoint_told}: {head[0]}, {head[1]} "
                f"{say('rows')}, root {head[2]}. {kept} fieldlog inspection verify --against, "
                f"{say('with the text of this code.')}"
            )
            side = 42 * mm
            pair = [[WitnessCode(self.report.checkpoint, side), self.p(text, "fine")]]
            style = tight(bottom=1)
            code = [table(pair, colWidths=[side + 3 * mm, self.width - side - 3 * mm], style=style)]
        yield KeepTogether(
            [
                *self.heading("how this record was made", ""),
                self.p(note, "soft"),
                Spacer(1, 4),
                told,
                *code,
            ]
        )


def _held(markup: str) -> str:
    """``markup`` in which the room to write in is never alone on the next line."""
    return markup.replace(" __", "\u00a0__")
