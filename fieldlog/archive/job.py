"""What is done to each bundle of an archive, what it is called, and how it ended (pure).

A result is named by the hash of all that it follows from: the bundle's own bytes, the job with its
settings, and the files of the program. So a result that is there need not be made again, and one made by
other files of the program never stands for it.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from hashlib import sha256
from typing import Any

Json = dict[str, Any]


class Chore(StrEnum):
    """What an archive can be gone through for."""

    RECHECK = "recheck"
    REHEAR = "rehear"
    REALIGN = "realign"
    REPORT = "report"


@dataclass(frozen=True, slots=True)
class ArchiveJob:
    """One kind of work with its settings, the same for every bundle."""

    kind: Chore
    program: str
    """Hash (hex) of the program's files (``work.program``)."""
    settings: tuple[tuple[str, str], ...] = ()
    """In order of their names: the text of own limit packs, the recogniser, the form of the report."""

    @property
    def key(self) -> str:
        """Its hash (hex): other settings or another program are another job."""
        told = [self.kind.value, self.program, [list(pair) for pair in self.settings]]
        return sha256(json.dumps(told, ensure_ascii=False).encode()).hexdigest()

    @property
    def suffix(self) -> str:
        """Of its results."""
        return "zip" if self.kind is Chore.REPORT else "json"

    def result(self, bundle: str) -> str:
        """The name of the result of the bundle with the SHA-256 ``bundle`` (hex)."""
        whole = sha256(f"{bundle} {self.key}".encode()).hexdigest()
        return f"{self.kind}-{whole}.{self.suffix}"

    @property
    def index(self) -> str:
        """The name of the list of what became of each bundle."""
        return f"{self.kind}-{self.key[:16]}.jsonl"

    def written(self) -> bytes:
        """As a message to a process apart."""
        return json.dumps(
            {"kind": self.kind, "program": self.program, "settings": self.settings}
        ).encode()

    @classmethod
    def read(cls, told: Mapping[str, Any]) -> ArchiveJob:
        """What ``written`` wrote."""
        settings = tuple((str(name), str(value)) for name, value in told["settings"])
        return cls(Chore(told["kind"]), str(told["program"]), settings)


@dataclass(frozen=True, slots=True)
class Ended:
    """What became of one bundle: a result, or why there is none."""

    bundle: str
    """Its path below the folder, with ``/``."""
    sha256: str = ""
    """Of its bytes (hex); empty where they could not be read."""
    result: str = ""
    """The name of its result; empty where there is a ``fault``."""
    fault: str = ""
    """In words why there is none."""
    again: bool = False
    """Whether another try may help: the fault is this machine's, or nobody's."""
    kept: bool = False
    """Whether the result was there already."""

    def line(self) -> str:
        """Of the index: nothing in it depends on when, where or in which order it was done."""
        told = {
            "bundle": self.bundle,
            "sha256": self.sha256 or None,
            "result": self.result or None,
            "fault": self.fault or None,
        }
        return json.dumps(told, ensure_ascii=False)


def index_of(ended: Mapping[str, Ended], bundles: tuple[str, ...]) -> str:
    """A line for each of ``bundles`` in their order; one of which nothing is known says so."""
    nothing = "not gone through: the run ended before"
    return "".join(f"{ended.get(name, Ended(name, fault=nothing)).line()}\n" for name in bundles)
