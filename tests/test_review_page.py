"""The reviewer's page in a real browser: a whole review by keyboard, two people, and who can use it."""

from __future__ import annotations

import json
import shutil
import time
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from starlette.testclient import TestClient

from fieldlog.language.inspection import InspectionLanguage
from fieldlog.review.exchanges import exchanges_of
from fieldlog.serve.app import OneHand, build
from fieldlog.serve.keys import Keys, Trust
from fieldlog.serve.review.face import review_face
from fieldlog.serve.review.sights import Sights, ranged
from fieldlog.shop.workshop import Workshop
from fieldlog.store.reviews import Decided
from tests.browser import browser
from tests.review_server import (
    OUTDOORS,
    STRICT,
    Served,
    demo_record,
    faults,
    heading,
    language,
    press,
    saving,
    served,
)

if TYPE_CHECKING:
    from playwright.sync_api import Browser

__all__ = ["browser", "demo_record", "language", "served"]


@pytest.mark.uncounted
def test_a_whole_review_by_keyboard(served: Served, browser: Browser) -> None:
    with served.page(browser) as page:
        assert "code" not in page.url
        assert page.locator("#counts").inner_text().startswith("5 to decide")
        # two questions that nobody answered: Enter alone takes nothing of several
        assert heading(page) == "asked, and nobody answered"
        page.keyboard.press("/")
        page.keyboard.type("throttle free play four millimetres")
        press(page, "Enter")
        page.locator("#card .asked", has_text="Which end").wait_for()
        page.keyboard.press("Enter")
        page.locator("#told", has_text="choose a reading").wait_for()
        press(page, "1")
        page.locator("#card h2", has_text="not understood").wait_for()
        press(page, "Enter")
        page.locator("#card h2", has_text="may have been heard wrong").wait_for()
        told = page.locator(".offer")
        assert "90 N·m" in told.nth(0).inner_text()
        assert "95 N·m" in told.nth(1).inner_text()
        press(page, "2")
        # of the blind sample nothing is told before somebody says what they hear
        page.locator("#card h2", has_text="drawn blind").wait_for()
        assert page.locator("#card .finding, #card .words, #card .taken").count() == 0
        page.keyboard.press("Enter")
        page.locator("#told", has_text="choose what you hear").wait_for()
        offered = page.locator(".offer").all_inner_texts()
        assert len(offered) >= 2
        press(page, str(1 + next(n for n, text in enumerate(offered) if "1 3/4 in" in text)))
        assert page.locator("#counts").inner_text().startswith("nothing left to decide")
        page.reload()
        page.wait_for_selector("html[data-ready]")
        assert page.locator("#counts").inner_text().startswith("nothing left to decide")
        assert "1 looked at, too few to state" in page.locator("#statement").inner_text()
    record = served.record
    assert served.decided() == [
        Decided.ADDED, Decided.ADDED, Decided.NOTHING, Decided.CORRECTED, Decided.AS_HEARD,
    ]  # fmt: skip
    assert [each.sampled for each in record.decisions] == [False] * 4 + [True]
    assert {each.reviewer for each in record.decisions} == {"R. Jones"}
    stands = [f.finding for f in record.findings if f.stands and f.finding.quantity]
    values = {(f.position, f.component): f.quantity.value for f in stands if f.quantity}
    assert values["rear", "axle nut"] == 95
    assert values["front", "brake pads"] == 2
    assert served.shop.store.verify().agrees
    assert served.faults == []


def test_typing_splitting_remarking_moving_and_taking_back(
    served: Served, browser: Browser
) -> None:
    with served.page(browser) as page:
        page.locator("#list button", has_text="battery, resting voltage").click()
        page.locator("#card .value", has_text="12.4 V").wait_for()
        before = [f.id for f in served.record.findings if f.stands]
        page.keyboard.press("/")
        page.locator("#typing").fill("battery forty three volts")
        page.keyboard.press("Enter")
        page.locator("#answer", has_text="not saved").wait_for()
        page.keyboard.press("Escape")
        press(page, "x")
        assert len([f for f in served.record.findings if f.stands]) == len(before) - 1
        press(page, "u")
        page.locator("#card .value", has_text="12.4 V").wait_for()
        page.keyboard.press("s")
        page.locator("#typing").fill("battery reads twelve point five volts\nhorn not working")
        press(page, "Control+Enter")
        page.locator("#list button", has_text="12.5 V and 1 more").click()
        page.locator("#card .value", has_text="not working").wait_for()
        page.keyboard.press("n")
        page.locator("#typing").fill("measured again")
        press(page, "Control+Enter")
        page.locator("#card", has_text="measured again").wait_for()
        page.locator("#card .picture").first.wait_for()
        page.keyboard.press("m")
        page.locator("#where").select_option(label="no finding")
        press(page, "Enter")
    assert [each.text for each in served.record.remarks][-1] == "measured again"
    assert served.decided()[-3:] == [Decided.CORRECTED, Decided.REMARKED, Decided.MOVED]
    assert served.faults == []


