"""A live session: thinks ahead at the first silence, saves at the end of each utterance."""

from __future__ import annotations

import contextlib
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from fieldlog.audio.capture import Draft, Spoken
from fieldlog.audio.clip import Clip
from fieldlog.errors import StoreError
from fieldlog.hearing import Heard
from fieldlog.model import Hearing
from fieldlog.rescue import hear_command, rescue
from fieldlog.session import not_taken
from fieldlog.turns import Turns

if TYPE_CHECKING:
    from rich.text import Text

    from fieldlog.cli.ears import Ears
    from fieldlog.session import Session


class Live:
    """Takes the events of a capture in order.

    A draft is heard while the speaker may still go on; when the utterance then ends with exactly
    those samples, its answer is there at once. A phrase that a pause cut in two is heard again as a
    whole, and counts when only the whole is accepted. What follows a question may answer it. What the
    record cannot take (a full disk) waits in memory and is tried again with every utterance, in
    order, and at the end. What the listener fails on is kept with its sound and told.
    """

    def __init__(self, ears: Ears, session: Session, started_at: datetime) -> None:
        """``started_at``: instant of second 0.0 of the session clock."""
        self._turns = Turns(ears)
        self._listener = ears.listener.name
        self._session = session
        self._started_at = started_at
        self._ahead: Heard | None = None
        self._before: Heard | None = None
        self._waiting: list[tuple[Heard, str, float]] = []

    def draft(self, draft: Draft) -> None:
        """Hear the open utterance at its first silence."""
        self._ahead = None
        with contextlib.suppress(Exception):  # it is heard again, and told, when it has ended
            self._ahead = self._turns.hear(draft.clip)

    def spoken(self, spoken: Spoken) -> Text:
        """Take an utterance that ended: in the record before its line is returned.

        When the record cannot take it, the line says so and nothing is lost.
        """
        heard = self._heard(spoken.clip)
        begins = (spoken.began - self._started_at).total_seconds() - spoken.clip.start_s
        self._before, self._ahead = heard, None
        self._turns.taken(heard)
        self._waiting.append((heard, spoken.source, begins))
        return self._saved()

    def ready(self) -> None:
        """The line was shown: make ready for the answer, where a question waits."""
        with contextlib.suppress(Exception):  # it is tried again, and told, with the answer
            self._turns.ready()

    def finish(self, folder: Path, number: int, store: Path) -> None:
        """Try once more to save what waits; its sound goes into ``folder``.

        Raises ``StoreError`` with the command that brings it into inspection ``number`` of ``store``.
        """
        if not self._waiting:
            return
        try:
            while self._waiting:
                self._session.take(*self._waiting[0])
                self._waiting.pop(0)
        except StoreError as error:
            kept = rescue([(self._instant(*each), each[0].clip) for each in self._waiting], folder)
            lost = [heard.text or "(not understood)" for heard, _, _ in self._waiting]
            told = f"{len(lost)} utterance{'s are' if len(lost) > 1 else ' is'} not in the record"
            if not kept:
                raise StoreError(
                    f"{told} ({error.what}) and the sound could be kept nowhere: {'; '.join(lost)}",
                    where=error.where,
                    todo="write these down, then free some space",
                ) from error
            raise StoreError(
                f"{told} ({error.what}); the sound is kept in {kept[0].parent}",
                where=error.where,
                todo=f"free some space, then: {hear_command(kept, number, store)}",
            ) from error

    def _saved(self) -> Text:
        """Save what waits, oldest first; a line for each that was saved, or why none was."""
        from rich.text import Text

        from fieldlog.cli.verdict_lines import session_text

        lines = []
        try:
            while self._waiting:
                outcome = self._session.take(*self._waiting[0])
                self._waiting.pop(0)
                late = Text("(saved late) ") if self._waiting else Text()
                lines.append(late + session_text(outcome))
        except StoreError as error:
            heard = self._waiting[-1][0]
            waits = f"NOT SAVED YET, {len(self._waiting)} waiting ({error.what}); heard: "
            lines.append(Text(waits + (heard.text or "nothing of the language"), "bold red"))
        return Text("\n").join(lines)

    def _instant(self, heard: Heard, source: str, begins: float) -> datetime:
        return self._started_at + timedelta(seconds=begins + heard.clip.start_s)

    def _heard(self, clip: Clip) -> Heard:
        """What was said; refused with its sound where the listener or the language fails on it."""
        try:
            heard = self._known(clip) or self._turns.hear(clip)
        except Exception as error:
            nothing = Hearing(self._listener, (), 0.0)
            return Heard(clip, nothing, not_taken("", error), (), 0.0)
        with contextlib.suppress(Exception):  # what fails together counts by itself
            return self._whole(heard)
        return heard

    def _known(self, clip: Clip) -> Heard | None:
        ahead = self._ahead
        if ahead is None or len(ahead.clip.samples) != len(clip.samples):
            return None
        same_place = abs(ahead.clip.start_s - clip.start_s) < 1e-6
        return ahead if same_place and ahead.clip.flags == clip.flags else None

    def _whole(self, heard: Heard) -> Heard:
        """The phrase that this utterance completes, unless what came before was taken already."""
        before = self._before
        if before is None or before.accepted:
            return heard
        whole = self._turns.joined(before, heard, kept=True)
        return heard if whole is None else whole
