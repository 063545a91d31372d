"""Rows of sessions that were cut off, kept as they come: a campaign in pieces adds up."""

from __future__ import annotations

import json
import subprocess
from collections import Counter
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any

from fieldlog.lab.crash.rounds import Fell

LATE = "late"


class Rows:
    """What became of each session, in a file of a JSON object a line; kept nowhere without a path.

    A row is written before the next session begins, and never taken back: what was lost once stays on the page.
    """

    def __init__(self, path: Path | None) -> None:
        """Read what stands there."""
        self._path = path
        self._rows: list[dict[str, Any]] = []
        self._code = code()
        if path is not None and path.exists():
            self._rows = [json.loads(line) for line in path.read_text("utf-8").splitlines()]

    def of(self, kind: str) -> list[Fell]:
        """The sessions that were cut off in that way."""
        return [_fell(row) for row in self._rows if row["kind"] == kind]

    def missing(self, kind: str, wanted: int) -> bool:
        """Whether there are fewer of them."""
        return len(self.of(kind)) < wanted

    @property
    def count(self) -> int:
        """How many sessions there are of any kind."""
        return len(self._rows) - self.late

    @property
    def late(self) -> int:
        """How many sessions were over before they could be killed."""
        return sum(row["kind"] == LATE for row in self._rows)

    @property
    def codes(self) -> dict[str, int]:
        """How many sessions ran which commit."""
        return dict(Counter(row["code"] for row in self._rows if row["kind"] != LATE))

    def add(self, kind: str, fell: Fell) -> None:
        """One more."""
        self._add({"kind": kind, "code": self._code, **asdict(fell)})

    def add_late(self) -> None:
        """One that was over."""
        self._add({"kind": LATE, "code": self._code})

    def _add(self, row: dict[str, Any]) -> None:
        self._rows.append(row)
        if self._path is not None:
            with self._path.open("a", encoding="utf-8") as file:
                file.write(json.dumps(row) + "\n")


def _fell(row: dict[str, Any]) -> Fell:
    known = {each.name for each in fields(Fell)}
    values: dict[str, Any] = {key: value for key, value in row.items() if key in known}
    for key in ("lost", "doubled", "wrong"):
        values[key] = tuple(values[key])
    return Fell(**values)


def code() -> str:
    """The commit that is run, with a mark where files differ from it; "unknown" outside a checkout."""
    here = Path(__file__).parent
    told = subprocess.run(
        ["git", "describe", "--always", "--dirty", "--abbrev=7", "--exclude=*"],
        cwd=here, capture_output=True, text=True, check=False,
    )  # fmt: skip
    return told.stdout.strip() or "unknown"
