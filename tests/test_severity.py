"""What is dangerous is never played down: in the verdict, the jobs, the headline and every face."""

from __future__ import annotations

from datetime import UTC, date, datetime
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner

from fieldlog.aftercare.conclusion import conclude
from fieldlog.aftercare.job_lines import JobLine, Judged, job_lines
from fieldlog.cli import main
from fieldlog.language.files import load_language
from fieldlog.limits.assess import assess
from fieldlog.limits.context import JURISDICTIONS, parse_context
from fieldlog.limits.packs import parse_pack, shipped_limits
from fieldlog.model.finding import Finding, Qualifier, Quantity
from fieldlog.model.limit import Limit
from fieldlog.model.state import Severity, State
from fieldlog.model.understanding import Decision
from fieldlog.model.verdict import InDoubt, Verdict
from fieldlog.report.surroundings import Surroundings
from fieldlog.report.view import build
from fieldlog.store.records import NewEntry
from fieldlog.store.repository import Repository
from fieldlog.words import tell
from fieldlog.words.english import IN_DOUBT

F = Fraction
BY_LESS = IN_DOUBT[InDoubt.BY_LESS_THAN_MEASURED]
MAY_BE = IN_DOUBT[InDoubt.MAY_BE_BEYOND]
LANGUAGE = load_language()
TODAY = date(2026, 11, 25)
EVERYWHERE: tuple[str | None, ...] = (None, *JURISDICTIONS)

NOTHING_LEFT = (
    "front pads zero millimetres",
    "rear pads zero millimetres",
    "rear pads zero inches",
    "front pads about zero millimetres",
    "front pads zero to one millimetres",
    "rear brake shoes zero millimetres",
    "front pads metal to metal",
    "rear pads no lining left",
    "rear brake shoes metal to metal",
    "rear brake shoes no lining left",
    "front tyre zero psi",
    "rear tyre zero psi",
    "rear tyre zero kilopascals",
    "front tyre zero bar",
    "rear tyre hot pressure zero psi",
    "rear tyre flat",
    "front tyre cords showing",
    "rear tyre cords showing",
    "rear tread zero thirty seconds",
    "front tread zero millimetres",
)
"""No lining, no rubber, no air: common practice, since no brake or tyre works without."""


OWN = """
    [pack]
    id = "own"
    title = "own"
    layer = "maker"
    status = "entered by user"
    source = "manual, page 7"
"""
CHARGE = """
    [[limit]]
    id = "own.charge"
    component = "battery"
    characteristic = "state of charge"
    relation = "at least"
    printed = "75 %"
    layer = "common practice"
    status = "common practice"
"""


def rows(*texts: str) -> tuple[Limit, ...]:
    pack, faults = parse_pack("".join((OWN, *texts)), "own.toml")
    assert pack is not None
    assert not faults
    return pack.limits


def finding(words: str) -> Finding:
    understood = LANGUAGE.understand(words)
    assert understood.decision is Decision.ACCEPT, f"{words}: {understood.reason}"
    assert understood.finding is not None
    return understood.finding


def judged(words: str | Finding, where: str | None = None, *settings: str) -> Verdict:
    found = finding(words) if isinstance(words, str) else words
    context = parse_context(where, settings)
    return assess(found, shipped_limits(), context, LANGUAGE.catalogue, TODAY).verdict


def jobs(found: Finding, verdict: Verdict) -> tuple[JobLine, ...]:
    return job_lines([Judged("a", found, verdict)], LANGUAGE.catalogue)


