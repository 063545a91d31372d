"""JSGF texts -> nodes: the notation of JSGF V1.0 (W3C note of 5 June 2000), faults with places."""

from __future__ import annotations

import pytest

from fieldlog.grammar.expression import (
    Alternative,
    Document,
    Fault,
    Import,
    Null,
    Option,
    Reference,
    Repeat,
    Rule,
    Sequence,
    Tagged,
    Void,
    Word,
)
from fieldlog.grammar.reader import read_document

HEAD = "#JSGF V1.0;\ngrammar t;\n"


def read(text: str) -> tuple[Document, list[Fault]]:
    faults: list[Fault] = []
    return read_document(text, "t.jsgf", faults), faults


def expression(text: str) -> object:
    document, faults = read(f"{HEAD}<r> = {text};")
    assert faults == []
    return document.rules[0].expression


A, B, C = Word("a"), Word("b"), Word("c")


@pytest.mark.parametrize(
    ("text", "node"),
    [
        ("a", A),
        ("a b", Sequence((A, B))),
        ("a | b", Alternative((A, B))),
        ("a b | c", Alternative((Sequence((A, B)), C))),
        ("(a | b) c", Sequence((Alternative((A, B)), C))),
        ("[a] b", Sequence((Option(A), B))),
        ("[a | b]", Option(Alternative((A, B)))),
        ("a*", Repeat(A, 0)),
        ("a b+", Sequence((A, Repeat(B, 1)))),
        ("(a b)+", Repeat(Sequence((A, B)), 1)),
        ("/10/ a | /2.5/ b", Alternative((A, B), (10.0, 2.5))),
        ("/ .5 / a | /1e1/ b", Alternative((A, B), (0.5, 10.0))),
        ("<x.y>", Reference("x.y")),
        ("< x >", Reference("x")),
        ("<NULL>", Null()),
        ("<VOID>", Void()),
        # a tag belongs to what stands directly before it, also behind a unary operator
        ("a b {t}", Sequence((A, Tagged(B, "t")))),
        ("(a b) {t}", Tagged(Sequence((A, B)), "t")),
        ("a | b {t}", Alternative((A, Tagged(B, "t")))),
        ("a* {t}", Tagged(Repeat(A, 0), "t")),
        ("a {t}*", Repeat(Tagged(A, "t"), 0)),
        ("a {t} {u}", Tagged(Tagged(A, "t"), "u")),
        ("[a] {t}", Tagged(Option(A), "t")),
        (r"a {x\}y}", Tagged(A, "x}y")),
        ("a { spaced }", Tagged(A, "spaced")),
        # quoted tokens and escapes
        ('"a"', A),
        ('"a b"', Sequence((A, B))),
        ('"x|y"', Word("x|y")),
        (r'"say \"x\""', Sequence((Word("say"), Word('"x"')))),
        (r"x\+y", Word("x+y")),
        ("i'd", Word("i'd")),
        ("12.6", Word("12.6")),
        ("앞 뒤", Sequence((Word("앞"), Word("뒤")))),
        # comments
        ("a // end of line\n b", Sequence((A, B))),
        ("a /* over\n lines */ b", Sequence((A, B))),
        ("a/**/b", Sequence((A, B))),
    ],
)
def test_expression(text: str, node: object) -> None:
    assert expression(text) == node


@pytest.mark.parametrize(
    "header",
    ["#JSGF V1.0;", "#JSGF V1.0 UTF-8;", "#JSGF V1.0 ISO8859-1 en;", "\ufeff#JSGF V1.0 UTF-8 de;"],
)
def test_header(header: str) -> None:
    document, faults = read(f"{header}\ngrammar com.acme.t;\npublic <r> = a;")
    assert faults == []
    assert document.name == "com.acme.t"
    assert document.rules == (Rule("r", A, public=True),)


def test_imports() -> None:
    document, faults = read(HEAD + "import <a.b.c>;\nimport <numbers.*>;\n<r> = <c>;")
    assert faults == []
    assert document.imports == (Import("a.b", "c"), Import("numbers", "*"))


def test_positions_do_not_count_for_equality_but_are_kept() -> None:
    document, _ = read(HEAD + "<r> = a\n   b;")
    rule = document.rules[0]
    assert str(rule.at) == "t.jsgf:3:1"
    assert isinstance(rule.expression, Sequence)
    assert [str(word.at) for word in rule.expression.items] == ["t.jsgf:3:7", "t.jsgf:4:4"]


@pytest.mark.parametrize(
    ("text", "place", "part"),
    [
        ("grammar t;\n<r> = a;", "1:1", "first line must be '#JSGF V1.0;'"),
        ("#JSGF V2.0;\ngrammar t;\n<r> = a;", "1:1", "unknown header"),
        ("#JSGF V1.0;\n<r> = a;", "1:1", "has no name"),
        ("#JSGF V1.0;\ngrammar ;\n<r> = a;", "2:9", "a name after 'grammar'"),
        (HEAD + "<r> = ;", "3:7", "expected words"),
        (HEAD + "<r> = a", "3:8", "expected ';', found the end"),
        (HEAD + "<r> = (a | b;", "3:13", "expected ')'"),
        (HEAD + "<r> = [a;", "3:9", "expected ']'"),
        (HEAD + "<r> = a | ;", "3:11", "expected words"),
        (HEAD + "<r> = a);", "3:8", "expected ';', found ')'"),
        (HEAD + "<r> a;", "3:5", "expected '='"),
        (HEAD + "r = a;", "3:1", "expected a rule"),
        (HEAD + "<r> = * a;", "3:7", "must follow"),
        (HEAD + "<r> = {t} a;", "3:7", "must follow"),
        (HEAD + "<r> = a {};", "3:9", "a tag needs a name"),
        (HEAD + "<r> = a {t;", "3:9", "never closed with }"),
        (HEAD + "<r> = <x;", "3:7", "never closed with >"),
        (HEAD + '<r> = "x;', "3:7", "never closed"),
        (HEAD + "<r> = a; /* x", "3:10", "never closed with */"),
        (HEAD + "<r> = /1/ a | b;", "3:7", "either every alternative has a /weight/"),
        (HEAD + "<r> = /x/ a | /1/ b;", "3:7", "not a number"),
        (HEAD + "<r> = /-1/ a | /1/ b;", "3:7", "not a number"),
        (HEAD + "<r> = /0/ a | /0/ b;", "3:7", "more than 0"),
        (HEAD + "<r> = a /1/ b;", "3:9", "at the beginning of an alternative"),
        (HEAD + "<NULL> = a;", "3:1", "reserved"),
        (HEAD + "<a.b> = a;", "3:1", "not a plain rule name"),
        (HEAD + "<> = a;", "3:1", "not a plain rule name"),
        (HEAD + "<r> = <>;", "3:7", "names no rule"),
        (HEAD + "import <x>;\n<r> = a;", "3:8", "names no rule of a grammar"),
        ("", "1:1", "not a JSGF grammar"),
        ("\x00\x01", "1:1", "not a JSGF grammar"),
    ],
)
def test_faults(text: str, place: str, part: str) -> None:
    _, faults = read(text)
    assert any(str(f).startswith(f"t.jsgf:{place}: ") and part in f.message for f in faults), faults


def test_reading_goes_on_behind_a_fault() -> None:
    document, faults = read(
        HEAD + "<a> = ;\n<b> = x | ;\npublic <c> = y;\n<d> = z\npublic <e> = w;\n<f> = v;"
    )
    assert [fault.at.line for fault in faults] == [3, 4, 7]
    assert [rule.name for rule in document.rules] == ["c", "e", "f"]
