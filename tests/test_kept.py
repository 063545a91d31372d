"""What is kept of the language and the limits is never stale, and never trusted when it is not ours."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

import pytest

from fieldlog import kept as module
from fieldlog.config import cache_folder, for_a_child, grammars
from fieldlog.kept import READS_AND_IS_READ, kept
from fieldlog.language import files
from fieldlog.limits.packs import pack_files, read_packs


class Made:
    """Counts how often a thing had to be made."""

    def __init__(self, *values: object) -> None:
        self.values, self.times = list(values), 0

    def __call__(self) -> object:
        self.times += 1
        return self.values[min(self.times, len(self.values)) - 1]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("FIELDLOG_CACHE", str(tmp_path / "cache"))
    return tmp_path / "cache"


@pytest.fixture
def source(tmp_path: Path) -> Path:
    file = tmp_path / "words.jsgf"
    file.write_text("one")
    return file


def test_made_once_then_kept(folder: Path, source: Path) -> None:
    made = Made(("a", frozenset({1})))
    assert kept("x", [source], made) == kept("x", [source], made) == ("a", frozenset({1}))
    assert made.times == 1
    assert [one.stat().st_mode & 0o777 for one in folder.iterdir()] == [0o600]


def test_another_word_in_a_file_is_another_name(folder: Path, source: Path) -> None:
    made = Made("old", "new")
    kept("x", [source], made)
    status = source.stat()
    source.write_text("two")
    os.utime(source, ns=(status.st_atime_ns, status.st_mtime_ns))  # of the same length and age
    assert kept("x", [source], made) == "new"


def test_other_code_is_another_name(
    folder: Path, source: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = Made("old", "new")
    kept("x", [source], made)
    monkeypatch.setattr(module, "_code", lambda: b"changed")
    assert kept("x", [source], made) == "new"


def cut(content: bytes) -> bytes:
    return content[:-1]


def one_bit(content: bytes) -> bytes:
    return content[:-3] + bytes([content[-3] ^ 1]) + content[-2:]


class Harm:
    def __reduce__(self) -> tuple[Callable[..., object], tuple[str]]:
        return os.system, ("touch harmed",)


@pytest.mark.parametrize("change", [cut, one_bit, lambda _: b"", lambda _: b"\0" * 99])
def test_what_is_not_what_was_kept_is_made_anew(
    folder: Path, source: Path, change: Callable[[bytes], bytes]
) -> None:
    made = Made("old", "new")
    kept("x", [source], made)
    (file,) = folder.iterdir()
    file.write_bytes(change(file.read_bytes()))
    assert kept("x", [source], made) == "new"
    assert kept("x", [source], made) == "new"  # and kept again
    assert made.times == 2


def test_what_is_kept_calls_nothing(
    folder: Path, source: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(source.parent)
    made = Made("old", "new")
    kept("x", [source], made)
    (file,) = folder.iterdir()
    body = pickle.dumps(Harm())
    file.write_bytes(sha256(f"{file.name}\n".encode() + body).digest() + body)
    assert kept("x", [source], made) == "new"
    assert not (source.parent / "harmed").exists()


def test_what_is_kept_under_another_name_is_not_taken_for_it(folder: Path, source: Path) -> None:
    """A copy, or what a tool that moves files mixed up: of an older version, or of another kind."""
    kept("x", [source], Made("limits of before"))
    (old,) = folder.iterdir()
    source.write_text("two")
    kept("x", [source], Made("limits of now"))
    (new,) = (one for one in folder.iterdir() if one != old)
    new.write_bytes(old.read_bytes())
    assert kept("x", [source], Made("made anew")) == "made anew"


def test_what_was_written_to_while_it_was_read_is_not_kept(folder: Path, source: Path) -> None:
    def written() -> str:
        source.write_text("two")
        return source.read_text()

    assert kept("x", [source], written) == "two"
    source.write_text("one")
    assert kept("x", [source], source.read_text) == "one"


def test_a_file_that_others_may_write_is_passed_over(folder: Path, source: Path) -> None:
    made = Made("old", "new")
    kept("x", [source], made)
    (file,) = folder.iterdir()
    file.chmod(0o666)
    assert kept("x", [source], made) == "new"


def test_a_folder_that_cannot_be_written_says_nothing(
    tmp_path: Path, source: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("")
    for place in (str(tmp_path / "file" / "cache"), "/proc/nothing", ""):
        monkeypatch.setenv("FIELDLOG_CACHE", place)
        assert kept("x", [source], Made("made")) == "made"


def test_what_cannot_be_kept_is_made_each_time(folder: Path, source: Path) -> None:
    made = Made(lambda: None)
    kept("x", [source], made)
    kept("x", [source], made)
    assert made.times == 2
    assert not folder.exists()


def test_the_oldest_go(folder: Path, source: Path) -> None:
    for number in range(9):
        source.write_text(str(number))
        kept("x", [source], Made(number))
    kept("y", [source], Made("other"))
    assert len(list(folder.glob("x-*"))) == 6
    assert len(list(folder.glob("y-*"))) == 1


def test_where_it_is_kept(tmp_path: Path) -> None:
    for platform, env, where in (
        ("linux", {}, ".cache/fieldlog"),
        ("linux", {"XDG_CACHE_HOME": "relative"}, ".cache/fieldlog"),
        ("darwin", {}, "Library/Caches/fieldlog"),
        ("win32", {}, "AppData/Local/fieldlog/cache"),
    ):
        assert cache_folder(env, platform=platform, home=tmp_path) == tmp_path / where
    assert cache_folder({"XDG_CACHE_HOME": "/c"}, platform="linux") == Path("/c/fieldlog")
    assert cache_folder({"FIELDLOG_CACHE": ""}) is None


@pytest.mark.uncounted
def test_the_language_and_the_limits_come_back_as_they_were_made(folder: Path) -> None:
    """Rule for rule, in the same order: listeners number their states by it."""
    made = files._read(grammars())
    kept("language", [], lambda: made)
    again = kept("language", [], Made())
    assert again == made
    for before, after in zip((made[0], *made[3:]), (again[0], *again[3:]), strict=True):
        assert list(after.rules) == list(before.rules)
        assert [r.at for r in after.rules.values()] == [r.at for r in before.rules.values()]
    packs = read_packs(pack_files())
    kept("limits", [], lambda: packs)
    assert kept("limits", [], Made()) == packs
    assert len(list(folder.iterdir())) == 2


def test_all_code_that_reads_and_is_read_is_in_the_name() -> None:
    """Whatever module of ours a fresh process has loaded when it has read both."""
    asked = (
        "import sys, fieldlog.kept as k; from fieldlog.language.files import load_language;"
        "from fieldlog.limits.packs import shipped_limits; load_language(); shipped_limits();"
        "print(*{m.split('.')[1] for m in sys.modules if m.startswith('fieldlog.')})"
    )
    told = subprocess.run(
        [sys.executable, "-c", asked],
        capture_output=True,
        text=True,
        env=for_a_child(FIELDLOG_CACHE=""),
        check=True,
    ).stdout.split()
    assert set(told) <= set(READS_AND_IS_READ)
