"""An archive gone through: alone and over workers that are killed, poison in it, byte for byte."""

from __future__ import annotations

import json
import os
import shutil
import signal
import sys
import zipfile
from collections import deque
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from click.testing import CliRunner

from fieldlog.archive.apart import _opened
from fieldlog.archive.bench import Bench
from fieldlog.archive.job import ArchiveJob, Chore, Ended, index_of
from fieldlog.archive.run import GoneThrough, Spread, bundles_in, go_through
from fieldlog.archive.spread import _Unsent, over_cluster
from fieldlog.archive.work import PACK, AtWork, hash_of, program
from fieldlog.cli import main
from fieldlog.errors import LimitError, UsageError
from fieldlog.shop.workshop import Workshop
from fieldlog.store.records import NewPhoto
from tests.archive_poison import TARGET
from tests.store_samples import ticking

RECHECK = ArchiveJob(Chore.RECHECK, program())
PACK_TEXT = """
[pack]
id = "ours"
title = "Ours"
layer = "common practice"
status = "common practice"
source = "workshop sheet 4"
read_on = "2026-05-01"

[[limit]]
id = "ours.tread"
component = "tyre"
characteristic = "tread depth"
relation = "at least"
printed = "5/32 in"
severity = "major"
advice = "replace the tyre"
"""


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four bundles: three inspections, and a vehicle with two of them."""
    folder = tmp_path_factory.mktemp("archive")
    out = folder / "bundles"
    with Workshop.open(folder / "shop", now=ticking()) as shop:
        for name in ("blue roadster", "red single"):
            vehicle = shop.add_vehicle(name)
            for words in ("rear tread four thirty-seconds", "chain rusty")[
                : 2 - (name == "red single")
            ]:
                inspecting = shop.inspecting(shop.begin(vehicle.id).id)
                inspecting.type(words)
                inspecting.type("front brake pads two millimetres")
                shop.bundle(inspecting.record.inspection.id, out=out)
        shop.bundle(vehicle="blue roadster", out=out / "vehicles")
    return out


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """One process apart for all that runs alone; some bundles are poison for it."""
    with Bench(RECHECK, tmp_path_factory.mktemp("unused"), 60, TARGET) as bench:
        yield bench


@pytest.fixture
def alone(bench: Bench) -> Spread:
    """As ``run.alone``, on that process."""

    def spread(
        job: ArchiveJob, folder: Path, bundles: tuple[str, ...], out: Path, longest_s: float
    ) -> Iterator[Ended]:
        assert job == bench.job
        bench.out, bench.longest_s = out, longest_s
        return (bench.done(folder, each) for each in bundles)

    return spread


@pytest.fixture(scope="module")
def results(good: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What one machine alone makes of them."""
    out = tmp_path_factory.mktemp("alone")
    gone = go_through(RECHECK, good, out)
    assert (gone.done, gone.kept, gone.faults) == (4, 0, ())
    return out


@pytest.fixture
def poisoned(good: Path, tmp_path: Path) -> Path:
    """The four, and every kind of poison among them."""
    folder = tmp_path / "poisoned"
    shutil.copytree(good, folder)
    first = sorted(good.glob("*.zip"))[0]
    content = first.read_bytes()
    for name in ("a-raises.zip", "b-dies.zip", "c-hangs.zip"):
        (folder / name).write_bytes(content + name.encode())  # no copy of what has a result
    (folder / "d-cut.zip").write_bytes(content[:-100])
    (folder / "e-empty.zip").write_bytes(b"")
    (folder / "f-flipped.zip").write_bytes(content[:3000] + b"?" + content[3001:])
    with zipfile.ZipFile(folder / "g-bomb.zip", "w", zipfile.ZIP_DEFLATED) as bomb:
        bomb.writestr("fieldlog-bundle/data/rows.jsonl", b"0" * (20 << 20))
    (folder / "h-nowhere.zip").symlink_to(folder / "nothing")
    (folder / "i-folder.zip").mkdir()
    os.mkfifo(folder / "j-pipe.zip")
    return folder


