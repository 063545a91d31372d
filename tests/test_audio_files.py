"""Audio files of every kind and in every kind of trouble."""

from __future__ import annotations

import os
import struct
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
import soundfile as sf
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.signal import resample_poly

from fieldlog.audio.clip import RATE
from fieldlog.audio.ffmpeg import FlowReader, PyAvReader
from fieldlog.audio.files import open_audio, read_clip
from fieldlog.audio.wav import header
from fieldlog.errors import AudioError


def tone(rate: int, seconds: float, hertz: float = 440.0) -> NDArray[np.float32]:
    t = np.arange(round(rate * seconds)) / rate
    return (0.4 * np.sin(2 * np.pi * hertz * t)).astype(np.float32)


def everything(path: Path, block_s: float = 0.3) -> NDArray[np.float32]:
    with open_audio(path) as audio:
        return np.concatenate(list(audio.blocks(block_s)))


KINDS = [
    (rate, channels, kind, subtype)
    for rate in (8000, 16000, 22050, 44100, 48000)
    for channels in (1, 2)
    for kind, subtype in [
        ("wav", "PCM_U8"),
        ("wav", "PCM_16"),
        ("wav", "PCM_24"),
        ("wav", "PCM_32"),
        ("wav", "FLOAT"),
        ("wav", "ULAW"),
        ("flac", "PCM_16"),
        ("flac", "PCM_24"),
        ("ogg", "VORBIS"),
        ("mp3", "MPEG_LAYER_III"),
        ("aiff", "PCM_16"),
    ]
]


