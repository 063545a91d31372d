"""What the catalogue says of a component: names, places, what is measured and judged (pure, frozen).

Canonical names are plain lower-case English with spaces. Words that are spoken are written as JSGF
expansions ("[brake] (pads | pad)"), so that an entry may use options and choices, or just list
phrases.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from fieldlog.model.state import Severity
from fieldlog.quantities.code_reading import CodeKind
from fieldlog.quantities.units import convert, dimension

SOUND = "sound"
"""The canonical condition of what is as it should be."""

CONDITION = "condition"
"""The characteristic of a finding that judges the component as a whole."""

WORK = "work"
"""The characteristic of a finding that says what was done to it: "replaced". Nothing is judged by it."""

NOT_WORKED_ON = frozenset({"papers", "equipment"})
"""Systems on which no work is done."""

DIRTY = "dirty"
"""The condition that hides what is under it: what is dirty is cleaned and looked at again."""

DIRT_IS_LOOKED_FOR = frozenset({"fluids", "filters"})
"""Systems of which dirt is what one looks for."""


@dataclass(frozen=True, slots=True)
class Axis:
    """One way of telling several of a component apart: ``end``, ``side``, ``cell``...

    Without the words of a ``required`` axis a finding is incomplete and its position is asked for.
    """

    name: str
    required: bool


@dataclass(frozen=True, slots=True)
class Range:
    """Values that can be: ``low <= value <= high``, both in ``unit``."""

    low: Fraction
    high: Fraction
    unit: str

    def holds(self, value: Fraction, unit: str) -> bool:
        """Whether ``value`` of ``unit`` lies in the range; False for another dimension."""
        if dimension(unit) != dimension(self.unit):
            return False
        return self.low <= convert(value, unit, self.unit) <= self.high


@dataclass(frozen=True, slots=True)
class UsualUncertainty:
    """Default expanded uncertainty U (k = 2) of a measurement, with the instrument it is meant for.

    ``relative``: ``value`` is a share of the reading (0.04 = 4 %) and ``unit`` is ``"1"``.
    """

    value: Fraction
    unit: str
    relative: bool
    instrument: str

    def of(self, reading: Fraction, unit: str) -> Fraction:
        """U in ``unit`` for a ``reading`` in ``unit`` (a temperature is taken as a difference)."""
        if self.relative:
            return abs(reading) * self.value
        return convert(self.value, self.unit, unit, difference=True)


@dataclass(frozen=True, slots=True)
class Given:
    """A setting of the check that may be said with the value: "... at twenty five feet".

    Or, with ``before``, how many or how much, said before a condition: "two missing", "half a quart
    low". That is kept with the finding and not checked: the condition is what is judged.
    """

    setting: str
    words: tuple[str, ...]
    """What stands before it: ``at``, ``over``."""
    units: tuple[str, ...]
    before: tuple[str, ...] = ()
    """The conditions before which it is said."""

    @property
    def counted(self) -> bool:
        """Whether it is a plain count, which may be said first of all: "two spokes missing"."""
        return bool(self.before) and self.units == ("1",)


@dataclass(frozen=True, slots=True)
class Beyond:
    """What follows when a finding is beyond: the work, the parts that go together, consumables."""

    do: str = ""
    parts: tuple[str, ...] = ()
    consumables: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Characteristic:
    """Something measured, read or judged on a component.

    ``units``: allowed units, in the order they are offered; empty when nothing is measured.
    ``said``: how numbers are said (``decimal``, ``thirty seconds``, ``compact volts``...).
    ``code``: kind of code ("date code", "oil grade"...) instead of a quantity, or None.
    ``words`` follow the component's name; ``alone`` stand in for it ("rear tread"); ``behind``
    follow the value and name it as well ("thirty millimetres of slack").
    ``named``: its words must be said; otherwise the unit alone tells what is meant.
    ``readings``: how many values one utterance may carry (1: no series).
    ``dial``: those are readings of a dial, which stands at zero anywhere: below zero is plausible.
    ``given``: settings of its check that may be said with the value.
    ``ranges``: plausible values, one range per dimension.
    ``conditions``: condition -> severity, None when it is as it should be.
    ``beyond``: what follows when this is beyond, where it is not what the component says.
    """

    name: str
    words: tuple[str, ...] = ()
    alone: tuple[str, ...] = ()
    behind: tuple[str, ...] = ()
    named: bool = False
    units: tuple[str, ...] = ()
    said: tuple[str, ...] = ()
    code: CodeKind | None = None
    axes: tuple[Axis, ...] = ()
    readings: int = 1
    dial: bool = False
    given: tuple[Given, ...] = ()
    ranges: tuple[Range, ...] = ()
    uncertainties: tuple[UsualUncertainty, ...] = ()
    conditions: Mapping[str, Severity | None] = field(default_factory=dict)
    say: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    typed: tuple[str, ...] = ()
    """Further ``words``, which listeners are not offered; ``typed_say``: the same of ``say``."""
    typed_say: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    how_to_check: str = ""
    beyond: Beyond | None = None

    def plausible(self, value: Fraction, unit: str) -> bool:
        """Whether ``value`` of ``unit`` can be; True where the catalogue gives no range."""
        fitting = [r for r in self.ranges if dimension(r.unit) == dimension(unit)]
        return all(r.holds(value, unit) for r in fitting)

    def plausible_reading(self, value: Fraction, unit: str) -> bool:
        """The same for one reading of several; a dial's needle goes to either side of its zero."""
        return self.plausible(abs(value) if self.dial else value, unit)

    def uncertainty(self, unit: str) -> UsualUncertainty | None:
        """The default uncertainty for readings in ``unit``, or None."""
        for known in self.uncertainties:
            if known.relative or dimension(known.unit) == dimension(unit):
                return known
        return None

    @property
    def dimensions(self) -> frozenset[str]:
        """Dimensions of the allowed units."""
        return frozenset(dimension(unit) for unit in self.units)


