"""The benchmarks of the record and the report run (their figures are for the docs, not for here)."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldlog.errors import UsageError
from fieldlog.lab.benchmarks import report_page
from fieldlog.lab.benchmarks import store as record
from fieldlog.store.repository import Repository


def test_a_built_record_is_a_real_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(record, "FINDINGS", 20)
    monkeypatch.setattr(record, "INSPECTIONS", 2)
    seen: list[int] = []
    record.build(tmp_path, 60, seen.append)
    assert seen == [20, 40, 60]
    with Repository.open(tmp_path) as store:
        assert [i.findings for i in store.inspections()] == [20, 20, 20]
        result = store.verify()
        assert all("missing from the media folder" in fault for fault in result.faults)
        assert len(result.faults) == 60  # its clips are names only
    timings = record.measure(tmp_path, 1)
    assert len(timings) == 5
    assert all(timing.worst_ms >= timing.median_ms > 0 for timing in timings)
    assert record.size_bytes(tmp_path) > 0


def test_a_built_report(tmp_path: Path) -> None:
    seen: list[int] = []
    report_page.build(tmp_path, 3, 1, seen.append)
    assert seen == [1, 2, 3, 4]
    path, seconds = report_page.write(tmp_path, "html")
    assert seconds > 0
    text = path.read_text("utf-8")
    assert text.count("data:image/jpeg") == 2  # on the owner's page and beside its finding
    assert text.count("data:audio/") == 3
    with pytest.raises(UsageError, match="browser cannot be started"):
        report_page.paint_ms(str(tmp_path / "no-browser"), path, wait_s=0.1)


def test_what_was_announced_survives_kill_9(tmp_path: Path) -> None:
    """S4: a few rounds here; ``python -m fieldlog.lab store --findings 0 --kills 50`` does them all."""
    announced, lost = record.kill_rounds(tmp_path, 4, seed=9, told=lambda done: None)
    assert announced >= 4
    assert lost == 0
    with Repository.open(tmp_path) as store:
        assert store.verify().agrees
        assert store.engine.connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        kept = store.inspection_record("last")
    by_utterance = {finding.utterance_id for finding in kept.findings}
    assert [u.id for u in kept.utterances if u.id not in by_utterance] == []
