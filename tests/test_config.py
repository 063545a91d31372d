"""Where the store lies when no command says so."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import tzlocal

from fieldlog.config import local_zone, policy_name, store_folder
from fieldlog.errors import UsageError

HOME = Path("/home/someone")


@pytest.mark.parametrize(
    ("environ", "platform", "expected"),
    [
        ({}, "linux", HOME / ".local" / "share" / "fieldlog"),
        ({"XDG_DATA_HOME": "/data"}, "linux", Path("/data/fieldlog")),
        # XDG Base Directory Specification: a relative path is invalid and must be ignored.
        ({"XDG_DATA_HOME": "data"}, "linux", HOME / ".local" / "share" / "fieldlog"),
        ({}, "darwin", HOME / "Library" / "Application Support" / "fieldlog"),
        ({"LOCALAPPDATA": "/local"}, "win32", Path("/local/fieldlog")),
        ({}, "win32", HOME / "AppData" / "Local" / "fieldlog"),
        ({"FIELDLOG_HOME": "/shop", "XDG_DATA_HOME": "/data"}, "linux", Path("/shop")),
        ({"FIELDLOG_HOME": "/shop"}, "darwin", Path("/shop")),
    ],
)
def test_folder(environ: dict[str, str], platform: str, expected: Path) -> None:
    assert store_folder(environ, platform=platform, home=HOME) == expected


def test_the_machine_s_own(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FIELDLOG_HOME", "/shop")
    assert store_folder() == Path("/shop")


def test_policy_is_balanced_unless_the_machine_says_otherwise() -> None:
    assert policy_name({}) == "balanced"
    assert policy_name({"FIELDLOG_POLICY": " Brisk "}) == "brisk"


def test_the_zone_is_kept_by_its_name_and_not_as_the_offset_of_the_day(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("TZ", "Europe/Berlin")
    tzlocal.reload_localzone()  # it remembers what an earlier test in this process asked for
    assert local_zone() == "Europe/Berlin"
    monkeypatch.undo()
    tzlocal.reload_localzone()


def test_a_zone_without_a_name_is_kept_as_its_offset(monkeypatch: pytest.MonkeyPatch) -> None:
    for answer in (lambda: None, lambda: "Nowhere/At all"):
        monkeypatch.setattr("tzlocal.get_localzone_name", answer)
        assert re.fullmatch(r"[+-]\d\d:\d\d", local_zone())


def test_a_home_that_is_not_there_is_told_with_what_to_do() -> None:
    with pytest.raises(
        UsageError, match=r"FIELDLOG_HOME=~nosuchuser/x: there is no such home.*--store"
    ):
        store_folder({"FIELDLOG_HOME": "~nosuchuser/x"})


def test_an_account_without_a_home_is_told_what_to_name(monkeypatch: pytest.MonkeyPatch) -> None:
    def none() -> Path:
        raise RuntimeError("Could not determine home directory.")

    monkeypatch.setattr(Path, "home", none)
    with pytest.raises(UsageError, match=r"no home folder.*FIELDLOG_HOME"):
        store_folder({}, platform="linux")