class TestNothingLeft:
    @pytest.mark.parametrize("words", NOTHING_LEFT)
    @pytest.mark.uncounted
    def test_beyond_and_dangerous_everywhere(self, words: str) -> None:
        found = finding(words)
        for where in EVERYWHERE:
            verdict = judged(found, where)
            assert (verdict.state, verdict.severity) == (State.BEYOND, Severity.DANGEROUS), where
            (job,) = jobs(found, verdict)
            assert job.severity is Severity.DANGEROUS
            assert verdict.cautions, where
            headline = conclude([verdict], 3).headline
            assert headline.startswith("1 finding beyond limits, at least one of them dangerous")

    def test_a_recommended_pressure_does_not_make_it_milder(self) -> None:
        # the entered value's own class is major
        verdict = judged("rear tyre zero psi", None, "pressure_rear=36psi")
        assert (verdict.state, verdict.severity) == (State.BEYOND, Severity.DANGEROUS)
        assert verdict.gate is not None
        assert verdict.gate.limit.id == "common.no-air"

    @pytest.mark.parametrize("settings", [("uncertainty=5mm",), ("decision_rule=6 sigma",)])
    def test_no_uncertainty_makes_a_pad_out_of_none(self, settings: tuple[str, ...]) -> None:
        verdict = judged("front pads zero millimetres", "US-VA", *settings)
        assert (verdict.state, verdict.severity) == (State.BEYOND, Severity.DANGEROUS)

    def test_the_reason_says_by_whose_word(self) -> None:
        reason = judged("front pads zero millimetres").reason
        assert "common practice: no friction material is left" in reason

    @pytest.mark.parametrize(
        ("words", "state"),
        [
            ("front tyre thirty psi", State.UNDECIDED),  # no recommended pressure is entered
            ("front tyre one psi", State.FAULTY),  # that cannot be right
            ("front pads four millimetres", State.WITHIN),
            ("front pads one point five millimetres", State.MARGINAL),  # 1/16 in, U 0.2 mm
            ("front pads zero point five millimetres", State.FAULTY),
            ("front pads less than one millimetre", State.FAULTY),
            ("front pads less than two millimetres", State.UNDECIDED),
        ],
    )
    def test_a_row_that_nothing_is_wrong_by_says_nothing(self, words: str, state: State) -> None:
        verdict = judged(words, "DE")
        assert verdict.state is state
        shown = [verdict.gate, *verdict.others]
        assert not [each for each in shown if each is not None and each.limit.outright]

    def test_the_pressure_that_is_lacking_is_still_asked_for(self) -> None:
        assert "set pressure_front" in judged("front tyre thirty psi").reason

    def test_tread_is_gone_only_where_none_is_left_at_all(self) -> None:
        # one bare groove of four: each country's own rule of points decides, as before
        tread = tuple(Quantity(F(value), "mm") for value in ("0", "2", "2", "2"))
        some = Finding("tyre", "rear", "tread depth", tread[0], readings=tread)
        assert judged(some, "FR").state is not State.BEYOND
        none = Finding("tyre", "rear", "tread depth", tread[0], readings=(tread[0],) * 4)
        assert (judged(none, "FR").state, judged(none).severity) == (
            State.BEYOND,
            Severity.DANGEROUS,
        )


