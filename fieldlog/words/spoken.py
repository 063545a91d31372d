"""What is said aloud of what happened (pure): printed text, which ``aloud`` puts into spoken words.

One finding at a time, its value last. "Confirm" asks for *affirm*, as in radiotelephony (ICAO Annex 10
Vol II 5.2.1.5.8, wording from memory): it stands in front, so that the value is what was heard last.
"""

from __future__ import annotations

from fieldlog.model.finding import Finding
from fieldlog.model.state import Severity, State
from fieldlog.model.verdict import InDoubt, Verdict
from fieldlog.words import questions, tell
from fieldlog.words.telling import say

CONFIRM = "Confirm"
CORRECTED = "Corrected"
SAVED = "Saved"
DANGEROUS = "Dangerous"
I_READ_BACK = "I read back"
ONCE_MORE = "Once more"
STATES = {
    State.WITHIN: "within its limit",
    State.MARGINAL: "near its limit",
    State.FAULTY: "faulty",
    State.BEYOND: "beyond its limit",
    State.UNDECIDED: "not decided",
}
"""How a finding stands, where it is said."""
IN_DOUBT = {
    InDoubt.BY_LESS_THAN_MEASURED: "beyond its limit by less than measured",
    InDoubt.MAY_BE_BEYOND: "perhaps beyond its limit",
}
NOT_JUDGED = "not judged"
AFFIRMED = "Affirmed."
NOT_AFFIRMED = "Not affirmed, taken back. Say it again."
WITHDRAWN = "Taken back"
LEFT_OUT = "Left out"
NEXT = "Next"
NOTHING_OPEN = "Nothing is open."
NO_FINDING = "No finding stands."
NOTHING_TO_TAKE = "Nothing to take."
GONE_ALREADY = "Withdrawn elsewhere already."
NOT_UNDERSTOOD = "Not understood, say again."
NOT_TAKEN = "Not taken, say it again."
NOT_SAVED = "Not saved yet."
REMARK = "Remark kept."
REMARK_TAKEN_BACK = "Taken back, remark."
"""Spliced of what is rendered by itself."""
PHOTO = "Photo."
STANDING_BY = "Standing by."
GOING_AHEAD = "Going ahead."
ON_SCREEN = "It is on the screen."
SIGNED_OFF = "Signed off."
AFTER_SIGNATURE = "After the signature: sign off again."
NO_MICROPHONE = "Microphone lost."
ALREADY_SAVED = "Saved already."
CLOSED = "Nothing of it is taken."
NOTHING_TOLD = "Nothing was told yet."

ON_YOUR_OWN = "On your own."
SILENT = "Nothing is heard. Is the microphone muted?"
TOO_LOUD = "The sound is too loud."
MICROPHONE_BACK = "The microphone is back."
NOT_RECORDED = "The recording stopped."
DISK_FULL = "The disk is full."

LEADS = (
    "confirm",
    "was that",
    "did you say",
    "did you mean",
    "which end",
    "which side",
    "front",
    "rear",
)
"""Words that go straight on."""
SENTENCES = (
    f"{CONFIRM}, {DANGEROUS},", f"{CONFIRM},", f"{CORRECTED},", f"{SAVED},", f"{DANGEROUS},",
    f"{I_READ_BACK},", f"{ONCE_MORE},", *(f"{text}," for text in STATES.values()),
    *STATES.values(), *(f"{text}," for text in IN_DOUBT.values()), *IN_DOUBT.values(), NOT_JUDGED,
    AFFIRMED, NOT_AFFIRMED, f"{WITHDRAWN},", f"{LEFT_OUT},", f"{NEXT},", NOTHING_OPEN, NO_FINDING,
    NOTHING_TO_TAKE, GONE_ALREADY, NOT_UNDERSTOOD, NOT_TAKEN, NOT_SAVED, REMARK, PHOTO, STANDING_BY,
    GOING_AHEAD, ON_SCREEN, SIGNED_OFF, AFTER_SIGNATURE, NO_MICROPHONE, ALREADY_SAVED, CLOSED,
    NOTHING_TOLD, ON_YOUR_OWN, SILENT, TOO_LOUD, MICROPHONE_BACK, NOT_RECORDED, DISK_FULL,
    "left.", "dangerous.", "one thing is left.", "things are left.", "findings.",
    "is dangerous.", "are dangerous.", "not looked at.", "not complete.", "wait for an answer.",
    questions.IN_FULL, *questions.REST.values(), questions.NEW_OR_CORRECTION + ",", questions.OF_WHAT,
    questions.SIGN_OFF, questions.AGAIN, questions.SOME_UNIT, "Say the value again.",
    "Say the code again.", "Say the thickness,", "How much is left of the", "Say how it is,",
    "What was found?", "of which year?", "Did you say", "Did you mean", "Was that", "are known.",
    "Which end,", "Which side,", "Which cell,", "Which mount,", "Which joint,", "Which one,",
    "Is the", "meant, or its", "What has no entry is kept as a remark.", "Why is the", "skipped?",
    "front or rear?", "left or right?", "upper or lower?", "inner or outer?", "positive or negative?",
    "millimetres or inches?", "correction,", "count",
)  # fmt: skip
"""What is rendered as a whole, as it may stand in what is said."""


def read_back(one: Finding) -> str:
    """ "front brake pads, thickness, 1.5 mm": the value last."""
    return tell.finding(one)


def standing(verdict: Verdict | None) -> str:
    """How a finding stands against its limits."""
    if verdict is None:
        return NOT_JUDGED
    if verdict.in_doubt is not None:
        return IN_DOUBT[verdict.in_doubt]
    return STATES[verdict.state]


def lead(verdict: Verdict | None, *, dangerous: bool) -> str:
    """What is said in front of a finding that is read back: "dangerous", "beyond its limit"."""
    if dangerous or (verdict is not None and verdict.severity is Severity.DANGEROUS):
        return DANGEROUS
    return standing(verdict)


def left(count: int) -> str:
    """ "36 things are left."."""
    return say("One thing is left.") if count == 1 else say("{count} things are left.", count=count)
