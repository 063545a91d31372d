"""What the checks may assume."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class Context:
    """What the checks may assume: jurisdiction (ISO 3166) and settings (``rim``, ``chain``, ...)."""

    jurisdiction: str | None = None
    settings: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
