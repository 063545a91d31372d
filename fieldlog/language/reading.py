"""What words can be read as: a finding with how far it goes, or why they are none (pure)."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

from fieldlog.language.subjects import About
from fieldlog.model.finding import Finding
from fieldlog.model.understanding import Flag


class Standing(IntEnum):
    """How far a reading goes, best first."""

    FITS = 0
    UNPLACED = 1
    """Everything is there but a place it needs."""
    NO_UNIT = 2
    IMPLAUSIBLE = 3


@dataclass(frozen=True)
class Reading:
    """One finding that the words can make."""

    about: About
    finding: Finding
    standing: Standing
    flags: tuple[Flag, ...] = ()
    twin: str = ""
    """Words of another value that this one could be misheard for, when that is plausible too."""


@dataclass(frozen=True, slots=True)
class Unread:
    """Why words are no value here, for people, and whether it was for their unit."""

    reason: str
    wrong_unit: bool = False