@pytest.mark.parametrize(("rate", "channels", "kind", "subtype"), KINDS)
def test_any_rate_width_and_channel_count_gives_the_same_tone(
    tmp_path: Path, rate: int, channels: int, kind: str, subtype: str
) -> None:
    sound = tone(rate, 1.5)
    path = tmp_path / f"tone.{kind}"
    sf.write(path, np.stack([sound] * channels, axis=1), rate, subtype=subtype)
    heard = everything(path)
    assert abs(len(heard) - 1.5 * RATE) <= 0.005 * RATE
    middle = heard[RATE // 4 : RATE]
    spectrum = np.abs(np.fft.rfft(middle * np.hanning(len(middle))))
    peak = np.argmax(spectrum) * RATE / len(middle)
    assert peak == pytest.approx(440.0, abs=1.5), "decoded at a wrong rate"
    assert np.sqrt(np.mean(middle**2)) == pytest.approx(0.4 / np.sqrt(2), rel=0.05)


def test_conversion_agrees_with_an_independent_resampler(tmp_path: Path) -> None:
    """scipy.signal.resample_poly is another implementation with another filter."""
    rng = np.random.default_rng(3)
    rough = rng.standard_normal(48_000).astype(np.float32)
    smooth = np.convolve(rough, np.hanning(48), mode="same").astype(np.float32)
    smooth *= 0.3 / np.abs(smooth).max()
    path = tmp_path / "noise.wav"
    sf.write(path, smooth, 48_000, subtype="FLOAT")
    ours = everything(path)
    theirs = resample_poly(smooth, 1, 3)
    assert np.abs(ours[200:-200] - theirs[200:-200]).max() < 0.005


@given(block=st.integers(1, 5000))
@settings(max_examples=15, deadline=None)
def test_block_length_never_changes_the_samples(
    tmp_path_factory: pytest.TempPathFactory, block: int
) -> None:
    path = tmp_path_factory.getbasetemp() / "blocks.wav"
    if not path.exists():
        sf.write(path, np.stack([tone(44_100, 0.4), tone(44_100, 0.4, 700)], axis=1), 44_100)
    whole = everything(path, 10.0)
    assert np.array_equal(everything(path, block / RATE), whole)


def test_blocks_start_again_at_the_beginning(tmp_path: Path) -> None:
    sf.write(tmp_path / "a.flac", tone(22_050, 1.0), 22_050)
    with open_audio(tmp_path / "a.flac") as audio:
        first = np.concatenate(list(audio.blocks(0.1)))
        next(audio.blocks(0.1))
        assert np.array_equal(np.concatenate(list(audio.blocks(0.1))), first)
        assert audio.duration_s == pytest.approx(1.0)


def wav(tmp_path: Path, frames: int = RATE) -> tuple[Path, bytes]:
    path = tmp_path / "x.wav"
    sf.write(path, tone(RATE, frames / RATE), RATE, subtype="PCM_16")
    return path, path.read_bytes()


def test_header_that_says_nothing_is_there_does_not_lose_the_sound(tmp_path: Path) -> None:
    """A recorder that was killed leaves 0 frames in the header (agfline/wavfix#12)."""
    path, data = wav(tmp_path)
    whole = everything(path)
    for size in (0, 0xFFFFFFFF, 500):
        broken = data[:4] + struct.pack("<I", 36) + data[8:40] + struct.pack("<I", size) + data[44:]
        path.write_bytes(broken)
        with open_audio(path) as audio:
            assert np.array_equal(np.concatenate(list(audio.blocks())), whole)
            assert len(audio.notes) == 1
        assert path.read_bytes() == broken, "reading must not change the file"


def test_a_healthy_file_with_chunks_behind_the_sound_is_believed(tmp_path: Path) -> None:
    path, data = wav(tmp_path, 1000)
    path.write_bytes(data + b"LIST" + struct.pack("<I", 10) + b"INFOabcdef")
    with open_audio(path) as audio:
        assert sum(len(b) for b in audio.blocks()) == 1000
        assert audio.notes == []


def test_odd_byte_at_the_end_is_left_out(tmp_path: Path) -> None:
    path, data = wav(tmp_path, 1000)
    path.write_bytes(data[:-1])
    assert len(everything(path)) == 999


@pytest.mark.parametrize("kind", ["wav", "flac", "ogg", "mp3"])
def test_truncated_file_gives_what_it_holds_and_says_so(
    tmp_path: Path, kind: str, capfd: pytest.CaptureFixture[str]
) -> None:
    rng = np.random.default_rng(1)
    path = tmp_path / f"long.{kind}"
    sf.write(path, (0.2 * rng.standard_normal(20 * RATE)).astype(np.float32), RATE)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) * 2 // 3])
    with open_audio(path) as audio:
        seconds = sum(len(b) for b in audio.blocks()) / RATE
        assert 8.0 < seconds < 19.0
        assert any("cut short" in note for note in audio.notes)
    assert capfd.readouterr() == ("", ""), "a native library printed by itself"


def no_such(path: Path) -> Path:
    return path / "gone.wav"


def folder(path: Path) -> Path:
    return path


def empty(path: Path) -> Path:
    (path / "empty.wav").touch()
    return path / "empty.wav"


def only_header(path: Path) -> Path:
    (path / "header.wav").write_bytes(header(RATE, 1, 0))
    return path / "header.wav"


def half_header(path: Path) -> Path:
    (path / "half.wav").write_bytes(header(RATE, 1, 0)[:30])
    return path / "half.wav"


def text(path: Path) -> Path:
    (path / "notes.wav").write_text("front pads two millimetres\n" * 20)
    return path / "notes.wav"


def text_mp3(path: Path) -> Path:
    (path / "notes.mp3").write_text("Reifendruck hinten 2,5 bar, Öl gut\n" * 20)
    return path / "notes.mp3"


def binary(path: Path) -> Path:
    (path / "junk.flac").write_bytes(bytes(range(256)) * 40)
    return path / "junk.flac"


def flac_start(path: Path) -> Path:
    sf.write(path / "cut.flac", tone(RATE, 1.0), RATE)
    data = (path / "cut.flac").read_bytes()
    (path / "cut.flac").write_bytes(data[:60])
    return path / "cut.flac"


