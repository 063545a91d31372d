"""Beam search along the grammar: only what the grammar allows is ever extended (pure)."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldlog.listeners.whisper.decoder import Decoder, Sound
from fieldlog.listeners.whisper.memory import Memory
from fieldlog.listeners.whisper.tokens import Node, TokenGraph

Array = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class SearchSettings:
    """Figures of the search, all in nats unless said otherwise."""

    beam: int = 8
    """Token sequences kept at each step (count)."""
    wide: int = 16
    """The same for the first ``wide_steps`` steps, where noise hides the most (count)."""
    wide_steps: int = 5
    """Tokens."""
    bonus: float = 1.5
    """Added per token, against early endings."""
    prune: float = 8.0
    """A continuation this far below the best of its step is dropped."""
    stop: float = 4.0
    """The search ends when the best live one is this far below the best finished one."""
    grammar: float = 1.0
    """Factor on the grammar's own weights."""
    longest: int = 120
    """Tokens, however long the clip."""
    spoken_rate: float = 9.0
    """Tokens per second, padding included, beyond which nobody speaks: noise makes loops."""


@dataclass(frozen=True, slots=True)
class Found:
    """One finished word sequence."""

    words: tuple[str, ...]
    score: float
    """Natural-log score, bonus and grammar weights included."""
    logprob: float
    """Natural-log probability of its best token sequence, end included."""
    bend: float
    """Sum over its tokens, end included, of logit minus the largest logit at that point."""
    tokens: int
    worst: float = 0.0
    """The largest bend of a single token, end included (0 at best)."""
    tail: float = 0.0
    """The larger bend of its last token and its end: a phrase that stops too early shows there."""
    path: tuple[int, ...] = ()
    """Its tokens, as places in the decoder's vocabulary."""
    counts: tuple[int, ...] = ()
    """How many words were whole behind each of them; -1 inside one."""

    @property
    def text(self) -> str:
        """The words as one text."""
        return " ".join(self.words)


@dataclass(frozen=True, slots=True)
class Result:
    """What a search came to."""

    found: list[Found]
    """Finished word sequences, best first; empty when none was finished."""
    rest: float
    """Score of the best unfinished one: as it stood when the search ended, or with the end of speech
    behind its last word ("front rim looks"); -inf when there was none."""
    memory: Memory | None = None
    """What the decoder was fed."""


@dataclass(slots=True)
class _Live:
    """One unfinished hypothesis; hundreds are made and dropped for each utterance."""

    score: float
    logprob: float
    bend: float
    tokens: int
    row: int
    words: tuple[str, ...]
    node: Node
    worst: float = 0.0
    last: float = 0.0
    root: tuple[int, int] | None = None
    """State and joining of the tree that begins here, until it is needed; ``node`` then."""
    between: bool = False
    """Behind a whole word."""
    before: _Live | None = None
    """What it goes on from."""
    column: int = -1
    """The token with which it does."""


_INSIDE = -1
"""Marks a place inside a tree, where a root would have its joining."""


def search(
    decoder: Decoder,
    sound: Sound,
    graph: TokenGraph,
    prompt: NDArray[np.intp],
    closing: NDArray[np.intp],
    settings: SearchSettings,
) -> Result:
    """Search along ``graph`` until nothing unfinished can win.

    ``prompt`` and ``closing`` are places in the decoder's vocabulary: what is fed first, and the
    tokens that end an utterance (their probabilities are added).
    """
    logits, memory = decoder.prefill(sound, prompt)
    live = [_Live(0.0, 0.0, 0.0, 0, 0, (), graph.root)]
    finished: dict[tuple[str, ...], Found] = {}
    best_finished = cut_short = -np.inf
    longest = min(settings.longest, int(settings.spoken_rate * sound.seconds))
    for step in range(longest):
        shifted = logits - logits.max(axis=1)[:, None]
        raised = np.exp(shifted)
        total = np.log(raised.sum(axis=1))
        ends = np.log(raised[:, closing].sum(axis=1))
        for item in live:
            if item.node.final:
                ending = settings.grammar * item.node.ending
                new = _finish(item, float(ends[item.row]), float(total[item.row]), ending)
                best_finished = max(best_finished, new.score)
                known = finished.get(new.words)
                finished[new.words] = new if known is None else _merged(known, new)
        # What is inside a word, or whose tokens make a whole phrase as well, is not cut short.
        whole = {item.row for item in live if item.node.final}
        for item in live:
            if item.between and item.row not in whole:
                end = float(ends[item.row]) - float(total[item.row])
                cut_short = max(cut_short, item.score + end)
        beam = settings.wide if step < settings.wide_steps else settings.beam
        live, parents, columns = _extend(live, shifted, total, graph, settings, beam)
        if not live or live[0].score < best_finished - settings.stop:
            break
        logits = decoder.step(sound, memory, parents, columns)
    found = sorted(finished.values(), key=lambda found: -found.score)
    return Result(found, max(cut_short, live[0].score if live else -np.inf), memory)


