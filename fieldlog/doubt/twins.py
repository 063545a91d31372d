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
    ("stuck", "stiff"),
    ("cut", "good"),
    ("sound", "sheared"),
    ("worn", "torn"),
    ("all okay", "rubbing"),
    ("not tight", "notchy"),
    ("not working", "working"),
    ("not charging", "charging"),
    *((f"at just {way}", "adjusted reads") for way in ("under", "over")),
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
    ("right around", "around"),
    ("right about", "about"),
    *((f"just {way}", "adjustment") for way in ("under", "over")),
    *((f"twenty {ty}", f"twenty {ty} four") for ty in ("twenty", "thirty", "forty")),
)
"""Words that are hardly ever said and mostly come of others ("torque reads sixteen" heard as "torque
three to sixteen"), or that sound the same ("one to five" and "one two five", `fieldlog grammar homophones`): asked about
wherever the other makes sense and means something else. Of a year the last word is lost as if it had never been said ("twenty thirty four" as 2030, 0.99 likely)."""


RIGHT: tuple[tuple[str, str], ...] = tuple(
    (f"right {end}", end) for end in ("front", "rear", "back")
)
"""Slips as well: "right, front disc worn" begins as the right one does."""
_NO_BEGINNING = frozenset({"the", "and"})
"""Words behind which nobody begins with "right": "the right front disc", "left and right front forks"."""

MERE = frozenset({"is", "are"})
"""Words that say nothing by themselves: what another word may be taken for ("exhaust stud torn" heard as "exhaust are torn")."""


def merely(text: str, other: str) -> bool:
    """Whether ``text`` has no more than an "is" or "are" where ``other`` has words of its own."""
    one, two = text.split(), other.split()
    while one and two and one[0] == two[0]:
        one, two = one[1:], two[1:]
    while one and two and one[-1] == two[-1]:
        one, two = one[:-1], two[:-1]
    return bool(one) and bool(two) and MERE.issuperset(one)


def lacks_words(text: str, other: str) -> bool:
    """Whether ``other`` has all words of ``text`` in their order and others between or around them."""
    words = iter(other.split())
    return len(other.split()) > len(text.split()) and all(word in words for word in text.split())


def maybe_denied(text: str) -> bool:
    """Whether an "are" stands behind one thing, where nobody says it ("horn are weak"): "horn not weak" is heard so."""
    before, are, _ = f" {text} ".partition(" are ")
    return bool(are) and not any(word.endswith("s") for word in before.split())


def slipped(text: str) -> Iterator[str]:
    """What else the text may have been whatever the score says: ``SLIPS``, and ``RIGHT`` where one may begin so."""
    yield from exchanged(text, SLIPS)
    yield from exchanged(text, RIGHT, not_behind=_NO_BEGINNING)


def exchanged(
    text: str,
    pairs: Sequence[tuple[str, str]],
    *,
    not_behind: frozenset[str] = frozenset(),
) -> Iterator[str]:
    """The text with one of the first words of a pair exchanged for the second, wherever it stands.

    Where one of ``not_behind`` stands before them they are left as they are.
    """
    words = text.split()
    for said, other in pairs:
        size = len(said.split())
        for index in range(len(words) - size + 1):
            before = words[index - 1] if index else ""
            if words[index : index + size] == said.split() and before not in not_behind:
                yield " ".join([*words[:index], other, *words[index + size :]])