class TestOwnSeverity:
    @pytest.mark.parametrize("where", [None, "GB", "DE", "US-VA"])
    @pytest.mark.parametrize(
        "words",
        [
            "front disc run out three millimetres",
            "battery charging voltage seventeen volts",
            "battery six volts",
            "rear tyre date code one zero zero one",
            "front tyre age twenty five years",
            "rear tread one thirty second",
            "rear pads point five millimetres",
            "rear brake shoes point five millimetres",
        ],
    )
    def test_outside_is_never_minor(self, words: str, where: str | None) -> None:
        verdict = judged(words, where)
        assert verdict.severity in (Severity.MAJOR, Severity.DANGEROUS), verdict
        assert jobs(finding(words), verdict)

    def test_just_inside_is_minor(self) -> None:
        # 19VAC30-70-340 B.4: 2/32 in = 1.5875 mm; U = 0.2 mm
        verdict = judged("front pads one point seven millimetres", "US-VA")
        assert (verdict.state, verdict.severity) == (State.MARGINAL, Severity.MINOR)

    def test_the_worst_of_two_rows_counts(self) -> None:
        # Virginia's 2/32 in is dangerous, the owner's own 5 mm only major and further away
        own = rows("""
            [[limit]]
            id = "own.pads"
            component = "brake pads"
            characteristic = "thickness"
            relation = "at least"
            printed = "5 mm"
        """)
        verdict = assess(
            finding("front pads one millimetre"), (*shipped_limits(), *own),
            parse_context("US-VA"), LANGUAGE.catalogue, TODAY,
        ).verdict  # fmt: skip
        assert verdict.gate is not None
        assert verdict.gate.limit.id == "own.pads"
        assert verdict.severity is Severity.DANGEROUS

    def test_a_pack_makes_no_dangerous_condition_milder(self) -> None:
        # the row of the British manual names no class of its own
        verdict = judged("front axle loose", "GB")
        assert (verdict.state, verdict.severity) == (State.BEYOND, Severity.DANGEROUS)

    def test_level_with_the_bars_is_worn_out_though_an_equipment_standard_is_just_met(self) -> None:
        # FMVSS 119 S6.4: bars stand 1/32 in high
        for words in ("rear tread one thirty second", "rear tyre at the wear bars"):
            verdict = judged(words)
            assert (verdict.state, verdict.severity) == (State.BEYOND, Severity.DANGEROUS)

    @pytest.mark.parametrize(
        ("words", "step", "severity"),
        [  # shop minimum 3/32 in, worn at 2/32 in; U = 0.2 mm
            ("rear tread two point one millimetres", "near", Severity.MINOR),
            ("rear tread one point two millimetres", "worn", Severity.MAJOR),
            ("rear tyre age seven years", "near", Severity.MINOR),
            ("rear tyre age eleven years", "old", Severity.MAJOR),
            ("rear tyre age twenty five years", "gone", Severity.DANGEROUS),
        ],
    )
    def test_a_graded_row_says_how_far_gone(
        self, words: str, step: str, severity: Severity
    ) -> None:
        verdict = judged(words)
        assert verdict.gate is not None
        assert (verdict.state, verdict.gate.limit.step) == (State.FAULTY, step)
        assert verdict.severity is severity

    def test_what_is_computed_keeps_its_severity_and_its_cautions(self) -> None:
        verdict = judged("rear tyre date code one zero zero one")
        assert verdict.severity is Severity.DANGEROUS
        assert verdict.cautions


class TestNotPlayedDown:
    """What a mechanic does not let out of the shop, in every jurisdiction."""

    @pytest.mark.parametrize("where", [None, "US-VA", "US-MD", "GB", "DE", "NZ", "CA-QC"])
    @pytest.mark.parametrize(
        "words",
        [
            "rear tyre bald", "rear tyre no tread left", "rear tread below the wear bars",
            "rear tyre at wear bars", "oil on the rear tyre", "front disc oily",
            "oil on the front disc", "rear drum oily", "front pads worn to the metal",
            "rear shoes worn to the rivets", "front pads 0.5 mm", "rear shoes half a millimetre",
            "front rim lateral run-out 10 mm", "throttle body sticking", "carburetor sticking",
            "fuel cap leaking",
        ],
    )  # fmt: skip
    @pytest.mark.uncounted
    def test_it_is_dangerous(self, words: str, where: str | None) -> None:
        assert judged(words, where).severity is Severity.DANGEROUS

    def test_too_little_air_is_put_right_before_riding(self) -> None:
        assert judged("front tyre pressure low", None).severity is Severity.MAJOR

    def test_said_by_its_side_it_is_not_the_worst_at_once(self) -> None:
        assert judged("front pads less than three millimetres", None).severity in (
            None, Severity.MAJOR,
        )  # fmt: skip


