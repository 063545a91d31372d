"""What the decoder keeps of all it was fed behind one sound: a tree, each token behind the one it goes on from.

Hypotheses of a search share their beginnings, and those are kept once: a token looks at the places above it
and hides the rest, so that nothing is copied when a hypothesis is dropped or goes on in several ways (pure).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float32]
Ints = NDArray[np.intp]

_NOTHING = -1
"""Above the first token."""


@dataclass(slots=True)
class Memory:
    """Places in the order in which they were fed; ``length`` of them are taken."""

    keys: Array
    """Of the self-attention: [layers, heads, 64, capacity]."""
    values: Array
    """[layers, heads, capacity, 64]."""
    hidden: Array
    """[capacity, capacity]: 0 where the first place looks at the second, -inf where not."""
    looked: Array
    """[capacity, frames]: where in the sound the heads that follow it looked, their mean."""
    above: list[int] = field(default_factory=list)
    """For each place the one that it goes on from."""
    columns: list[int] = field(default_factory=list)
    """For each place its token, as a place in the decoder's vocabulary."""
    depths: list[int] = field(default_factory=list)
    """How many tokens are above each place."""
    newest: int = 0
    """The first of the places that were fed last (the opening counts as its last token)."""
    opening: int = 0
    """The last of those that were fed first."""

    @classmethod
    def of(cls, layers: int, heads: int, width: int, frames: int, capacity: int) -> Memory:
        """Nothing yet, with room for ``capacity`` tokens before it must grow."""
        size = width // heads
        return cls(
            np.empty((layers, heads, size, capacity), np.float32),
            np.empty((layers, heads, capacity, size), np.float32),
            np.full((capacity, capacity), -np.inf, np.float32),
            np.zeros((capacity, frames), np.float32),
        )

    @property
    def length(self) -> int:
        """Places that are taken."""
        return len(self.above)

    def take(self, above: Sequence[int], columns: Sequence[int]) -> slice:
        """Places for tokens, each behind the place ``above`` it (which may be one of these)."""
        begin, end = self.length, self.length + len(columns)
        while end > len(self.hidden):
            self._grow()
        for place, (parent, column) in enumerate(zip(above, columns, strict=True), begin):
            if parent != _NOTHING:
                self.hidden[place] = self.hidden[parent]
            self.hidden[place, place] = 0.0
            self.above.append(parent)
            self.columns.append(column)
            self.depths.append(0 if parent == _NOTHING else self.depths[parent] + 1)
        self.newest = begin
        return slice(begin, end)

    def open(self, columns: Sequence[int]) -> slice:
        """Places for the tokens that are fed first, one behind the other."""
        taken = self.take(range(_NOTHING, len(columns) + _NOTHING), columns)
        self.opening = self.newest = taken.stop - 1
        return taken

    def looked_along(self, path: Sequence[int]) -> Array:
        """Where the opening's last token and each of ``path`` behind it looked ``[tokens, frames]``.

        ``KeyError`` where that was never fed.
        """
        children = {pair: at for at, pair in enumerate(zip(self.above, self.columns, strict=True))}
        places = [self.opening]
        for column in path:
            places.append(children[places[-1], column])
        return self.looked[places]

    def _grow(self) -> None:
        """Twice the room."""
        size = len(self.hidden)
        self.keys = np.concatenate([self.keys, np.empty_like(self.keys)], axis=3)
        self.values = np.concatenate([self.values, np.empty_like(self.values)], axis=2)
        wider = np.full((2 * size, 2 * size), -np.inf, np.float32)
        wider[:size, :size] = self.hidden
        self.hidden = wider
        self.looked = np.concatenate([self.looked, np.zeros_like(self.looked)])
