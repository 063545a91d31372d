"""The report as one HTML file that needs nothing else: style, pictures and speech are inside it."""

from __future__ import annotations

import base64
import hashlib
import json

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup

from fieldlog.report.copies import Copies
from fieldlog.report.view_model import Report, Shown, state_of
from fieldlog.report.witness_code import svg_path
from fieldlog.words.signs import svg
from fieldlog.words.telling import say, spoken_code


def render_html(report: Report, copies: Copies) -> str:
    """The whole page. Text and pictures come first, so that they are painted before speech loads."""
    environment = Environment(
        loader=PackageLoader("fieldlog.report", "templates"),
        autoescape=select_autoescape(["html"]),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals["_"] = say
    script = _text(environment, "player.js")
    style = _text(environment, "card.css")
    return environment.get_template("report.html").render(
        report=report,
        language=spoken_code(),
        copies=copies,
        signs={shown.value: Markup(svg(state_of(shown))) for shown in Shown},
        anchors={system.name: _anchor(system.name) for system in report.systems},
        style=Markup(style),
        script=Markup(script),
        script_hash=base64.b64encode(hashlib.sha256(script.encode()).digest()).decode("ascii"),
        code=svg_path(report.checkpoint) if report.checkpoint else None,
        clips=Markup(_script_json({name: clip.address for name, clip in copies.clips.items()})),
    )


def _text(environment: Environment, name: str) -> str:
    assert environment.loader is not None
    return environment.loader.get_source(environment, name)[0]


def _anchor(name: str) -> str:
    return "".join(c if c.isalnum() else "-" for c in name.lower())


def _script_json(value: object) -> str:
    """JSON that cannot end the script element it stands in."""
    return json.dumps(value, separators=(",", ":")).replace("<", "\\u003c")
