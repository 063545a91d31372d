"""``python -m fieldlog.lab review``: the reviewer's page of a large inspection in a real Chromium."""

from __future__ import annotations

import shutil
import statistics
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import click
import numpy as np
from PIL import Image

from fieldlog.audio.clip import RATE, Clip
from fieldlog.errors import UsageError
from fieldlog.hearing import Heard
from fieldlog.model.context import Context
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.shop.workshop import Workshop
from fieldlog.store.records import NewAttachment, NewPhoto

_START = datetime(2026, 3, 14, 8, tzinfo=UTC)
CLIP_S = 2.5
CLEAR = {"margin": 8.0, "logprob": -0.2, "bend": 0.0, "tail": 0.0, "tokens": 10.0}
DIM = {"margin": 0.9, "logprob": -8.0, "bend": -0.6, "tail": -1.0, "tokens": 10.0}
"""Evidence of every tenth utterance: its other reading is asked about."""
_TENS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine")

_OBSERVER = """
window.steps = [];
let pressed = null;
addEventListener("keydown", (event) => { pressed = event.timeStamp; }, true);
addEventListener("DOMContentLoaded", () => {
  new MutationObserver(() => {
    if (pressed === null) return;
    const from = pressed;
    pressed = null;
    requestAnimationFrame(() => requestAnimationFrame(() => steps.push(performance.now() - from)));
  }).observe(document.getElementById("card"), { childList: true });
  new MutationObserver(() => {
    if (document.querySelector("#card .offer, #card .finding") && !window.shown) {
      requestAnimationFrame(() => requestAnimationFrame(() => { window.shown = performance.now(); }));
    }
  }).observe(document.getElementById("card"), { childList: true });
});
"""


@click.command("review")
@click.option("--findings", type=int, default=300, show_default=True)
@click.option("--photos", type=int, default=200, show_default=True)
@click.option("--steps", type=int, default=60, show_default=True, help="Things gone to by J.")
@click.option("--heard", type=int, default=10, show_default=True, help="Things heard and decided.")
def review_page(findings: int, photos: int, steps: int, heard: int) -> None:
    """Paint the reviewer's page of a large inspection, go through it, decide: how long does it take?

    \b
    Example:
      python -m fieldlog.lab review
    """
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "record"
        build(folder, findings, photos)
        click.echo(f"{findings} findings, {photos} photos")
        for name, value in measured(folder, steps, heard):
            click.echo(f"{name}: {value}")


def build(folder: Path, findings: int, photos: int) -> None:
    """An inspection of so many spoken findings (2.5 s each) and photos (12 Mpx) at them."""
    rng = np.random.default_rng(3)
    with Workshop.open(folder) as shop:
        shop.add_vehicle("benchmark", {"rim": "steel"})
        head = shop.begin("benchmark", Context("US-VA"), started_at=_START)
        inspecting = shop.inspecting(head.id)
        for number in range(findings):
            words, other = _words(number)
            sound = (rng.standard_normal(int(CLIP_S * RATE)) * 0.05).astype(np.float32)
            typed = inspecting.conversation.typed(words)
            told = (words, other) if number % 10 == 0 else (words,)
            evidence = DIM if number % 10 == 0 else CLEAR
            spoken = tuple(Hypothesis(text, 0.0, evidence) for text in told)
            times = tuple((0.3 * n, 0.3 * n + 0.25) for n in range(len(words.split())))
            hearing = Hearing("whisper", spoken, 90.0, times)
            clip = Clip(sound, 6.0 * number)
            inspecting.say(
                Heard(clip, hearing, typed.understanding, told[1:], 90.0, complete=True),
                "benchmark",
            )
        kept = [each.id for each in inspecting.record.findings]
        store = shop.store
        for number in range(photos):
            path = folder / f"{number:04}.jpg"
            coarse = rng.integers(0, 255, (30, 40, 3), dtype=np.uint8)
            Image.fromarray(coarse).resize((4000, 3000), Image.Resampling.BICUBIC).save(path)
            at = _START + timedelta(seconds=6 * number)
            photo = NewPhoto(store.media.save_file(path), path.name, "jpeg", utc=at)
            name = store.add_photo(head.id, photo)
            home = kept[number % len(kept)]
            store.attach_all(head.id, [NewAttachment(name, home, "benchmark", 2.0, 0.5)])
            path.unlink()


def _words(number: int) -> tuple[str, str]:
    """A finding of the walk, and what it may be taken for."""
    end = ("front", "rear")[number % 2]
    one, other = _TENS[number % 9], _TENS[(number + 4) % 9]
    if number % 3 == 0:
        return (f"{end} tyre tread {one} millimetres", f"{end} tyre tread {other} millimetres")
    if number % 3 == 1:
        return (f"{end} brake pads {one} millimetres", f"{end} brake pads {other} millimetres")
    return (f"{end} brake disc cracked", f"{end} brake disc sound")


