"""The endpointing benchmark measures what it says, on sounds whose truth is known."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from click.testing import CliRunner

from fieldlog.audio.clip import RATE
from fieldlog.audio.endpointer import EndpointSettings
from fieldlog.lab.benchmarks.endpointing import endpointing, halves, measure, spoken_part
from tests.test_audio_endpointer import Loudness, stream


def files(folder: Path, *pieces: tuple[float, ...]) -> list[Path]:
    paths = []
    for number, lengths in enumerate(pieces):
        paths.append(folder / f"{number}.wav")
        sf.write(paths[-1], stream(*lengths), RATE)
    return paths


def test_spoken_part_is_from_the_first_to_the_last_voiced_frame() -> None:
    assert spoken_part(stream(-1.0, 1.0, -0.5, 0.5, -1.0), Loudness()) == pytest.approx(
        (1.0, 3.0), abs=0.04
    )
    assert spoken_part(stream(-1.0), Loudness()) is None


def test_row_tells_whole_split_and_silent_files(tmp_path: Path) -> None:
    paths = files(
        tmp_path, (-1.0, 1.0, -2.0), (-1.0, 1.0, -1.5, 1.0, -2.0), (-3.0,), (-0.5, 0.5, -2.0)
    )
    row = measure(paths, None, None, EndpointSettings(), Loudness())
    assert (row.noise, row.files) == ("clean", 3)
    assert row.exactly_one_and_whole == pytest.approx(2 / 3)
    assert row.split == pytest.approx(1 / 3)
    assert (row.missed, row.extra, row.start_cut, row.end_cut) == (0.0, 0.0, 0.0, 0.0)
    assert row.end_known_after_s == pytest.approx(0.77, abs=0.05)
    assert row.kept_after_speech_s == pytest.approx(0.32, abs=0.04)


def test_noise_loud_enough_to_count_as_voice_shows(tmp_path: Path) -> None:
    paths = files(tmp_path, (-2.0, 1.0, -2.0))
    noise = np.random.default_rng(0).standard_normal(10 * RATE).astype(np.float32)
    row = measure(paths, noise, 0.0, EndpointSettings(), Loudness())
    assert row.noise == "0 dB"
    assert row.kept_after_speech_s > 1.0


def test_halves_are_fixed_and_disjoint() -> None:
    names = [Path(f"{n}.flac") for n in range(11)]
    tune, test = halves(names)
    assert sorted([*tune, *test]) == sorted(names)
    assert (len(tune), len(test)) == (5, 6)
    assert halves(list(reversed(names))) == (tune, test)


def test_command_prints_a_table(tmp_path: Path) -> None:
    (tmp_path / "speech").mkdir()
    files(tmp_path / "speech", (-1.0, 1.0, -2.0), (-1.0, 1.0, -2.0))
    sf.write(tmp_path / "noise.wav", stream(5.0), RATE)
    done = CliRunner().invoke(
        endpointing,
        [
            "--speech",
            str(tmp_path / "speech"),
            "--noise",
            str(tmp_path / "noise.wav"),
            "--half",
            "all",
        ],
    )
    assert done.exit_code == 0
    assert "exactly_one_and_whole" in done.output
    assert "12 dB" in done.output