@dataclass(frozen=True, slots=True)
class CautionClass:
    """What can hurt in one way, wherever it is met: lifting, fuel, what is hot."""

    name: str
    says: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Component:
    """One entry of the catalogue."""

    name: str
    system: str
    spoken: tuple[str, ...]
    axes: tuple[Axis, ...] = ()
    conditions: Mapping[str, Severity | None] = field(default_factory=dict)
    say: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    characteristics: tuple[Characteristic, ...] = ()
    given: tuple[Given, ...] = ()
    holds: tuple[str, ...] = ()
    """What is in it anyway: "oil in the fork" is no fault, "oil on the fork" is one."""
    typed: tuple[str, ...] = ()
    """Further names, which listeners are not offered; ``typed_say``: the same of ``say``."""
    typed_say: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    how_to_check: str = ""
    cautions: tuple[str, ...] = ()
    """Its own; ``warned`` has those of its classes as well."""
    beyond: Beyond = Beyond()
    classes: tuple[CautionClass, ...] = ()

    @property
    def warned(self) -> tuple[str, ...]:
        """Every caution of it: of its classes, then its own."""
        said = (text for each in self.classes for text in each.says)
        return tuple(dict.fromkeys((*said, *self.cautions)))

    def characteristic(self, name: str | None) -> Characteristic | None:
        """The characteristic of that name, or None ("condition" is the component as a whole)."""
        return next((c for c in self.characteristics if c.name == name), None)

    def follows(self, characteristic: str | None) -> Beyond:
        """What follows when that characteristic is beyond: its own, else the component's."""
        found = self.characteristic(characteristic)
        return found.beyond if found is not None and found.beyond is not None else self.beyond

    def severity(self, condition: str, characteristic: str | None = None) -> Severity | None:
        """How bad ``condition`` is; None when it is as it should be. Raises ``KeyError``."""
        found = self.characteristic(characteristic)
        if found is not None and condition in found.conditions:
            return found.conditions[condition]
        return self.conditions[condition]

    def judged(self) -> Iterator[tuple[str, str, Severity | None]]:
        """Every (characteristic, condition, severity) that can be found on it."""
        for condition, severity in self.conditions.items():
            yield CONDITION, condition, severity
        for characteristic in self.characteristics:
            for condition, severity in characteristic.conditions.items():
                yield characteristic.name, condition, severity


@dataclass(frozen=True)
class Catalogue:
    """Every component by canonical name, in the order of the walk (system by system)."""

    components: Mapping[str, Component]
    at_start: tuple[CautionClass, ...] = ()
    """What is said before an inspection begins, whatever will be found."""

    def __iter__(self) -> Iterator[Component]:
        """The components in order."""
        return iter(self.components.values())

    def __getitem__(self, name: str) -> Component:
        """The component of that canonical name; raises ``KeyError``."""
        return self.components[name]

    def get(self, name: str) -> Component | None:
        """The component of that canonical name, or None."""
        return self.components.get(name)

    @property
    def heard(self) -> tuple[Component, ...]:
        """Those that listeners are offered; the others are only typed."""
        return tuple(component for component in self if component.spoken)

    @property
    def systems(self) -> tuple[str, ...]:
        """The systems in order."""
        return tuple(dict.fromkeys(component.system for component in self))

    def of_system(self, system: str) -> tuple[Component, ...]:
        """The components of one system in order."""
        return tuple(component for component in self if component.system == system)
