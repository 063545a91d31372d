"""Guideline tightening torque of a metric bolt (pure): advice only, never a verdict.

Formulas of VDI 2230:2001 for a bolt used to 90 % of its yield point in tightening:

    F_M = As * 0.9 * Rp0.2 / sqrt(1 + 3 * (1.5 * d2/d0 * (P / (pi d2) + 1.155 mu))^2)
    M_A = F_M * (0.159 P + 0.577 d2 mu + D_Km/2 mu)

The vehicle maker's value always comes first; a guideline must carry its edition and its friction,
since tables differ by a tenth (25 N.m in a DIN-type table, 27.2 N.m here, for M8 8.8 at 0.14).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

EDITION = "VDI 2230:2001 formula, 90 % of yield"

YIELD_N_MM2 = {"8.8": 640.0, "10.9": 940.0, "12.9": 1100.0}
"""Rp0.2 by property class, N/mm2 (ISO 898-1)."""


@dataclass(frozen=True, slots=True)
class Thread:
    """A metric thread with its hexagon head, millimetres."""

    name: str
    diameter: float
    pitch: float
    head_bearing: float
    """Outer diameter of the hexagon's bearing face (dw)."""
    hole: float
    """Clearance hole, ISO 273 medium."""

    @property
    def pitch_diameter(self) -> float:
        """d2 = d - 0.64952 P (ISO 724)."""
        return self.diameter - 0.64952 * self.pitch

    @property
    def root_diameter(self) -> float:
        """d3 = d - 1.22687 P (ISO 724)."""
        return self.diameter - 1.22687 * self.pitch

    @property
    def stress_area(self) -> float:
        """As = pi/4 * ((d2 + d3) / 2)^2, mm2 (ISO 898-1)."""
        return math.pi / 4 * ((self.pitch_diameter + self.root_diameter) / 2) ** 2


THREADS: dict[str, Thread] = {
    thread.name: thread
    for thread in (
        Thread("M5", 5, 0.8, 6.88, 5.5), Thread("M6", 6, 1.0, 8.88, 6.6),
        Thread("M8", 8, 1.25, 11.63, 9.0), Thread("M8x1", 8, 1.0, 11.63, 9.0),
        Thread("M10", 10, 1.5, 14.63, 11.0), Thread("M10x1.25", 10, 1.25, 14.63, 11.0),
        Thread("M12", 12, 1.75, 16.63, 13.5), Thread("M12x1.25", 12, 1.25, 16.63, 13.5),
    )
}  # fmt: skip
"""Thread designation -> dimensions (coarse unless the pitch is named)."""


def preload_n(thread: Thread, property_class: str, friction: float) -> float:
    """Assembly preload F_M in newtons. Raises ``KeyError`` for an unknown property class."""
    d2 = thread.pitch_diameter
    d0 = (d2 + thread.root_diameter) / 2
    twist = 1.5 * (d2 / d0) * (thread.pitch / (math.pi * d2) + 1.155 * friction)
    return thread.stress_area * 0.9 * YIELD_N_MM2[property_class] / math.sqrt(1 + 3 * twist**2)


def guideline_nm(thread: Thread, property_class: str, friction: float = 0.14) -> float:
    """Tightening torque M_A in N.m at the given friction. Raises like ``preload_n``."""
    under_head = (thread.head_bearing + thread.hole) / 2
    lever_mm = (
        0.159 * thread.pitch + 0.577 * thread.pitch_diameter * friction + under_head / 2 * friction
    )
    return preload_n(thread, property_class, friction) * lever_mm / 1000
