"""Nodes of a grammar as read from JSGF: what a rule may expand to (pure, frozen).

Every node keeps where it was written (``at``), which does not take part in equality: two rules
that say the same thing are equal wherever they stand.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple, TypeAlias


class Position(NamedTuple):
    """A place in a grammar's text; line and column count from 1 (one per token: cheap to make)."""

    file: str
    line: int
    column: int

    def __str__(self) -> str:
        """``file:line:column``, as compilers print it."""
        return f"{self.file}:{self.line}:{self.column}"


NOWHERE = Position("<grammar>", 1, 1)


@dataclass(frozen=True, slots=True)
class Word:
    """One word as a listener says it."""

    text: str
    at: Position = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Reference:
    """``<name>``: the expansion of another rule. Closed grammars hold the qualified name."""

    name: str
    at: Position = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Null:
    """``<NULL>``: matches no words at all."""

    at: Position = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Void:
    """``<VOID>``: can never be spoken."""

    at: Position = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Sequence:
    """One item after the other."""

    items: tuple[Expression, ...]
    at: Position = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Alternative:
    """One of several choices; ``weights`` are as written, one per choice, or None."""

    choices: tuple[Expression, ...]
    weights: tuple[float, ...] | None = None
    at: Position = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Option:
    """``[item]``: the item or nothing."""

    item: Expression
    at: Position = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Repeat:
    """``item*`` (``minimum`` 0) or ``item+`` (``minimum`` 1)."""

    item: Expression
    minimum: int
    at: Position = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Tagged:
    """``item {tag}``: the words that ``item`` matches fill the slot ``tag``."""

    item: Expression
    tag: str
    at: Position = field(default=NOWHERE, compare=False, repr=False)


Expression: TypeAlias = (
    Word | Reference | Null | Void | Sequence | Alternative | Option | Repeat | Tagged
)


@dataclass(frozen=True, slots=True)
class Rule:
    """``[public] <name> = expression;``."""

    name: str
    expression: Expression
    public: bool = False
    at: Position = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Import:
    """``import <grammar.rule>;`` or ``import <grammar.*>;`` (``rule`` is then ``*``)."""

    grammar: str
    rule: str
    at: Position = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Document:
    """One JSGF text: its declared name, imports and rules in the order written."""

    name: str
    rules: tuple[Rule, ...]
    imports: tuple[Import, ...] = ()
    at: Position = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """Something wrong with a grammar, and where. A warning does not stop it from being used."""

    at: Position
    message: str
    warning: bool = False

    def __str__(self) -> str:
        """``file:line:column: message``."""
        return f"{self.at}: {'warning: ' if self.warning else ''}{self.message}"


_LEAVES = (Word, Reference)


def children(expression: Expression) -> tuple[Expression, ...]:
    """The expressions directly inside ``expression``."""
    match expression:
        case Word() | Reference():  # most of them
            return ()
        case Sequence(items=items):
            return items
        case Alternative(choices=choices):
            return choices
        case Option(item=item) | Repeat(item=item) | Tagged(item=item):
            return (item,)
        case _:
            return ()


def inside(expression: Expression) -> Iterator[Expression]:
    """``expression`` and every expression in it, in the order written."""
    waiting = [expression]
    while waiting:
        one = waiting.pop()
        yield one
        if not isinstance(one, _LEAVES):  # most of them are
            waiting.extend(reversed(children(one)))
