"""How a question reads, and the reason it is asked for (pure).

Nothing is decided by these texts: what a question is after is its ``Asks``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from fieldlog.catalogue.component import Axis, Characteristic
from fieldlog.derived.odometer import Unlike
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.question import Rest
from fieldlog.model.understanding import Understanding
from fieldlog.words import tell

IN_FULL = "Say in full how it is."
NEW_OR_CORRECTION = "A new finding or a correction"
REST = {
    Rest.AGAIN: "More was said, and only this can be taken: say the rest again.",
    Rest.ALL_AGAIN: "More was said, and nothing is taken: say it again, one thing at a time.",
}
OF_WHAT = "Correction of what?"
OF_WHICH_PARTS = (
    "Which part is it? Say each by its name, with how it is: 'all lights work', 'front brake good'."
)
SIGN_OFF = "Sign off the inspection?"
AGAIN = "Say again?"
SOME_UNIT = "In which unit?"
SEVERAL_FAULTS = "several things were found of it, and it corrects one of them"
ANOTHER_PLACE = "it corrects what was found of another, and says another thing"


def which(told: Sequence[str]) -> str:
    """ "15 N·m or 50 N·m?": what tells the one from the other, each way of it once."""
    return tell.capital(f"{tell.either(tuple(dict.fromkeys(told)))}?")


def place(axes: Sequence[Axis], values: Sequence[Sequence[str]]) -> str:
    """ "Which end: front or rear?"."""
    return tell.which(axes, values)


def unit(units: Sequence[str]) -> str:
    """ "Millimetres or inches?"; "In which unit?" where none is likelier than another."""
    return tell.which_unit(units) if units else SOME_UNIT


def with_its_own(question: str, own: str) -> str:
    """ "psi or bar? The vehicle's own is 36psi."."""
    return f"{question} The vehicle's own is {own}."


def this_quantity(value: Quantity) -> str:
    """ "30 mm?"."""
    return tell.capital(f"{tell.quantity(value)}?")


def this_finding(finding: Finding) -> str:
    """ "Front brake pads, thickness: 2 mm?"."""
    return tell.capital(f"{tell.finding(finding)}?")


def together(findings: Sequence[Finding]) -> str:
    """ "Left mirror: cracked; right mirror: sound?": all that one breath may have said."""
    return tell.capital(f"{'; '.join(tell.finding(one) for one in findings)}?")


def each(parts: Sequence[Understanding]) -> str:
    """ "Drive chain: dry; 'sprocket worn': Which end: front or rear?": of a breath, what is known of
    each part of it."""
    told = [
        f"'{part.text}': {part.question_text.rstrip('?')}"
        if part.question is not None
        else "; ".join(tell.finding(one) for one in part.offered)
        for part in parts
    ]
    return tell.capital(f"{'; '.join(told)}?")


def value_again(told: str) -> str:
    """ "Was that 50 mm? Say the value again."."""
    return f"Was that {told}? Say the value again."


def distance_again(told: str, known: str) -> str:
    """ "Was that 12 mi? 18350 mi are known. Say the value again."."""
    return f"Was that {told}? {known} are known. Say the value again."


ONE_FIGURE = "an odometer shows one figure, and what it shows was not said"


def not_as_known(why: Unlike, known: str) -> str:
    """Why a distance can hardly be, beside one that is known."""
    return {
        Unlike.BELOW: f"no distance goes down, and {known} were read before",
        Unlike.FAR_ABOVE: f"far more than {known}, which were read last",
        Unlike.ABOVE_LATER: f"more than {known}, which were read later",
    }[why]


def code_again(code: str) -> str:
    """ "Was that 5501? Say the code again."."""
    return f"Was that {code}? Say the code again."


def amount_in_full(finding: Finding) -> str:
    """ "Was that front spokes: missing (count 80)? Say in full how it is."."""
    return in_full(f"Was that {tell.finding(finding)}?")


def in_full(question: str) -> str:
    """``question``, and that no short answer settles it."""
    return f"{question} {IN_FULL}"


def measure(component: str, position: str | None, one: Characteristic) -> str:
    """ "How much is left of the front brake pads? Say the thickness, in millimetres or inches."."""
    told = tell.place(component, position)
    return f"How much is left of the {told}? Say the {one.name}, in {tell.any_unit(one.units)}."


def which_year(component: str, position: str | None) -> str:
    """ "Inspection sticker: of which year?"."""
    return tell.capital(f"{tell.place(component, position)}: of which year?")


def of_a_piece(component: str, position: str | None, piece: str) -> str:
    """ "Is it said of the number plate, or of its bracket? ..."."""
    told = tell.place(component, position)
    return f"Is the {told} meant, or its {piece}? {IN_FULL} What has no entry is kept as a remark."


def how_it_is(component: str, position: str | None, conditions: Sequence[str]) -> str:
    """ "Air filter: what was found? Say how it is: sound, dirty or blocked."."""
    told = tell.capital(tell.place(component, position))
    how = f"Say how it is: {tell.either(conditions)}." if conditions else IN_FULL
    return f"{told}: what was found? {how}"


def why_skipped(component: str, position: str | None) -> str:
    """ "Why is the front brake pads skipped?"."""
    return f"Why is the {tell.place(component, position)} skipped?"


def did_you_mean_words(words: str) -> str:
    """ "Did you mean 'front brake pads two millimetres'?"."""
    return f"Did you mean '{words}'?"


def did_you_mean(finding: Finding) -> str:
    """ "Did you mean front brake pads, thickness: 2 mm?"."""
    return f"Did you mean {tell.finding(finding)}?"


def did_you_say(finding: Finding, *, correction: bool = False) -> str:
    """ "Did you say correction, front brake pads, thickness: two millimetres?"."""
    return f"Did you say {_lead(correction)}{_in_its_words(finding)}?"


def did_you_say_so(finding: Finding) -> str:
    """ "Did you say front brake pads, thickness: 2 mm?"."""
    return f"Did you say {tell.finding(finding)}?"


def did_you_say_words(texts: Sequence[str]) -> str:
    """ "Did you say 'tea' or 'tea with milk'?"."""
    return f"Did you say {tell.either([repr(text) for text in texts])}?"


def which_words(texts: Sequence[str]) -> str:
    """ "Large or small?": the words that differ; each text whole where one has none of its own."""
    start, end = _shared(texts)
    middles = [" ".join(_middle(text, start, end)) for text in texts]
    return which(middles) if all(middles) else did_you_say_words(texts)


def new_or_correction(ways: Sequence[tuple[bool, str]]) -> str:
    """ "A new finding or a correction: 2 mm or correction, 3 mm?". Each way: whether it corrects."""
    told = tuple(dict.fromkeys(f"{_lead(corrects)}{said}" for corrects, said in ways))
    return f"{NEW_OR_CORRECTION}: {tell.either(told)}?"


def new_or_correction_of(finding: Finding) -> str:
    """ "A new finding or a correction: front brake pads, thickness: 2 mm?"."""
    return f"{NEW_OR_CORRECTION}: {tell.finding(finding)}?"


def instead(was: Finding, now: Finding) -> str:
    """ "Front brake pads, thickness: 4 mm taken back, and rear brake pads, thickness: 3 mm?"."""
    return tell.capital(f"{tell.finding(was)} taken back, and {tell.finding(now)}?")


def difference(finding: Finding, among: Sequence[Finding]) -> str:
    """What tells ``finding`` from the others, as short as it can be said."""
    if len({f.characteristic for f in among}) > 1 or len({f.component for f in among}) > 1:
        alike = len({f.meaning[3:] for f in among}) == 1
        if alike and len({f.characteristic for f in among}) == 1:
            return tell.place(finding.component, finding.position)
        if alike and finding.characteristic and len({f.component for f in among}) == 1:
            return finding.characteristic
        return tell.finding(finding)
    if len({f.position for f in among}) > 1:
        return finding.position or finding.component
    if len({f.given for f in among}) > 1 and len({f.meaning[6:] for f in among}) == 1:
        return tell.finding(finding)
    if finding.quantity is not None:
        return tell.quantity(finding.quantity)
    if finding.readings:
        return ", ".join(tell.quantity(value) for value in finding.readings)
    return finding.condition or finding.code or finding.component


def still_open(left: Sequence[Finding]) -> str:
    """What is still to be chosen among ``left``: "Front or rear? 36 psi or 36 kPa?"."""
    if len({(one.component, one.characteristic) for one in left}) > 1:
        ways = [[difference(one, left) for one in left]]
    else:
        ways = [
            [one.position or one.component for one in left],
            [tell.finding(replace(one, position=None)) for one in left],
        ]
        if all(one.quantity is not None for one in left):
            ways[1] = [tell.quantity(one.quantity) for one in left if one.quantity is not None]
    told = [tuple(dict.fromkeys(way)) for way in ways]
    return " ".join(tell.capital(f"{tell.either(way)}?") for way in told if len(way) > 1)


def with_rest(question: str, rest: Rest) -> str:
    """``question``, and that an answer to it does not take all that was said."""
    return f"{question} {REST[rest]}".strip()


def _lead(correction: bool) -> str:
    return "correction, " if correction else ""


def _in_its_words(finding: Finding) -> str:
    """The value as it was said: "four thirty seconds" is not to be read back as 1/8 in."""
    value = finding.quantity
    if value is None or not value.words:
        return tell.finding(finding)
    return f"{tell.finding(replace(finding, quantity=None))}: {value.words}"


def _shared(texts: Sequence[str]) -> tuple[int, int]:
    """How many words all texts share at their beginning, and at their end."""
    split = [text.split() for text in texts]
    shortest = min(len(words) for words in split)
    start = 0
    while start < shortest and len({words[start] for words in split}) == 1:
        start += 1
    end = 0
    while end < shortest - start and len({words[-1 - end] for words in split}) == 1:
        end += 1
    return start, end


def _middle(text: str, start: int, end: int) -> list[str]:
    words = text.split()
    return words[start : len(words) - end]