POISON = {
    "a-raises.zip": "a fault of fieldlog itself: RuntimeError: boom",
    "b-dies.zip": "the process that worked on it died (signal 9)",
    "c-hangs.zip": "did not come to an end in",
    "d-cut.zip": "",
    "e-empty.zip": "",
    "f-flipped.zip": "",
    "g-bomb.zip": "",
    "h-nowhere.zip": "cannot be read",
    "j-pipe.zip": "is no file",
}
"""Bundle -> what is told of it; something at least of each."""


def same_as_alone(out: Path, results: Path) -> None:
    """Every result of the good bundles is there, to the byte, and nothing else that is no index."""
    wanted = {one.name: one.read_bytes() for one in results.glob("recheck-*.json")}
    assert {one.name: one.read_bytes() for one in out.glob("*.json")} == wanted
    assert [one.name for one in out.iterdir() if one.name.startswith(".")] == []


def told(gone: GoneThrough) -> dict[str, dict[str, Any]]:
    lines = [json.loads(line) for line in gone.index.read_text().splitlines()]
    assert len({line["bundle"] for line in lines}) == len(lines)
    return {line["bundle"]: line for line in lines}


def test_findings_are_held_against_the_limits_as_they_are_now(results: Path, good: Path) -> None:
    told = [json.loads(one.read_text()) for one in results.glob("*.json")]
    assert {one["format"] for one in told} == {"fieldlog archive recheck 1"}
    findings = [f for one in told for head in one["inspections"] for f in head["findings"]]
    assert (
        len(findings) == 2 * 3 + 4
    )  # those of the vehicle's two inspections stand in its bundle too
    assert not any(f["changed"] for f in findings)  # the limits are those of when it was said
    index = (results / RECHECK.index).read_text()
    assert [json.loads(line)["bundle"] for line in index.splitlines()] == list(bundles_in(good))
    assert str(good) not in index


def test_other_limits_change_verdicts_and_names(good: Path, results: Path, tmp_path: Path) -> None:
    job = replace(RECHECK, settings=((f"{PACK}000 ours.toml", PACK_TEXT),))
    (first, *_) = [one for one in sorted(good.glob("*.zip")) if one.name.endswith("-1.zip")]
    sha = hash_of(first)
    assert not (results / job.result(sha)).exists()
    changed = [
        each
        for head in json.loads(AtWork(job).result(first, sha))["inspections"]
        for each in head["findings"]
        if each["changed"]
    ]
    assert [each["finding"]["characteristic"] for each in changed] == ["tread depth"]
    assert changed[0]["now"]["gate"]["limit"]["id"] == "ours.tread"
    with pytest.raises(LimitError, match="ours"):
        AtWork(replace(job, settings=((f"{PACK}000 ours.toml", "[pack"),)))


def test_a_run_goes_on_where_it_was(
    good: Path, results: Path, alone: Spread, tmp_path: Path
) -> None:
    """Nothing is done twice; a result that is gone is made again, and a second copy of a bundle is the same."""
    shutil.copytree(results, tmp_path / "out")
    again = go_through(RECHECK, good, tmp_path / "out", spread=alone)
    assert (again.done, again.kept) == (4, 4)
    sorted((tmp_path / "out").glob("*.json"))[0].unlink()
    shutil.copytree(good, tmp_path / "more")
    shutil.copy(sorted(good.glob("*.zip"))[0], tmp_path / "more" / "copy.zip")
    again = go_through(RECHECK, tmp_path / "more", tmp_path / "out", spread=alone)
    assert (again.done, again.kept) == (5, 4)
    same_as_alone(tmp_path / "out", results)


def test_a_run_that_is_broken_off_says_what_it_did_not_do(
    good: Path, alone: Spread, tmp_path: Path
) -> None:
    class EndedError(Exception):
        """Ctrl-C, say."""

    def first_only(*args: Any) -> Iterator[Ended]:
        yield next(alone(*args))
        raise EndedError

    with pytest.raises(EndedError):
        go_through(RECHECK, good, tmp_path, spread=first_only)
    lines = [json.loads(line) for line in (tmp_path / RECHECK.index).read_text().splitlines()]
    assert [bool(line["result"]) for line in lines] == [True, False, False, False]
    assert {line["fault"] for line in lines[1:]} == {"not gone through: the run ended before"}


