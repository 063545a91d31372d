"""No decision hangs on how a thing reads: a scan of the code, and a run with every sentence nonsense."""

from __future__ import annotations

import ast
import inspect
import sys
import typing
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules
from types import MappingProxyType, ModuleType
from typing import Any

import pytest

from fieldlog import words
from fieldlog.config import grammars
from fieldlog.doubt.question import telling_more, waits, what_to_ask
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.limits.assess import assess
from fieldlog.limits.context import parse_context
from fieldlog.limits.packs import shipped_limits
from fieldlog.model.question import Question
from fieldlog.model.understanding import Decision, Understanding
from fieldlog.model.verdict import Judgement, Verdict
from fieldlog.shop.settling import settles
from tests import breaths
from tests.utterances import rows

PACKAGE = Path(__file__).resolve().parents[1] / "fieldlog"
FACES = ("words/", "cli/", "lab/")
PROSE = {"question_text", "reason", "question", "advice", "arithmetic", "printed_text", "ask"}
"""Attributes that hold a sentence; a ``question`` may still be asked whether it is there."""
CUTS = {
    "startswith", "endswith", "removeprefix", "removesuffix", "partition", "rpartition", "split",
    "rsplit", "splitlines", "find", "rfind", "index", "rindex", "count", "replace", "strip",
    "lstrip", "rstrip", "lower", "upper", "casefold", "translate",
}  # fmt: skip
SEARCHES = {"search", "match", "fullmatch", "findall", "finditer", "sub", "split", "ratio"}
DATA = {
    "component", "characteristic", "condition", "code", "position", "axis", "name", "words", "unit",
}  # fmt: skip
"""Attributes that hold a canonical name of the catalogue: their values are data, though English."""
ALLOWED = {
    # whether a new row would say anything that the kept one does not: never what it means
    ("photos/placing.py", "_write"),
    ("photos/placing.py", "_differs"),
    # whether a person gave a reason at all
    ("aftercare/checklist.py", "progress"),
    # what another program prints
}


def _modules() -> list[Path]:
    return [
        path
        for path in sorted(PACKAGE.rglob("*.py"))
        if not path.relative_to(PACKAGE).as_posix().startswith(FACES)
    ]


@dataclass
class Scan:
    """What one function compares, searches or cuts that is for people to read."""

    words: set[str]
    """Names that were imported from ``fieldlog.words``."""
    tainted: set[str]
    """Names of the function that hold a sentence."""

    def faults(self, function: ast.AST) -> Iterator[tuple[int, str]]:
        for node in ast.walk(function):
            if isinstance(node, ast.Compare):
                sides = [node.left, *node.comparators]
                identity = all(isinstance(op, ast.Is | ast.IsNot) for op in node.ops)
                if (not identity and any(self.is_prose(side) for side in sides)) or (
                    any(_is_sentence(side) for side in sides) and not _of_data(sides)
                ):
                    yield node.lineno, ast.unparse(node)
            elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                cut = node.func.attr in CUTS and self.is_prose(node.func.value)
                searched = node.func.attr in SEARCHES and any(map(self.is_prose, node.args))
                if cut or searched:
                    yield node.lineno, ast.unparse(node)
            elif isinstance(node, ast.Subscript) and self.is_prose(node.value):
                yield node.lineno, ast.unparse(node)
            elif isinstance(node, ast.Match) and self.is_prose(node.subject):
                yield node.lineno, ast.unparse(node.subject)

    def is_prose(self, node: ast.AST) -> bool:
        """Whether an expression is a sentence, or one of several that hold one."""
        match node:
            case ast.Attribute(attr="text", value=ast.Name(id="question")):
                return True
            case ast.Attribute(attr="text", value=ast.Attribute(attr="question")):
                return True
            case ast.Attribute(attr=name, value=ast.Name(id=home)):
                return name in PROSE or home in self.words
            case ast.Attribute(attr=name):
                return name in PROSE
            case ast.Name(id=name):
                return name in self.tainted
            case ast.Call(func=ast.Attribute(value=ast.Name(id=name))):
                return name in self.words or self._is_cut(node)
            case ast.Call(func=ast.Name(id=name)):
                return name in self.words
            case ast.Call():
                return self._is_cut(node)
            case ast.Tuple(elts=parts) | ast.List(elts=parts) | ast.Set(elts=parts):
                return any(map(self.is_prose, parts))
            case ast.BoolOp(values=parts) | ast.JoinedStr(values=parts):
                return any(map(self.is_prose, parts))
            case ast.FormattedValue(value=inner) | ast.Subscript(value=inner):
                return self.is_prose(inner)
            case ast.BinOp(left=left, right=right):
                return self.is_prose(left) or self.is_prose(right)
            case ast.IfExp(body=one, orelse=other):
                return self.is_prose(one) or self.is_prose(other)
        return False

    def _is_cut(self, call: ast.Call) -> bool:
        return isinstance(call.func, ast.Attribute) and self.is_prose(call.func.value)


