"""``fieldlog inspection``: start, look at, correct and verify inspections."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fieldlog.cli import (
    inspection_enter,
    inspection_hear,
    inspection_jobs,
    inspection_review,
    inspection_verify,
)
from fieldlog.cli.inspection_enter import inspection_option, print_event
from fieldlog.cli.key import pin_option, signer_for
from fieldlog.cli.language_option import language_option
from fieldlog.cli.photos_place import tell_unplaced_yet
from fieldlog.cli.store_option import (
    distance,
    opened,
    started_at,
    store_option,
    sure_option,
    told_if_ahead,
    walk_option,
    workshop,
    zone_called,
)
from fieldlog.config import local_zone
from fieldlog.errors import UsageError
from fieldlog.words.as_json import told
from fieldlog.words.english import counted

if TYPE_CHECKING:
    from fieldlog.store.records import Inspection, RecordedFinding

_inspection_argument = click.argument("key", metavar="[INSPECTION]", default="last")


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


_AFTER = (*inspection_jobs.COMMANDS, *inspection_review.COMMANDS)
for _after in (inspection_enter.enter, inspection_hear.hear, inspection_verify.verify, *_AFTER):
    inspection.add_command(_after)


@inspection.command()
@click.argument("vehicle")
@click.option("--inspector", default="", help="Who inspects.")
@click.option("--place", default="", help="Where.")
@click.option("--zone", default=None, help="Zone of the session clock.  [default: this machine's]")
@click.option("--jurisdiction", default=None, help="ISO 3166, such as GB, DE or US-VA.")
@click.option("--set", "settings", multiple=True, metavar="KEY=VALUE", help="Context; repeatable.")
@click.option("--odometer", metavar="'N km|mi'", help="Distance done at this inspection.")
@sure_option
@walk_option
@click.option(
    "--on",
    "day",
    metavar="WHEN",
    help="When: 2026-03-14 or 2026-03-14T09:05, in --zone.  [default: now]",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@store_option
@language_option
def start(
    vehicle: str,
    inspector: str,
    place: str,
    zone: str | None,
    jurisdiction: str | None,
    settings: tuple[str, ...],
    odometer: str | None,
    sure: bool,
    walk: str,
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
      fieldlog inspection start 1 --walk storage
      fieldlog inspection start "blue roadster" --on 2026-03-14T09:05 --zone=-05:00
    """
    from fieldlog.aftercare.plan import walk_setting
    from fieldlog.language.tongues import kept_code
    from fieldlog.limits.context import parse_context

    # what no later command could hold against its limits is refused before it is in the record
    context, own_zone = parse_context(jurisdiction, settings), zone or local_zone()
    if zone:
        zone_called(zone)
    begun = started_at(day, own_zone) if day else None
    if begun is not None:
        told_if_ahead(begun)
    with opened(folder) as store:
        started = store.start_inspection(
            store.vehicle(vehicle).id,
            started_at=begun,
            zone=own_zone,
            inspector=inspector,
            place=place,
            jurisdiction=context.jurisdiction,
            settings={**context.settings, **walk_setting(walk)},
            odometer=distance(odometer),
            sure=sure,
            language=kept_code(),
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
    with opened(folder, reading=True) as store:
        of = None if vehicle is None else store.vehicle(vehicle).id
        for each in store.inspections(of):
            _print_head(each, as_json)


@inspection.command()
@_inspection_argument
@click.option("--all", "with_history", is_flag=True, help="Corrected and withdrawn ones as well.")
@click.option("--json", "as_json", is_flag=True, help="Print the whole record as one JSON object.")
@store_option
def show(key: str, with_history: bool, as_json: bool, folder: Path | None) -> None:
    """Show the findings of an INSPECTION with their verdicts; as JSON with what follows from them.

    Questions that nobody answered and speech that was not understood stand below, each with its clip.

    \b
    Example:
      fieldlog inspection show last --all
    """
    with workshop(folder, reading=True) as shop:
        record = shop.store.inspection_record(key)
        tell_unplaced_yet(record)
        concluded = shop.conclusion(record).headline
        if as_json:
            from fieldlog.report.export import record_json
            from fieldlog.report.view import follow_up
            from fieldlog.report.write import surroundings

            around = surroundings(shop.store, record, shop.now())
            whole = record_json(record) | follow_up(record, around)
            click.echo(json.dumps(whole, ensure_ascii=False))
            return
    from fieldlog.report.lines import NOT_COVERED, after_signature, not_settled
    from fieldlog.words import tell

    _print_head(record.inspection, as_json=False)
    for each in record.findings:
        if not (each.stands or with_history):
            continue
        state = tell.state(each.verdict)
        note = _note(each)
        note += "  (addendum, after the signature)" if each.made_after_signature else ""
        told = (tell.severity(each.verdict), tell.doubt(each.verdict))
        how = "".join(f", {text}" for text in told if text)
        click.echo(f"{each.number:>4}  {state:<10} {tell.finding(each.finding)}{how}{note}")
    numbers = {each.id: each.number for each in record.findings}
    for count, remark in enumerate(record.remarks, start=1):
        if remark.taken_back and not with_history:
            continue
        of = f" (of no. {numbers[remark.finding_id]})" if remark.finding_id in numbers else ""
        gone = "  (taken back)" if remark.taken_back else ""
        click.echo(f"      remark {count:<3} {remark.text}{of}{gone}")
    for what, line in not_settled(record):
        click.echo(f"      {what:<10} {line}")
    click.echo(concluded)
    later = after_signature(record)
    if later:
        click.echo(f"{NOT_COVERED}: {'; '.join(later)}")


@inspection.command()
@click.argument("number", type=int)
@click.argument("words", nargs=-1, required=True)
@click.option("--reason", default="", help="Why; kept in the record.")
@sure_option
@inspection_option
@store_option
def correct(
    number: int, words: tuple[str, ...], reason: str, sure: bool, key: str, folder: Path | None
) -> None:
    """Supersede finding NUMBER by the one typed as WORDS; the old one stays in the record.

    \b
    Example:
      fieldlog inspection correct 12 "rear tread three thirty-seconds" --reason "read again"
    """
    with workshop(folder) as shop:
        language = shop.language_for(shop.store.inspection(key))
        said = language.understand(" ".join(words))
        for event in shop.inspecting(key).correct(number, said, reason, sure=sure):
            print_event(event, language)


@inspection.command()
@click.argument("number", type=int)
@click.option("--reason", required=True, help="Why it does not count; kept in the record.")
@inspection_option
@store_option
def withdraw(number: int, reason: str, key: str, folder: Path | None) -> None:
    """Let finding NUMBER no longer stand; it stays in the record.

    \b
    Example:
      fieldlog inspection withdraw 12 --reason "wrong wheel"
    """
    with workshop(folder) as shop:
        for event in shop.inspecting(key).withdraw(number, reason):
            print_event(event)


@inspection.command()
@click.argument("text", required=False)
@click.option("--finding", "number", type=int, default=None, help="Number of the finding it is of.")
@click.option(
    "--take-back", "back", type=int, metavar="N", help="Take back remark N, as `show` counts them."
)
@inspection_option
@store_option
def remark(
    text: str | None, number: int | None, back: int | None, key: str, folder: Path | None
) -> None:
    """Add a typed remark TEXT, to a finding where one is named; it is never judged.

    One that is taken back stays in the record, and counts for nothing.

    \b
    Examples:
      fieldlog inspection remark "owner asks for an early call"
      fieldlog inspection remark --finding 12 "measured twice"
      fieldlog inspection remark --take-back 2
    """
    if (text is None) == (back is None) or (back is not None and number is not None):
        raise UsageError("give the words of a remark, or --take-back with its number", where="TEXT")
    with workshop(folder) as shop:
        inspecting = shop.inspecting(key)
        if back is None:
            events = inspecting.remark(text or "", number)
        else:
            there = inspecting.record.remarks
            if not 0 < back <= len(there):
                raise UsageError(
                    f"there is no remark {back}", todo="see `fieldlog inspection show`"
                )
            events = inspecting.take_back_remark(there[back - 1].id)
        for event in events:
            print_event(event)


@inspection.command()
@click.argument("item")
@click.option("--reason", required=True, help="Why it is left out; kept in the record.")
@inspection_option
@store_option
def skip(item: str, reason: str, key: str, folder: Path | None) -> None:
    """Leave ITEM of the walk out on purpose, such as "front brake disc".

    \b
    Example:
      fieldlog inspection skip "battery" --reason "sealed under the tank, owner declined"
    """
    with workshop(folder) as shop:
        for event in shop.inspecting(key).skip(item, reason):
            print_event(event)


@inspection.command("sign-off")
@click.argument("name")
@click.option(
    "--as-it-stands",
    is_flag=True,
    help="Sign with what is open and dangerous, without being asked.",
)
@click.option(
    "--without-key", is_flag=True, help="Sign with the name alone, though there is a key."
)
@pin_option
@inspection_option
@store_option
def sign_off(
    name: str,
    as_it_stands: bool,
    without_key: bool,
    pin_file: Any,
    key: str,
    folder: Path | None,
) -> None:
    """Sign the inspection off as NAME; what comes later is an addendum until it is signed again.

    Where NAME has a key (`fieldlog key make`), its PIN is asked for and the key signs the name, the time,
    what was open and dangerous, and the whole record as it is then; else it says "not signed with a key".

    What nobody looked at and what was found dangerous is shown first, and asked about; where nobody can
    be asked (in a script), --as-it-stands confirms it, and without it nothing is signed.

    \b
    Examples:
      fieldlog inspection sign-off "A. Smith"
      fieldlog inspection sign-off "A. Smith" --as-it-stands
      fieldlog inspection sign-off "A. Smith" --pin-file pin.txt
    """
    from fieldlog.shop.witness import keyring

    with workshop(folder) as shop:
        inspecting = shop.inspecting(key)
        signer = signer_for(keyring(shop.store), name, pin_file, without_key)
        seen = inspecting.record.rows
        known = inspecting.before_signing()
        if not known.nothing:
            print_event(known)
            if not as_it_stands and is_asked():
                as_it_stands = click.confirm(f"Sign it off as {name} all the same?", abort=True)
        for event in inspecting.sign_off(name, as_it_stands=as_it_stands, signer=signer, seen=seen):
            print_event(event)


def is_asked() -> bool:
    """Whether somebody can be asked."""
    return sys.stdin.isatty()


def _note(kept: RecordedFinding) -> str:
    """What became of a finding, and whether two copies of the record differed on it."""
    if kept.withdrawn:
        return f"  (withdrawn{'; another copy of the record had corrected it' * kept.rivalled})"
    if not kept.stands:
        return "  (corrected)"
    if kept.rivals:
        return "  (corrected in two copies of the record; this is newer)"
    return "  (withdrawn in another copy of the record; this is newer)" * kept.withdrawn_elsewhere


def _print_head(head: Inspection, as_json: bool) -> None:
    if as_json:
        document = told(head, "vehicle_name", "program") | {
            "vehicle": head.vehicle_name,
            "started_at": head.started_at.isoformat(),
            "language": head.language or "en",
        }
        click.echo(json.dumps(document))
        return
    by = f"  by {head.inspector}" if head.inspector else ""
    click.echo(
        f"{head.number:>4}  {head.started_at:%Y-%m-%d %H:%M} UTC  {head.vehicle_name}  "
        f"{counted(head.findings, 'finding')}{by}"
    )
