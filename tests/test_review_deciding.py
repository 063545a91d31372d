"""What needs a decision comes first, by chance times change; the rest is drawn blind (pure)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

import pytest
from scipy.stats import beta

from fieldlog.doubt.files import shipped_rules
from fieldlog.language.files import load_language
from fieldlog.model.finding import Finding
from fieldlog.model.hearing import Hypothesis
from fieldlog.model.state import Severity, State
from fieldlog.model.understanding import Decision, Flag, Kind
from fieldlog.model.verdict import Verdict
from fieldlog.review.deciding import Need, Offered, Weighing, chance_wrong, offers, ordered
from fieldlog.review.exchanges import Exchange
from fieldlog.review.sample import SHARE, Statement, draw, drawn, statement, upper_bound
from fieldlog.store.records import (
    Inspection,
    InspectionRecord,
    Photo,
    RecordedFinding,
    Stretch,
    Utterance,
    Vehicle,
)
from fieldlog.store.reviews import Decided, Review
from tests.store_samples import START

LANGUAGE = load_language()
RULES = shipped_rules()
CLEAR = {"margin": 8.0, "logprob": -0.2, "bend": 0.0, "tail": 0.0, "tokens": 10.0}
DIM = {"margin": 0.9, "logprob": -8.0, "bend": -0.6, "tail": -1.0, "tokens": 10.0}


def said(number: int, text: str, *others: str, evidence: dict[str, float] = CLEAR,
         decision: Decision = Decision.ACCEPT, flags: tuple[str, ...] = (),
         stretches: tuple[Stretch, ...] = ()) -> Utterance:  # fmt: skip
    heard = tuple(("whisper", Hypothesis(each, 0.0, evidence)) for each in (text, *others))
    at = START + timedelta(seconds=number)
    return Utterance(f"u{number}", number, at, number, number + 1.5, "walk.flac", f"{number}.flac",
                     "whisper", "", "", 1.0, decision, Kind.FINDING, "", text, "", None, flags,
                     heard, stretches=stretches)  # fmt: skip


def verdict(found: Finding) -> Verdict:
    """As if pads under two millimetres were dangerous and everything else within."""
    low = found.quantity is not None and found.quantity.value < 2
    if low:
        return Verdict(State.BEYOND, None, severity=Severity.DANGEROUS)
    return Verdict(State.WITHIN, None)


def work(found: Finding, judged: Verdict) -> frozenset[str]:
    return frozenset({found.component}) if judged.state is State.BEYOND else frozenset()


def exchange(one: Utterance, *, taken: bool = True) -> Exchange:
    understood = LANGUAGE.understand(one.text)
    findings = tuple(
        RecordedFinding(f"{one.id}-{n}", n, one.said_at, found, verdict(found), one.id)
        for n, found in enumerate(understood.offered if taken else ())
    )
    return Exchange(one.id, (one,), findings, (), (), (one.id,))


def record(*exchanges: Exchange, photos: Sequence[Photo] = ()) -> InspectionRecord:
    head = Inspection("i", 1, "v", "grey twin", START, "UTC", "", "", None, {}, "", 0)
    return InspectionRecord(
        head,
        Vehicle("v", 1, "grey twin"),
        tuple(each for one in exchanges for each in one.said),
        tuple(each for one in exchanges for each in one.findings),
        photos=tuple(photos),
    )


def offered(one: Exchange) -> tuple[Offered, ...]:
    return offers(one, LANGUAGE.understand)


def weighed(*exchanges: Exchange, photos: Sequence[Photo] = ()) -> list[tuple[str, Need | None]]:
    weighing = Weighing(offered, verdict, work, RULES)
    found = weighing.weighed(record(*exchanges, photos=photos), exchanges)
    return [(e.exchange.id if e.exchange else "photo", e.need) for e in found]


def test_what_was_heard_clearly_needs_nobody() -> None:
    assert weighed(exchange(said(1, "front brake pads five millimetres"))) == [("u1", None)]


def test_a_question_and_what_nobody_understood_need_somebody() -> None:
    asked = exchange(said(1, "brake pads two millimetres", decision=Decision.ASK), taken=False)
    lost = exchange(said(2, "mumble", decision=Decision.REFUSE), taken=False)
    more = exchange(said(3, "left fork seal sound", flags=(Flag.MORE_SAID,)))
    left = exchange(said(4, "fuel line sound", stretches=(Stretch(4.5, 5.5),)))
    assert weighed(asked, lost, more, left) == [
        ("u1", Need.QUESTION),
        ("u2", Need.NOT_UNDERSTOOD),
        ("u3", Need.MORE_SAID),
        ("u4", Need.MORE_SAID),
    ]


def test_a_doubtful_value_is_asked_by_what_its_other_reading_would_change() -> None:
    dull = "front brake pads six millimetres", "front brake pads seven millimetres"
    grave = "rear brake pads six millimetres", "rear brake pads one millimetre"
    exchanges = [exchange(said(n, *each, evidence=DIM)) for n, each in enumerate((dull, grave))]
    weighing = Weighing(offered, verdict, work, RULES)
    found = weighing.weighed(record(*exchanges), exchanges)
    assert [each.need for each in found] == [Need.DOUBT, Need.DOUBT]
    assert [each.exchange.id for each in ordered(found) if each.exchange] == ["u1", "u0"]
    assert found[1].change > 8 > found[0].change


def test_evidence_tells_how_likely_it_is_wrong() -> None:
    words = "front brake pads six millimetres"
    clear, dim = (chance_wrong(exchange(said(1, words, evidence=e)), RULES) for e in (CLEAR, DIM))
    assert clear < 0.01 < 0.05 < dim
    typed = replace(said(1, words), clip=None)
    assert chance_wrong(exchange(typed), RULES) == 0.0


def test_readings_are_what_was_heard_and_what_sounds_like_it_once_each() -> None:
    words = "front brake pads five millimetres"
    one = exchange(said(1, words, "front pads at five millimetres", "front pads nine millimetres"))
    texts = [each.text for each in offers(one, LANGUAGE.understand)]
    assert texts[0] == one.said[0].text
    assert "front pads at five millimetres" not in texts
    assert "front pads nine millimetres" in texts
    assert len(texts) == len({r.meaning for r in offers(one, LANGUAGE.understand)})

    end = exchange(said(3, "brake pads two millimetres", decision=Decision.ASK), taken=False)
    offered = offers(end, LANGUAGE.understand)
    assert [each.findings[0].position for each in offered[:2]] == ["front", "rear"]
    assert len({each.mark for each in offered}) == len(offered)

    torque = exchange(said(2, "front axle nut fifteen newton metres"))
    assert "front axle nut fifty newton metres" in [
        each.text for each in offers(torque, LANGUAGE.understand)
    ]


def test_what_was_decided_needs_nobody_and_what_came_later_does() -> None:
    one = exchange(said(1, "brake pads two millimetres", decision=Decision.ASK), taken=False)
    review = Review("r", START, Decided.NOTHING, "", "u1", None, None, None, False, "", None)
    settled = replace(one, reviews=(review,))
    assert weighed(settled) == [("u1", None)]
    late = exchange(said(1, "front brake pads two millimetres"))
    after = replace(
        late.findings[0], made_at=START - timedelta(hours=1), turn=1
    )  # a clock set back
    assert replace(late, findings=(after,), reviews=(review,)).decided is None


def test_a_photo_without_a_place_comes_last() -> None:
    photo = Photo("p", "m", "IMG.JPG", "jpeg", None, None, None, None, None, None)
    asked = exchange(said(1, "brake pads two millimetres", decision=Decision.ASK), taken=False)
    found = Weighing(offered, verdict, work, RULES).weighed(record(asked, photos=[photo]), [asked])
    assert [each.need for each in ordered(found)] == [Need.QUESTION, Need.PHOTO]


def test_the_draw_is_of_the_content_and_about_one_in_twenty() -> None:
    exchanges = [exchange(said(n, "front brake pads five millimetres")) for n in range(2000)]
    share = sum(drawn(each) for each in exchanges) / len(exchanges)
    assert abs(share - SHARE) < 0.015
    moved = replace(exchanges[7].said[0], id="another", number=99)
    assert draw(replace(exchanges[7], id="another", said=(moved,))) == draw(exchanges[7])
    nothing = [exchange(each.said[0], taken=False) for each in exchanges]
    assert not any(drawn(each) for each in nothing)


@pytest.mark.parametrize(("wrong", "of"), [(0, 1), (0, 60), (1, 60), (3, 200), (59, 60)])
def test_the_bound_is_that_of_clopper_and_pearson(wrong: int, of: int) -> None:
    expected = float(beta.ppf(0.95, wrong + 1, of - wrong))
    assert upper_bound(wrong, of) == pytest.approx(expected, abs=1e-9)
    assert upper_bound(of, of) == 1.0


def test_under_sixty_nothing_is_stated_and_each_thing_counts_once() -> None:
    def reviewed(n: int, decided: Decided, of: str) -> Review:
        return Review(f"r{n}", START, decided, "", of, None, None, None, True, "", None)

    right = [reviewed(n, Decided.AS_HEARD, f"u{n}") for n in range(59)]
    assert not statement(right).enough
    wrong = reviewed(60, Decided.CORRECTED, "u60")
    again = reviewed(61, Decided.AS_HEARD, "u60")
    told = statement([*right, wrong, again])
    assert told == Statement(60, 1)
    assert told.enough
    assert told.at_most == pytest.approx(0.0769, abs=1e-3)
    unsampled = [replace(each, sampled=False) for each in right]
    assert statement(unsampled) == Statement(0, 0)


def test_understanding_is_never_asked_of_what_is_sure() -> None:
    one = exchange(said(1, "front brake pads five millimetres"))

    def never(_: Exchange) -> tuple[Offered, ...]:
        raise AssertionError("300 sure findings would each be understood anew")

    Weighing(never, verdict, work, RULES).weighed(record(one), [one])