def test_two_people_do_not_overwrite_each_other(served: Served, browser: Browser) -> None:
    with served.page(browser) as page:
        first = exchanges_of(served.record)
        shown = page.locator("#list button[aria-current]").get_attribute("data-item")
        other = served.shop.reviewing(served.key, "B. Brown")
        mine = next(each for each in first if each.id == shown)
        other.nothing(mine.id, mine.state)
        page.keyboard.press("1")
        page.locator("#wrong", has_text="B. Brown decided about this meanwhile").wait_for()
        assert page.locator("#list button[aria-current]").get_attribute("data-item") == shown
        page.locator("#card", has_text="nothing to take by B. Brown").first.wait_for()
    assert served.decided() == [Decided.NOTHING]


def test_what_the_browser_will_not_play_is_not_skipped(served: Served, browser: Browser) -> None:
    with served.page(browser) as page:
        page.add_init_script(
            "HTMLMediaElement.prototype.play = () => Promise.reject(new DOMException('', 'NotAllowedError'))"
        )
        page.reload()
        page.wait_for_selector("html[data-ready]")
        was = page.locator("#list button[aria-current]").get_attribute("data-item")
        page.keyboard.press("r")
        page.locator("#told", has_text="press R again").wait_for()
        assert page.locator("#list button[aria-current]").get_attribute("data-item") == was
        assert page.locator(".play button").first.is_visible()


def test_it_is_heard(served: Served, browser: Browser) -> None:
    with served.page(browser) as page:
        page.keyboard.press("Shift+R")
        page.wait_for_timeout(400)
        heard = page.evaluate(
            "() => { const s = document.getElementById('sound'); return [s.currentTime, s.playbackRate, s.error]; }"
        )
        assert heard[0] > 0
        assert heard[1:] == [0.6, None]
        drawn = page.evaluate(
            "() => { const c = document.querySelector('.shape'); const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data; let ink = 0; for (let i = 3; i < d.length; i += 4) ink += d[i] > 0; return ink; }"
        )
        assert drawn > 1000


@pytest.mark.uncounted
def test_anybody_can_use_it(served: Served, browser: Browser) -> None:
    """WCAG 2.2 AA by axe-core, what is unsure of contrast counted too; and seven to one.

    The window is as high as the page: of what is half scrolled away no contrast is measured.
    """
    with served.page(browser, viewport={"width": 1280, "height": 6000}) as page:
        page.locator("#card .offer").first.wait_for()
        for options in (STRICT, OUTDOORS):
            assert faults(page, options) == []
        page.keyboard.press("/")
        assert faults(page, STRICT) == []
        page.keyboard.press("Escape")
        page.locator("#to-vehicle").click()
        page.locator("#vehicle h2").first.wait_for()
        page.locator("#vehicle .history li").first.wait_for()
        for options in (STRICT, OUTDOORS):
            assert faults(page, options) == []
        page.locator("#to-search").click()
        page.locator("#by-words").fill("tyre")
        page.keyboard.press("Enter")
        page.locator("#search .go").first.wait_for()
        for options in (STRICT, OUTDOORS):
            assert faults(page, options) == []


def test_every_control_is_reached_and_seen_by_keyboard(served: Served, browser: Browser) -> None:
    with served.page(browser) as page:
        page.locator("#card .actions").wait_for()
        wanted = page.locator("button:visible, summary:visible, input:visible").count()
        page.evaluate("() => document.activeElement.blur()")
        reached: set[str] = set()
        for _ in range(wanted + 6):
            page.keyboard.press("Tab")
            at = page.evaluate(
                "() => { const e = document.activeElement; const s = getComputedStyle(e); const all = [...document.querySelectorAll('*')];"
                " return [all.indexOf(e), e.tagName, s.outlineStyle, parseFloat(s.outlineWidth)]; }"
            )
            if at[1] in {"BUTTON", "SUMMARY", "INPUT"}:
                reached.add(at[0])
                assert at[2] != "none", at
                assert at[3] >= 2, at
        assert len(reached) >= wanted


@pytest.mark.parametrize(("width", "height"), [(640, 450), (320, 640)])
def test_at_twice_the_size_nothing_is_cut_off(
    served: Served, browser: Browser, width: int, height: int
) -> None:
    """A window of 1280 at 200 % is one of 640; WCAG 1.4.10 asks for 320."""
    with served.page(browser, viewport={"width": width, "height": height}) as page:
        page.locator("#card .actions").wait_for()
        over = page.evaluate("() => [document.documentElement.scrollWidth, innerWidth]")
        assert over[0] <= over[1]


def test_with_colours_of_the_readers_own_everything_shows(served: Served, browser: Browser) -> None:
    with served.page(browser, forced_colors="active") as page:
        page.locator("#list button", has_text="axle nut").click()
        page.locator("#card .finding").first.wait_for()
        seen = page.evaluate(
            "() => [getComputedStyle(document.querySelector('.taken .offer')).borderLeftWidth,"
            " getComputedStyle(document.querySelector('.stub button[aria-current]')).borderLeftWidth]"
        )
        assert seen == ["5px", "5px"]


