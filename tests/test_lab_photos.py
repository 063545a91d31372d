"""Alignment and attachment on invented sessions whose truth is known."""

from __future__ import annotations

import pytest

from fieldlog.lab.benchmarks.photo_sessions import invent_session
from fieldlog.photos.attach import Shot, place
from fieldlog.photos.clock import SPOKEN_LAG_S, align_marks


def test_invented_sessions_wrong_is_rare() -> None:
    right = wrong = total = 0
    for seed in range(6):
        session = invent_session(seed, findings=150, photos=250)
        step = session.photos[0].resolution_s
        alignment = align_marks(
            "c",
            [m.at for m in session.marks],
            [p.recorded for p in session.photos],
            resolution_s=step,
            lag_s=SPOKEN_LAG_S,
        )
        assert alignment is not None
        assert alignment.usable
        assert alignment.offset_s == pytest.approx(session.offset_s, abs=2.5)
        shots = [
            Shot(p.name, "c", alignment.session_time(p.recorded), alignment.uncertainty_s)
            for p in session.photos
        ]
        truth = {p.name: p.truth for p in session.photos}
        for attachment in place(shots, session.findings, session.marks).attached:
            if truth[attachment.photo] == attachment.finding_id:
                right += 1
            else:
                wrong += 1
        total += len(session.photos)
    assert wrong / total < 0.005
    assert right / total > 0.88
