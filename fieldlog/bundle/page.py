"""The page that checks bundles: one HTML file that needs nothing else and may do nothing else."""

from __future__ import annotations

import base64
import hashlib
from importlib.resources import files


def page() -> str:
    """The whole page. Its own policy lets run the script and the style that are in it, and nothing else."""
    here = files("fieldlog.bundle") / "offline"
    html, style, script = (
        (here / f"verify.{ending}").read_text("utf-8") for ending in ("html", "css", "js")
    )
    parts = {
        "{script_hash}": _hash(script),
        "{style_hash}": _hash(style),
        "{style}": style,
        "{script}": script,
    }
    for name, part in parts.items():
        html = html.replace(name, part)
    return html


def _hash(text: str) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode('utf-8')).digest()).decode()}"
