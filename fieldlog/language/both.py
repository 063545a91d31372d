"""Two findings in one phrase: "both mirrors loose", "pads dirty at both ends", "front and rear" (pure)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from fieldlog.language.breath import One, doubted
from fieldlog.language.lexicon import Words
from fieldlog.language.shape import SIDE
from fieldlog.language.subjects import SubjectReader
from fieldlog.model.question import Asks
from fieldlog.model.understanding import Understanding

BOTH = "both"
_AND = "and"
_ENDS = {"ends": "end", "sides": "side"}
"""Behind "both": the axis whose two values are meant."""
_BEHIND = ((), ("at", "the"), ("on", "the"))
_MOST_KNOWN = 20_000


@dataclass
class BothOf:
    """Reads the phrases that name two places."""

    one: One
    subjects: SubjectReader
    places: Mapping[str, Mapping[Words, str]]
    """Axis -> words before a name -> the value they mean."""
    _known: dict[Words, tuple[Understanding, ...]] = field(default_factory=dict)
    """Words -> the two findings that they are, if any: asked again for every place where a breath is cut."""

    def read(self, said: Words) -> tuple[Understanding, ...]:
        """The two findings that ``said`` is; empty for none."""
        found = self._known.get(said)
        if found is None:
            if len(self._known) > _MOST_KNOWN:
                self._known.clear()
            found = self._known[said] = self._both(said)
        return found

    def _both(self, said: Words) -> tuple[Understanding, ...]:
        """ "both mirrors loose", "pads dirty at both ends", "front and rear tyre worn": two findings."""
        if said[:1] == (BOTH,):
            return self._both_named(said[1:])
        for behind in (("at",), ("on",), ()):
            size = len(behind) + 2
            of = _ENDS.get(said[-1], "") if said[-size:-1] == (*behind, BOTH) else ""
            if of and (found := self._each(self._values(of), said[:-size], ())):
                return found  # "does not come on both ends": on is a word of either
        for axis in self.places:
            for first, at, second, end in self._paired(said, axis):
                if found := self._each([first, second], said[:at], said[end:]):
                    return found  # "left and right side panel": side is a word of either
        return ()

    def _both_named(self, rest: Words) -> tuple[Understanding, ...]:
        """The two of a kind, where only one thing tells them apart."""
        said = self.one(rest)
        abouts = self.subjects.read(rest)
        for about in abouts:
            left = [axis for axis in about.axes if axis.name not in about.places]
            if not any(axis.required for axis in left):  # "both pegs": left and right of one rider
                left = [axis for axis in left if axis.name == SIDE] or left
            unsaid = [axis.name for axis in left]
            two = self._values(unsaid[0]) if len(unsaid) == 1 else []
            if len(two) == 2 and (found := self._each(two, (), rest)):
                return found  # else of the next that is called so: "both valves perished"
        if abouts and said is not None and said.offered:
            return (doubted(said, "which two are meant was not said", Asks.IN_FULL),)
        return ()

    def _values(self, axis: str) -> list[Words]:
        return [(value,) for value in self.subjects.values(axis)]

    def _each(self, places: Sequence[Words], head: Words, tail: Words) -> tuple[Understanding, ...]:
        """One finding for each place: before the words, or behind them with its preposition."""
        found = []
        for place in places:
            tried = [(*place, *head)] if head and not tail else []
            tried += [(*head, *by, *place, *tail) for by in (() if tail else _BEHIND)]
            part = next(
                (one for way in tried or [(*head, *place, *tail)] if (one := self.one(way))), None
            )
            if part is None:
                return ()
            found.append(part)
        return tuple(found)

    def _paired(self, said: Words, axis: str) -> Iterator[tuple[Words, int, Words, int]]:
        """ "front and rear" in ``said``: both places, where they begin and end."""
        known = self.places[axis]
        for at in range(1, len(said) - 1):
            if said[at] != _AND:
                continue
            for first, value in known.items():
                for second, other in known.items():
                    begins, ends = at - len(first), at + 1 + len(second)
                    if begins < 0 or value == other:
                        continue
                    if said[begins:at] == first and said[at + 1 : ends] == second:
                        yield first, begins, second, ends
