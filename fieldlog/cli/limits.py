"""``fieldlog limits``: list the limits, check the packs, write the page that documents them."""

from __future__ import annotations

import json
from pathlib import Path

import click

from fieldlog.catalogue.files import load_catalogue
from fieldlog.cli.terminal import page_out
from fieldlog.config import grammars
from fieldlog.errors import UsageError
from fieldlog.limits.applies import in_reach
from fieldlog.limits.context import parse_context
from fieldlog.limits.items import coverage
from fieldlog.limits.pack_faults import pack_faults
from fieldlog.limits.packs import (
    faults_error,
    pack_files,
    packs_and_faults,
    read_packs,
    shipped_limits,
    shipped_packs,
    shipped_sides,
)
from fieldlog.limits.page import limits_page, sentence, source, where
from fieldlog.limits.sides import sides_faults
from fieldlog.model.limit import Limit
from fieldlog.words import tell
from fieldlog.words.as_json import Json, exact, told
from fieldlog.words.english import counted

_FILES = click.Path(exists=True, dir_okay=True, path_type=Path)


@click.group()
def limits() -> None:
    """Limits: what gates a verdict, and where every value comes from.

    \b
    Examples:
      fieldlog limits list --jurisdiction US-VA --component tyre
      fieldlog limits check my-vehicle.toml
    """


@limits.command()
@click.argument("files", nargs=-1, type=_FILES)
@click.option("--json", "as_json", is_flag=True, help="One JSON object: packs, limits, faults.")
def check(files: tuple[Path, ...], as_json: bool) -> None:
    """Check limit packs (ours when no FILES are named) and report every fault together.

    \b
    Example:
      fieldlog limits check
      fieldlog limits check my-vehicle.toml
    """
    paths = _paths(files)
    packs, faults = packs_and_faults(paths)
    catalogue = load_catalogue(grammars())
    faults += pack_faults(packs, catalogue)
    if not files:
        faults += sides_faults(shipped_limits(), catalogue, shipped_sides())
    count = sum(len(pack.limits) for pack in packs)
    if as_json:
        click.echo(json.dumps({"packs": len(paths), "limits": count, "faults": faults}))
    if faults:
        raise faults_error(faults)
    if not as_json:
        click.echo(f"{counted(len(packs), 'pack')}, {counted(count, 'limit')}, no faults")


@limits.command("list")
@click.option("--jurisdiction", help="ISO 3166 code: only what applies there.")
@click.option("--component", help="Only limits of this component.")
@click.option("--pack", "pack_id", help="Only the pack of that id.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object per limit and line.")
def list_limits(
    jurisdiction: str | None, component: str | None, pack_id: str | None, as_json: bool
) -> None:
    """List limits with value as printed, where they apply, status and source.

    \b
    Example:
      fieldlog limits list --jurisdiction GB --component "brake pads"
    """
    context = parse_context(jurisdiction)
    rows = [
        limit
        for pack in shipped_packs()
        for limit in pack.limits
        if (component is None or limit.component == component.lower())
        and (pack_id is None or limit.pack == pack_id)
        and (jurisdiction is None or in_reach(limit, context))
    ]
    if not rows:
        known = sorted({limit.component for pack in shipped_packs() for limit in pack.limits})
        raise UsageError(
            "no limit matches", where="limits list", todo="components: " + ", ".join(known)
        )
    for limit in rows:
        if as_json:
            click.echo(json.dumps(as_record(limit)))
        else:
            click.echo(
                f"{limit.id}\n  {limit.component}, {limit.characteristic}: {tell.limit_in_full(limit)}"
            )
            if limit.text:
                click.echo(f"  read: {sentence(limit.text, limit.cut)}")
            click.echo(f"  severity: {tell.severity_from(limit)}")
            click.echo(f"  applies: {where(limit)}; {limit.status.value}; {source(limit)}")
    if not as_json:
        named = {limit.pack for limit in rows}
        for pack in shipped_packs():
            if pack.parts and pack.id in named:
                click.echo(f"{pack.title}: {coverage(pack.parts)}")


@limits.command()
@click.option("--out", type=click.Path(path_type=Path), help="Write here instead of printing.")
def docs(out: Path | None) -> None:
    """Write the page that lists every limit with its source.

    \b
    Example:
      fieldlog limits docs --out docs/limits.md
    """
    text = limits_page(shipped_packs())
    page_out(text, out)


def as_record(limit: Limit) -> Json:
    """A limit as JSON-ready values; exact numbers as numerator and denominator."""
    return {
        **told(limit, "value", "high", "aggregation"),
        **exact(limit.value),
        **exact(limit.high, "high_"),
        "aggregation": str(limit.aggregation),
    }


def own_packs(files: tuple[Path, ...]) -> tuple[Limit, ...]:
    """Every row of the user's own pack files; raises ``LimitError`` with all their faults."""
    return tuple(limit for pack in read_packs(_paths(files)) for limit in pack.limits)


def _paths(files: tuple[Path, ...]) -> list[Path]:
    if not files:
        return pack_files()
    paths: list[Path] = []
    for file in files:
        found = pack_files(file) if file.is_dir() else [file]
        if not found:
            raise UsageError("holds no *.toml limit pack", where=str(file), todo="name a pack file")
        paths += found
    return paths
