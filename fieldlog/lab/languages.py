"""``python -m fieldlog.lab language``: what another language comes to, typed and heard."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import click
import numpy as np
import soundfile
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.doubt.files import rules_for
from fieldlog.lab.benchmarks.calibrate_evidence import hear_by_many, read_lines, write_lines
from fieldlog.lab.languages_heard import as_page, cases, decision_file
from fieldlog.language.contract import told_findings
from fieldlog.language.other import OtherLanguage
from fieldlog.language.tongues import language_of
from fieldlog.listeners.whisper.listener import WhisperListener
from fieldlog.model.understanding import Decision
from fieldlog.shop.other_voice import OtherVoice

PHRASES = Path(__file__).resolve().parents[2] / "tests" / "data"
_MARGIN = np.zeros(RATE // 4, np.float32)


@click.command()
@click.argument("code", default="de")
@click.option(
    "--evidence",
    type=click.Path(path_type=Path),
    help="What was heard, and goes on to be, a line each.",
)
@click.option("--limit", type=int, help="Hear so many takes at most.")
@click.option("--processes", type=click.IntRange(min=1), default=1, show_default=True)
@click.option(
    "--out", type=click.Path(path_type=Path), help="Write the language's own levels there."
)
@click.option("--page", type=click.Path(path_type=Path), help="Write what was heard there.")
@click.option("--date", default="", help="Date written into the levels.")
@click.option("--demo", type=click.Path(path_type=Path), help="Write the demo's sound there.")
def language(
    code: str,
    evidence: Path | None,
    limit: int | None,
    processes: int,
    out: Path | None,
    page: Path | None,
    date: str,
    demo: Path | None,
) -> None:
    """Numbers against an outside library, what is told read again, and what is heard.

    \b
    Examples:
      python -m fieldlog.lab language de
      python -m fieldlog.lab language de --evidence german.jsonl --processes 2 --out grammars/de/doubt.toml
      python -m fieldlog.lab language de --evidence german.jsonl --limit 0 --page docs/hearing/german.md
      python -m fieldlog.lab language de --demo demo_media/de
    """
    spoken = language_of(code)
    if not isinstance(spoken, OtherLanguage):
        raise click.BadParameter("the reference language needs none of this")
    if demo is not None:
        _demo(spoken, demo)
    elif evidence is not None:
        if limit != 0:
            _heard(spoken, evidence, limit, processes)
        lines = sorted(read_lines(evidence), key=lambda line: (line.part, line.id, line.cell))
        if out is not None:
            out.write_text(decision_file(lines, spoken, evidence, date), encoding="utf-8")
        if page is not None:
            page.write_text(as_page(lines, spoken, rules_for(spoken)), encoding="utf-8")
    else:
        _typed(spoken)


def _typed(spoken: OtherLanguage) -> None:
    from num2words import num2words

    wrong = [
        number
        for number in range(1, 10_000)
        if [
            one.quantity.value
            for one in spoken.breath(
                f"{spoken.told.said.components['odometer']} {num2words(number, lang=spoken.tongue.code)} "
                f"{spoken.tongue.written['km']}"
            ).whole.offered
            if one.quantity
        ]
        != [number]
    ]
    click.echo(
        f"numbers 1 to 9,999 said as num2words says them: {len(wrong)} of 9,999 wrong {wrong[:5]}"
    )
    count, lost = 0, []
    for one in told_findings(spoken):
        count += 1
        said = spoken.breath(spoken.told.finding(one)).whole
        if said.finding is None or said.finding.meaning != one.meaning:
            lost.append(spoken.told.finding(one))
    click.echo(f"findings told and read again: {len(lost)} of {count} lost {lost[:5]}")


# --- heard -----------------------------------------------------------------------------------


def _phrases(spoken: OtherLanguage) -> list[str]:
    lines = (_data(spoken) / "phrases.tsv").read_text(encoding="utf-8")
    rows = [line.split("\t")[0] for line in lines.splitlines() if line and line[0] != "#"]
    whole = [(row, spoken.breath(row).whole) for row in rows]
    return [row for row, one in whole if one.decision is Decision.ACCEPT and one.finding]


def _data(spoken: OtherLanguage) -> Path:
    return PHRASES / _FOLDER[spoken.tongue.code]


_FOLDER = {"de": "german"}


def _heard(spoken: OtherLanguage, evidence: Path, limit: int | None, processes: int) -> None:
    """Hear every take that is not in ``evidence`` yet."""
    evidence.parent.mkdir(parents=True, exist_ok=True)
    done = {(line.id, line.cell) for line in read_lines(evidence)} if evidence.is_file() else set()
    wanted = list(cases(spoken, _data(spoken), _phrases(spoken)))
    if limit is not None:
        wanted = wanted[:: max(1, len(wanted) // limit)][:limit]
    left = [case for case in wanted if (case.id, case.cell) not in done]
    lines = hear_by_many(left, WhisperListener, partial(language_of, spoken.tongue.code), processes)
    with click.progressbar(length=len(left), label=evidence.name) as bar:
        write_lines(lines, evidence, lambda count: bar.update(1))


def _said(text: str, code: str) -> NDArray[np.float32]:
    with OtherVoice() as voice:
        sound = voice.say(text, code)
    if sound is None:
        raise click.ClickException("eSpeak NG says nothing: pip install 'fieldlog[speak]'")
    return np.concatenate([_MARGIN, sound, _MARGIN]).astype(np.float32)


def _demo(spoken: OtherLanguage, folder: Path) -> None:
    """The demo's sentences as sound, a file each."""
    lines = (folder / "sentences.txt").read_text(encoding="utf-8").splitlines()
    for number, text in enumerate((line for line in lines if line.strip()), start=1):
        sound = _said(text, spoken.tongue.code)
        soundfile.write(folder / f"{number:02d}.ogg", sound, RATE, format="OGG", subtype="OPUS")
        click.echo(f"{number:02d}.ogg: {text}")
