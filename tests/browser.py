"""A real Chromium for the pages: one to a test process, one context (cookies, storage) to a test."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser

QUIET = (
    "--no-sandbox", "--headless=new", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
"""Nothing but the page: no update, no network of its own."""


@contextmanager
def chromium(*more: str) -> Iterator[Browser]:
    """The browser, with further arguments; skips with the reason where it is missing."""
    where = shutil.which("chromium") or shutil.which("google-chrome")
    if where is None:
        pytest.skip("no Chromium is installed: see tests/system.py")
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with playwright.sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=where, args=[*QUIET, *more])
        try:
            yield opened
        finally:
            opened.close()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for a file: ``from tests.browser import browser``."""
    with chromium() as opened:
        yield opened
