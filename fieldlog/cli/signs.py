"""The signs of verdicts in the terminal: our ruler in five characters (``words.signs`` draws it)."""

from __future__ import annotations

from fieldlog.model.state import State

SIGNS = {
    State.WITHIN: "=^==|",
    State.MARGINAL: "==/^|",
    State.FAULTY: "  ^  ",
    State.BEYOND: "===|^",
    State.UNDECIDED: "===| ",
}
"""The bar up to the limit's stroke, and where the pointer stands: inside, on the hatching of the guard band, past
the stroke; a pointer without a ruler is a fault that no row covers, a ruler without one is undecided."""
WEIGHTS = {
    State.WITHIN: "",
    State.MARGINAL: "underline",
    State.FAULTY: "bold",
    State.BEYOND: "bold reverse",
    State.UNDECIDED: "italic",
}
"""Style of a verdict: weight and reverse, no colour says what is in order."""
ALARM = "bold reverse"
"""What must not be overlooked."""
CHANGED = "underline"
"""What is no longer as it was."""
ASKED = "bold"
TOLD = "italic"
"""What was asked for and is told."""
