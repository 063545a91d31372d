"""How mechanics write it: typed words -> what they tell of a part, or what has to be asked (pure).

Asked only where the plain rules of a finding give nothing. Nothing is guessed: of two faults that a
word can mean both are offered, and what tells of none ("needs replacing", "half worn", "not cracked")
is asked about. Listeners are offered none of these words (``grammars/trade.jsgf``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property

from fieldlog.catalogue.component import SOUND, WORK
from fieldlog.catalogue.phrases import expand
from fieldlog.grammar.expression import Rule
from fieldlog.language.lexicon import Words, phrases, spoken_name
from fieldlog.language.subjects import About, SubjectReader
from fieldlog.language.typed import Sayings
from fieldlog.language.values import Reading, Standing, ValueReader
from fieldlog.model.finding import Finding
from fieldlog.model.question import Asks, Question
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.quantities.code_reading import CodeKind
from fieldlog.quantities.codes import codes
from fieldlog.quantities.dates import DATE_WORDS, MONTHS
from fieldlog.quantities.number_words import NUMBER_WORDS, NUMERALS
from fieldlog.words import questions, tell

_MOST_TRIMMED = 4
"""Small words and places that may stand beside one condition."""
_ARTICLES = frozenset({"a", "an", "some", "the"})
_HAS = frozenset({"has", "have", "had", "got", "with", "shows", "showing"})
_LINKS = (
    ("in",),
    ("on",),
    ("at",),
    ("from",),
    ("of",),
    ("round",),
    ("around",),
    ("near",),
    ("to",),
)
_NO_THINGS = NUMBER_WORDS.union(
    (
        "all",
        "back",
        "down",
        "front",
        "full",
        "high",
        "in",
        "left",
        "low",
        "of",
        "rear",
        "right",
        "the",
    )
)
_OF_TWO = frozenset(
    ("front", "rear", "back", "left", "right", "top", "bottom", "inner", "outer", "upper", "lower")
)
"""Before a thing, where on the part something is: "cracked near the left peg" is of no left frame."""
_WITH = ("with",)
"""Links what is well, or not, to what it is of: "nothing wrong with the fork"."""
_WORN_OUT = ("worn", "not working")
"""What "shot" means, in this order, of what admits it."""
_PERCENT = "percent"
_ABOUT = (("about",), ("at",), ("only",), ("around",))
_OF_A_SHARE = frozenset(
    ("worn", "left", "gone", "remaining", "used", "life", "wear", "to", "go", "on", "it", "them")
)
_REPLACED = ("replaced",)
_ENDS = frozenset({"front", "rear", "back"})
_MONTHS = frozenset(MONTHS)
_OF_A_VALUE = NUMERALS | {"millimeters", "millimeter", "inches", "volts", "psi", "miles", "percent"}
"""What tells that a value was meant."""
_LOW = ("low",)
_ENDS_AND_SIDES = frozenset({"end", "side"})
_BEFORE_A_NAME = frozenset(
    ("a", "an", "the", "of", "on", "in", "at", "by", "from", "for", "left", "right", "both")
)
"""A name of one word that stands elsewhere may be another's: "heel plate"."""
_MISSING = "missing"
_AT_REST = "resting voltage"
_FLUIDS = frozenset({"oil", "fluid", "coolant"})
"""The last word of what leaks from something."""
_LEAKS = frozenset(
    ("leak", "leaks", "leaking", "weep", "weeps", "weeping", "seep", "seeping", "drip", "dripping")
)
NOTED = "noted"
"""The detail of a finding that says where on the part it is, or when."""


class Open(StrEnum):
    """What a mechanic's words leave open."""

    NOTHING = "nothing"
    SOUND = "sound"
    """One fault is not there; whether all is well was not said."""
    NEARLY = "nearly"
    """Not there yet, or not sure."""
    MEASURE = "measure"
    """A share of what was there when new: nobody can judge that."""
    HOW = "how"
    """Work is wanted, or was done; how it is was not said."""
    YEAR = "year"
    """A month without its year."""
    NOT_SAID = "not said"
    """A condition that is said of other parts."""
    UNKNOWN = "unknown"
    """Words that nobody knows of it."""
    PIECE = "piece"
    """A piece of a part that has no entry of its own."""
    LIMIT = "limit"
    """A maker's figure was said with the reading."""


