"""Rules item by item: what the packs hold of them, the sentences read, their qualifiers and classes."""

from __future__ import annotations

from fractions import Fraction

import pytest
from click.testing import CliRunner

from fieldlog.catalogue.files import load_catalogue
from fieldlog.cli import main
from fieldlog.config import grammars
from fieldlog.limits.assess import checked
from fieldlog.limits.check import check
from fieldlog.limits.context import parse_context
from fieldlog.limits.items import Coverage, Held, coverage
from fieldlog.limits.packs import Pack, covered, parse_pack, shipped_limits, shipped_packs
from fieldlog.limits.page import limits_page
from fieldlog.model.finding import Finding, Quantity
from fieldlog.model.limit import LimitStatus, Relation, SeverityFrom
from fieldlog.model.state import Severity, State
from fieldlog.model.verdict import Verdict
from fieldlog.words import tell

CATALOGUE = load_catalogue(grammars())
EXACT = "uncertainty=0"


def found(component: str, condition: str, characteristic: str | None = None) -> Finding:
    return Finding(component, None, characteristic, condition=condition)


def measured(component: str, characteristic: str, value: str, unit: str) -> Finding:
    return Finding(component, None, characteristic, Quantity(Fraction(value), unit))


def verdict(finding: Finding, where: str | None, *settings: str) -> Verdict:
    return checked(finding, shipped_limits(), parse_context(where, settings), CATALOGUE)


def pack(identity: str) -> Pack:
    return next(each for each in shipped_packs() if each.id == identity)


# --- what is held of each rule -----------------------------------------------------------------

