"""``fieldlog inspection``: start, look at, correct and verify inspections."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fieldlog.cli import inspection_hear, inspection_jobs
from fieldlog.cli.store_option import (
    distance,
    opened,
    pairs,
    started_at,
    store_option,
    zone_here,
)
from fieldlog.errors import StoreError, UsageError

if TYPE_CHECKING:
    from fieldlog.model import Finding, Understanding, Verdict
    from fieldlog.store.records import Inspection, InspectionRecord, RecordedFinding
    from fieldlog.store.repository import Repository

_inspection_argument = click.argument("key", metavar="[INSPECTION]", default="last")
_inspection_option = click.option(
    "--inspection", "key", default="last", help="Number, id or `last`.", show_default=True
)


@click.group()
def inspection() -> None:
    """Walk round a vehicle: start, hear, show, correct, verify.

    INSPECTION is a number from `inspection list`, an id, or `last` (the default).

    \b
    Examples:
      fieldlog inspection start "blue roadster" --inspector "A. Smith"
      fieldlog inspection hear walk-round.flac
      fieldlog inspection show
      fieldlog inspection verify
    """


for _after in (inspection_hear.hear, *inspection_jobs.COMMANDS):
    inspection.add_command(_after)


@inspection.command()
@click.argument("vehicle")
@click.option("--inspector", default="", help="Who inspects.")
@click.option("--place", default="", help="Where.")
@click.option("--zone", default=None, help="Zone of the session clock.  [default: this machine's]")
@click.option("--jurisdiction", default=None, help="ISO 3166, such as GB, DE or US-VA.")
@click.option("--set", "settings", multiple=True, metavar="KEY=VALUE", help="Context; repeatable.")
@click.option("--odometer", metavar="'N km|mi'", help="Distance done at this inspection.")
@click.option(
    "--on",
    "day",
    metavar="WHEN",
    help="When: 2026-03-14 or 2026-03-14T09:05, in --zone.  [default: now]",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@store_option
def start(
    vehicle: str,
    inspector: str,
    place: str,
    zone: str | None,
    jurisdiction: str | None,
    settings: tuple[str, ...],
    odometer: str | None,
    day: str | None,
    as_json: bool,
    folder: Path | None,
) -> None:
    """Start an inspection of VEHICLE (number, name or id).

    An instant with its time matters when recordings and photos are to follow: photos find their
    findings by time.

    \b
    Examples:
      fieldlog inspection start 1 --jurisdiction GB --odometer "12480 km"
      fieldlog inspection start "blue roadster" --on 2026-03-14T09:05 --zone=-05:00
    """
    with opened(folder) as store:
        started = store.start_inspection(
            store.vehicle(vehicle).id,
            started_at=started_at(day, zone or zone_here()) if day else None,
            zone=zone or zone_here(),
            inspector=inspector,
            place=place,
            jurisdiction=jurisdiction,
            settings=pairs(settings),
            odometer=distance(odometer),
        )
    _print_head(started, as_json)


@inspection.command("list")
@click.option("--vehicle", default=None, help="Only those of this vehicle.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object per inspection and line.")
@store_option
def list_(vehicle: str | None, as_json: bool, folder: Path | None) -> None:
    """List inspections, oldest first.

    \b
    Example:
      fieldlog inspection list --vehicle "blue roadster"
    """
    with opened(folder) as store:
        of = None if vehicle is None else store.vehicle(vehicle).id
        for each in store.inspections(of):
            _print_head(each, as_json)


@inspection.command()
@_inspection_argument
@click.option("--all", "with_history", is_flag=True, help="Corrected and withdrawn ones as well.")
@click.option("--json", "as_json", is_flag=True, help="Print the whole record as one JSON object.")
@store_option
def show(key: str, with_history: bool, as_json: bool, folder: Path | None) -> None:
    """Show the findings of an INSPECTION with their verdicts.

    \b
    Example:
      fieldlog inspection show last --all
    """
    with opened(folder) as store:
        record = store.inspection_record(key)
        concluded = inspection_jobs.conclusion(store, record)
    if as_json:
        from fieldlog.report.export import record_json

        click.echo(json.dumps(record_json(record), ensure_ascii=False))
        return
    from fieldlog.report.lines import severity_text
    from fieldlog.report.words import finding_text
    from fieldlog.wording import doubt_text

    _print_head(record.inspection, as_json=False)
    for each in record.findings:
        if not (each.stands or with_history):
            continue
        state = each.verdict.state.value if each.verdict else "not judged"
        rivalled = "  (corrected in two copies of the record; this is newer)" if each.rivals else ""
        note = rivalled if each.stands else "  (withdrawn)" if each.withdrawn else "  (corrected)"
        told = (severity_text(each.verdict), doubt_text(each.verdict) if each.verdict else "")
        how = "".join(f", {text}" for text in told if text)
        click.echo(f"{each.number:>4}  {state:<10} {finding_text(each.finding)}{how}{note}")
    for remark in record.remarks:
        click.echo(f"      remark     {remark.text}")
    click.echo(concluded)


@inspection.command()
@click.argument("key", metavar="[INSPECTION]", default="")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@store_option
def verify(key: str, as_json: bool, folder: Path | None) -> None:
    """Check whether an INSPECTION, or the whole record, agrees with itself.

    A row changed, taken out, put in or moved is named, and so is a clip or photo that is missing or
    changed; the exit code is then 8. Rows cut off the end, and a record written anew from its first
    row, do not show: compare the fingerprint with the one printed on a report.

    \b
    Example:
      fieldlog inspection verify
    """
    with opened(folder) as store:
        result = store.verify(key or None)
    if as_json:
        click.echo(
            json.dumps(
                {
                    "agrees": result.agrees,
                    "writers": result.writers,
                    "rows": result.rows,
                    "media": result.media,
                    "fingerprint": result.fingerprint,
                    "earlier": result.earlier,
                    "faults": list(result.faults),
                }
            )
        )
    else:
        click.echo(f"{result.rows} rows, {result.media} clips and photos")
        click.echo(f"fingerprint {result.fingerprint}")
        if result.earlier:
            click.echo(f"on reports printed before records could merge: {result.earlier}")
        for fault in result.faults:
            click.echo(f"  {fault}")
    if not result.agrees:
        count = len(result.faults)
        raise StoreError(
            f"the record does not agree with itself ({count} fault{'s' if count > 1 else ''})",
            todo="compare it with an earlier copy of this folder, or with a printed report",
        )
    if not as_json:
        click.echo(
            "agrees with itself: every row, clip and photo fits its hash; rows cut off the end and "
            "a record written anew would not show"
        )


@inspection.command()
@click.argument("words", nargs=-1, required=True)
@_inspection_option
@store_option
def enter(words: tuple[str, ...], key: str, folder: Path | None) -> None:
    """Save a finding typed as WORDS, as it would be spoken.

    \b
    Example:
      fieldlog inspection enter rear tread four thirty-seconds
    """
    from fieldlog.store.records import NewUtterance
    from fieldlog.store.repository import utc_now

    with opened(folder) as store:
        record = store.inspection_record(key)
        understood, finding, verdict = _typed(" ".join(words), record)
        saved = store.add_utterance(
            record.inspection.id,
            NewUtterance(understood, said_at=utc_now()),
            finding=finding,
            verdict=verdict,
        )
    click.echo(f"{saved.number:>4}  {verdict.state.value:<10} {_told(finding)}")


@inspection.command()
@click.argument("number", type=int)
@click.argument("words", nargs=-1, required=True)
@click.option("--reason", default="", help="Why; kept in the record.")
@_inspection_option
@store_option
def correct(
    number: int, words: tuple[str, ...], reason: str, key: str, folder: Path | None
) -> None:
    """Supersede finding NUMBER by the one typed as WORDS; the old one stays in the record.

    \b
    Example:
      fieldlog inspection correct 12 "rear tread three thirty-seconds" --reason "read again"
    """
    from fieldlog.store.records import NewUtterance
    from fieldlog.store.repository import utc_now

    with opened(folder) as store:
        record = store.inspection_record(key)
        old = _numbered(record, number)
        understood, finding, verdict = _typed(" ".join(words), record, without=old.id)
        saved = store.add_utterance(
            record.inspection.id,
            NewUtterance(understood, said_at=utc_now()),
            finding=finding,
            verdict=verdict,
            corrects=old.id,
            reason=reason,
        )
        _judge_again(store, record.inspection.id, old)
    click.echo(f"{saved.number:>4}  {verdict.state.value:<10} {_told(finding)}  (was {number})")


@inspection.command()
@click.argument("number", type=int)
@click.option("--reason", required=True, help="Why it does not count; kept in the record.")
@_inspection_option
@store_option
def withdraw(number: int, reason: str, key: str, folder: Path | None) -> None:
    """Let finding NUMBER no longer stand; it stays in the record.

    \b
    Example:
      fieldlog inspection withdraw 12 --reason "wrong wheel"
    """
    with opened(folder) as store:
        record = store.inspection_record(key)
        old = _numbered(record, number)
        store.withdraw(old.id, reason=reason)
        _judge_again(store, record.inspection.id, old)
    click.echo(f"finding {number} withdrawn")


@inspection.command()
@click.argument("text")
@_inspection_option
@store_option
def remark(text: str, key: str, folder: Path | None) -> None:
    """Add a typed remark TEXT; it is never judged.

    \b
    Example:
      fieldlog inspection remark "owner asks for an early call"
    """
    with opened(folder) as store:
        store.add_remark(store.inspection(key).id, text)
    click.echo("remark saved")


@inspection.command()
@click.argument("item")
@click.option("--reason", required=True, help="Why it is left out; kept in the record.")
@_inspection_option
@store_option
def skip(item: str, reason: str, key: str, folder: Path | None) -> None:
    """Leave ITEM of the walk out on purpose, such as "front brake disc".

    \b
    Example:
      fieldlog inspection skip "battery" --reason "sealed under the tank, owner declined"
    """
    if not reason.strip():
        raise UsageError("an item is left out only with a reason", where="--reason")
    with opened(folder) as store:
        record = store.inspection_record(key)
        for name in inspection_jobs.leave_out(store, record, item, reason):
            click.echo(f"{name}: left out")


@inspection.command("sign-off")
@click.argument("name")
@_inspection_option
@store_option
def sign_off(name: str, key: str, folder: Path | None) -> None:
    """Sign the inspection off as NAME; later corrections still show as such.

    \b
    Example:
      fieldlog inspection sign-off "A. Smith"
    """
    with opened(folder) as store:
        store.add_event(store.inspection(key).id, "signed off", name)
        fingerprint = store.inspection_record(key).fingerprint
    click.echo(f"signed off by {name}; fingerprint {fingerprint}")


def _typed(
    text: str, record: InspectionRecord, without: str | None = None
) -> tuple[Understanding, Finding, Verdict]:
    """What ``text`` means in this inspection; ``UsageError`` when it is not one whole finding.

    ``without``: id of the finding that it takes the place of.
    """
    from fieldlog.aftercare.plan import context_of
    from fieldlog.assess import assess
    from fieldlog.inspection_language import InspectionLanguage
    from fieldlog.limits.packs import shipped_limits, with_own
    from fieldlog.model import Decision

    language = InspectionLanguage.load()
    understood = language.understand(text)
    if understood.decision is not Decision.ACCEPT or understood.finding is None:
        raise UsageError(
            f"{text!r} is not saved: {understood.reason or 'it is no finding'}",
            todo=understood.question or "say component, place, and value or condition",
        )
    head = record.inspection
    limits = with_own(shipped_limits(), record.vehicle.limits)
    context = context_of(record.vehicle, head)
    beside = [each.finding for each in record.findings if each.stands and each.id != without]
    day = head.started_at.date()
    assessment = assess(understood.finding, limits, context, language.catalogue, day, beside)
    return understood, understood.finding, assessment.verdict


def _judge_again(store: Repository, key: str, old: RecordedFinding) -> None:
    """Newer verdicts for what was judged together with a finding that no longer stands."""
    from fieldlog.aftercare.files import load_care
    from fieldlog.limits.packs import shipped_limits, with_own
    from fieldlog.rejudge import judged_again

    record = store.inspection_record(key)
    limits = with_own(shipped_limits(), record.vehicle.limits)
    for name, verdict in judged_again(record, old.finding, limits, load_care().catalogue):
        store.judge(record.inspection.id, name, verdict)


def _told(finding: Finding) -> str:
    from fieldlog.report.words import finding_text

    return finding_text(finding)


def _numbered(record: InspectionRecord, number: int) -> RecordedFinding:
    for each in record.findings:
        if each.number == number:
            return each
    raise UsageError(
        f"there is no finding {number} in inspection {record.inspection.number}",
        todo="see `fieldlog inspection show`",
    )


def _print_head(head: Inspection, as_json: bool) -> None:
    if as_json:
        click.echo(
            json.dumps(
                {
                    "number": head.number,
                    "id": head.id,
                    "vehicle": head.vehicle_name,
                    "vehicle_id": head.vehicle_id,
                    "started_at": head.started_at.isoformat(),
                    "zone": head.zone,
                    "inspector": head.inspector,
                    "place": head.place,
                    "jurisdiction": head.jurisdiction,
                    "settings": dict(head.settings),
                    "findings": head.findings,
                }
            )
        )
        return
    by = f"  by {head.inspector}" if head.inspector else ""
    click.echo(
        f"{head.number:>4}  {head.started_at:%Y-%m-%d %H:%M} UTC  {head.vehicle_name}  "
        f"{head.findings} findings{by}"
    )
