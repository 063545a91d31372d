"""How the words of a grammar may be written by a recogniser that writes as people do (pure).

Whisper writes "12.6 V", "4/32", "35 psi" and "light-roast" where the grammar says "twelve point six
volts", "four thirty seconds", "thirty five p s i" and "light roast". Every form here is an extra way
through the grammar, never a reading of its own: the words stay those of the grammar.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from fieldlog.grammar.forms import WrittenForms
from fieldlog.quantities import number_words
from fieldlog.quantities.number_words import PLAIN_DIGITS, SPELT_TENS

DIGITS: dict[str, str] = {"zero": "0", "oh": "0", "nought": "0"} | {
    word: str(n) for n, word in enumerate(PLAIN_DIGITS, start=1)
}
TEENS: dict[str, str] = {word: str(n) for word, n in number_words.TEENS.items()}
TENS: dict[str, str] = {word: str(n // 10) for word, n in SPELT_TENS.items()}
NUMBER_WORDS = frozenset(DIGITS) | frozenset(TEENS) | frozenset(TENS) | {"hundred", "thousand"}

# Whole phrases and their written forms. A form that begins with a space stands as a word of its
# own; one that does not is glued to what came before ("12" + "mm").
PHRASES: dict[tuple[str, ...], tuple[str, ...]] = {
    ("point",): (".",),
    ("decimal",): (".",),
    ("percent",): ("%", " %"),
    ("per", "cent"): ("%", " %", " percent"),
    ("millimetres",): (" mm", "mm", " millimeters"),
    ("millimetre",): (" mm", "mm", " millimeter"),
    ("centimetres",): (" cm", "cm", " centimeters"),
    ("centimetre",): (" cm", "cm", " centimeter"),
    ("mil",): (" mm", "mm", " mill"),
    ("mils",): (" mm", "mm", " mills"),
    ("inches",): ('"', " in"),
    ("inch",): ('"', " in"),
    ("volts",): (" V", "V"),
    ("volt",): (" V", "V"),
    ("amps",): (" A", "A"),
    ("degrees",): ("°", " °"),
    ("degrees", "celsius"): ("°C", " °C"),
    ("degrees", "c"): ("°C", " °C"),
    ("degrees", "fahrenheit"): ("°F", " °F"),
    ("kilometres",): (" km", "km", " kilometers"),
    ("kilometres", "per", "hour"): (" km/h", "km/h"),
    ("miles", "per", "hour"): (" mph", "mph"),
    ("newton", "metres"): (" Nm", "Nm", " N.m", " Newton meters", " newton-meters"),
    ("newton", "metre"): (" Nm", "Nm", " N.m", " Newton meter", " newton-meter"),
    ("foot", "pounds"): (" ft-lbs", " foot-pounds"),
    ("inch", "pounds"): (" in-lbs", " inch-pounds"),
    ("litres",): (" L", "L", " liters"),
    ("litre",): (" L", "L", " liter"),
    ("millilitres",): (" ml", "ml", " mL", "mL", " milliliters"),
    ("p", "s", "i"): (" psi", "psi", " PSI", "PSI", " P.S.I."),
    ("k", "p", "a"): (" kPa", "kPa", " KPA", " KPa"),
    ("a", "b", "s"): (" ABS",),
    ("s", "a", "e"): (" SAE",),
    ("r", "p", "m"): (" RPM", " rpm"),
    ("kilopascals",): (" kPa", "kPa"),
    ("thirty", "seconds"): ("/32", "/32nds", " 32nds", " 32nd", "/32nd", " 30 seconds"),
    ("thirty", "second"): ("/32", "/32nd", " 32nd", " 30 second"),
    ("sixty", "fourths"): ("/64", "/64ths", " 64ths", " 64th"),
    ("sixty", "fourth"): ("/64", "/64th", " 64th"),
    ("sixteenths",): ("/16", "/16ths", " 16ths", " 16th"),
    ("sixteenth",): ("/16", "/16th", " 16th"),
    ("eighths",): ("/8", "/8ths", " 8ths"),
    ("eighth",): ("/8", "/8th", " 8th"),
    ("quarters",): ("/4",),
    ("a", "half"): ("½", " 1/2"),
    ("one", "half"): (" 1/2",),
    ("a", "quarter"): (" 1/4",),
    ("one", "quarter"): (" 1/4",),
    ("one", "eighth"): (" 1/8",),
    ("minus",): (" -", "-"),
    ("dot",): (" DOT", " dot"),
    ("okay",): (" OK", " ok"),
    ("abs",): (" ABS",),
    ("gram",): (" g",),
    ("to",): ("-",),
    ("by",): (" x", "x"),
    ("slash",): ("/",),
    ("run", "out"): (" runout", " run-out"),
    ("head", "lamp"): (" headlamp",),
    ("head", "light"): (" headlight",),
    ("tail", "light"): (" taillight",),
    ("side", "stand"): (" sidestand",),
    ("centre", "stand"): (" centerstand", " center stand", " center-stand"),
    ("swing", "arm"): (" swingarm",),
    ("speed", "o"): (" speedo",),
}

SPELLINGS = (
    ("tyre", "tire"),
    ("metre", "meter"),
    ("litre", "liter"),
    ("centre", "center"),
    ("calliper", "caliper"),
    ("carburettor", "carburetor"),
    ("grey", "gray"),
    ("aluminium", "aluminum"),
    ("colour", "color"),
    ("mould", "mold"),
    ("disc", "disk"),
)


@lru_cache(maxsize=8192)
def word_forms(word: str) -> tuple[str, ...]:
    """Ways to write one word, without leading space; the word itself first."""
    forms = [word]
    for british, american in SPELLINGS:
        if british in word:
            forms.append(word.replace(british, american))
    if word == "i" or word.startswith("i'"):
        forms.insert(0, "I" + word[1:])
    if len(word) == 1 and word not in ("a", "i"):
        forms.append(word.upper())
    return tuple(dict.fromkeys(forms))


def capitalised(form: str) -> str:
    """The form as it stands at the start of a sentence."""
    return form[:1].upper() + form[1:]


@lru_cache(maxsize=4096)
def readings(run: str) -> tuple[tuple[str, ...], ...]:
    """Ways to say a run of up to three digits ("35" -> thirty five, three five)."""
    found: list[tuple[str, ...]] = []
    for pieces in _splits(run):
        ways: list[tuple[str, ...]] = [()]
        for piece in pieces:
            ways = [(*way, *more) for way in ways for more in _CARDINALS.get(piece, ())]
        found += ways
    return tuple(dict.fromkeys(found))


def _splits(run: str) -> list[tuple[str, ...]]:
    """The run whole, digit by digit, and in two pieces ("105": 105, 1-0-5, 1-05, 10-5)."""
    whole = [(run,), tuple(run)]
    return whole + [(run[:at], run[at:]) for at in range(1, len(run))]


def _cardinals() -> dict[str, tuple[tuple[str, ...], ...]]:
    """Every numeral from 0 to 999 written without leading zeros, with the ways to say it."""
    table: dict[str, list[tuple[str, ...]]] = {}

    def add(numeral: str, *words: str) -> None:
        table.setdefault(numeral, []).append(words)

    for word, digit in DIGITS.items():
        add(digit, word)
    for word, teen in TEENS.items():
        add(teen, word)
    for word, ten in TENS.items():
        add(ten + "0", word)
        for unit, digit in DIGITS.items():
            if digit != "0":
                add(ten + digit, word, unit)
    below = {number: tuple(ways) for number, ways in table.items() if number != "0"}
    hundreds = [(word, digit) for word, digit in DIGITS.items() if digit != "0"] + [("a", "1")]
    for word, digit in hundreds:
        add(digit + "00", word, "hundred")
        for number, ways in below.items():
            for way in ways:
                add(digit + number.zfill(2), word, "hundred", *way)
                add(digit + number.zfill(2), word, "hundred", "and", *way)
    return {number: tuple(ways) for number, ways in table.items()}


_CARDINALS = _cardinals()


def letters(words: Sequence[str]) -> tuple[str, ...]:
    """Ways to write letters spelled one by one ("p s i"); none when a word is longer."""
    if len(words) < 2 or any(len(word) != 1 for word in words):
        return ()
    joined = "".join(words)
    return (joined, joined.upper(), ".".join(joined.upper()) + ".")


HESITATIONS = ("um", "uh", "er", "erm", "hmm")
OPENINGS = ("okay", "so", "well", "now", "right", "all right", "alright", "oh", "yeah")
ENGLISH = WrittenForms(word_forms, PHRASES, NUMBER_WORDS, readings, HESITATIONS, OPENINGS)
