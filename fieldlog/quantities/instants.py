"""Instants as text that programs read back (pure)."""

from __future__ import annotations

from datetime import UTC, datetime


def instant_text(at: datetime) -> str:
    """ISO 8601 in UTC with microseconds and ``Z``; raises ``ValueError`` for a naive time."""
    if at.tzinfo is None:
        raise ValueError(f"{at!r} has no time zone")
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
