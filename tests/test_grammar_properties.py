"""Random grammars: what they generate is accepted by our parser, our automaton and pocketsphinx.

The outside oracle is ``FsgModel.accept`` of pocketsphinx (5.1), which reads our JSGF with its own
reader. Mutated phrases are accepted by all three or by none.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Callable
from pathlib import Path
from typing import TypeAlias

import pocketsphinx
import pytest
from hypothesis import HealthCheck, given, reject, settings
from hypothesis import strategies as st

from fieldlog.errors import GrammarError
from fieldlog.grammar import Grammar, TaggedLanguage
from fieldlog.grammar.ambiguity import find_ambiguities
from fieldlog.grammar.jsgf import to_jsgf
from fieldlog.grammar.phrases import phrase_list, word_pairs
from fieldlog.grammar.sample import Sampler
from tests.enumerated import enumerate_phrases
from tests.shared import need_shared

WORDS = "abcde"

Oracle: TypeAlias = Callable[[str], pocketsphinx.FsgModel]

_item = st.one_of(
    st.sampled_from(WORDS),
    st.sampled_from(["<one>", "<two>", "<three>"]),
)


def _compound(inside: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    return st.one_of(
        st.lists(inside, min_size=2, max_size=3).map(" ".join).map("({})".format),
        st.lists(inside, min_size=2, max_size=3).map(" | ".join).map("({})".format),
        st.lists(inside, min_size=2, max_size=2).map(lambda two: f"(/3/ {two[0]} | /1/ {two[1]})"),
        inside.map("[{}]".format),
        inside.map("{} {{slot}}".format),
        inside.map("({})+".format),
        inside.map("({})*".format),
        st.just("<NULL>"),
        inside.map("({} | <VOID>)".format),
    )


_expression = st.recursive(_item, _compound, max_leaves=8)


@st.composite
def grammars(draw: st.DrawFn) -> Grammar:
    """A closed grammar of four rules; those with faults are drawn again."""
    rules = {name: draw(_expression) for name in ("top", "one", "two", "three")}
    rules["three"] = rules["three"].replace("<one>", "a").replace("<two>", "b")
    rules["three"] = rules["three"].replace("<three>", "c")
    rules["two"] = rules["two"].replace("<one>", "d").replace("<two>", "<three>")
    rules["one"] = rules["one"].replace("<one>", "<two>")
    if draw(st.booleans()):  # recursion to the right
        rules["two"] = f"{draw(st.sampled_from(WORDS))} <two> | {rules['two']}"
    text = "#JSGF V1.0;\ngrammar g;\n" + "".join(
        f"{'public ' if name == 'top' else ''}<{name}> = {expression};\n"
        for name, expression in rules.items()
    )
    try:
        return Grammar.from_text(text)
    except GrammarError:
        return reject()


def _mutated(words: list[str], chance: random.Random) -> list[str]:
    words = list(words)
    place = chance.randrange(len(words))
    match chance.randrange(4):
        case 0:
            del words[place]
        case 1:
            words.insert(place, chance.choice(WORDS))
        case 2:
            words[place] = chance.choice(WORDS)
        case _:
            words[place], words[0] = words[0], words[place]
    return words


@pytest.fixture(scope="module")
def oracle(tmp_path_factory: pytest.TempPathFactory) -> Oracle:
    file = tmp_path_factory.mktemp("fsg") / "grammar.jsgf"
    pocketsphinx.set_loglevel("FATAL")
    logmath = pocketsphinx.LogMath()

    def build(text: str) -> pocketsphinx.FsgModel:
        Path(file).write_text(text, encoding="utf-8")
        return pocketsphinx.FsgModel.jsgf_read_file(str(file), logmath, 1.0)

    return build


@settings(
    max_examples=30,
    deadline=None,
    suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
)
@given(grammar=grammars(), seed=st.integers(0, 2**16), tags=st.booleans())
def test_generated_phrases_are_accepted_by_all_and_mutants_by_all_or_none(
    oracle: Oracle, grammar: Grammar, seed: int, tags: bool
) -> None:
    fsg = oracle(to_jsgf(grammar, tags=tags))
    graph = grammar.word_graph()
    sampler = Sampler(grammar.rules, grammar.public, seed)
    chance = random.Random(seed)
    again = Grammar.from_text(to_jsgf(grammar))
    for _ in range(8):
        phrase = sampler.random_phrase()
        words = phrase.split()
        if len(words) > 25:  # nested repeats: countless derivations, nothing anybody says
            continue
        assert grammar.parse(words)
        assert graph.accepts(words)
        assert fsg.accept(phrase)
        assert again.word_graph().accepts(words)
        mutant = _mutated(words, chance)
        if mutant:
            said = bool(fsg.accept(" ".join(mutant)))
            assert bool(grammar.parse(mutant)) == said
            assert graph.accepts(mutant) == said


@settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck))
@given(grammar=grammars())
def test_parses_and_ambiguities_agree_with_enumeration(grammar: Grammar) -> None:
    """Brute force over all short phrases finds an ambiguity exactly when the search does."""
    phrases = list(enumerate_phrases(grammar.word_graph(), 400, max_words=4))
    brute = {
        phrase
        for phrase in phrases
        if len({tuple(sorted(p.slots.items())) for p in grammar.parse(phrase.split())}) > 1
    }
    report = find_ambiguities(grammar, most=1, most_pairs=20_000)
    if brute:
        assert report.found
        assert len(report.found[0].phrase.split()) <= min(len(p.split()) for p in brute)
    elif report.found:
        assert len(report.found[0].phrase.split()) > 4 or len(phrases) == 400


@settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck))
@given(grammar=grammars())
def test_phrase_list_holds_every_word_and_pair(grammar: Grammar) -> None:
    listed = phrase_list(grammar)
    assert listed[-1] == "[unk]"
    words = {word for phrase in listed[:-1] for word in phrase.split()}
    pairs = {pair for phrase in listed[:-1] for pair in itertools.pairwise(phrase.split())}
    assert words == grammar.words
    assert pairs == word_pairs(grammar)
    for phrase in enumerate_phrases(grammar.word_graph(), 200, max_words=5):
        spoken = phrase.split()
        assert set(itertools.pairwise(spoken)) <= pairs


def test_weights_leave_the_language_as_it_is() -> None:
    plain = Grammar.from_text("#JSGF V1.0;\ngrammar g;\npublic <a> = x | y z;")
    weighted = Grammar.from_text("#JSGF V1.0;\ngrammar g;\npublic <a> = /9/ x | /1/ y z;")
    for grammar in (plain, weighted):
        assert list(enumerate_phrases(grammar.word_graph(), 10)) == ["x", "y z"]


def test_orders_grammar_of_other_people(oracle: Oracle) -> None:
    """A grammar that is not ours: 2,000 phrases, all three agree on them and on mutants."""
    language = TaggedLanguage.from_file(need_shared("speech/orders/orders.jsgf"))
    fsg = oracle(language.jsgf())
    sampler = Sampler(language.grammar.rules, language.grammar.public, seed=3)
    chance = random.Random(3)
    vocabulary = sorted(language.words())
    for _ in range(2_000):
        phrase = sampler.random_phrase()
        assert language.understand(phrase).decision == "accept"
        assert fsg.accept(phrase)
        words = phrase.split()
        words[chance.randrange(len(words))] = chance.choice(vocabulary)
        said = bool(fsg.accept(" ".join(words)))
        assert bool(language.grammar.parse(words)) == said
        assert language.word_graph().accepts(words) == said
    assert find_ambiguities(language.grammar).found == ()
