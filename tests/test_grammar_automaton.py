"""The word automaton: what may be said next, how much it weighs, when it may end."""

from __future__ import annotations

import math
from typing import Any

import pytest

from fieldlog.grammar import Grammar
from fieldlog.grammar.automaton import Automaton
from fieldlog.grammar.language import WordGraph

HEAD = "#JSGF V1.0;\ngrammar t;\n"


def grammar(text: str) -> Grammar:
    return Grammar.from_text(HEAD + text)


@pytest.mark.parametrize(
    ("text", "accepted", "refused"),
    [
        ("public <a> = x [y] z;", ["x z", "x y z"], ["", "x", "x y", "y z", "x y y z", "x z z"]),
        ("public <a> = (x | y)* z;", ["z", "x z", "y x y z"], ["x", "z z"]),
        ("public <a> = (x [y])+;", ["x", "x y", "x x y x"], ["y", "x y y"]),
        ("public <a> = x <a> | y;", ["y", "x y", "x x x y"], ["x", "y y"]),
        ("public <a> = l <a> r | m;", ["m", "l m r", "l l m r r"], ["l m", "m r", "l l m r"]),
        ("public <a> = <b> <b>;\n<b> = x | x y;", ["x x", "x y x", "x y x y"], ["x", "x y"]),
        ("public <a> = x;\npublic <b> = y;", ["x", "y"], ["x y"]),
        ("public <a> = <b> <c>;\n<b> = [x];\n<c> = y [x];", ["y", "x y", "x y x"], ["x", "x x"]),
        ("public <a> = x | y <VOID>;", ["x"], ["y"]),
    ],
)
def test_accepts(text: str, accepted: list[str], refused: list[str]) -> None:
    language = grammar(text)
    graph = language.word_graph()
    for phrase in accepted:
        assert graph.accepts(phrase.split()), phrase
        assert language.parse(phrase.split()), phrase
    for phrase in refused:
        assert not graph.accepts(phrase.split()), phrase
        assert not language.parse(phrase.split()), phrase


def test_it_is_the_word_graph_that_listeners_ask_for() -> None:
    graph: WordGraph = grammar("public <a> = x (y | z);").word_graph()
    (word, (state, weight)) = next(iter(graph.arcs(graph.start).items()))
    assert (word, weight, graph.is_final(graph.start)) == ("x", 0.0, False)
    assert sorted(graph.arcs(state)) == ["y", "z"]
    end = graph.arcs(state)["y"][0]
    assert graph.is_final(end)
    assert graph.arcs(end) == {}


def test_states_are_made_on_demand_and_shared() -> None:
    words = " | ".join(f"w{n}" for n in range(100))
    graph = grammar(f"public <a> = <w> <w> <w> <w> <w>;\n<w> = {words};").word_graph()
    assert len(graph) == 1  # 10^10 phrases
    assert graph.accepts(["w1", "w2", "w3", "w4", "w99"])
    assert len(graph) == 6


def test_recursion_to_the_right_stays_finite() -> None:
    graph = grammar("public <a> = x <b>;\n<b> = y <a> | z;").word_graph()
    assert graph.accepts(["x", "y"] * 500 + ["x", "z"])
    assert len(graph) <= 4


def test_follow_says_how_many_words_fit() -> None:
    graph = grammar("public <a> = x y z;").word_graph()
    state, fitting = graph.follow(["x", "y", "q"])
    assert fitting == 2
    assert list(graph.arcs(state)) == ["z"]


