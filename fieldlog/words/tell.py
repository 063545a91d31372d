"""How a thing reads: units, values, places, findings, limits, verdicts, times, choices (pure).

The same on the terminal, in questions and on paper. What was said or printed is told exactly: as a
fraction where it was said as one, as a decimal where that ends. Only what was computed on the way
(margins, converted readings) may be rounded, and then says so with a leading ``≈``.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction

from fieldlog.catalogue.component import CONDITION, Axis, Characteristic, Component
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.limit import Aggregation, Limit, LimitStatus, Relation
from fieldlog.model.state import State
from fieldlog.model.verdict import Judgement, Verdict
from fieldlog.quantities.number_words import DENOMINATORS
from fieldlog.quantities.spell import decimal_places
from fieldlog.quantities.units import UNITS
from fieldlog.words import english
from fieldlog.words import telling as speech
from fieldlog.words.say import unit_name

_SPOKEN_PARTS = tuple(
    (
        n,
        re.compile(
            r"\b(?:"
            + "|".join(" ".join(words) for words, (m, _) in DENOMINATORS.items() if m == n)
            + r")\b"
        ),
    )
    for n in (64, 32, 16, 8, 4, 2)
)
_HALVED = (2, 4, 8, 16, 32, 64)
_FINEST = 64
"""Nobody says a finer part: a value that needs one was computed."""
_MOST_PLACES = 4
"""Nobody says more decimals."""
_LARGEST_DENOMINATOR = 9999


# --- values ----------------------------------------------------------------------------------


def unit(symbol: str) -> str:
    """The unit as printed; empty for a plain ratio or count, the symbol itself for an unknown one."""
    row = UNITS.get(symbol)
    return symbol if row is None or row.printed is None else row.printed


def with_unit(figure: str, symbol: str) -> str:
    """``figure`` and unit set as in print: a space between, none before an angle's degree."""
    text = unit(symbol)
    if not text:
        return figure
    return f"{figure}{text}" if symbol in UNITS and UNITS[symbol].tight else f"{figure} {text}"


