"""A phone's page in a real Chromium over TLS: paired, spoken into, cut off, photographed with; what arrived counts."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np
import pytest

from fieldlog.audio.files import open_audio, read_clip
from fieldlog.audio.health import Trouble
from fieldlog.config import demo_media
from fieldlog.model.finding import Finding
from fieldlog.serve.phone.line import NO_ROOM
from fieldlog.shop import events as ev
from fieldlog.shop.live import Told
from fieldlog.shop.workshop import Workshop
from tests.browser import chromium
from tests.phone_shed import PhoneShed, phone_shed, until

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

RATE = 16_000
FAKE = ("--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream")


@pytest.fixture(scope="module")
def spoken(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two phrases of the demo, 5 s apart, as the file that the fake microphone plays once."""
    import soundfile

    with open_audio(demo_media() / "01-fluids-battery-drive.flac") as audio:
        whole = np.concatenate(list(audio.blocks(1.0)))
    slack = whole[int(37.0 * RATE) : int(40.9 * RATE)]
    dry = whole[int(41.4 * RATE) : int(45.2 * RATE)]
    quiet = np.zeros(RATE, dtype=np.float32)
    path = tmp_path_factory.mktemp("spoken") / "microphone.wav"
    sound = np.concatenate([quiet, slack, *[quiet] * 4, dry, *[quiet] * 30])
    soundfile.write(path, sound, RATE, subtype="PCM_16")
    return path


@pytest.fixture(scope="module")
def browser(spoken: Path) -> Iterator[Browser]:
    with chromium(*FAKE, f"--use-file-for-fake-audio-capture={spoken}%noloop") as opened:
        yield opened


@pytest.fixture(scope="module")
def shed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PhoneShed]:
    folder = tmp_path_factory.mktemp("shed")
    with (
        Workshop.open(folder / "record") as shop,
        shop.ears() as ears,
        phone_shed(folder, shop, ears) as opened,
    ):
        yield opened


@pytest.fixture(scope="module")
def phone(browser: Browser, shed: PhoneShed) -> Iterator[BrowserContext]:
    """A paired phone."""
    context = browser.new_context(
        ignore_https_errors=True, viewport={"width": 390, "height": 844}, color_scheme="light"
    )
    page = context.new_page()
    page.goto(shed.desk.invite())
    digits = page.locator("#digits")
    digits.wait_for(state="visible")
    assert "#" not in page.url, "the code is out of the address at once"
    waiting = shed.desk.pairing.waiting
    assert waiting is not None
    assert digits.inner_text() == waiting.digits
    assert not page.locator("#work").is_visible()
    assert shed.desk.pairing.allow(waiting.digits)
    page.locator("#listen").wait_for(state="visible")
    page.close()
    yield context
    context.close()


def opened(phone: BrowserContext, shed: PhoneShed) -> Page:
    phone.set_offline(False)  # a test that failed may have left it so
    for other in phone.pages:
        other.close()
    page = phone.new_page()
    page.goto(shed.desk.place.url)
    page.locator("#listen").wait_for(state="visible")
    assert until(lambda: re.search("ahead|behind", page.locator("#clock").inner_text()))
    return page


def findings(told: Told) -> list[Finding]:
    """What was taken. Where a busy machine's browser dropped some of its own file, and only there, it may
    be asked about.
    """
    found: list[Finding] = []
    for event in told.events:
        if isinstance(event, ev.FindingSaved):
            found.append(event.kept.finding)
        elif not isinstance(event, ev.AskedAgain):  # what an earlier phrase left open
            assert isinstance(event, ev.Asked), event
            assert told.spoken.clip.flags, "asked about without a hole in its sound"
            found += event.said.understanding.offered
    return found


def test_the_cookie_is_one_that_no_script_reads(phone: BrowserContext) -> None:
    (cookie,) = phone.cookies()
    assert cookie["name"].startswith("__Host-")
    assert cookie["httpOnly"]
    assert cookie["secure"]
    assert cookie["sameSite"] == "Strict"


