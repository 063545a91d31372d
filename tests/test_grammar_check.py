"""A grammar is closed at load: every fault at once, each with its place."""

from __future__ import annotations

import pytest

from fieldlog.errors import GrammarError
from fieldlog.grammar import Grammar
from fieldlog.grammar.ambiguity import find_ambiguities

HEAD = "#JSGF V1.0;\ngrammar t;\n"


def faults_of(text: str) -> str:
    with pytest.raises(GrammarError) as caught:
        Grammar.from_text(HEAD + text, "t.jsgf")
    return str(caught.value)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("public <a> = rear <b>;", "t.jsgf:3:19: <b> is not defined"),
        ("public <a> = <Pad>;\n<pad> = x;", "3:14: <Pad> is not defined (did you mean <pad>?)"),
        ("<a> = x;", "3:1: no public rule"),
        ("public <a> = <a> x | y;", "3:8: left recursion: <a> -> <a>"),
        ("public <a> = <b>;\n<b> = [x] <a> y | z;", "left recursion: <a> -> <b> -> <a>"),
        ("public <a> = [x];", "3:8: public rule <a> matches without any word"),
        ("public <a> = <b>*;\n<b> = x;", "3:8: public rule <a> matches without any word"),
        ("public <a> = x [y]+;", "3:19: what is repeated can match without any word"),
        ("public <a> = x <VOID>;", "3:8: public rule <a> can never be spoken"),
        ("public <a> = x <a>;", "3:8: public rule <a> can never be spoken"),
        ("public <a> = x;\n<a> = y;", "4:1: <a> is already defined at t.jsgf:3:8"),
        ("import <no.x>;\npublic <a> = <x>;", "3:1: there is no grammar 'no' to import"),
    ],
)
def test_fault(text: str, fault: str) -> None:
    assert fault in faults_of(text)


@pytest.mark.parametrize(
    "text",
    [
        "public <a> = x <a> | y;",  # recursion to the right is fine
        "public <a> = x <a> y | z;",  # and so is recursion in the middle
        "public <a> = x | <VOID>;",
        "public <a> = /1/ x | /0/ y;",
        "public <a> = [x] y;",
        "public <a> = x;\npublic <b> = y;",
        "public <a> = <NULL> x;",
    ],
)
def test_no_fault(text: str) -> None:
    assert Grammar.from_text(HEAD + text).public[0] == "t.a"


def test_all_faults_are_reported_together_in_order() -> None:
    message = faults_of("<a> = <b>;\n<c> = x | ;\n<d> = <d> x;\n<e> = <f>;")
    lines = [line.strip() for line in message.splitlines()]
    assert lines[0] == "t.jsgf: 5 faults in the grammar"
    assert [line.split(": ")[0] for line in lines[1:]] == [
        "t.jsgf:3:1",
        "t.jsgf:3:7",
        "t.jsgf:4:11",
        "t.jsgf:5:1",
        "t.jsgf:6:7",
    ]


@pytest.mark.parametrize(
    ("text", "warning"),
    [
        ("public <a> = x;\n<b> = y;", "4:1: warning: <b> is never used"),
        ("public <a> = x | <b>;\n<b> = <VOID>;", "4:1: warning: <b> can never be spoken"),
        ("public <a> = x [y] {t};", "3:20: warning: slot {t} can match without any word"),
    ],
)
def test_warning(text: str, warning: str) -> None:
    assert [str(w) for w in Grammar.from_text(HEAD + text).warnings] == [f"<grammar>:{warning}"]