def decimal(value: Fraction) -> str | None:
    """``value`` as the decimal that equals it, or None where no decimal does."""
    rest = value.denominator
    twos = fives = 0
    while rest % 2 == 0:
        rest, twos = rest // 2, twos + 1
    while rest % 5 == 0:
        rest, fives = rest // 5, fives + 1
    if rest != 1:
        return None
    places = max(twos, fives)
    digits = str(abs(value.numerator) * 10**places // value.denominator).rjust(places + 1, "0")
    sign = "-" if value < 0 else ""
    return f"{sign}{digits[:-places]}.{digits[-places:]}" if places else f"{sign}{digits}"


def fraction(value: Fraction, denominator: int | None = None) -> str:
    """``value`` as a mixed fraction, over ``denominator`` where that is possible: ``3 4/32``."""
    sign, size = ("-" if value < 0 else ""), abs(value)
    whole, part = divmod(size, 1)
    if not part:
        return f"{sign}{whole}"
    below = denominator or part.denominator
    above = part * below
    shown = f"{above}/{below}" if above.denominator == 1 else str(part)
    return f"{sign}{whole} {shown}" if whole else f"{sign}{shown}"


def number(value: Fraction, symbol: str = "", words: str = "") -> str:
    """``value`` exactly, as a fraction where ``words`` said one or no decimal equals it.

    Without words inches and turns are told in halves and quarters down to 64ths, and what nobody can
    have said (``≈ 2.381``) is rounded to three decimals.
    """
    if words:
        for denominator, spoken in _SPOKEN_PARTS:
            if spoken.search(words) and (value * denominator).denominator == 1:
                return fraction(value, denominator)
        return decimal(value) or fraction(value)
    if _parted(value, symbol):
        return fraction(value)
    exact = decimal(value)
    if value.denominator > _FINEST and (exact is None or _places(exact) > _MOST_PLACES):
        return "≈ " + f"{float(value):.3f}".rstrip("0").rstrip(".")
    return exact or fraction(value)


def quantity(one: Quantity) -> str:
    """The value with its unit: ``about 4/32 in``, ``2 to 3 mm``."""
    if (there := speech.telling()) is not None:
        return there.quantity(one)
    text = number(one.value, one.unit, one.words)
    if one.high is not None:
        text = f"{text} {english.TO} {number(one.high, one.unit, one.words)}"
    text = with_unit(text, one.unit)
    return f"{english.QUALIFIERS[one.qualifier]} {text}" if one.qualifier is not None else text


def rounded(
    value: Fraction, symbol: str, *, signed: bool = False, digits: int = 3, marked: bool = True
) -> str:
    """A computed value to ``digits`` significant ones; ``≈`` in front when that is not exact.

    ``marked``: False where the line says by other means that it is computed.
    """
    if value == 0:
        return with_unit("0", symbol)
    shown = float(f"{float(value):.{digits}g}")
    text = f"{shown:.10f}".rstrip("0").rstrip(".")
    exact = Fraction(text) == value
    text = _as_written(text)
    sign = "+" if signed and value > 0 else ""
    mark = "≈ " if marked and not exact else ""
    return with_unit(f"{mark}{sign}{text}", symbol)


def figure(value: Fraction, symbol: str = "") -> str:
    """``value`` in full for arithmetic: ``1/8`` of an inch, ``0.0625``, ``17/254 (about 0.06693)``.

    A fraction that nobody could read (more than four figures below the line) is rounded.
    """
    if _parted(value, symbol):
        return fraction(value)
    if decimal_places(value) is not None:
        return decimal(value) or ""
    if value.denominator > _LARGEST_DENOMINATOR:
        return english.about(f"{float(value):.6g}")
    return f"{value} ({english.about(f'{float(value):.4g}')})"  # exact first: 17/254 in is 1.7 mm


def exactly(value: Fraction, symbol: str) -> str:
    """The ``figure`` with its unit."""
    return with_unit(figure(value, symbol), symbol)


def converted(value: Fraction, symbol: str) -> str:
    """A converted reading: exact when it ends within six decimals, else rounded with ``≈``."""
    exact = decimal(value)
    if exact is not None and _places(exact) <= 6:
        return with_unit(_as_written(exact), symbol)
    return rounded(value, symbol)


def _as_written(figure: str) -> str:
    there = speech.telling()
    return figure if there is None else there.figure(figure)


def _parted(value: Fraction, symbol: str) -> bool:
    return symbol in UNITS and UNITS[symbol].parted and value.denominator in _HALVED


def _places(exact: str) -> int:
    return len(exact.partition(".")[2])


def seconds(stretch: float) -> str:
    """A stretch of time in words a reader takes in at once: ``4.2 s``, ``3 min 5 s``, ``2 h``."""
    size = abs(stretch)
    if size < 60:
        return f"{size:.1f} s"
    minutes, rest = divmod(round(size), 60)
    if minutes < 60:
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes} min" if minutes else f"{hours} h"


# --- findings --------------------------------------------------------------------------------


def place(component: str, position: str | None) -> str:
    """``front brake pads``; ``battery, cell 3``; ``headlamp, down``."""
    if (there := speech.telling()) is not None:
        return there.subject(Finding(component, position, None))
    if position is None:
        return component
    if position in {"up", "down"} or position[-1:].isdigit():
        return f"{component}, {position}"
    return f"{position} {component}"


def about(component: str, position: str | None, characteristic: str | None) -> str:
    """What something is about: ``rear tyre, tread depth``; ``headlamp, aim offset down``."""
    if (there := speech.telling()) is not None:
        return there.subject(Finding(component, position, characteristic))
    of = None if characteristic == CONDITION else characteristic
    if position in {"up", "down"} and of:
        return f"{component}, {of} {position}"
    text = place(component, position)
    return f"{text}, {of}" if of else text


