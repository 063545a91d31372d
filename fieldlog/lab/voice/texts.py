"""What the voice can say: stretches of words with the way they end, most wanted first (pure)."""

from __future__ import annotations

from collections.abc import Iterator

from fieldlog.aftercare.checklist import Item
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.quantities.number_words import PARTS
from fieldlog.quantities.spell import spell_integer
from fieldlog.quantities.units import UNITS
from fieldlog.words import english, spoken
from fieldlog.words.aloud import aloud, phrases
from fieldlog.words.say import unit_name

Unit = tuple[str, str]
"""Words, and how they end: "" goes straight on, "," goes on, "." falls."""

_DIGITS = tuple(spell_integer(n)[0] for n in range(10))


def units_of(language: InspectionLanguage, walk: tuple[Item, ...]) -> tuple[Unit, ...]:
    """Every stretch that is rendered, each once."""
    found: dict[Unit, None] = {}
    for text, end in (*_sentences(), *_numbers(), *_names(language, walk)):
        for words, _ in phrases(aloud(text)):
            found.setdefault((" ".join(words), end))
    have = {text for text, _ in found}
    parts = {word for names in PARTS.values() for name in names for word in name.split()}
    own = [given for component in language.catalogue for given in component.given]
    of_all = [c.given for component in language.catalogue for c in component.characteristics]
    settings = {
        word
        for given in (*own, *(given for several in of_all for given in several))
        for word in aloud(given.setting.replace("_", " ")).split()
    }
    for word in sorted({*_words(have), *language.words(), *settings, *parts, "noted"} - have):
        found.setdefault((word, ""))
    return tuple(found)


def _sentences() -> Iterator[Unit]:
    for text in spoken.SENTENCES:
        stretches = list(phrases(aloud(text)))
        for words, stop in stretches:
            yield " ".join(words), "," if stop == "," else "."
    for text in spoken.LEADS:
        yield text, ""


def _numbers() -> Iterator[Unit]:
    for n in range(100):
        yield " ".join(spell_integer(n)), ""
    for digit in _DIGITS:
        yield digit, "."
        yield f"{english.DECIMAL} {digit}", ""
    for n in range(1, 10):
        yield f"{_DIGITS[n]} hundred", ""
        yield f"{_DIGITS[n]} hundred and", ""
    for text in ("thousand", "thousand and", english.MINUS, english.OVER, english.TO, english.OR):
        yield text, ""
    for text in english.QUALIFIERS.values():
        yield text, ""
    for below in (2, 4, 8, 16, 32, 64):
        for name in PARTS[below]:
            yield f"{name} {english.OF_AN_INCH}", "."
            yield f"{name} inches", "."
            if below <= 8:
                yield f"{name} {english.of_a('turn')}", "."
    for symbol in UNITS:
        for plural in (True, False):
            if unit_name(symbol, plural=plural):
                yield unit_name(symbol, plural=plural), "."


def _names(language: InspectionLanguage, walk: tuple[Item, ...]) -> Iterator[Unit]:
    for item in walk:
        yield item.key, ","
    for component in language.catalogue:
        yield component.name, ","
        for one in component.characteristics:
            yield one.name, ","
        for _, condition, _ in component.judged():
            yield condition, "."
    for item in walk:
        for sight in item.sees:
            if sight.name:
                yield sight.name, "."
            yield sight.stage.name, "."


def _words(texts: set[str]) -> set[str]:
    """Every word of them, and the letters of codes."""
    return {word for text in texts for word in text.split()} | {chr(n) for n in range(97, 123)}
