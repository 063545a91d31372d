"""Words, jurisdiction and settings -> state and gating row, as ``fieldlog parse`` gives them.

Every limit of the packs is reached by a phrase a mechanic would say, just inside, on and just outside
its value (``uncertainty=0``), and the guard-band cases with an uncertainty. The values are derived by
hand from the sources named beside them; "standards" is the list of check values the limit packs were
written from (its section in brackets), not the packs themselves.
"""

from __future__ import annotations

from datetime import date

import pytest

from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.limits.assess import assess
from fieldlog.limits.context import parse_context
from fieldlog.limits.packs import shipped_limits
from fieldlog.model.limit import LimitStatus
from fieldlog.model.state import State
from fieldlog.model.understanding import Decision, Flag
from fieldlog.model.verdict import Verdict

TODAY = date(2026, 11, 25)
Row = tuple[str, str | None, str, str, str | None]
"""Words, jurisdiction, settings (with ``uncertainty=0`` unless they set it), state, gating row."""

TREAD: list[Row] = [
    # COMAR 11.14.03.05 A(1): less than 1/32 in at the thinnest point fails (1.1)
    ("rear tread one thirty second", "US-MD", "", "beyond", "common.indicator-level"),
    ("rear tread point oh three inches", "US-MD", "", "beyond", "us-md.tread"),
    ("rear tread 0.8 mm", "US-MD", "", "within", "us-md.tread"),  # 1/32 in = 0.79375 mm
    ("rear tread 0.79 mm", "US-MD", "", "beyond", "us-md.tread"),
    ("rear tread readings two then one then three thirty seconds", "US-MD", "", "within", None),
    ("rear tread readings two mm then 0.7 mm then three mm", "US-MD", "", "beyond", "us-md.tread"),
    ("rear tyre at the wear bars", "US-MD", "", "beyond", None),
    # 19VAC30-70-400(5): 2/32 in (1.1)
    ("rear tread two thirty seconds", "US-VA", "", "within", "us-va.tread"),
    ("rear tread one thirty second", "US-VA", "", "beyond", "common.indicator-level"),
    ("rear tread 1.2 mm", "US-VA", "", "undecided", "us-va.tread"),  # the groove beside?
    # 2/32 in is 1.5875 mm and never 1.6 (1.1, trap): 1.59 mm passes there, fails in Germany
    ("rear tread 1.59 mm", "US-VA", "", "within", "us-va.tread"),
    ("rear tread 1.58 mm", "US-VA", "", "undecided", "us-va.tread"),
    ("rear tread readings 1.58 mm, 1.5 mm", "US-VA", "", "beyond", "us-va.tread"),
    ("rear tread readings 1.59 mm, 1.5 mm", "US-VA", "", "within", "us-va.tread"),
    ("rear tread 1.59 mm", "DE", "", "beyond", "de.tread"),
    ("rear tread one point six millimetres", "DE", "", "within", "de.tread"),
    # StVZO s.36: 1.0 mm for mopeds and light motorcycles (1.1)
    ("rear tread 1.0 mm", "DE", "vehicle_class=moped", "within", "de.tread-light"),
    ("rear tread 0.99 mm", "DE", "vehicle_class=moped", "beyond", "de.tread-light"),
    ("rear tread 1.2 mm", "DE", "vehicle_class=light motorcycle", "within", "de.tread-light"),
    # DVSA, over 50 cc 1.0 mm; up to 50 cc visible tread is enough (1.1)
    ("rear tread 1 mm", "GB", "engine_cc=600", "within", "gb.tread"),
    ("rear tread 0.9 mm", "GB", "engine_cc=600", "beyond", "gb.tread"),
    ("rear tread 0.5 mm", "GB", "engine_cc=50", "within", "gb.tread-visible"),
    ("rear tread 0 mm", "GB", "engine_cc=50", "beyond", "gb.tread-visible"),
    # French arrete: four points, not more than one of them below 1.0 mm (1.1)
    ("rear tread readings 2 mm, 0.9 mm, 2 mm, 2 mm", "FR", "", "within", "fr.tread"),
    ("rear tread readings 2 mm, 0.9 mm, 0.9 mm, 2 mm", "FR", "", "beyond", "fr.tread"),
    ("rear tread 1.5 mm", "FR", "vehicle_class=car", "beyond", "fr.tread-car"),
    ("rear tread 1.6 mm", "FR", "vehicle_class=car", "within", "fr.tread-car"),
    # KDV s.4(4): 1.6; 2.0 over 3500 kg; 1.0 for mopeds (1.1)
    ("rear tread 1.6 mm", "AT", "", "within", "at.tread"),
    ("rear tread 1.5 mm", "AT", "", "beyond", "at.tread"),
    ("rear tread 1.9 mm", "AT", "gvwr=4000kg,vehicle_class=truck", "beyond", "at.tread-heavy"),
    ("rear tread 1.0 mm", "AT", "vehicle_class=moped", "within", "at.tread-moped"),
    # Ohio 4501:2-1-06: 1/16 in (1.1)
    ("front tread one sixteenth of an inch", "US-OH", "", "within", "us-oh.tread"),
    ("front tread 1.5 mm", "US-OH", "", "beyond", "us-oh.tread"),
    # FMVSS 119 S6.4: motorcycle indicator 1/32 in; 3/32 in is the shop's minimum (1.1)
    ("rear tread one thirty second", None, "", "beyond", "common.indicator-level"),
    ("rear tread point oh three inches", None, "", "beyond", "fmvss119.indicator"),
    ("rear tread three thirty seconds", None, "", "within", "fmvss119.indicator"),
    # 49 CFR 570.62(a) and 393.75: 4/32 front, 2/32 others, heavy vehicles (1.1)
    ("front tread three thirty seconds", "US", "vehicle_class=truck", "beyond", "cfr393.75b"),
    ("front tread four thirty seconds", "US", "vehicle_class=truck", "within", None),
    ("rear tread two thirty seconds", "US", "vehicle_class=truck", "within", None),
    ("rear tread one thirty second", "US", "vehicle_class=truck", "beyond", "cfr393.75c"),
    # Utah R714-160-8(1)(c): less than half of the recommended pressure (1.1)
    ("front tyre 18 psi", "US-UT", "pressure_front=36psi", "faulty", None),
    ("front tyre 17.9 psi", "US-UT", "pressure_front=36psi,vehicle_class=car", "beyond", None),
    ("front tyre 17.9 psi", "US-UT", "pressure_front=36psi", "faulty", None),  # a rule for cars
]

