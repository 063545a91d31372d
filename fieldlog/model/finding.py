"""What somebody found: a part, what of it, and the value, condition or code."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction


class Qualifier(StrEnum):
    """A word that says on which side of the spoken number the value lies."""

    ABOUT = "about"
    LESS = "less than"
    MORE = "more than"


@dataclass(frozen=True, slots=True)
class Quantity:
    """An exact value with the unit that was said and the words it was said in.

    ``unit`` is an ASCII symbol after NIST SP 811 (see ``fieldlog.quantities.units``); a plain ratio has unit
    ``"1"``. A range keeps both ends: ``value`` is the lower and ``high`` the upper end.
    ``uncertainty`` is the expanded uncertainty U (k = 2) in the same unit, when declared.
    """

    value: Fraction
    unit: str
    words: str = ""
    high: Fraction | None = None
    qualifier: Qualifier | None = None
    uncertainty: Fraction | None = None


class Says(StrEnum):
    """What sort of thing a finding says of its part."""

    VALUE = "value"
    STATE = "state"
    """A condition other than sound."""
    SOUND = "sound"
    NOTHING = "nothing"

    def leaves_out(self, was: str) -> bool:
        """Whether one that says this says nothing of what another said: "fine" of a fault or of a value.

        ``was`` is of the other; one of a later version, not known here, is left out by nothing.
        """
        lost = {Says.VALUE: self is not Says.VALUE, Says.STATE: self in (Says.VALUE, Says.SOUND)}
        return self is not Says.NOTHING and any(was == one and gone for one, gone in lost.items())


@dataclass(frozen=True, slots=True)
class Finding:
    """Component + position + characteristic + (quantity, condition or code), from one utterance.

    ``component``, ``position`` and ``characteristic`` are canonical names of the catalogue in plain
    lower-case English ("brake pads", "front", "thickness"). Exactly one of ``quantity``,
    ``condition`` and ``code`` is set, unless the finding is incomplete. ``readings`` holds every
    reading where several were spoken ("nought, point two, point one"); ``code`` is a grade, size,
    date or date code as canonical text ("DOT 5.1", "2501"). ``given`` holds settings of the check that
    were said with the value ("... at twenty five feet"), each as ``--set`` takes it.
    """

    component: str
    position: str | None
    characteristic: str | None
    quantity: Quantity | None = None
    condition: str | None = None
    code: str | None = None
    readings: tuple[Quantity, ...] = ()
    words: str = ""
    given: tuple[tuple[str, str], ...] = ()

    @property
    def subject(self) -> tuple[str, str | None, str | None]:
        """What it is about."""
        return self.component, self.position, self.characteristic

    @property
    def says(self) -> Says:
        """What sort of thing it says."""
        if self.quantity is not None or self.readings or self.code is not None:
            return Says.VALUE
        if self.condition is None:
            return Says.NOTHING
        return Says.SOUND if self.condition == Says.SOUND else Says.STATE

    def alike(self, other: Finding) -> bool:
        """Whether it says the same as ``other``, of this place or another."""
        return replace(self, position=other.position).meaning == other.meaning

    @property
    def meaning(self) -> tuple[object, ...]:
        """What two findings must share to mean the same, whatever the words."""
        values = (self.quantity,) if self.quantity else self.readings
        return (
            *self.subject,
            self.condition,
            self.code,
            self.given,
            *((q.value, q.high, q.unit, q.qualifier) for q in values),
        )
