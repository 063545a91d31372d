"""In which language things are told, for as long as somebody is told them (pure).

Sentences stand in the reference language where they are made, with their fields named
(``say("{count} rows", count=3)``). A language that is spoken has a table from each of them to its own; what
it lacks stays as it is, and is never left out. Nothing decides by how a thing reads.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Protocol

from fieldlog.model.command import Command
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.limit import Limit
from fieldlog.model.understanding import Understanding
from fieldlog.model.verdict import Judgement, Verdict


class Telling(Protocol):
    """What a language tells in words of its own; ``words.told.TellsIn`` is one."""

    @property
    def sentences(self) -> Mapping[str, str]:
        """Sentence of the reference -> the same here."""

    @property
    def code(self) -> str:
        """ISO 639-1."""

    def figure(self, text: str) -> str:
        """A figure with the decimal sign of the language."""

    def part(self, name: str) -> str:
        """A part by its canonical name."""

    def place(self, position: str | None) -> str:
        """A canonical position."""

    def finding(self, one: Finding) -> str:
        """A finding in one line."""

    def subject(self, one: Finding) -> str:
        """What a finding is about."""

    def value(self, one: Finding) -> str:
        """What was found."""

    def quantity(self, one: Quantity) -> str:
        """A value with its unit."""

    def verdict(self, one: Verdict | None) -> str:
        """How a finding stands."""

    def state_of(self, one: Verdict | Judgement | None) -> str:
        """The same, in a word or two."""

    def asked_for(self, limit: Limit) -> str:
        """What a limit asks for."""

    def question(self, asked: Understanding) -> str:
        """How a question reads."""

    def command(self, word: Command) -> str:
        """What is said for a command."""


_told: ContextVar[Telling | None] = ContextVar("told", default=None)


def telling() -> Telling | None:
    """The language that is told in; None for the reference."""
    return _told.get()


@contextmanager
def told_in(language: Telling | None) -> Iterator[None]:
    """Tell in ``language`` inside; None for the reference."""
    before = _told.set(language)
    try:
        yield
    finally:
        _told.reset(before)


def spoken_code() -> str:
    """ISO 639-1 of the language that is told in."""
    there = _told.get()
    return "en" if there is None else there.code


def say(sentence: str, /, **fields: object) -> str:
    """``sentence`` in the language that is told in, its fields filled."""
    there = _told.get()
    text = sentence if there is None else there.sentences.get(sentence, sentence)
    return text.format(**fields) if fields else text


def translated(sentence: str) -> str:
    """``sentence`` with its fields as they stand, to be filled later."""
    there = _told.get()
    return sentence if there is None else there.sentences.get(sentence, sentence)


def part(name: str) -> str:
    """A part as it is called in the language that is told in."""
    there = _told.get()
    return name if there is None else there.part(name)


def characteristic(component: str, name: str) -> str:
    """A characteristic of a part as it is called in the language that is told in."""
    there = _told.get()
    if there is None:
        return name
    named = there.subject(Finding(component, None, name))
    return named.rpartition(", ")[2]


def figure(text: str) -> str:
    """A figure with the decimal sign of the language that is told in."""
    there = _told.get()
    return text if there is None else there.figure(text)


def place(position: str | None) -> str:
    """A position as it is said in the language that is told in; "" for none."""
    there = _told.get()
    return (position or "") if there is None else there.place(position)


def key(component: str, position: str | None, name: str) -> str:
    """What the reference calls ``name`` ("front tyre"), in the language that is told in."""
    there = _told.get()
    return name if there is None else there.subject(Finding(component, position, None))


def question(asked: Understanding) -> str:
    """How a question reads in the language that is told in."""
    there = _told.get()
    return asked.question_text if there is None else there.question(asked)


def command(said: Understanding) -> str:
    """The command that was said, as it is called in the language that is told in."""
    there = _told.get()
    word = said.dialogue
    return str(word) if there is None or word is None else there.command(word)
