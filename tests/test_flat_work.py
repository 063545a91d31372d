"""What an utterance costs does not grow with the inspection: rows read and functions called, not time."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from types import FrameType
from typing import Any

import pytest

from fieldlog.language.files import load_language
from fieldlog.model.context import Context
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.workshop import Workshop

SAID = (
    "left mirror loose",
    "rear brake pads three millimetres",
    "front tyre pressure thirty four p s i",
    "brake fluid low",  # of which one is asked, and nobody answers
    "the chain is dry and rusty",
    "correction left mirror cracked",
    "take photo",
    "rear sprocket is hooked",
)


class Counted:
    """A connection that counts the rows it gives."""

    def __init__(self, connection: Any) -> None:
        self._connection = connection
        self.rows = 0

    def execute(self, *statement: Any) -> Any:
        """See ``sqlite3.Connection``."""
        return Rows(self, self._connection.execute(*statement))

    def __getattr__(self, name: str) -> Any:
        return getattr(self._connection, name)


class Rows:
    """What a statement gives, counted."""

    def __init__(self, counted: Counted, cursor: Any) -> None:
        self._counted, self._cursor = counted, cursor

    def fetchone(self) -> Any:
        """See ``sqlite3.Cursor``."""
        self._counted.rows += 1
        return self._cursor.fetchone()

    def fetchall(self) -> list[Any]:
        """See ``sqlite3.Cursor``."""
        found: list[Any] = self._cursor.fetchall()
        self._counted.rows += len(found)
        return found

    def __iter__(self) -> Iterator[Any]:
        for row in self._cursor:
            self._counted.rows += 1
            yield row


def work(inspecting: Inspecting, counted: Counted) -> tuple[int, int]:
    """Rows read and functions called (of Python) while all of ``SAID`` is taken once."""
    calls, before = 0, counted.rows

    def count(frame: FrameType, event: str, _: object) -> None:
        nonlocal calls
        calls += event == "call"

    for words in SAID:
        understood = inspecting.conversation.understand(words)  # what is known of words is known
        assert understood.text
        sys.setprofile(count)
        try:
            inspecting.type(words)
        finally:
            sys.setprofile(None)
    return counted.rows - before, calls


@pytest.fixture(scope="module")
def costs(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[int, int]]:
    """The work of a round behind so many rounds before it."""
    found = []
    with Workshop.open(tmp_path_factory.mktemp("flat"), language=load_language()) as shop:
        inspecting = shop.inspecting(shop.begin(context=Context("US-VA")).id)
        counted = Counted(shop.store.engine.connection)
        shop.store.engine.connection = counted
        for number in range(17):
            if number in (4, 16):
                found.append(work(inspecting, counted))
            else:
                for words in SAID:
                    inspecting.type(words)
        assert len(inspecting.record.findings) > 80
    return found


def test_no_more_rows_are_read_for_an_utterance_late_in_an_inspection(
    costs: list[tuple[int, int]],
) -> None:
    (early, _), (late, _) = costs
    assert late <= early * 1.1, costs


def test_no_more_is_done_for_an_utterance_late_in_an_inspection(
    costs: list[tuple[int, int]],
) -> None:
    (_, early), (_, late) = costs
    assert late <= early * 1.1, costs