@dataclass(frozen=True)
class Worded:
    """The findings that the words may be, and what they leave open; ``about`` is what they are of."""

    about: About
    readings: tuple[Reading, ...] = ()
    open: Open = Open.NOTHING
    piece: str = ""
    """Words of the piece that has no entry, or of the condition that is not said of it."""


class TradeReader:
    """Reads what the plain rules do not."""

    def __init__(
        self,
        rules: Mapping[str, Rule],
        words: frozenset[str],
        subjects: SubjectReader,
        values: ValueReader,
        nouns: Callable[[], Iterable[str]],
    ) -> None:
        """``rules``, ``words``: of trade.jsgf, closed; the readers are those of the plain rules.

        ``nouns``: words of the names of parts.
        """
        self._subjects = subjects
        self._values = values

        def of(name: str) -> Sayings:
            return Sayings(phrases(rules, f"trade.{name}"))

        names = [name.removeprefix("trade.") for name in rules if name.startswith("trade.")]
        self._nouns = _by_phrase((n, of(n)) for n in names if n.startswith("noun_"))
        self._needs = _by_phrase(
            (n, of(n)) for n in names if n.startswith("needs_") and n != "needs_work"
        )
        self._need, self._needs_work, self._worn_out = of("need"), of("needs_work"), of("worn_out")
        self._degree, self._nearly, self._negation = of("degree"), of("nearly"), of("negation")
        self._hedge, self._unsure = of("hedge"), of("unsure")
        self._share, self._spot, self._thing = of("share"), of("spot"), of("thing")
        self._share_ends = frozenset(phrase[-1] for phrase in self._share)
        self._spot_alone, self._throughout = of("spot_alone"), of("throughout")
        self._looked_at, self._newly, self._fitted = of("looked_at"), of("newly"), of("fitted")
        self._piece, self._measured_at = of("piece"), of("measured_at")
        self._measured_running, self._lacks = of("measured_running"), of("lacks")
        self.some_of, self.none_of = of("some_of"), of("none_of")
        self._named = nouns
        self._its_limit, self._vague, self._near_limit = (
            of("its_limit"),
            of("vague"),
            of("near_limit"),
        )
        self.each = tuple(of("each"))
        self.sides = {
            phrase: side
            for name, side in (("bars_left", "left"), ("bars_right", "right"), ("either_side", ""))
            for phrase in of(name)
        }
        self.words = words | _HAS | _ARTICLES | {_PERCENT}

    @cached_property
    def _things(self) -> frozenset[str]:
        """Words for where on a part something is."""
        listed = {word for phrase in self._thing for word in phrase}
        return frozenset(listed.union(self._named()) - _NO_THINGS)

    def share_of(self, words: Words) -> Worded | None:
        """ "Rear pads half worn": a share, which nobody can judge.

        Asked first, or the half would be taken for that of a millimetre.
        """
        if words[-1:] and words[-1] in self._share_ends:
            for about in self._subjects.read(words):
                if any(body in self._share for body in self._less_about(about, words)):
                    return Worded(about, (), Open.MEASURE)
        return None

    def _less_about(self, about: About, words: Words) -> Iterator[Words]:
        for body in self._values.without_copula(words[about.used :]):
            yield body[1:] if body[:1] in _ABOUT else body

    @staticmethod
    def _of_percent(said: Words) -> bool:
        if _PERCENT not in said:
            return False
        at = said.index(_PERCENT)
        number = at > 0 and all(word in NUMBER_WORDS for word in said[:at])
        return number and _OF_A_SHARE.issuperset(said[at + 1 :])

    def read(self, words: Words, text: str, *, part: bool = False) -> Worded | None:
        """What the words tell, the subject first or last; None where they tell nothing.

        ``part``: of a breath, where a lone "left" or "front" may begin what follows.
        """
        for about in self._subjects.read(words):
            rest = words[about.used :]
            if _PERCENT in rest and any(
                self._of_percent(body) for body in self._less_about(about, words)
            ):
                return Worded(about, (), Open.MEASURE)
            if rest and (told := self._code_of(about, rest, text)) is not None:
                return told
            if rest and (told := self._with_limit(about, rest, text)) is not None:
                return told
            if rest and (told := self._said_of(about, rest, text, part)) is not None:
                return told
            if rest and (told := self._measured_there(about, rest, text)) is not None:
                return told
            if rest and (told := self._lacking(about, rest, text)) is not None:
                return told
        for at in range(1, len(words)):
            for about in self._subjects.read(words[at:]):
                if about.used == len(words) - at:
                    told = self._said_before(about, words[:at], text, part)
                    if told is not None:
                        return told
        return self._counted(words, text, part) or self._renewed(words, text, part)

    def less_unsure(self, words: Words) -> Words:
        """The words without what says, before or behind all of them, that it is only thought to be so."""
        while phrase := next(self._unsure.before(words), ()):
            words = words[len(phrase) :]
        while phrase := next(self._unsure.behind(words), ()):
            words = words[: -len(phrase)]
        return words

    def of_a_piece(self, words: Words) -> Worded | None:
        """ "Number plate bracket broken": not of the number plate, and of nothing that has an entry.

        For what is nothing else, not even a breath of several findings.
        """
        for about in self._subjects.read(words)[:1]:
            rest = words[about.used :]
            for phrase in self._piece.before(rest):
                told = rest[len(phrase) :]
                if NUMBER_WORDS.isdisjoint(told):
                    return Worded(about, (), Open.PIECE, " ".join(phrase))
        return None

    def unknown_of(self, words: Words) -> Worded | None:
        """ "Front brake judders", "clip on the split link facing wrong": words that nobody knows of a
        part that is named first, else of the one whose name is longest."""
        named = [
            (about, (*words[:at], *words[at + about.used :]))
            for at in range(len(words))
            for about in self._subjects.read(words[at:])[:1]
            if not at or about.used > 1 or words[at - 1] in _BEFORE_A_NAME
        ]
        first = [one for one in named if words[: one[0].used] + one[1] == words]
        for about, rest in first or sorted(named, key=lambda one: -one[0].used):
            measured = any(one.units for one in about.component.characteristics)
            known = not measured or _OF_A_VALUE.isdisjoint(rest)
            if rest and known and any(about.component.judged()):
                return Worded(about, (), Open.UNKNOWN, " ".join(rest if first else words))
        return None

    def _counted(self, words: Words, text: str, part: bool) -> Worded | None:
        """ "three loose spokes front wheel", "one disc bolt missing front left".

        A place may stand before the number: "rear wheel three spokes loose".
        """
        if words[0] in _ENDS and any(word in NUMBER_WORDS for word in words[1:3]):
            at = 2 if words[1:2] == ("wheel",) else 1
            words = (*words[at:], words[0])
        for at in range(1, min(4, len(words))):
            if any(word not in NUMBER_WORDS for word in words[:at]):
                return None
            behind = words[at + 1 :] if words[at : at + 1] == ("of",) else words[at:]
            for start in range(min(4, len(behind))):
                for about in self._subjects.read(behind[start:]):
                    rest = (*behind[:start], *behind[start + about.used :])
                    if rest and any(fact.counted for fact in about.component.given):
                        told = self._said_of(about, (*words[:at], *rest), text, part)
                        if told is not None and all(one.finding.given for one in told.readings):
                            return told
        return None

    def _renewed(self, words: Words, text: str, part: bool) -> Worded | None:
        """ "new front disc fitted", "fitted new pads"."""
        for phrase in self._newly.before(words):
            n = len(phrase)
            for about in self._subjects.read(words[n:]):
                rest = words[n + about.used :]
                if about.characteristic is not None:
                    continue
                for placed, said, _ in self._trimmed(about, rest, 1, part) if rest else ():
                    if said in self._vague:
                        return Worded(placed, (), Open.HOW)
                    if said in self._fitted:
                        return self._told(placed, _REPLACED, text, part)
                if not rest and not part:  # "new front pads not fitted" is no work that was done
                    return self._told(about, _REPLACED, text, part)
        return None

    def _code_of(self, about: About, rest: Words, text: str) -> Worded | None:
        """ "front tyre one twenty over seventy z r seventeen"; a month without its year."""
        one = about.characteristic
        dated = not _MONTHS.isdisjoint(rest) and DATE_WORDS.issuperset(rest)
        if one is not None and one.code is CodeKind.DATE and dated:
            return Worded(about, (), Open.YEAR)
        slashed = tuple("slash" if word == "over" else word for word in rest)
        if one is not None or not {"slash", "r"} & set(slashed):
            return None
        for known in about.component.characteristics:
            if known.code is CodeKind.TYRE_SIZE:
                found = tuple(
                    _of_code(about, known.name, code.text, text)
                    for code in codes(known.code, slashed)
                )
                if found:
                    return Worded(about, found)
        return None

    def _with_limit(self, about: About, rest: Words, text: str) -> Worded | None:
        """ "rear disc four point three minimum four point five": the reading, and that it is asked."""
        for phrase in self._its_limit:
            n = len(phrase)
            for at in range(1, len(rest) - n):
                numbers = NUMBER_WORDS.issuperset(rest[at + n : at + n + 1])
                if rest[at : at + n] == phrase and numbers:
                    readings, _ = self._values.read(about, rest[:at], text)
                    measured = tuple(one for one in readings if one.finding.condition is None)
                    if measured:
                        return Worded(about, measured, Open.LIMIT)
        return None

    def _lacking(self, about: About, rest: Words, text: str) -> Worded | None:
        """ "Rear axle nut's missing its split pin", "rear tyre has no valve cap"."""
        for phrase in self._lacks.before(rest):
            for lost in self._subjects.read(rest[len(phrase) :]):
                if lost.used != len(rest) - len(phrase) or lost.characteristic is not None:
                    continue
                known = {axis.name for axis in lost.axes} - set(lost.places)
                for axis, value in about.places.items():
                    lost = lost.placed(axis, value) if axis in known else lost
                missing = tuple(self._as_conditions(lost, (_MISSING,), text))
                if missing:
                    return Worded(lost, missing)
        return None

    def _measured_there(self, about: About, rest: Words, text: str) -> Worded | None:
        """ "Four mil in the middle", "twelve four with the key off": where, or how, it was measured."""
        running = about.characteristic is not None and about.characteristic.name != _AT_REST
        for where in (
            *self._measured_at.behind(rest),
            *(self._measured_running.behind(rest) if running else ()),
        ):
            found = self._values.read(about, rest[: -len(where)], text)[0]
            measured = [one for one in found if one.finding.quantity is not None]
            if measured:
                given = ((NOTED, " ".join(where)),)
                return Worded(about, tuple(_with(one, given) for one in measured))
        return None

    # --- behind the subject ----------------------------------------------------------------------

    def _said_of(
        self,
        about: About,
        rest: Words,
        text: str,
        part: bool,
        *,
        before: bool = False,
        spots: bool = True,
    ) -> Worded | None:
        """``before``: said before the name, where a bare "left" is what is left; ``spots``: where on
        the part it is may stand behind it: "a clunk when I pull the front brake" is of no brake."""
        for named, said in self._named_last(about, rest):
            noun = said[1:] if said[0] in _HAS else said
            readings = tuple(self._values.judged(named, said, text)) or tuple(
                self._found(named, noun, text)
            )
            if readings:
                return Worded(named, readings)
        for body in self._values.without_copula(rest):
            for placed, said, where in self._trimmed(
                about, body, _MOST_TRIMMED, part or before, spots=spots
            ):
                told = self._told(placed, said, text, part)
                if told is not None and self._half_sound(told, body, said, where):
                    return replace(told, open=Open.NEARLY)
                if told is not None:
                    given = ((NOTED, " ".join(where)),) if where else ()
                    return replace(told, readings=tuple(_with(one, given) for one in told.readings))
        return None

    def _half_sound(self, told: Worded, body: Words, said: Words, where: Words) -> bool:
        """ "good, mostly", "good on top": in order, and something beside it says that not all of it is."""
        sound = bool(told.readings) and told.open is Open.NOTHING
        if not sound or any(one.finding.condition != SOUND for one in told.readings):
            return False
        if where and where not in self._throughout:
            return True
        beside = len(body) - len(said)
        return beside > 0 and any(
            body[at : at + size] in self._hedge
            for size in self._hedge.sizes
            for at in range(len(body) - size + 1)
        )

    @staticmethod
    def _named_last(about: About, rest: Words) -> Iterator[tuple[About, Words]]:
        """ "front tyre cracked sidewall", "... has a cut in the sidewall": what it is of stands last."""
        for one in about.component.characteristics if about.characteristic is None else ():
            for phrase in (tuple(p.split()) for t in (*one.words, *one.typed) for p in expand(t)):
                if one.conditions and len(rest) > len(phrase) and rest[-len(phrase) :] == phrase:
                    named = About(about.component, one, one.axes, about.places, about.used)
                    said = rest[: -len(phrase)]
                    linked = said[-2:] in (("in", "the"), ("on", "the"), ("of", "the"))
                    if not linked or len(said) > 2:
                        yield named, said[:-2] if linked else said

    def _trimmed(
        self, about: About, said: Words, most: int, part: bool, *, spots: bool = True
    ) -> Iterator[tuple[About, Words, Words]]:
        """``said`` as it stands, then without the small words, places and ``spots`` beside it."""
        yield about, said, ()
        if not most:
            return
        for phrase in self._degree.before(said):
            yield from self._trimmed(about, said[len(phrase) :], most - 1, part, spots=spots)
        for phrase in self._degree.behind(said):
            yield from self._trimmed(about, said[: -len(phrase)], most - 1, part, spots=spots)
        for axis in () if part else about.axes:
            for value in self._subjects.values(axis.name) if axis.name not in about.places else ():
                for phrase in _at(axis.name, value):
                    if len(said) > len(phrase) and said[-len(phrase) :] == phrase:
                        placed = about.placed(axis.name, value)
                        yield from self._trimmed(placed, said[: -len(phrase)], most - 1, part)
        leaks = about.component.system == "fluids" and not _LEAKS.isdisjoint(said)
        fluid = leaks or about.component.name.split()[-1] in _FLUIDS
        axes = {axis.name for axis in about.axes}
        for size in self._spots(said) if spots else ():
            if said[:-size] == _LOW and said[-size] == "on":
                continue  # "low on water"
            placed_at = said[-2] if said[-1] == "side" else said[-1]
            if any(placed_at in self._subjects.values(one) for one in axes & _ENDS_AND_SIDES):
                continue  # of what has sides, "on the left" is which one
            if fluid and self._names_a_part(said[-size:]):
                continue  # "oil leaking from the left fork seal": that is what leaks
            for placed, body, where in self._trimmed(about, said[:-size], most - 1, part):
                yield placed, body, (*where, *said[-size:])

    def _names_a_part(self, spot: Words) -> bool:
        """ "from the left fork seal", but not "at the front"."""
        return any(
            about.used == len(spot) - at
            for at in (1, 2)
            for about in self._subjects.read(spot[at:])
        )

    def _spots(self, said: Words) -> Iterator[int]:
        """How many last words say where on the part something is: "near the banjo"."""
        yield from (len(phrase) for phrase in self._spot_alone.behind(said))
        for things in (1, 2, 3):
            named = said[-things:]
            named = named[1:] if things > 1 and named[0] in _OF_TWO else named
            if len(said) > things + 1 and self._things.issuperset(named):
                for phrase in self._spot.behind(said[:-things]):
                    yield len(phrase) + things

    def _told(self, about: About, said: Words, text: str, part: bool) -> Worded | None:
        readings = tuple(self._values.judged(about, said, text)) or tuple(
            self._amounted(about, said, text)
        )
        if readings:
            return Worded(about, readings)
        if said in self._near_limit:
            measured = any(one.units for one in about.component.characteristics)
            return Worded(about, (), Open.MEASURE if measured else Open.HOW)
        if said in self._looked_at or said in self._vague:
            return Worded(about, (), Open.HOW)
        if said in self._worn_out:
            return self._is_worn_out(about, text)
        noun = said[1:] if said[:1] and said[0] in _HAS else ()
        bare = (
            () if part and said[0] not in _ARTICLES else said
        )  # "engine" "oil", of a breath, is no engine with oil on it
        readings = tuple(self._found(about, noun or bare, text))
        if readings:
            return Worded(about, readings)
        return (
            self._in_need(about, said, text)
            or self._in_doubt(about, said, text)
            or self._of_another(about, said)
        )

    def _of_another(self, about: About, said: Words) -> Worded | None:
        """A condition that is not said of ``about``: how it is is asked, with what it can be."""
        known = any(about.component.judged()) and self._values.is_condition(said) is not None
        return Worded(about, (), Open.NOT_SAID, " ".join(said)) if known else None

    def _amounted(self, about: About, said: Words, text: str) -> Iterator[Reading]:
        """ "two loose", "down half a litre", "low by a quart"."""
        yield from self._values.amounted(about, said, text)
        for at in range(1, len(said)):
            low = "low" if said[:at] in (("down",), ("short",), ("low",)) else ""
            amount = said[at + 1 :] if said[at] == "by" else said[at:]
            if low and amount:
                yield from self._values.amounted(about, (*amount, low), text)
        if said[-1:] in (("down",), ("short",)):  # "two hundred mil down"
            yield from self._values.amounted(about, (*said[:-1], "low"), text)

    def _found(self, about: About, noun: Words, text: str) -> Iterator[Reading]:
        """ "a crack", "some play in it": the conditions of ``about`` that a noun stands for."""
        body = noun
        while body and (body[0] in _ARTICLES):
            body = body[1:]
        for phrase in self._degree.before(body):
            body = body[len(phrase) :]
            break
        if body[-2:] in (("in", "it"), ("on", "it")):
            body = body[:-2] or body
        meant = self._nouns.get(body, ())
        yield from self._as_conditions(about, meant, text)
        if not meant:
            yield from self._values.found_in(about, body, text) if body[:1] != ("no",) else ()

    def _as_conditions(self, about: About, meant: Iterable[str], text: str) -> Iterator[Reading]:
        wanted = set(meant)
        known = set(self._values.conditions_of(about.component, about.characteristic).values())
        for name, condition in sorted(known):
            if condition in wanted:
                yield reading_of(about, name, condition, text)

    def _is_worn_out(self, about: About, text: str) -> Worded:
        for condition in _WORN_OUT:
            readings = tuple(self._as_conditions(about, (condition,), text))
            if readings:
                return Worded(about, readings)
        return Worded(about, (), Open.HOW)

    def _in_need(self, about: About, said: Words, text: str) -> Worded | None:
        for phrase in self._need.before(said):
            wanted = said[len(phrase) :]
            readings = tuple(self._as_conditions(about, self._needs.get(wanted, ()), text))
            if len({one.finding.condition for one in readings}) == 1:
                return Worded(about, readings)
            if wanted in self._needs or wanted in self._needs_work:
                return Worded(about, (), Open.HOW)
        return None

    def _in_doubt(self, about: About, said: Words, text: str) -> Worded | None:
        for phrase in self._nearly.before(said):
            told = self._told(about, said[len(phrase) :], text, False)
            return replace(told, open=Open.NEARLY) if told and told.readings else None
        faults = _split_at(said, self._negation)
        meant = [self._denied(about, fault, text) for fault in faults]
        if meant and all(meant):
            sound = tuple(self._as_conditions(about, (SOUND,), text))
            faulty = all(one.finding.condition != SOUND for found in meant for one in found)
            worked = any(one.finding.characteristic == WORK for found in meant for one in found)
            return Worded(about, sound, Open.SOUND if sound and faulty and not worked else Open.HOW)
        return None

    def _denied(self, about: About, said: Words, text: str) -> tuple[Reading, ...]:
        """What is denied of ``about``, small words before it left out: "not too good"."""
        for phrase in ((), *self._degree.before(said)):
            body = said[len(phrase) :]
            found = (*self._values.judged(about, body, text), *self._found(about, body, text))
            if found:
                return found
        return ()

    # --- before the subject ----------------------------------------------------------------------

    def _said_before(self, about: About, said: Words, text: str, part: bool) -> Worded | None:
        linked = said[-1:] in _LINKS
        body = said[:-1] if linked else said
        if body[:1] == ("the",) or not body:
            return None
        body = body[2:] if body[:2] in (("there", "is"), ("there", "are"), ("theres",)) else body
        body = body[1:] if body[:1] == ("theres",) else body
        if part and linked and body == _LOW:  # "battery corroded and low on water": of no coolant
            return None
        if said[-1:] == _WITH:
            return self._well(about, said[:-1], text)
        if body and body[-1] in _ARTICLES and len(body) > 1:
            body = body[:-1]
        if not linked and body == ("no",):  # "no rear brake": missing, or of no use
            return Worded(about, (), Open.HOW)
        if body in self._need or (body[-1:] == ("new",) and body[:-1] in self._need):
            return Worded(about, (), Open.HOW)
        told = self._said_of(about, body, text, part, before=True, spots=linked)
        bare = body[1:] if body[:1] and body[0] in _ARTICLES else body
        if told is None and linked and not part and bare in self._nouns:
            return Worded(about, (), Open.NOT_SAID, " ".join(bare))
        return told

    def _well(self, about: About, said: Words, text: str) -> Worded | None:
        """ "Nothing wrong with the fork"."""
        body = said[1:] if said[:1] in (("found",), ("is",)) else said
        found = tuple(self._values.judged(about, body, text)) if body else ()
        sound = found and all(one.finding.condition == SOUND for one in found)
        return Worded(about, found) if sound else None


