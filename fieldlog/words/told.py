"""How findings, questions and verdicts read in another language: tables, and what puts them together (pure).

Only what is shown is made here; what was decided comes in as it is. Printed limits, sources and cautions
stay as their source has them, and are never left out.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from string import Formatter

from fieldlog.errors import GrammarError
from fieldlog.model.command import Command
from fieldlog.model.finding import Finding, Qualifier, Quantity
from fieldlog.model.limit import Limit, LimitStatus, Relation
from fieldlog.model.question import Asks, Question
from fieldlog.model.state import Severity, State
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.model.verdict import InDoubt, Judgement, Verdict
from fieldlog.words import english, tell
from fieldlog.words.telling import told_in

_TABLES: Mapping[str, frozenset[str]] = {
    "states": frozenset(State),
    "severities": frozenset(Severity),
    "doubts": frozenset(InDoubt),
    "statuses": frozenset(LimitStatus),
    "qualifiers": frozenset(Qualifier),
    "asks": frozenset(Asks),
    "commands": frozenset(Command),
    "relations": frozenset(Relation) - {Relation.IS},
}
"""The tables and what each has to have."""
_LINES = (
    *("or", "and", "to", "incomplete", "refused", "heard", "asked", "severe", "limit", "caution"),
    *("not_judged", "does_not_fit", "not_finished", "nothing", "two_ways", "remark", "corrects"),
    *("withdrawn", "hears", "only_typed", "typed", "answered", "kept", "aloud"),
)


def sentences_of(text: str, where: str) -> Mapping[str, str]:
    """The sentences of every table of ``sentences.toml``; raises ``GrammarError``."""
    try:
        tables = tomllib.loads(text)
        return {one: str(other) for table in tables.values() for one, other in table.items()}
    except (tomllib.TOMLDecodeError, AttributeError) as error:
        raise GrammarError(str(error), where=where) from None


def fields_of(sentence: str) -> frozenset[str]:
    """The names of the fields of a sentence."""
    return frozenset(name for _, name, _, _ in Formatter().parse(sentence) if name is not None)


@dataclass(frozen=True)
class CalledSo:
    """How the things of the catalogue are called in a language."""

    components: Mapping[str, str]
    characteristics: Mapping[tuple[str, str], str]
    conditions: Mapping[str, str]
    places: Mapping[str, str]
    decimal: str


@dataclass(frozen=True)
class TellsIn:
    """Tells what was understood in one language."""

    tables: Mapping[str, Mapping[str, str]]
    lines: Mapping[str, str]
    said: CalledSo
    sentences: Mapping[str, str] = field(default_factory=dict)
    """Sentence of the reference -> the same here (``words.telling``)."""
    code: str = ""

    @classmethod
    def read(
        cls, text: str, said: CalledSo, where: str, sentences: str = "", code: str = ""
    ) -> TellsIn:
        """From the texts of ``told.toml`` and ``sentences.toml``; raises ``GrammarError`` naming all that lacks."""
        try:
            read = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise GrammarError(str(error), where=where) from None
        tables = {name: each for name, each in read.items() if isinstance(each, dict)}
        lines = {name: each for name, each in read.items() if isinstance(each, str)}
        lacks = [
            f"[{table}] '{key}'"
            for table, keys in _TABLES.items()
            for key in sorted(keys - tables.get(table, {}).keys())
        ]
        lacks += [f"'{key}'" for key in _LINES if key not in lines]
        others = sentences_of(sentences, where)
        lacks += [
            f"the fields of '{one}'"
            for one, other in others.items()
            if fields_of(one) != fields_of(other)
        ]
        if lacks:
            raise GrammarError(f"lacks {', '.join(lacks)}", where=where, todo="write what lacks")
        better = replace(
            said,
            conditions={**said.conditions, **tables.get("conditions", {})},
            places={**said.places, **tables.get("places", {})},
        )
        return cls(tables, lines, better, others, code)

    # --- findings ------------------------------------------------------------------------------

    def finding(self, one: Finding) -> str:
        """ "Bremsbeläge vorne links, Dicke: 2,5 mm"."""
        head, value = self.subject(one), self.value(one)
        facts = ", ".join(self._fact(*each) for each in one.given)
        return (f"{head}: {value}" if value else head) + (f" ({facts})" if facts else "")

    def subject(self, one: Finding) -> str:
        """What a finding is about."""
        name = self.part(one.component)
        where = self.place(one.position)
        of = self.said.characteristics.get((one.component, one.characteristic or ""), "")
        return ", ".join(part for part in (f"{name} {where}".strip(), of) if part)

    def part(self, name: str) -> str:
        """A part, or what is bought and used, by its canonical name."""
        return self.said.components.get(name) or self.sentences.get(name, name)

    def figure(self, text: str) -> str:
        """A figure with the decimal sign of the language."""
        return text.replace(".", self.said.decimal)

    def state_of(self, one: Verdict | Judgement | None) -> str:
        """How it stands, in a word or two."""
        return (
            self.sentences.get("not judged", "not judged")
            if one is None
            else self.tables["states"][one.state]
        )

    def asked_for(self, limit: Limit) -> str:
        """What a limit asks for, its figures and its own qualifier as its source prints them."""
        if limit.relation is Relation.IS:
            of = self.said.characteristics.get((limit.component, limit.characteristic))
            words = ", ".join(self.said.conditions.get(word, word) for word in limit.words)
            words = words or of or limit.characteristic
            with told_in(self):
                return english.only(words, limit.asks) if limit.asks else words
        printed = tell.limit_value(limit).removesuffix(" 1")
        if limit.relation is Relation.BETWEEN:
            printed = printed.replace(f" {english.TO} ", f" {self.lines['and']} ", 1)
        return f"{self.tables['relations'][limit.relation]} {printed}".rstrip()

    def place(self, position: str | None) -> str:
        """The words of a canonical position: "front left" -> "vorne links"."""
        rest, found = position or "", []
        if " and " in rest:
            return f" {self.lines['and']} ".join(map(self.place, rest.split(" and ")))
        known = sorted(self.said.places, key=len, reverse=True)
        while rest:
            value = next((v for v in known if rest == v or rest.startswith(f"{v} ")), "")
            found.append(self.said.places[value] if value else rest)
            rest = rest[len(value) :].strip() if value else ""
        return " ".join(found)

    def value(self, one: Finding) -> str:
        """What was found; "" where nothing was."""
        if one.readings:
            return " / ".join(self.quantity(each) for each in one.readings)
        if one.quantity is not None:
            return self.quantity(one.quantity)
        if one.condition is not None:
            return self.said.conditions.get(one.condition, one.condition)
        return one.code or ""

    def quantity(self, one: Quantity) -> str:
        """The exact value with its unit: "etwa 2,5 mm", "2 bis 3 mm"."""
        ends = [end for end in (one.value, one.high) if end is not None]
        shown = [tell.decimal(end) or tell.fraction(end) for end in ends]
        text = f" {self.lines['to']} ".join(each.replace(".", self.said.decimal) for each in shown)
        unit = self.tables["units"].get(one.unit)
        text = f"{text} {unit}" if unit else tell.with_unit(text, one.unit)
        return f"{self.tables['qualifiers'][one.qualifier]} {text}" if one.qualifier else text

    def _fact(self, setting: str, value: str) -> str:
        return f"{self.tables.get('settings', {}).get(setting, setting.replace('_', ' '))} {value}"

    def command(self, word: Command) -> str:
        """What is said for a command."""
        return self.tables["commands"][word]

    # --- questions -----------------------------------------------------------------------------

    def question(self, asked: Understanding) -> str:
        """How a question reads: by its kind and what it offers."""
        if asked.question is None:
            return ""
        kind, offered = asked.question.kind, asked.offered
        ways = self.either([self.finding(one) for one in offered]) or asked.text
        units = dict.fromkeys(
            self._unit(one.quantity.unit) for one in offered if one.quantity is not None
        )
        value = offered[0].quantity if offered else None
        told = self.tables["asks"][kind].format(
            ways=ways,
            thing=self.finding(offered[0]) if offered else asked.text,
            all=f" {self.lines['and']} ".join(self.finding(one) for one in offered),
            value=self.quantity(value) if value is not None else ways,
            units=self.either([*units]),
            places=self._places(offered),
        )
        return told.strip()

    def asked(self, one: Understanding) -> Understanding:
        """The same, its question as it reads in this language."""
        if one.question is None:
            return one
        return replace(one, question=Question(one.question.kind, self.question(one)))

    def _unit(self, symbol: str) -> str:
        return self.tables["units"].get(symbol) or tell.unit(symbol)

    def _places(self, offered: Sequence[Finding]) -> str:
        return self.either([*dict.fromkeys(self.place(one.position) for one in offered)]) + "?"

    def either(self, words: Sequence[str]) -> str:
        """ "a, b oder c"."""
        if len(words) < 2:
            return "".join(words)
        return f"{', '.join(words[:-1])} {self.lines['or']} {words[-1]}"

    # --- lines ---------------------------------------------------------------------------------

    def understood(self, one: Understanding, verdict: Verdict | None) -> Iterator[str]:
        """What was understood, a line each: the finding and its verdict, or what is asked, or why not."""
        if one.decision is Decision.REFUSE:
            yield self.lines["refused"].format(why=one.reason)
            return
        if one.decision is Decision.ASK:
            yield self.lines["asked"].format(question=self.question(one))
            yield from (f"  - {self.finding(each)}" for each in one.candidates)
            return
        if one.kind is Kind.REMARK:
            yield self.lines["remark"].format(text=one.slots.get("remark", ""))
            return
        if one.finding is None:
            told = self.tables["commands"][one.dialogue] if one.dialogue else one.text
            about = one.slots.get("component", "")
            yield (
                f"{told}: {self.said.components[about]}" if about in self.said.components else told
            )
            return
        yield f"{self.finding(one.finding)}  {self.verdict(verdict)}".rstrip()
        if verdict is not None:
            yield from (f"  {line}" for line in self._behind(verdict))

    def verdict(self, one: Verdict | None) -> str:
        """How it stands against its limits; what is dangerous is never told without saying so."""
        if one is None:
            return ""
        state = self.tables["states"][one.state]
        if one.in_doubt is not None:
            state = f"{state}, {self.tables['doubts'][one.in_doubt]}"
        if one.severity is None or one.state is State.WITHIN:
            return state
        return self.lines["severe"].format(
            state=state, severity=self.tables["severities"][one.severity]
        )

    def _behind(self, verdict: Verdict) -> Iterator[str]:
        judged = [each for each in (verdict.gate, *verdict.others) if each is not None]
        for each in judged:
            yield self.limit(each)
        if not judged:
            yield self.lines["not_judged"]
        for text in verdict.cautions:
            yield self.lines["caution"].format(text=self.sentences.get(text, text))

    def limit(self, one: Judgement) -> str:
        """A limit as its source prints it, and where it comes from."""
        limit = one.limit
        source = self.sentences.get(limit.source, limit.source)
        status = self.tables["statuses"][limit.status]
        return self.lines["limit"].format(limit=self.asked_for(limit), source=source, status=status)
