"""Where in the sound each finding and each word was said (pure)."""

from __future__ import annotations

from fieldlog.hearing import Heard
from fieldlog.store.records import Stretch


def stretches(heard: Heard) -> tuple[Stretch, ...]:
    """Where each of several findings was said, and what no word covers: seconds of the stream."""
    parts = heard.stretches if heard.parts else ()
    at = heard.clip.start_s
    left = (Stretch(at + begin, at + end) for begin, end in heard.hearing.left_over)
    return (*(Stretch(*where, part) for part, where in enumerate(parts)), *left)


def times_of_words(heard: Heard) -> tuple[tuple[float, float], ...]:
    """When each word of its text was said, where that is known of all of them: seconds of the stream."""
    times, at = heard.hearing.times, heard.clip.start_s
    if len(times) != len(heard.text.split()):
        return ()
    return tuple((at + begin, at + end) for begin, end in times)
