"""Questions of records made before their kind was kept, by how they read (pure).

Only for rows that have nothing else; nothing is ever written in this way again.
"""

from __future__ import annotations

from fieldlog.model.finding import Finding

PLACES = frozenset({"front", "rear", "left", "right", "inner", "outer", "upper", "lower"})


def of_several(question: str) -> bool:
    """Whether more than one thing was offered."""
    return " or " in question


def names(text: str, finding: Finding) -> bool:
    """Whether the words ``text`` name the thing of ``finding`` and no other place of it."""
    words = {word.removesuffix("s") for word in text.split()}
    name = [word.removesuffix("s") for word in finding.component.split()]
    elsewhere = (words & PLACES) - {*name, *(finding.position or "").split()}
    return name[-1] in words and not elsewhere
