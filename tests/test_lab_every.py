"""Every entry of the catalogue has a phrase, and what is heard of it is counted."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
import soundfile as sf

from fieldlog.audio.clip import RATE, Clip
from fieldlog.errors import AudioError
from fieldlog.lab.benchmarks import hearing_every
from fieldlog.lab.benchmarks.calibrate_evidence import Line
from fieldlog.lab.benchmarks.hearing_every import hear_every, phrases
from fieldlog.lab.benchmarks.hearing_reach import reach
from fieldlog.lab.speech_set.voices import TEST, Job, Voice
from fieldlog.language.files import load_language
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.hearing import Hearing, Hypothesis


@pytest.fixture(scope="module")
def language() -> InspectionLanguage:
    return load_language()


def test_a_phrase_for_every_component_characteristic_unit_and_condition(
    language: InspectionLanguage,
) -> None:
    found, unsaid = phrases(language)
    assert unsaid == []
    heard = [
        Line(
            words, TEST, "phrase", "clean", words, (), 1.0,
            Hearing("x", (Hypothesis(words, 0.0),), 1.0), {},
        )
        for words in found
    ]  # fmt: skip
    rows = reach(heard, language)
    assert [(row.kind, row.never_said) for row in rows if row.never_said] == []
    assert [row.right for row in rows] == [row.entries for row in rows]


class Deaf:
    """Hears the first phrase every time."""

    name = "deaf"

    def hear(self, clip: Clip) -> Hearing:
        assert clip.duration_s > 0.9
        return Hearing(self.name, (Hypothesis("battery terminals corroded", 0.0),), 1.0)


def buzz(jobs: Sequence[Job]) -> None:
    for job in jobs:
        sf.write(job.path, 0.3 * np.sign(np.sin(np.arange(RATE // 2) * 0.05)), RATE)


def test_what_is_heard_wrong_is_not_counted(
    language: InspectionLanguage, monkeypatch: pytest.MonkeyPatch
) -> None:
    said = ["battery terminals corroded", "horn works", "rear tread four millimetres"]
    monkeypatch.setattr(hearing_every, "phrases", lambda language: (said, ["x: y"]))
    monkeypatch.setattr(hearing_every, "speak", buzz)
    steps: list[tuple[int, int]] = []
    found = hear_every(
        Deaf(),  # type: ignore[arg-type]
        language,
        lambda done, of: steps.append((done, of)),
        [Voice("toy", "toy", "", TEST)],
    )
    assert (found.phrases, found.voices, found.unsaid) == (3, ("toy",), ("x: y",))
    assert steps == [(1, 3), (2, 3), (3, 3)]
    component = found.reached[0]
    assert (component.said, component.right) == (3, 1)


def test_without_a_voice_it_says_what_to_install(
    language: InspectionLanguage, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(hearing_every, "available", lambda: ([], {"x": "apt install espeak-ng"}))
    with pytest.raises(AudioError, match="espeak-ng"):
        hear_every(Deaf(), language)  # type: ignore[arg-type]
