"""What a question was after, as it is kept (pure)."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field

from fieldlog.model.question import Asks, Rest
from fieldlog.model.understanding import Decision, Understanding


@dataclass(frozen=True, slots=True)
class KeptQuestion:
    """What a question was after, kept beside how it read: what is decided of it hangs on this."""

    kind: Asks
    about: tuple[tuple[str, str | None], ...] = ()
    """Component and position of everything that was offered, each once."""
    offered: str = ""
    """Fingerprint of the meanings that were offered."""
    rest: Rest | None = None
    measured: tuple[str | None, ...] = field(default=(), compare=False)
    """Characteristics of everything that was offered, each once; empty where an earlier version kept it."""
    says: tuple[str, ...] = field(default=(), compare=False)
    """What sort of thing each of them says (``Says``), each once; empty where an earlier version kept it."""

    @classmethod
    def of(cls, said: Understanding) -> KeptQuestion | None:
        """Of an utterance that led to a question; None for every other."""
        question = said.question
        if said.decision is not Decision.ASK or question is None:
            return None
        about = dict.fromkeys((one.component, one.position) for one in said.offered)
        meanings = json.dumps([one.meaning for one in said.offered], default=str)
        fingerprint = hashlib.sha256(meanings.encode()).hexdigest()[:16] if said.offered else ""
        measured = dict.fromkeys(one.characteristic for one in said.offered)
        says = dict.fromkeys(str(one.says) for one in said.offered)
        return cls(
            question.kind, tuple(about), fingerprint, question.rest, tuple(measured), tuple(says)
        )
