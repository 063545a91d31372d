"""How mechanics write it: typed words -> what they tell of a part, or what has to be asked (pure).

Asked only where the plain rules of a finding give nothing. Nothing is guessed: of two faults that a
word can mean both are offered, and what tells of none ("needs replacing", "half worn", "not cracked")
is asked about. Listeners are offered none of these words (``grammars/trade.jsgf``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace

from fieldlog.catalogue.component import SOUND
from fieldlog.grammar.expression import Rule
from fieldlog.language.beside import BesideReader, named_last
from fieldlog.language.conditions import ARTICLES, ConditionReader
from fieldlog.language.left_open import NOTED, Open, Worded
from fieldlog.language.lexicon import Words, phrases
from fieldlog.language.reading import Reading, Standing
from fieldlog.language.subjects import About, SubjectReader
from fieldlog.language.typed import Sayings
from fieldlog.language.values import ValueReader
from fieldlog.model.finding import Finding
from fieldlog.quantities.code_reading import CodeKind
from fieldlog.quantities.codes import codes
from fieldlog.quantities.dates import DATE_WORDS, MONTHS
from fieldlog.quantities.number_words import NUMBER_WORDS, NUMERALS

_MOST_TRIMMED = 4
"""Small words and places that may stand beside one condition."""
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
_WITH = ("with",)
"""Links what is well, or not, to what it is of: "nothing wrong with the fork"."""
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
_BEFORE_A_NAME = frozenset(
    ("a", "an", "the", "of", "on", "in", "at", "by", "from", "for", "left", "right", "both")
)
"""A name of one word that stands elsewhere may be another's: "heel plate"."""
_MISSING = "missing"
_AT_REST = "resting voltage"


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
        self._conditions = ConditionReader(of, names, values)
        self._beside = BesideReader(of, subjects, nouns)
        self._unsure, self._share, self._vague = of("unsure"), of("share"), of("vague")
        self._share_ends = frozenset(phrase[-1] for phrase in self._share)
        self._newly, self._fitted, self._piece = of("newly"), of("fitted"), of("piece")
        self._measured_at, self._measured_running = of("measured_at"), of("measured_running")
        self._lacks, self._its_limit = of("lacks"), of("its_limit")
        self.some_of, self.none_of = of("some_of"), of("none_of")
        self._everything, self._all_is_well = of("everything"), of("all_is_well")
        self.each = tuple(of("each"))
        self.sides = {
            phrase: side
            for name, side in (("bars_left", "left"), ("bars_right", "right"), ("either_side", ""))
            for phrase in of(name)
        }
        self.words = words | _HAS | ARTICLES | {_PERCENT}

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

    def is_everything(self, words: Words) -> bool:
        """ "Everything works", "all good": of no part, so of none is it taken."""
        return words in self._all_is_well or any(self._everything.before(words))

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
                for placed, said, _ in self._beside.trimmed(about, rest, 1, part) if rest else ():
                    if said in self._vague:
                        return Worded(placed, (), Open.HOW)
                    if said in self._fitted:
                        return self._conditions.told(placed, _REPLACED, text, part)
                if not rest and not part:  # "new front pads not fitted" is no work that was done
                    return self._conditions.told(about, _REPLACED, text, part)
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
                missing = tuple(self._conditions.those(lost, (_MISSING,), text))
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
        for named, said in named_last(about, rest):
            noun = said[1:] if said[0] in _HAS else said
            readings = tuple(self._values.judged(named, said, text)) or tuple(
                self._conditions.found(named, noun, text)
            )
            if readings:
                return Worded(named, readings)
        for body in self._values.without_copula(rest):
            for placed, said, where in self._beside.trimmed(
                about, body, _MOST_TRIMMED, part or before, spots=spots
            ):
                told = self._conditions.told(placed, said, text, part)
                if told is not None and self._beside.half_sound(told, body, said, where):
                    return replace(told, open=Open.NEARLY)
                if told is not None:
                    given = ((NOTED, " ".join(where)),) if where else ()
                    return replace(told, readings=tuple(_with(one, given) for one in told.readings))
        return None

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
        if body and body[-1] in ARTICLES and len(body) > 1:
            body = body[:-1]
        if not linked and body == ("no",):  # "no rear brake": missing, or of no use
            return Worded(about, (), Open.HOW)
        if body in self._conditions.need or (
            body[-1:] == ("new",) and body[:-1] in self._conditions.need
        ):
            return Worded(about, (), Open.HOW)
        told = self._said_of(about, body, text, part, before=True, spots=linked)
        bare = body[1:] if body[:1] and body[0] in ARTICLES else body
        if told is None and linked and not part and bare in self._conditions.nouns:
            return Worded(about, (), Open.NOT_SAID, " ".join(bare))
        return told

    def _well(self, about: About, said: Words, text: str) -> Worded | None:
        """ "Nothing wrong with the fork"."""
        body = said[1:] if said[:1] in (("found",), ("is",)) else said
        found = tuple(self._values.judged(about, body, text)) if body else ()
        sound = found and all(one.finding.condition == SOUND for one in found)
        return Worded(about, found) if sound else None


def _with(reading: Reading, given: tuple[tuple[str, str], ...]) -> Reading:
    if not given:
        return reading
    return replace(
        reading, finding=replace(reading.finding, given=(*reading.finding.given, *given))
    )


def _of_code(about: About, name: str, code: str, text: str) -> Reading:
    finding = Finding(about.component.name, about.position, name, code=code, words=text)
    return Reading(about, finding, Standing.UNPLACED if about.missing else Standing.FITS)