HELD = {
    # Counted by hand in the texts: items of the section, of them rows, not expressible, not read.
    ("us-va", "340"): (11, 6, 4, 1),
    ("us-va", "350"): (14, 8, 5, 1),
    ("us-va", "360"): (8, 6, 2, 0),
    ("us-va", "370"): (0, 0, 0, 0),
    ("us-va", "380"): (0, 0, 0, 0),
    ("us-va", "390"): (7, 3, 4, 0),
    ("us-va", "400"): (8, 6, 2, 0),
    ("us-va", "46.2-1067"): (1, 0, 1, 0),
    ("us-md", ".02"): (7, 5, 1, 1),
    ("us-md", ".03"): (0, 0, 0, 0),
    ("us-md", ".04"): (11, 4, 7, 0),
    ("us-md", ".05"): (14, 7, 7, 0),
    ("us-md", ".06"): (0, 0, 0, 0),
    ("us-md", ".07"): (0, 0, 0, 0),
    ("us-md", ".08"): (0, 0, 0, 0),
    ("us-md", ".09 and later"): (0, 0, 0, 0),
    ("us-md", "21-1305"): (2, 0, 1, 1),
    ("us-ut", "-4"): (1, 0, 1, 0),
    ("us-ut", "-7"): (0, 0, 0, 0),
    ("us-ut", "-8"): (0, 0, 0, 0),
    ("us-ut", "-9"): (0, 0, 0, 0),
    ("us-ut", "-10"): (17, 6, 11, 0),
    ("us-ut", "-11"): (16, 7, 8, 1),
    ("us-ut", "-12 and later"): (0, 0, 0, 0),
    ("us-nc", "(a)"): (7, 6, 1, 0),
    ("us-nc", "(b)"): (5, 4, 1, 0),
    ("us-nc", "(c)"): (6, 3, 3, 0),
    ("us-nc", "(d)"): (6, 3, 3, 0),
    ("us-nc", "(e)"): (3, 1, 2, 0),
    ("us-nc", "(f)"): (2, 2, 0, 0),
    ("us-oh", "4501:2-1-06"): (2, 2, 0, 0),
    ("us-pa", "175.141 to 175.144"): (0, 0, 0, 0),
    ("us-pa", "175.145"): (4, 0, 3, 1),
    ("us-pa", "175.146 to 175.155"): (0, 0, 0, 0),
    ("us-pa", "175.160"): (2, 1, 0, 1),
    ("gb", "1"): (10, 7, 3, 0),
    ("gb", "2"): (0, 0, 0, 0),
    ("gb", "3"): (0, 0, 0, 0),
    ("gb", "4"): (7, 5, 1, 1),
    ("gb", "5"): (14, 13, 1, 0),
    ("gb", "6"): (8, 4, 4, 0),
    ("gb", "7"): (0, 0, 0, 0),
    ("gb", "8"): (1, 1, 0, 0),
    ("eu", "0"): (6, 4, 2, 0),
    ("eu", "1"): (2, 2, 0, 0),
    ("eu", "2"): (11, 0, 5, 6),
    ("eu", "3"): (0, 0, 0, 0),
    ("eu", "4"): (0, 0, 0, 0),
    ("eu", "5"): (9, 3, 6, 0),
    ("eu", "6"): (0, 0, 0, 0),
    ("eu", "7"): (0, 0, 0, 0),
    ("eu", "8"): (0, 0, 0, 0),
    ("fr", "JORFARTI000038987859"): (4, 2, 2, 0),
    ("nz", "1-1"): (4, 1, 3, 0),
    ("nz", "2 to 7"): (0, 0, 0, 0),
    ("nz", "8-1"): (12, 3, 5, 4),
    ("nz", "9"): (0, 0, 0, 0),
    ("nz", "10-1"): (10, 5, 3, 2),
    ("nz", "11 and later"): (0, 0, 0, 0),
    ("ca-qc", "124 to 134"): (0, 0, 0, 0),
    ("ca-qc", "135"): (10, 8, 2, 0),
    ("ca-qc", "136"): (1, 1, 0, 0),
    ("ca-qc", "137 to 148"): (0, 0, 0, 0),
    ("ca-qc", "149"): (1, 1, 0, 0),
    ("ca-qc", "150"): (0, 0, 0, 0),
    ("ca-qc", "151"): (1, 1, 0, 0),
    ("ca-qc", "152"): (1, 1, 0, 0),
    ("ca-qc", "153 to 158"): (0, 0, 0, 0),
    ("ca-qc", "159"): (11, 5, 6, 0),
    ("ca-qc", "160"): (0, 0, 0, 0),
    ("ca-qc", "161"): (1, 1, 0, 0),
    ("ca-qc", "162 to 164, 171 to 173"): (0, 0, 0, 0),
    ("ca-qc", "174"): (10, 8, 2, 0),
    ("ca-qc", "175"): (0, 0, 0, 0),
    ("ca-qc", "176"): (2, 1, 1, 0),
    ("ca-qc", "177"): (4, 4, 0, 0),
    ("ca-qc", "178"): (6, 6, 0, 0),
    ("ca-qc", "179"): (0, 0, 0, 0),
}


def test_every_item_of_every_section_is_a_row_or_says_why_not() -> None:
    counted = {}
    for each in shipped_packs():
        for part in each.parts:
            held = coverage((part,))
            assert held.rows + held.cannot + held.unread == len(part.items), part.id
            counted[each.id, part.id] = (held.items, held.rows, held.cannot, held.unread)
            for item in part.items:
                assert item.held is Held.ROW or item.why, item.id
                assert item.held is Held.UNREAD or item.text, item.id
    assert counted == HELD


def test_a_rule_of_one_sentence_needs_no_list_of_items() -> None:
    without = {
        each.id for each in shipped_packs() if each.jurisdiction and not each.parts and each.limits
    }
    # Single sentences: StVZO 36, KDV 4 (4), paragraphs of 49 CFR 393 and 570.
    assert without == {"de", "at", "us-federal"}


def test_the_list_and_the_page_say_how_much_is_held() -> None:
    result = CliRunner().invoke(main, ["limits", "list", "--pack", "us-va"])
    told = "29 of 49 items, 18 cannot be expressed, 2 not read; 5 sections go on unread"
    assert f"19VAC30-70 part IV): {told}" in result.output
    page = limits_page(shipped_packs())
    assert f"Held of the rule: {told}." in page
    assert "340 B.11" in page
    assert "the stopping distance was cut off" in page
    assert covered("US-VA") == (("us-va", Coverage(29, 18, 2, 5)),)
    assert covered(None) == ()
    assert [rule for rule, _ in covered("FR")] == ["eu", "fr"]


