"""Words -> every derivation, with its slots and the tree of the rules entered (pure).

Top-down with memo: an expression tried at a word gives each end it can reach with the distinct
outcomes (slots, trees) of getting there. What cannot begin with the word at hand is not entered
(FIRST sets), so a choice of hundreds costs one dictionary look-up. Left recursion is refused when
a grammar is closed, so this ends; rules that recurse to the right are worked out from the last
word backwards, so long utterances do not nest deeply.

Slots: a slot holds the words that went into it, each once and in spoken order, also when it was
filled in several places (JSGF gives each token its tags and leaves what to make of them to the
application). A slot that matched no words is not set.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple, TypeAlias

from fieldlog.grammar import expression as ex
from fieldlog.grammar.check import in_order, nullable_rules

MAX_WORDS = 400
"""Longer texts are nobody's utterance (ten words a second for 30 s would be 300)."""

MAX_OUTCOMES = 64
"""Outcomes kept per expression, place and end. Where there are more, those that fill slots
differently are kept first and the parse is marked as not ``complete``."""


class Tree(NamedTuple):
    """A named rule that was entered: words ``start`` to ``end`` (excluded), and those inside it."""

    rule: str
    start: int
    end: int
    children: tuple[Tree, ...]

    @property
    def name(self) -> str:
        """The rule's name without its grammar."""
        return self.rule.rpartition(".")[2]

    def walk(self) -> Iterator[Tree]:
        """This rule and all inside it, outermost first, in spoken order."""
        yield self
        for child in self.children:
            yield from child.walk()

    def find(self, name: str) -> Tree | None:
        """The first rule of that name (plain or qualified) in ``walk`` order, or None."""
        return next((tree for tree in self.walk() if name in (tree.rule, tree.name)), None)


Filling: TypeAlias = tuple[tuple[str, int], ...]
"""Slots in alphabetical order, each with the places of its words: bit n stands for word n."""


@dataclass(frozen=True)
class Parse:
    """One derivation of ``words``."""

    words: tuple[str, ...]
    filling: Filling
    tree: Tree
    """The public rule, with the named rules entered below it."""
    complete: bool = True
    """False when there were too many derivations to keep them all: then more may be meant."""

    @cached_property
    def slots(self) -> dict[str, str]:
        """Slot -> the words that went into it, each once, in spoken order."""
        return {
            slot: " ".join(word for place, word in enumerate(self.words) if places >> place & 1)
            for slot, places in self.filling
        }

    def text(self, tree: Tree | None = None) -> str:
        """The words under ``tree``, or all of them."""
        return " ".join(self.words if tree is None else self.words[tree.start : tree.end])


_Outcome: TypeAlias = tuple[Filling, tuple[Tree, ...]]
_Ends: TypeAlias = dict[int, tuple[_Outcome, ...]]
_NOTHING: _Ends = {}
_PLAIN: tuple[_Outcome, ...] = (((), ()),)


class _Run:
    """One parse under way: the words and what has been worked out so far."""

    __slots__ = ("complete", "length", "memo", "said", "words")

    def __init__(self, words: Sequence[str]) -> None:
        self.words: tuple[str | None, ...] = (*words, None)  # behind the last one: none that fits
        self.said = frozenset(words)
        self.length = len(words)
        self.memo: dict[tuple[int, int], _Ends] = {}
        self.complete = True


_NO_WORDS: frozenset[str] = frozenset()


class _Node:
    """A compiled expression. ``first``: words it may begin with; ``empty``: may match none.

    ``needs``: words of which one at least is in whatever it matches; none where nothing is known.
    """

    __slots__ = ("empty", "first", "needs", "number")

    def __init__(self) -> None:
        self.first = _NO_WORDS
        self.needs = _NO_WORDS
        self.empty = False
        self.number = -1

    def settle(self) -> None:
        """Find out ``first`` and ``needs`` from those of what is inside."""

    def at(self, run: _Run, start: int) -> _Ends:
        """Ends reachable from ``start`` with their outcomes."""
        if self.empty or run.words[start] in self.first:
            return self.match(run, start)
        return _NOTHING

    def match(self, run: _Run, start: int) -> _Ends:
        """As ``at``, once the first word is known to fit (or none is needed).

        What fits a rule, a tag, a choice of those that may begin so or the first of a sequence fits
        what is inside it too: only what comes later has to be looked at again.
        """
        return {start: _PLAIN}


class _Inside(_Node):
    """What begins and ends as the one thing inside it."""

    __slots__ = ("item",)
    item: _Node

    def settle(self) -> None:
        self.first = self.item.first
        if not self.empty:
            self.needs = self.item.needs


class _Word(_Node):
    __slots__ = ()

    def match(self, run: _Run, start: int) -> _Ends:
        return {start + 1: _PLAIN}


