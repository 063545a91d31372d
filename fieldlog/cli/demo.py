"""``fieldlog demo``: the whole job, on the demo's own audio and photos."""

from __future__ import annotations

from pathlib import Path

import click
from rich.console import Console
from rich.text import Text

from fieldlog.cli.ears import listener_options
from fieldlog.cli.language_option import language_option
from fieldlog.errors import PartialError
from fieldlog.words.english import counted


@click.command()
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("fieldlog-demo"),
    show_default=True,
    help="Folder for the record and the report.",
)
@listener_options
@language_option
def demo(out: Path, listener: str, model: Path | None) -> None:
    """Hear, check, illustrate and report the demo's inspection, from real audio and photos.

    Exit code 9 when something differs from what the demo's manifest says must come out.

    \b
    Examples:
      fieldlog demo
      fieldlog demo --out somewhere/else
      fieldlog demo --listener pocketsphinx
      fieldlog demo --language de      (ten German sentences)
    """
    from fieldlog.language.other import OtherLanguage
    from fieldlog.language.tongues import language_of

    language = language_of()
    if isinstance(language, OtherLanguage):
        from fieldlog.cli.demo_language import demo_of

        demo_of(language, _fresh(out), model)
        return
    from fieldlog import config
    from fieldlog.audio.voice import bundled_voice
    from fieldlog.cli.ears import open_ears
    from fieldlog.cli.event_lines import events_behind
    from fieldlog.cli.inspection_jobs import what_follows
    from fieldlog.cli.verdict_lines import placed_lines
    from fieldlog.shop import demo as job
    from fieldlog.shop.dialogue import write_dialogue
    from fieldlog.shop.workshop import Workshop

    console = Console(highlight=False, soft_wrap=True)
    media = config.demo_media()
    manifest = job.read_manifest(media)
    vehicle, head = manifest["vehicle"]["name"], manifest["inspection"]
    console.print(Text(f"{vehicle} at {head['workshop']}, {head['start'][:10]}", "bold"))
    seen: set[str] = set()

    def tell(file: str, outcome: job.Outcome) -> None:
        if file not in seen:
            seen.add(file)
            console.print(Text(f"\n{file}", "bold"))
        at = Text(f"{outcome.start_s:6.1f} s  ", "dim")
        console.print(events_behind(at, outcome.events))

    folder = _fresh(out / "record")
    with Workshop.open(folder) as shop, open_ears(shop.language, listener, model) as ears:
        result = job.run(media, shop, out, ears, tell)
        record = shop.store.inspection_record(result.inspection.id)
        checked = shop.store.verify(result.inspection.id)
        followed = list(what_follows(shop, record))
    console.print(Text("\nphotos", "bold"))
    for line in placed_lines(result.placed, record):
        console.print(Text(line))
    wrong = job.deviations(result.outcomes, record, manifest)
    console.print(Text("\nagainst what the manifest says must come out", "bold"))
    for text in wrong or ["every utterance, verdict and photo as it must be"]:
        console.print(Text(f"  {text}"))
    console.print(Text("\nwhat follows", "bold"))
    for text in followed:
        console.print(Text(f"  {text}"))
    console.print(Text("\nrecord and report", "bold"))
    state = "agrees with itself" if checked.agrees else "; ".join(checked.faults)
    console.print(Text(f"  record: {folder} ({counted(checked.rows, 'row')}, {state})"))
    turns = [(outcome.clip, outcome.events) for _, outcome in result.outcomes]
    heard = write_dialogue(out / "dialogue.ogg", turns, bundled_voice())
    console.print(Text(f"  to listen to, with what is said back: {heard}"))
    for path in result.written.files:
        console.print(Text(f"  {path.suffix[1:]}: {path}"))
    console.print(
        Text(f"  signed off as {head['inspector']} with a key made for this demo, {result.key}")
    )
    console.print(Text(f"  bundle: {result.bundle}"))
    console.print(
        Text(f"  open {result.page} in a browser and drop the bundle on it: it checks all of that")
    )
    if wrong:
        raise PartialError(
            f"the demo differs from what its manifest says in {len(wrong)} places",
            where=str(media / "manifest.json"),
            todo="read them above; another listener than the default may hear it differently",
        )


def _fresh(folder: Path) -> Path:
    """``folder``, or the first of folder-2, folder-3... that is not there: nothing is overwritten."""
    if not folder.exists():
        return folder
    number = 2
    while (other := folder.with_name(f"{folder.name}-{number}")).exists():
        number += 1
    return other