def measured(folder: Path, steps: int, heard: int) -> Iterator[tuple[str, str]]:
    """What was measured, by name."""
    with _served(folder) as (address, code), _browser() as browser:
        for when in ("the first time, the server just started", "again"):
            page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
            page.add_init_script(_OBSERVER)
            page.goto(f"{address}/#code={code()}")
            page.wait_for_selector("html[data-ready]", timeout=60_000)
            paints = page.evaluate(
                "() => Object.fromEntries(performance.getEntriesByType('paint').map((e) => [e.name, e.startTime]))"
            )
            page.wait_for_timeout(200)
            shown = page.evaluate("() => window.shown")
            told = "  ".join(f"{name} {value:.0f} ms" for name, value in paints.items())
            yield when, f"{told}  first card {shown:.0f} ms"
        page.wait_for_timeout(500)
        yield "next, by J", _spread(_pressed(page, "j", steps))
        page.reload()
        page.wait_for_selector("html[data-ready]")
        yield "next, after a decision by Enter", _spread(_pressed(page, "Enter", steps // 2))
        page.reload()
        page.wait_for_selector("html[data-ready]")
        yield (
            f"an item heard to its end ({CLIP_S} s of it sound) and decided",
            _spread([_heard(page) * 1000 for _ in range(heard)]),
        )


def _pressed(page: Any, key: str, times: int) -> list[float]:
    """Milliseconds from the key to the next thing on the screen, for each press."""
    page.evaluate("() => { window.steps = []; }")
    for _ in range(times):
        before = page.evaluate("() => steps.length")
        page.keyboard.press(_deciding(page) if key == "Enter" else key)
        for _ in range(100):
            if page.evaluate("() => steps.length") > before:
                break
            page.wait_for_timeout(20)
        page.wait_for_timeout(150)  # nobody decides faster
    found: list[float] = page.evaluate("() => steps")
    return found


def _deciding(page: Any) -> str:
    """Enter, or the first reading where Enter takes none (what was drawn blind)."""
    return "Enter" if page.locator("#card .actions .first").count() else "1"


def _heard(page: Any) -> float:
    """Seconds for one thing: it plays by itself, is heard to its end, and one key decides."""
    started = time.perf_counter()
    page.evaluate(
        "() => new Promise((over) => { const s = document.getElementById('sound');"
        " const wait = () => (s.ended || s.paused ? over() : setTimeout(wait, 20)); setTimeout(wait, 300); })"
    )
    before = page.locator("#list button[aria-current]").get_attribute("data-item")
    page.keyboard.press(_deciding(page))
    page.locator(f"#list button[aria-current]:not([data-item='{before}'])").wait_for()
    return time.perf_counter() - started


def _spread(found: list[float]) -> str:
    ordered = sorted(found)
    late = ordered[min(len(ordered) - 1, int(0.95 * len(ordered)))]
    return (
        f"median {statistics.median(ordered):.0f} ms, p95 {late:.0f} ms, "
        f"worst {ordered[-1]:.0f} ms ({len(ordered)} times)"
    )


@contextmanager
def _served(folder: Path) -> Iterator[tuple[str, Any]]:
    from fieldlog.serve.app import OneHand, build
    from fieldlog.serve.keys import Keys, Trust
    from fieldlog.serve.review.face import review_face
    from fieldlog.serve.review.sights import Sights
    from fieldlog.serve.run import LOOPBACK, bound, own_hosts, port_of, running

    with Workshop.open(folder) as shop:
        listening = bound()
        port, keys, hand = port_of(listening), Keys(time.monotonic), OneHand(shop)
        sights = Sights(folder, _START.date())
        key = shop.store.inspection("last").id
        app = build([review_face(hand, sights, key)], keys, hosts=own_hosts(port))
        try:
            with running(app, listening):
                yield f"http://{LOOPBACK}:{port}", lambda: keys.code(Trust.DESK, "benchmark")
        finally:
            hand.close()
            sights.close()


@contextmanager
def _browser() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    where = shutil.which("chromium") or shutil.which("google-chrome")
    if where is None:
        raise UsageError("there is no Chromium", todo="install it, see tests/system.py")
    quiet = ["--no-sandbox", "--headless=new", "--disable-gpu", "--no-first-run"]
    quiet += ["--autoplay-policy=no-user-gesture-required"]
    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=where, args=quiet)
        try:
            yield opened
        finally:
            opened.close()