@pytest.mark.parametrize(
    ("text", "phrase", "weight"),
    [
        ("public <a> = x | y;", "x", 0.0),
        ("public <a> = /3/ x | /1/ y;", "x", math.log(3 / 4)),
        ("public <a> = /3/ x | /1/ y;", "y", math.log(1 / 4)),
        ("public <a> = /3/ (k x) | /1/ (k y);", "k x", math.log(3 / 4)),
        ("public <a> = /3/ (k x) | /1/ (k y);", "k y", math.log(1 / 4)),
        ("public <a> = /1/ x | /3/ x;", "x", math.log(3 / 4)),  # the best derivation counts
        ("public <a> = <b> <b>;\n<b> = /1/ x | /9/ y;", "x y", math.log(0.1) + math.log(0.9)),
        ("public <a> = (/1/ x | /1/ y)+;", "x y x", 3 * math.log(0.5)),
        ("public <a> = x (/1/ <NULL> | /3/ y);", "x y", math.log(0.75)),
        ("public <a> = /8/ x | /2/ y | /0/ z;", "y", math.log(0.2)),
    ],
)
def test_weights_are_normalised_natural_logarithms(text: str, phrase: str, weight: float) -> None:
    got = grammar(text).word_graph().weight(phrase.split())
    assert got == pytest.approx(weight, abs=1e-5)


def test_weight_of_what_is_not_said_is_none() -> None:
    graph = grammar("public <a> = x y;").word_graph()
    assert graph.weight(["x"]) is None
    assert graph.weight(["y"]) is None


def test_weighted_loops_stay_finite() -> None:
    graph = grammar("public <a> = (/1/ x y | /9/ x z)+ q;".replace("x y", "(x y)")).word_graph()
    assert graph.accepts(["x", "y"] * 50 + ["q"])
    assert len(graph) < 20


def test_whether_a_phrase_may_end_is_known_without_what_may_follow() -> None:
    graph = grammar("public <a> = x [<b>];\n<b> = one | two | three;").word_graph()
    state, _ = graph.follow(["x"])
    made = len(graph)
    assert graph.is_final(state)
    assert len(graph) == made
    assert set(graph.arcs(state)) == {"one", "two", "three"}
    assert len(graph) == made + 1


def test_of_words_that_are_written_alike_the_first_of_the_grammar_comes_first() -> None:
    graph = grammar("public <a> = one <b> | two <b>;\n<b> = metres | meters | m;").word_graph()
    for word in ("one", "two"):
        state, _ = graph.follow([word])
        assert list(graph.arcs(state)) == ["metres", "meters", "m"]


def test_what_a_rule_leads_to_is_worked_out_once_however_many_states_call_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    explored = []
    real = Automaton._explored

    def counted(self: Automaton, stacks: Any, begin: Any) -> Any:
        found = real(self, stacks, begin)
        if stacks is not self.stacks:  # of a rule, not of a state
            explored.append(len(found))
        return found

    monkeypatch.setattr(Automaton, "_explored", counted)
    words = " | ".join(f"w{n}" for n in range(40))
    heads = " | ".join(f"h{n} <b> h" for n in range(20))
    graph = grammar(f"public <a> = {heads};\n<b> = [x] <c> y;\n<c> = {words};").word_graph()
    for n in range(20):
        state, _ = graph.follow([f"h{n}"])
        assert len(graph.arcs(state)) == 41
        assert graph.accepts([f"h{n}", "x", "w3", "y", "h"])
    assert explored.count(40) == 1


def test_one_that_has_grown_too_large_is_begun_anew_and_the_old_one_still_followed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("fieldlog.grammar.grammar.MOST_STATES", 5)
    language = grammar("public <a> = /9/ x <a> r | /1/ m [y] z;").of("t.a", "t.a")
    phrases = [said.split() for said in ("m z", "m y z", "x m z r", "x x m y z r r", "x m", "r")]
    graph = language.word_graph()
    assert language.word_graph() is graph
    before = [(graph.weight(words), graph.follow(words)[1]) for words in phrases]
    assert len(graph) > 5
    anew = language.word_graph()
    assert anew is not graph
    assert len(anew) < 5
    assert list(anew.arcs(anew.start)) == list(graph.arcs(graph.start))
    again = anew.further
    assert again is not None
    assert list(anew.arcs(again)) == list(anew.arcs(anew.start))
    for words in reversed(phrases):  # made in another order: other numbers, the same answers
        anew.weight(words)
    assert [(anew.weight(words), anew.follow(words)[1]) for words in phrases] == before
    assert [(graph.weight(words), graph.follow(words)[1]) for words in phrases] == before
