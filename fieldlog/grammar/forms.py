"""How the words of a language may be written by a recogniser that writes as people do (pure data)."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

Words = tuple[str, ...]


@dataclass(frozen=True)
class WrittenForms:
    """Extra ways through a grammar; the words stay those of the grammar."""

    word_forms: Callable[[str], tuple[str, ...]]
    """Ways to write one word, without leading space; the word itself first."""
    phrases: Mapping[Words, tuple[str, ...]]
    """Phrases and their written forms; one that begins with a space stands as a word of its own."""
    number_words: frozenset[str]
    readings: Callable[[str], tuple[Words, ...]]
    """Ways to say a run of up to three digits."""
    hesitations: tuple[str, ...]
    """Sounds between words that are none of them."""
    openings: tuple[str, ...]
    """Words before a finding that say nothing."""
    joined: frozenset[str] = frozenset()
    """First halves of compounds: the next word is written in one with them."""
