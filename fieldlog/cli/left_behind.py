"""What a session that was cut off left unheard: taken and told before anything else is heard."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldlog.errors import FieldlogError
from fieldlog.words.english import counted

if TYPE_CHECKING:
    from fieldlog.cli.terminal import Terminal
    from fieldlog.shop.ears import Ears
    from fieldlog.shop.inspecting import Inspecting
    from fieldlog.shop.workshop import Workshop


def take_what_was_left(shop: Workshop, ears: Ears, terminal: Terminal) -> None:
    """Hear the end of every session that was cut off, and show what it led to.

    What cannot be taken now (a full disk, sound that cannot be read) is told, and tried again at the
    next start: it holds nobody up who wants to speak.
    """
    from rich.text import Text

    from fieldlog.cli.event_lines import events_behind
    from fieldlog.shop.left_behind import cut_off, taken_again

    for cut in cut_off(shop.store.folder):
        try:
            inspecting = shop.inspecting(cut.inspection, ears)
            number = inspecting.head.number
            terminal.status.print(
                f"inspection {number} was cut off; its sound is recovered, and heard from where the "
                f"record ends: {cut.stream}",
                markup=False,
            )
            count = 0
            for heard, events in taken_again(cut, inspecting):
                count += 1
                span = Text(f"{heard.clip.start_s:8.2f} s  ", "dim")
                terminal.lines.print(events_behind(span, events))
            told = f"{count} utterance{'s' if count != 1 else ''} taken"
            terminal.status.print(f"{told}; nothing more was said", markup=False)
            _placed(shop, inspecting, terminal)
        except FieldlogError as error:
            terminal.status.print(f"! the end of a session is not taken yet: {error}", markup=False)


def _placed(shop: Workshop, inspecting: Inspecting, terminal: Terminal) -> None:
    """Put the photos of the session to their findings: some may never have been, some be of what was heard now."""
    if not inspecting.record.photos:
        return
    from datetime import UTC, datetime

    from fieldlog.photos.placing import place_photos

    placed = place_photos(shop.store, inspecting.head.id, datetime.now(UTC).date())
    if placed.changed:
        what = counted(placed.changed, "photo")
        terminal.status.print(f"{what} put to findings, or to the tray, anew", markup=False)