@pytest.mark.parametrize(
    ("more", "fault"),
    [
        ('[[item]]\nid = "2"\npart = "a"\ntext = "t"\n', "is to be one of"),
        ('[[item]]\nid = "2"\npart = "a"\ncannot = "why"\n', "without the sentence"),
        ('[[item]]\nid = "2"\npart = "b"\nunread = "why"\n', "no part 'b'"),
        ('[[item]]\nid = "2"\npart = "a"\nunread = "why"\n', "says 1 items, has 2"),
        ('[[item]]\nid = "1"\npart = "a"\ncannot = "why"\ntext = "t"\n', "named twice"),
        ('[[item]]\nid = "2"\npart = "a"\nunraed = "why"\n', "unknown key 'unraed'"),
        ('[[part]]\nid = "c"\nitems = 0\n', "neither items nor a rest"),
        ('[[limit]]\nid = "x.y"\nitem = "9"\ncomponent = "seat"\nconditions = ["loose"]\n', "no item '9'"),
        ('[[limit]]\nid = "x.y"\ncomponent = "seat"\nconditions = ["loose"]\nsection = "1"\n', "sentence"),
    ],
)  # fmt: skip
def test_what_a_pack_of_a_rule_lacks_is_a_fault(more: str, fault: str) -> None:
    base = """
[pack]
id = "x"
title = "x"
layer = "regulation"
jurisdiction = "US-VA"
status = "cited"
seen = "text"
source = "s"
edition = "e"
read_on = "2026-11-29"
[[part]]
id = "a"
title = "a"
items = 1
[[item]]
id = "1"
part = "a"
text = "If the seat is loose."
[[limit]]
id = "x.seat"
item = "1"
component = "seat"
conditions = ["loose"]
"""
    read, faults = parse_pack(base, "x.toml")
    assert faults == []
    assert read is not None
    assert (read.limits[0].text, read.limits[0].section) == ("If the seat is loose.", "1")
    _, faults = parse_pack(base + more, "x.toml")
    assert any(fault in each for each in faults), faults


# --- sentences, classes, editions --------------------------------------------------------------


def test_every_cited_row_keeps_the_sentence_that_was_read() -> None:
    for limit in shipped_limits():
        if limit.status is LimitStatus.CITED:
            assert len(limit.text) >= 8, limit.id
            assert limit.where or limit.seen == "text", limit.id


@pytest.mark.parametrize(
    "identity", ["us-va", "us-md", "us-ut", "us-nc", "us-oh", "us-pa", "nz", "de"]
)
def test_a_text_without_classes_has_our_own(identity: str) -> None:
    rows = pack(identity).limits
    assert rows
    assert {row.severity_from for row in rows} == {SeverityFrom.OWN}


def test_printed_and_inferred_classes_are_marked() -> None:
    by_id = {row.id: row for row in shipped_limits()}
    assert by_id["gb.axle"].severity_from is SeverityFrom.PRINTED
    assert by_id["gb.tread"].severity_from is SeverityFrom.OWN
    assert by_id["eu.0.1a"].severity_from is SeverityFrom.PRINTED
    assert by_id["eu.5.1.3a"].severity_from is SeverityFrom.INFERRED
    assert by_id["eu.5.1.1a"].severity_from is SeverityFrom.OWN
    assert by_id["ca-qc.177-1"].severity_from is SeverityFrom.PRINTED
    assert by_id["ca-qc.tread"].severity_from is SeverityFrom.OWN
    page = limits_page(shipped_packs())
    for told in ("dangerous (our own)", "major (printed)", "major (inferred)"):
        assert told in page