def subject(one: Finding) -> str:
    """What a finding is about."""
    return about(one.component, one.position, one.characteristic)


def value(one: Finding) -> str:
    """What was found: the exact value or values, the condition, or the code."""
    if (there := speech.telling()) is not None:
        return there.value(one) or speech.say(english.NOT_COMPLETE)
    return _found(one) or english.NOT_COMPLETE


def finding(one: Finding) -> str:
    """One line: "front brake pads, thickness: 2 mm", "front spokes: missing (count 2)"."""
    if (there := speech.telling()) is not None:
        return there.finding(one)
    head, said = about(_called(one), one.position, one.characteristic), _found(one)
    facts = ", ".join(f"{setting.replace('_', ' ')} {given}" for setting, given in one.given)
    return (f"{head}: {said}" if said else head) + (f" ({facts})" if facts else "")


def _called(one: Finding) -> str:
    """What it is of, as it was said where that was the whole of it: "engine noisy" is of no casing."""
    said = set(one.words.split())
    whole = english.WHOLE.get(one.component, ())
    own = said.intersection(one.component.split()) - set(whole)
    return one.component if own else next((word for word in whole if word in said), one.component)


def _found(one: Finding) -> str:
    if one.readings:
        units = {reading.unit for reading in one.readings}
        if len(units) == 1:
            numbers = " / ".join(number(r.value, r.unit, r.words) for r in one.readings)
            return with_unit(numbers, units.pop())
        return " / ".join(quantity(reading) for reading in one.readings)
    if one.quantity is not None:
        return quantity(one.quantity)
    return one.condition or one.code or ""


# --- limits and verdicts ---------------------------------------------------------------------


def limit(one: Limit, *, outcome: bool = True) -> str:
    """What the limit asks for as its source prints it: ``at least 1 mm``, ``cracked, cut: beyond``.

    ``outcome``: False leaves out what a condition is judged as. A rule's own qualifier stays with it.
    """
    if (there := speech.telling()) is not None:
        return there.asked_for(one)
    if one.relation is Relation.IS:
        words = ", ".join(one.words) or one.characteristic
        if one.asks:
            words = english.only(words, one.asks)
        return f"{words}: {english.STATES[one.outcome]}" if outcome else words
    printed = limit_value(one).removesuffix(" 1")  # a ratio has no unit to print
    if one.relation is Relation.BETWEEN:
        printed = printed.replace(f" {english.TO} ", f" {english.AND} ", 1)
    return f"{one.relation} {printed}".rstrip()


def limit_value(one: Limit) -> str:
    """The limit's value or ends as its source prints them: ``3/16 in (4.8 mm)``, ``2 to 6 mm``."""
    if one.printed or one.value is None:
        figure, _, symbol = one.printed.rpartition(" ")
        ours = one.status is LimitStatus.COMMON and one.value is not None
        return with_unit(figure, symbol) if ours and symbol in UNITS else one.printed
    ends = [number(end, one.unit) for end in (one.value, one.high) if end is not None]
    return with_unit(f" {english.TO} ".join(ends), one.unit)


def limit_in_full(one: Limit) -> str:
    """The limit with the way several readings become one: ``at least 2/32 in, thinnest``."""
    single = one.relation is Relation.IS or one.aggregation is Aggregation.SINGLE
    return limit(one) if single else f"{limit(one)}, {one.aggregation}"


def state(verdict: Verdict | Judgement | None, *, loud: bool = False) -> str:
    """How a finding stands against its limits; that it was not judged where there is no verdict."""
    if (there := speech.telling()) is not None:
        text = there.state_of(verdict)
        return text.upper() if loud else text
    text = english.NOT_JUDGED if verdict is None else english.STATES[verdict.state]
    return text.upper() if loud else text