def test_poison_is_told_by_name_and_stops_nothing(
    poisoned: Path,
    results: Path,
    alone: Spread,
    bench: Bench,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    out = tmp_path / "out"
    (poisoned / "c-hangs.zip").unlink()  # it costs its time: once, below
    monkeypatch.setattr("fieldlog.archive.bench.TRIES", 2)
    places = tmp_path / "places"
    places.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(places))
    bench.close()
    gone = go_through(RECHECK, poisoned, out, spread=alone)
    assert {one.bundle for one in gone.faults} == set(POISON) - {"c-hangs.zip"}
    for one in gone.faults:
        assert one.fault
        assert POISON[one.bundle] in one.fault
    assert gone.done == 4
    same_as_alone(out, results)
    assert set(told(gone)) == set(bundles_in(poisoned))
    assert bench._place
    bench.close()
    assert list(places.iterdir()) == []  # nor do processes that died leave anything


def test_a_result_that_cannot_be_written_is_told(good: Path, alone: Spread, tmp_path: Path) -> None:
    out = tmp_path / "out"
    first = bundles_in(good)[0]
    (out / RECHECK.result(hash_of(good / first))).mkdir(parents=True)  # something else stands there
    gone = go_through(RECHECK, good, out, spread=alone)
    assert [one.bundle for one in gone.faults] == [first]
    assert "its result not written" in gone.faults[0].fault


def test_what_the_index_says_is_of_every_bundle() -> None:
    ended = {
        "a.zip": Ended("a.zip", "00", "r.json", kept=True),
        "b.zip": Ended("b.zip", fault="cut"),
    }
    lines = [json.loads(line) for line in index_of(ended, ("a.zip", "b.zip", "c.zip")).splitlines()]
    assert [line["bundle"] for line in lines] == ["a.zip", "b.zip", "c.zip"]
    assert lines[0] == {"bundle": "a.zip", "sha256": "00", "result": "r.json", "fault": None}
    assert lines[2]["fault"] == "not gone through: the run ended before"


def test_another_program_or_setting_is_another_result() -> None:
    jobs = [RECHECK, replace(RECHECK, kind=Chore.REALIGN), replace(RECHECK, program="other")]
    jobs.append(replace(RECHECK, settings=(("listener", "whisper"),)))
    assert len({job.result("00") for job in jobs}) == len(jobs)
    assert len({job.index for job in jobs}) == len(jobs)
    assert all(ArchiveJob.read(json.loads(job.written())) == job for job in jobs)


def test_a_worker_with_another_program_does_nothing() -> None:
    held: list[AtWork] = []
    for job in (replace(RECHECK, program="other"), replace(RECHECK, settings=((PACK, "[pack"),))):
        assert _opened(json.loads(job.written()), held)["fault"]
    assert held == []
    assert _opened(json.loads(RECHECK.written()), held) == {}