BRAKES: list[Row] = [
    # 19VAC30-70-340 B.4: 2/32 in bonded or over rivets (2.2)
    ("front pads two thirty seconds", "US-VA", "", "within", "us-va.pads"),
    ("front pads 1.5 mm", "US-VA", "", "beyond", "us-va.pads"),
    ("front pads one sixteenth", "US-VA", "", "within", "us-va.pads"),
    ("rear shoes one thirty second", "US-VA", "", "beyond", "us-va.pads"),
    # UK: 1.5 mm standard, 1.0 mm sintered above the backing plate (2.2)
    ("front pads 1.5 mm", "GB", "pads=organic", "faulty", "common.pads"),
    ("front pads 1.4 mm", "GB", "pads=organic", "faulty", "gb.pads-organic"),
    ("front pads 1.0 mm", "GB", "pads=sintered", "faulty", "common.pads"),
    ("front pads 0.9 mm", "GB", "pads=sintered", "faulty", "gb.pads-sintered"),
    ("front pads 1.2 mm", "GB", "", "faulty", None),
    # common practice 1/16 in: alone no more than marginal (2.2; the trade list of the issue)
    ("front pads two millimetres", None, "", "within", "common.pads"),
    ("front pads one millimetre", None, "", "faulty", "common.pads"),
    # no lining at all: beyond by common practice too, because no brake works without
    ("front pads zero millimetres", None, "", "beyond", "common.no-lining"),
    # 49 CFR 570.59(c), over 10,000 lb: 1/32 over the fastener, 1/16 over the shoe (2.2)
    ("front pads one thirty second", "US", "gvwr=12000lb,lining=riveted", "within", None),
    ("front pads 0.7 mm", "US", "gvwr=12000lb,lining=riveted", "beyond", None),
    ("front pads one thirty second", "US", "gvwr=12000lb,lining=bonded", "beyond", None),
    # 49 CFR 393.47(d): 3/16 in printed beside 4.8 mm; 4.78 mm passes the inches (2.2, trap)
    ("front shoes 4.78 mm", "US", "vehicle_class=truck,brakes=air drum", "within", None),
    ("front shoes 4.76 mm", "US", "vehicle_class=truck,brakes=air drum", "beyond", None),
    # the minimum stamped on the disc decides (2.2)
    ("front disc four point five millimetres", None, "disc_minimum=4.5mm", "within", None),
    ("front disc 4.49 mm", None, "disc_minimum=4.5mm", "beyond", "entered.disc-minimum"),
    ("front disc four point five millimetres", None, "", "undecided", None),
    # FMVSS 116 wet and dry boiling points (2.1), degC and degF exact pairs
    ("front brake fluid boiling point 140 degC", None, "brake_fluid=DOT 3", "within", None),
    ("front brake fluid boiling point 139 degC", None, "brake_fluid=DOT 3", "beyond", None),
    ("front brake fluid boiling point 284 degF", None, "brake_fluid=DOT 3", "within", None),
    ("front brake fluid boiling point 283 degF", None, "brake_fluid=DOT 3", "beyond", None),
    ("front brake fluid boiling point 155 degC", None, "brake_fluid=DOT 4", "within", None),
    ("front brake fluid boils at 154 degC", None, "brake_fluid=DOT 4", "beyond", None),
    ("front brake fluid boiling point 311 degF", None, "brake_fluid=DOT 4", "within", None),
    ("front brake fluid boiling point 180 degC", None, "brake_fluid=DOT 5", "within", None),
    ("front brake fluid boiling point 179 degC", None, "brake_fluid=DOT 5.1", "beyond", None),
    ("front brake fluid boiling point 356 degF", None, "brake_fluid=DOT 5.1", "within", None),
    (
        "front brake fluid boiling point 205 degC",
        None,
        "brake_fluid=DOT 3,fluid_state=dry",
        "within",
        None,
    ),
    (
        "front brake fluid boiling point 400 degF",
        None,
        "brake_fluid=DOT 3,fluid_state=dry",
        "beyond",
        None,
    ),
    (
        "front brake fluid boiling point 446 degF",
        None,
        "brake_fluid=DOT 4,fluid_state=dry",
        "within",
        None,
    ),
    (
        "front brake fluid boiling point 229 degC",
        None,
        "brake_fluid=DOT 4,fluid_state=dry",
        "beyond",
        None,
    ),
    (
        "front brake fluid boiling point 500 degF",
        None,
        "brake_fluid=DOT 5,fluid_state=dry",
        "within",
        None,
    ),
    (
        "front brake fluid boiling point 259 degC",
        None,
        "brake_fluid=DOT 5.1,fluid_state=dry",
        "beyond",
        None,
    ),
    # DOT 5 is silicone and never mixed with 3, 4 and 5.1 (2.1; the trade list of the issue)
    ("front brake fluid dot five", None, "brake_fluid=DOT 5.1", "beyond", "entered.brake-fluid"),
    ("front brake fluid dot five point one", None, "brake_fluid=DOT 5.1", "within", None),
    ("front brake fluid dot five point one", None, "brake_fluid=DOT 4", "marginal", None),
    ("front brake fluid dot three", None, "brake_fluid=DOT 4", "beyond", "entered.brake-fluid"),
    # colours (2.1): purple and DOT 4 contradict each other
    ("front brake fluid is purple", None, "brake_fluid=DOT 4", "beyond", None),
    ("front brake fluid is purple", None, "brake_fluid=DOT 5", "within", None),
    ("front brake fluid amber", None, "brake_fluid=DOT 5.1", "within", None),
    ("front brake fluid amber", None, "brake_fluid=DOT 5", "beyond", None),
    ("front brake fluid is green", None, "brake_fluid=DOT 4", "beyond", None),
]

