"""Words that sound the same and mean different things where both may be said (pure).

No listener can tell them apart, so what is heard is a guess: the grammar says it otherwise, or what
decides asks. One or two words are held against each other ("torqued to" and "torque two"), by the phones of
a pronouncing dictionary.
"""

from __future__ import annotations

import random
from collections import Counter, defaultdict, deque
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations, product

from fieldlog.grammar.language import Language, WordGraph, is_said
from fieldlog.model.understanding import Decision

Words = tuple[str, ...]
Sounds = Mapping[str, Collection[str]]
"""Word -> its pronunciations, each a string of phones."""


@dataclass(frozen=True, slots=True)
class Alike:
    """Two runs of words that sound the same, and phrases that they turn into each other."""

    one: str
    other: str
    phrase: str
    instead: str

    def __str__(self) -> str:
        """As a line for the author of a grammar."""
        return (
            f"'{self.one}' and '{self.other}' sound the same, and '{self.phrase}' means something "
            f"else than '{self.instead}'"
        )


def homophones(phrases: Iterable[str], sounds: Sounds, language: Language) -> tuple[Alike, ...]:
    """Every pair of one or two words of ``phrases`` that sound the same and change what is accepted.

    Two single words are looked for wherever both may follow; of two words those that ``phrases``, samples
    of ``language``, hold. A word without pronunciation sounds like no other.
    """
    said = [tuple(phrase.split()) for phrase in (*phrases, *_where_both_follow(sounds, language))]
    holding: dict[Words, list[Words]] = defaultdict(list)
    for words in said:
        for run in set(_runs(words)):
            holding[run].append(words)
    by_sound: dict[str, list[Words]] = defaultdict(list)
    for run in holding:
        for sound in _sounds(run, sounds):
            by_sound[sound].append(run)
    found: dict[frozenset[Words], Alike] = {}
    for runs in by_sound.values():
        for one, other in combinations(sorted(set(runs)), 2):
            pair = frozenset((one, other))
            if pair in found or one[0] == other[0] or one[-1] == other[-1]:
                continue  # "to three" and "two three" are "to" and "two"
            changed = next(_changed(one, other, holding, language), None)
            if changed is not None:
                found[pair] = Alike(" ".join(one), " ".join(other), *changed)
    return tuple(found.values())


MOST_STATES = 40_000
"""Of the word graph that are looked at; a grammar may have no end of them."""
_PLACES, _WALKS, _LONGEST = 300, 3, 10
"""Places where two such words may follow, ways to go on tried from each, and words of a way."""
_MOST_TRIED = 300
"""Phrases in which one is exchanged for the other."""


def _where_both_follow(sounds: Sounds, language: Language) -> Iterator[str]:
    """Phrases in which a word that sounds like another stands where both may, and go on alike."""
    graph, draw = language.word_graph(), random.Random(1)
    alike: dict[str, set[str]] = defaultdict(set)
    for word, spoken in sounds.items():
        for sound in spoken:
            alike[sound].add(word)
    groups = [words for words in alike.values() if len(words) > 1]
    known = {word for words in groups for word in words}
    prefix: dict[int, Words] = {graph.start: ()}
    waiting, looked = deque([graph.start]), Counter[tuple[str, str]]()
    while waiting and len(prefix) < MOST_STATES:
        state = waiting.popleft()
        arcs = graph.arcs(state)
        here = known.intersection(arcs)
        for words in groups if len(here) > 1 else ():
            for one, other in combinations(sorted(words & here), 2):
                walks = _WALKS if looked[one, other] < _PLACES else 0
                looked[one, other] += 1
                for _ in range(walks):
                    end = _walk(graph, arcs[one][0], arcs[other][0], draw)
                    if end is not None:
                        yield " ".join((*prefix[state], one, *end))
                        yield " ".join((*prefix[state], other, *end))
        for word, (after, _) in arcs.items():
            if after not in prefix:
                prefix[after] = (*prefix[state], word)
                waiting.append(after)


def _walk(graph: WordGraph, one: int, other: int, draw: random.Random) -> Words | None:
    """One way in which a phrase may go on from either state to its end; None where it comes to none."""
    words: Words = ()
    while not (graph.is_final(one) and graph.is_final(other)):
        first, second = graph.arcs(one), graph.arcs(other)
        common = sorted(first.keys() & second.keys())
        if not common or len(words) == _LONGEST:
            return None
        word = draw.choice(common)
        one, other, words = first[word][0], second[word][0], (*words, word)
    return words


def _runs(words: Words) -> Iterator[Words]:
    for size in (1, 2):
        yield from (words[at : at + size] for at in range(len(words) - size + 1))


def _sounds(run: Words, sounds: Sounds) -> Iterator[str]:
    """How a run can sound; one consonant that ends a word and begins the next is said once."""
    for spoken in product(*(sounds.get(word, ()) for word in run)):
        phones: list[str] = []
        for part in spoken:
            for n, phone in enumerate(part.split()):
                if n or phones[-1:] != [phone]:
                    phones.append(phone)
        yield " ".join(phones)


def _changed(
    one: Words, other: Words, holding: Mapping[Words, list[Words]], language: Language
) -> Iterator[tuple[str, str]]:
    """Phrases with the one, and what they are with the other, where both count and differ."""
    for run, instead in ((one, other), (other, one)):
        every = 1 + len(holding[run]) // _MOST_TRIED
        for words in holding[run][::every]:
            for at in range(len(words) - len(run) + 1):
                if words[at : at + len(run)] != run:
                    continue
                changed = (*words[:at], *instead, *words[at + len(run) :])
                was, now = " ".join(words), " ".join(changed)
                if not is_said(language.word_graph(), list(changed)):
                    continue
                counts = all(language.understand(t).decision is Decision.ACCEPT for t in (was, now))
                if counts and language.meaning(was) != language.meaning(now):
                    yield (was, now) if run == one else (now, was)
