"""Reading aftercare's TOML: one collector of faults, so that all of them are told together (pure)."""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from fieldlog.errors import LimitError


@dataclass
class Faults:
    """Every fault of one file, with the row it is in."""

    file: str
    found: list[str] = field(default_factory=list)

    def add(self, row: str, what: str) -> None:
        """Note one more."""
        self.found.append(f"{self.file}: {row}: {what}" if row else f"{self.file}: {what}")

    def stop(self) -> None:
        """Raise ``LimitError`` with all of them; nothing when there are none."""
        if self.found:
            count = "1 fault" if len(self.found) == 1 else f"{len(self.found)} faults"
            raise LimitError(
                "\n  ".join([count, *self.found]), todo="correct the rows named and try again"
            )


def table(text: str, faults: Faults) -> dict[str, Any]:
    """The TOML text as a table; an unreadable one is a fault and empty."""
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # not TOML, or nested beyond reading
        faults.add("", str(error))
        return {}


def rows(
    document: Mapping[str, Any], name: str, keys: Collection[str], faults: Faults
) -> Iterator[tuple[str, dict[str, Any]]]:
    """Rows of ``[[name]]`` with what to call each in a fault; unknown keys are faults."""
    for number, row in enumerate(document.get(name, []), start=1):
        called = str(row.get("id") or row.get("component") or f"{name} {number}")
        for key in sorted(row.keys() - set(keys)):
            faults.add(called, f"unknown key {key!r}; use {', '.join(keys)}")
        yield called, row


def texts(row: Mapping[str, Any], key: str, called: str, faults: Faults) -> tuple[str, ...]:
    """A list of texts; anything else is a fault."""
    value = row.get(key, [])
    if not isinstance(value, list) or not all(isinstance(each, str) for each in value):
        faults.add(called, f"{key}: a list of texts is needed")
        return ()
    return tuple(value)


def count(row: Mapping[str, Any], key: str, called: str, faults: Faults) -> int | None:
    """A whole number above 0, or None where the key is absent."""
    value = row.get(key)
    if value is None:
        return None
    if not isinstance(value, int) or isinstance(value, bool) or value < 1:
        faults.add(called, f"{key}: a whole number above 0 is needed")
        return None
    return value
