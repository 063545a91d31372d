"""The reviewer's page for tests: served over a copy of the demo's record, seen by a real browser."""

from __future__ import annotations

import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.serve.app import OneHand, build
from fieldlog.serve.keys import Keys, Trust
from fieldlog.serve.review.face import review_face
from fieldlog.serve.review.sights import Sights
from fieldlog.serve.run import bound, own_hosts, port_of, running
from fieldlog.shop.workshop import Workshop
from fieldlog.store.reviews import Decided
from tests.demo_spoken import heard_demo

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page


@pytest.fixture(scope="session")
def language() -> InspectionLanguage:
    return load_language()


@pytest.fixture(scope="session")
def demo_record(
    tmp_path_factory: pytest.TempPathFactory, language: InspectionLanguage
) -> tuple[Path, str]:
    if not _made:  # a fixture that is imported is another one in each file that imports it
        folder = tmp_path_factory.mktemp("demo") / "record"
        _made.append((folder, heard_demo(folder, language)))
    return _made[0]


_made: list[tuple[Path, str]] = []


@dataclass
class Served:
    """A server over a record of its own, and what went wrong in pages of it."""

    shop: Workshop
    key: str
    address: str
    keys: Keys
    faults: list[str] = field(default_factory=list)

    @property
    def record(self) -> Any:
        return self.shop.store.inspection_record(self.key)

    def decided(self) -> list[Decided]:
        return [each.decided for each in self.record.decisions]

    @contextmanager
    def page(self, browser: Browser, name: str = "R. Jones", **more: Any) -> Iterator[Page]:
        """Somebody's own browser window, come in and ready."""
        context: BrowserContext = browser.new_context(
            **({"viewport": {"width": 1280, "height": 900}} | more)
        )
        try:
            page = context.new_page()
            page.set_default_timeout(8000)
            page.on("pageerror", lambda error: self.faults.append(str(error)))
            page.on("console", self._noted)
            page.goto(f"{self.address}/#code={self.keys.code(Trust.DESK, name)}")
            page.wait_for_selector("html[data-ready]")
            yield page
        finally:
            context.close()

    def _noted(self, message: Any) -> None:
        if message.type == "error" and "Failed to load resource" not in message.text:
            self.faults.append(message.text)


@contextmanager
def serving(folder: Path, key: str, language: InspectionLanguage) -> Iterator[Served]:
    with Workshop.open(folder, language=language) as shop:
        listening = bound()
        port, keys = port_of(listening), Keys(time.monotonic)
        sights, hand = Sights(folder, shop.now().date()), OneHand(shop)
        app = build([review_face(hand, sights, key)], keys, hosts=own_hosts(port))
        try:
            with running(app, listening):
                yield Served(shop, key, f"http://127.0.0.1:{port}", keys)
        finally:
            hand.close()
            sights.close()


@pytest.fixture
def served(
    tmp_path: Path, demo_record: tuple[Path, str], language: InspectionLanguage
) -> Iterator[Served]:
    shutil.copytree(demo_record[0], tmp_path / "record")
    with serving(tmp_path / "record", demo_record[1], language) as one:
        yield one


@contextmanager
def saving(page: Page) -> Iterator[None]:
    """What is done in the block is in the record after it."""
    before = int(page.locator("html").get_attribute("data-saved") or 0)
    yield
    page.locator(f"html[data-saved='{before + 1}']").wait_for()


def heading(page: Page) -> str:
    return page.locator("#card h2").first.inner_text().split("\n")[0]


def press(page: Page, key: str) -> None:
    """A key that decides: the next card stands when it is saved."""
    with saving(page):
        page.keyboard.press(key)


STRICT = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"],
    "rules": {"target-size": {"enabled": True}},
}
OUTDOORS = {"runOnly": {"type": "rule", "values": ["color-contrast-enhanced"]}}
"""Seven to one, for the sun."""


def faults(page: Page, options: dict[str, Any]) -> list[str]:
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(page, options=options).response
    unsure = [each for each in found["incomplete"] if "contrast" in each["id"]]
    return [
        f"{rule['id']}: {node['html'][:160]} {node['failureSummary'][:200]}"
        for rule in (*found["violations"], *unsure)
        for node in rule["nodes"]
    ]
