"""The report, the work list and the cautions in German: every sentence there is, and nothing played down."""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from numpy.typing import NDArray

import fieldlog
from fieldlog.audio.playback import Playback
from fieldlog.cli import main
from fieldlog.config import grammars
from fieldlog.errors import GrammarError
from fieldlog.language.other import OtherLanguage
from fieldlog.language.tongues import language_of
from fieldlog.limits.context import parse_context
from fieldlog.limits.packs import shipped_limits
from fieldlog.model.limit import Relation
from fieldlog.model.state import State
from fieldlog.model.verdict import Verdict
from fieldlog.shop.mouth import Mouth
from fieldlog.shop.saying import Say
from fieldlog.shop.workshop import Workshop
from fieldlog.words import spoken, tell
from fieldlog.words.telling import say, told_in
from fieldlog.words.told import TellsIn, fields_of, sentences_of

PACKAGE = Path(fieldlog.__file__).parent
GERMAN = (grammars() / "de" / "sentences.toml").read_text(encoding="utf-8")


def sentences_in_code() -> Iterator[str]:
    """What is told: every text that stands in a call of ``say``, and in the report's page."""
    for file in PACKAGE.rglob("*.py"):
        if "lab" in file.relative_to(PACKAGE).parts:
            continue
        text = file.read_text(encoding="utf-8")
        if "say(" not in text:
            continue
        for node in ast.walk(ast.parse(text)):
            if not isinstance(node, ast.Call) or not node.args:
                continue
            if isinstance(node.func, ast.Name) and node.func.id == "say":
                first = node.args[0]
                ways = (first.body, first.orelse) if isinstance(first, ast.IfExp) else (first,)
                yield from (w.value for w in ways if isinstance(w, ast.Constant))  # type: ignore[misc]
    page = (PACKAGE / "report" / "templates" / "report.html").read_text(encoding="utf-8")
    yield from (
        ast.literal_eval(found) for found in re.findall(r"""_\(\s*('[^']*'|"[^"]*")""", page)
    )


def sentences_as_data() -> Iterator[str]:
    """Cautions, work, the walk and what is looked at after a finding."""

    def read(path: Path) -> dict[str, object]:
        return tomllib.loads(path.read_text(encoding="utf-8"))

    def under(key: str, value: object) -> Iterator[str]:
        if isinstance(value, dict):
            for name, each in value.items():
                if name == key:
                    yield from [each] if isinstance(each, str) else each
                yield from under(key, each)
        elif isinstance(value, list):
            for each in value:
                yield from under(key, each)

    yield from under("says", read(grammars() / "cautions.toml"))
    for file in (grammars() / "catalogue").glob("*.toml"):
        yield from under("cautions", read(file))
    care = PACKAGE / "aftercare"
    for key in ("do", "then"):
        yield from under(key, read(care / "repairs.toml"))
    for key in ("ask", "what"):
        yield from under(key, read(care / "crosschecks.toml"))
    walk = read(care / "walk.toml")
    yield from under("name", walk["item"])
    yield from under("name", walk["stage"])


@pytest.fixture(scope="module")
def german() -> OtherLanguage:
    language = language_of("de")
    assert isinstance(language, OtherLanguage)
    return language


def test_every_sentence_of_the_reference_is_there_with_its_fields(german: OtherLanguage) -> None:
    told = german.told.sentences
    assert [one for one in sentences_in_code() if one not in told] == []
    assert [one for one in sentences_as_data() if one not in told] == []
    assert [one for one in told if fields_of(one) != fields_of(told[one])] == []


def test_a_sentence_with_other_fields_is_a_fault_of_the_file(german: OtherLanguage) -> None:
    table = (grammars() / "de" / "told.toml").read_text(encoding="utf-8")
    with pytest.raises(GrammarError, match=r"the fields of 'reads \{value\}'"):
        TellsIn.read(table, german.told.said, "here", '[a]\n"reads {value}" = "gemessen"')


def test_nothing_is_called_safe_and_what_is_dangerous_is_loud() -> None:
    told = sentences_of(GERMAN, "here")
    assert [one for one in told.values() if re.search(r"\bsicher(e[mnrs]?)?\b", one)] == []
    assert told["dangerous"] == "GEFÄHRLICH"
    assert "zugelassene Fachwerkstatt" in next(each for one, each in told.items() if "licensed workshop have" in one)  # fmt: skip


def test_the_reference_is_told_outside_and_what_lacks_stays(german: OtherLanguage) -> None:
    assert say("reads {value}", value=3) == "reads 3"
    with told_in(german.told):
        assert say("reads {value}", value=3) == "gemessen 3"
        assert say("a sentence of nobody") == "a sentence of nobody"
    assert say("marginal") == "marginal"


