"""The one error tree. A message says what is wrong, where, and what to do next.

::

    FieldlogError                  exit code 1
    ├── UsageError                 2  arguments that cannot be meant
    │   ├── ChangedError         what it was meant for changed meanwhile
    │   └── UnsureError          it counts when it is given again, as sure
    ├── GrammarError               3  a grammar or catalogue that cannot be used (all faults at once)
    ├── ModelError                 4  a listener's model is missing, broken or of the wrong kind
    ├── AudioError                 5  an audio file or device that cannot be used
    ├── PhotoError                 6  a photo or folder of photos that cannot be used
    ├── LimitError                 7  a limit pack with faults (all of them at once)
    ├── StoreError                 8  the database or its media folder cannot be used
    │   └── OwnTroubleError      this machine's own disk or server, and nothing that came from elsewhere
    └── PartialError               9  the work was done, but some inputs were left out (each is named)

An expected outcome (an utterance nobody understood, a photo without a time) is a value, never an
exception.
"""

from __future__ import annotations


class FieldlogError(Exception):
    """Base of every error that fieldlog raises on purpose; printed as one line, never a traceback."""

    exit_code: int = 1

    def __init__(self, what: str, *, where: str = "", todo: str = "") -> None:
        """Keep the three parts of the message: what happened, where, and what to do next."""
        self.what = what
        self.where = where
        self.todo = todo
        super().__init__(str(self))

    def __str__(self) -> str:
        """``where: what. Next: todo``, leaving out the parts that are empty."""
        text = f"{self.where}: {self.what}" if self.where else self.what
        return f"{text}. Next: {self.todo}" if self.todo else text


class UsageError(FieldlogError):
    """Arguments that cannot be meant (unknown jurisdiction, malformed ``--set``)."""

    exit_code = 2


class ChangedError(UsageError):
    """What somebody decided about is no longer as they saw it: nothing was done."""


class UnsureError(UsageError):
    """Words that would be asked about: they count when they are given again by somebody who is sure."""


class GrammarError(FieldlogError):
    """A grammar or catalogue that cannot be used; the message lists every fault with its position."""

    exit_code = 3


class ModelError(FieldlogError):
    """A listener's model is missing, broken, of the wrong kind, or its library is absent."""

    exit_code = 4


class AudioError(FieldlogError):
    """An audio file or device that cannot be used."""

    exit_code = 5


class PhotoError(FieldlogError):
    """A photo, or a folder of them, that cannot be used."""

    exit_code = 6


class LimitError(FieldlogError):
    """A limit pack with faults; the message lists all of them."""

    exit_code = 7


class StoreError(FieldlogError):
    """The database or its media folder cannot be used."""

    exit_code = 8


class OwnTroubleError(StoreError):
    """This machine's own disk, record or server cannot go on: nothing is said of what came from elsewhere."""


class PartialError(FieldlogError):
    """The work was done, but some inputs were left out; the message names each with its reason."""

    exit_code = 9
