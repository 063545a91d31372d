"""What is said to train on beside single phrases: breaths, repairs, tails, sides, pauses, talk (pure).

Whatever the grammar allows is a path of the search; what it does not (tails, talk) is written down
word for word. Every text belongs to the training part by the hash of its words, and so does each
finding in it; the sentences of the benchmark are left out whatever their hash.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from fieldlog.catalogue.component import Characteristic, Component
from fieldlog.catalogue.phrases import expand
from fieldlog.grammar.language import is_said
from fieldlog.grammar.sample import Sampler
from fieldlog.lab.benchmarks.breath_sentences import sentences, tails
from fieldlog.lab.benchmarks.breath_takes import findings_of, halves_of
from fieldlog.lab.speech_set.phrases import PhraseSource, in_part, part_of
from fieldlog.lab.speech_set.voices import TEST, TRAIN, TUNE
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.understanding import Decision
from fieldlog.quantities.units import SPOKEN

SENTENCE, REPAIR, TAIL, SIDE, PAUSE, TALK = "sentence", "repair", "tail", "side", "pause", "talk"
_WORDING = Path(__file__).with_name("wording.toml")
_JOINERS = ("", "", "", "and", "and", "and", "then", "then", "but", "and then", "but then",
            "and also", "also", "while", "whereas")  # fmt: skip
_SIZES = (2,) * 11 + (3,) * 6 + (4,) * 2 + (5,)
_MOST_WORDS = 7
_SIDES = {
    "left": ("nearside", "nearside", "left hand", "left side", "left hand side"),
    "right": ("offside", "offside", "right hand", "right side", "right hand side"),
    "inner": ("inside",),
    "outer": ("outside", "outside"),
}


@dataclass(frozen=True, slots=True)
class Said:
    """A text to be spoken: ``pieces`` with a short silence, or none, between them."""

    kind: str
    pieces: tuple[str, ...]

    @property
    def words(self) -> str:
        """All of it."""
        return " ".join(self.pieces)


class Sentences(PhraseSource):
    """Draws sentences of the training part; the same seed gives the same ones."""

    def __init__(self, language: InspectionLanguage, seed: int, findings: Sequence[str]) -> None:
        """``findings``: phrases of the training part that are one accepted finding each."""
        super().__init__(language, seed)
        self.graph = self._graph
        self._findings = findings
        self._apart = kept_apart_texts()
        self._words = language._breaths.phrases
        self._pairs = Sampler(self._rules, ["catalogue.pairs"], seed)
        axes = ("side", "face")
        self._side_values = {w: value for a in axes for w, value in self._words.places[a].items()}
        self._sided = [
            c
            for c in language.catalogue.heard
            if any(a.name in axes for k in c.characteristics for a in (*c.axes, *k.axes))
        ]
        self._wording: dict[str, list[str]] = tomllib.loads(_WORDING.read_text(encoding="utf-8"))

    def draw(self, make: Callable[[], Said | None], count: int) -> list[Said]:
        """``count`` different texts that ``make`` makes, of those that may be trained on."""
        found: dict[str, Said] = {}
        for _ in range(60 * count):
            said = make()
            if said is not None and said.words not in found and self.mine(said.words):
                if said.kind not in (TAIL, TALK) and not self._is_path(said.words):
                    continue
                found[said.words] = said
            if len(found) == count:
                break
        return list(found.values())

    def mine(self, words: str) -> bool:
        """Whether a text may be trained on."""
        return part_of(words) == TRAIN and words not in self._apart

    def _is_path(self, words: str) -> bool:
        said = is_said(self.graph, words.split())
        return said and self._language.understand(words).decision is not Decision.REFUSE

    # --- breaths -------------------------------------------------------------------------------

    def breath(self) -> Said | None:
        """Two to five findings, each in full."""
        choose = self._random
        parts = [choose.choice(self._findings) for _ in range(choose.choice(_SIZES))]
        return Said(SENTENCE, (parts[0], *(self._joined(each) for each in parts[1:])))

    def carried(self) -> Said | None:
        """What leaves out the part, the unit or the whole subject of the finding before."""
        choose = self._random
        ways = (
            (self._other_place,) * 6 + (self._both,) * 4 + (self._more_of_it, self._measure_of_it)
        )
        pieces = choose.choice(ways)()
        if not pieces or (len(pieces) > 1 and part_of(pieces[0]) != TRAIN):
            return None
        if choose.random() < 0.25:
            pieces = (*pieces, self._joined(choose.choice(self._findings)))
        return Said(SENTENCE, pieces)

    def _joined(self, words: str) -> str:
        return f"{self._random.choice(_JOINERS)} {words}".strip()

    def _drawn_component(self) -> Component:
        return self._random.choice(self._language.catalogue.heard)

    def _name(self, component: Component) -> str:
        return self._random.choice(expand(self._random.choice(component.spoken)))

    def _other_place(self) -> tuple[str, ...]:
        choose, component = self._random, self._drawn_component()
        measured = [c for c in component.characteristics if c.units]
        one = choose.choice(measured) if measured and choose.random() < 0.5 else None
        axes = [a for a in (one or component).axes if a.name in ("end", "side")]
        if not axes:
            return ()
        places = self._words.places.get(choose.choice(axes).name, {})
        first, second = (choose.choice(list(places)) for _ in range(2))
        if not places or places[first] == places[second]:
            return ()
        one_word = choose.choice(("", "", "", " one"))
        article = choose.choice(("", "", "the "))
        told = [self._told(component, one) for _ in range(2)]
        if not all(told):
            return ()
        said = choose.choice(expand(choose.choice(one.words))) if one and one.words else ""
        subject = " ".join(w for w in (*first, self._name(component), said) if w)
        tail = told[1] if choose.random() < 0.4 else _without_unit(told[1])
        return (
            f"{subject} {told[0]}",
            self._joined(f"{article}{' '.join(second)}{one_word} {tail}"),
        )

    def _told(self, component: Component, one: Characteristic | None) -> str:
        return self._condition(component.conditions) if one is None else self._measured(one)

    def _both(self) -> tuple[str, ...]:
        return (self._pairs.next_phrase(),)

    def _more_of_it(self) -> tuple[str, ...]:
        first = self._random.choice(self._findings)
        found = findings_of(self._language, first)
        component = self._language.catalogue.get(found.component) if found else None
        rest = self._condition(component.conditions) if component else ""
        return (first, self._joined(rest)) if rest else ()

    def _measure_of_it(self) -> tuple[str, ...]:
        first = self._random.choice(self._findings)
        found = findings_of(self._language, first)
        component = self._language.catalogue.get(found.component) if found else None
        named = [c for c in component.characteristics if c.words] if component else []
        if not named:
            return ()
        one = self._random.choice(named)
        told = self._measured(one)
        word = self._random.choice(expand(self._random.choice(one.words)))
        return (first, self._joined(f"{word} {told}")) if told else ()

    # --- what changes what was said -------------------------------------------------------------

    def repair(self) -> Said | None:
        """A finding and what was meant instead."""
        choose = self._random
        first = choose.choice(self._findings)
        found, cut = findings_of(self._language, first), halves_of(first, self._language)
        component = self._language.catalogue.get(found.component) if found else None
        if found is None or cut is None or component is None:
            return None
        one = next((c for c in component.characteristics if c.name == found.characteristic), None)
        if found.quantity is not None and one is not None and one.units:
            value = self._value_in(one, found.quantity.unit)
        else:
            value = self._condition(one.conditions if one else component.conditions)
        if not value or value == cut[1]:
            return None
        if choose.random() < 0.4:
            value = _without_unit(value)
        meant = (
            "correction" if choose.random() < 0.2 else " ".join(choose.choice(self._words.meant))
        )
        whole = f"{cut[0]} {value}" if choose.random() < 0.2 else value
        return Said(REPAIR, (first, f"{meant} {whole}"))

    def limit(self) -> Said | None:
        """A finding and what takes it back or limits it, whatever the words."""
        choose = self._random
        first = choose.choice(self._findings)
        if choose.random() < 0.4:
            return Said(TAIL, (first, " ".join(choose.choice(self._words.limits))))
        return Said(TAIL, (first, choose.choice(self._wording["tails"])))

    # --- sides, pauses, talk --------------------------------------------------------------------

    def side(self) -> Said | None:
        """A phrase with a side in words that sound like those of the other one."""
        words = self._usual(self._random.choice(self._sided)).split()
        spans = [
            (at, size, _SIDES[value])
            for at in range(len(words))
            for size in (3, 2, 1)
            if (value := self._side_values.get(tuple(words[at : at + size])))
        ]
        if not spans:
            return None
        at, size, ways = max(spans, key=lambda span: span[1])
        words[at : at + size] = [self._random.choice(ways)]
        text = " ".join(words)
        kept = findings_of(self._language, text) is not None
        return Said(SIDE, (text,)) if kept else None

    def pause(self) -> Said | None:
        """A phrase with a silence before its value, now and then filled."""
        cut = halves_of(self._random.choice(self._findings), self._language)
        return Said(PAUSE, cut) if cut else None

    def talk(self) -> Said | None:
        """Talk about motorcycles that is meant for nobody here."""
        choose = self._random
        text = choose.choice(self._wording["talk"])
        component = self._drawn_component()
        condition = self._condition(component.conditions)
        if not condition:
            return None
        filled = text.format(
            part=self._name(component),
            how=condition,
            number=choose.choice(self._wording["numbers"]),
            who=choose.choice(self._wording["people"]),
            when=choose.choice(self._wording["times"]),
        )
        return Said(TALK, (filled,))


def kept_apart_texts() -> frozenset[str]:
    """Every text of the benchmark of one breath, without its commas."""
    lines = [*(one for part in (TEST, TUNE) for one in (*sentences(part), *tails(part)))]
    return frozenset(line.say.replace(",", "") for line in lines)


def findings_to_train(source: PhraseSource, language: InspectionLanguage) -> list[str]:
    """Short usual phrases of the training part that are one accepted finding."""
    return [
        phrase.words
        for phrase in source.pool(160, 1)
        if phrase.usual
        and in_part(phrase, TRAIN)
        and len(phrase.words.split()) <= _MOST_WORDS
        and findings_of(language, phrase.words) is not None
    ]


def _without_unit(value: str) -> str:
    words = tuple(value.split())
    for size in range(min(5, len(words) - 1), 0, -1):
        if words[-size:] in SPOKEN:
            return " ".join(words[:-size])
    return value