class TestInDoubt:
    # 19VAC30-70-340 B.4: 2/32 in = 1.5875 mm; 1.5 mm read with U = 0.2 mm is outside by less
    PADS = "front pads one point five millimetres"

    def test_outside_by_less_than_the_uncertainty_counts(self) -> None:
        verdict = judged(self.PADS, "US-VA")
        assert (verdict.state, verdict.severity) == (State.UNDECIDED, Severity.DANGEROUS)
        assert verdict.in_doubt is InDoubt.BY_LESS_THAN_MEASURED
        (job,) = jobs(finding(self.PADS), verdict)
        assert job.severity is Severity.DANGEROUS
        assert job.do == "brake pads: replace the pads of this end as a set"
        assert job.advice[0].startswith("undecided: outside by no more than the guard band")
        headline = conclude([verdict, Verdict(State.WITHIN, None)], 0).headline
        assert headline.startswith(f"1 finding {BY_LESS}, at least one of them dang")
        assert "without a decision" not in headline

    def test_an_entered_limit_too(self) -> None:
        disc = "front disc thickness four point four nine millimetres"  # U = 0.02 mm
        verdict = judged(disc, None, "disc_minimum=4.5mm")
        assert (verdict.state, verdict.severity) == (State.UNDECIDED, Severity.DANGEROUS)
        assert jobs(finding(disc), verdict)

    def test_at_an_open_end_too(self) -> None:
        # more than 0 mm of tread on a moped (DVSA); 0.1 mm less than nothing is never read, so
        # an entered "less than" stands for it: it froze at the lowest temperature it stood in
        at = Finding("battery", None, "freezing point", Quantity(F(-20), "degC"))
        verdict = judged(at, None, "lowest_temperature=-20degC")
        assert (verdict.state, verdict.severity) == (State.UNDECIDED, Severity.DANGEROUS)

    @pytest.mark.parametrize(
        ("words", "where", "severity"),
        [
            # Quebec 135 (9)(a): 1.6 mm of bonded lining, 3.2 mm of riveted; which it is is not set
            ("front pads two millimetres", "CA-QC", Severity.DANGEROUS),
            # steel 4 mm, alloy 2 mm (DVSA 5.2.2)
            ("front rim lateral run out three millimetres", "GB", Severity.MAJOR),
            # common practice alone would have asked for work
            ("front pads less than two millimetres", "US-VA", Severity.MAJOR),
            ("rear tread more than one millimetre", "DE", Severity.MAJOR),
        ],
    )
    def test_what_may_be_beyond_counts(self, words: str, where: str, severity: Severity) -> None:
        verdict = judged(words, where)
        assert (verdict.state, verdict.severity) == (State.UNDECIDED, severity)
        assert verdict.in_doubt is InDoubt.MAY_BE_BEYOND
        assert jobs(finding(words), verdict)
        assert conclude([verdict], 0).headline.startswith(f"1 finding {MAY_BE}")

    @pytest.mark.parametrize(
        ("words", "where"),
        [
            ("front tyre thirty psi", None),  # nothing to hold it against
            ("front rim lateral run out two millimetres", "GB"),  # at one limit, inside the other
        ],
    )
    def test_what_is_plainly_open_makes_no_job(self, words: str, where: str | None) -> None:
        verdict = judged(words, where)
        assert (verdict.state, verdict.severity) == (State.UNDECIDED, None)
        assert (verdict.in_doubt, tell.doubt(verdict)) == (None, "")
        assert not jobs(finding(words), verdict)
        assert "1 finding without a decision" in conclude([verdict], 0).headline

    def test_the_headline_of_many(self) -> None:
        near = judged(self.PADS, "US-VA")
        gone = judged("rear pads zero millimetres", "US-VA")
        low = judged("battery twelve point three volts", "US-VA")
        open_ = judged("front tyre thirty psi", "US-VA")
        assert conclude([low, open_, near, near, gone], 2).headline == (
            "1 finding beyond limits, 2 findings outside their limits by less than the measuring "
            "uncertainty and 1 fault that no cited limit covers, at least one of "
            "them dangerous: do not ride it before this is put right. "
            "1 finding without a decision and 2 items not checked."
        )

    def test_an_open_verdict_hides_no_other(self) -> None:
        # whether it was charged leaves the voltage open; the charge computed from it is low all the same
        own = rows(
            """
            [[limit]]
            id = "own.any"
            component = "battery"
            characteristic = "resting voltage"
            relation = "at least"
            printed = "12.0 V"
            applies = { charge = "unknown" }
            [[limit]]
            id = "own.charged"
            component = "battery"
            characteristic = "resting voltage"
            relation = "at least"
            printed = "12.29 V"
            applies = { charge = "charged" }
            """,
            CHARGE,
        )
        low = finding("battery twelve point three volts")
        got = assess(low, own, parse_context(), LANGUAGE.catalogue, TODAY)
        assert (got.verdict.state, got.verdict.severity) == (State.FAULTY, Severity.MAJOR)
        assert {each.limit.id for each in got.verdict.others} >= {"own.any", "own.charged"}

    def test_the_milder_of_two_that_are_alike_does_not_hide_the_other(self) -> None:
        # 12.3 V is inside 12.28 V by less than U = 0.05 V, and three quarters charged it is not
        own = rows(
            """
            [[limit]]
            id = "own.rest"
            component = "battery"
            characteristic = "resting voltage"
            relation = "at least"
            printed = "12.28 V"
            """,
            CHARGE,
        )
        low = finding("battery twelve point three volts")
        got = assess(low, own, parse_context(), LANGUAGE.catalogue, TODAY)
        assert (got.verdict.state, got.verdict.severity) == (State.FAULTY, Severity.MAJOR)
        assert got.verdict.gate is not None
        assert got.verdict.gate.limit.id == "own.charge"
        assert "own.rest" in {each.limit.id for each in got.verdict.others}