class _Sequence(_Node):
    __slots__ = ("items",)
    items: tuple[_Node, ...]

    def settle(self) -> None:
        first = self.items[0].first
        if self.items[0].empty:
            for item in self.items[1:]:
                first |= item.first
                if not item.empty:
                    break
        self.first = first
        if not self.empty:
            known = [item.needs for item in self.items if item.needs]
            self.needs = min(known, key=len) if known else _NO_WORDS

    def match(self, run: _Run, start: int) -> _Ends:
        first, *others = self.items
        ends = first.match(run, start)
        for item in others:
            if not ends:
                break
            ends = _extend(ends, item, run)
        return ends


class _Choice(_Node):
    __slots__ = ("always", "by_word", "choices")
    choices: tuple[_Node, ...]
    by_word: dict[str | None, tuple[_Node, ...]] | None
    always: tuple[_Node, ...]

    def __init__(self) -> None:
        super().__init__()
        self.by_word = None

    def settle(self) -> None:
        self.first = _NO_WORDS.union(*[choice.first for choice in self.choices])
        if not self.empty:
            each = [choice.needs for choice in self.choices]
            self.needs = _NO_WORDS.union(*each) if all(each) else _NO_WORDS

    def match(self, run: _Run, start: int) -> _Ends:
        if self.by_word is None:  # most are never come to
            self.by_word = _index(self)
        fitting = self.by_word.get(run.words[start], self.always)
        if len(fitting) == 1:
            return fitting[0].match(run, start)
        ends: _Ends = {}
        for choice in fitting:
            if choice.needs and choice.needs.isdisjoint(run.said):
                continue  # of hundreds that begin with "front", few name what was said
            for end, outcomes in choice.match(run, start).items():
                ends[end] = _union(ends[end], outcomes, run) if end in ends else outcomes
        return ends


class _Repeat(_Inside):
    __slots__ = ("minimum",)
    minimum: int

    def match(self, run: _Run, start: int) -> _Ends:
        key = (self.number, start)
        if key in run.memo:
            return run.memo[key]
        # Ends are taken in order, so that all ways to one are known before going on from it.
        ends: _Ends = {}
        waiting: _Ends = {start: _PLAIN}
        while waiting:
            here = min(waiting)
            outcomes = waiting.pop(here)
            if here > start or self.minimum == 0:
                ends[here] = outcomes
            for end, more in _extend({here: outcomes}, self.item, run).items():
                if end > here:
                    waiting[end] = _union(waiting[end], more, run) if end in waiting else more
        run.memo[key] = ends
        return ends


class _Tagged(_Inside):
    __slots__ = ("tag",)
    tag: str

    def match(self, run: _Run, start: int) -> _Ends:
        ends: _Ends = {}
        for end, outcomes in self.item.match(run, start).items():
            if end > start:
                own: Filling = ((self.tag, (1 << end) - (1 << start)),)
                tagged = tuple((_fill(own, filling), trees) for filling, trees in outcomes)
                outcomes = tagged if len(tagged) == 1 else _union((), tagged, run)
            ends[end] = outcomes
        return ends


class _Rule(_Inside):
    __slots__ = ("name",)
    name: str

    def match(self, run: _Run, start: int) -> _Ends:
        key = (self.number, start)
        known = run.memo.get(key)
        if known is None:
            known = run.memo[key] = {
                end: tuple(
                    (filling, (Tree(self.name, start, end, trees),)) for filling, trees in outcomes
                )
                for end, outcomes in self.item.match(run, start).items()
            }
        return known


def _extend(ends: _Ends, item: _Node, run: _Run) -> _Ends:
    """What follows when ``item`` comes next after each of ``ends``."""
    if len(ends) == 1:
        ((start, outcomes),) = ends.items()
        if outcomes is _PLAIN:
            return item.at(run, start)
    result: _Ends = {}
    for start, outcomes in ends.items():
        for end, more in item.at(run, start).items():
            if more is _PLAIN:
                joined = outcomes
            elif outcomes is _PLAIN:
                joined = more
            else:
                joined = tuple(
                    (_fill(filling, filling2), trees + trees2)
                    for filling, trees in outcomes
                    for filling2, trees2 in more
                )
                if len(joined) > 1:
                    joined = _union((), joined, run)
            result[end] = _union(result[end], joined, run) if end in result else joined
    return result


def _fill(left: Filling, right: Filling) -> Filling:
    """Both fillings together."""
    if not left or not right:
        return left or right
    places = dict(left)
    for slot, more in right:
        places[slot] = places.get(slot, 0) | more
    return tuple(sorted(places.items()))


def _union(
    left: tuple[_Outcome, ...], right: tuple[_Outcome, ...], run: _Run
) -> tuple[_Outcome, ...]:
    """The distinct outcomes of both; of too many, those with fillings of their own go first."""
    merged = dict.fromkeys(left)
    merged.update(dict.fromkeys(right))
    if len(merged) <= MAX_OUTCOMES:
        return tuple(merged)
    run.complete = False
    first = {filling: (filling, trees) for filling, trees in reversed(merged)}
    kept = dict.fromkeys([*reversed(first.values()), *merged])
    return tuple(kept)[:MAX_OUTCOMES]