def test_a_superseded_edition_never_says_beyond() -> None:
    rows = [row for row in shipped_limits() if row.superseded]
    assert {row.id.partition("/")[0] for row in rows} == {
        "gb.pads-sintered",
        "gb.pads-organic",
        "gb.spokes",
    }
    for row in rows:
        bad = [found(row.component, word) for word in row.words]
        if row.relation is not Relation.IS:
            bad = [measured(row.component, row.characteristic, "1/10", row.unit)]
        for finding in bad:
            context = parse_context("GB", [EXACT, *(f"{k}={v}" for k, v in row.applies.items()
                                                    if k == "pads")])  # fmt: skip
            told = check(finding, [row], context)
            assert told.state is not State.BEYOND, row.id
            assert told.severity is row.severity, row.id


def test_what_is_not_set_hides_no_worse_class() -> None:
    # 1.0 mm of pads: outside the old 1.5 mm (dangerous) if organic, outside common practice if sintered.
    told = verdict(measured("brake pads", "thickness", "1", "mm"), "GB", EXACT)
    assert told.severity is Severity.DANGEROUS


# --- qualifiers --------------------------------------------------------------------------------

BLIND = [
    # The fault as it is said, the section with its words; what the words leave open is undecided.
    ("us-va", "frame", None, "bent", "so as to constitute a hazard in proper operation"),  # 350 1
    ("us-va", "handlebar", None, "loose", "in such a manner as to affect proper steering"),  # 350 4
    ("us-va", "rim", None, "bent", "so as to affect the safe operation"),  # 400 3
    ("us-va", "wheel", None, "cracked", "so as to affect the safe operation"),  # 400 3
    ("us-va", "brake disc", None, "grooved", "to the extent that it impairs"),  # 340 B.8
    ("us-va", "brake pads", None, "cracked", "are not firmly attached"),  # 340 B.5
    ("us-va", "wheel", None, "out of line", "to a degree steering and control is affected"),  # 350 2
    ("us-md", "tyre", None, "bulging", "indicating partial failure or separation"),  # .05 C
    ("us-md", "tyre", "sidewall", "cracked", "deep enough to expose cords"),  # .05 B
    ("us-md", "rim", None, "bent", "so as to affect safe operation of the vehicle"),  # .05 H
    ("us-md", "fork tube", None, "bent", "preventing full travel and free action"),  # .02 C
    ("us-md", "brake cable", None, "frayed", "two or more broken strands"),  # .04 B(5)
    ("us-ut", "indicator", None, "missing", "manufactured after January 1, 1973"),  # -11 (1)(c)
    ("us-ut", "brake cable", None, "pinched", "during normal operation"),  # -10 (1)(d)
    ("us-nc", "headlamp", None, "cracked", "which allow entry of water"),  # .0544 (b)(3)
    ("us-nc", "tail lamp", None, "cracked", "and allows entry of water"),  # .0544 (c)(3)
    ("us-oh", "tyre", None, "bulging", "major bumps or bulges"),  # 4501:2-1-06
    ("gb", "frame", None, "corroded", "steering or braking is likely to be adversely"),  # 6.1.1 (c)
    ("gb", "wheel bearing", None, "has play", "play so excessive"),  # 5.1.3 (a)(ii)
    ("gb", "headlamp", None, "cracked", "seriously defective"),  # 4.1.1 (b)(ii)
    ("eu", "number plate", None, "loose", "so insecurely fixed that it is likely to fall"),  # 0.1 (a)
    ("eu", "wheel bearing", None, "has play", "Directional stability impaired"),  # 5.1.3 (a)
    ("nz", "tyre", None, "cut", "more than 25mm long that reaches the cords"),  # 10-1 (9) b
    ("nz", "frame", None, "corroded", "within 150 mm of a brake component"),  # 8-1 (9)
    ("ca-qc", "frame", None, "cracked", "affects the vehicle's handling"),  # 177 (4)
    ("ca-qc", "fairing", None, "loose", "that could sever from the road vehicle"),  # 176 (2)
]  # fmt: skip
WHERE = {"us-va": "US-VA", "us-md": "US-MD", "us-ut": "US-UT", "us-nc": "US-NC", "us-oh": "US-OH",
         "gb": "GB", "eu": "AT", "nz": "NZ", "ca-qc": "CA-QC"}  # fmt: skip


