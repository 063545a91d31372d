"""Words -> every derivation, with slots and the tree of rules."""

from __future__ import annotations

import pytest

from fieldlog.grammar import Grammar, TaggedLanguage
from fieldlog.grammar.parse import MAX_WORDS, Tree

HEAD = "#JSGF V1.0;\ngrammar t;\n"


def grammar(text: str) -> Grammar:
    return Grammar.from_text(HEAD + text)


def slots(text: str, words: str) -> list[dict[str, str]]:
    return [parse.slots for parse in grammar(text).parse(words.split())]


@pytest.mark.parametrize(
    ("text", "words", "filled"),
    [
        ("public <a> = x y {s};", "x y", [{"s": "y"}]),
        ("public <a> = (x y) {s} z;", "x y z", [{"s": "x y"}]),
        ("public <a> = x [y {s}];", "x", [{}]),
        ("public <a> = x [y] {s};", "x", [{}]),  # a slot that matched no words is not set
        ("public <a> = (x | y)+ {s};", "x y x", [{"s": "x y x"}]),
        ("public <a> = (x {s} | y)+;", "x y x", [{"s": "x x"}]),  # joined in spoken order
        ("public <a> = (x y {i}) {o};", "x y", [{"o": "x y", "i": "y"}]),  # slots may nest
        ("public <a> = x {s} {t};", "x", [{"s": "x", "t": "x"}]),
        ("public <a> = pack {x} | pack {y};", "pack", [{"x": "pack"}, {"y": "pack"}]),
        ("public <a> = x | x;", "x", [{}]),
        ("public <a> = x {s} <a> | y;", "x x y", [{"s": "x x"}]),
        ("public <a> = l <a> r | m {k};", "l l m r r", [{"k": "m"}]),
        ("public <a> = x <NULL> y;", "x y", [{}]),
        ("public <a> = /9/ x {s} | /1/ y;", "x", [{"s": "x"}]),
        # refused
        ("public <a> = x y;", "x", []),
        ("public <a> = x y;", "x y y", []),
        ("public <a> = x y;", "y", []),
        ("public <a> = x y;", "", []),
        ("public <a> = x+;", "x x y", []),
        ("public <a> = /1/ x | /0/ y;", "y", []),
        ("public <a> = x | y <VOID>;", "y", []),
        ("public <a> = x <b>; <b> = y;", "y", []),  # <b> is not public
        ("public <a> = x;", "X", []),
    ],
)
def test_slots(text: str, words: str, filled: list[dict[str, str]]) -> None:
    assert slots(text, words) == filled


def test_tree_names_the_rules_entered() -> None:
    parses = grammar("public <a> = <b> y <c>;\n<b> = x;\n<c> = <b> <b>;").parse(
        ["x", "y", "x", "x"]
    )
    assert [parse.tree for parse in parses] == [
        Tree(
            "t.a",
            0,
            4,
            (
                Tree("t.b", 0, 1, ()),
                Tree("t.c", 2, 4, (Tree("t.b", 2, 3, ()), Tree("t.b", 3, 4, ()))),
            ),
        )
    ]
    tree = parses[0].tree
    assert [node.name for node in tree.walk()] == ["a", "b", "c", "b", "b"]
    assert tree.find("c") == tree.children[1]
    assert tree.find("t.c") == tree.children[1]
    assert tree.find("d") is None
    assert parses[0].text(tree.children[1]) == "x x"
    assert parses[0].text() == "x y x x"


def test_derivations_count_once_per_tree_and_slots() -> None:
    two = grammar("public <a> = <b> | <c>;\n<b> = x;\n<c> = x;")
    assert len(two.parse(["x"])) == 2
    same = grammar("public <a> = (x | y | x) (z | z);")
    assert len(same.parse(["x", "z"])) == 1


def test_parse_of_one_rule() -> None:
    language = grammar("public <a> = x <b>;\n<b> = y | z;")
    assert language.parse(["y"], "b")[0].tree == Tree("t.b", 0, 1, ())
    assert language.parse(["y"], "t.b") == language.parse(["y"], "b")
    with pytest.raises(KeyError):
        language.parse(["y"], "nothing")


@pytest.mark.uncounted
def test_long_utterances_do_not_nest_deeply() -> None:
    language = grammar("public <a> = x <a> | x {last};")
    parses = language.parse(["x"] * MAX_WORDS)
    assert [parse.slots for parse in parses] == [{"last": "x"}]
    assert language.parse(["x"] * (MAX_WORDS + 1)) == ()
    assert len(grammar("public <a> = x+;").parse(["x"] * MAX_WORDS)) == 1


def test_many_derivations_stay_bounded_and_two_meanings_stay_two() -> None:
    language = grammar("public <a> = <s>+ (y {one} | y {two});\n<s> = <b> | <c>;\n<b>=x;\n<c>=x;")
    parses = language.parse(["x"] * 30 + ["y"])
    assert {frozenset(parse.slots) for parse in parses} == {frozenset({"one"}), frozenset({"two"})}
    assert len(parses) <= 64
    assert not any(parse.complete for parse in parses)


@pytest.mark.uncounted
def test_a_slot_filled_in_countless_ways_ends_in_a_question() -> None:
    language = TaggedLanguage(grammar("public <a> = ((x {s} | x {t})+ {s} | (x {t} | x)+)+;"))
    understood = language.understand(" ".join(["x"] * 20))
    assert understood.decision == "ask"
    assert understood.question_text.startswith("which one: ")