class Parser:
    """A grammar's rules compiled for parsing; holds no state between parses."""

    def __init__(self, rules: Mapping[str, ex.Rule]) -> None:
        """Compile ``rules``, which must be closed."""
        order, recursive = in_order(rules)
        empty = nullable_rules(rules) if recursive else _NO_WORDS
        self._rules: dict[str, _Rule] = {}
        self._nodes: list[_Node] = []
        self._words: dict[str, _Word] = {}
        for name in rules:
            self._rules[name] = entry = _Rule()
            entry.name = name
            entry.empty = name in empty
        for name in order:  # what is inside a rule is known before the rule
            entry = self._rules[name]
            entry.item = self._compile(rules[name].expression)
            entry.empty = entry.empty or entry.item.empty
            self._add(entry)
        if recursive:
            self._settle_recursive()
        self._recursive = tuple(self._rules[name] for name in rules if name in recursive)

    def parse(self, words: Sequence[str], start: Sequence[str]) -> tuple[Parse, ...]:
        """Every derivation of all ``words`` from one of the rules ``start`` (qualified names)."""
        if len(words) > MAX_WORDS or not words:
            return ()
        run = _Run(words)
        for place in range(run.length - 1, -1, -1) if self._recursive else ():
            for rule in self._recursive:
                rule.at(run, place)
        found: dict[_Outcome, None] = {}
        for name in start:
            for outcome in self._rules[name].at(run, 0).get(run.length, ()):
                found[outcome] = None
        spoken = tuple(words)
        return tuple(Parse(spoken, filling, trees[0], run.complete) for filling, trees in found)

    def prefixes(self, words: Sequence[str], rule: str) -> tuple[Parse, ...]:
        """Every derivation of any number of first words from ``rule`` (qualified), longest first."""
        if len(words) > MAX_WORDS or not words:
            return ()
        run = _Run(words)
        ends = self._rules[rule].at(run, 0)
        return tuple(
            Parse(tuple(words[:end]), filling, trees[0], run.complete)
            for end in sorted(ends, reverse=True)
            for filling, trees in ends[end]
        )

    def _compile(self, expression: ex.Expression) -> _Node:
        node: _Node
        match expression:
            case ex.Reference(name=name):
                return self._rules[name]
            case ex.Word(text=text):
                known = self._words.get(text)
                if known is None:
                    known = self._words[text] = _Word()
                    known.first = known.needs = frozenset((text,))
                    self._add(known)
                return known
            case ex.Sequence(items=items):
                node = sequence = _Sequence()
                sequence.items = tuple([self._compile(item) for item in items])
                node.empty = all(item.empty for item in sequence.items)
            case ex.Alternative(choices=choices):
                node = choice = _Choice()
                choice.choices = tuple([self._compile(each) for each in choices])
                node.empty = any(each.empty for each in choice.choices)
            case ex.Option(item=item):
                node = option = _Choice()
                nothing = _Node()
                nothing.empty = True
                option.choices = (self._compile(item), nothing)
                node.empty = True
            case ex.Repeat(item=item, minimum=minimum):
                node = repeat = _Repeat()
                repeat.item, repeat.minimum = self._compile(item), minimum
                node.empty = minimum == 0 or repeat.item.empty
            case ex.Tagged(item=item, tag=tag):
                node = tagged = _Tagged()
                tagged.item, tagged.tag = self._compile(item), tag
                node.empty = tagged.item.empty
            case ex.Void():
                node = never = _Choice()
                never.choices = ()
            case _:
                node = _Node()
                node.empty = True
        self._add(node)
        return node

    def _add(self, node: _Node) -> None:
        node.settle()
        node.number = len(self._nodes)
        self._nodes.append(node)

    def _settle_recursive(self) -> None:
        """Again until nothing changes: what recurs was asked for its first words before it had any."""
        changed = True
        while changed:
            changed = False
            for node in self._nodes:
                before = len(node.first)
                needs = node.needs
                node.settle()
                node.needs = needs
                changed = changed or len(node.first) > before


def _index(node: _Choice) -> dict[str | None, tuple[_Node, ...]]:
    """The choices by the words they may begin with; those that may be empty always fit."""
    node.always = tuple(choice for choice in node.choices if choice.empty)
    lists: dict[str, list[_Node]] = {}
    for choice in node.choices:
        for word in choice.first:
            lists.setdefault(word, [])
    if node.always:
        for choice in node.choices:
            for word in lists if choice.empty else choice.first:
                lists[word].append(choice)
    else:
        for choice in node.choices:
            for word in choice.first:
                lists[word].append(choice)
    return {word: tuple(choices) for word, choices in lists.items()}
