"""``fieldlog catalogue``, and the generated page against the data."""

from __future__ import annotations

from pathlib import Path

from click.testing import CliRunner, Result

from fieldlog import config
from fieldlog.catalogue.files import load_catalogue
from fieldlog.catalogue.page import components_page
from fieldlog.cli import main

PAGE = Path(__file__).parent.parent / "docs" / "components.md"


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["catalogue", *arguments])


def test_the_page_is_what_the_data_says() -> None:
    assert PAGE.read_text("utf-8") == components_page(load_catalogue(config.grammars())), (
        "run: fieldlog catalogue docs --out docs/components.md"
    )


def test_a_system_is_listed() -> None:
    result = run("list", "--system", "tyres")
    assert result.output.strip() == "tyres: tyre, valve stem, valve cap"
    assert len(run("list").output.splitlines()) == 14


def test_a_component_is_shown_with_how_to_check_it() -> None:
    result = run("show", "brake", "pads")
    assert "thinnest edge" in result.output
    assert "- **thickness**: mm or in; plausible 0 to 12 mm; U 0.2 mm" in result.output
    assert "contaminated (dangerous)" in result.output


def test_what_is_not_there_is_one_line() -> None:
    for arguments in (("show", "flux", "capacitor"), ("list", "--system", "wings")):
        result = run(*arguments)
        assert result.exit_code == 2
        assert len(result.output.strip().splitlines()) == 1


def test_the_page_is_written_where_asked(tmp_path: Path) -> None:
    assert run("docs", "--out", str(tmp_path / "page.md")).exit_code == 0
    assert (tmp_path / "page.md").read_text("utf-8").startswith("# Components")
    assert run("docs", "--out", str(tmp_path / "no" / "page.md")).exit_code == 2
