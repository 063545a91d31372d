"""What a grammar is made into: one network, pronunciations, a language with slots."""

from __future__ import annotations

from itertools import product
from pathlib import Path

import pytest

from fieldlog.errors import GrammarError
from fieldlog.grammar import Grammar, TaggedLanguage, load_grammar
from fieldlog.grammar.files import load_additions
from fieldlog.grammar.fsg import FiniteNetwork, finite_network
from fieldlog.grammar.jsgf import to_jsgf
from fieldlog.grammar.language import Language
from fieldlog.grammar.lexicon import as_two_words, read_lexicon
from fieldlog.grammar.sample import Sampler
from fieldlog.model.understanding import Decision, Kind
from tests.enumerated import enumerate_phrases

HEAD = "#JSGF V1.0;\ngrammar t;\n"


def grammar(text: str) -> Grammar:
    return Grammar.from_text(HEAD + text)


# --- network ---------------------------------------------------------------------------------


def _accepts(network: FiniteNetwork, words: list[str]) -> bool:
    arcs = {(start, word): end for start, end, _, word in network.arcs}
    state: int | None = network.start
    for word in words:
        state = arcs.get((state, word)) if state is not None else None
    return state in network.finals


@pytest.mark.parametrize(
    ("text", "states"),
    [
        ("public <a> = x (a | b) z | y (a | b) z;", 4),  # what follows x and y is one state
        ("public <a> = x <a> | y;", 2),
        ("public <a> = (x | y)+;", 2),
        ("public <a> = a [b] c | d [b] c;", 4),
    ],
)
def test_the_network_says_the_same_with_the_fewest_states(text: str, states: int) -> None:
    made = grammar(text)
    network = finite_network(made.word_graph())
    assert network.states == states
    for length in range(5):
        for words in product(sorted(made.words), repeat=length):
            assert _accepts(network, list(words)) == made.word_graph().accepts(words)


def test_a_network_without_end_is_refused() -> None:
    with pytest.raises(GrammarError, match="more than 500 word transitions"):
        finite_network(grammar("public <a> = l <a> r | m;").word_graph(), most_arcs=500)
    with pytest.raises(GrammarError, match=r"<grammar>:3:16: <a> leads back to its own rule"):
        to_jsgf(grammar("public <a> = l <a> r | m;"))


# --- one JSGF text ---------------------------------------------------------------------------


def test_several_public_rules_become_choices_of_one() -> None:
    text = to_jsgf(grammar('public <a> = x;\npublic <b> = y "z|z";'))
    assert text.count("public") == 1
    again = Grammar.from_text(text)
    assert sorted(enumerate_phrases(again.word_graph(), 9)) == ["x", "y z|z"]


def test_rule_names_are_made_plain_and_stay_apart() -> None:
    texts = {"n": "#JSGF V1.0;\ngrammar n;\npublic <a-b> = one;\npublic <a+b> = two;"}
    made = Grammar.from_text(
        HEAD + "import <n.*>;\npublic <a> = <a-b> | <a+b> | <n.a-b> <a+b>;",
        loader=lambda name: ("n", texts[name]),
    )
    again = Grammar.from_text(to_jsgf(made))
    phrases = sorted(enumerate_phrases(made.word_graph(), 9))
    assert sorted(enumerate_phrases(again.word_graph(), 9)) == phrases
    assert phrases == ["one", "one two", "two"]


# --- phrases ---------------------------------------------------------------------------------


def test_enumeration_is_complete_and_shortest_first() -> None:
    made = grammar("public <a> = [x] y (z | w)*;")
    phrases = list(enumerate_phrases(made.word_graph(), 100, max_words=3))
    assert phrases == [
        "y",
        "x y",
        "y w",
        "y z",
        "x y w",
        "x y z",
        "y w w",
        "y w z",
        "y z w",
        "y z z",
    ]
    assert list(enumerate_phrases(made.word_graph(), 3)) == ["y", "x y", "y w"]


def test_the_same_seed_gives_the_same_phrases() -> None:
    made = grammar("public <a> = (a | b | c) (d | e)+ [f];")

    def drawn(seed: int) -> list[str]:
        sampler = Sampler(made.rules, made.public, seed)
        return [sampler.random_phrase() for _ in range(20)]

    assert drawn(1) == drawn(1) != drawn(2)


def test_covering_takes_every_choice_in_few_phrases() -> None:
    words = " | ".join(f"w{n}" for n in range(200))
    made = grammar(f"public <a> = <w> [<v>] | rare <w>;\n<w> = {words};\n<v> = one | two;")
    phrases = Sampler(made.rules, made.public).covering()
    assert {word for phrase in phrases for word in phrase.split()} == made.words
    assert len(phrases) <= 210


def test_recursion_comes_to_an_end() -> None:
    made = grammar("public <a> = x <a> <a> | y;")
    sampler = Sampler(made.rules, made.public, 3)
    for _ in range(50):
        assert made.word_graph().accepts(sampler.random_phrase().split())


# --- pronunciations --------------------------------------------------------------------------


def test_shipped_additions_are_sound() -> None:
    lexicon = load_additions()
    assert lexicon.entries["swingarm"] == ("S W IH NG AA R M",)
    assert lexicon.entries["misrouted"] == ("M IH S R UW T IH D", "M IH S R AW T IH D")
    assert lexicon.missing(["swingarm", "front", "zzyzx", "abc"], {"front"}.__contains__) == [
        "abc",
        "zzyzx",
    ]


