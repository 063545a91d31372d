"""A live session: thinks ahead at the first silence, saves at the end of each utterance."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from fieldlog.audio.capture import Draft, Spoken
from fieldlog.audio.clip import Clip
from fieldlog.hearing import Heard, hear_clip, joined

if TYPE_CHECKING:
    from rich.text import Text

    from fieldlog.cli.ears import Ears
    from fieldlog.session import Session


class Live:
    """Takes the events of a capture in order.

    A draft is heard while the speaker may still go on; when the utterance then ends with exactly
    those samples, its answer is there at once. A phrase that a pause cut in two is heard again as a
    whole, and counts when only the whole is accepted.
    """

    def __init__(self, ears: Ears, session: Session, started_at: datetime) -> None:
        """``started_at``: instant of second 0.0 of the session clock."""
        self._ears = ears
        self._session = session
        self._started_at = started_at
        self._ahead: Heard | None = None
        self._before: Heard | None = None

    def draft(self, draft: Draft) -> None:
        """Hear the open utterance at its first silence."""
        self._ahead = self._hear(draft.clip)

    def spoken(self, spoken: Spoken) -> Text:
        """Take an utterance that ended: in the record before its line is returned."""
        from fieldlog.cli.verdict_lines import session_text

        heard = self._whole(self._known(spoken.clip) or self._hear(spoken.clip))
        begins = (spoken.began - self._started_at).total_seconds() - spoken.clip.start_s
        outcome = self._session.take(heard, spoken.source, begins)
        self._before, self._ahead = heard, None
        return session_text(outcome)

    def _hear(self, clip: Clip) -> Heard:
        ears = self._ears
        return hear_clip(clip, ears.listener, ears.language, ears.judge)

    def _known(self, clip: Clip) -> Heard | None:
        ahead = self._ahead
        if ahead is None or len(ahead.clip.samples) != len(clip.samples):
            return None
        same_place = abs(ahead.clip.start_s - clip.start_s) < 1e-6
        return ahead if same_place and ahead.clip.flags == clip.flags else None

    def _whole(self, heard: Heard) -> Heard:
        """The phrase that this utterance completes, unless what came before was taken already."""
        before, ears = self._before, self._ears
        if before is None or before.accepted:
            return heard
        whole = joined(before, heard, ears.listener, ears.language, ears.judge)
        return heard if whole is None else whole