def ogg_start(path: Path) -> Path:
    sf.write(path / "cut.ogg", tone(RATE, 1.0), RATE)
    data = (path / "cut.ogg").read_bytes()
    (path / "cut.ogg").write_bytes(data[:120])
    return path / "cut.ogg"


def zero_rate(path: Path) -> Path:
    data = header(0, 1, 2000) + bytes(2000)
    (path / "rate.wav").write_bytes(data)
    return path / "rate.wav"


def odd_rate(path: Path) -> Path:
    data = header(3_000_000, 1, 2000) + bytes(2000)
    (path / "odd.wav").write_bytes(data)
    return path / "odd.wav"


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (no_such, "no such file"),
        (folder, "is a folder"),
        (empty, "is empty (0 bytes)"),
        (only_header, "holds no sound"),
        (half_header, ""),
        (text, "is text, not audio"),
        (text_mp3, "is text, not audio"),
        (binary, "no sound that can be read"),
        (flac_start, ""),
        (ogg_start, ""),
        (zero_rate, ""),
        (odd_rate, "3000000 samples a second"),
    ],
)
def test_unusable_file_is_one_clear_line(
    tmp_path: Path, make: Callable[[Path], Path], says: str, capfd: pytest.CaptureFixture[str]
) -> None:
    path = make(tmp_path)
    with pytest.raises(AudioError) as caught:
        everything(path)
    message = str(caught.value)
    assert message.startswith(str(path))
    assert says in message
    assert "Next: " in message
    assert "\n" not in message
    assert capfd.readouterr() == ("", ""), "a native library printed by itself"


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may read everything")
def test_file_without_permission(tmp_path: Path) -> None:
    path, _ = wav(tmp_path)
    path.chmod(0)
    with pytest.raises(AudioError, match="chmod"):
        open_audio(path)


