"""fieldlog: an offline voice-and-photo field logger for motorcycle inspections.

The names of ``__all__`` are what a program needs to drive a workshop (docs/api.md); each is imported
when it is first asked for, so that ``import fieldlog`` alone loads nothing of it.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from fieldlog.config import VERSION

if TYPE_CHECKING:
    from fieldlog.errors import FieldlogError, StoreError, UsageError
    from fieldlog.model.context import Context
    from fieldlog.model.finding import Finding, Quantity
    from fieldlog.model.limit import Limit
    from fieldlog.model.state import Severity, State
    from fieldlog.model.understanding import Decision, Understanding
    from fieldlog.model.verdict import Verdict
    from fieldlog.shop import events
    from fieldlog.shop.events import Event
    from fieldlog.shop.inspecting import Inspecting
    from fieldlog.shop.workshop import Workshop
    from fieldlog.store.records import InspectionRecord, Vehicle

__version__ = VERSION
__all__ = [
    "Context",
    "Decision",
    "Event",
    "FieldlogError",
    "Finding",
    "Inspecting",
    "InspectionRecord",
    "Limit",
    "Quantity",
    "Severity",
    "State",
    "StoreError",
    "Understanding",
    "UsageError",
    "Vehicle",
    "Verdict",
    "Workshop",
    "__version__",
    "events",
]

_HOMES = {
    "Context": "model.context",
    "Decision": "model.understanding",
    "Finding": "model.finding",
    "Limit": "model.limit",
    "Quantity": "model.finding",
    "Severity": "model.state",
    "State": "model.state",
    "Understanding": "model.understanding",
    "Verdict": "model.verdict",
    "FieldlogError": "errors",
    "StoreError": "errors",
    "UsageError": "errors",
    "Event": "shop.events",
    "Inspecting": "shop.inspecting",
    "Workshop": "shop.workshop",
    "InspectionRecord": "store.records",
    "Vehicle": "store.records",
}
"""Where each name is, but for the module ``events``."""


def __getattr__(name: str) -> Any:
    """A name of ``__all__`` from the module that has it (PEP 562), kept for the next time."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    if name == "events":
        return import_module("fieldlog.shop.events")
    value = getattr(import_module(f"fieldlog.{_HOMES[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """What can be asked for, imported or not."""
    return sorted({*globals(), *__all__})
