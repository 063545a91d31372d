"""The grammar as an automaton over byte-pair tokens, built piece by piece as the search needs it.

Words are outputs carried on the arcs: what was heard is never read back from the text of the tokens
(re-reading turns "/16" into sixteen and "7" + "30" into 730).

Each state of the word graph has one tree of tokens per way of joining: ``START`` (first word, may be
capitalised), ``SPACED`` (a space before the next word), ``PAUSED`` (the same behind a comma, where no
second comma may follow) and ``GLUED`` (after a hyphen). A tree knows its first tokens only; what lies
behind one of them is worked out when the search goes there, figures ("35") included: a state before
a number would otherwise carry thousands of phrases that nobody says.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldlog.grammar.forms import WrittenForms
from fieldlog.grammar.language import WordGraph
from fieldlog.listeners.whisper import written
from fieldlog.listeners.whisper.written import ENGLISH

START, SPACED, GLUED, PAUSED = 0, 1, 2, 3

Encode = Callable[[str], tuple[int, ...]]
Code = tuple[int, ...]

FURTHER = -3.0
"""Natural-log weight of going on behind a whole phrase in the same breath."""

_MAX_SPELLED = 4
_MARKS = {",": PAUSED, "-": GLUED}
"""What may stand between two words, and how the next one is joined then."""
EMPTY = -2.5
"""Natural-log weight of one of these."""
_MOST_TREES = 4000
"""Trees kept; a session that has met more forgets them and grows them anew (memory stays flat)."""


@dataclass(frozen=True, slots=True)
class Exit:
    """Where a finished form leads: the words it stands for, the state after them, their weight."""

    words: tuple[str, ...]
    state: int
    joining: int
    weight: float


@dataclass(frozen=True, slots=True)
class Goal:
    """What a written form stands for, wherever it is met: words, or a run of digits; or a mark.

    Goals are shared by all trees; where one leads is looked up when the search goes there.
    """

    words: tuple[str, ...]
    run: str = ""
    joining: int = SPACED
    weight: float = 0.0


Entry = tuple[Code, Goal]
"""Tokens still to come, and what they stand for."""
Resolve = Callable[[Goal], Iterator[Exit]]


class Node:
    """One place in a tree of tokens: what may come next, and what ends with it."""

    __slots__ = ("_groups", "_kids", "_resolve", "columns", "ending", "exits", "final", "tokens")

    def __init__(
        self, entries: Iterable[tuple[int, Entry]], column: Mapping[int, int], resolve: Resolve
    ) -> None:
        """``entries``: a next token each, and what comes behind it."""
        groups: dict[int, list[Entry]] = {}
        for token, entry in entries:
            group = groups.get(token)
            if group is None:
                groups[token] = [entry]
            else:
                group.append(entry)
        self.exits: list[Exit] = []
        """Forms that end here, i.e. with the token that leads to this node."""
        self.final = False
        """Whether the utterance may end here (roots only)."""
        self.ending = 0.0
        """Natural-log weight of ending here (where it may)."""
        self.tokens = tuple(groups)
        self.columns: NDArray[np.intp] = np.array([column[t] for t in groups], dtype=np.intp)
        """Places of the next tokens in the decoder's vocabulary."""
        self._groups = list(groups.values())
        self._kids: list[Node | None] = [None] * len(self._groups)
        self._resolve = resolve

    def kid(self, place: int, column: Mapping[int, int]) -> Node:
        """The node behind the next token number ``place``, made when first asked for."""
        known = self._kids[place]
        if known is None:
            group = self._groups[place]
            deeper = ((code[0], (code[1:], goal)) for code, goal in group if code)
            known = self._kids[place] = Node(deeper, column, self._resolve)
            for code, goal in group:
                if not code:
                    known.exits += [e for e in self._resolve(goal) if e not in known.exits]
        return known

    def without(self, tokens: Container[int]) -> Node:
        """The same place where ``tokens`` may not come next."""
        kept = [place for place, token in enumerate(self.tokens) if token not in tokens]
        node = Node((), {}, self._resolve)
        node.final, node.ending = self.final, self.ending
        node.tokens = tuple(self.tokens[place] for place in kept)
        node.columns = self.columns[kept]
        node._groups = [self._groups[place] for place in kept]
        node._kids = [self._kids[place] for place in kept]
        return node