def plainly(one: Finding, verdict: Verdict | None) -> str:
    """What was found, without its value: ``left fork seal: leaking``, ``rear tyre, tread depth: outside
    its limit``.
    """
    if verdict is None or (one.quantity is None and not one.readings):
        return finding(one)
    if (there := speech.telling()) is not None:
        return f"{subject(one)}: {there.verdict(verdict)}"
    how = english.PLAINLY[verdict.state]
    if verdict.in_doubt is not None:
        how = english.PERHAPS_OUTSIDE
    return f"{subject(one)}: {how}"


def reason(verdict: Verdict) -> str:
    """Why a finding stands as it does; in another language that it does, and what leaves it undecided."""
    there = speech.telling()
    if there is None:
        return verdict.reason
    told = there.verdict(verdict)
    left = verdict.state is State.UNDECIDED and verdict.reason
    return f"{told}: {speech.say(verdict.reason)}" if left else told


def severity(verdict: Verdict | None) -> str:
    """The severity that counts: none where the finding is within."""
    if verdict is None or verdict.severity is None or verdict.state is State.WITHIN:
        return ""
    return english.SEVERITIES[verdict.severity]


def doubt(verdict: Verdict | None) -> str:
    """Why an undecided finding still counts like one beyond its limit; empty where it does not."""
    why = None if verdict is None else verdict.in_doubt
    return "" if why is None else english.IN_DOUBT[why]


def asks(one: Limit) -> str:
    """What the rule asks beside the fault, and how to answer."""
    return english.asks(one.asks, one.id.partition("/")[0])


def severity_from(one: Limit) -> str:
    """Who gave the row its severity: ``dangerous (our own)``, or the class alone where it is printed."""
    given = english.SEVERITY_FROM[one.severity_from]
    return f"{english.SEVERITIES[one.severity]} ({given})"


def coverage(rows: int, cannot: int, unread: int, sections: int) -> str:
    """How much of a rule a pack holds: ``36 of 58 items, 12 cannot be expressed, 10 not read; ...``."""
    return english.coverage(rows, cannot, unread, sections)


def probability(chance: float) -> str:
    """A probability without false certainty: ``84.13 %``, ``> 99.99 %``."""
    if 0.9999 < chance < 1:
        return "> 99.99 %"
    if 0 < chance < 0.0001:
        return "< 0.01 %"
    return f"{chance * 100:.4g} %"


# --- choices ---------------------------------------------------------------------------------


def capital(text: str) -> str:
    """The first letter as a capital, the rest as it stands."""
    return text[:1].upper() + text[1:]


def either(words: Sequence[str]) -> str:
    """ "a, b or c"."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {speech.say(english.OR)} {words[-1]}"


def which(axes: Sequence[Axis], values: Sequence[Sequence[str]]) -> str:
    """ "Which end: front or rear?"."""
    return " ".join(
        f"{english.WHICH.get(axis.name, english.WHICH_ONE)}: {either(known)}?"
        for axis, known in zip(axes, values, strict=True)
    )


def which_unit(units: Sequence[str]) -> str:
    """ "Millimetres or inches?"; "psi or kilopascals?": a unit spelt letter by letter is its symbol."""
    asked = f"{any_unit(units)}?"
    return asked if units and _spelt(units[0]) else capital(asked)


def any_unit(units: Sequence[str]) -> str:
    """ "millimetres or inches"; "psi or kilopascals": a unit spelt letter by letter is its symbol."""
    return either([unit(symbol) if _spelt(symbol) else unit_name(symbol) for symbol in units])


def _spelt(symbol: str) -> bool:
    return all(len(part) == 1 for part in unit_name(symbol).split())


def too_far(component: Component, one: Characteristic, said: Quantity) -> str:
    """Why a value is not believed: the catalogue's plausible range beside it."""
    ranges = [r for r in one.ranges if not r.holds(said.value, said.unit)] or list(one.ranges)
    told = either(
        [
            with_unit(f"{number(r.low, r.unit)} {english.TO} {number(r.high, r.unit)}", r.unit)
            for r in ranges[:1]
        ]
    )
    return english.no_plausible(quantity(said), one.name, component.name, told)
