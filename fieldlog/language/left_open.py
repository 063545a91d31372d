"""What a mechanic's words tell of a part, and what they leave open to be asked (pure)."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fieldlog.language.reading import Reading
from fieldlog.language.subjects import About
from fieldlog.model.question import Asks, Question
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.words import questions, tell

NOTED = "noted"
"""The detail of a finding that says where on the part it is, or when."""


class Open(StrEnum):
    """What a mechanic's words leave open."""

    NOTHING = "nothing"
    SOUND = "sound"
    """One fault is not there; whether all is well was not said."""
    NEARLY = "nearly"
    """Not there yet, or not sure."""
    MEASURE = "measure"
    """A share of what was there when new: nobody can judge that."""
    HOW = "how"
    """Work is wanted, or was done; how it is was not said."""
    YEAR = "year"
    """A month without its year."""
    NOT_SAID = "not said"
    """A condition that is said of other parts."""
    UNKNOWN = "unknown"
    """Words that nobody knows of it."""
    PIECE = "piece"
    """A piece of a part that has no entry of its own."""
    LIMIT = "limit"
    """A maker's figure was said with the reading."""


@dataclass(frozen=True)
class Worded:
    """The findings that the words may be, and what they leave open; ``about`` is what they are of."""

    about: About
    readings: tuple[Reading, ...] = ()
    open: Open = Open.NOTHING
    piece: str = ""
    """Words of the piece that has no entry, or of the condition that is not said of it."""


def of_everything(text: str) -> Understanding:
    """The question which parts were meant."""
    question = Question(Asks.IN_FULL, questions.OF_WHICH_PARTS)
    return Understanding(
        Decision.ASK, Kind.FINDING, "of which part was not said", text, question=question
    )


def left_open(told: Worded, text: str) -> Understanding:
    """The question for what was left open: a measurement, or how it is."""
    component, place = told.about.component, told.about.position
    one = told.about.characteristic
    measured = [one] if one else [each for each in component.characteristics if each.units]
    if told.open is Open.MEASURE and measured:
        reason = "a share of what it was when new is no measurement"
        asked = questions.measure(component.name, place, measured[0])
    elif told.open is Open.PIECE:
        reason = f"'{told.piece}' of the {component.name} has no entry of its own"
        asked = questions.of_a_piece(component.name, place, told.piece)
    elif told.open is Open.YEAR:
        reason = "a month without its year is no date"
        asked = questions.in_full(questions.which_year(component.name, place))
    else:
        known = dict.fromkeys(condition for _, condition, _ in component.judged())
        reason = "what is to be done was said, not how it is"
        if told.open is Open.NOT_SAID:
            reason = f"'{told.piece}' is not said of the {tell.place(component.name, place)}"
        if told.open is Open.UNKNOWN:
            reason = f"'{told.piece}' is not known of the {tell.place(component.name, place)}"
        asked = questions.how_it_is(component.name, place, tuple(known))
    question = Question(Asks.IN_FULL, asked)
    return Understanding(Decision.ASK, Kind.FINDING, reason, text, question=question)