def test_touch_alone_is_enough(served: Served, browser: Browser) -> None:
    with served.page(browser, has_touch=True, viewport={"width": 390, "height": 844}) as page:
        with saving(page):
            page.locator("#card .offer").first.tap()
        with saving(page):
            page.locator("#card .actions button", has_text="not said").tap()
    assert served.decided() == [Decided.ADDED, Decided.NOTHING]


def test_nothing_of_it_is_given_to_whom_it_does_not_know(served: Served) -> None:
    host = served.address.removeprefix("http://")
    with TestClient(build([], served.keys, hosts=(host,))) as _:
        pass
    import urllib.error
    import urllib.request

    clip = next(u.clip for u in served.record.utterances if u.clip)
    for path in ("/review/sheet", "/review/inspections", f"/media/clip/{clip}", "/review/search"):
        with pytest.raises(urllib.error.HTTPError, match="401"):
            urllib.request.urlopen(served.address + path)
    with urllib.request.urlopen(served.address + "/") as shell:
        assert b"Tidewell" not in shell.read()


HOSTILE: tuple[object, ...] = (
    b"", b"[]", b'{"a":' + b"[" * 4000, b"\xff", {}, {"verb": "accept"}, {"verb": "nope"},
    {"verb": ["accept"]}, {"verb": "take", "text": "\x00\x1b[2J"}, {"verb": "take", "text": "\ud800"},
    {"verb": "take", "text": "rear " * 300}, {"verb": "take", "text": "horn\n" * 50},
    {"verb": "choose", "mark": "none"}, {"verb": "remark", "text": " "}, {"seen": "0" * 16},
    {"inspection": "1' OR 1=1"}, {"inspection": {"a": 1}}, {"item": 5},
)  # fmt: skip


def test_what_no_page_would_send_changes_nothing(
    tmp_path: Path, demo_record: tuple[Path, str], language: InspectionLanguage
) -> None:
    shutil.copytree(demo_record[0], tmp_path / "record")
    host, keys = "127.0.0.1:8765", Keys(time.monotonic)
    origin = {"origin": f"http://{host}"}
    with Workshop.open(tmp_path / "record", language=language) as shop:
        hand, sights = OneHand(shop), Sights(tmp_path / "record", shop.now().date())
        app = build([review_face(hand, sights, demo_record[1])], keys, hosts=(host,))
        with TestClient(app, base_url=f"http://{host}", raise_server_exceptions=False) as client:
            entered = client.post("/enter", content=keys.code(Trust.DESK), headers=origin)
            headers = origin | {"x-fieldlog-token": entered.json()["token"]}
            first = client.get("/review/sheet").json()["first"]
            rows = shop.store.inspection_record(demo_record[1]).rows
            for what in HOSTILE:
                body = what
                if isinstance(what, dict):
                    body = json.dumps(
                        {"item": first["id"], "seen": first["seen"], "verb": "accept"} | what
                    )
                answer = client.post("/review/decide", content=body, headers=headers)  # type: ignore[arg-type]
                assert answer.status_code in {400, 409}, (what, answer.text)
            for words in (
                "12.6",
                "front-left",
                "O'Brien",
                '"',
                "AND",
                "*",
                "%",
                "_",
                "\\",
                " ",
                "\x00",
            ):
                found = client.get("/review/search", params={"words": words})
                assert found.status_code == 200
            for asked in ("until=9999-12-31", "since=0001-01-01", "since=x", "verdict=x"):
                assert client.get(f"/review/search?{asked}").status_code == 400
            for path in ("clip/..%2ffieldlog.db", f"clip/{'0' * 64}.db", f"photo/{'0' * 64}.jpg"):
                assert client.get(f"/media/{path}").status_code == 404
            assert shop.store.inspection_record(demo_record[1]).rows == rows
        hand.close()
        sights.close()


@pytest.mark.parametrize(
    ("asked", "status", "told", "size"),
    [
        (None, 200, None, 1000),
        ("bytes=0-1", 206, "bytes 0-1/1000", 2),
        ("bytes=100-", 206, "bytes 100-999/1000", 900),
        ("bytes=-50", 206, "bytes 950-999/1000", 50),
        ("bytes=-5000", 206, "bytes 0-999/1000", 1000),
        ("bytes=990-5000", 206, "bytes 990-999/1000", 10),
        ("bytes=1000-", 416, "bytes */1000", 0),
        ("bytes=5-2", 416, "bytes */1000", 0),
        ("bytes=-0", 416, "bytes */1000", 0),
        ("bytes=0-1,5-6", 200, None, 1000),
        ("bytes=-", 200, None, 1000),
        ("lines=1-2", 200, None, 1000),
        ("bytes=٣-", 200, None, 1000),
    ],
)
def test_a_range_of_a_clip(asked: str | None, status: int, told: str | None, size: int) -> None:
    answer = ranged(bytes(1000), "audio/flac", asked)
    assert answer.status_code == status
    assert answer.headers.get("content-range") == told
    assert answer.headers["accept-ranges"] == "bytes"
    assert len(bytes(answer.body)) == size
