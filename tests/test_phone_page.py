"""What the phone's page does where the world is unkind: no machine, files thrown away, a camera that stands still."""

from __future__ import annotations

import base64
import hashlib
import re
import shutil
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from fieldlog.serve.phone.line import LOST
from fieldlog.serve.phone.photos import PhonePhotos
from fieldlog.shop.workshop import Workshop
from tests.browser import QUIET, chromium
from tests.phone_shed import PhoneShed, phone_shed, until

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

FAKE = ("--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream")
SEES = "document.getElementById('viewfinder').videoWidth > 0"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium(*FAKE) as opened:
        yield opened


@pytest.fixture(scope="module")
def shed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PhoneShed]:
    folder = tmp_path_factory.mktemp("shed")
    with Workshop.open(folder / "record") as shop, phone_shed(folder, shop) as opened:
        yield opened


@pytest.fixture(scope="module")
def phone(browser: Browser, shed: PhoneShed) -> Iterator[BrowserContext]:
    """A paired phone."""
    context = browser.new_context(ignore_https_errors=True)
    paired(context, shed).close()
    yield context
    context.close()


def paired(context: BrowserContext, shed: PhoneShed) -> Page:
    page = context.new_page()
    page.goto(shed.desk.invite())
    page.locator("#digits").wait_for(state="visible")
    assert shed.desk.pairing.allow(page.locator("#digits").inner_text())
    page.locator("#listen").wait_for(state="visible")
    return page


@pytest.fixture
def page(phone: BrowserContext, shed: PhoneShed) -> Iterator[Page]:
    opened = phone.new_page()
    opened.goto(shed.desk.place.url)
    connected(opened)
    yield opened
    phone.set_offline(False)
    opened.close()


def connected(page: Page) -> None:
    assert until(lambda: re.search("ahead|behind", page.locator("#clock").inner_text()))


def look(page: Page) -> None:
    page.locator("#photo").click()
    assert until(lambda: page.evaluate(SEES))


def test_a_photo_that_the_browser_threw_away_is_told_and_keeps_no_other_back(
    page: Page, phone: BrowserContext, shed: PhoneShed
) -> None:
    """Its head is there and the picture is not: so a browser that makes room may leave it."""
    photos, told = len(shed.inspecting.record.photos), len(shed.lines)
    look(page)
    phone.set_offline(True)
    for count in (1, 2, 3):
        page.locator("#photo").click()
        page.locator("#kept", has_text=f"{count} photo").wait_for()
    assert until(lambda: page.evaluate(PICTURES) == 3)
    page.evaluate(THROW_AWAY)
    page.close()
    phone.set_offline(False)
    page = phone.new_page()
    page.goto(shed.desk.place.url)
    assert until(lambda: len(shed.inspecting.record.photos) == photos + 1), "the other one"
    assert until(lambda: sum(LOST in line for line in shed.lines[told:]) == 2)
    assert until(lambda: page.locator("#kept").inner_text() == ""), (
        "what is gone is not counted as kept"
    )
    page.close()


_FOLDER = "const all = await (await navigator.storage.getDirectory()).getDirectoryHandle('photos');"
PICTURES = (
    "async () => {" + _FOLDER + " let n = 0;"
    " for await (const [name, file] of all.entries()) n += name.endsWith('.jpg') && (await file.getFile()).size > 0;"
    " return n; }"
)
THROW_AWAY = (
    "async () => {" + _FOLDER + " const names = [];"
    " for await (const name of all.keys()) if (name.endsWith('.jpg')) names.push(name);"
    " await all.removeEntry(names.sort()[0]);"
    " const half = await (await all.getFileHandle(names[1])).createWritable();"
    " await half.write(new Uint8Array([255, 216])); await half.close(); }"
)


def test_words_that_were_typed_without_the_network_outlast_their_page(
    page: Page, phone: BrowserContext, shed: PhoneShed
) -> None:
    before = len(shed.inspecting.record.findings)
    phone.set_offline(True)
    page.locator("#line", has_text="cut off").wait_for()
    page.locator("#words").fill("left mirror loose")
    page.locator("#type button").click()
    page.locator("#kept", has_text="1 typed").wait_for()
    assert until(lambda: page.evaluate(SAID) == 1)
    page.close()
    phone.set_offline(False)
    page = phone.new_page()
    page.goto(shed.desk.place.url)
    assert until(lambda: len(shed.inspecting.record.findings) == before + 1)
    assert until(lambda: page.locator("#kept").inner_text() == "")
    assert until(lambda: page.evaluate(SAID) == 0), "once"
    page.reload()
    connected(page)
    assert len(shed.inspecting.record.findings) == before + 1
    page.close()


SAID = (
    "async () => JSON.parse(await (await (await (await (await navigator.storage.getDirectory())"
    ".getDirectoryHandle('sound')).getFileHandle('said')).getFile()).text() || '[]').length"
)