def asked_rows(identity: str, finding: Finding) -> list[str]:
    name = finding.characteristic or "condition"
    return [
        row.id
        for row in pack(identity).limits
        if row.component == finding.component
        and row.characteristic == name
        and finding.condition in row.words
        and row.asks
    ]


@pytest.mark.parametrize(("identity", "component", "characteristic", "condition", "words"), BLIND)
def test_a_qualifier_that_was_not_said_is_asked_for(
    identity: str, component: str, characteristic: str | None, condition: str, words: str
) -> None:
    finding = found(component, condition, characteristic)
    own = [row for row in shipped_limits() if row.pack == identity]
    rows = asked_rows(identity, finding)
    context = parse_context(WHERE[identity])
    told = checked(finding, own, context, CATALOGUE)
    assert told.state is State.UNDECIDED
    assert told.severity is not None
    assert told.in_doubt is not None
    reasons = " ".join([told.reason, *(other.reason for other in told.others)])
    assert words in reasons
    # nothing is played down: as bad as the catalogue has it, or worse
    class_of = CATALOGUE.get(component)
    assert class_of is not None
    usual = class_of.severity(condition, characteristic)
    order = list(Severity)
    assert usual is None or order.index(told.severity) >= order.index(usual)
    ids = ", ".join(row.partition("/")[0] for row in rows)
    met = checked(finding, own, parse_context(WHERE[identity], [f"met={ids}"]), CATALOGUE)
    assert met.state is State.BEYOND
    not_met = checked(finding, own, parse_context(WHERE[identity], [f"not_met={ids}"]), CATALOGUE)
    assert not_met.state not in (State.BEYOND, State.WITHIN)
    assert not_met.severity is usual


PLAIN = [
    # Rules without a qualifier decide on the word alone: the section stands beside each.
    ("US-VA", "tyre", None, "cut", "400 1"),
    ("US-VA", "spokes", None, "loose", "400 3"),  # "bent, loose or missing" has none
    ("US-VA", "brake pads", None, "oily", "340 B.6"),
    ("US-VA", "headlamp", None, "loose", "360 A.6"),
    ("US-VA", "high beam telltale", None, "not working", "360 A.8"),
    ("US-VA", "battery strap", None, "missing", "350 9"),
    ("US-VA", "exhaust", None, "leaking", "390 5"),
    ("US-VA", "steering head bearing", None, "has play", "350 3"),
    ("US-MD", "handlebar", None, "bent", ".02 D(1)(b)"),
    ("US-MD", "swing arm", None, "has play", ".02 A"),
    ("US-MD", "tyre", None, "cords showing", ".05 A(3)"),
    ("US-MD", "brake", None, "weak", ".04 A(2)"),
    ("US-MD", "axle nut", None, "loose", ".05 G"),
    ("US-UT", "brake lever", None, "sticking", "-10 (1)(b)(i)(B)"),
    ("US-UT", "brake cable", None, "frayed", "-10 (1)(d)(i)(A)"),
    ("US-UT", "headlamp", "aim", "low", "-11 (1)(b)(i)"),
    ("US-NC", "brake line", None, "leaking", "(a)(6)"),
    ("US-NC", "horn", None, "not working", "(f)(1)"),
    ("US-PA", "frame number", None, "missing", "175.160 (a)(1)(ii)"),
    ("GB", "axle", None, "loose", "5.2.1 (c)(i)"),
    ("GB", "headlamp", None, "not working", "4.1.1 (a)(ii)"),
    ("GB", "axle nut", None, "missing", "5.2.1 (a)(ii)"),
    ("NZ", "brake lever", None, "spongy", "8-1 (10)"),
    ("NZ", "tyre", None, "backwards", "10-1 (3)"),
    ("CA-QC", "handlebar", None, "bent", "149"),
    ("CA-QC", "spokes", None, "broken", "161"),
    ("CA-QC", "wheel", None, "cracked", "178 (6)"),
    ("CA-QC", "tyre", None, "leaking", "178 (3)"),
    ("CA-QC", "brake", None, "not working", "174 (1)"),
    ("CA-QC", "brake line", None, "bulging", "135 (2)"),
    ("DE", "number plate", None, "missing", "0.1 (a)"),
    ("FR", "axle", None, "bent", "5.1.1 (a)"),
    ("AT", "frame number", None, "missing", "0.2 (a)"),
    ("PL", "number plate", None, "missing", "0.1 (a)"),
]