def left_open(told: Worded, text: str) -> Understanding:
    """The question for what was left open: a measurement, or how it is."""
    component, place = told.about.component, told.about.position
    one = told.about.characteristic
    measured = [one] if one else [each for each in component.characteristics if each.units]
    if told.open is Open.MEASURE and measured:
        reason = "a share of what it was when new is no measurement"
        asked = questions.measure(component.name, place, measured[0])
    elif told.open is Open.PIECE:
        reason = f"'{told.piece}' of the {component.name} has no entry of its own"
        asked = questions.of_a_piece(component.name, place, told.piece)
    elif told.open is Open.YEAR:
        reason = "a month without its year is no date"
        asked = questions.in_full(questions.which_year(component.name, place))
    else:
        known = dict.fromkeys(condition for _, condition, _ in component.judged())
        reason = "what is to be done was said, not how it is"
        if told.open is Open.NOT_SAID:
            reason = f"'{told.piece}' is not said of the {tell.place(component.name, place)}"
        if told.open is Open.UNKNOWN:
            reason = f"'{told.piece}' is not known of the {tell.place(component.name, place)}"
        asked = questions.how_it_is(component.name, place, tuple(known))
    question = Question(Asks.IN_FULL, asked)
    return Understanding(Decision.ASK, Kind.FINDING, reason, text, question=question)