def test_nothing_to_go_through_is_told(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no such folder"):
        go_through(RECHECK, tmp_path / "none", tmp_path / "out")
    with pytest.raises(UsageError, match="holds no bundle"):
        go_through(RECHECK, tmp_path, tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_reports_are_the_same_bytes_again_and_no_bundles(good: Path, tmp_path: Path) -> None:
    """They may go into the very folder of the bundles."""
    job = replace(RECHECK, kind=Chore.REPORT, settings=(("formats", "html pdf json csv"),))
    first = sorted(good.glob("*.zip"))[0]
    sha = hash_of(first)
    made = AtWork(job).result(first, sha)
    assert AtWork(job).result(first, sha) == made
    shutil.copy(first, tmp_path / "one.zip")
    (tmp_path / job.result(sha)).write_bytes(made)
    asked: list[str] = []

    def spread(
        job: ArchiveJob, folder: Path, bundles: tuple[str, ...], *more: Any
    ) -> Iterator[Ended]:
        asked.extend(bundles)
        return iter(())

    assert go_through(job, tmp_path, tmp_path, spread=spread).faults[0].bundle == "one.zip"
    assert asked == ["one.zip"]
    with zipfile.ZipFile(tmp_path / job.result(sha)) as files:
        assert {name.rpartition(".")[2] for name in files.namelist()} == {
            "html",
            "pdf",
            "json",
            "csv",
        }


def test_the_command_names_what_it_leaves_out(good: Path, tmp_path: Path) -> None:
    folder = tmp_path / "bundles"
    folder.mkdir()
    shutil.copy(sorted(good.glob("*.zip"))[0], folder / "good.zip")
    (folder / "cut.zip").write_bytes(b"PK")
    (tmp_path / "ours.toml").write_text(PACK_TEXT)
    command = ["archive", "recheck", str(folder), "--out", str(tmp_path / "out"), "--workers", "1"]
    ran = CliRunner().invoke(main, [*command, "--limits", str(tmp_path / "ours.toml")])
    assert ran.exit_code == 9
    assert "1 result: " in ran.stdout
    assert "cut.zip: " in ran.stderr


def test_a_record_is_gone_through_by_its_bundles(tmp_path: Path, good: Path) -> None:
    """They are made once, so their results stay; what is added since is another bundle; what has none is named."""
    record, out = tmp_path / "shop", tmp_path / "out"
    shutil.copytree(good.parent / "shop", record)
    command = ["archive", "recheck", str(record), "--out", str(out), "--workers", "1"]
    first = CliRunner().invoke(main, command)
    assert (first.exit_code, first.stdout[:10]) == (0, "3 results:"), first.output
    with Workshop.open(record, now=ticking()) as shop:
        last = shop.store.inspections()[-1]
        shop.inspecting(last.id).type("horn dead")
        lost = shop.store.media.save_bytes(b"photo", "jpg")
        shop.store.add_photo(shop.store.inspections()[0].id, NewPhoto(lost, "a.jpg", "jpeg"))
        shop.store.media.path(lost).unlink()
    again = CliRunner().invoke(main, command)
    assert again.exit_code == 9
    assert again.stdout.startswith("2 results, 1 of them were there already")
    assert "could not be bundled: inspection-" in again.stderr
    made = out / "bundles-of-record"
    assert (len(list(made.glob("*.zip"))), len(list(made.glob("*.zip.before")))) == (2, 2)
    findings = [
        finding["finding"]["component"]
        for line in (out / RECHECK.index).read_text().splitlines()
        for head in json.loads((out / json.loads(line)["result"]).read_text())["inspections"]
        for finding in head["findings"]
    ]
    assert findings.count("horn") == 1
    shutil.copy(next(made.glob("*.zip")), record)
    assert "bundles lie in it" in CliRunner().invoke(main, command).output


# -- over workers -----------------------------------------------------------------------------------


def test_tasks_grow_with_what_a_bundle_takes_and_shrink_towards_the_end(tmp_path: Path) -> None:
    names = tuple(f"{number:03}.zip" for number in range(100))
    for name in names[:99]:
        (tmp_path / name).write_bytes(b"x" * (1000 if name == "042.zip" else 1))
    waiting = _Unsent.of(tmp_path, names)
    sizes: list[int] = []
    while task := waiting.next(2):
        assert sizes or task == ("042.zip",)  # the largest begins first, and no time is known yet
        sizes.append(len(task))
        waiting.took(len(task), 0.1 * len(task))
    assert sum(sizes) == 100
    assert max(sizes) in (8, 9, 10)
    assert sizes[-4:] == [1, 1, 1, 1]
    assert _Unsent(deque(), deque("ab")).next(2) == ("a",)
    slow = _Unsent(deque(names), each_s=30.0)
    assert len(slow.next(2)) == 1


class _Fake:
    """As much of Dask as is asked: a worker that has ``killer`` among its bundles is killed."""

    loop = None

    class KilledWorker(Exception):
        """Told by its name."""

    def __init__(self, *_: Any, **__: Any) -> None:
        self.tasks: list[tuple[str, ...]] = []
        self.id = "fake"

    __enter__ = lambda self: self  # noqa: E731
    __exit__ = close = lambda self, *_: None
    scheduler_info = lambda self: {"workers": {"one": 1}}  # noqa: E731
    nthreads = lambda self: {"one": 1}  # noqa: E731

    def submit(self, work: Any, *args: Any, key: str, pure: bool) -> Any:
        task = args[2]
        self.tasks.append(task)
        killed = "killer.zip" in task
        return SimpleNamespace(
            key=key,
            status="error" if killed else "finished",
            result=lambda: ([Ended(each, "00", "r") for each in task], 0.01),
            exception=lambda: _Fake.KilledWorker(),
            release=lambda: None,
        )


class _Completed(deque[Any]):
    def __init__(self, *_: Any, **__: Any) -> None:
        super().__init__()

    add = deque.append

    def __iter__(self) -> Iterator[Any]:
        while self:
            yield self.popleft()


def test_what_killed_workers_among_others_is_told_by_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The others of its task are done by themselves: none is told for it."""
    client = _Fake()
    fake = SimpleNamespace(Client=lambda *_, **__: client, as_completed=_Completed)
    monkeypatch.setitem(sys.modules, "distributed", fake)
    names = (*(f"{number:02}.zip" for number in range(40)), "killer.zip")
    spread = over_cluster("tcp://fake:1")
    ended = list(spread(RECHECK, tmp_path, names, tmp_path, 1.0))
    assert sorted(one.bundle for one in ended) == sorted(names)
    assert [one.bundle for one in ended if one.fault] == ["killer.zip"]
    assert max(map(len, client.tasks)) > 4
    assert [task for task in client.tasks if "killer.zip" in task][-1] == ("killer.zip",)


@pytest.fixture(scope="module")
def cluster() -> Iterator[Any]:
    distributed = pytest.importorskip("distributed", reason="pip install 'fieldlog[archive]'")
    with distributed.LocalCluster(
        n_workers=2,
        threads_per_worker=1,
        dashboard_address="127.0.0.1:0",
        silence_logs=50,
        memory_limit=None,
    ) as made:
        yield made


@pytest.mark.filterwarnings("ignore")
def test_workers_that_are_killed_and_poison_change_no_result(
    cluster: Any, poisoned: Path, results: Path, tmp_path: Path
) -> None:
    """One worker is killed while it works, the poison takes others; the good results are the same bytes."""
    (poisoned / "b-dies.zip").unlink()
    killed: list[int] = []

    def kill(done: int, total: int, faults: int) -> None:
        if done == 2:
            killed.extend(worker.pid for worker in list(cluster.workers.values())[:1])
            os.kill(killed[0], signal.SIGKILL)

    out = tmp_path / "out"
    spread = over_cluster(cluster.scheduler_address, TARGET)
    gone = go_through(RECHECK, poisoned, out, spread=spread, longest_s=8, progress=kill)
    assert killed
    assert {one.bundle for one in gone.faults} == set(POISON) - {"b-dies.zip"}
    for one in gone.faults:
        assert POISON[one.bundle] in one.fault
    assert gone.done == 4
    wanted = {one.name: one.read_bytes() for one in results.glob("recheck-*.json")}
    assert {one.name: one.read_bytes() for one in out.glob("*.json")} == wanted
    assert set(told(gone)) == set(bundles_in(poisoned))


def test_no_scheduler_is_told() -> None:
    pytest.importorskip("distributed", reason="pip install 'fieldlog[archive]'")
    spread = over_cluster("nonsense://nowhere")
    with pytest.raises(UsageError, match="no scheduler answers"):
        next(iter(spread(RECHECK, Path(), ("a.zip",), Path(), 1.0)))
