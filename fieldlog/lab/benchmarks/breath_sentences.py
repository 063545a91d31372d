"""The sentences and tails that the benchmark of one breath says: ``sentences.toml``, read."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

FILE = Path(__file__).with_name("sentences.toml")


@dataclass(frozen=True, slots=True)
class Sentence:
    """What is said in one breath, and what it holds, each as it would be said by itself."""

    say: str
    holds: tuple[str, ...]
    """Every finding in order; of a tail what it is once it was put right, else nothing."""
    half: str = ""
    """Of a tail: the finding that it changes, which must never be taken alone."""


def sentences(part: str) -> tuple[Sentence, ...]:
    """Several findings in one breath, for the voices of ``part``."""
    return tuple(Sentence(row["say"], tuple(row["holds"])) for row in _rows(part, "sentences"))


def tails(part: str) -> tuple[Sentence, ...]:
    """A finding and what changes, limits or repairs it, for the voices of ``part``."""
    return tuple(
        Sentence(row["say"], tuple(row.get("right", ())), row["half"])
        for row in _rows(part, "tails")
    )


def _rows(part: str, kind: str) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = tomllib.loads(FILE.read_text(encoding="utf-8"))[part][kind]
    return rows