def reading_of(about: About, name: str, condition: str, text: str) -> Reading:
    """The finding that judges ``about`` so."""
    finding = Finding(about.component.name, about.position, name, condition=condition, words=text)
    standing = Standing.UNPLACED if about.missing else Standing.FITS
    return Reading(about, finding, standing)


def _with(reading: Reading, given: tuple[tuple[str, str], ...]) -> Reading:
    if not given:
        return reading
    return replace(
        reading, finding=replace(reading.finding, given=(*reading.finding.given, *given))
    )


def _at(axis: str, value: str) -> tuple[Words, ...]:
    """A place said last: "cracked left", "pulls to the left"."""
    ways: tuple[Words, ...] = (
        (value,),
        *((word, "the", value) for word in ("on", "to", "at", "in", "of")),
    )
    if axis == "side":
        behind = (("side",), ("hand", "side"))
        ways = (*ways, *((*way, *side) for way in ways for side in behind))
    if axis == "end":
        ways = (*ways, *((*way, what) for way in ways for what in ("wheel", "brake", "end")))
        back = (tuple("back" if word == "rear" else word for word in way) for way in ways)
        ways = (*ways, *back) if value == "rear" else ways
    return ways if axis in ("end", "side", "mount") else ()


def _of_code(about: About, name: str, code: str, text: str) -> Reading:
    finding = Finding(about.component.name, about.position, name, code=code, words=text)
    return Reading(about, finding, Standing.UNPLACED if about.missing else Standing.FITS)


def _split_at(said: Words, negation: Iterable[Words]) -> list[Words]:
    """ "no cuts no nails" -> cuts; nails. Empty where it does not begin with a negation."""
    parts: list[Words] = []
    known = set(negation)
    at = 0
    while at < len(said):
        n = next((len(p) for p in known if said[at : at + len(p)] == p), 0)
        if n:
            parts.append(())
        elif not parts:
            return []
        elif said[at] not in ("or", "and"):
            parts[-1] = (*parts[-1], said[at])
        elif said[at] in ("or", "and"):
            parts.append(())
        at += n or 1
    return [part for part in parts if part]


def _by_phrase(rules: Iterable[tuple[str, Iterable[Words]]]) -> Mapping[Words, tuple[str, ...]]:
    """Phrase -> the conditions that it can stand for, from rules named KIND_condition."""
    found: dict[Words, tuple[str, ...]] = {}
    for name, said in rules:
        condition = spoken_name(name.partition("_")[2])
        for phrase in said:
            found[phrase] = (*found.get(phrase, ()), condition)
    return found
