"""What every command that reads or writes the record shares: the folder, and what it reports."""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import click

from fieldlog.config import server_folder, store_folder
from fieldlog.errors import StoreError, UsageError
from fieldlog.model.finding import Quantity

if TYPE_CHECKING:
    from fieldlog.shop.workshop import Workshop
    from fieldlog.store.repository import Repository

_Command = TypeVar("_Command", bound=Callable[..., Any])
FARTHEST = {"km": 2_000_000, "mi": 1_250_000}
"""No odometer shows more (common practice); more digits than that are a slip."""
_DISTANCE = re.compile(r"\s*(\d[\d.,]*)\s*(km|mi)\s*")


class RecordFolder(click.Path):
    """The folder of a record, or the address of a server's; "" would be the folder one happens to be in."""

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> str | bytes | os.PathLike[str]:
        """Refuse an empty name."""
        if not str(value).strip():
            self.fail("an empty text names no folder; leave --store out for the usual one")
        if "://" in str(value):
            return server_folder(str(value))
        return super().convert(value, param, ctx)


def store_option(command: _Command) -> _Command:
    """Add ``--store DIR|URL`` to a command (parameter ``folder``)."""
    return click.option(
        "--store",
        "folder",
        type=RecordFolder(path_type=Path, file_okay=False),
        default=None,
        metavar="DIR|URL",
        help="Folder of the record, or a server's (postgresql:///shop).  [default: the user's data folder, or $FIELDLOG_HOME]",
    )(command)


def walk_option(command: _Command) -> _Command:
    """Add ``--walk NAME`` to a command that starts an inspection."""
    return click.option(
        "--walk",
        metavar="NAME",
        default="usual",
        show_default=True,
        help="What is gone through: usual, storage, recommissioning or recheck (after work).",
    )(command)


@contextlib.contextmanager
def opened(
    folder: Path | None, *, new: bool = False, reading: bool = False
) -> Iterator[Repository]:
    """The store a command works on; what opening it had to report goes to stderr.

    ``new``: it is made where there is none; else that is a ``StoreError``, and nothing is made.
    ``reading``: it is only read, so that it may lie on a full disk or where nothing can be written.
    """
    from fieldlog.store.repository import Repository

    where = folder or store_folder()
    if not (new or is_record(where)):
        raise StoreError(
            "there is no record here",
            where=str(where),
            todo="name the record's folder with --store DIR, or begin one: fieldlog vehicle add NAME",
        )
    with Repository.look(where) if reading else Repository.open(where) as store:
        for notice in store.notices:
            click.echo(f"fieldlog: {notice}", err=True)
        yield store


@contextlib.contextmanager
def workshop(
    folder: Path | None, *, new: bool = False, reading: bool = False
) -> Iterator[Workshop]:
    """The workshop a command works in; its record as ``opened`` gives it."""
    from fieldlog.shop.workshop import Workshop

    with opened(folder, new=new, reading=reading) as store:
        yield Workshop(store)


sure_option = click.option(
    "--sure",
    is_flag=True,
    help="The odometer shows it, though it does not follow on what is known.",
)


def as_day(_: click.Context, param: click.Parameter, value: str | None) -> datetime | None:
    """The midnight of a day as people write it; raises ``UsageError`` for none, or several."""
    from fieldlog.quantities.written_dates import day_meant

    return None if value is None else datetime.fromisoformat(day_meant(value, param.opts[0]))


def told_if_ahead(moment: datetime) -> None:
    """Tell of an instant that is to come by this machine's clock: one of the two is wrong, and dates hang on it."""
    now = datetime.now(UTC)
    if moment.replace(tzinfo=moment.tzinfo or UTC) > now + timedelta(days=1):
        told = f"{moment:%Y-%m-%d} is still to come by this machine's clock ({now:%Y-%m-%d}): what comes due is counted from it"
        click.echo(f"fieldlog: {told}", err=True)


def is_record(folder: Path) -> bool:
    """Whether there is a record in ``folder``, or where it points to."""
    from fieldlog.store.where import is_record as there

    return there(folder)


def pairs(texts: Sequence[str]) -> dict[str, str]:
    """``("rim=steel", ...)`` as a mapping; raises ``UsageError`` for one without ``=``."""
    found = {}
    for text in texts:
        key, equals, value = text.partition("=")
        if not equals or not key.strip():
            raise UsageError(f"{text!r} is not KEY=VALUE", todo="write it like rim=steel")
        found[key.strip()] = value.strip()
    return found


def distance(text: str | None) -> Quantity | None:
    """``12345 km`` as a quantity, None for None; raises ``UsageError`` for anything else."""
    if text is None:
        return None
    match = _DISTANCE.fullmatch(text)
    ways = _figures(match[1]) if match else []
    if match is None or not ways:
        raise UsageError(f"{text!r} is no odometer reading", todo="write it like '12345 km'")
    if len(ways) == 1 and Fraction(ways[0]) > FARTHEST[match[2]]:
        raise UsageError(
            f"{text!r} is farther than any motorcycle has gone", todo="look at the odometer again"
        )
    if len(ways) > 1:
        told = " or ".join(f"{way} {match[2]}" for way in ways)
        raise UsageError(f"{text!r} can be {told}", todo="write it without the sign in it")
    return Quantity(Fraction(ways[0]), match[2], text.strip())


def _figures(written: str) -> list[str]:
    """Every number that the figures can be, in plain figures."""
    from fieldlog.language.files import decimal_sign
    from fieldlog.quantities.written import read_written

    if written.isdigit():
        return [written]
    ways = read_written(written, decimal_sign()).ways
    plain = [way.text.strip().replace(",", "") for way in ways if way.sure or len(ways) > 1]
    return [way for way in plain if re.fullmatch(r"\d+(?:\.\d+)?", way)]


def started_at(text: str, zone: str) -> datetime:
    """The instant (UTC) that ``text`` names in ``zone``; a day alone is its noon, UTC.

    Raises ``UsageError`` for what is no day and no instant, and for a zone nobody knows.
    """
    from fieldlog.quantities.written_dates import day_meant, days_meant

    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        if not days_meant(text):
            raise UsageError(
                f"{text!r} is no day and no instant",
                where="--on",
                todo="write it like 2026-03-14 or 2026-03-14T09:05",
            ) from None
        text = day_meant(text, "--on")
        moment = datetime.fromisoformat(text)
    if len(text) <= len("2026-03-14"):
        return moment.replace(hour=12, tzinfo=UTC)
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=zone_called(zone))
    return moment.astimezone(UTC)


def zone_called(zone: str) -> tzinfo:
    """The zone of that offset or IANA name; raises ``UsageError`` when there is none."""
    from fieldlog.photos.when import offset_delta

    delta = offset_delta(zone)
    if delta is not None:
        return timezone(delta)
    try:
        return ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise UsageError(
            f"there is no zone {zone!r}",
            where="--zone",
            todo="write an offset such as +02:00, or a name such as Europe/Oslo",
        ) from None