class TokenGraph:
    """Token trees of a word graph, each built once, when first asked for."""

    def __init__(
        self,
        graph: WordGraph,
        encode: Encode,
        column: Mapping[int, int],
        forms: WrittenForms = ENGLISH,
    ) -> None:
        """``encode`` gives the tokens of a text, ``column`` a token's place in the decoder.

        ``forms``: how the words may be written.

        Forms with a token that has no place are left out: ``vocabulary`` gives places to all that
        matter, and every word keeps its plain form.
        """
        self._graph = graph
        self._encode = encode
        self._forms = forms
        self._phrases_from = _phrases_by_first_word(forms)
        self.column = column
        self._codes: dict[tuple[str, int], tuple[Code, ...]] = {}
        self._roots: dict[tuple[int, int], Node] = {}
        self._marks = frozenset(token for mark in _MARKS for token in encode(mark))
        self._words: dict[tuple[str, int], tuple[tuple[int, Entry], ...]] = {}
        self._figures: list[tuple[int, Entry]] = []
        for run in _usual_runs():
            for text in (run, " " + run):
                code = encode(text)
                if len(code) == 1 and code[0] in column:
                    self._figures.append((code[0], ((), Goal((), run))))

    @property
    def root(self) -> Node:
        """Where every utterance begins."""
        return self.at(self._graph.start, START)

    def tidy(self, graph: WordGraph) -> None:
        """Go along ``graph``, of the same words; forget all trees when it is another or when there are too many.

        Call it between utterances: the states of another have other numbers.
        """
        if graph is not self._graph or len(self._roots) > _MOST_TREES:
            self._graph = graph
            self._roots.clear()

    def forget(self) -> None:
        """Forget all trees: they and the graph hold each other, and would wait for the collector."""
        self._roots.clear()
        self._words.clear()

    def at(self, state: int, joining: int) -> Node:
        """The tree that begins in a state of the word graph."""
        key = (state, joining)
        node = self._roots.get(key)
        if node is None:
            node = self._roots[key] = self._build(state, joining)
        return node

    def _build(self, state: int, joining: int) -> Node:
        if joining == PAUSED:
            return self.at(state, SPACED).without(self._marks)
        arcs = self._graph.arcs(state)
        entries = [*self._entries(state, joining)]
        if "a" in arcs or not self._forms.number_words.isdisjoint(arcs):
            entries += self._figures
        root = Node(entries, self.column, lambda goal: self._followed(state, goal))
        ending = self._graph.final_weight(state)
        root.final, root.ending = ending is not None, ending or 0.0
        return root

    def _entries(self, state: int, joining: int) -> Iterator[tuple[int, Entry]]:
        for word in self._graph.arcs(state):
            known = self._words.get((word, joining))
            if known is None:
                known = self._words[word, joining] = tuple(self._word_entries(word, joining))
            yield from known
        for words in self._letters(state):
            goal = Goal(words)
            for run in written.letters(words):
                yield from self._form_entries(" " + run, joining, goal)
        if joining == SPACED:
            for mark, after in _MARKS.items():
                yield from self._form_entries(mark, SPACED, Goal((), joining=after))
        if self._graph.further is not None and joining in (START, SPACED):  # "oh" may be a digit
            opens = joining == START or state == self._graph.further
            for word in (*self._forms.hesitations, *(self._forms.openings if opens else ())):
                yield from self._form_entries(f" {word}", joining, Goal((), weight=EMPTY))

    def _word_entries(self, word: str, joining: int) -> Iterator[tuple[int, Entry]]:
        """Ways to write a word, and the phrases that begin with it; the same in every state."""
        goal = Goal((word,), joining=GLUED if word in self._forms.joined else SPACED)
        for form in self._forms.word_forms(word):
            yield from self._form_entries(" " + form, joining, goal)
        for phrase in self._phrases_from.get(word, ()):
            goal = Goal(phrase)
            for form in self._forms.phrases[phrase]:
                yield from self._form_entries(form, joining, goal)

    def _form_entries(self, form: str, joining: int, goal: Goal) -> Iterator[tuple[int, Entry]]:
        for code in self._form_codes(form, joining):
            yield code[0], (code[1:], goal)

    def _form_codes(self, form: str, joining: int) -> tuple[Code, ...]:
        """Tokens of a form as it may appear after what came before, if all of them have places."""
        key = (form, joining)
        known = self._codes.get(key)
        if known is None:
            codes = (self._encode(text) for text in _joined(form, joining))
            known = tuple(code for code in codes if all(token in self.column for token in code))
            self._codes[key] = known
        return known

    def _followed(self, state: int, goal: Goal) -> Iterator[Exit]:
        """Where a goal leads from ``state``, as far as the grammar goes with it."""
        if not goal.run and not goal.words:
            yield Exit((), state, goal.joining, goal.weight)
            return
        for words in self._forms.readings(goal.run) if goal.run else (goal.words,):
            here, weight = state, 0.0
            for word in words:
                step = self._graph.arcs(here).get(word)
                if step is None:
                    break
                here, weight = step[0], weight + step[1]
            else:
                yield Exit(words, here, goal.joining, weight)
                further, ending = self._graph.further, self._graph.final_weight(here)
                if further is not None and ending is not None:
                    yield Exit(words, further, goal.joining, weight + ending + FURTHER)

    def _letters(self, state: int) -> Iterator[tuple[str, ...]]:
        """Letters spelled one by one from ``state`` ("t w i"), two to ``_MAX_SPELLED`` of them.

        "a" is mostly the article, and does not begin one: "a b s" is among the phrases.
        """
        layer: list[tuple[tuple[str, ...], int]] = [((), state)]
        for _ in range(_MAX_SPELLED):
            layer = [
                ((*words, word), end)
                for words, here in layer
                for word, (end, _) in self._graph.arcs(here).items()
                if len(word) == 1 and (words or word != "a")
            ]
            yield from (words for words, _ in layer)


