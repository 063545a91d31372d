"""What a tagged grammar tells a listener that knows text."""

from __future__ import annotations

from fieldlog.grammar.tagged import TaggedLanguage
from fieldlog.language.files import load_language
from fieldlog.model.understanding import Decision


def test_a_small_grammar_names_its_words_and_a_larger_one_nothing() -> None:
    words = "zero | one | two | three | four | five | six | seven | eight | nine"
    text = f"#JSGF V1.0;\ngrammar digits;\npublic <digit> = ({words}) {{digit}};\n"
    assert "eight, five, four" in TaggedLanguage.from_text(text).hint
    many = " | ".join(f"word{chr(97 + n)}{chr(97 + m)}" for n in range(6) for m in range(6))
    large = TaggedLanguage.from_text(f"#JSGF V1.0;\ngrammar g;\npublic <g> = {many};\n")
    assert large.hint == ""


def test_the_inspections_hint_is_nothing_one_could_have_said() -> None:
    # on bad sound Whisper repeats what it is told was said before: it must not be a finding
    language = load_language()
    for part in [language.hint, *language.hint.replace(":", ",").rstrip(".").split(", ")]:
        assert language.understand(part).decision is not Decision.ACCEPT
