"""The one way of writing that the additions to the weights are taught (pure)."""

from __future__ import annotations

from fieldlog.listeners.whisper.written import SPELLINGS


def in_one_way(words: str) -> str:
    """Words of the grammar in the one way of writing that the additions to the weights were taught.

    Small letters, American spelling, numbers in words, letters said one by one as one word ("psi").
    Each is among the forms the search allows.
    """
    written: list[str] = []
    run = ""
    for word in (*words.split(), ""):
        if len(word) == 1 and (run or word not in ("a", "i")):
            run += word
            continue
        written += [run] if run else []
        run = ""
        for british, american in SPELLINGS:
            if british != "disc":
                word = word.replace(british, american)
        written += [word] if word else []
    return " ".join(written)