def test_a_picture_that_stands_still_is_not_taken_as_of_now(page: Page, shed: PhoneShed) -> None:
    photos = len(shed.inspecting.record.photos)
    look(page)
    page.evaluate("document.getElementById('viewfinder').pause()")
    page.locator("#photo").click()
    assert until(lambda: "No photo was taken" in page.locator("#alarm").inner_text())
    page.evaluate("document.getElementById('viewfinder').play()")
    page.evaluate("document.getElementById('viewfinder').srcObject.getTracks()[0].stop()")
    page.evaluate("document.getElementById('alarm').textContent = ''")
    page.locator("#photo").click()
    assert until(lambda: "No photo was taken" in page.locator("#alarm").inner_text())
    page.evaluate(
        "document.getElementById('viewfinder').srcObject.getTracks()[0].dispatchEvent(new Event('ended'))"
    )
    assert until(lambda: "camera is gone" in page.locator("#alarm").inner_text())
    assert page.locator("#photo").inner_text() == "Camera"
    assert len(shed.inspecting.record.photos) == photos
    assert page.locator("#kept").inner_text() == ""


def test_a_fault_in_placing_is_told_and_the_next_time_it_is_done(
    page: Page, shed: PhoneShed, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The thread that places photos went with whatever was no refusal of ours, and nobody was told."""
    told, done = len(shed.lines), list[str]()
    place = PhonePhotos.place

    def faulty(photos: PhonePhotos, inspection: str) -> None:
        done.append(inspection)
        if len(done) == 1:
            raise RuntimeError("on purpose")
        place(photos, inspection)

    monkeypatch.setattr(PhonePhotos, "place", faulty)
    for count, words in enumerate(("horn works", "left mirror loose"), 1):
        page.locator("#words").fill(words)
        page.locator("#type button").click()
        assert until(lambda: len(done) == count)  # noqa: B023 (asked at once)
    assert any("RuntimeError" in line for line in shed.lines[told:])


def test_a_viewfinder_that_is_scrolled_away_takes_photos_all_the_same(
    page: Page, shed: PhoneShed
) -> None:
    photos = len(shed.inspecting.record.photos)
    look(page)
    page.evaluate("document.getElementById('camera').style.marginBottom = '4000px'")
    page.evaluate("scrollTo(0, document.body.scrollHeight)")
    page.wait_for_timeout(2500)
    page.locator("#photo").click()
    assert until(lambda: len(shed.inspecting.record.photos) == photos + 1)


def test_an_alarm_is_not_wiped_by_what_has_nothing_to_do_with_it(page: Page) -> None:
    """A photo that was not taken is told until something else is: the microphone's state comes and goes."""
    page.evaluate(
        "Object.assign(document.getElementById('alarm'), {textContent: 'of a photo', hidden: false})"
    )
    page.locator("#listen").click()
    page.locator("#state", has_text="Listening").wait_for()
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    assert page.locator("#alarm").inner_text() == "of a photo"
    page.locator("#listen").click()


def test_a_page_that_starts_without_the_machine_keeps_and_sends_later(
    browser: Browser, tmp_path: Path
) -> None:
    """Level 2: this machine's key is trusted, so that the page's own files are at hand."""
    with Workshop.open(tmp_path / "record") as shop, ExitStack() as opened:
        with phone_shed(tmp_path, shop) as shed:
            url, key = shed.desk.place.url, shed.inspecting.head.id
            phone = opened.enter_context(trusting(browser, tmp_path / "profile", shed))
            page = paired(phone, shed)
            assert until(lambda: "Level 2" in page.locator("#trust").inner_text())
            assert until(lambda: page.evaluate("caches.has('fieldlog-page')"))
            assert until(lambda: page.evaluate(AT_HAND))
            page.close()
        page = phone.new_page()
        page.goto(url)
        page.locator("#listen").click()
        look(page)
        page.locator("#photo").click()
        kept = page.locator("#kept")
        assert until(lambda: re.search("of sound, 1 photo", kept.inner_text()))
        port = int(url.split(":")[2].split("/")[0])
        with phone_shed(tmp_path, shop, key=key, port=port) as shed:
            assert until(lambda: shed.inspecting.record.photos)
            assert until(lambda: "The machine is reached" in page.locator("#alarm").inner_text())
            assert until(lambda: any("before it reached" in each for each in shed.lines))
            assert until(lambda: page.locator("#state").inner_text() == "Listening")
            page.locator("#listen").click()
            assert until(lambda: kept.inner_text() == "")
            opened.close()


AT_HAND = "caches.open('fieldlog-page').then((all) => all.match('/phone/keeper.js')).then(Boolean)"


@contextmanager
def trusting(browser: Browser, profile: Path, shed: PhoneShed) -> Iterator[BrowserContext]:
    """A browser that takes the shed's certificate for a good one, as where its authority is installed."""
    chain = x509.load_pem_x509_certificates(shed.desk.place.certified.certificate.read_bytes())
    keys = [each.public_key().public_bytes(*KEY) for each in chain]
    named = ",".join(base64.b64encode(hashlib.sha256(key).digest()).decode() for key in keys)
    trusts = f"--ignore-certificate-errors-spki-list={named}"
    where = shutil.which("chromium") or shutil.which("google-chrome")
    context = browser.browser_type.launch_persistent_context(
        profile, executable_path=where, args=[*QUIET, *FAKE, trusts]
    )
    yield context
    context.close()


KEY = (Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
