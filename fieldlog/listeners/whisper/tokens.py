"""The grammar as an automaton over byte-pair tokens, built piece by piece as the search needs it.

Words are outputs carried on the arcs: what was heard is never read back from the text of the tokens
(re-reading turns "/16" into sixteen and "7" + "30" into 730).

Each state of the word graph has one tree of tokens per way of joining: ``START`` (first word, may be
capitalised), ``SPACED`` (a space before the next word), ``PAUSED`` (the same behind a comma, where no
second comma may follow) and ``GLUED`` (after a hyphen).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fieldlog.listeners.base import WordGraph
from fieldlog.listeners.whisper import written

START, SPACED, GLUED, PAUSED = 0, 1, 2, 3

Encode = Callable[[str], tuple[int, ...]]

_MAX_NUMBER = 5
_MAX_SPELLED = 4
_MAX_SEQUENCES = 4000


@dataclass(frozen=True, slots=True)
class Exit:
    """Where a finished form leads: the words it stands for, the state after them, their weight."""

    words: tuple[str, ...]
    state: int
    joining: int
    weight: float


@dataclass(slots=True)
class Node:
    """One place in a tree of tokens: what may come next, and what ends with it."""

    children: dict[int, Node] = field(default_factory=dict)
    exits: list[Exit] = field(default_factory=list)
    """Forms that end here, i.e. with the token that leads to this node."""
    final: bool = False
    """Whether the utterance may end here (roots only)."""
    ending: float = 0.0
    """Natural-log weight of ending here (where it may)."""
    columns: NDArray[np.intp] | None = None
    """Places of ``children`` in the decoder's vocabulary, in order."""
    kids: list[Node] = field(default_factory=list)


class TokenGraph:
    """Token trees of a word graph, each built once, when first asked for."""

    def __init__(self, graph: WordGraph, encode: Encode, column: Mapping[int, int]) -> None:
        """``encode`` gives the tokens of a text, ``column`` a token's place in the decoder.

        Forms with a token that has no place are left out: ``vocabulary`` gives places to all that
        matter, and every word keeps its plain form.
        """
        self._graph = graph
        self._encode = encode
        self._column = column
        self._codes: dict[str, tuple[int, ...]] = {}
        self._roots: dict[tuple[int, int], Node] = {}

    @property
    def root(self) -> Node:
        """Where every utterance begins."""
        return self.at(self._graph.start, START)

    def at(self, state: int, joining: int) -> Node:
        """The tree that begins in a state of the word graph."""
        key = (state, joining)
        node = self._roots.get(key)
        if node is None:
            node = self._roots[key] = self._build(state, joining)
        return node

    def _build(self, state: int, joining: int) -> Node:
        ending = self._graph.final_weight(state)
        root = Node(final=ending is not None, ending=ending or 0.0)
        for words, end, weight, form in self._forms(state):
            out = Exit(words, end, SPACED, weight)
            for text in _joined(form, joining):
                self._insert(root, text, out)
        if joining == SPACED:
            self._insert(root, ",", Exit((), state, PAUSED, 0.0))
            self._insert(root, "-", Exit((), state, GLUED, 0.0))
        _freeze(root, self._column)
        return root

    def _insert(self, root: Node, text: str, out: Exit) -> None:
        code = self._codes.get(text)
        if code is None:
            code = self._codes[text] = self._encode(text)
        if any(token not in self._column for token in code):
            return
        node = root
        for token in code:
            node = node.children.setdefault(token, Node())
        if out not in node.exits:
            node.exits.append(out)

    def _forms(self, state: int) -> Iterator[tuple[tuple[str, ...], int, float, str]]:
        """Words from ``state``, where they lead, their weight, and one way to write them."""
        for word, (end, weight) in self._graph.arcs(state).items():
            for form in written.word_forms(word):
                yield (word,), end, weight, " " + form
        for words, end, weight in self._sequences(state, _phrase_start, written.LONGEST_PHRASE):
            for form in written.PHRASES.get(words, ()):
                yield words, end, weight, form
        for words, end, weight in self._sequences(state, _is_number, _MAX_NUMBER):
            for run in written.digit_runs(words):
                yield words, end, weight, " " + run
                yield words, end, weight, run
        for words, end, weight in self._sequences(state, _is_letter, _MAX_SPELLED):
            for run in written.letters(words):
                yield words, end, weight, " " + run
                yield words, end, weight, run

    def _sequences(
        self, state: int, allowed: Callable[[tuple[str, ...]], bool], longest: int
    ) -> Iterator[tuple[tuple[str, ...], int, float]]:
        """Word sequences from ``state`` as long as ``allowed`` says yes, shortest first."""
        layer: list[tuple[tuple[str, ...], int, float]] = [((), state, 0.0)]
        count = 0
        for _ in range(longest):
            following = []
            for words, here, weight in layer:
                for word, (end, more) in self._graph.arcs(here).items():
                    if allowed((*words, word)):
                        following.append(((*words, word), end, weight + more))
            count += len(following)
            if count > _MAX_SEQUENCES:
                return
            yield from following
            layer = following


_PREFIXES = frozenset(
    phrase[:length] for phrase in written.PHRASES for length in range(1, len(phrase) + 1)
)


def _usual_runs() -> Iterator[str]:
    """Runs of digits worth a place of their own: all of two digits, of three those that end in 0 or
    5 or begin with 0. Others are reached in two pieces, or spelled.
    """
    for length in (1, 2):
        yield from (f"{value:0{length}d}" for value in range(10**length))
    yield from (f"{value:03d}" for value in range(1000) if value < 100 or value % 5 == 0)


def _phrase_start(words: tuple[str, ...]) -> bool:
    return words in _PREFIXES


def _is_number(words: tuple[str, ...]) -> bool:
    last = words[-1]
    if last in written.NUMBER_WORDS:
        return last not in ("hundred", "thousand") or len(words) > 1
    if last == "a":
        return len(words) == 1
    return last == "and" and words[-2:-1] == ("hundred",)


def _is_letter(words: tuple[str, ...]) -> bool:
    return len(words[-1]) == 1


def _joined(form: str, joining: int) -> tuple[str, ...]:
    """The form as it may appear after what came before."""
    if joining == START:
        spaced = form if form.startswith(" ") else " " + form
        return tuple(dict.fromkeys((" " + written.capitalised(spaced[1:]), spaced)))
    if joining == GLUED:
        return (form.lstrip(" "),)
    return (form,)


def _freeze(node: Node, column: Mapping[int, int]) -> None:
    node.columns = np.array([column[token] for token in node.children], dtype=np.intp)
    node.kids = list(node.children.values())
    for kid in node.kids:
        _freeze(kid, column)


def vocabulary(words: Iterable[str], encode: Encode) -> set[int]:
    """Every token that the written forms of these words can need."""
    known = set(words)
    texts = {",", "-"}
    for word in known:
        for form in written.word_forms(word):
            texts |= {form, " " + form, " " + written.capitalised(form)}
    for phrase, forms in written.PHRASES.items():
        if known.issuperset(phrase):
            for form in forms:
                texts |= {form.lstrip(" "), " " + form.lstrip(" ")}
                texts.add(" " + written.capitalised(form.lstrip(" ")))
    if known & written.NUMBER_WORDS:
        for run in _usual_runs():
            texts |= {run, " " + run}
    return {token for text in texts for token in encode(text)}
