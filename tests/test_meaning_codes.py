"""Codes: the table, the grades that must never be mixed up, and the flags."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldlog.quantities.code_reading import CodeKind
from fieldlog.quantities.codes import KINDS, brake_fluid_twin, codes

TABLE = tomllib.loads((Path(__file__).parent / "data" / "codes.toml").read_text())
ROWS = [(kind, words, texts) for kind, rows in TABLE.items() for words, texts in rows.items()]


@pytest.mark.parametrize(
    ("kind", "words", "texts"), ROWS, ids=[f"{kind}: {words}" for kind, words, _ in ROWS]
)
def test_table(kind: str, words: str, texts: list[str]) -> None:
    assert sorted(reading.text for reading in codes(CodeKind(kind), words.split())) == sorted(texts)


def test_every_kind_has_rows_and_rejections() -> None:
    assert set(TABLE) == set(KINDS)
    for kind, rows in TABLE.items():
        assert any(rows.values()), kind
        assert not all(rows.values()), kind


def test_five_and_five_point_one_are_each_others_twin() -> None:
    assert brake_fluid_twin("DOT 5") == "DOT 5.1"
    assert brake_fluid_twin("DOT 5.1") == "DOT 5"
    assert brake_fluid_twin("DOT 4") is None


def test_flags_show_what_was_bent() -> None:
    assert codes(CodeKind.BRAKE_FLUID, ["dot", "for"])[0].flags == ("homophone",)
    assert codes(CodeKind.BRAKE_FLUID, ["dot", "five", "one"])[0].flags == ("shorthand",)
    assert codes(CodeKind.DATE_CODE, ["three", "one", "seven"])[0].flags == ("three digits",)
    assert codes(CodeKind.DATE, ["fifth", "of", "march"])[0].flags == ("no year",)


@given(
    st.sampled_from(sorted(KINDS)),
    st.lists(
        st.sampled_from(
            [
                "one",
                "two",
                "twenty",
                "thirty",
                "oh",
                "zero",
                "point",
                "slash",
                "w",
                "z",
                "r",
                "b",
                "m",
                "t",
                "march",
                "the",
                "of",
                "first",
                "dot",
                "sae",
                "hundred",
                "seventeen",
                "double",
                "minus",
                "to",
                "about",
            ]
        ),
        max_size=8,
    ),
)
def test_garbage_is_read_or_refused(kind: str, words: list[str]) -> None:
    found = codes(CodeKind(kind), words)
    assert len({reading.text for reading in found}) == len(found)