def _finish(item: _Live, end: float, total: float, ending: float) -> Found:
    path, counts = [], []
    step: _Live | None = item
    while step is not None and step.before is not None:
        path.append(step.column)
        counts.append(len(step.words) if step.between else -1)
        step = step.before
    return Found(
        words=item.words,
        score=item.score + end - total + ending,
        logprob=item.logprob + end - total,
        bend=item.bend + end,
        tokens=item.tokens + 1,
        worst=min(item.worst, end),
        tail=min(item.last, end),
        path=tuple(reversed(path)),
        counts=tuple(reversed(counts)),
    )


def _merged(one: Found, other: Found) -> Found:
    """Two token sequences of the same words: their probabilities add, the better one's facts stay."""
    better = one if one.score >= other.score else other
    return Found(
        better.words,
        float(np.logaddexp(one.score, other.score)),
        better.logprob,
        better.bend,
        better.tokens,
        better.worst,
        better.tail,
        better.path,
        better.counts,
    )


def _extend(
    live: list[_Live],
    shifted: Array,
    total: Array,
    graph: TokenGraph,
    settings: SearchSettings,
    beam: int,
) -> tuple[list[_Live], NDArray[np.intp], NDArray[np.intp]]:
    scores, owners, places = [], [], []
    for index, item in enumerate(live):
        columns = item.node.columns
        if not len(columns):
            continue
        scores.append(shifted[item.row, columns] + (item.score - float(total[item.row])))
        owners.append(np.full(len(columns), index))
        places.append(np.arange(len(columns)))
    if not scores:
        return [], np.empty(0, np.intp), np.empty(0, np.intp)
    score = np.concatenate(scores)
    owner = np.concatenate(owners)
    place = np.concatenate(places)
    order = np.flatnonzero(score >= score.max() - settings.prune)
    order = order[np.argsort(-score[order], kind="stable")][: beam * 6]

    merged: dict[tuple[int, int, tuple[str, ...]], _Live] = {}
    rows: dict[tuple[int, int], int] = {}
    chosen = zip(owner[order].tolist(), place[order].tolist(), score[order].tolist(), strict=True)
    for index, at, reached in chosen:
        item = live[index]
        kid = item.node.kid(at, graph.column)
        column = int(item.node.columns[at])
        gain = float(shifted[item.row, column])
        spent = reached - item.score
        row = rows.setdefault((item.row, column), len(rows))
        for words, node, root, weight in _destinations(item, kid):
            new = _Live(
                score=reached + settings.bonus + settings.grammar * weight,
                logprob=item.logprob + spent,
                bend=item.bend + gain,
                tokens=item.tokens + 1,
                row=row,
                words=words,
                node=node,
                worst=min(item.worst, gain),
                last=gain,
                root=root,
                between=root is not None,
                before=item,
                column=column,
            )
            key = (*root, words) if root else (id(node), _INSIDE, words)
            known = merged.get(key)
            if known is None:
                merged[key] = new
            else:
                merged[key] = _joined(known, new)
    return _best_rows(list(merged.values()), list(rows), beam, graph)


def _destinations(
    item: _Live, kid: Node
) -> list[tuple[tuple[str, ...], Node, tuple[int, int] | None, float]]:
    """Where a token leads: deeper into its tree, and to the roots behind every form it ends.

    Roots are named, not made: most of these hypotheses will be dropped at once.
    """
    found: list[tuple[tuple[str, ...], Node, tuple[int, int] | None, float]] = []
    if kid.tokens:
        found.append((item.words, kid, None, 0.0))
    for out in kid.exits:
        found.append((item.words + out.words, kid, (out.state, out.joining), out.weight))
    return found


def _joined(one: _Live, other: _Live) -> _Live:
    """Same words in the same place by two token sequences: keep the better, add the probability."""
    better, worse = (one, other) if one.score >= other.score else (other, one)
    better.score += math.log1p(math.exp(worse.score - better.score))
    return better


def _best_rows(
    items: list[_Live], rows: list[tuple[int, int]], beam: int, graph: TokenGraph
) -> tuple[list[_Live], NDArray[np.intp], NDArray[np.intp]]:
    """The best items on at most ``beam`` token sequences, renumbered."""
    items.sort(key=lambda item: -item.score)
    place: dict[int, int] = {}
    kept: list[_Live] = []
    for item in items:
        if item.row not in place:
            if len(place) == beam:
                continue
            place[item.row] = len(place)
        if item.root:
            item.node, item.root = graph.at(*item.root), None
        item.row = place[item.row]
        kept.append(item)
    parents = np.array([rows[row][0] for row in place], dtype=np.intp)
    columns = np.array([rows[row][1] for row in place], dtype=np.intp)
    return kept, parents, columns


def distinct(
    found: list[Found], meaning: Callable[[str], str], most: int = 6, behind: float = math.inf
) -> list[Found]:
    """The best of each meaning, best first; word sequences that mean nothing are left out.

    So is what is further than ``behind`` nats from the best: reading a breath takes its time.
    """
    seen: dict[str, Found] = {}
    for item in found[: most * 2]:
        if item.score < found[0].score - behind:
            break
        key = meaning(item.text)
        if key and key not in seen:
            seen[key] = item
            if len(seen) == most:
                break
    return list(seen.values())