def test_a_limit_keeps_what_its_rule_says_besides(german: OtherLanguage) -> None:
    """ "Cracked" alone is no limit where the rule says how deep; "zwischen 2 to 6" is no German."""
    limits = [limit for limit in shipped_limits() if limit.asks and limit.relation is Relation.IS]
    assert limits
    for limit in limits:
        assert f"nur „{limit.asks}“" in german.told.asked_for(limit)
    between = [limit for limit in shipped_limits() if limit.relation is Relation.BETWEEN]
    assert between
    assert [one for one in map(german.told.asked_for, between) if " to " in one] == []
    assert [limit for limit in shipped_limits() if not german.told.asked_for(limit)] == []


def test_what_leaves_a_finding_undecided_is_told(german: OtherLanguage) -> None:
    verdict = Verdict(State.UNDECIDED, None, reason="the class of the vehicle is not known")
    with told_in(german.told):
        assert tell.reason(verdict).endswith(": the class of the vehicle is not known")


def test_a_report_and_the_work_after_it_are_told_in_german(
    german: OtherLanguage, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is dangerous stands in the list of what must not be ridden, whatever it is called."""
    monkeypatch.delenv("FIELDLOG_LANGUAGE", raising=False)
    at = datetime(2026, 3, 14, 8, 0, tzinfo=UTC)
    with Workshop.open(tmp_path, language=german, now=lambda: at) as shop:
        shop.begin("Maschine", started_at=at)
        inspecting = shop.inspecting()
        for words in ("Lenkkopflager hat Spiel", "Reifen hinten Profil 1,4 mm", "Kette trocken"):
            inspecting.type(words)
    with Workshop.open(tmp_path, now=lambda: at) as shop:  # nobody asks for German any more
        (page, values) = shop.report(out=tmp_path, formats=("html", "json")).files
    html = page.read_text(encoding="utf-8")
    assert '<html lang="de">' in html
    ridden = html.index("nicht fahren, bevor das erledigt ist")
    assert ridden < html.index("Lenkkopflager: Spiel") < html.index("vor der nächsten Fahrt")
    assert "1,4 mm" in html
    assert "Ein Reifen, der versagt" in html
    for english in (
        "Inspection record",
        "not looked at",
        "maker's manual",
        "replace the tyre",
        "marginal:",
    ):
        assert english not in html
    with Workshop.open(tmp_path) as shop:  # begun where there was a language that is not here
        head = shop.store.inspection("last")
        assert shop.telling(head) is not None
        assert shop.telling(replace(head, language="xx")) is None
    kept = values.read_text(encoding="utf-8")
    assert '"steering head bearing"' in kept
    assert "replace the tyre" in kept
    jobs = CliRunner().invoke(main, ["inspection", "jobs", "--store", str(tmp_path)])
    assert "Reifen ersetzen (hinten)" in jobs.output
    assert "[GEFÄHRLICH] Lenkkopf" in jobs.output


class _Played:
    """A loudspeaker and a voice that keep what they were given."""

    def __init__(self) -> None:
        self.playback = Playback()
        self.words: list[tuple[str, str]] = []

    def play(self, samples: NDArray[np.float32], name: str = "") -> None:
        self.playback.begins(samples, name)

    def cut(self) -> None:
        self.playback.cut()

    def say(self, words: str, voice: str = "") -> NDArray[np.float32]:
        self.words.append((voice, words))
        return np.zeros(160, np.float32)


def test_every_line_of_a_session_is_there(german: OtherLanguage) -> None:
    lines = [
        getattr(spoken, name)
        for name in vars(spoken)
        if name.isupper() and isinstance(getattr(spoken, name), str)
    ]
    lines += [*spoken.STATES.values(), *spoken.IN_DOUBT.values(), spoken.NOT_JUDGED]
    assert len(lines) > 40
    assert [one for one in lines if one not in german.told.sentences] == []


def test_a_session_reads_back_in_the_voice_of_its_language(
    german: OtherLanguage, tmp_path: Path
) -> None:
    """And what it read back is the same finding, said in words that the grammar has; nothing of it is a command."""
    played = _Played()
    mouth = Mouth(Say.EVERYTHING, played, None, other=played, language=german)
    assert mouth.asks
    with Workshop.open(tmp_path, language=german) as shop:
        head = shop.begin("Probe", parse_context("DE", ()))
        inspecting = shop.inspecting(head.id)
        for typed in ("Bremsbelag vorne zweieinhalb Millimeter", "Spiegel lose", "rechts"):
            mouth.tell(inspecting.type(typed))
    assert {voice for voice, _ in played.words} == {"de"}
    said = [words for _, words in played.words]
    assert any("zwei komma fünf millimeter" in words for words in said), said
    for words in said:
        for stretch in re.split(r"[,.?]", words):
            heard = german.understand(stretch.strip()) if stretch.strip() else None
            assert heard is None or heard.dialogue is None, stretch
