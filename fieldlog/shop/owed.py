"""What a part that another package adds owes the rest, rule by rule, checked by running it."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import assert_never

import numpy as np

from fieldlog.added.entries import Adds, folder_of, named
from fieldlog.audio.clip import RATE, Clip
from fieldlog.errors import FieldlogError
from fieldlog.language.files import load_language
from fieldlog.limits.pack_faults import pack_faults
from fieldlog.limits.packs import pack_files, read_packs
from fieldlog.listeners.base import Listener
from fieldlog.listeners.choose import open_listener
from fieldlog.model.context import Context
from fieldlog.model.hearing import Hearing
from fieldlog.shop.workshop import Workshop

Kept = tuple[str, str | None]
"""A rule, and what is wrong with it; None where it is kept."""

_CHANCE = np.random.default_rng(7)
ODD = {
    "no samples": np.zeros(0),
    "one sample": np.full(1, 0.3),
    "no numbers": np.full(RATE, np.nan),
    "infinite samples": np.full(RATE, np.inf),
    "far too loud": _CHANCE.normal(0, 30.0, RATE),
    "constant": np.full(RATE, 0.5),
}
SAID = (
    "front brake pads two millimetres",
    "rear tread four thirty seconds",
    "left fork seal leaking",
    "remark owner says <script>alert(1)</script> & it pulls",
)


def checked(adds: Adds, name: str) -> Iterator[Kept]:
    """Every rule for the part called ``name``. Raises ``UsageError`` for a name that nobody has."""
    named(adds, name)
    match adds:
        case Adds.LISTENER:
            yield from _listener(name)
        case Adds.LIMITS:
            yield from _limits(name)
        case Adds.REPORT:
            yield from _report(name)
        case _:
            assert_never(adds)


def _fault(run: Callable[[], str | None]) -> str | None:
    try:
        return run()
    except FieldlogError as error:
        return str(error)


def _listener(name: str) -> Iterator[Kept]:
    language = load_language()
    opened: list[Listener] = []

    def load() -> None:
        opened.append(open_listener(name))
        opened[0].load(language)

    fault = _fault(load)
    yield "it loads for the inspection's language", fault
    if fault is not None:
        return
    listener = opened[0]

    def hears(samples: np.ndarray) -> Hearing:
        return listener.hear(Clip(samples.astype(np.float32)))

    def died(before: int) -> str | None:
        crashes = getattr(listener, "crashes", [])
        return crashes[-1].what if len(crashes) > before else None

    for kind, samples in ODD.items():
        before = len(getattr(listener, "crashes", []))

        def odd(samples: np.ndarray = samples, before: int = before) -> str | None:
            hears(samples)
            return died(before)

        yield f"sound of {kind} is an answer, no fault", _fault(odd)

    def silence() -> str | None:
        heard = hears(np.zeros(2 * RATE)).hypotheses
        return f"heard {heard[0].text!r}" if heard else None

    yield "nothing is heard in silence", _fault(silence)

    def plain() -> str | None:
        for hypothesis in hears(_CHANCE.normal(0, 0.05, 2 * RATE)).hypotheses:
            if hypothesis.text != " ".join(hypothesis.text.lower().split()):
                return f"{hypothesis.text!r} is not small words with single spaces"
        return None

    yield "what it hears are plain words", _fault(plain)

    def closes() -> None:
        listener.close()
        listener.close()

    yield "closing it twice does no harm", _fault(closes)


def _limits(name: str) -> Iterator[Kept]:
    def read() -> str | None:
        files = pack_files(folder_of(named(Adds.LIMITS, name)))
        if not files:
            return "its folder holds no *.toml"
        faults = pack_faults(read_packs(files), load_language().catalogue)
        return "; ".join(faults) or None

    yield "its packs are read without a fault and speak of the catalogue's components", _fault(read)


def _report(name: str) -> Iterator[Kept]:
    with (
        tempfile.TemporaryDirectory(prefix="fieldlog-owed-") as scratch,
        Workshop.open(Path(scratch, "record")) as shop,
    ):
        inspection = shop.inspecting(shop.begin("<b>grey twin</b>", Context("GB")).id)
        for words in SAID:
            inspection.type(words)
        written: list[str] = []

        def write() -> None:
            files = shop.report("last", Path(scratch, "out"), (name,)).files
            written.append(files[0].read_text(encoding="utf-8"))

        fault = _fault(write)
        yield "it prints an inspection", fault
        if fault is not None:
            return
        page = written[0]
        record = shop.store.inspection_record("last")
    shown = re.sub(r"<(script|style)\b.*?</\1>|<[^>]*>", " ", page, flags=re.DOTALL)
    for each in record.findings:
        what = each.finding.component
        yield f"the finding {what!r} is in it", None if what in shown else "it is not"
    gates = {
        each.verdict.gate.limit.source
        for each in record.findings
        if each.verdict and each.verdict.gate
    }
    missing = [each for each in gates if each not in shown and each.split(",")[0] not in shown]
    yield "each verdict names its source", f"{missing[0]!r} is not in it" if missing else None
    unescaped = "<b>grey" in page or "<script>alert" in page
    yield "what was said is text, never markup", "it is taken as markup" if unescaped else None
    outside = re.search(r"""(?:src|href)\s*=\s*["']?\s*(?:https?:)?//""", page)
    yield "it needs nothing from elsewhere", f"it asks for {outside[0]!r}" if outside else None
    calls = re.search(r"\bsafe\b", shown, re.IGNORECASE)
    yield "it never says safe", "it does" if calls else None