@pytest.mark.parametrize(("where", "component", "characteristic", "condition", "section"), PLAIN)
def test_a_rule_without_a_qualifier_decides(
    where: str, component: str, characteristic: str | None, condition: str, section: str
) -> None:
    told = verdict(found(component, condition, characteristic), where)
    assert told.state is State.BEYOND
    said = [told.gate, *told.others]
    sections = [each.limit.section for each in said if each and each.state is State.BEYOND]
    assert section in sections


def test_every_qualified_row_of_words_is_open_until_somebody_looked() -> None:
    asking = [row for row in shipped_limits() if row.asks and row.relation is Relation.IS]
    assert len(asking) > 100
    for row in asking:
        where = row.applies["jurisdiction"].replace("EU", "AT")
        place = row.applies.get("position")
        for word in row.words:
            finding = Finding(row.component, place, row.characteristic, condition=word)
            told = check(finding, [row], parse_context(where))
            assert (told.state, told.severity) == (State.UNDECIDED, row.severity), (row.id, word)
            assert row.asks in told.reason
            met = check(finding, [row], parse_context(where, [f"met={row.id}"]))
            assert met.state is State.BEYOND, row.id


def test_two_levels_of_one_item_are_asked_one_by_one() -> None:
    # DVSA 5.1.3 (a): (i) excessive play, major; (ii) likely to break up, dangerous.
    play = found("wheel bearing", "has play")
    both = verdict(play, "GB")
    assert (both.state, both.severity) == (State.UNDECIDED, Severity.DANGEROUS)
    excessive = verdict(play, "GB", "met=gb.5.1.3ai", "not_met=gb.5.1.3aii")
    assert excessive.state is State.BEYOND
    assert excessive.gate is not None
    assert excessive.gate.limit.severity is Severity.MAJOR
    breaking = verdict(play, "GB", "met=gb.5.1.3ai,gb.5.1.3aii")
    assert (breaking.state, breaking.severity) == (State.BEYOND, Severity.DANGEROUS)


def test_the_limit_is_never_told_without_its_qualifier() -> None:
    told = verdict(found("frame", "bent"), "US-VA")
    assert told.gate is not None
    assert 'only "so as to constitute a hazard in proper operation"' in tell.limit(told.gate.limit)


def test_an_answer_about_one_row_is_none_about_another() -> None:
    told = verdict(found("frame", "bent"), "US-VA", "met=us-va.rim")
    assert told.state is State.UNDECIDED


def test_a_value_inside_its_row_is_asked_nothing() -> None:
    # TM 5-3740-214-14 (f): 0.050 apart, "and charging does not bring the charge to a 50% charge".
    wide = Finding("battery", None, "specific gravity",
                   readings=tuple(Quantity(Fraction(v), "1") for v in ("1.28", "1.22")))  # fmt: skip
    near = Finding("battery", None, "specific gravity",
                   readings=tuple(Quantity(Fraction(v), "1") for v in ("1.28", "1.25")))  # fmt: skip
    rows = [row for row in shipped_limits() if row.id == "tm5-3740.cell-spread"]
    context = parse_context(None, [EXACT])
    assert check(wide, rows, context).state is State.UNDECIDED
    assert check(wide, rows, context).severity is Severity.MAJOR
    assert check(near, rows, context).state is State.WITHIN


