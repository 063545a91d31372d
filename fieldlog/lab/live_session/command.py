"""``python -m fieldlog.lab delay`` and ``endurance``: how long a person waits, and for how many hours."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click
import numpy as np

if TYPE_CHECKING:
    from fieldlog.lab.live_session.bench import Stretch, Waited


@click.command("delay")
@click.argument("sounds", nargs=-1, type=click.Path(path_type=Path))
@click.option("--say", type=click.Choice(["tones", "values"]), default="tones", show_default=True)
@click.option(
    "--set",
    "speech_set",
    type=click.Path(path_type=Path, file_okay=False),
    help="Phrases of this speech set's part test instead, by its voices, in its rooms.",
)
@click.option("--phrases", type=int, default=60, show_default=True, help="So many of the set.")
@click.option(
    "--listener", type=click.Choice(["whisper", "two-ears"]), default="whisper", show_default=True
)
def delay(
    sounds: tuple[Path, ...], say: str, speech_set: Path | None, phrases: int, listener: str
) -> None:
    """Time from the end of speech to the first sample of the tone, spoken in real time.

    On the demo's recordings (or SOUNDS, or phrases drawn from a speech set): the listener, read-back, echo canceller and recording on, blocks of 20 ms as from
    a microphone. The end of speech is the end of the last frame that is voice; the tone's first sample is when
    the loudspeaker fetches it (every 10 ms), so what the device itself takes to play is not in it. What waits behind
    words that are still being said is left out: a recording does not wait for its answers. So is what is told of
    half a phrase whose speaker pauses to think, as the demo's manifest says: that is no end of speech.

    \b
    Examples:
      python -m fieldlog.lab delay
      python -m fieldlog.lab delay --set SET
    """
    import tempfile

    from fieldlog import config
    from fieldlog.cli.ears import open_ears
    from fieldlog.lab.live_session.bench import delays
    from fieldlog.lab.live_session.strung import strung
    from fieldlog.language.files import load_language
    from fieldlog.shop.demo import read_manifest
    from fieldlog.shop.saying import Say

    media = config.demo_media()
    said: dict[Path, Sequence[tuple[float, float]]] = {
        media / part["file"]: [(each["start_s"], each["end_s"]) for each in part["utterances"]]
        for part in read_manifest(media)["parts"]
    }
    with (
        tempfile.TemporaryDirectory(prefix="fieldlog-delay-") as folder,
        open_ears(load_language(), listener, None) as ears,
    ):
        if speech_set is not None:
            said = dict(strung(speech_set, phrases, Path(folder)))
        found = [
            each
            for path in sounds or tuple(said)
            for each in delays(path, ears, Say(say), said.get(path, ()))
        ]
    for text in breakdown(found):
        click.echo(text)


def breakdown(found: Sequence[Waited]) -> list[str]:
    """What a person waits for, stage by stage, and the slowest (pure)."""
    from fieldlog.lab.live_session.bench import STAGES

    paused = [each for each in found if each.goes_on]
    found = [each for each in found if not each.goes_on]
    waits = np.array([each.delay_s for each in found])
    lines = [
        f"{len(found)} utterances: median {np.median(waits):.2f} s, p95 {np.quantile(waits, 0.95):.2f} s, "
        f"most {waits.max():.2f} s from the end of speech to the first sample",
        f"{len(paused)} more were told of in a pause within a phrase, and count for nothing",
        "",
        "| stage | median | p95 | most |",
        "|---|---|---|---|",
    ]
    for name in (*STAGES, "ahead_s"):
        took = np.array([getattr(each, name) for each in found])
        row = " | ".join(
            f"{one:.2f} s" for one in (np.median(took), np.quantile(took, 0.95), took.max())
        )
        lines.append(f"| {STAGE_NAMES[name]} | {row} |")
    lines += [
        "",
        f"| slowest | {' | '.join(STAGE_NAMES[name] for name in STAGES)} | led to |",
        "|---" * 8 + "|",
    ]
    for each in sorted(found, key=lambda one: -one.delay_s)[:8]:
        row = " | ".join(f"{getattr(each, name):.2f}" for name in STAGES)
        lines.append(f"| {each.delay_s:.2f} s | {row} | {', '.join(each.events)} |")
    return lines


STAGE_NAMES = {
    "fades_s": "voice fades",
    "silence_s": "silence lasts",
    "queued_s": "until it is taken",
    "again_s": "heard behind its end",
    "record_s": "judged, in the record",
    "sounds_s": "first sample",
    "ahead_s": "(heard ahead, within the silence)",
}


@click.command("endurance")
@click.option("--hours", type=float, default=2.0, show_default=True)
@click.option("--pause", type=float, default=60.0, show_default=True, help="Silence between, s.")
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="Write the page here.")
def endurance(hours: float, pause: float, out: Path | None) -> None:
    """Memory and latency over simulated hours, everything on: a line for every ten minutes.

    The demo's recordings one after the other with silence between, as fast as they are heard.

    \b
    Example:
      python -m fieldlog.lab endurance --hours 0.5
    """
    from fieldlog import config
    from fieldlog.audio.files import open_audio
    from fieldlog.cli.ears import open_ears
    from fieldlog.lab.live_session.bench import endure
    from fieldlog.language.files import load_language

    sounds = []
    for path in sorted(config.demo_media().glob("*.flac")):
        with open_audio(path) as audio:
            sounds.append(np.concatenate(list(audio.blocks(1.0))))
    rows: list[Stretch] = []

    def tell(row: Stretch) -> None:
        rows.append(row)
        click.echo(line(row))

    with open_ears(load_language(), "whisper", None) as ears:
        endure(sounds, hours, ears, tell, pause_s=pause)
    if out is not None:
        out.write_text(page(rows, hours, pause), encoding="utf-8")


@click.command("session")
@click.option(
    "--keep",
    type=click.Path(path_type=Path, file_okay=False),
    help="Keep it all here, and go on behind the sessions that are done.",
)
@click.option(
    "--one", is_flag=True, help="With --keep: play one session now, the next one another time."
)
@click.option(
    "--simulated", is_flag=True, help="On a clock of its own, which waits for this machine."
)
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="Write the page here.")
def session(keep: Path | None, one: bool, simulated: bool, out: Path | None) -> None:
    """The whole demo inspection spoken into `fieldlog listen` in real time, through a microphone that is none.

    With read-back and its echo in the microphone, the demo's own noise and breaths of several findings; the power
    goes out within a phrase, the microphone is pulled out in a pause and within a phrase, something else is said
    between a question and its answer, and twice somebody talks into a read-back. Whoever speaks listens, and
    answers what the tool asks from what they meant to say. Needs flite for those answers. Exit code 9
    where the findings that stand are not the manifest's.

    With --simulated a block of sound comes when all before it was heard and told, so that what comes out does not depend
    on how busy this machine is; in real time it may.

    It takes some six minutes; the power is out between its two sessions, and may stay so for as long as one likes.

    \b
    Examples:
      python -m fieldlog.lab session
      python -m fieldlog.lab session --keep DIR --one
      python -m fieldlog.lab session --simulated
    """
    import tempfile

    from fieldlog import config
    from fieldlog.cli.ears import open_ears
    from fieldlog.errors import PartialError
    from fieldlog.lab.live_session.account import account
    from fieldlog.lab.live_session.scripted import SESSIONS, differences, in_turn, scripts
    from fieldlog.lab.live_session.simulated import in_turn as on_a_clock
    from fieldlog.language.files import load_language
    from fieldlog.shop.demo import read_manifest
    from fieldlog.shop.workshop import Workshop

    media = config.demo_media()
    with tempfile.TemporaryDirectory(prefix="fieldlog-session-") as scratch:
        folder = keep or Path(scratch)
        store = folder / "record"
        if simulated:
            with open_ears(load_language(), "whisper", None) as ears:
                played = list(on_a_clock(scripts(media), folder, ears))
        else:
            played = list(in_turn(media, folder, one=one))
        for number, each in enumerate(played, start=1):
            click.echo(f"== session {number}\n{each.printed}", nl=False, err=True)
        if len(played) < SESSIONS:
            click.echo(f"{SESSIONS - len(played)} more; run it again", err=True)
            return
        with Workshop.open(store) as shop:
            record = shop.store.inspection_record("last")
            checked = shop.store.verify(record.inspection.id)
    wrong = [*differences(record, read_manifest(media)), *checked.faults]
    page = account(played, record, wrong, simulated=simulated)
    click.echo(page, nl=False)
    if out is not None:
        out.write_text(page, encoding="utf-8")
    if wrong:
        raise PartialError(f"the session differs in {len(wrong)} places", todo="read them above")


def line(row: Stretch) -> str:
    """One row of the page (pure)."""
    return (
        f"| {row.minutes:.0f} | {row.utterances} | {row.findings} | {row.resident_mb:.0f} MB | "
        f"{row.hearing_ms:.0f} ms | {row.worst_ms:.0f} ms | {row.processor_ms:.0f} ms | {row.machine_s:.0f} s |"
    )


def page(rows: list[Stretch], hours: float, pause: float) -> str:
    """The page (pure)."""
    head = (
        "# Hours on end\n\n"
        f"Printed by `python -m fieldlog.lab endurance --hours {hours:g} --pause {pause:g}`: the demo's recordings one "
        "after the other,\nsilence between, as fast as they are heard, with read-back's echo canceller and recording on. "
        "A row for every ten\nminutes of sound; where the machine took less than ten minutes for it, no queue grows.\n\n"
        "| minute | utterances | findings | resident | taking one, median | most | its processor time, median | machine |\n"
        "|---|---|---|---|---|---|---|---|\n"
    )
    return head + "\n".join(map(line, rows)) + "\n"
