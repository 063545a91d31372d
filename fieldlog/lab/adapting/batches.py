"""Batches to train on: features of takes heard in the shop, and the tokens they stand for."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fieldlog.lab.adapting.one_way import in_one_way
from fieldlog.lab.adapting.shop import Shop
from fieldlog.lab.adapting.takes import GENERAL, TRADE, Take, shards, takes
from fieldlog.listeners.whisper.adapter import CUE
from fieldlog.listeners.whisper.features import SILENT, log_mel, pad_features
from fieldlog.listeners.whisper.folder import ModelFolder

_POOL = 6
"""Batches drawn at once and sorted by length, so that little is padding."""
_NOTHING, _TALK = 0.03, 0.12
"""Shares of noise alone and of speech that is not meant for the listener."""
_IGNORED = -100


@dataclass(frozen=True, slots=True)
class Batch:
    """Features ``[takes, 80, frames]``, tokens and the tokens wanted next ``[takes, length]``.

    A wanted token of -100 does not count.
    """

    features: NDArray[np.float32]
    tokens: NDArray[np.int64]
    wanted: NDArray[np.int64]


Example = tuple[NDArray[np.float32], tuple[int, ...], tuple[int, ...]]
"""Features, what comes before, the text."""


class Batches:
    """Endless batches out of a folder of takes; the same seed gives the same ones."""

    def __init__(self, folder: Path, model: ModelFolder, size: int, seed: int) -> None:
        """Read the takes and make the noises."""
        self._model = model
        self._size = size
        self._rng = np.random.default_rng(seed)
        self._folder = folder
        self._read: list[Path] = []
        self._refresh()
        self._shop = Shop([*self._natural, *self._others, *self._talk])
        self._cue = (model.special.previous, *model.encode(CUE))

    def _refresh(self) -> None:
        """Read the takes when there are new ones: recording may go on beside the training."""
        there = shards(self._folder)
        if self._read == there:
            return
        found = takes(self._folder)
        self._read = there
        trade = [take for take in found if take.kind in TRADE]
        self._natural = [take for take in trade if take.natural]
        self._others = [take for take in trade if not take.natural]
        self._talk = [take for take in found if take.kind not in TRADE]

    def __iter__(self) -> Iterator[Batch]:
        """Batches without end."""
        while True:
            self._refresh()
            pool = [self._example() for _ in range(self._size * _POOL)]
            pool.sort(key=lambda example: example[0].shape[1])
            for turn in self._rng.permutation(_POOL):
                yield self._batch(pool[turn * self._size : (turn + 1) * self._size])

    def _example(self) -> Example:
        rng = self._rng
        draw = rng.random()
        if draw < _NOTHING:
            return self._features(self._shop.nothing(rng)), self._cue, ()
        if draw < _NOTHING + _TALK and self._talk:
            take = self._talk[int(rng.integers(len(self._talk)))]
            features = self._features(self._shop.heard(take, rng))
            if rng.random() < 0.6:
                return features, (), self._model.encode(" " + as_written(take))
            return features, self._cue, self._model.encode(" " + plain(take.words))
        source = self._others if rng.random() >= self._natural_share() else self._natural
        take = source[int(rng.integers(len(source)))]
        features = self._features(self._shop.heard(take, rng))
        return features, self._cue, self._model.encode(" " + in_one_way(take.words))

    def _natural_share(self) -> float:
        """More than half when there are enough natural takes, else what does not wear them out."""
        if not self._others:
            return 1.0
        return min(0.6, len(self._natural) / 800)

    def _features(self, sound: NDArray[np.float32]) -> NDArray[np.float32]:
        rng = self._rng
        bands = log_mel(sound)
        if rng.random() < 0.25:  # a band or a moment is gone (Park et al. 2019, SpecAugment)
            low, at = int(rng.integers(0, 72)), int(rng.integers(0, max(1, bands.shape[1] - 12)))
            mean = bands.mean()
            bands[low : low + int(rng.integers(2, 8))] = mean
            bands[:, at : at + int(rng.integers(2, 10))] = mean
        lead, extra = int(rng.integers(10, 40)), int(rng.integers(40, 101))
        return pad_features(bands, extra=extra, multiple=10, lead=lead)

    def _batch(self, examples: Sequence[Example]) -> Batch:
        prompt, end = self._model.special.prompt, self._model.special.end
        frames = max(features.shape[1] for features, _, _ in examples)
        length = max(len(before) + len(prompt) + len(text) for _, before, text in examples)
        shape = (len(examples), length)
        features = np.full((len(examples), 80, frames), SILENT, np.float32)
        tokens, wanted = np.full(shape, end, np.int64), np.full(shape, _IGNORED, np.int64)
        for row, (bands, before, text) in enumerate(examples):
            features[row, :, : bands.shape[1]] = bands
            fed = [*before, *prompt, *text]
            tokens[row, : len(fed)] = fed
            first = len(before) + len(prompt) - 1
            wanted[row, first : first + len(text) + 1] = [*text, end]
        return Batch(features, tokens, wanted)


def as_written(take: Take) -> str:
    """A sentence as the bundled weights write it."""
    return take.words if take.kind == GENERAL else take.words.capitalize() + "."


def plain(sentence: str) -> str:
    """Small letters, no marks: what is said in the shop is written in one way."""
    return " ".join(re.sub(r"[^a-z' ]", " ", sentence.lower()).split())
