"""``fieldlog store``: two copies of a record, or two records, brought together."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fieldlog.cli.store_option import RecordFolder, is_record, opened, store_option
from fieldlog.config import store_folder
from fieldlog.words.as_json import picked
from fieldlog.words.english import counted, originals

if TYPE_CHECKING:
    from fieldlog.store.merging import Merged
    from fieldlog.store.records import InspectionRecord, RecordedFinding


@click.group()
def store() -> None:
    """The record itself: copy it, bring another one into it, mend what is broken.

    \b
    Example:
      fieldlog store merge /media/stick/record
    """


@store.command()
@click.argument("other", type=RecordFolder(path_type=Path, file_okay=False))
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@store_option
def merge(other: Path, as_json: bool, folder: Path | None) -> None:
    """Add what the record in the folder OTHER has besides: rows, clips and photos.

    OTHER is checked first and never changed; what does not agree with itself is refused. Nothing is
    lost or overwritten on either side, and merging again changes nothing. Where both corrected or
    withdrew the same finding, all of it is kept, the newer one rules and that is told. Numbers of inspections and
    findings are each record's own.

    \b
    Example:
      fieldlog store merge /media/stick/record
    """
    from fieldlog.cli.terminal import Terminal
    from fieldlog.store.merging import Stage, checked
    from fieldlog.store.repository import utc_now

    if not is_record(folder or store_folder()):
        with checked(other, utc_now()):
            pass  # nothing is made here for a record that cannot be taken
    with opened(folder, new=True) as ours, Terminal.here().progress() as bar:
        tasks = {step: bar.add_task(step.value, total=None, start=False) for step in Stage}

        def told(step: Stage, done: int) -> None:
            bar.start_task(tasks[step])
            bar.update(tasks[step], completed=done)

        merged = ours.merge(other, told)
        here = ours.folder
    if as_json:
        click.echo(json.dumps(_document(merged)))
        return
    if not merged.rows:
        click.echo(
            f"nothing new: all that is in {other} ({counted(merged.rows_there, 'row')}) is here"
        )
    else:
        click.echo(
            f"{merged.rows} of {counted(merged.rows_there, 'row')} came in, {originals(merged.originals)}"
        )
    for record, finding in merged.rivalled:
        click.echo(f"inspection {record.inspection.number}: {rivalled(record, finding)}")
    click.echo(f"fingerprint {merged.fingerprint}")
    click.echo(f"the other way: fieldlog store merge {here} --store {other}")


@store.command()
@click.argument("target", type=click.Path(path_type=Path))
@store_option
def backup(target: Path, folder: Path | None) -> None:
    """Copy the record, with its clips and photos, to the new folder TARGET, while it may be in use.

    The copy is restored and verified before it is said to be there. Keys are not copied: a lost key is a
    new key. To bring it back, name the folder with --store, or copy it to where the record was.

    \b
    Example:
      fieldlog store backup /media/stick/record-2026-05-04
    """
    from fieldlog.shop.backup import backup as make_backup
    from fieldlog.store.repository import utc_now

    made = make_backup(folder or store_folder(), target, utc_now())
    click.echo(
        f"{made.folder}: {counted(made.rows, 'row')}, {originals(made.originals)}; restored and verified"
    )


@store.command("set-aside")
@store_option
def set_aside(folder: Path | None) -> None:
    """Move a damaged database aside, so that a new record can be begun beside its clips and photos.

    Nothing is deleted. A database that is not damaged stays where it is. As long as the old one lies
    there, `inspection verify` says that rows may be missing.

    \b
    Example:
      fieldlog store set-aside
    """
    from fieldlog.store.database import set_aside as move_aside
    from fieldlog.store.repository import utc_now

    click.echo(f"moved to {move_aside(folder or store_folder(), utc_now())}")


@store.command("reindex")
@store_option
def reindex(folder: Path | None) -> None:
    """Make anew by which words findings are looked for, where `inspection verify` says it is not as the rows.

    It is derived from the rows and no part of them: none of them is touched.

    \b
    Example:
      fieldlog store reindex
    """
    with opened(folder) as record:
        record.engine.index_anew()
    click.echo("made anew")


def rivalled(record: InspectionRecord, finding: RecordedFinding) -> str:
    """What two records said of one finding, and which of it counts."""
    numbers = {each.id: each.number for each in record.findings}
    lost = ", ".join(str(numbers[name]) for name in finding.rivals)
    if finding.withdrawn:
        return (
            f"finding {finding.number} is withdrawn, and the correction in the other record, "
            f"finding {lost}, is older: enter it again if it counts"
        )
    told = [f"finding {finding.number} stands"]
    if lost:
        told.append(f"corrected in both records, the other correction is finding {lost}")
    if finding.withdrawn_elsewhere:
        told.append("withdrawn in one record, and corrected later in the other")
    return "; ".join(told)


def _document(merged: Merged) -> dict[str, object]:
    return {
        **picked(merged, "rows", "originals", "rows_there", "fingerprint"),
        "rivalled": [
            {
                "inspection": record.inspection.id,
                "finding": each.id,
                **picked(each, "stands", "rivals", "withdrawn_elsewhere"),
            }
            for record, each in merged.rivalled
        ],
    }
