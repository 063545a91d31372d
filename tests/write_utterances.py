"""Writes ``tests/data/utterances/generated``: one row per component, characteristic, unit, condition.

Run it after adding a component: ``python -m tests.write_utterances``. The words come from the first
way the catalogue gives to say a thing, the expected meaning from its canonical names; the suite then
holds the whole path (grammar, numbers, units, decision) against them.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from fieldlog import config
from fieldlog.catalogue.component import CONDITION, Axis, Characteristic, Component
from fieldlog.catalogue.files import load_catalogue
from fieldlog.catalogue.phrases import expand
from fieldlog.model.finding import Quantity
from fieldlog.words.say import say
from tests.utterances import FOLDER

GENERATED = FOLDER / "generated"
_VALUES = [Fraction(n) for n in (7, 3, 2, 12, 36, 65, 110, 235, 1200, 12400, 1, 21, 0)]
_PLACES = {
    "end": ("front", "front"),
    "side": ("left", "left"),
    "mount": ("top", "top"),
    "joint": ("base", "base"),
}
"""Axis that some component needs -> the words said before its name, and the canonical value."""
_CODES = {
    "brake fluid grade": ("dot four", "DOT 4"),
    "oil grade": ("twenty w fifty", "20W-50"),
    "chain size": ("five thirty", "530"),
    "date code": ("twenty five oh one", "2501"),
    "tyre size": ("one eighty fifty five z r seventeen", "180/55 ZR17"),
    "speed symbol": ("h", "H"),
    "date": ("the fifth of june twenty twenty six", "2026-06-05"),
}
_CONDITION_WORDS = {
    "slack": "too slack",
    "sound": "good",
    "between marks": "between the marks",
    "nail in it": "nail in it",
    "stone in it": "stone in it",
    "at wear bars": "at the wear bars",
    "discoloured": "discolored",
    "lifting off": "lifts off",
    "out of true": "out of true",
    "rusted": "rusty",
    "dry": "dry",
}


def rows_of(component: Component) -> Iterator[str]:
    """TOML rows for everything that can be said of ``component``."""
    name = _shortest(component.spoken or component.typed)
    for condition in component.conditions:
        before, place = _placed(component.axes)
        yield _row(
            f"{before}{name} {_judged(condition)}", component.name, place, CONDITION, s=condition
        )
    for one in component.characteristics:
        before, place = _placed(one.axes)
        words = f"{before}{name} {_shortest(one.words)}" if one.words else before + one.alone[0]
        for condition in one.conditions:
            said = f"{words} {_judged(condition)}"
            yield _row(said, component.name, place, one.name, s=condition)
        for unit in one.units:
            value = _value(one, unit)
            said = say(Quantity(value, unit), denominator=8 if value == Fraction(1, 8) else None)
            yield _row(f"{words} {said}", component.name, place, one.name, v=f"{value} {unit}")
        if one.code:
            said, code = _CODES[one.code]
            yield _row(f"{words} {said}", component.name, place, one.name, g=code)


def _placed(axes: tuple[Axis, ...]) -> tuple[str, str | None]:
    needed = [_PLACES[axis.name] for axis in axes if axis.required]
    before = "".join(f"{words} " for words, _ in needed)
    return before, " ".join(value for _, value in needed) or None


def _judged(condition: str) -> str:
    return _CONDITION_WORDS.get(condition, condition)


def _shortest(phrases: tuple[str, ...]) -> str:
    return max((words for phrase in phrases for words in expand(phrase)[:1]), key=len)


def _value(one: Characteristic, unit: str) -> Fraction:
    if "gravity" in one.said:
        return Fraction(1265, 1000)
    tried = [Fraction(1, 8), *_VALUES] if unit == "in" else _VALUES
    tried = [*tried, Fraction(1, 2), Fraction(6, 5), Fraction(5, 2), Fraction(1, 50)]
    return next(value for value in tried if one.plausible(value, unit))


def _row(words: str, component: str, place: str | None, characteristic: str, **said: str) -> str:
    parts = {"w": words, "c": component, "k": characteristic, **said}
    if place:
        parts["p"] = place
    return "  {" + ", ".join(f'{key}="{value}"' for key, value in parts.items()) + "},"


def main() -> None:
    """Write one file per system."""
    GENERATED.mkdir(exist_ok=True)
    catalogue = load_catalogue(config.grammars())
    for system in catalogue.systems:
        lines = [
            "# Written by tests/write_utterances.py; every item of the catalogue once.",
            "rows = [",
        ]
        for component in catalogue.of_system(system):
            lines += rows_of(component)
        file = GENERATED / f"{system.replace(' ', '_')}.toml"
        file.write_text("\n".join([*lines, "]", ""]), encoding="utf-8")


if __name__ == "__main__":
    main()