def test_what_is_said_while_the_network_is_gone_arrives_whole_and_once(
    phone: BrowserContext, shed: PhoneShed, spoken: Path
) -> None:
    page = opened(phone, shed)
    page.locator("#listen").click()
    assert until(lambda: shed.told), "the first phrase"
    phone.set_offline(True)
    assert until(lambda: Trouble.AWAY in shed.troubles(), 3.0), "the alarm within two seconds"
    assert until(lambda: "cut off" in page.locator("#line").inner_text())
    assert until(lambda: "of sound" in page.locator("#kept").inner_text())
    page.wait_for_timeout(6500)  # the second phrase is said meanwhile
    assert len(shed.told) == 1
    phone.set_offline(False)
    assert until(lambda: len(shed.told) == 2), "the second phrase, late"
    assert until(lambda: page.locator("#kept").inner_text() == "")
    assert Trouble.BACK in shed.troubles()

    first, second = shed.told
    (slack,) = findings(first)
    assert slack.component == "drive chain"
    assert str(slack.quantity and slack.quantity.value) == "7/4"
    assert [each.condition for each in findings(second)] == ["dry", "rusted"]

    # when it was said, though it came later: the phrases begin as far apart as they were spoken
    apart = second.spoken.began - first.spoken.began
    with_file = read_clip(spoken)
    assert abs(apart - timedelta(seconds=8.3)) < timedelta(seconds=0.5)
    # all of it, once: as many samples as were played, as loud as they were
    page.locator("#listen").click()
    (recording,) = shed.streams.glob("*.wav")
    assert until(lambda: page.locator("#kept").inner_text() == "")
    heard = read_clip(recording).samples
    places = [_place(heard, with_file.samples, at) for at in SAID]
    assert max(places) - min(places) < 0.03 * RATE, "no frame is missing or doubled (100 ms each)"
    page.close()


SAID = (1.5, 2.0, 2.5, 3.0, 9.5, 10.0, 10.5)
"""Half seconds of the file in which somebody speaks."""


