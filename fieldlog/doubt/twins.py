"""Words that are taken for others, whatever the score says: which of them are asked about (pure data).

docs/doubt.md tells what each kind of them is asked about for.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from fieldlog.quantities.number_words import DIGITS, PLAIN_DIGITS, SPELT_TENS, TEEN_TENS

_SIDES = (
    ("right side", "nearside"),
    ("left side", "offside"),
    ("outside", "offside"),
)
_PAIRS = (
    *_SIDES,
    *TEEN_TENS.items(),
    *((f"{PLAIN_DIGITS[n // 10 - 1]} to", ty) for ty, n in SPELT_TENS.items() if n >= 40),
    ("nine", "five"),
    *((f"one {ty}", f"is {ty}") for ty in SPELT_TENS),
    ("torqued to", "torque two"),
    *((f"torqued to {ty}", f"torque {other}") for ty, other in (("eighty", "twenty"),)),
    ("thirteen", "thirtieth"),
    ("thirteenth", "thirtieth"),
    # one fault for another, or for what is as it should be (docs/hearing/confusions.md)
    ("leaking", "weeping"),
    ("bent", "dented"),
    ("cracked", "drags"),
    ("bent", "drags"),
    ("stuck", "split"),
    ("cut", "good"),
    ("sound", "sheared"),
    ("all okay", "rubbing"),
    ("not tight", "notchy"),
    ("not working", "working"),
    ("not charging", "charging"),
)
TWINS: tuple[tuple[str, str], ...] = (*_PAIRS, *((other, one) for one, other in _PAIRS))
"""Words and what they are taken for: no score tells them apart for certain, so a twin that was heard
too is asked about sooner than another meaning. Numbers first, then what is told of a part."""

SIDES: tuple[tuple[str, str], ...] = (*_SIDES, *((other, one) for one, other in _SIDES))
"""Of the twins those that say the opposite side, or another: asked about however far behind they were heard (none of 249
of the British ones was taken for another, docs/doubt.md)."""

_TO_OR_TWO = tuple(
    (f"{one} to {other}", f"{one} two {other}") for one in DIGITS for other in DIGITS
)
SLIPS: tuple[tuple[str, str], ...] = (
    *_TO_OR_TWO,
    *((two, to) for to, two in _TO_OR_TWO),
    ("three to", "reads"),
    ("three point", "free play"),
    ("two", "too"),
    ("too", "two"),
    ("right front", "front"),
    ("right rear", "rear"),
    ("right back", "back"),
    *((f"twenty {ty}", f"twenty {ty} four") for ty in ("twenty", "thirty", "forty")),
)
"""Words that are hardly ever said and mostly come of others ("torque reads sixteen" heard as "torque
three to sixteen"), or that sound the same ("one to five" and "one two five", `fieldlog grammar homophones`): asked about
wherever the other makes sense and means something else. "Right, front disc worn" begins as the right one
does. Of a year the last word is lost as if it had never been said ("twenty thirty four" as 2030, 0.99 likely)."""


def exchanged(text: str, pairs: Sequence[tuple[str, str]]) -> Iterator[str]:
    """The text with one of the first words of a pair exchanged for the second, wherever it stands."""
    words = text.split()
    for said, other in pairs:
        size = len(said.split())
        for index in range(len(words) - size + 1):
            if words[index : index + size] == said.split():
                yield " ".join([*words[:index], other, *words[index + size :]])