def test_the_european_table_reaches_members_and_nobody_else() -> None:
    missing = found("number plate", "missing")
    for member in ("DE", "FR", "AT", "PL", "IE", "EU"):
        assert verdict(missing, member).state is State.BEYOND, member
    for other in ("GB", "NZ", "US-VA", None):
        assert verdict(missing, other).state is not State.BEYOND, other
    assert verdict(missing, "DE", "vehicle_class=moped").state is not State.BEYOND


# --- adjacent grooves --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("readings", "state"),
    [
        # 19VAC30-70-130 (5): either of two adjacent grooves at 2/32 or more is satisfactory.
        (("1/32",), State.UNDECIDED),
        (("2/32",), State.WITHIN),
        (("1/32", "2/32"), State.WITHIN),
        (("1/32", "1.9/32"), State.BEYOND),
        (("1/32", "1/32", "4/32"), State.BEYOND),
    ],
)
def test_one_of_two_adjacent_grooves_is_enough_in_virginia(
    readings: tuple[str, ...], state: State
) -> None:
    depths = [Fraction(each.split("/")[0]) / 32 for each in readings]
    tyre = Finding("tyre", "rear", "tread depth", readings=tuple(Quantity(d, "in") for d in depths))
    rows = [row for row in shipped_limits() if row.id == "us-va.tread"]
    told = check(tyre, rows, parse_context("US-VA", [EXACT]))
    assert told.state is state
    if state is State.UNDECIDED:
        assert told.severity is Severity.DANGEROUS
        assert "the groove beside the thinnest one was not read" in told.reason


# --- values of the rules -----------------------------------------------------------------------

VALUES = [
    # Where, what, value, settings; the state by the sentence, and the section that says so.
    ("CA-QC", "tyre", "tread depth", "1.59", "mm", (), State.BEYOND, "159 (1)"),
    ("CA-QC", "tyre", "tread depth", "1.6", "mm", (), State.WITHIN, "159 (1)"),
    ("CA-QC", "tyre", "tread depth", "0.79", "mm", (), State.BEYOND, "178 (2)"),
    ("CA-QC", "brake pads", "thickness", "1.59", "mm", ("lining=bonded",), State.BEYOND, "135 (9)(a)"),
    ("CA-QC", "brake pads", "thickness", "3.19", "mm", ("lining=riveted",), State.BEYOND, "135 (9)(a)"),
    ("CA-QC", "brake shoes", "thickness", "3.2", "mm", ("lining=riveted",), State.WITHIN, "135 (9)(a)"),
    ("US-VA", "brake shoes", "thickness", "1.58", "mm", (), State.BEYOND, "340 B.4"),
    ("US-VA", "headlamp", "aim offset", "4.01", "in", (), State.BEYOND, "360 A.7"),
    ("US-MD", "tyre", "tread depth", "0.79", "mm", (), State.BEYOND, ".05 A(1)"),
    ("US-OH", "tyre", "tread depth", "1.58", "mm", (), State.BEYOND, "4501:2-1-06 tread"),
    ("GB", "rim", "run-out lateral", "2.01", "mm", ("rim=alloy",), State.BEYOND,
     "5.2.2 lateral, aluminium alloy"),
    ("GB", "rim", "run-out lateral", "2.01", "mm", ("rim=steel",), State.WITHIN, "5.2.2 lateral, steel"),
    ("GB", "rim", "run-out radial", "3.01", "mm", (), State.BEYOND, "5.2.2 eccentricity"),
    ("FR", "tyre", "tread depth", "1.59", "mm", ("vehicle_class=car",), State.BEYOND, "1st paragraph"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("where", "component", "characteristic", "value", "unit", "settings", "state", "section"),
    VALUES,
)
def test_a_value_is_held_against_its_sentence(
    where: str,
    component: str,
    characteristic: str,
    value: str,
    unit: str,
    settings: tuple[str, ...],
    state: State,
    section: str,
) -> None:
    told = verdict(measured(component, characteristic, value, unit), where, EXACT, *settings)
    said = {each.limit.section: each.state for each in (told.gate, *told.others) if each}
    assert said.get(section) is state
    assert told.state is state
