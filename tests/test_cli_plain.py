"""Names and remarks cannot act on the terminal, whatever prints them."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from fieldlog.cli import main
from fieldlog.cli.plain import plain

EVIL = "red\x1b[2Jsingle\x1b]0;title\x07\x9b31m\u202eelgnis\x08\x08"


def test_what_a_terminal_acts_on_is_shown_and_not_done() -> None:
    assert plain(EVIL) == (
        "red\ufffd[2Jsingle\ufffd]0;title\ufffd\ufffd31m\ufffdelgnis\ufffd\ufffd"
    )
    assert plain("a tab\tand a line\nend, ½ mm, Ångström, 日本") == (
        "a tab\tand a line\nend, ½ mm, Ångström, 日本"
    )


@pytest.mark.parametrize(
    "command",
    [
        ("vehicle", "list"),
        ("vehicle", "show", "1"),
        ("inspection", "list"),
        ("inspection", "show"),
        ("inspection", "verify"),
        ("key", "list"),
        ("inspection", "correct", "9", EVIL),
        ("vehicle", "show", EVIL),
        ("bundle", "verify", f"{EVIL}.zip"),
        ("inspection", "enter", f"remark {EVIL}"),
    ],
)
def test_no_command_prints_them(shop: CliRunner, command: tuple[str, ...]) -> None:
    said = shop.invoke(main, command)
    assert said.output
    for sign in "\x1b\x07\x08\x9b\u202e":
        assert sign not in said.output


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> CliRunner:
    folder = tmp_path_factory.mktemp("plain")
    runner = CliRunner(env={"FIELDLOG_HOME": str(folder / "shop")})
    pin = folder / "pin"
    pin.write_text("2468")
    for before in (
        ("vehicle", "add", EVIL, "--set", f"colour={EVIL}"),
        ("inspection", "start", "1", "--inspector", EVIL, "--place", EVIL),
        ("inspection", "remark", EVIL),
        ("key", "make", EVIL, "--pin-file", str(pin)),
        ("inspection", "sign-off", EVIL, "--as-it-stands", "--pin-file", str(pin)),
    ):
        result = runner.invoke(main, before)
        assert result.exit_code == 0, result.output
    return runner
