"""What the line to a phone needs: of the inspection that goes on (``shed`` has it), and to take words once."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from typing import Any, Protocol

from fieldlog.audio.source import Block

View = dict[str, Any]
"""A message, or a part of one."""


class Shed(Protocol):
    """What the line needs of the inspection that goes on."""

    @property
    def inspection_id(self) -> str:
        """Which it is."""
        ...

    async def view(self) -> View:
        """What stands now."""
        ...

    async def say(self, text: str, question: str | None) -> None:
        """Take typed words; raises ``FieldlogError`` for what cannot be taken."""
        ...

    def tell(self, line: str) -> None:
        """Tell whoever is at this machine."""
        ...

    def elsewhere(self, stream: str, inspection: str) -> Callable[[Block], None]:
        """Where sound of another inspection is kept: it is not heard into this one."""
        ...


class SaidOnce:
    """Which typed words were taken: what is sent again after a cut counts once."""

    def __init__(self) -> None:
        """None was."""
        self._taken: OrderedDict[tuple[str, str], None] = OrderedDict()

    def before(self, phone: str, n: str) -> bool:
        """Whether words ``n`` of that phone were taken already; from now on they were."""
        if (phone, n) in self._taken:
            return True
        self._taken[phone, n] = None
        while len(self._taken) > _MOST:
            self._taken.popitem(last=False)
        return False

    def forget(self, phone: str, n: str) -> None:
        """Nothing of them was taken: they may be sent again."""
        self._taken.pop((phone, n), None)


_MOST = 256
