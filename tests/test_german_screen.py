"""What a session in German shows: findings, questions, commands and the large screen, in German."""

from __future__ import annotations

import io
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from fieldlog.audio.capture import Spoken
from fieldlog.audio.clip import Clip
from fieldlog.cli.event_lines import event_text
from fieldlog.cli.live_screen.drawing import lines_of
from fieldlog.cli.live_screen.painter import Painter
from fieldlog.cli.live_screen.showing import Showing
from fieldlog.language.other import OtherLanguage
from fieldlog.language.tongues import language_of
from fieldlog.limits.context import parse_context
from fieldlog.shop.inspecting import Inspecting
from fieldlog.shop.live import Told
from fieldlog.shop.workshop import Workshop
from fieldlog.words.telling import telling, told_in

SPOKEN = Spoken(
    Clip(np.zeros(16, dtype=np.float32)), 0.0, datetime(2026, 5, 4, 8, 30, tzinfo=UTC), "Mikrofon"
)


@pytest.fixture(scope="module")
def german() -> OtherLanguage:
    language = language_of("de")
    assert isinstance(language, OtherLanguage)
    return language


@pytest.fixture
def talk(tmp_path: Path, german: OtherLanguage) -> Iterator[Inspecting]:
    with Workshop.open(tmp_path, language=german) as shop:
        made = shop.inspecting(shop.begin("Probe", parse_context("DE", ())).id)
        made.affirming.asks = True
        yield made


SHOWN = (
    ("Rahmen gerissen", "Rahmen: gerissen  ===|^ außerhalb der Grenze (GEFÄHRLICH)", "Vorsicht: "),
    ("Korrektur Rahmen verrostet", "Rahmen: rostig", "fehlerhaft (geringfügig)", "berichtigt Rahmen: gerissen"),
    ("Rücknahme", "zurückgenommen: Rahmen: rostig", "gilt wieder: Rahmen: gerissen", "bestätigt? Rahmen"),
    ("Ja", "bestätigt: Rahmen: gerissen"),
    ("Foto", "Marke: Foto von Rahmen: gerissen"),
    ("Vorlesen", "ich lese vor: 3, Rahmen: gerissen, außerhalb der Grenze"),
    ("Wiederholen", "noch einmal: ich lese vor: 3"),
    ("Was fehlt noch", "anzusehen (vor dem Start ", "als Nächstes: Batterie (Ladung) (vor dem Start)"),
    ("Bremsbeläge zwei Millimeter", "Frage: Welche Stelle? vorne oder hinten?  gehört: "),
    ("vorne", "Bremsbeläge vorne, Dicke: 2 mm", "Abstand +0,0", "Antwort auf: Welche Stelle?"),
    ("Beide Spiegel lose", "Spiegel rechts: lose"),
    ("Foto", "Marke: Foto von Spiegel links: lose; Spiegel rechts: lose"),
    ("Bemerkung der Kunde kommt", "Bemerkung (ungeprüft): der Kunde kommt"),
    ("Prüfung abschließen", "Frage: ", "GEFÄHRLICH, nicht behoben: 3, Rahmen: gerissen"),
)  # fmt: skip


def test_every_line_of_a_session_is_german(talk: Inspecting, german: OtherLanguage) -> None:
    for typed, *wanted in SHOWN:
        events = talk.type(typed)
        with told_in(german.told):
            told = "\n".join(event_text(each).plain for each in events)
        assert [one for one in wanted if one not in told] == [], told
    assert telling() is None


@pytest.mark.parametrize(("columns", "rows"), [(40, 12), (61, 17), (100, 36)])
def test_so_is_the_screen_and_it_fills_the_terminal_exactly(
    talk: Inspecting, german: OtherLanguage, columns: int, rows: int
) -> None:
    painter = Painter(io.StringIO())
    painter._console.size = (columns, rows)
    showing = Showing(painter, talk, "Mikrofon", language=german.told)

    def page(*typed: str) -> str:
        for words in typed:
            showing.show(Told(SPOKEN, talk.type(words)), "Mikrofon")
        with told_in(german.told):
            lines = [line.plain for line in lines_of(showing.screen, columns, rows)]
        assert len(lines) == rows
        assert max(map(len, lines)) <= columns
        return "\n".join(lines)

    assert "0 Befunde, frei" in page()
    told = page("Rahmen gerissen")
    assert "1  Rahmen" in told
    assert "GEFÄHRLICH" in told
    assert "1 Befund, frei" in told
    assert "als Nächstes: Batterie (Ladung)" in told
    assert showing.screen.question == ""
    page("Bremsbeläge zwei Millimeter")
    assert showing.screen.question == "Welche Stelle? vorne oder hinten?"
    assert telling() is None
