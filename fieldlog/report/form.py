"""A form of the report that another package adds: its template over the same facts as ours."""

from __future__ import annotations

from pathlib import Path

from jinja2 import ChoiceLoader, FileSystemLoader, PackageLoader, StrictUndefined, TemplateError
from jinja2.sandbox import SandboxedEnvironment
from markupsafe import Markup

from fieldlog.errors import UsageError
from fieldlog.report.copies import Copies
from fieldlog.report.view_model import Report, Shown, state_of
from fieldlog.words.signs import svg

TEMPLATE = "form.html"


def render_form(report: Report, copies: Copies, folder: Path) -> str:
    """The page that ``folder``'s ``form.html`` makes of ``report``, as text.

    The template has ``report`` (``report/view_model.py``), ``copies`` and ``signs``, may take in ours
    (``{% extends "report.html" %}``), and runs in Jinja's sandbox: it can show, not do. What it
    shows is escaped. Raises ``UsageError`` that names what is wrong with it, and its line.
    """
    ours = PackageLoader("fieldlog.report", "templates")
    environment = SandboxedEnvironment(
        loader=ChoiceLoader([FileSystemLoader(folder), ours]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    try:
        return environment.get_template(TEMPLATE).render(
            report=report,
            copies=copies,
            signs={shown.value: Markup(svg(state_of(shown))) for shown in Shown},
        )
    except (TemplateError, TypeError, ValueError, ArithmeticError, LookupError, OSError) as error:
        line = getattr(error, "lineno", None)
        raise UsageError(
            f"{type(error).__name__}: {error}",
            where=f"{folder / TEMPLATE}{f' line {line}' if line else ''}",
            todo="ask who made it",
        ) from error
