"""``python -m fieldlog.lab life``: the life of an utterance, drawn from the calls that it really makes.

One finding is spoken and one typed into a workshop of their own while every call from one package
into another is noted; what the face, the service and hearing ask of others is the picture. So it
shows what ships, and ``tests/test_lab_life.py`` says when docs/life-of-an-utterance.svg does not.
"""

from __future__ import annotations

import difflib
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from html import escape
from itertools import islice
from pathlib import Path
from tempfile import TemporaryDirectory
from types import FrameType

import click

from fieldlog import Context, Event, Inspecting, Workshop, config
from fieldlog.audio.endpointer import utterances
from fieldlog.cli.event_lines import event_text
from fieldlog.doubt.decide import judge_for
from fieldlog.doubt.files import shipped_rules
from fieldlog.doubt.rules import policy_named
from fieldlog.listeners.replay import ReplayListener, clip_key
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.shop.conversation import utterances_of
from fieldlog.shop.demo import read_manifest
from fieldlog.shop.ears import Ears

FACE = "face"
"""Whoever drives the service: a command, the demo, a browser."""
DRIVING = (FACE, "shop", "hearing")
"""Whose calls are drawn one by one; what the others ask in turn stands below their lines."""
SPOKEN_OF_EVERYWHERE = frozenset({"model", "errors", "config"})
"""What stands below every package is of no account in the picture."""
SURE = {"margin": 8.0, "logprob": 0.0, "tail": 0.0, "bend": 0.0}
"""Evidence that nothing speaks against."""
NOW = datetime(2026, 5, 4, 8, 30, tzinfo=UTC)
TYPED, BEFORE = "rear pads one millimetre", "front tread four thirty seconds"


@dataclass(frozen=True, slots=True)
class Call:
    """One package asking another for something, by the name of what it asks; or telling it."""

    caller: str
    callee: str
    name: str


@dataclass(frozen=True, slots=True)
class Traced:
    """The calls of one utterance in the order of their first time, and who asks whom beneath."""

    calls: tuple[Call, ...]
    beneath: frozenset[tuple[str, str]]


# -- what is called ---------------------------------------------------------------------------------


def trace(take: Callable[[], Sequence[Event]], show: Callable[[Event], object]) -> Traced:
    """What ``take`` calls until it returns its events, and what showing those calls."""
    calls: dict[Call, None] = {}
    beneath: set[tuple[str, str]] = set()

    def entered(frame: FrameType, what: str, _: object) -> None:
        callee = _package(frame)
        if what != "call" or callee in {"", FACE}:
            return
        above = frame.f_back
        while above is not None and not _package(above):
            above = above.f_back
        caller = _package(above) if above is not None else ""
        name = _public_name(frame)
        if caller in {"", callee} or callee in SPOKEN_OF_EVERYWHERE:
            return
        if caller not in DRIVING:
            beneath.add((caller, callee))
        elif name:
            calls.setdefault(Call(caller, callee, name))

    with _profiled(entered):
        events = take()
    told = ", ".join(dict.fromkeys(type(event).__name__ for event in events))
    calls[Call("shop", FACE, told)] = None
    with _profiled(entered):
        for event in events:
            show(event)
    return Traced(tuple(calls), frozenset(beneath))


@contextmanager
def _profiled(entered: Callable[[FrameType, str, object], None]) -> Iterator[None]:
    before = sys.getprofile()
    sys.setprofile(entered)
    try:
        yield
    finally:
        sys.setprofile(before)


def _package(frame: FrameType) -> str:
    """The package of ours that a frame runs in, ``FACE`` for this module, "" for anybody else's."""
    name = str(frame.f_globals.get("__name__", ""))
    if name == __name__:
        return FACE
    return name.split(".")[1] if name.startswith("fieldlog.") else ""


def _public_name(frame: FrameType) -> str:
    """``Class.method`` or ``module.function``; "" for what is private, nameless or only looked up."""
    parts = frame.f_code.co_qualname.split(".<locals>.")
    name = parts[-1]
    if any(part.startswith(("_", "<")) for part in ".".join(parts).split(".")):
        return ""
    module = sys.modules[str(frame.f_globals["__name__"])]
    if "." not in name:
        return f"{module.__name__.rpartition('.')[2]}.{name}"
    owner, method = name.rsplit(".", 1)
    looked_up = isinstance(getattr(getattr(module, owner, None), method, None), property)
    return "" if looked_up else name


# -- two utterances ---------------------------------------------------------------------------------


def lives() -> tuple[Traced, Traced]:
    """The spoken one and the typed one.

    Of a recording of the demo the first utterance is taken, as soon as the second shows that it was
    whole. A listener plays back what the demo's manifest says of them: what a recogniser does inside
    is of no account here.
    """
    media = config.demo_media()
    part = read_manifest(media)["parts"][0]
    recording = media / part["file"]
    said = [each["words"] for each in part["utterances"]]
    answers = {
        clip_key(clip): Hearing("whisper", (Hypothesis(words, 0.0, SURE),), 0.0)
        for clip, words in zip(islice(utterances(recording), 2), said, strict=False)
    }
    with TemporaryDirectory() as folder, Workshop.open(folder, now=lambda: NOW) as shop:
        listener = ReplayListener(answers)
        listener.load(shop.language)
        judge = judge_for(shop.language, shipped_rules(), policy_named("balanced"))
        spoken, typed = (
            _begun(shop, ears) for ears in (Ears(shop.language, listener, judge), None)
        )

        coming = utterances_of(utterances(recording), spoken.conversation)

        def say() -> Sequence[Event]:
            return spoken.say(next(coming), recording.name)

        return trace(say, event_text), trace(lambda: typed.type(TYPED), event_text)