def test_imports() -> None:
    texts = {
        "numbers": "#JSGF V1.0;\ngrammar numbers;\npublic <n> = <d>;\n<d> = one | two;",
        "units.si": "#JSGF V1.0;\ngrammar units.si;\nimport <numbers.n>;\npublic <u> = mm | <n> x;",
    }
    grammar = Grammar.from_text(
        HEAD + "import <numbers.n>;\nimport <units.si.*>;\n"
        "public <a> = <n> <units.si.u> | <numbers.n> <si.u> <u>;",
        loader=lambda name: (f"{name}.jsgf", texts[name]) if name in texts else None,
    )
    assert grammar.words == {"one", "two", "mm", "x"}
    assert grammar.parse(["one", "two", "x", "mm"])
    tree = grammar.parse(["two", "mm"])[0].tree
    assert [(node.rule, node.name) for node in tree.walk()] == [
        ("t.a", "a"),
        ("numbers.n", "n"),
        ("numbers.d", "d"),
        ("units.si.u", "u"),
    ]


def test_import_faults() -> None:
    texts = {
        "n": "#JSGF V1.0;\ngrammar n;\npublic <p> = one;\n<q> = two;",
        "m": "#JSGF V1.0;\ngrammar m;\npublic <p> = one;",
        "wrong": "#JSGF V1.0;\ngrammar other;\npublic <w> = ;",
    }
    with pytest.raises(GrammarError) as caught:
        Grammar.from_text(
            HEAD + "import <n.*>;\nimport <m.*>;\nimport <n.q>;\nimport <n.z>;\nimport <wrong.w>;\n"
            "public <a> = <p> <q>;",
            "t.jsgf",
            lambda name: (f"{name}.jsgf", texts[name]) if name in texts else None,
        )
    message = str(caught.value)
    assert "t.jsgf:5:1: <n.q> is not public there" in message
    assert "t.jsgf:6:1: <n.z> is not defined there" in message
    assert "t.jsgf:8:14: <p> is imported from more than one grammar" in message
    assert "wrong.jsgf:1:1: declares grammar other, imported as wrong" in message
    assert "wrong.jsgf:3:14: expected words" in message


def test_words_a_listener_cannot_say_are_all_found_at_their_first_place() -> None:
    grammar = Grammar.from_text(HEAD + "public <a> = swingarm <b> | notchy;\n<b> = notchy | x;")
    found = grammar.unsayable(lambda word: word == "x")
    assert [str(fault) for fault in found.values()] == [
        "<grammar>:3:14: the listener cannot say 'swingarm' (in <a>)",
        "<grammar>:3:29: the listener cannot say 'notchy' (in <a>; written in 2 places)",
    ]


@pytest.mark.parametrize(
    ("text", "phrase"),
    [
        ("public <a> = pack {x} | pack {y};", "pack"),
        ("public <a> = (new | new york) {c} (york pizza | pizza) {f};", "new york pizza"),
        ("public <a> = [a] {x} [a] {y} b;", "a b"),
        ("public <a> = (b {z})+ (b {w})+ c;", "b b b c"),
        ("public <a> = x;\npublic <b> = x {t};", "x"),
        ("public <a> = <n> {n} x;\n<n> = l <n> | l {k};", None),
        ("public <a> = a {x} b | a c {x};", None),
        ("public <a> = (a {x})+ | (a+) {x};", None),  # both fill x with the same words
        ("public <a> = a | a | (a);", None),  # no slots: one meaning
        ("public <a> = a {x} | b {x};", None),
        ("public <a> = l <a> r | m {k};", None),
    ],
)
def test_ambiguous_phrases(text: str, phrase: str | None) -> None:
    grammar = Grammar.from_text(HEAD + text)
    report = find_ambiguities(grammar, most_pairs=2_000)
    assert (report.found[0].phrase if report.found else None) == phrase
    for ambiguity in report.found:
        assert len(ambiguity.readings) > 1
        assert f"'{ambiguity.phrase}' can be understood as {{" in str(ambiguity.fault())


def test_ambiguity_search_says_when_it_stopped_early() -> None:
    endless = Grammar.from_text(HEAD + "public <a> = l <a> r | m {k};")
    assert not find_ambiguities(endless, most_pairs=100).complete
    plain = Grammar.from_text(HEAD + "public <a> = l <a> | m {k};")
    assert find_ambiguities(plain, most_pairs=100).complete
