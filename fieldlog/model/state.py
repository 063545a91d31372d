"""How a finding stands, and how bad that is."""

from __future__ import annotations

from enum import StrEnum


class State(StrEnum):
    """How a finding stands against its limits."""

    WITHIN = "within"
    MARGINAL = "marginal"
    """A number nearer to a limit than the guard band."""
    FAULTY = "faulty"
    """A fault that no cited or entered row covers, with its severity: by common practice."""
    BEYOND = "beyond"
    UNDECIDED = "undecided"


class Severity(StrEnum):
    """Deficiency classes of directive 2014/45/EU."""

    MINOR = "minor"
    MAJOR = "major"
    DANGEROUS = "dangerous"