class TestFaces:
    """The report, the terminal and ``why`` tell what may be beyond, each at its head."""

    @pytest.fixture
    def shop(self, tmp_path: Path) -> Path:
        with Repository.open(tmp_path) as store:
            vehicle = store.add_vehicle("blue roadster")
            at = datetime(2026, 11, 25, 9, tzinfo=UTC)
            head = store.start_inspection(vehicle.id, started_at=at, jurisdiction="US-VA")
            for words in (
                "front tyre thirty psi",
                "battery charging voltage seventeen volts",
                "front rim dirty",
                TestInDoubt.PADS,
            ):
                found = finding(words)
                store.save(head.id, NewEntry(finding=found, verdict=judged(found, "US-VA")))
        return tmp_path

    def test_the_card(self, shop: Path) -> None:
        with Repository.open(shop) as store:
            record = store.inspection_record("last")
        report = build(record, Surroundings(LANGUAGE.catalogue, datetime(2026, 11, 26, tzinfo=UTC)))
        assert report.headline.startswith(f"1 finding {BY_LESS} and 2 faults that")
        assert [row.number for row in report.off] == [4, 2, 3, 1]
        first = report.off[0]
        assert (first.state, first.severity) == ("undecided", "dangerous")
        (job,) = [job for job in report.jobs if job.because == (4,)]
        assert job.severity == "dangerous"
        assert any("Brakes decide" in caution for caution in report.cautions)

    def test_major_in_doubt_stands_before_minor_near_a_limit(self, tmp_path: Path) -> None:
        with Repository.open(tmp_path) as store:
            vehicle = store.add_vehicle("red single")
            head = store.start_inspection(vehicle.id, jurisdiction="GB")
            for words in ("front rim dirty", "front rim lateral run out three millimetres"):
                found = finding(words)
                store.save(head.id, NewEntry(finding=found, verdict=judged(found, "GB")))
            record = store.inspection_record("last")
        report = build(record, Surroundings(LANGUAGE.catalogue, datetime(2026, 11, 26, tzinfo=UTC)))
        assert [row.number for row in report.off] == [2, 1]

    @pytest.mark.parametrize(
        ("command", "told"),
        [
            (("inspection", "show", "last"), f"front brake pads, thickness: 1.5 mm, dangerous, "
             f"{BY_LESS}"),
            (("inspection", "show", "last"), f"\n1 finding {BY_LESS} and 2 faults that"),
            (("inspection", "jobs", "last"), "[dangerous] replace the pads of this end as a set"),
        ],
    )  # fmt: skip
    def test_the_inspection(self, shop: Path, command: tuple[str, ...], told: str) -> None:
        result = CliRunner().invoke(main, [*command, "--store", str(shop)])
        assert result.exit_code == 0, result.output
        assert told in result.output

    def test_parse(self) -> None:
        result = CliRunner().invoke(main, ["parse", TestInDoubt.PADS, "--jurisdiction", "US-VA"])
        assert f"undecided (dangerous) {BY_LESS}" in result.output

    def test_why(self) -> None:
        result = CliRunner().invoke(main, ["why", TestInDoubt.PADS, "--jurisdiction", "US-VA"])
        assert "UNDECIDED, dangerous" in result.output
        assert BY_LESS in " ".join(result.output.split())

    def test_why_does_not_invent_a_guard_band_where_nothing_is_left(self) -> None:
        result = CliRunner().invoke(main, ["why", "front pads zero millimetres"])
        assert "BEYOND, dangerous" in result.output
        assert "no uncertainty brings back what is gone" in result.output


