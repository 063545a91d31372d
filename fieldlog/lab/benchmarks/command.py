"""``python -m fieldlog.lab hearing``, ``photos``, ``store`` and ``report``: what they print."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fieldlog.errors import UsageError
from fieldlog.lab.benchmarks.claim import claim, share

if TYPE_CHECKING:
    from fieldlog.lab.benchmarks.hearing import Row


def _beside(relative: str) -> Path | None:
    """Extra material in a folder ``shared`` beside the checkout, when there is one."""
    import fieldlog

    path = Path(fieldlog.__file__).resolve().parents[2] / "shared" / relative
    return path if path.exists() else None


@click.command()
@click.option("--orders", type=click.Path(path_type=Path), help="Folder of spoken orders.")
@click.option("--digits", type=click.Path(path_type=Path), help="Folder of spoken digits.")
@click.option("--no-digits", is_flag=True, help="Leave the digits out.")
@click.option("--inspection", type=click.Path(path_type=Path), help="Folder made by speech-set.")
@click.option("--part", default="test", help="Part of the inspection set: test or tune.")
@click.option("--noise", type=click.Path(path_type=Path), help="A recording of noise.")
@click.option("--vosk", "vosk_model", type=click.Path(path_type=Path), help="A Vosk model folder.")
@click.option("--model", type=click.Path(path_type=Path), help="Another CTranslate2 Whisper.")
@click.option("--only", multiple=True, help="Only the recognisers of this name (repeatable).")
@click.option(
    "--ratio", multiple=True, type=float, help="Noise ratios in dB (default: those of the targets)."
)
@click.option("--limit", type=int, help="Files per set, drawn with a fixed seed: a quick look.")
@click.option("--endpointed", is_flag=True, help="Cut each file with the endpointer first.")
@click.option("--policy", default="balanced", help="cautious, balanced or brisk.")
@click.option(
    "--set", "speech_set", type=click.Path(path_type=Path), help="An inspection speech set."
)
@click.option("--set-only", is_flag=True, help="Only the inspection speech set.")
@click.option("--docs", type=click.Path(path_type=Path), help="Write its tables and plots here.")
@click.option(
    "--answers",
    type=click.Path(path_type=Path, file_okay=False),
    help="Keep what was heard of the speech set here; an interrupted run goes on.",
)
@click.option(
    "--processes",
    type=click.IntRange(min=1),
    default=1,
    show_default=True,
    help="So many hear the speech set at the same time; times are then of a busy machine.",
)
@click.option("--wrong", is_flag=True, help="Name every file that was not right.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object per row.")
def hearing(
    orders: Path | None,
    digits: Path | None,
    no_digits: bool,
    inspection: Path | None,
    part: str,
    noise: Path | None,
    vosk_model: Path | None,
    model: Path | None,
    only: tuple[str, ...],
    ratio: tuple[float, ...],
    limit: int | None,
    endpointed: bool,
    policy: str,
    speech_set: Path | None,
    set_only: bool,
    docs: Path | None,
    answers: Path | None,
    processes: int,
    wrong: bool,
    as_json: bool,
) -> None:
    """Compare recognisers on spoken orders, digits and inspections, clean and with noise.

    Folders of orders, digits and noise left out are looked for in a folder "shared" beside the
    checkout; an inspection speech set is made by "python -m fieldlog.lab speech-set". Answers that are
    kept go with the recogniser's weights and the grammar: when these change, all is heard anew.

    \b
    Examples:
      python -m fieldlog.lab hearing --limit 30 --only whisper
      python -m fieldlog.lab hearing --set set --set-only --answers answers --docs docs/hearing
    """
    from fieldlog.cli.terminal import Terminal
    from fieldlog.doubt.rules import Policy
    from fieldlog.lab.benchmarks import hearing as measured
    from fieldlog.lab.benchmarks import recognisers as known
    from fieldlog.lab.benchmarks import recordings
    from fieldlog.lab.benchmarks.hearing_inspection import InspectionPlan

    orders = orders or _beside("speech/orders")
    digits = digits or _beside("speech/digits")
    noise = noise or _beside("speech/noise/kitchen.flac")
    sets = []
    for name, folder, reader in (
        ("orders", orders, recordings.orders),
        ("digits", digits, recordings.digits),
    ):
        if set_only or (name == "digits" and no_digits):
            continue
        if folder is None:
            click.echo(f"no {name}: name their folder with --{name}", err=True)
        else:
            sets.append(reader(folder))
    if inspection is not None:
        sets += recordings.inspection(inspection, part)
    if not sets and speech_set is None:
        raise UsageError("nothing to hear", where="hearing", todo="give --orders DIR")
    if noise is None and sets:
        click.echo("no noise: name a recording with --noise; clean rows only", err=True)
    if policy not in {each.value for each in Policy}:
        raise UsageError(
            f"no policy {policy!r}", where="--policy", todo="one of " + ", ".join(Policy)
        )
    compared = [known.Recogniser("whisper", known.WHISPER.target, model)]
    compared += [known.BUNDLED, known.POCKETSPHINX, known.NEAREST]
    if vosk_model is not None:
        compared.append(known.vosk(vosk_model))
    if only:
        names = [each.name for each in compared]
        unknown = [name for name in only if name not in names]
        if unknown:
            raise UsageError(
                f"no recogniser {unknown[0]!r} here",
                where="--only",
                todo=f"one of {', '.join(names)}",
            )
        compared = [each for each in compared if each.name in only]
    plan = measured.Plan(
        sets=tuple(sets),
        noise=noise,
        ratios=ratio,
        endpointed=endpointed,
        limit=limit,
        policy=Policy(policy),
    )

    def tell(name: str) -> None:
        click.echo(f"hearing with {name} ...", err=True)

    rows, absent = measured.compare(compared, plan, tell) if sets else ([], [])
    for each in absent:
        click.echo(f"{each.recogniser} left out: {each.reason}", err=True)
    if as_json:
        for row in rows:
            click.echo(json.dumps(asdict(row)))
    elif sets:
        _print(rows)
    if speech_set is not None:
        from fieldlog.lab.benchmarks import hearing_docs

        ratios = (None, *(ratio or (15.0, 10.0)))
        with Terminal.here().progress() as bar:
            task = bar.add_task("hearing", total=None)

            def step(name: str, done: int, of: int) -> None:
                if not of:
                    tell(name)
                bar.update(task, description=name, completed=done, total=of or None)

            shown = hearing_docs.inspect(
                compared,
                InspectionPlan(speech_set, ratios, limit, Policy(policy), answers, processes),
                docs,
                step,
            )
        for line in shown.as_json() if as_json else shown.as_text():
            click.echo(line)
    if wrong and not as_json:
        for row in rows:
            for line in row.wrong:
                click.echo(f"{row.recogniser} {row.speech} {_ratio(row.ratio_db)}  {line}")


@click.command()
@click.option("--files", type=int, default=5000, show_default=True, help="Files to scan.")
@click.option("--sessions", type=int, default=40, show_default=True, help="Invented sessions.")
@click.option("--scripted", type=int, default=20, show_default=True, help="Ordinary sessions.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def photos(files: int, sessions: int, scripted: int, as_json: bool) -> None:
    """Measure reading, aligning and attaching photos on files and sessions made for it.

    \b
    Example:
      python -m fieldlog.lab photos
    """
    import tempfile
    from datetime import UTC, datetime

    from fieldlog.lab.benchmarks import photos as measured

    with tempfile.TemporaryDirectory(prefix="fieldlog-photos-") as folder:
        scan = measured.measure_scan(Path(folder), files, datetime.now(UTC).date())
    align = measured.measure_alignment()
    large = measured.measure_accuracy(sessions)
    ordinary = measured.measure_ordinary(scripted)
    if as_json:
        figures = {
            "scan": asdict(scan),
            "align": asdict(align),
            "invented": asdict(large),
            "ordinary": asdict(ordinary),
        }
        click.echo(json.dumps(figures))
    else:
        measured.report(scan, align, large, ordinary, click.echo)


def _ratio(ratio_db: float | None) -> str:
    return "clean" if ratio_db is None else f"{ratio_db:g} dB"


def _print(rows: list[Row]) -> None:
    from rich.console import Console
    from rich.table import Table

    table = Table(title="Hearing: recognisers side by side")
    for heading in ("recogniser", "set", "noise"):
        table.add_column(heading)
    for heading in (
        "files",
        "all slots right",
        "silently wrong",
        "asked, right",
        "asked, wrong",
        "refused",
        "false accepts",
        "median ms",
        "p95 ms",
        "x real time",
        "peak MB",
    ):
        table.add_column(heading, justify="right")
    for row in rows:
        table.add_row(
            row.recogniser,
            row.speech,
            _ratio(row.ratio_db),
            str(row.files),
            share(row.right, row.files),
            claim(row.silently_wrong, row.files),
            share(row.asked_when_right, row.files),
            str(row.asked_when_wrong),
            str(row.refused),
            str(row.false_accepts),
            f"{row.median_ms:.0f}",
            f"{row.p95_ms:.0f}",
            f"{row.real_time_factor:.2f}",
            f"{row.memory_mb:.0f}",
        )
    Console(width=180).print(table)


@click.command("store")
@click.option("--findings", type=int, default=1_000_000, show_default=True, help="How many.")
@click.option("--rounds", type=int, default=50, show_default=True, help="Times each is timed.")
@click.option("--kills", type=int, default=0, help="Kill a saving process so many times.")
@click.option(
    "--keep",
    type=click.Path(path_type=Path, file_okay=False),
    help="Build in this folder and keep it; used again when it is there.",
)
@click.option("--verify", is_flag=True, help="Time how long it takes to verify, and nothing else.")
def record_store(findings: int, rounds: int, kills: int, keep: Path | None, verify: bool) -> None:
    """Build a large record and time opening, history, search, checkpoints and saving; or kill a saving process.

    \b
    Example:
      python -m fieldlog.lab store --findings 100000
      python -m fieldlog.lab store --findings 0 --kills 50
    """
    import tempfile

    from fieldlog.cli.terminal import Terminal
    from fieldlog.lab.benchmarks import store as measured
    from fieldlog.store.database import FILE

    with (
        tempfile.TemporaryDirectory() as scratch,
        Terminal.here().progress() as bar,
    ):
        folder = keep or Path(scratch)
        if findings and not (folder / FILE).exists():
            task = bar.add_task("building", total=findings)
            measured.build(folder, findings, lambda done: bar.update(task, completed=done))
        if findings:
            size = measured.size_bytes(folder) / 1e6
            click.echo(f"{findings} findings, {size:.0f} MB")
            if verify:
                rows, whole_s, one_s = measured.verified(folder)
                click.echo(
                    f"{rows} rows verified in {whole_s:.0f} s, one inspection in {one_s:.0f} s"
                )
                return
            for timing in (
                *measured.measure(folder, rounds),
                *measured.searches(folder, max(1, rounds // 5)),
                *measured.checkpoints(folder, max(1, rounds // 5)),
            ):
                click.echo(
                    f"{timing.what:<58} median {timing.median_ms:8.2f} ms"
                    f"   worst {timing.worst_ms:8.2f} ms   n={len(timing.times_ms)}"
                )
        if kills:
            task = bar.add_task("killing", total=kills)
            announced, lost = measured.kill_rounds(
                folder, kills, 9, lambda done: bar.update(task, completed=done)
            )
            click.echo(f"{kills} kills: {announced} findings announced, {lost} lost")


@click.command("report")
@click.option("--findings", type=int, default=300, show_default=True)
@click.option("--photos", type=int, default=200, show_default=True)
@click.option("--browser", help="A Chromium or Chrome program: first paint is measured too.")
@click.option("--rounds", type=int, default=5, show_default=True, help="Times it is painted.")
def report_page(findings: int, photos: int, browser: str | None, rounds: int) -> None:
    """Make the report of a large inspection and, with a browser, time its first paint.

    \b
    Example:
      python -m fieldlog.lab report --browser chromium
    """
    import tempfile

    from fieldlog.cli.terminal import Terminal
    from fieldlog.lab.benchmarks import report_page as measured

    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        with Terminal.here().progress() as bar:
            task = bar.add_task("inspecting", total=findings + photos)
            measured.build(folder, findings, photos, lambda done: bar.update(task, completed=done))
        page = folder
        for kind in ("html", "html", "pdf"):
            path, seconds = measured.write(folder, kind)
            page = path if kind == "html" else page
            click.echo(f"{kind}: {path.stat().st_size / 1e6:.1f} MB in {seconds:.2f} s")
        click.echo("(the first time, copies of photos and clips are made; then they are kept)")
        for _ in range(rounds if browser else 0):
            times = measured.paint_ms(browser or "", page)
            click.echo("  ".join(f"{name} {value:.0f} ms" for name, value in times.items()))
