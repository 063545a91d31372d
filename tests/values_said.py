"""Values drawn at random, said and typed in every style.

``python -m tests.values_said 200000 20000`` says so many phrases and answers to questions, and prints how
many were accepted, asked about, refused, and wrong: accepted with another value than the one that was said.
What they may honestly mean is read by ``honest_values.py``.
"""

from __future__ import annotations

import random
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction

from fieldlog.grammar.sample import Sampler
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.finding import Quantity
from fieldlog.model.understanding import Decision, Understanding
from tests.drawn_values import (
    SPOKEN,
    Drawn,
    Measured,
    drawn,
    measured,
    phrase,
    with_unit,
)
from tests.honest_values import (
    QUALIFIED,
    honest,
)

# --- holding what is understood against what was said ----------------------------------------------


@dataclass
class Outcome:
    """What became of many phrases."""

    counts: Counter[str] = field(default_factory=Counter)
    by_style: Counter[tuple[str, str]] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)
    slow: list[str] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    slowest_ms: float = 0.0
    times_ms: list[float] = field(default_factory=list)

    def take(
        self, text: str, style: str, wanted: Wanted, understand: Callable[[], Understanding]
    ) -> None:
        """Understand one text, and note what came of it."""
        began = time.thread_time()
        try:
            found = understand()
        except Exception as error:  # anything at all: that is what is looked for
            self.failed.append(f"{text!r}: {error!r}")
            return
        took = (time.thread_time() - began) * 1000
        self.times_ms.append(took)
        self.slowest_ms = max(self.slowest_ms, took)
        if took > SLOW_MS:
            self.slow.append(f"{text!r}: {took:.0f} ms")
        self.counts[found.decision.value] += 1
        self.by_style[style, found.decision.value] += 1
        if found.decision is Decision.REFUSE:
            self.refused.append(f"{text!r}: {found.reason}")
        if found.decision is Decision.ACCEPT:
            got = values_of(found)
            if got != wanted:
                self.wrong.append(f"{text!r}: said {told(wanted)}, taken {told(got)}")

    @property
    def faults(self) -> list[str]:
        """Everything that must not be."""
        return [*self.wrong, *self.failed, *self.slow]

    def __str__(self) -> str:
        each = ", ".join(f"{n} {name}" for name, n in sorted(self.counts.items()))
        median = sorted(self.times_ms)[len(self.times_ms) // 2] if self.times_ms else 0.0
        return (
            f"{sum(self.counts.values())}: {each}; {len(self.wrong)} wrong, {len(self.failed)} failed, "
            f"{len(self.slow)} over {SLOW_MS:.0f} ms (median {median:.2f}, slowest {self.slowest_ms:.0f} ms)"
        )


SLOW_MS = 200.0


Wanted = tuple[Fraction, Fraction | None, str, str | None] | None


def told(value: Wanted) -> str:
    if value is None:
        return "nothing"
    low, high, unit, qualifier = value
    return f"{qualifier or ''} {low}{'' if high is None else f'..{high}'} {unit}".strip()


def values_of(found: Understanding) -> Wanted:
    """The one value that is accepted, as it would be said."""
    quantity = found.finding.quantity if found.finding is not None else None
    if quantity is None or found.parts:
        return None
    return as_wanted(quantity)


def as_wanted(quantity: Quantity) -> Wanted:
    qualifier = quantity.qualifier.value if quantity.qualifier is not None else None
    return quantity.value, quantity.high, quantity.unit, qualifier


def say_phrases(language: InspectionLanguage, count: int, seed: int = 1) -> Outcome:
    """``count`` phrases of values of the catalogue, a twelfth of them corrections."""
    draw, outcome, known = random.Random(seed), Outcome(), measured(language)
    for _ in range(count):
        one = draw.choice(known)
        value = drawn(one, draw)
        text = phrase(one, value, draw)
        wanted = (value.value, value.high, one.unit, value.qualifier)
        way = draw.random()
        if way < 0.04:
            text = f"correction {text}"
        elif way < 0.08:
            before = drawn(one, draw)
            link = draw.choice(["correction", "no i meant", "no i meant", "correction"])
            after = with_unit(value, one.unit, draw)
            text = f"{one.name} {with_unit(before, one.unit, draw)} {link} {after}"
        style = f"{'spoken' if value.spoken else 'typed'} {value.style}"
        if value.spoken and value.high is None and value.qualifier is None:
            meant = {low for low, _ in honest(value.text.split())}
            assert value.value in meant, (value, meant)
        outcome.take(text, style, wanted, lambda text=text: language.understand(text))  # type: ignore[misc]
    return outcome


def sample_phrases(language: InspectionLanguage, count: int, seed: int = 2) -> Outcome:
    """``count`` phrases that listeners are offered, each value held against this file's reader."""
    sampler = Sampler(language.grammar.rules, ["catalogue.findings"], seed=seed)
    outcome = Outcome()
    for _ in range(count):
        text = sampler.random_phrase()
        began = time.thread_time()
        found = language.understand(text)
        took = (time.thread_time() - began) * 1000
        outcome.times_ms.append(took)
        outcome.slowest_ms = max(outcome.slowest_ms, took)
        outcome.counts[found.decision.value] += 1
        quantity = found.finding.quantity if found.finding is not None else None
        if took > SLOW_MS:
            outcome.slow.append(f"{text!r}: {took:.0f} ms")
        if found.decision is not Decision.ACCEPT or quantity is None:
            continue
        if not any(_is(quantity, text) for text in [quantity.words]):
            outcome.wrong.append(f"{text!r}: taken {told(as_wanted(quantity))}")
    return outcome


SCALE = {"thou": Fraction(1, 1000), "thousandths": Fraction(1, 1000), "mils": Fraction(1, 1000), "mil": Fraction(1, 1000)}  # fmt: skip


_QUALIFIERS = sorted(["just under", "just over", *QUALIFIED], key=len, reverse=True)


def _is(quantity: Quantity, text: str) -> bool:
    """Whether some first words of the value, without its qualifier, say its number."""
    for qualifier in _QUALIFIERS:
        text = text.removeprefix(f"{qualifier} ")
    words = text.replace("below zero", "").split()
    sign = -1 if text.endswith("below zero") else 1
    tried = [words[:n] for n in range(1, len(words) + 1)]
    tried += [["one", *words[1:]]] if words[:1] in (["a"], ["an"]) else []
    if words[:1] in (["a"], ["an"]):
        tried.append(["one", *words[2:]])
        tried.append(["one"])
    for said in tried:
        for low, high in honest([word for word in said if word not in ("of",)]):
            for scale in {Fraction(1), *(SCALE[w] for w in words if w in SCALE)}:
                top = None if high is None else high * scale
                if (sign * low * scale, top) == (quantity.value, quantity.high):
                    return True
    return False


# --- questions and their answers -------------------------------------------------------------------


def say_answers(language: InspectionLanguage, count: int, seed: int = 3) -> Outcome:
    """``count`` answers to questions about values: what is accepted is what was said, no more and no less."""
    draw, outcome, known = random.Random(seed), Outcome(), measured(language)
    while sum(outcome.counts.values()) + len(outcome.failed) < count:
        one = draw.choice(known)
        for first, asked, text, style, wanted in _answers(language, one, draw):
            told_ = f"{first} / {text}"
            outcome.take(told_, style, wanted, lambda a=asked, t=text: language.answer(a, t))  # type: ignore[misc]
    return outcome


def _answers(
    language: InspectionLanguage, one: Measured, draw: random.Random
) -> Iterator[tuple[str, Understanding, str, str, Wanted]]:
    """A question about a value of ``one``, and an answer to it with what it then means."""
    value = drawn(one, draw)
    bare = draw.random() < 0.6
    first = f"{one.name} {value.text if bare else with_unit(value, one.unit, draw)}"
    asked = language.understand(first)
    if asked.decision is not Decision.ASK or not asked.offered:
        return
    offered = {as_wanted(each.quantity) for each in asked.offered if each.quantity is not None}
    said = (value.value, value.high, one.unit, value.qualifier)
    only = next(iter(offered)) if len(offered) == 1 and len(asked.offered) == 1 else None
    other = drawn(one, draw)
    anew = (other.value, other.high, one.unit, other.qualifier)
    unit = draw.choice(SPOKEN[one.unit])
    again = with_unit(other, one.unit, draw)
    same = with_unit(value, one.unit, draw)
    yes, no = (
        draw.choice(["yes", "affirm", "that's right", "yeah"]),
        draw.choice(["no", "negative"]),
    )
    yield first, asked, yes, "yes", only
    yield first, asked, again, "value anew", anew
    yield first, asked, same, "value again", said
    yield first, asked, f"{no}, {again}", "no and value", anew
    yield first, asked, f"{yes}, {same}", "yes and value", said
    yield first, asked, f"{yes}, {again}", "yes and another", anew if anew in offered else None
    if only is None or only[:2] == said[:2]:
        yield first, asked, unit, "unit", said if bare else None
    yield first, asked, other.text, "number alone", _of_inch(other, anew)
    yield first, asked, value.text, "number again", _of_inch(value, said) if bare else said


def _of_inch(told: Drawn, meant: Wanted) -> Wanted:
    """Eighths without a unit are parts of an inch."""
    parts_ = {"part 8", "part 16", "part 32", "part 64"}
    if meant is None or told.value.denominator == 1 or not any(p in told.style for p in parts_):
        return meant
    low, high, _, qualifier = meant
    return low, high, "in", qualifier


def main() -> None:
    phrases, answers = (int(n) for n in (*sys.argv[1:], "2000", "1000")[:2])
    language = load_language()
    language.understand("frnot pads")  # the first refusal builds the word graph, once
    for name, outcome in (
        ("phrases", say_phrases(language, phrases // 2)),
        ("phrases of the grammar", sample_phrases(language, phrases - phrases // 2)),
        ("answers", say_answers(language, answers)),
    ):
        print(f"{name} {outcome}")
        for style in sorted({style for style, _ in outcome.by_style}):
            row = {d: outcome.by_style[style, d] for d in ("accept", "ask", "refuse")}
            print(f"  {style}: {row}")
        for refused in outcome.refused[:: max(1, len(outcome.refused) // 30)]:
            print("  ?", refused)
        for fault in outcome.faults[:60]:
            print("  !", fault)


if __name__ == "__main__":
    main()