class TestOutrightRows:
    HEAD = """
        [pack]
        id = "shop"
        title = "shop"
        layer = "common practice"
        status = "common practice"
        source = "common practice"
    """
    ROW = """
        [[limit]]
        id = "shop.play"
        component = "wheel bearing"
        characteristic = "play"
        relation = "at most"
        printed = "4 mm"
        outright = true
        severity = "dangerous"
        section = "the wheel is about to come off its bearing"
    """

    def test_any_pack_may_have_one(self) -> None:
        pack, faults = parse_pack(self.HEAD + self.ROW, "shop.toml")
        assert pack is not None
        assert not faults
        play = Finding("wheel bearing", "rear", "play", Quantity(F(5), "mm"))
        rows = (*shipped_limits(), *pack.limits)
        verdict = assess(play, rows, parse_context("DE"), LANGUAGE.catalogue, TODAY).verdict
        assert (verdict.state, verdict.severity) == (State.BEYOND, Severity.DANGEROUS)
        assert pack.limits[0].outright

    @pytest.mark.parametrize(
        ("old", "new", "fault"),
        [
            ("outright = true", 'outright = "yes"', "outright is neither true nor false"),
            ("outright = true", "outright = 1", "outright is neither true nor false"),
            (
                'section = "the wheel is about to come off its bearing"',
                "",
                "outright without a section that says what leaves no room",
            ),
            (
                'severity = "dangerous"',
                'layer = "memory"\nstatus = "from memory"',
                "outright, but from memory: it must not gate",
            ),
            (
                'relation = "at most"\n        printed = "4 mm"',
                'conditions = ["loose"]\noutcome = "marginal"',
                "outright, but its outcome is 'marginal'",
            ),
        ],
    )
    def test_what_it_must_say(self, old: str, new: str, fault: str) -> None:
        assert old in self.ROW
        _, faults = parse_pack(self.HEAD + self.ROW.replace(old, new), "shop.toml")
        assert faults == [f"shop.toml: limit shop.play: {fault}"]

    def test_one_side_only_is_not_outside(self) -> None:
        some = Quantity(F(1), "mm", qualifier=Qualifier.LESS)
        verdict = judged(Finding("brake pads", "front", "thickness", some), "DE")
        assert verdict.state is State.FAULTY  # less than 1 mm is less than 1/16 in, not none

    def test_common_practice_otherwise_never_says_beyond(self) -> None:
        for row in shipped_limits():
            if row.layer == "common practice" and row.outright:
                assert row.severity is Severity.DANGEROUS
                assert row.words or row.value == 0 or row.printed == "1/32 in"  # the indicators
