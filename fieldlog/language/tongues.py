"""Other languages from their folders."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path

from fieldlog import config
from fieldlog.catalogue.files import rule_names
from fieldlog.errors import UsageError
from fieldlog.grammar.check import references
from fieldlog.grammar.expression import Rule
from fieldlog.grammar.files import load_grammar, read_text
from fieldlog.grammar.grammar import Grammar
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.language.lexicon import phrases, spoken_name
from fieldlog.language.other import OtherLanguage, SpokenRules
from fieldlog.language.rule_names import GRAMMAR
from fieldlog.language.shape import Subject, shape
from fieldlog.language.tongue import OWN, Renamed, Tongue, read_tongue, renamed
from fieldlog.language.wording import Wording
from fieldlog.words.told import CalledSo, TellsIn

REFERENCE = "en"
"""The language whose words the meanings are kept in."""
WORDS, NAMES, TOLD, SENTENCES = "words.toml", "names.toml", "told.toml", "sentences.toml"


def codes() -> tuple[str, ...]:
    """The languages there are: the reference, then every folder beside its grammars that has words."""
    return (REFERENCE, *sorted(file.parent.name for file in config.grammars().glob(f"*/{WORDS}")))


def language_of(code: str = "") -> InspectionLanguage:
    """The inspection language ``code`` (by default ``FIELDLOG_LANGUAGE``, else the reference).

    Raises ``UsageError`` for one that there is not, ``GrammarError`` with every fault of its files.
    """
    code = (code or config.language()).lower()
    if code in ("", REFERENCE):
        return load_language()
    if code not in codes():
        raise _unknown(code)
    return _shipped(code)


def kept_code(code: str = "") -> str:
    """How a language is named in the record: its code (by default ``FIELDLOG_LANGUAGE``), "" for the reference.

    Raises ``UsageError`` for one that there is not.
    """
    code = (code or config.language()).lower()
    if code in ("", REFERENCE):
        return ""
    if code not in codes():
        raise _unknown(code)
    return code


def _unknown(code: str) -> UsageError:
    return UsageError(
        f"no language '{code}'", todo=f"choose one of {', '.join(codes())}; docs/languages.md"
    )


@cache
def _shipped(code: str) -> OtherLanguage:
    return read_other(config.grammars() / code)[0]


def read_other(folder: Path) -> tuple[OtherLanguage, Renamed]:
    """The language of ``folder``, and its catalogue in its words with what lacks there."""
    reference = load_language()
    tongue = read_tongue(read_text(folder / WORDS), read_text(folder / NAMES), str(folder))
    said = renamed(tongue, reference.catalogue)
    pattern = folder / "finding.jsgf"
    axes = frozenset(rule_names(folder / "positions.jsgf"))
    faults = frozenset(rule_names(folder / "faults.jsgf"))
    shaped = shape(read_text(pattern), said.catalogue, axes, faults, str(pattern))
    texts = {GRAMMAR: shaped.text, OWN: said.own}
    whole = load_grammar(folder / "spoken.jsgf", texts)
    # One utterance to a breath: listeners that nobody trained on shop speech say the same thing again and
    # again where more may follow. What is typed may go on ("spoken.breath").
    offered = Grammar("inspection", whole.rules, ("inspection.utterance",), whole.warnings)
    answers = load_grammar(folder / "answer.jsgf", texts)
    typed = load_grammar(folder / "dialogue.jsgf", texts)
    subjects = {
        f"{GRAMMAR}.{name}": _as_known(one, reference) for name, one in shaped.subjects.items()
    }
    wording = Wording(subjects, reference.catalogue, reference.rules, said.meaning, tongue.meaning)
    names = _said(tongue, reference, {**answers.rules, **whole.rules})
    sentences = read_text(folder / SENTENCES) if (folder / SENTENCES).is_file() else ""
    told = TellsIn.read(read_text(folder / TOLD), names, str(folder / TOLD), sentences, tongue.code)
    spoken = SpokenRules(offered, answers, typed)
    return OtherLanguage(reference, tongue, spoken, wording, told), said


def _said(tongue: Tongue, reference: InspectionLanguage, rules: Mapping[str, Rule]) -> CalledSo:
    """What things are called: the first name of names.toml, the first phrase of the grammars' rules."""

    def first(text: str) -> str:
        return text.split("|")[0].strip()

    def ruled(grammar: str) -> dict[str, str]:
        own = (name for name in rules if name.startswith(f"{grammar}."))
        leaves = (name for name in own if not any(references(rules[name].expression)))
        return {spoken_name(name): " ".join(phrases(rules, name)[0]) for name in leaves}

    characteristics = {}
    for component in reference.catalogue:
        told = tongue.names.get(component.name, {})
        for one in component.characteristics:
            words = told.get(f"{one.name} words") or told.get(f"{one.name} alone", "")
            characteristics[component.name, one.name] = first(words)
    components = {
        name: first(told["name"]) for name, told in tongue.names.items() if "name" in told
    }
    return CalledSo(
        components, characteristics, ruled("conditions"), ruled("positions"), tongue.decimal
    )


def _as_known(one: Subject, reference: InspectionLanguage) -> Subject:
    """The same subject in the reference's own catalogue."""
    component = reference.catalogue[one.component.name]
    named = one.characteristic.name if one.characteristic else None
    return Subject(component, component.characteristic(named), one.axes)