def test_permission_refused_by_the_system(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same line where the test runs as root, who may read everything."""
    path, _ = wav(tmp_path)

    def refuse(self: Path, *_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(AudioError, match=r"may not be read.*chmod"):
        open_audio(path)


OTHER = [
    *[("m4a", "aac"), ("m4a", "alac"), ("aac", "aac"), ("webm", "libopus"), ("mka", "libopus")],
    *[("ogg", "libopus"), ("opus", "libopus"), ("mp4", "aac"), ("3gp", "aac")],
]


def write_other(path: Path, codec: str, sound: NDArray[np.float32], rate: int, layout: str) -> None:
    """A file of ``sound`` (mono; both channels alike) in a container and codec of PyAV's."""
    with av.open(str(path), "w") as file:
        stream: Any = file.add_stream(codec, rate=rate, layout=layout)
        blocks = [sound[None, at : at + rate // 10] for at in range(0, len(sound), rate // 10)]
        for block in blocks:
            channels = 1 if layout == "mono" else 2
            frame = av.AudioFrame.from_ndarray(
                np.repeat(block, channels, axis=0), format="fltp", layout=layout
            )
            frame.sample_rate = rate
            file.mux(stream.encode(frame))
        file.mux(stream.encode(None))


@pytest.mark.parametrize("layout", ["mono", "stereo"])
@pytest.mark.parametrize(("kind", "codec"), OTHER)
def test_a_phones_own_kinds_open_after_pip_alone(
    tmp_path: Path, kind: str, codec: str, layout: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Voice memos and messengers: M4A, AAC, Opus, WebM; no program beside fieldlog decodes them."""
    monkeypatch.setenv("PATH", "")
    path, rate = tmp_path / f"memo.{kind}", 48_000
    write_other(path, codec, tone(rate, 2.0), rate, layout)
    with open_audio(path) as audio:
        assert (audio.rate, audio.channels) == (rate, 1 if layout == "mono" else 2)
        heard = np.concatenate(list(audio.blocks()))
        again = np.concatenate(list(audio.blocks()))
        assert audio.notes == []
    assert np.array_equal(heard, again)
    assert len(heard) == pytest.approx(2.0 * RATE, abs=0.1 * RATE)
    middle = heard[RATE // 2 : RATE]
    assert np.argmax(np.abs(np.fft.rfft(middle))) * RATE / len(middle) == pytest.approx(440, abs=3)
    assert np.sqrt(np.mean(middle**2)) == pytest.approx(0.4 / np.sqrt(2), rel=0.1)


@pytest.mark.parametrize(("kind", "codec"), [("m4a", "aac"), ("webm", "libopus"), ("aac", "aac")])
def test_what_is_left_of_a_cut_memo_is_heard_or_refused_in_words(
    tmp_path: Path, kind: str, codec: str, capfd: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / f"memo.{kind}"
    write_other(path, codec, tone(48_000, 4.0), 48_000, "mono")
    data = path.read_bytes()
    for share in (0.02, 0.3, 0.7, 0.95):
        path.write_bytes(data[: round(len(data) * share)])
        said, heard = "", 1
        try:
            heard = len(everything(path))
        except AudioError as error:
            said = str(error)
        assert not said or "no sound that can be read" in said
        assert 0 < heard < 4.2 * RATE
    assert capfd.readouterr() == ("", ""), "a native library printed by itself"


@pytest.mark.parametrize(("kind", "codec"), [("m4a", "aac"), ("3gp", "aac"), ("webm", "libopus")])
def test_both_libraries_read_the_same_samples(tmp_path: Path, kind: str, codec: str) -> None:
    """The outside oracle is PyAV, which has the whole of FFmpeg in another build."""
    path = tmp_path / f"memo.{kind}"
    write_other(path, codec, tone(48_000, 1.0) * np.float32(0.7), 48_000, "stereo")
    one, other = FlowReader(path), PyAvReader(path)
    assert (one.rate, one.channels) == (other.rate, other.channels)
    assert np.array_equal(np.concatenate([*one.blocks()]), np.concatenate([*other.blocks()]))
    assert not one.complaint + other.complaint


@pytest.mark.parametrize(("rate", "layout"), [(24_000, "mono"), (48_000, "stereo")])
def test_a_stream_that_changes_in_mid_stream_ends_there_and_says_so(
    tmp_path: Path, rate: int, layout: str
) -> None:
    """Two ADTS streams in one file: the second would sound an octave off, or be read past its end."""
    write_other(tmp_path / "a.aac", "aac", tone(48_000, 1.0), 48_000, "mono")
    write_other(tmp_path / "b.aac", "aac", tone(rate, 1.0), rate, layout)
    whole = tmp_path / "both.aac"
    whole.write_bytes((tmp_path / "a.aac").read_bytes() + (tmp_path / "b.aac").read_bytes())
    with open_audio(whole) as audio:
        heard = np.concatenate(list(audio.blocks()))
        assert audio.rate == 48_000
        assert audio.notes == ["cut short or damaged: rate or channels change in mid-stream"]
    assert 0.9 * RATE < len(heard) < 1.2 * RATE


def test_what_the_installed_decoders_lack_is_read_by_pyav_or_names_its_extra(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """AMR-NB of 12.2 kbit/s: frames of 20 ms, 32 bytes each (RFC 4867, section 5)."""
    path = tmp_path / "memo.amr"
    noise = np.random.default_rng(0)
    path.write_bytes(b"#!AMR\n" + b"".join(b"\x3c" + noise.bytes(31) for _ in range(50)))
    assert len(everything(path)) == pytest.approx(RATE, abs=0.1 * RATE)
    monkeypatch.setitem(sys.modules, "av", None)
    with pytest.raises(AudioError, match=r"no sound that can be read.*fieldlog\[any-sound\]"):
        open_audio(path)


def test_without_any_decoder_the_line_says_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "memo.m4a"
    path.write_bytes(b"\0\0\0\x20ftypM4A " + bytes(200))
    with pytest.raises(AudioError, match=r"holds no sound that can be read.*export it"):
        open_audio(path)
    monkeypatch.setitem(sys.modules, "av", None)
    with pytest.raises(AudioError, match=r"holds no sound that can be read.*export it"):
        open_audio(path)
    monkeypatch.setitem(sys.modules, "avioflow", None)
    with pytest.raises(AudioError, match=r"needs avioflow.*"):
        open_audio(path)


def test_a_name_is_never_taken_for_a_device(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """avioflow takes ``audio=...`` for a microphone where it is no path."""
    monkeypatch.chdir(tmp_path)
    write_other(tmp_path / "audio=x.m4a", "aac", tone(48_000, 0.5), 48_000, "mono")
    assert len(everything(Path("audio=x.m4a"))) > 0.4 * RATE


def test_a_film_without_sound_is_no_recording(tmp_path: Path) -> None:
    with av.open(str(tmp_path / "film.mp4"), "w") as file:
        stream = file.add_stream("mpeg4", rate=10)
        stream.width = stream.height = 32
        for _ in range(3):
            frame = av.VideoFrame.from_ndarray(np.zeros((32, 32, 3), np.uint8), format="rgb24")
            file.mux(stream.encode(frame))
        file.mux(stream.encode(None))
    with pytest.raises(AudioError, match="holds no sound that can be read"):
        open_audio(tmp_path / "film.mp4")


def test_wrong_extension_is_read_by_content(tmp_path: Path) -> None:
    sf.write(tmp_path / "a.flac", tone(RATE, 0.5), RATE)
    (tmp_path / "a.flac").rename(tmp_path / "a.wav")
    assert len(everything(tmp_path / "a.wav")) == RATE // 2


def test_samples_that_are_no_numbers_become_silence_and_are_counted(tmp_path: Path) -> None:
    sound = tone(RATE, 0.5)
    sound[100:110] = np.nan
    sound[200] = np.inf
    sf.write(tmp_path / "nan.wav", sound, RATE, subtype="FLOAT")
    with open_audio(tmp_path / "nan.wav") as audio:
        heard = np.concatenate(list(audio.blocks()))
        assert np.isfinite(heard).all()
        assert any("11 samples" in note for note in audio.notes)


def test_floats_on_the_16_bit_scale_are_brought_down(tmp_path: Path) -> None:
    sf.write(tmp_path / "big.wav", tone(RATE, 0.5) * 32_768, RATE, subtype="FLOAT")
    assert np.abs(everything(tmp_path / "big.wav")).max() == pytest.approx(0.4, rel=0.01)


def test_digital_silence_is_read_and_said(tmp_path: Path) -> None:
    sf.write(tmp_path / "mute.wav", np.zeros(RATE, dtype=np.float32), RATE)
    with open_audio(tmp_path / "mute.wav") as audio:
        assert sum(len(b) for b in audio.blocks()) == RATE
        assert any("muted" in note for note in audio.notes)


def test_two_hours_in_bounded_memory(tmp_path: Path) -> None:
    """One block at a time: the file is 230 MB of sound, the largest array held is one second."""
    path = tmp_path / "long.wav"
    data = 2 * 3600 * RATE * 2
    with path.open("wb") as file:
        file.write(header(RATE, 1, data))
        file.truncate(44 + data)
    with open_audio(path) as audio:
        assert audio.duration_s == 7200.0
        sizes = {len(block) for block in audio.blocks(1.0)}
    assert sizes == {RATE}


def test_read_clip_carries_doubts_and_refuses_long_files(tmp_path: Path) -> None:
    sf.write(tmp_path / "n.wav", tone(8000, 1.0), 8000)
    assert "narrow band" in read_clip(tmp_path / "n.wav").flags
    sf.write(tmp_path / "l.wav", np.zeros(70 * 8000, dtype=np.float32), 8000)
    with pytest.raises(AudioError, match="fieldlog hear"):
        read_clip(tmp_path / "l.wav")
