"""``fieldlog grammar``: check a grammar for faults, and see what it lets people say."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fieldlog.errors import ModelError
from fieldlog.words import english

if TYPE_CHECKING:
    from fieldlog.grammar import Grammar
    from fieldlog.grammar.expression import Fault
    from fieldlog.grammar.homophones import Alike

_LISTENERS = ("whisper", "vosk", "pocketsphinx")


@click.group()
def grammar() -> None:
    """Check a grammar, or list phrases of it.

    \b
    Examples:
      fieldlog grammar check                                  the inspection grammar that ships
      fieldlog grammar check orders.jsgf --listener pocketsphinx
      fieldlog grammar sample orders.jsgf -n 20 --seed 1
    """


@grammar.command()
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option(
    "--listener",
    type=click.Choice(_LISTENERS),
    help="Also look up every word in this recogniser's dictionary.",
)
@click.option("--model", type=click.Path(path_type=Path), metavar="DIR", help="Its model folder.")
@click.option(
    "--ambiguity/--no-ambiguity",
    default=True,
    show_default=True,
    help="Search for phrases whose slots can be filled in two ways.",
)
def check(file: Path | None, listener: str | None, model: Path | None, ambiguity: bool) -> None:
    """Report every fault of FILE (default: the inspection grammar) with its place; exit code 3.

    Faults: unreadable text, undefined or left-recursive rules, rules that match without a word,
    nothing public, phrases with two meanings, and words that the listener cannot say. A rule that
    is never used is a warning, and so are words of FILE that sound the same and change the meaning ("two",
    "to"); those of the inspection grammar are asked about (`fieldlog grammar homophones`).

    \b
    Examples:
      fieldlog grammar check
      fieldlog grammar check orders.jsgf
      fieldlog grammar check orders.jsgf --listener vosk --model ~/models/vosk-en
    """
    from fieldlog.grammar.ambiguity import find_ambiguities
    from fieldlog.grammar.check import raise_faults

    name = str(file) if file else "the inspection grammar"
    loaded = _load(file)
    faults: list[Fault] = []
    for warning in loaded.warnings:
        click.echo(str(warning), err=True)
    notes = []
    if listener:
        faults += _unsayable(loaded, listener, model)
        notes.append(f"{listener} can say every word")
    if ambiguity:
        report = find_ambiguities(loaded, most_pairs=100_000)
        faults += [found.fault() for found in report.found]
        if report.found or report.complete:
            notes.append("no phrase has two meanings")
        else:
            notes.append(f"no phrase with two meanings among the first {report.pairs:,} places")
    raise_faults(faults, name)
    alike: tuple[Alike, ...] = ()
    try:
        alike = _alike(file, 200) if file is not None else ()
    except ModelError as error:
        click.echo(f"fieldlog: words that sound the same were not looked for: {error}", err=True)
    for pair in alike:
        click.echo(f"warning: {pair}", err=True)
    notes += (
        [f"{english.counted(len(alike), 'pair of words sounds', 'pairs of words sound')} the same"]
        if alike
        else []
    )
    counted = f"{english.counted(len(loaded.rules), 'rule')}, {english.counted(len(loaded.words), 'word')}"
    click.echo("; ".join([f"{name}: no faults in {counted}", *notes]))


@grammar.command()
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option("-n", "--count", default=20, show_default=True, type=click.IntRange(1, 1_000_000))
@click.option("--seed", default=0, show_default=True, help="The same seed gives the same phrases.")
@click.option("--cover", is_flag=True, help="Take what was used least: some hundred reach all.")
def sample(file: Path | None, count: int, seed: int, cover: bool) -> None:
    """Print phrases that FILE (default: the inspection grammar) lets people say.

    \b
    Examples:
      fieldlog grammar sample -n 5
      fieldlog grammar sample orders.jsgf -n 20 --seed 1
      fieldlog grammar sample orders.jsgf -n 300 --cover
    """
    from fieldlog.grammar.sample import Sampler

    loaded = _load(file)
    sampler = Sampler(loaded.rules, loaded.public, seed)
    for _ in range(count):
        click.echo(sampler.next_phrase() if cover else sampler.random_phrase())


@grammar.command()
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option("-n", "--count", default=500, show_default=True, type=click.IntRange(0, 100_000))
def homophones(file: Path | None, count: int) -> None:
    """Print words of FILE (default: the inspection grammar) that sound the same and change the meaning.

    No listener can tell them apart: say one of them otherwise. Pronunciations are those of pocketsphinx's
    dictionary (extra ``listeners``) and the additions. COUNT random phrases are looked through for pairs of two words. Takes
    some ten seconds for the inspection grammar, whose own are asked about when they are heard.

    \b
    Examples:
      fieldlog grammar homophones
      fieldlog grammar homophones orders.jsgf -n 2000
    """
    from fieldlog.shop.ears import open_language

    found = _alike(file, count)
    for each in found:
        click.echo(str(each))
    click.echo(
        f"{english.counted(len(found), 'pair')} in {english.counted(len(open_language(file).words()), 'word')}",
        err=True,
    )


def _alike(file: Path | None, count: int) -> tuple[Alike, ...]:
    """Words that sound the same and change the meaning.

    Raises ``ModelError`` where nothing tells how words sound.
    """
    from fieldlog.grammar.homophones import homophones as find
    from fieldlog.grammar.sample import Sampler
    from fieldlog.listeners.pocketsphinx import pronunciations
    from fieldlog.shop.ears import open_language

    language = open_language(file)
    loaded = _load(file)
    sampler = Sampler(loaded.rules, loaded.public, seed=1)
    phrases = [*sampler.covering(), *(sampler.random_phrase() for _ in range(count))]
    return find(phrases, pronunciations(language.words()), language)


def _load(file: Path | None) -> Grammar:
    if file is not None:
        from fieldlog.grammar import load_grammar

        return load_grammar(file)
    from fieldlog.language.files import load_language

    return load_language().grammar


def _unsayable(loaded: Grammar, listener: str, model: Path | None) -> list[Fault]:
    """Faults for words the listener lacks, each with a phrase and a spelling that it has."""
    from dataclasses import replace

    from fieldlog.grammar.lexicon import as_two_words
    from fieldlog.grammar.sample import Sampler

    can_say = _dictionary(listener, model)
    phrases = Sampler(loaded.rules, loaded.public, seed=1).covering()
    faults = []
    for word, fault in loaded.unsayable(can_say).items():
        phrase = next((p for p in phrases if word in p.split()), "")
        two = as_two_words(word, can_say)
        more = f", as in '{phrase}'" * bool(phrase) + f"; it can say '{two}'" * bool(two)
        faults.append(replace(fault, message=fault.message + more))
    return faults


def _dictionary(listener: str, model: Path | None) -> Callable[[str], bool]:
    if listener == "pocketsphinx":
        from fieldlog.listeners.pocketsphinx import PocketsphinxListener

        return PocketsphinxListener(model).can_say
    if listener == "vosk":
        from fieldlog.listeners.vosk import VoskListener

        opened = VoskListener(model)
        opened.open()
        return opened.can_say
    return lambda word: True  # Whisper spells any word out of byte pairs
