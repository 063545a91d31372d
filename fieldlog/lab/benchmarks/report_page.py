"""How long a large report takes to make, and how soon a browser paints it.

The browser is the user's own, named on the command line. It loads the page from a local server of
this process, with one script added that reports the browser's own paint times (the page's security
policy, which would refuse that script, is taken out of the copy it gets).
"""

from __future__ import annotations

import re
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import parse_qsl, urlsplit

import numpy as np
from PIL import Image

from fieldlog import config
from fieldlog.audio.clip import RATE, Clip
from fieldlog.catalogue.files import load_catalogue
from fieldlog.errors import UsageError
from fieldlog.limits.assess import assess
from fieldlog.limits.packs import shipped_limits
from fieldlog.model.context import Context
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.report.write import write_report
from fieldlog.store.records import NewAttachment, NewEntry, NewPhoto, NewUtterance
from fieldlog.store.repository import Repository

_START = datetime(2026, 3, 14, 8, tzinfo=UTC)
_OBSERVER = """<script>
new PerformanceObserver(function (list) {
  list.getEntries().forEach(function (e) { fetch("/told?" + e.name + "=" + e.startTime); });
}).observe({type: "paint", buffered: true});
addEventListener("load", function () { fetch("/told?load=" + performance.now()); });
</script></head>"""


def build(folder: Path, findings: int, photos: int, told: Callable[[int], None]) -> None:
    """An inspection with as many findings (2.5 s of speech each) and photos (12 Mpx, noisy)."""
    rng = np.random.default_rng(3)
    catalogue, limits = load_catalogue(config.grammars()), shipped_limits()
    context = Context("US-VA", {"rim": "steel"})
    with Repository.open(folder / "store") as store:
        inspection = store.start_inspection(
            store.add_vehicle("benchmark").id, started_at=_START, jurisdiction="US-VA"
        )
        kept = []
        for number in range(findings):
            finding = _finding(number)
            said_at = _START + timedelta(seconds=6 * number)
            sound = (rng.standard_normal(int(2.5 * RATE)) * 0.05).astype(np.float32)
            saved = store.save(
                inspection.id,
                NewEntry(
                    NewUtterance(
                        Understanding(Decision.ACCEPT, Kind.FINDING, "", f"number {number}"),
                        said_at,
                        clip=store.media.save_clip(Clip(sound)),
                        end_s=2.5,
                        source="benchmark",
                    ),
                    finding=finding,
                    verdict=assess(finding, limits, context, catalogue, _START.date()).verdict,
                ),
            )
            kept.append(saved.finding_id)
            told(number + 1)
        for number in range(photos):
            path = folder / f"{number:04}.jpg"
            coarse = rng.integers(0, 255, (30, 40, 3), dtype=np.uint8)
            Image.fromarray(coarse).resize((4000, 3000), Image.Resampling.BICUBIC).save(path)
            photo = store.add_photo(
                inspection.id, NewPhoto(store.media.save_file(path), path.name, "jpeg")
            )
            home = kept[number % len(kept)]
            store.attach_all(inspection.id, [NewAttachment(photo, home, "benchmark", 2.0, 0.5)])
            path.unlink()
            told(findings + number + 1)


def _finding(number: int) -> Finding:
    position = ("front", "rear")[number % 2]
    value = Fraction(number % 60, 10)
    if number % 3 == 0:
        return Finding("tyre", position, "tread depth", Quantity(value, "mm"))
    if number % 3 == 1:
        return Finding("brake pads", position, "thickness", Quantity(value, "mm"))
    return Finding("brake disc", position, "condition", condition="cracked")


def write(folder: Path, kind: str) -> tuple[Path, float]:
    """Write the report as ``kind``; the file and the seconds it took."""
    started = time.perf_counter()
    with Repository.open(folder / "store") as store:
        written = write_report(store, "last", (kind,), folder, printed_at=_START)
    return written.files[0], time.perf_counter() - started


def paint_ms(browser: str, page: Path, wait_s: float = 15.0) -> dict[str, float]:
    """Milliseconds from navigation to ``first-paint``, ``first-contentful-paint`` and ``load``.

    ``browser``: a Chromium or Chrome program. Raises ``UsageError`` when it cannot be started;
    what it did not report within ``wait_s`` is missing from the answer.
    """
    text = re.sub(
        r"<meta http-equiv=\"Content-Security-Policy\"[^>]*>", "", page.read_text("utf-8")
    )
    content = text.replace("</head>", _OBSERVER, 1).encode("utf-8")
    told: dict[str, float] = {}
    complete = threading.Event()

    class Handler(BaseHTTPRequestHandler):
        """Gives the page, and takes what the browser reports."""

        def do_GET(self) -> None:
            """Answer one request."""
            address = urlsplit(self.path)
            body = content if address.path == "/" else b""
            for name, value in parse_qsl(address.query):
                told[name] = float(value)
            if {"first-contentful-paint", "load"} <= told.keys():
                complete.set()
            self.send_response(200)
            self.send_header("Content-Type", "text/html; charset=utf-8")
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, format: str, *arguments: object) -> None:
            """Say nothing."""

    with (
        ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server,
        tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile,
    ):
        threading.Thread(target=server.serve_forever, daemon=True).start()
        options = ["--headless=new", "--no-sandbox", "--disable-gpu", "--window-size=1200,900"]
        options += [f"--user-data-dir={profile}", "--remote-debugging-port=0"]
        try:
            running = subprocess.Popen(
                [browser, *options, f"http://127.0.0.1:{server.server_port}/"],
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
        except OSError as error:
            raise UsageError(
                f"the browser cannot be started ({error.strerror})",
                where=browser,
                todo="name a Chromium or Chrome program",
            ) from error
        complete.wait(wait_s)
        running.kill()
        running.wait()
        server.shutdown()
    return told
