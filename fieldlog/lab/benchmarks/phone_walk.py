"""The whole demo inspection spoken into a phone's page in a real Chromium, with photos, and the network gone for a while.

The browser's microphone is a file, its camera a test picture. The session clock is the demo's: this machine's
clock stands as far behind the phone's as the demo is long ago, so that every instant in the record goes through
the clock that was measured over the line.
"""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from fieldlog.audio.clip import RATE, SoundFlag
from fieldlog.audio.files import open_audio
from fieldlog.audio.health import Notice
from fieldlog.audio.recorder import Recorder, stream_name
from fieldlog.errors import UsageError
from fieldlog.lab.benchmarks.phone_person import Holder
from fieldlog.lab.live_session.scripted import differences, held_against
from fieldlog.serve.app import OneHand
from fieldlog.serve.phone.running import PhoneDesk, phone_serving, place_for
from fieldlog.serve.phone.shed import LiveByOneHand
from fieldlog.serve.phone.source import PhoneSource
from fieldlog.shop.demo import Manifest, begin, read_manifest
from fieldlog.shop.ears import Ears
from fieldlog.shop.happened import understood_by
from fieldlog.shop.live import Told, listen
from fieldlog.shop.workshop import Workshop
from fieldlog.store.records import InspectionRecord

if TYPE_CHECKING:
    from playwright.sync_api import BrowserContext, Page

_FLAGS = (
    "--no-sandbox", "--headless=new", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream",
)  # fmt: skip
_BEHIND_S = 60.0
"""Of silence behind each recording: a microphone does not end."""
_PRE_ROLL_S = 0.25
"""An utterance begins so much before its first sound, about."""


@dataclass
class PhoneWalk:
    """What a walk came to."""

    deviations: Sequence[str] = ()
    notices: list[Notice] = field(default_factory=list)
    told: list[tuple[str, Told]] = field(default_factory=list)
    holes: list[str] = field(default_factory=list)
    """What was asked about or less sure because the browser dropped sound of its own file, with the flags."""
    findings: int = 0
    photos: int = 0
    answered: list[str] = field(default_factory=list)
    """What whoever holds the phone pressed or typed in answer."""
    cut_s: float = 0.0
    behind_s: float = 0.0
    """How far the session clock is behind this machine's."""
    lasted_s: float = 0.0


@dataclass
class _Shift:
    """The session clock: this machine's, moved to when the demo was."""

    behind_s: float = 0.0

    def now(self) -> float:
        return time.time() - self.behind_s


def walk(
    media: Path, folder: Path, ears: Ears, *, cut_s: float = 8.0, parts: int | None = None
) -> PhoneWalk:
    """Walk the demo through the page; ``cut_s``: the network is gone for so long in each part.

    ``parts``: only the first so many recordings. Raises ``UsageError`` where no browser is installed.
    """
    began = time.monotonic()
    manifest = read_manifest(media)
    manifest["parts"] = manifest["parts"][:parts]
    last_s = manifest["parts"][-1]["begins_s"] + 600.0
    manifest["photos"] = [each for each in manifest["photos"] if each["at_s"] < last_s]
    start = datetime.fromisoformat(manifest["inspection"]["start"]).astimezone(UTC)
    result, shift = PhoneWalk(cut_s=cut_s), _Shift()
    with Workshop.open(folder / "record") as shop:
        head = begin(shop, manifest)
        inspecting = shop.inspecting(head.id, ears)
        hand, source = OneHand(shop), PhoneSource()
        place = place_for(folder / "keys", None, 0)
        streams = folder / "streams"
        with phone_serving(
            place, folder / "keys", hand, inspecting, source, streams=streams,
            notify=lambda line: None, knocked=lambda asked: None, now=shift.now,
        ) as desk:  # fmt: skip
            current = [""]
            live = LiveByOneHand(inspecting, hand)

            def run() -> None:
                with Recorder(streams, stream_name(start)) as recorder:
                    for happening in listen(source, live, recorder):
                        if isinstance(happening, Notice):
                            result.notices.append(happening)
                        elif isinstance(happening, Told):
                            result.told.append((current[0], happening))

            thread = threading.Thread(target=run, daemon=True)
            thread.start()
            cookies: list[Any] = []
            for part in manifest["parts"]:
                current[0] = part["file"]
                shots = [
                    each["at_s"] - part["begins_s"]
                    for each in manifest["photos"]
                    if 0 <= each["at_s"] - part["begins_s"] < 500
                ]
                wav = _as_wav(media / part["file"], folder)
                with _page(wav, cookies) as (context, page):
                    _come_in(page, desk)
                    at = start.timestamp() + float(part["begins_s"])
                    played_from = _speak(page, shift, at, part, result)
                    lasts_s = _lasts_s(wav)
                    _do(context, page, played_from, part, lasts_s, shots, result)
                    cookies[:] = context.cookies()
                    _until_sent(page)
            source.stop()
            thread.join(60)
            live.finish(streams)
        hand.close()
        record = inspecting.record
        result.deviations = _against(record, manifest)
        result.holes = [
            f"{understood_by(told.events).text!r} ({', '.join(sorted(told.spoken.clip.flags))})"
            for _, told in result.told
            if told.spoken.clip.flags & {SoundFlag.OVERFLOW, SoundFlag.GAP}
        ]
        result.findings = sum(each.stands for each in record.findings)
        result.photos = len(record.photos)
    result.lasted_s = time.monotonic() - began
    return result