def _begun(shop: Workshop, ears: Ears | None) -> Inspecting:
    """An inspection in which something stands: what is loaded once is loaded, and told."""
    inspecting = shop.inspecting(shop.begin("roadster", Context("US-VA")).id, ears)
    for event in inspecting.type(BEFORE):
        event_text(event)
    return inspecting


# -- the picture ------------------------------------------------------------------------------------

BOTH, SPOKEN, TYPED_ONLY = "spoken and typed", "spoken only", "typed only"
INKS = {BOTH: "#1a1a1a", SPOKEN: "#1d5fa8", TYPED_ONLY: "#a4530f"}
_LANE, _ROW, _TOP, _LEFT = 128, 36, 104, 74


def rows(spoken: Sequence[Call], typed: Sequence[Call]) -> list[tuple[Call, str]]:
    """Both ways as one, each call with who makes it: where they meet they are one row."""
    found: list[tuple[Call, str]] = []
    matcher = difflib.SequenceMatcher(None, spoken, typed, autojunk=False)
    for kind, i, j, k, m in matcher.get_opcodes():
        if kind == "equal":
            found += [(call, BOTH) for call in spoken[i:j]]
        else:
            found += [(call, SPOKEN) for call in spoken[i:j]]
            found += [(call, TYPED_ONLY) for call in typed[k:m]]
    return found


def picture(spoken: Traced, typed: Traced) -> str:
    """The calls as one SVG: a line for each package, an arrow for each call, time downwards."""
    steps = rows(spoken.calls, typed.calls)
    lanes = list(dict.fromkeys(name for call, _ in steps for name in (call.caller, call.callee)))
    at = {name: _LEFT + _LANE * index for index, name in enumerate(lanes)}
    asked: dict[str, list[str]] = {name: [] for name in lanes}
    for caller, callee in sorted(spoken.beneath | typed.beneath):
        if caller in asked:
            asked[caller].append(callee)
    bottom = _TOP + _ROW * len(steps)
    deepest = max(len(names) for names in asked.values())
    width, height = _LEFT + _LANE * len(lanes), bottom + 40 + 17 * (deepest + 1)
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
        f'width="{width}" height="{height}" font-family="Helvetica, Arial, sans-serif" '
        'font-size="12">',
        f'<rect width="{width}" height="{height}" fill="#fffefb"/>',
        *_legend(),
    ]
    for name, x in at.items():
        lines += [
            f'<line x1="{x}" y1="{_TOP - 22}" x2="{x}" y2="{bottom}" stroke="#d5d1c4"/>',
            f'<rect x="{x - 52}" y="{_TOP - 50}" width="104" height="28" rx="4" fill="#ece8da"/>',
            _text(x, _TOP - 31, name, weight="bold", anchor="middle", size=13),
        ]
        if asked[name]:
            lines.append(_text(x, bottom + 24, "asks in turn", fill="#55534c", anchor="middle"))
        lines += [
            _text(x, bottom + 24 + 17 * row, callee, fill="#55534c", anchor="middle")
            for row, callee in enumerate(asked[name], start=1)
        ]
    for row, (call, who) in enumerate(steps):
        lines += _arrow(at[call.caller], at[call.callee], _TOP + _ROW * row + 22, call, INKS[who])
    return "\n".join([*lines, "</svg>", ""])


def _legend() -> Iterator[str]:
    yield _text(22, 24, "The life of an utterance: first calls, downwards", weight="bold", size=15)
    x = 560
    for who, ink in INKS.items():
        yield f'<line x1="{x}" y1="19" x2="{x + 26}" y2="19" stroke="{ink}" stroke-width="2"/>'
        yield _text(x + 34, 23, who, fill=ink)
        x += 170


def _arrow(start: int, end: int, y: int, call: Call, ink: str) -> Iterator[str]:
    way = 1 if end > start else -1
    dash = ' stroke-dasharray="5 3"' if call.callee == FACE else ""
    yield (
        f'<line x1="{start}" y1="{y}" x2="{end - way * 7}" y2="{y}" stroke="{ink}" '
        f'stroke-width="1.5"{dash}/>'
    )
    yield f'<path d="M{end} {y} l{-way * 8} -4 v8 z" fill="{ink}"/>'
    anchor = "start" if way > 0 else "end"
    yield _text(start + way * 6, y - 5, call.name, fill=ink, anchor=anchor)


def _text(
    x: int,
    y: int,
    words: str,
    *,
    fill: str = "#1a1a1a",
    anchor: str = "start",
    weight: str = "normal",
    size: int = 12,
) -> str:
    return (
        f'<text x="{x}" y="{y}" fill="{fill}" text-anchor="{anchor}" font-weight="{weight}" '
        f'font-size="{size}" paint-order="stroke" stroke="#fffefb" stroke-width="3">'
        f"{escape(words)}</text>"
    )


@click.command()
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    default=Path("docs/life-of-an-utterance.svg"),
    show_default=True,
    help="Where the picture goes.",
)
def life(out: Path) -> None:
    """Draw what a spoken and a typed finding call on their way into the record.

    The picture of docs/life-of-an-utterance.md; a test says when it is not current.

    \b
    Example:
      python -m fieldlog.lab life
    """
    spoken, typed = lives()
    for call, who in rows(spoken.calls, typed.calls):
        click.echo(f"{who:<17} {call.caller:>9} -> {call.callee:<10} {call.name}")
    out.write_text(picture(spoken, typed), encoding="utf-8")
    click.echo(f"drawn: {out}", err=True)