CHAIN: list[Row] = [
    # 20 pitches of 15.875 mm: +1 % 320.675, +2 % 323.85, +3 % 327.025 mm (3.2)
    ("chain span 320.675 mm", None, "chain=520,pitches=20", "within", "chain.elongation"),
    ("chain span 327 mm", None, "chain=520,pitches=20", "faulty", "chain.elongation-warning"),
    ("chain span 327.025 mm", None, "chain=520,pitches=20", "beyond", "chain.elongation"),
    ("chain span 261.62 mm", None, "chain=428,pitches=20", "beyond", "chain.elongation"),
    ("chain span 392.42 mm", None, "chain=630,pitches=20", "faulty", "chain.elongation-warning"),
    ("chain span over twenty pitches 327.025 mm", None, "chain=525", "beyond", "chain.elongation"),
    ("chain span 323.85 mm over 20 links", None, "chain=530", "within", "chain.elongation"),
    ("chain elongation three percent", None, "", "beyond", "chain.elongation"),
    # 24 pitches measured as 24.75: 3.125 % (3.2)
    ("chain elongation 3.125 %", None, "", "beyond", "chain.elongation"),
    # 200/N %: 80 teeth 2.5 %, the 3 % cap up to 66 teeth (3.2); 2 % by common practice
    ("chain elongation 2.6 %", None, "teeth=80", "beyond", "chain.elongation-large"),
    ("chain elongation 2.5 %", None, "teeth=80", "faulty", "chain.elongation-warning"),
    ("chain elongation 2.6 %", None, "teeth=44", "faulty", "chain.elongation-warning"),
    # half a tooth exposed, more than 1/8 in: common practice, at most faulty (3.2)
    ("chain half a tooth exposed", None, "", "faulty", "common.chain-lifting-off"),
    ("chain lift off an eighth of an inch", None, "", "within", "common.chain-lift-off"),
    ("chain lift off four millimetres", None, "", "faulty", "common.chain-lift-off"),
]

