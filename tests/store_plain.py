"""What a store holds as plain JSON values, to compare stores and what was written down of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import datetime
from enum import Enum
from fractions import Fraction

from fieldlog.store.repository import Repository


def plain(value: object) -> object:
    """``value`` with dataclasses as objects, exact numbers as ``n/d``, instants as ISO 8601."""
    if is_dataclass(value):
        return {part.name: plain(getattr(value, part.name)) for part in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, Enum):
        return plain(value.value)
    if isinstance(value, Fraction):
        return f"{value.numerator}/{value.denominator}"
    return value.isoformat() if isinstance(value, datetime) else value


def everything(store: Repository) -> dict[str, object]:
    """Vehicles, inspections with all that is in them, and histories of a store."""
    vehicles = store.vehicles()
    return {
        "vehicles": plain(vehicles),
        "inspections": [plain(store.inspection_record(each.id)) for each in store.inspections()],
        "history": {each.id: plain(store.history(each.id)) for each in vehicles},
        "remarks": {each.id: plain(store.remarks(each.id)) for each in vehicles},
    }