def _speak(page: Page, shift: _Shift, at: float, part: Manifest, result: PhoneWalk) -> float:
    """Have the page listen, as from the instant ``at``; when (by this machine's clock) the sound began."""
    shift.behind_s = result.behind_s = time.time() - at
    page.reload()  # it measures the clock anew; only then is it listened to
    page.locator("#listen").wait_for(state="visible")
    _until(lambda: "Clock" in page.locator("#clock").inner_text(), 20)
    page.locator("#photo").click()
    page.locator("#shut").wait_for(state="visible")
    page.locator("#listen").click()
    heard: list[Told] = []

    def first() -> bool:
        heard[:] = [told for file, told in result.told if file == part["file"]][:1]
        return bool(heard)

    if not _until(first, 30):
        raise UsageError(f"nothing of {part['file']} was heard")
    spoken = heard[0].spoken.began.timestamp() + _PRE_ROLL_S
    return spoken + shift.behind_s - float(part["utterances"][0]["start_s"])


def _lasts_s(wav: Path) -> float:
    import soundfile

    return float(soundfile.info(wav).duration) - _BEHIND_S


def _do(
    context: BrowserContext,
    page: Page,
    began: float,
    part: Manifest,
    lasts_s: float,
    shots: Sequence[float],
    result: PhoneWalk,
) -> None:
    """Photos at ``shots`` (seconds of the recording), the network gone once in the middle, and answers."""
    for shot in shots:  # by the page's own timers: a busy machine's hand would come late
        page.evaluate(_CLICK, max(0.0, 1000 * (began + shot - time.time())))
    cut_s, holder, seen = result.cut_s, Holder(part), 0
    doing = [(lasts_s * 0.45, True), (lasts_s * 0.45 + cut_s, False)] if cut_s else []
    quiet_s = 0.0
    while (now_s := time.time() - began) < lasts_s + _BEHIND_S and quiet_s < _LISTENS_S:
        if doing and now_s >= doing[0][0]:
            context.set_offline(doing.pop(0)[1])
        fresh = [each for file, each in result.told if file == part["file"]][seen:]
        seen += len(fresh)
        for told in fresh:
            at_s = told.spoken.began.timestamp() + _PRE_ROLL_S + result.behind_s - began
            holder.told(told, at_s, now_s)
        for line, what in holder.due(now_s):
            holder.answers(page, line, what)
        over = now_s > lasts_s + 2.0 and not fresh and not holder.waits and not doing
        quiet_s = quiet_s + _LOOKS_S if over else 0.0
        page.wait_for_timeout(1000 * _LOOKS_S)
    result.answered += holder.answered


_LOOKS_S = 0.1
_LISTENS_S = 3.0
_CLICK = "(ms) => { setTimeout(() => document.getElementById('photo').click(), ms); }"


def _until_sent(page: Page) -> None:
    page.locator("#listen").click()
    if not _until(lambda: page.locator("#kept").inner_text() == "", 60):
        raise UsageError(f"the page still keeps: {page.locator('#kept').inner_text()}")
    time.sleep(3.0)  # the last utterance ends by itself, and the photos are placed


def _come_in(page: Page, desk: PhoneDesk) -> None:
    page.goto(desk.place.url)
    if _until(lambda: page.locator("#listen").is_visible(), 3):
        return
    page.goto("about:blank")
    page.goto(desk.invite())
    page.locator("#digits").wait_for(state="visible")
    desk.pairing.allow(page.locator("#digits").inner_text())
    page.locator("#listen").wait_for(state="visible")


@contextmanager
def _page(wav: Path, cookies: Sequence[Any]) -> Iterator[tuple[BrowserContext, Page]]:
    where = shutil.which("chromium") or shutil.which("google-chrome")
    if where is None:
        raise UsageError("no Chromium is installed", todo="python -m tests.system")
    from playwright.sync_api import sync_playwright

    played = f"--use-file-for-fake-audio-capture={wav}%noloop"
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=where, args=[*_FLAGS, played])
        context = browser.new_context(ignore_https_errors=True)
        if cookies:
            context.add_cookies(cookies)
        yield context, context.new_page()
        browser.close()


def _as_wav(path: Path, folder: Path) -> Path:
    import soundfile

    with open_audio(path) as audio:
        sound = np.concatenate(list(audio.blocks(1.0)))
    wav = folder / f"{path.stem}.wav"
    soundfile.write(
        wav, np.concatenate([sound, np.zeros(round(_BEHIND_S * RATE))]), RATE, subtype="PCM_16"
    )
    return wav


def _against(record: InspectionRecord, manifest: Manifest) -> list[str]:
    """The record against what the manifest says must stand, and where its photos belong (pure)."""
    found, standing = differences(record, manifest), held_against(record, manifest)[0]
    shots = sorted(record.photos, key=lambda photo: photo.utc or record.inspection.started_at)
    for wanted, photo in zip_longest(manifest["photos"], shots):
        owner = None if wanted is None else standing.get(wanted["belongs_to"])
        at = None if photo is None or photo.attachment is None else photo.attachment.finding_id
        if owner is None or at != owner.id:
            found.append(
                f"photo {wanted and wanted['file']}: not at {wanted and wanted['belongs_to']}"
            )
    return found


def _until(true: Any, seconds: float) -> bool:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if true():
            return True
        time.sleep(0.05)
    return bool(true())
