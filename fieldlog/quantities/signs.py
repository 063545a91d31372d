"""Signs that look alike, as the one that is meant (pure)."""

from __future__ import annotations

_SIGNS = str.maketrans(
    {
        "’": "'",
        "‘": "'",
        "′": "'",
        "“": '"',
        "”": '"',
        "″": '"',
        "‚": ",",
        "，": ",",
        "٫": ",",
        "．": ".",
        "…": "...",
        "‐": "-",
        "–": "-",
        "—": "-",
        "―": "-",
        "‑": "-",
        "‒": "-",
        "−": "-",
        "－": "-",
        "·": ".",
        "⋅": ".",
        "×": "x",
        "º": "°",
        "²": "2",
        "\u00a0": " ",
        "\u2007": " ",
        "\u2009": " ",
        "\u202f": " ",
    }
)
_VULGAR = {
    "½": "1/2",
    "¼": "1/4",
    "¾": "3/4",
    "⅛": "1/8",
    "⅜": "3/8",
    "⅝": "5/8",
    "⅞": "7/8",
    "⁄": "/",
}


def plain_signs(text: str) -> str:
    """``text`` in lower case with one sign for all that look like it, and "1/2" for "½"."""
    plain = text.translate(_SIGNS).lower()
    for sign, fraction in _VULGAR.items():
        plain = plain.replace(sign, fraction if sign == "⁄" else f" {fraction}")
    return plain