def _is_sentence(node: ast.AST) -> bool:
    """Whether it is a literal text of several words."""
    texts = node.elts if isinstance(node, ast.Tuple | ast.List | ast.Set) else [node]
    return any(
        isinstance(each, ast.Constant) and isinstance(each.value, str) and " " in each.value.strip()
        for each in texts
    )


def _of_data(sides: list[ast.expr]) -> bool:
    """Whether what it is compared with is a canonical name."""
    parts = [p for side in sides for p in (side.elts if isinstance(side, ast.Tuple) else [side])]
    names = {part.attr for part in parts if isinstance(part, ast.Attribute)}
    return bool(names) and names <= DATA


def scan(source: str, file: str) -> list[str]:
    """Every place of ``source`` where a sentence is compared, searched or cut."""
    tree = ast.parse(source)
    words = {
        alias.asname or alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("fieldlog.words")
        for alias in node.names
    }
    found = []
    for function in ast.walk(tree):
        if not isinstance(function, ast.FunctionDef):
            continue
        if (file, function.name) in ALLOWED:
            continue
        looks = Scan(words, set())
        for _ in range(2):  # what is made of what was made of a sentence
            for node in ast.walk(function):
                if isinstance(node, ast.Assign | ast.AnnAssign | ast.NamedExpr) and node.value:
                    targets = node.targets if isinstance(node, ast.Assign) else [node.target]
                    if looks.is_prose(node.value):
                        looks.tainted |= {t.id for t in targets if isinstance(t, ast.Name)}
        found += [f"{file}:{line}: {text}" for line, text in looks.faults(function)]
    return found


