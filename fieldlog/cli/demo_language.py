"""``fieldlog demo --language de``: ten sentences of another language, heard or typed."""

from __future__ import annotations

from pathlib import Path

from rich.console import Console
from rich.text import Text

from fieldlog import config
from fieldlog.cli.told_lines import told_lines
from fieldlog.errors import PartialError, StoreError
from fieldlog.language.other import OtherLanguage


def demo_of(language: OtherLanguage, out: Path, model: Path | None) -> None:
    """Hear (or type) the ten sentences, answer what is asked, keep a record of it."""
    from fieldlog.cli.ears import open_ears
    from fieldlog.listeners.whisper import languages
    from fieldlog.shop import demo_language as job
    from fieldlog.shop.workshop import Workshop

    console = Console(highlight=False, soft_wrap=True)
    media = config.demo_media() / language.tongue.code
    lines = language.told.lines
    heard = model is not None or languages.is_there()
    console.print(Text(language.tongue.name, "bold"))
    console.print(Text(lines["hears" if heard else "only_typed"], "dim"))
    with Workshop.open(out / "record", language=language) as shop:
        if heard:
            with open_ears(language, "whisper", model) as ears:
                steps = [*job.run(media, shop, language, ears)]
        else:
            steps = [*job.run(media, shop, language, None)]
        record = shop.store.inspection_record(shop.store.inspection("last").id)
        checked = shop.store.verify(record.inspection.id)
    if not checked.agrees:
        raise StoreError("; ".join(checked.faults), where=str(out / "record"))
    seen = ""
    for step in steps:
        if step.said != seen:
            console.print(Text(f"\n{step.said}", "bold"))
            seen = step.said
        console.print(Text(f"  {lines[step.how]}: {step.words}", "dim"))
        for line in told_lines(step.events, language):
            console.print(Text("    ").append_text(line))
    kept = [language.told.finding(each.finding) for each in record.findings]
    console.print(Text(f"\n{lines['kept']}", "bold"))
    for text in kept:
        console.print(Text(f"  {text}"))
        console.print(Text(f"    {lines['aloud']}: {language.aloud(text)}", "dim"))
    meant = [language.breath(said).whole.finding for said in job.sentences(media)]
    wrong = [one for one, got in zip(meant, record.findings, strict=False) if one and one.meaning != got.finding.meaning]  # fmt: skip
    console.print(Text(f"\n{out / 'record'} (fieldlog inspection verify --store {out / 'record'})"))
    if wrong or len(kept) != len(meant):
        raise PartialError(
            f"{len(kept)} of {len(meant)} sentences are in the record as they were meant",
            where=str(media),
            todo="read them above",
        )
