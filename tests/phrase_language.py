"""A language made of a plain list of phrases, for tests of listeners that need no grammar."""

from __future__ import annotations

from collections.abc import Iterable

from fieldlog.model.understanding import Decision, Kind, Understanding


class PhraseGraph:
    """A tree of words: one state per beginning of a phrase."""

    start = 0
    further: int | None = None

    def __init__(self, phrases: Iterable[str]) -> None:
        self._arcs: list[dict[str, tuple[int, float]]] = [{}]
        self._final: set[int] = set()
        for phrase in phrases:
            state = 0
            for word in phrase.split():
                if word not in self._arcs[state]:
                    self._arcs.append({})
                    self._arcs[state][word] = (len(self._arcs) - 1, 0.0)
                state = self._arcs[state][word][0]
            self._final.add(state)

    def arcs(self, state: int) -> dict[str, tuple[int, float]]:
        return self._arcs[state]

    def is_final(self, state: int) -> bool:
        return state in self._final

    def final_weight(self, state: int) -> float | None:
        return 0.0 if state in self._final else None


class PhraseLanguage:
    """Implements ``Language``: every phrase means itself, or what ``meanings`` says."""

    name = "phrases"

    def __init__(self, phrases: Iterable[str], meanings: dict[str, str] | None = None) -> None:
        self._phrases = list(phrases)
        self._meanings = meanings or {}

    def word_graph(self) -> PhraseGraph:
        return PhraseGraph(self._phrases)

    def jsgf(self) -> str:
        return f"#JSGF V1.0;\ngrammar phrases;\npublic <all> = {' | '.join(self._phrases)};\n"

    def phrases(self) -> list[str]:
        return list(self._phrases)

    def words(self) -> frozenset[str]:
        return frozenset(word for phrase in self._phrases for word in phrase.split())

    def understand(self, text: str) -> Understanding:
        if text in self._phrases:
            return Understanding(Decision.ACCEPT, Kind.ORDER, "a phrase of the list", text)
        return Understanding(Decision.REFUSE, Kind.NOTHING, "not in the list", text)

    def meaning(self, text: str) -> str:
        return self._meanings.get(text, text) if text in self._phrases else ""
