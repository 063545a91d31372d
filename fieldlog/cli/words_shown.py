"""Words on the large screen while they are said, where a Vosk model is named: they may still change."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from fieldlog.cli.board import Board
    from fieldlog.grammar.language import Language


@contextmanager
def words_shown(
    model: Path | None, language: Language, board: Board, *, on_screen: bool
) -> Iterator[Callable[[NDArray[np.float32], bool], None] | None]:
    """What is to be given the sound; None without a model, and where there is no large screen for the words.

    Raises ``ModelError`` for a folder that holds no model.
    """
    if model is None:
        yield None
        return
    from fieldlog.listeners.provisional import Provisional
    from fieldlog.listeners.vosk_folder import check_folder

    if not on_screen:
        check_folder(model)
        yield None
        return

    with Provisional(model, language.phrases(), tell=board.tell) as provisional:
        board.words = lambda: provisional.text
        yield provisional.take