@pytest.mark.parametrize("path", _modules(), ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_no_sentence_is_compared_searched_or_cut(path: Path) -> None:
    file = path.relative_to(PACKAGE).as_posix()
    assert scan(path.read_text(encoding="utf-8"), file) == []


@pytest.mark.parametrize(
    "line",
    [
        "return NEW not in asked.question_text",
        "return said.reason.startswith('not judged')",
        "return ' or ' not in asked.question",
        "told = asked.question_text\n    return told == 'Front or rear?'",
        "return questions.which(told) == other",
        "why = f'{said.reason};'\n    return why[:3]",
        "return re.search('front', said.reason) is not None",
        "return (kept.text, kept.question) == (said.text, said.question)",
        "return state == 'not judged'",
        "return questions.IN_FULL not in question.text",
        "return said.question.text == 'Front?'",
    ],
)
def test_the_scan_sees_it(line: str) -> None:
    source = f"from fieldlog.words import questions\ndef f(asked, said):\n    {line}\n"
    assert scan(source, "x.py")


# -- everything that reads is nonsense --------------------------------------------------------------

NONSENSE = "zxq"
WORDS = tuple(
    import_module(f"fieldlog.words.{each.name}")
    for each in iter_modules(words.__path__)
    if each.name != "old_questions"  # reads rows that have nothing else
)
ANSWERS = (
    "affirm",
    "negative",
    "front",
    "rear left",
    "the upper one",
    "cell three",
    "millimetres",
    "psi",
    "volts",
    "four millimetres",
    "thirty",
    "fifty newton metres",
    "lateral",
    "front pads two millimetres",
)


def _texts(value: object) -> object:
    """``value`` with every text of it made nonsense, whatever table holds it."""
    if isinstance(value, str):
        return NONSENSE
    if isinstance(value, Mapping):
        return MappingProxyType({key: _texts(each) for key, each in value.items()})
    if isinstance(value, tuple):
        return tuple(_texts(each) for each in value)
    return value


def _nonsense(function: Callable[..., Any]) -> Callable[..., Any] | None:
    """The same function, saying nothing; None for one that returns no text."""
    returns = typing.get_type_hints(function).get("return")
    if returns is str:
        return lambda *_, **__: NONSENSE
    if returns == tuple[str, ...]:
        return lambda *_, **__: (NONSENSE,)
    return None


def _tables(home: ModuleType) -> set[str]:
    """Names of the tables that stand in ``home`` itself, none that it takes from elsewhere."""
    made = ast.parse(inspect.getsource(home)).body
    each = (
        node.targets if isinstance(node, ast.Assign) else [node.target]
        for node in made
        if isinstance(node, ast.Assign | ast.AnnAssign)
    )
    return {name.id for names in each for name in names if isinstance(name, ast.Name)}


def speak_nonsense(monkeypatch: pytest.MonkeyPatch) -> int:
    """Every sentence, table and reason means nothing from now on; how many were replaced."""
    changed = 0
    modules = [module for name, module in sys.modules.items() if name.startswith("fieldlog")]
    for home in WORDS:
        for name, value in list(vars(home).items()):
            new: object = None
            if inspect.isfunction(value) and value.__module__ == home.__name__:
                new = _nonsense(value)
            elif name in _tables(home) and not name.startswith("_SPOKEN_PARTS"):
                new = _texts(value)
            if new is None or new is value:
                continue
            for module in modules:
                if vars(module).get(name) is value:
                    monkeypatch.setattr(module, name, new)
                    changed += 1
    for kind, part in (
        (Understanding, "reason"),
        (Question, "text"),
        (Judgement, "reason"),
        (Verdict, "reason"),
    ):
        monkeypatch.setattr(kind, "__init__", _without(kind, part))
        changed += 1
    return changed


def _without(kind: type, part: str) -> Callable[..., None]:
    made = kind.__init__  # type: ignore[misc]

    def init(self: object, *args: Any, **kwargs: Any) -> None:
        made(self, *args, **kwargs)
        if getattr(self, part):
            object.__setattr__(self, part, NONSENSE)

    return init


def _decided(said: Understanding) -> tuple[object, ...]:
    question = said.question and (said.question.kind, said.question.rest)
    return (
        said.decision, said.kind, said.finding, said.candidates, dict(said.slots), said.dialogue,
        said.flags, question, waits(said),
    )  # fmt: skip


def fresh_language() -> InspectionLanguage:
    """Made anew: it remembers nothing that it understood before."""
    return load_language(grammars())


def _all_that_is_decided(language: InspectionLanguage) -> Iterator[tuple[str, object]]:
    """What each row of tests/data/utterances comes to, its answers, doubts and verdicts too."""
    context = parse_context("US", ())
    before: Understanding | None = None
    for text in dict.fromkeys((*(row["w"] for row in rows()), *FIGURES)):
        said = language.understand(text)
        yield text, _decided(said)
        yield f"{text}: more", _decided(telling_more(said))
        if before is not None and said.decision is not Decision.REFUSE:
            asked = what_to_ask(said, (before,))
            yield f"{text}: or the one before", asked.kind
        if said.decision is Decision.ASK:
            for answer in ANSWERS:
                answered = language.answer(said, answer)
                yield f"{text} / {answer}", (_decided(answered), settles(said, answered))
        if said.decision is Decision.ACCEPT and said.finding is not None:
            found = assess(said.finding, shipped_limits(), context, language.catalogue, TODAY)
            gate = found.verdict.gate
            yield f"{text}: verdict", (
                found.verdict.state, found.verdict.severity, gate and gate.limit.id,
                [(each.limit.id, each.state) for each in found.verdict.others],
                [verdict.state for _, verdict in found.derived],
            )  # fmt: skip
        before = said
    for text in (row["w"] for row in breaths.rows()):
        breath = language.breath(text)
        parts = [_decided(part) for part in (*breath.parts, *breath.agreed)]
        yield f"{text}: breath", (parts, breath.left_over)


TODAY = date(2026, 5, 1)
FIGURES = (
    "battery 12. 6 volts",
    "front pads 1 234 mm",
    "front brake disc 4 .5 mm",
    "front pads ..2 mm",
    "front tyre pressure 2 9 psi",
    "brake disc run out readings nought then point two",
    "front brake disc run out readings nought then point two",
)
"""Asked about for how they were typed, or for a unit that no reading has."""


@lru_cache(maxsize=1)
def _as_it_reads() -> dict[str, object]:
    return dict(_all_that_is_decided(fresh_language()))


def test_every_decision_stays_when_every_sentence_is_nonsense(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    plain = _as_it_reads()
    assert speak_nonsense(monkeypatch) > 60
    language = fresh_language()
    asked = language.understand("brake pads two millimetres")
    assert (asked.question_text, asked.reason) == (NONSENSE, NONSENSE)
    differing = [
        (name, plain.get(name), found)
        for name, found in _all_that_is_decided(language)
        if plain.get(name) != found
    ]
    assert differing == []