BATTERY: list[Row] = [
    # 12.45 V is 75 % (4.1); common practice alone
    ("battery twelve point four volts", None, "", "faulty", None),
    ("battery twelve point five volts", None, "", "within", None),
    # TM 9-6140-200-14: more than 0.025 between cells of a charged battery (4.4)
    (
        "specific gravity readings twelve sixty five then twelve forty",
        None,
        "charge=charged",
        "within",
        "tm9-6140.cell-spread",
    ),
    (
        "specific gravity readings twelve sixty five then twelve thirty nine",
        None,
        "charge=charged",
        "beyond",
        "tm9-6140.cell-spread",
    ),
    # TM 5-3740-214-14: a cell below 1.150, or 0.050 apart (4.4)
    ("cell three eleven fifty", None, "", "faulty", None),  # 21 % charged: common practice
    ("cell three eleven forty nine", None, "", "beyond", "tm5-3740.cell-low"),
    (
        "specific gravity readings twelve eighty then twelve thirty",
        None,
        "charge=unknown",
        "undecided",
        "tm5-3740.cell-spread",
    ),
    (
        "specific gravity readings twelve eighty then twelve thirty one",
        None,
        "charge=unknown",
        "within",
        "tm5-3740.cell-spread",
    ),
    # 1.200 freezes at -16 degF = -26.7 degC (4.3): it stood in -27 and in -26 degC
    (
        "cell one twelve hundred",
        None,
        "lowest_temperature=-27degC",
        "beyond",
        "entered.lowest-temperature",
    ),
    (
        "cell one twelve hundred",
        None,
        "lowest_temperature=-26degC",
        "faulty",
        "common.state-of-charge",
    ),
    (
        "cell one twelve hundred",
        None,
        "lowest_temperature=-17degF",
        "beyond",
        "entered.lowest-temperature",
    ),
    # warm reads too low: 1.200 at 100 degF is 1.208 at 80 degF and freezes later (4.2, sign test)
    (
        "cell one twelve hundred at one hundred degrees fahrenheit",
        None,
        "lowest_temperature=-27degC",
        "faulty",
        "common.state-of-charge",
    ),
]

