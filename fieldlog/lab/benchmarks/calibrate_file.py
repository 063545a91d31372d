"""Weights -> the decision file, as people can read it (pure)."""

from __future__ import annotations

from collections.abc import Mapping

from fieldlog.doubt.rules import TERMS, Policy, Weights

HEAD = """\
# When to accept, ask or refuse what a listener heard. Read by fieldlog/doubt/rules.py; written by
# `python -m fieldlog.lab calibrate`, which says in docs/doubt.md how to run it again.
#
# Chance that the meaning is right = 1 / (1 + exp(-x)),
# x = intercept + bend * b + margin * min(m, cap) + logprob * p + tail * max(t, -8), where
#   b = nats per token the grammar bent what was heard (0 at best, negative),
#   m = nats to the next different meaning, p = log probability per token of the words themselves,
#   t = nats the grammar bent the last token or the end.
# A twin (fifteen, fifty) that was heard less than twin_margin nats behind is asked about.
# Below the chance "refuse" nothing is asked; "accept" is the least chance that counts unasked.
"""

MORE_SAID_HEAD = (
    "# Nats: where the last token or the end is bent further than this, more was said than was heard, and",
    "# nothing is accepted (`python -m fieldlog.lab breath --part tune`; not fitted by calibrate).",
)

FLAGS = {"overflow": 0.5, "clipped": 0.3, "narrow band": 0.2, "cut at maximum": 1.0}
"""Added to the least chance, as a share of what is left to 1. Common practice, not fitted."""

MORE_SAID = -2.5
"""Nats of the tail below which more was said than was heard. Chosen by ``python -m fieldlog.lab breath``
on the part "tune", not fitted here."""


BENT_WORD_HEAD = (
    "# Nats: a breath of several findings with a token bent further than this is asked about: among many words heard",
    "# well, one that nobody said is little of the evidence per token (not fitted by calibrate; docs/doubt.md).",
)
BENT_WORD = -4.0
"""Nats of one token. Of 605 breaths heard right (``python -m fieldlog.lab breath --json``) none is bent below -3.5."""

YES_OR_NO_HEAD = (
    "# Least chance for a yes or a no, of every kind of words, while a question is open. As strict as any command:",
    "# no answers of people or of held-out voices were at hand to fit it (not fitted by calibrate).",
)
YES_OR_NO = {Policy.CAUTIOUS: 0.992, Policy.BALANCED: 0.983, Policy.BRISK: 0.983}
"""Policy -> least chance for a yes or a no."""


def to_toml(
    listener: str,
    weights: Mapping[str, Weights],
    provenance: Mapping[str, str],
    flags: Mapping[str, float],
) -> str:
    """The file's text; the same input gives the same bytes."""
    lines = [HEAD, "[provenance]"]
    lines += [f'{name} = "{value}"' for name, value in provenance.items()]
    lines += [
        "",
        "# How much a doubt about the sound itself adds, as a share of what is left to 1.",
    ]
    lines += ["[flags]", *(f'"{name}" = {value:g}' for name, value in flags.items())]
    lines += ["", *MORE_SAID_HEAD, "[more_said]", f"{listener} = {MORE_SAID:g}"]
    lines += ["", *BENT_WORD_HEAD, "[bent_word]", f"{listener} = {BENT_WORD:g}"]
    lines += ["", *YES_OR_NO_HEAD, "[yes_or_no]"]
    lines += [f"{policy.value} = {least:g}" for policy, least in YES_OR_NO.items()]
    for kind, one in weights.items():
        lines += ["", f"[{listener}.{kind}]"]
        for name in ("intercept", *TERMS, "cap", "twin_margin", "refuse"):
            lines.append(f"{name} = {getattr(one, name):g}")
        levels = ", ".join(f"{policy.value} = {one.accept[policy.value]:g}" for policy in Policy)
        lines.append(f"accept = {{ {levels} }}")
    return "\n".join(lines) + "\n"