def _place(heard: np.ndarray, played: np.ndarray, at_s: float) -> int:
    """How much later (samples) the half second at ``at_s`` of what was played was heard, as loud as it was."""
    begin = int(at_s * RATE)
    piece = played[begin : begin + RATE // 2]
    size = 1 << (len(piece) + len(heard)).bit_length()
    both = np.fft.irfft(np.fft.rfft(heard, size) * np.conj(np.fft.rfft(piece, size)), size)
    place = int(np.argmax(both[: len(heard) - len(piece) + 1]))
    there = heard[place : place + len(piece)]
    loud, was = float(np.sqrt(np.mean(there**2))), float(np.sqrt(np.mean(piece**2)))
    assert abs(20 * np.log10(loud / was)) < 1.5, (at_s, loud, was)
    return place - begin


def test_what_was_not_sent_when_the_page_was_closed_is_sent_by_the_next_one(
    phone: BrowserContext, shed: PhoneShed
) -> None:
    before = len(shed.told)
    page = opened(phone, shed)
    page.locator("#listen").click()
    assert until(lambda: page.locator("#state").inner_text() == "Listening")
    phone.set_offline(True)
    page.wait_for_timeout(5500)  # the first phrase is said again
    assert len(shed.told) == before
    page.close()
    phone.set_offline(False)
    page = opened(phone, shed)
    assert until(lambda: page.locator("#kept").inner_text() == "")
    assert until(lambda: len(shed.told) > before)
    (slack,) = findings(shed.told[before])
    assert slack.characteristic == "slack"
    page.close()


def test_a_second_page_of_the_same_phone_keeps_its_hands_off(
    phone: BrowserContext, shed: PhoneShed
) -> None:
    first = opened(phone, shed)
    second = phone.new_page()
    second.goto(shed.desk.place.url)
    second.locator("#alarm").wait_for(state="visible")
    assert "Another page" in second.locator("#alarm").inner_text()
    assert second.locator("#listen").is_disabled()
    assert first.locator("#line").inner_text() == "connected"
    first.close()
    assert until(lambda: second.locator("#listen").is_enabled()), "then it is this one's"
    assert until(lambda: second.locator("#line").inner_text() == "connected")
    second.close()


def test_words_that_are_not_taken_come_back_into_the_field(
    phone: BrowserContext, shed: PhoneShed, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = opened(phone, shed)

    def broken(text: str) -> None:
        raise RuntimeError("on purpose")

    monkeypatch.setattr(shed.inspecting, "type", broken)
    page.locator("#words").fill("horn works")
    page.locator("#type button").click()
    assert until(lambda: page.locator("#words").input_value() == "horn works")
    assert "fault" in page.locator("#alarm").inner_text()
    page.close()


def test_the_page_shows_the_finding_with_its_verdict_and_source(
    phone: BrowserContext, shed: PhoneShed
) -> None:
    page = opened(phone, shed)
    page.locator("#words").fill("front brake pads one point two millimetres")
    page.locator("#type button").click()
    assert until(lambda: "1.2" in page.locator("#last-words").inner_text())
    assert page.locator("#last-verdict").inner_text()
    assert page.locator("#last-limit").inner_text()
    page.locator("#words").fill("rear tread one thirty-second")
    page.locator("#type button").click()
    page.locator("#told li.dangerous", has_text="beyond, dangerous").first.wait_for()
    page.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_text_can_be_read_in_the_sun(
    phone: BrowserContext, shed: PhoneShed, scheme: Literal["light", "dark"]
) -> None:
    """Contrast of 7:1 and all else that the rules of WCAG 2.2 AAA can tell."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is missing")
    page = opened(phone, shed)
    page.emulate_media(color_scheme=scheme)
    page.locator("#words").fill("fork seal leaking")
    page.locator("#type button").click()
    page.locator("#question").wait_for(state="visible")
    found = axe.Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag2aaa"]})
    assert found.violations_count == 0, found.generate_report()
    page.locator("#answers button", has_text="left").click()
    page.locator("#question").wait_for(state="hidden")
    page.close()


def test_a_question_is_answered_by_a_button(phone: BrowserContext, shed: PhoneShed) -> None:
    page = opened(phone, shed)
    page.locator("#words").fill("fork seal leaking")
    page.locator("#type button").click()
    page.locator("#question").wait_for(state="visible")
    labels = page.locator("#answers button")
    assert until(lambda: {"left", "right"} <= set(labels.all_inner_texts()))
    page.locator("#answers button", has_text="left").click()
    assert until(lambda: "left fork seal" in page.locator("#last-words").inner_text())
    page.locator("#question").wait_for(state="hidden")
    page.close()


def test_a_photo_goes_to_the_finding_of_its_time(phone: BrowserContext, shed: PhoneShed) -> None:
    page = opened(phone, shed)
    page.locator("#words").fill("horn works")
    page.locator("#type button").click()
    assert until(lambda: "horn" in page.locator("#last-words").inner_text())
    page.locator("#photo").click()
    page.locator("#viewfinder").wait_for(state="visible")
    assert until(lambda: page.evaluate("document.getElementById('viewfinder').videoWidth > 0"))
    phone.set_offline(True)
    page.locator("#photo").click()
    assert until(lambda: "1 photo" in page.locator("#kept").inner_text())
    phone.set_offline(False)
    assert until(lambda: shed.inspecting.record.photos)
    assert until(lambda: "photo" not in page.locator("#kept").inner_text())
    (photo,) = shed.inspecting.record.photos
    assert photo.utc is not None
    assert photo.problem is None
    (clock,) = shed.inspecting.record.clocks
    assert clock.camera == photo.camera
    assert clock.how == "measured over the network"
    assert clock.uncertainty_s is not None
    assert clock.uncertainty_s < 0.25
    page.close()


def test_without_room_on_the_phone_nothing_is_lost_while_its_page_is_open_and_both_are_told(
    phone: BrowserContext, shed: PhoneShed
) -> None:
    page = opened(phone, shed)
    quota = phone.new_cdp_session(page)
    own = {"origin": f"https://{shed.desk.place.hosts[0]}"}
    only_here, kept = page.locator("#only-here"), page.locator("#kept")
    page.locator("#photo").click()
    assert until(lambda: page.evaluate("document.getElementById('viewfinder').videoWidth > 0"))
    photos, told, notices = len(shed.inspecting.record.photos), len(shed.lines), len(shed.notices)
    phone.set_offline(True)
    quota.send("Storage.overrideQuotaForOrigin", {**own, "quotaSize": 1})
    page.locator("#photo").click()
    assert until(lambda: "no more photos" in only_here.inner_text())
    page.locator("#shut").click()
    page.locator("#listen").click()
    assert until(lambda: "no more sound" in only_here.inner_text())
    phone.set_offline(False)
    assert until(lambda: any(NO_ROOM in line for line in shed.lines[told:]))
    assert until(lambda: len(shed.inspecting.record.photos) == photos + 1)

    phone.set_offline(True)
    assert until(lambda: "of sound" in kept.inner_text())
    quota.send("Storage.overrideQuotaForOrigin", own)
    assert until(lambda: only_here.inner_text() == ""), "it is kept as soon as there is room"
    page.close()
    page = opened(phone, shed)  # what was in memory alone is in the files by now
    assert until(lambda: page.locator("#kept").inner_text() == "")
    assert any("has room again" in line for line in shed.lines[told:])
    assert Trouble.GAP not in [each.trouble for each in shed.notices[notices:]], "all of it came"
    page.close()


def test_a_page_that_is_not_in_front_is_an_alarm(phone: BrowserContext, shed: PhoneShed) -> None:
    page = opened(phone, shed)
    page.locator("#listen").click()
    assert until(lambda: page.locator("#state").inner_text() == "Listening")
    page.wait_for_timeout(500)
    before = len(shed.notices)
    page.evaluate(
        "Object.defineProperty(document, 'visibilityState', {value: 'hidden', configurable: true});"
        "document.dispatchEvent(new Event('visibilitychange'))"
    )
    assert until(lambda: Trouble.AWAY in [n.trouble for n in shed.notices[before:]], 2.0)
    assert "in front" in shed.notices[-1].text
    page.locator("#listen").click()
    page.close()


def test_a_revoked_phone_is_out_at_once(phone: BrowserContext, shed: PhoneShed) -> None:
    page = opened(phone, shed)
    shed.desk.book.revoke("1")
    page.locator("#door").wait_for(state="visible")
    assert "no more" in page.locator("#door-told").inner_text()
    assert not page.locator("#work").is_visible()
    page.close()