WHEELS: list[Row] = [
    # DVSA 5.2.2: 4 mm steel, 2 mm alloy, eccentricity 3 mm (6)
    ("front rim lateral run out four millimetres", "GB", "rim=steel", "within", "gb.run-out-steel"),
    ("front rim lateral run out 4.01 mm", "GB", "rim=steel", "beyond", "gb.run-out-steel"),
    ("front rim lateral run out two millimetres", "GB", "rim=alloy", "within", "gb.run-out-alloy"),
    ("front rim lateral run out 2.01 mm", "GB", "rim=alloy", "beyond", "gb.run-out-alloy"),
    ("front rim lateral run out 3 mm", "GB", "", "undecided", None),
    ("front rim radial run out 3 mm", "GB", "", "within", "gb.eccentricity"),
    ("front rim radial run out 3.1 mm", "GB", "", "beyond", "gb.eccentricity"),
    # 49 CFR 570.10(b): 1/8 in total indicator reading = 3.175 mm (6)
    ("front rim radial run out 3.175 mm", "US", "", "within", "cfr570.10b-radial"),
    ("front rim lateral run out 3.18 mm", "US", "", "beyond", "cfr570.10b"),
    # indicator total = highest minus lowest of the dial (6): 1.2 - -0.9 = 2.1 mm
    (
        "front rim lateral run out readings zero, one point two, minus point nine millimetres",
        "GB",
        "rim=alloy",
        "beyond",
        "gb.run-out-alloy",
    ),
    (
        "front rim lateral run out readings zero, one point one, minus point nine millimetres",
        "GB",
        "rim=alloy",
        "within",
        "gb.run-out-alloy",
    ),
    # usual handbook value from memory: never gates (6)
    ("front rim lateral run out 9 mm", None, "", "faulty", None),
    ("front spokes loose", "GB", "", "faulty", "gb.spokes"),  # the manual before 2018: superseded
    ("front spokes bent", "US-VA", "", "beyond", "us-va.spokes"),
    ("front spokes missing", "US-MD", "", "beyond", "us-md.spokes"),
    ("front spokes bent", "US-MD", "", "faulty", None),  # COMAR names loose and missing only
    ("front spokes adjusted a quarter turn", None, "", "within", "common.spoke-turn"),
    ("front spokes adjusted half a turn", None, "", "faulty", "common.spoke-turn"),
    # 19VAC30-70-360 A.7: 4 in at 25 ft, in any direction (7)
    ("headlamp aim four inches low", "US-VA", "", "within", "us-va.headlamp-aim"),
    ("headlamp aim 4.1 in to the left", "US-VA", "", "beyond", "us-va.headlamp-aim"),
    (
        "headlamp aim five inches high at twenty five feet",
        "US-VA",
        "",
        "beyond",
        "us-va.headlamp-aim",
    ),
]

TYRE_MARKS: list[Row] = [
    # H 210 km/h stands between U 200 and V 240 (1.3); load index 58 carries 236 kg (1.2)
    ("rear tyre speed symbol h", None, "speed_symbol=U", "within", None),
    ("rear tyre speed symbol u", None, "speed_symbol=H", "beyond", None),
    ("front tyre load index fifty eight", None, "load_index=58", "within", None),
    ("front tyre load index fifty seven", None, "load_index=58", "beyond", None),
    ("front tyre size 120/70 ZR17 58W", None, "tyre_size_front=120/70 ZR17", "within", None),
    (
        "front tyre size one ten seventy z r seventeen",
        None,
        "tyre_size_front=120/70 ZR17",
        "beyond",
        None,
    ),
    # age from the date code (1.4): week 25 of 2001; more than six years is common practice
    ("rear tyre date code 2501", None, "", "faulty", "common.tyre-age.gone"),
    ("rear tyre date code 2524", None, "", "within", "common.tyre-age.near"),
    ("rear tyre date code 317", None, "", "undecided", None),
]

