"""Every kind of tampering with every part of a record: named, or seen by a witness, or why it is none."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import click

from fieldlog.bundle.checking import check_bundle, held_against
from fieldlog.errors import FieldlogError
from fieldlog.lab.proofs.forgeries import TABLE, WAYS
from fieldlog.lab.proofs.shops import START, fill, ticking
from fieldlog.shop import witness
from fieldlog.shop.proving import prove, witnesses
from fieldlog.shop.workshop import Workshop


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one cell."""

    how: str
    """``named``, ``by a witness``, ``none`` (does not apply) or ``NOT SEEN``."""
    told: str


def prepare(folder: Path) -> None:
    """A signed record with two vehicles, what others hold of it, an earlier copy, another record."""
    with Workshop.open(folder / "shop", now=ticking()) as shop:
        first = fill(shop.store, "blue roadster")
        ring = witness.keyring(shop.store)
        ring.make("A. Smith", "2468")
        shop.bundle("1", out=folder / "earlier-bundle").rename(folder / "earlier.zip")
    shutil.copytree(folder / "shop", folder / "earlier")
    with Workshop.open(folder / "shop", now=ticking(START.replace(hour=12))) as shop:
        fill(shop.store, "red single", 7)
        signer = ring.open("A. Smith", "2468")
        shop.inspecting(first).sign_off("A. Smith", as_it_stands=True, signer=signer)
        for number in ("1", "2"):
            shop.report(number, folder / "held", ("html",))
        shop.bundle("1", out=folder).rename(folder / "bundle.zip")
    with Workshop.open(folder / "other", now=ticking()) as shop:
        fill(shop.store, "green twin", 3)


def outcome(template: Path, part: str, way: str) -> Outcome:
    """One cell: done to a copy of what ``prepare`` made, then verified alone and by a witness."""
    act = TABLE[part][way]
    if isinstance(act, str):
        return Outcome("none", act)
    with tempfile.TemporaryDirectory(prefix="fieldlog-") as made:
        folder = Path(made) / "a"
        shutil.copytree(template, folder)
        act(folder)
        look = _bundle_faults if part == "bundle file" else _faults
        alone = look(folder, False)
        if alone:
            return Outcome("named", alone[0])
        seen = look(folder, True)
        return Outcome("by a witness", seen[0]) if seen else Outcome("NOT SEEN", "")


def _faults(folder: Path, witnessed: bool) -> list[str]:
    against = [str(path) for path in sorted((folder / "held").iterdir())] if witnessed else []
    try:
        return list(prove(folder / "shop", None, against, START).faults)
    except FieldlogError as error:
        return [error.what]


def _bundle_faults(folder: Path, witnessed: bool) -> list[str]:
    try:
        content = check_bundle(folder / "bundle.zip", START)
    except FieldlogError as error:
        return [error.what]
    faults = list(content.faults)
    for path in sorted((folder / "held").iterdir()) if witnessed else []:
        for each in witnesses(str(path)):
            about_it = any(content.id in text for text in each.checkpoint.all(content.kind))
            if about_it and each.checkpoint.one("for") == "report":
                faults += held_against(content, each.checkpoint, each.held_by)[0]
    return faults


def page(results: Mapping[tuple[str, str], Outcome]) -> str:
    """The table as a page."""
    lines = [
        "# Tampering",
        "",
        "Made by `python -m fieldlog.lab tampering --page > docs/tampering.md`: each cell is done to a copy of a",
        "signed record by somebody who can write every file, puts back the guards that he took off, and in the",
        "column *rehash* puts every hash right that he can; what nobody but the owner of a PIN can sign, he leaves",
        "out. Then `verify` looks at it, alone and with what others hold of it (reports).",
        "",
        "- **named**: `verify` names it by itself.",
        "- **witness**: it agrees with itself and cannot be seen without a witness; with one it is.",
        "- **no**: it does not apply, for the reason given below.",
        "",
        f"| | {' | '.join(WAYS)} |",
        f"|---|{'---|' * len(WAYS)}",
    ]
    signs = {
        "named": "named",
        "by a witness": "**witness**",
        "none": "no",
        "NOT SEEN": "**NOT SEEN**",
    }
    for part in TABLE:
        cells = " | ".join(signs[results[part, way].how] for way in WAYS)
        lines.append(f"| {part} | {cells} |")
    counted = [result.how for result in results.values()]
    lines += [
        "",
        f"{counted.count('named')} are named, {counted.count('by a witness')} are seen by a witness, "
        f"{counted.count('none')} do not apply, {counted.count('NOT SEEN')} are not seen.",
        "",
        "`verify` of one inspection reads its rows and its vehicle's, and the order of all rows from its first on: what is done to another",
        "inspection's rows, originals or checkpoints, to pages of the database and to the words of the search is left to `verify` without one,",
        "and it says so. Words of the search are made of the record and are no part of it: `fieldlog store reindex` makes them anew, and",
        "no finding is lost with them.",
        "",
        "## What is said of each",
        "",
        "| what | how | the first thing that is told, or why it does not apply |",
        "|---|---|---|",
    ]
    for (part, way), result in results.items():
        lines.append(f"| {part}, {way} | {signs[result.how]} | {_shown(result.told)} |")
    return "\n".join([*lines, ""])


def _shown(text: str) -> str:
    """Without names that differ from run to run."""
    import re

    text = re.sub(r"\b[0-9a-f]{64}\b", "<sha256>", text)
    text = re.sub(r"\b[0-9a-hjkmnp-tv-z]{20}(-\w+)?\b", "<id>", text)
    text = re.sub(r"SHA256:\S+", "SHA256:...", text)
    text = re.sub(r"\b[0-9a-f]{12}\b", "<hash>", text)
    return text.replace("|", "\\|").replace("\n", " ")


@click.command()
@click.option(
    "--page", "as_page", is_flag=True, help="Print the page instead of a line for each cell."
)
@click.option("--only", default="", help="One part, such as clip.")
def tampering(as_page: bool, only: str) -> None:
    """Tamper with every part of a record in every way, and see what verify says.

    \b
    Examples:
      python -m fieldlog.lab tampering
      python -m fieldlog.lab tampering --only clip
    """
    results: dict[tuple[str, str], Outcome] = {}
    with tempfile.TemporaryDirectory(prefix="fieldlog-") as made:
        template = Path(made)
        prepare(template)
        for part in TABLE:
            for way in WAYS if only in {"", part} else ():
                results[part, way] = found = outcome(template, part, way)
                if not as_page:
                    click.echo(f"{part:<12} {way:<11} {found.how:<13} {found.told[:150]}")
    if as_page:
        click.echo(page(results), nl=False)
    if any(found.how == "NOT SEEN" for found in results.values()):
        raise SystemExit(1)