def test_faults_in_pronunciations_are_all_named() -> None:
    text = "good G UH D\nbad\nworse W QQ S ;;; no\n;;; comment\ngood G UW D\nlone(2) L OW N\n"
    with pytest.raises(GrammarError) as caught:
        read_lexicon(text, "x.dic")
    message = str(caught.value)
    for part in (
        "4 faults",
        "x.dic:2:1: not 'word PHONES': 'bad'",
        "x.dic:3:1: 'worse' has unknown phones: QQ",
        "x.dic:5:1: 'good' is already there; write the second as 'good(2)'",
        "x.dic:6:1: 'lone' has no first; 'lone(2)'",
    ):
        assert part in message


@pytest.mark.parametrize(
    ("word", "two"),
    [("swingarm", "swing arm"), ("footpegs", "foot pegs"), ("zzyzx", None), ("arm", None)],
)
def test_a_word_as_two_that_can_be_said(word: str, two: str | None) -> None:
    known = {"swing", "arm", "foot", "pegs"}
    assert as_two_words(word, known.__contains__) == two


# --- language --------------------------------------------------------------------------------

ORDERS = (
    "public <order> = (want | get) [a] [<size> {size}] <drink> {drink};\n"
    "<size> = small | large | extra large;\n<drink> = latte | large coffee | coffee;"
)


@pytest.fixture(scope="module")
def orders() -> TaggedLanguage:
    return TaggedLanguage.from_text(HEAD + ORDERS)


def test_it_is_a_language(orders: TaggedLanguage) -> None:
    language: Language = orders
    assert language.name == "t"
    assert "latte" in language.words()
    assert language.jsgf().startswith("#JSGF V1.0")
    assert "{" not in language.jsgf()
    assert language.phrases()[-1] == "[unk]"
    assert language.word_graph().is_final(language.word_graph().start) is False


@pytest.mark.parametrize(
    ("text", "decision", "slots"),
    [
        ("want a small latte", Decision.ACCEPT, {"size": "small", "drink": "latte"}),
        ("  WANT  latte ", Decision.ACCEPT, {"drink": "latte"}),
        ("get extra large coffee", Decision.ACCEPT, {"size": "extra large", "drink": "coffee"}),
        ("get large coffee", Decision.ASK, {}),
        ("want latte latte", Decision.REFUSE, {}),
        ("", Decision.REFUSE, {}),
    ],
)
def test_understanding(
    orders: TaggedLanguage, text: str, decision: Decision, slots: dict[str, str]
) -> None:
    understood = orders.understand(text)
    assert (understood.decision, dict(understood.slots)) == (decision, slots)
    assert understood.kind is (Kind.NOTHING if decision is Decision.REFUSE else Kind.ORDER)


def test_two_readings_are_both_in_the_question(orders: TaggedLanguage) -> None:
    understood = orders.understand("get large coffee")
    assert understood.decision is Decision.ASK
    assert "drink = large coffee" in understood.question_text
    assert "drink = coffee, size = large" in understood.question_text


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("want a tea", "'tea' does not fit after 'want a': there could be coffee, extra, large,"),
        ("tea", "'tea' does not fit at the beginning: there could be get, want"),
        ("want a", "'want a' is not finished: could go on with coffee, extra, large"),
        ("want latte please", "'please' does not fit after 'want latte': nothing may follow"),
        ("", "nothing was said"),
    ],
)
def test_a_refusal_names_the_first_word_that_does_not_fit(
    orders: TaggedLanguage, text: str, reason: str
) -> None:
    assert orders.understand(text).reason.startswith(reason)


def test_meaning_is_the_slots_or_the_words(orders: TaggedLanguage) -> None:
    assert orders.meaning("want a latte") == orders.meaning("get latte") != ""
    assert orders.meaning("get small latte") != orders.meaning("get latte")
    assert orders.meaning("tea") == ""
    plain = TaggedLanguage.from_text(HEAD + "public <a> = yes | yes please;")
    assert plain.meaning("yes please") == "yes please" != plain.meaning("yes")


def test_capitals_count_where_the_grammar_has_them() -> None:
    mixed = TaggedLanguage.from_text(HEAD + "public <a> = DOT four;")
    assert mixed.understand("DOT four").decision is Decision.ACCEPT
    assert mixed.understand("dot four").decision is Decision.REFUSE


# --- files -----------------------------------------------------------------------------------


def test_grammars_from_files_with_imports(tmp_path: Path) -> None:
    main = tmp_path / "main.jsgf"
    main.write_text(
        "\ufeff#JSGF V1.0 UTF-8;\ngrammar main;\nimport <units.*>;\nimport <made.*>;\n"
        "public <a> = <made_rule> <unit>;",
        encoding="utf-8",
    )
    (tmp_path / "units.jsgf").write_text("#JSGF V1.0;\ngrammar units;\npublic <unit> = mm;")
    made = {"made": "#JSGF V1.0;\ngrammar made;\npublic <made_rule> = two;"}
    assert load_grammar(main, made).parse(["two", "mm"])
    (tmp_path / "units.jsgf").write_text("#JSGF V1.0;\ngrammar units;\npublic <unit> = ;")
    with pytest.raises(GrammarError, match=r"units\.jsgf:3:17: expected words"):
        load_grammar(main, made)


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(GrammarError, match=r"none\.jsgf: there is no such file"):
        load_grammar(tmp_path / "none.jsgf")
    with pytest.raises(GrammarError, match="this is a folder"):
        load_grammar(tmp_path)
    (tmp_path / "latin.jsgf").write_bytes(b"#JSGF V1.0;\ngrammar g;\npublic <a> = caf\xe9;")
    with pytest.raises(GrammarError, match="byte 39 is not UTF-8"):
        load_grammar(tmp_path / "latin.jsgf")
