"""Tokens -> one ``Document``: a recursive-descent reader that goes on after a fault (pure)."""

from __future__ import annotations

import re

from fieldlog.grammar.expression import (
    Alternative,
    Document,
    Expression,
    Fault,
    Import,
    Null,
    Option,
    Position,
    Reference,
    Repeat,
    Rule,
    Sequence,
    Tagged,
    Void,
    Word,
)
from fieldlog.grammar.tokenizer import END, HEADER, RULE, SIGN, TAG, WEIGHT, WORD, Token, tokenize

_HEADER = re.compile(r"#JSGF\s+V1\.0(\s+\S+){0,2}\s*;")
_NUMBER = re.compile(r"[0-9]*\.?[0-9]+(?:[eE][+-]?[0-9]+)?")

DEEPEST = 50
"""Brackets within brackets; grammars that people write have five."""


def read_document(text: str, file: str, faults: list[Fault]) -> Document:
    """Read one JSGF text. Faults are appended to ``faults``; what could be read is returned."""
    return _Reader(text, file, faults).document()


class _Unreadable(Exception):
    """The statement being read makes no sense; reading goes on after its semicolon."""


class _Reader:
    def __init__(self, text: str, file: str, faults: list[Fault]) -> None:
        self.file = file
        self.faults = faults
        self.tokens = list(tokenize(text, file, faults))
        self.next = 0
        self.depth = 0

    # -- statements ----------------------------------------------------------------------------

    def document(self) -> Document:
        start = self.peek().at
        self.header()
        name = ""
        imports: list[Import] = []
        rules: list[Rule] = []
        named = False
        while self.peek().kind != END:
            token = self.peek()
            try:
                if self.is_word("grammar") and not named:
                    named = True
                    name = self.grammar_name()
                elif self.is_word("import") and not rules:
                    imports.append(self.import_())
                else:
                    rules.append(self.rule())
            except _Unreadable:
                self.skip_statement(token)
        if not named:
            self.fault(start, "the grammar has no name", "write 'grammar NAME;' after the header")
        return Document(name or "grammar", tuple(rules), tuple(imports), start)

    def header(self) -> None:
        token = self.peek()
        if token.kind != HEADER:
            self.fault(token.at, "not a JSGF grammar", "its first line must be '#JSGF V1.0;'")
            return
        self.next += 1
        if not _HEADER.fullmatch(token.text):
            self.fault(
                token.at,
                f"unknown header {token.text!r}",
                "write '#JSGF V1.0;' or '#JSGF V1.0 UTF-8 en;'",
            )

    def grammar_name(self) -> str:
        self.next += 1
        token = self.take(WORD, "a name after 'grammar'")
        self.sign(";")
        return token.text

    def import_(self) -> Import:
        at = self.peek().at
        self.next += 1
        token = self.take(RULE, "<grammar.rule> or <grammar.*> after 'import'")
        grammar, dot, rule = token.text.rpartition(".")
        if not dot or not grammar or not rule:
            self.fault(token.at, f"import <{token.text}> names no rule of a grammar")
            raise _Unreadable
        self.sign(";")
        return Import(grammar, rule, at)

    def rule(self) -> Rule:
        public = self.is_word("public")
        if public:
            self.next += 1
        token = self.take(RULE, "a rule: [public] <name> = ...;")
        if not token.text or "." in token.text or re.search(r"\s", token.text):
            self.fault(token.at, f"<{token.text}> cannot be defined: not a plain rule name")
        if token.text in ("NULL", "VOID"):
            self.fault(token.at, f"<{token.text}> is reserved and cannot be defined")
        self.sign("=")
        expression = self.alternatives()
        self.sign(";")
        return Rule(token.text, expression, public, token.at)

    def skip_statement(self, start: Token) -> None:
        """Go behind the next ``;``, at least one token on from where the statement began."""
        if self.peek() is start:
            self.next += 1
        while self.peek().kind != END:
            token = self.peek()
            if token.kind == SIGN and token.text == "=" and self.tokens[self.next - 1] is not start:
                # A missing semicolon: '<name> =' begins the next rule.
                before = self.tokens[self.next - 1]
                if before.kind == RULE and self.next - 1 > self.tokens.index(start):
                    self.next -= 1
                    if self.tokens[self.next - 1].text == "public":
                        self.next -= 1
                    return
            self.next += 1
            if token.kind == SIGN and token.text == ";":
                return

    # -- expansions, loosest binding first -----------------------------------------------------

    def alternatives(self) -> Expression:
        at = self.peek().at
        choices: list[Expression] = []
        weights: list[float | None] = []
        while True:
            weights.append(self.weight())
            choices.append(self.sequence())
            if not self.is_sign("|"):
                break
            self.next += 1
        given = [weight for weight in weights if weight is not None]
        if given and len(given) < len(choices):
            self.fault(at, "either every alternative has a /weight/ or none has")
        elif given and not any(given):
            self.fault(at, "at least one weight must be more than 0")
        elif given:
            return Alternative(tuple(choices), tuple(given), at)
        if len(choices) == 1:
            return choices[0]
        return Alternative(tuple(choices), None, at)

    def weight(self) -> float | None:
        token = self.peek()
        if token.kind != WEIGHT:
            return None
        self.next += 1
        if not _NUMBER.fullmatch(token.text):
            self.fault(token.at, f"weight /{token.text}/ is not a number of 0 or more")
            return 1.0
        return float(token.text)

    def sequence(self) -> Expression:
        at = self.peek().at
        items: list[Expression] = []
        while (item := self.item()) is not None:
            items.append(item)
        if not items:
            token = self.peek()
            self.fault(token.at, f"expected words, a rule or a group, found {_shown(token)}")
            raise _Unreadable
        return items[0] if len(items) == 1 else Sequence(tuple(items), at)

    def item(self) -> Expression | None:
        """A word, rule or group with the ``*``, ``+`` and tags behind it; None at the end."""
        expression = self.atom()
        while expression is not None:
            token = self.peek()
            if token.kind == TAG:
                if not token.text:
                    self.fault(token.at, "a tag needs a name: {slot}")
                expression = Tagged(expression, token.text, token.at)
            elif token.kind == SIGN and token.text in "*+":
                expression = Repeat(expression, 0 if token.text == "*" else 1, token.at)
            else:
                break
            self.next += 1
        return expression

    def atom(self) -> Expression | None:
        token = self.peek()
        if token.kind == WORD:
            self.next += 1
            return Word(token.text, token.at)
        if token.kind == RULE:
            self.next += 1
            return self.reference(token)
        if token.kind == SIGN and token.text in "([":
            self.next += 1
            self.depth += 1
            if self.depth > DEEPEST:
                self.fault(token.at, f"brackets are nested deeper than {DEEPEST}")
                raise _Unreadable
            inside = self.alternatives()
            self.depth -= 1
            self.sign(")" if token.text == "(" else "]")
            return inside if token.text == "(" else Option(inside, token.at)
        if token.kind == TAG or (token.kind == SIGN and token.text in "*+"):
            self.fault(token.at, f"{_shown(token)} must follow a word, a rule or a group")
            raise _Unreadable
        if token.kind == WEIGHT:
            self.fault(token.at, "a /weight/ stands at the beginning of an alternative")
            raise _Unreadable
        return None

    def reference(self, token: Token) -> Expression:
        if token.text == "NULL":
            return Null(token.at)
        if token.text == "VOID":
            return Void(token.at)
        if not token.text:
            self.fault(token.at, "<> names no rule")
        return Reference(token.text, token.at)

    # -- tokens --------------------------------------------------------------------------------

    def peek(self) -> Token:
        return self.tokens[self.next]  # nothing goes on past the one END

    def is_word(self, text: str) -> bool:
        token = self.peek()
        return token.kind == WORD and token.text == text

    def is_sign(self, text: str) -> bool:
        token = self.peek()
        return token.kind == SIGN and token.text == text

    def take(self, kind: str, expected: str) -> Token:
        token = self.peek()
        if token.kind != kind:
            self.fault(token.at, f"expected {expected}, found {_shown(token)}")
            raise _Unreadable
        self.next += 1
        return token

    def sign(self, text: str) -> None:
        if not self.is_sign(text):
            token = self.peek()
            self.fault(token.at, f"expected '{text}', found {_shown(token)}")
            raise _Unreadable
        self.next += 1

    def fault(self, at: Position, message: str, todo: str = "") -> None:
        self.faults.append(Fault(at, f"{message}: {todo}" if todo else message))


def _shown(token: Token) -> str:
    shown = {END: "the end of the text", RULE: f"<{token.text}>", TAG: f"{{{token.text}}}"}
    return shown.get(token.kind, f"'{token.text}'")