def vocabulary(words: Iterable[str], encode: Encode, forms: WrittenForms = ENGLISH) -> set[int]:
    """Every token that the written forms of these words can need."""
    known = set(words)
    texts = set(_MARKS)
    for empty in (*forms.hesitations, *forms.openings):
        texts |= {f" {empty}", f" {written.capitalised(empty)}"}
    for word in known:
        for form in forms.word_forms(word):
            texts |= {form, " " + form, " " + written.capitalised(form)}
    for phrase, ways in forms.phrases.items():
        if known.issuperset(phrase):
            for form in ways:
                texts |= {form.lstrip(" "), " " + form.lstrip(" ")}
                texts.add(" " + written.capitalised(form.lstrip(" ")))
    if known & forms.number_words:
        for run in _usual_runs():
            texts |= {run, " " + run}
    return {token for text in texts for token in encode(text)}


def _usual_runs() -> Iterator[str]:
    """Runs of digits worth a place of their own: all of two digits, of three those that end in 0 or
    5 or begin with 0. Others are reached in two pieces, or spelled.
    """
    for length in (1, 2):
        yield from (f"{value:0{length}d}" for value in range(10**length))
    yield from (f"{value:03d}" for value in range(1000) if value < 100 or value % 5 == 0)


def _phrases_by_first_word(forms: WrittenForms) -> dict[str, tuple[tuple[str, ...], ...]]:
    table: dict[str, list[tuple[str, ...]]] = {}
    for phrase in forms.phrases:
        table.setdefault(phrase[0], []).append(phrase)
    return {word: tuple(phrases) for word, phrases in table.items()}


def _joined(form: str, joining: int) -> tuple[str, ...]:
    """The form as it may appear after what came before."""
    if joining == START:
        spaced = form if form.startswith(" ") else " " + form
        return tuple(dict.fromkeys((" " + written.capitalised(spaced[1:]), spaced)))
    if joining == GLUED:
        return (form.lstrip(" "),)
    return (form,)