TORQUE: list[Row] = [
    # exact unit factors (5.1): 50 N.m = 36.878 lbf.ft = 442.54 lbf.in = 5.0986 kgf.m, +-10 %
    (
        "rear axle nut torque forty five newton metres",
        None,
        "torque=50N.m",
        "within",
        "entered.torque",
    ),
    (
        "rear axle nut torque forty four newton metres",
        None,
        "torque=50N.m",
        "faulty",
        "entered.torque",
    ),
    ("rear axle nut torque 55 Nm", None, "torque=50N.m", "within", "entered.torque"),
    ("rear axle nut torque 41 ft-lb", None, "torque=50N.m", "faulty", "entered.torque"),
    ("rear axle nut torque forty foot pounds", None, "torque=50N.m", "within", "entered.torque"),
    ("rear axle nut torque five kilogram metres", None, "torque=50N.m", "within", "entered.torque"),
]

PAPERS: list[Row] = [
    (
        "insurance expires on the fifth of march twenty twenty seven",
        None,
        "date=2027-03-05",
        "within",
        None,
    ),
    (
        "insurance expires on the fifth of march twenty twenty seven",
        None,
        "date=2027-03-06",
        "beyond",
        None,
    ),
    ("registration expires march 2027", None, "date=2027-03-31", "within", None),
    ("registration expires march 2027", None, "date=2027-04-01", "beyond", None),
]

GUARD_BAND: list[Row] = [
    # standards 9.3: lower limit 1.6 mm with U 0.2 mm, upper limit 2.0 mm with U 0.3 mm
    ("rear tread 1.9 mm", "DE", "uncertainty=0.2mm", "within", "de.tread"),
    ("rear tread 1.7 mm", "DE", "uncertainty=0.2mm", "marginal", "de.tread"),
    ("rear tread 1.6 mm", "DE", "uncertainty=0.2mm", "marginal", "de.tread"),
    ("rear tread 1.5 mm", "DE", "uncertainty=0.2mm", "undecided", "de.tread"),
    ("rear tread 1.3 mm", "DE", "uncertainty=0.2mm", "beyond", "de.tread"),
    ("front rim lateral run out 1.6 mm", "GB", "rim=alloy,uncertainty=0.3mm", "within", None),
    ("front rim lateral run out 1.85 mm", "GB", "rim=alloy,uncertainty=0.3mm", "marginal", None),
    ("front rim lateral run out 2.1 mm", "GB", "rim=alloy,uncertainty=0.3mm", "undecided", None),
    ("front rim lateral run out 2.4 mm", "GB", "rim=alloy,uncertainty=0.3mm", "beyond", None),
]

ROWS = [
    *(TREAD + BRAKES + CHAIN + BATTERY + WHEELS + TYRE_MARKS + TORQUE + PAPERS + GUARD_BAND),
]


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


def judged(language: InspectionLanguage, words: str, where: str | None, settings: str) -> Verdict:
    understood = language.understand(words)
    if Flag.THREE_DIGITS in understood.flags:
        understood = language.answer(understood, "affirm")
    assert understood.decision is Decision.ACCEPT, understood.reason
    assert understood.finding is not None
    given = [part for part in settings.split(",") if part]
    if not any(part.startswith("uncertainty") for part in given):
        given.append("uncertainty=0")
    context = parse_context(where, given)
    return assess(understood.finding, shipped_limits(), context, language.catalogue, TODAY).verdict


@pytest.mark.parametrize(
    ("words", "where", "settings", "state", "gate"),
    ROWS,
    ids=lambda value: str(value) if value else "-",
)
def test_words_reach_the_verdict_of_the_source(
    language: InspectionLanguage,
    words: str,
    where: str | None,
    settings: str,
    state: str,
    gate: str | None,
) -> None:
    verdict = judged(language, words, where, settings)
    told = (verdict.gate and verdict.gate.limit.id, verdict.reason)
    assert verdict.state.value == state, told
    if gate is not None:
        assert verdict.gate is not None
        assert verdict.gate.limit.id.partition("/")[0] == gate, told


def test_memory_never_gates_and_common_practice_says_beyond_only_outright(
    language: InspectionLanguage,
) -> None:
    for words, where, settings, _, _ in ROWS:
        verdict = judged(language, words, where, settings)
        if verdict.gate is None:
            continue
        assert verdict.gate.limit.status is not LimitStatus.MEMORY
        if verdict.gate.limit.status is LimitStatus.COMMON:
            assert verdict.state is not State.BEYOND or verdict.gate.limit.outright, words
