"""Vosk on a real model (Korean, from the package index), and folders that are no usable model."""

from __future__ import annotations

import json
import shutil
import socket
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from fieldlog.audio.clip import RATE
from fieldlog.errors import GrammarError, ModelError
from fieldlog.grammar import TaggedLanguage
from fieldlog.listeners import vosk as vosk_listener
from fieldlog.listeners.pcm import pcm16
from fieldlog.listeners.vosk import (
    LONGEST_S,
    Partial,
    VoskListener,
    VoskStream,
    _joined,
    read_result,
)
from fieldlog.listeners.vosk_folder import check_folder
from fieldlog.model.hearing import Hearing, Hypothesis
from fieldlog.model.understanding import Decision
from tests.listeners_contract import DATA, SMALL, clip_of
from tests.test_listeners_contract import need_korean_model

SAID = ["브레이크 패드 마모", "브레이크 패드 오 밀리미터", "배터리 마모"]


@pytest.fixture(scope="module")
def korean() -> TaggedLanguage:
    return TaggedLanguage.from_file(DATA / "korean.jsgf")


@pytest.fixture(scope="module")
def listener(korean: TaggedLanguage) -> Iterator[VoskListener]:
    made = VoskListener(need_korean_model())
    made.load(korean)
    yield made
    made.close()


# --- on the real model -----------------------------------------------------------------------


def test_findings_are_heard_with_their_slots_and_times(
    listener: VoskListener, korean: TaggedLanguage
) -> None:
    clip = clip_of("korean_one.flac")
    best = listener.hear(clip).hypotheses[0]
    understood = korean.understand(best.text)
    assert understood.decision is Decision.ACCEPT
    assert dict(understood.slots) == {"component": "브레이크 패드", "condition": "마모"}
    assert 0 <= best.evidence["start_s"] < best.evidence["end_s"] <= clip.duration_s
    assert best.evidence["unknown"] == 0


@pytest.mark.parametrize("block", [1_600, 3_200, 16_000, 997])
def test_three_findings_with_silence_between_are_three_results(
    listener: VoskListener, block: int
) -> None:
    """None lost, none doubled, whatever the block size (an odd one cuts samples in two) (alphacep/vosk-api#590)."""
    stream, heard, partials = listener.stream(), [], set()
    data = pcm16(clip_of("korean.flac"))
    for start in range(0, len(data), block):
        answer = stream.accept(data[start : start + block])
        if isinstance(answer, Hearing):
            heard.append(answer)
        else:
            partials.add(answer.text)
    heard.append(stream.finish())
    assert [h.hypotheses[0].text for h in heard if h.hypotheses] == SAID
    assert len(partials) > 3  # it hears while they speak


def test_single_clips_do_not_depend_on_what_came_before(listener: VoskListener) -> None:
    clip = clip_of("korean_one.flac")
    first = listener.hear(clip).hypotheses[0]
    listener.hear(clip_of("korean.flac"))
    # scores and times differ in the last digits: the library dithers with random noise
    assert listener.hear(clip).hypotheses[0].text == first.text


def test_words_the_model_lacks_are_named_all_at_once() -> None:
    """By the library's own look-up, before any audio; the library would only log it (alphacep/vosk-api#1314)."""
    listener = VoskListener(need_korean_model())
    language = TaggedLanguage.from_text(
        "#JSGF V1.0;\ngrammar g;\npublic <a> = 앞 타이어 zwingarm | 체인 xyzzyx 교환;"
    )
    with pytest.raises(GrammarError, match="cannot say xyzzyx, zwingarm"):
        listener.load(language)
    assert listener.can_say("타이어")
    assert not listener.can_say("zwingarm")
    listener.close()
    with pytest.raises(ModelError, match="load"):
        listener.can_say("타이어")


def test_nothing_goes_to_the_network(
    monkeypatch: pytest.MonkeyPatch, korean: TaggedLanguage
) -> None:
    """Without a folder there is one clear line and no socket; with one there is no socket."""

    def refused(*_: object, **__: object) -> None:
        raise AssertionError("a socket was opened")

    monkeypatch.setattr(socket, "socket", refused)
    monkeypatch.setattr(socket, "create_connection", refused)
    with pytest.raises(ModelError, match=r"no model folder is named.*Next: download"):
        VoskListener().load(korean)
    listener = VoskListener(need_korean_model())
    listener.load(korean)
    assert listener.hear(clip_of("korean_one.flac")).hypotheses
    listener.close()


# --- folders ---------------------------------------------------------------------------------


def _model(folder: Path) -> Path:
    """A folder that looks like a small model (contents are padding)."""
    for name in ("am/final.mdl", "graph/HCLr.fst", "graph/Gr.fst"):
        file = folder / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(b"\0B" + bytes(150_000) + b"</Nnet3>")
    (folder / "conf").mkdir()
    (folder / "conf/mfcc.conf").write_text("--sample-frequency=16000\n")
    (folder / "graph/phones").mkdir()
    (folder / "graph/phones/word_boundary.int").write_text("1 nonword\n")
    return folder


def _nested(folder: Path) -> None:
    inner = folder / "vosk-model-small-xx"
    inner.mkdir()
    for name in ("am", "graph", "conf"):
        (folder / name).rename(inner / name)


def _speech_synthesis(folder: Path) -> None:
    for path in list(folder.iterdir()):
        shutil.rmtree(path)
    (folder / "model.onnx").write_bytes(b"x")
    (folder / "dictionary").write_text("a")


def _cut(name: str, size: int) -> Any:
    def cut(folder: Path) -> None:
        file = folder / name
        file.write_bytes(file.read_bytes()[:size])

    return cut


def _removed(*names: str) -> Any:
    def removed(folder: Path) -> None:
        for name in names:
            (folder / name).unlink()

    return removed


def _static(folder: Path) -> None:
    (folder / "graph/HCLr.fst").rename(folder / "graph/HCLG.fst")
    (folder / "graph/Gr.fst").unlink()


def _emptied(folder: Path) -> None:
    for path in list(folder.iterdir()):
        shutil.rmtree(path)


@pytest.mark.parametrize(
    ("spoil", "reason"),
    [
        (_emptied, "the model folder is empty"),
        (_nested, "one folder deeper, in 'vosk-model-small-xx'"),
        (_speech_synthesis, r"speech synthesis \(TTS\) model"),
        (_cut("am/final.mdl", 5_000), "'am/final.mdl' is cut off"),
        (_cut("am/final.mdl", 140_000), "'am/final.mdl' is cut off"),
        (_cut("graph/HCLr.fst", 100), "'graph/HCLr.fst' is cut off"),
        (_removed("graph/Gr.fst"), "'graph/Gr.fst' is missing"),
        (_removed("conf/mfcc.conf"), "'conf/mfcc.conf' is missing"),
        (_removed("graph/phones/word_boundary.int"), "'graph/phones/word_boundary.int' is missing"),
        (_removed("am/final.mdl"), "no Vosk model here"),
        (_static, "static-graph model: it cannot take a grammar at run time.*-lgraph"),
    ],
)
def test_each_broken_folder_has_its_own_reason(tmp_path: Path, spoil: Any, reason: str) -> None:
    """One line with the path tried and what to do, before the library is asked."""
    folder = _model(tmp_path / "model")
    assert check_folder(folder) == folder
    spoil(folder)
    with pytest.raises(ModelError, match=reason) as caught:
        check_folder(folder)
    assert str(folder) in str(caught.value)
    assert "Next: " in str(caught.value)
    assert "\n" not in str(caught.value)


def test_what_is_not_a_folder(tmp_path: Path) -> None:
    with pytest.raises(ModelError, match="no such model folder"):
        check_folder(tmp_path / "nowhere")
    archive = tmp_path / "vosk-model-small-xx.zip"
    archive.write_bytes(b"PK")
    with pytest.raises(ModelError, match=r"this is an archive, not a folder.*unpack it"):
        check_folder(archive)
    (tmp_path / "notes.txt").write_text("x")
    with pytest.raises(ModelError, match="this is a file"):
        check_folder(tmp_path / "notes.txt")


def test_windows_and_letters_outside_ascii(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The library cannot open such a path there; elsewhere it can."""
    folder = _model(tmp_path / "modèle-ü")
    assert check_folder(folder) == folder
    monkeypatch.setattr(sys, "platform", "win32")
    with pytest.raises(ModelError, match="outside ASCII"):
        check_folder(folder)


def test_a_model_that_the_library_refuses(tmp_path: Path, korean: TaggedLanguage) -> None:
    """It has every file, but rubbish in them: the library's refusal is one line of ours."""
    pytest.importorskip("vosk", reason="vosk is not installed")
    listener = VoskListener(_model(tmp_path / "rubbish"))
    with pytest.raises(ModelError, match="cannot be loaded"):
        listener.load(korean)


# --- what the library answers ----------------------------------------------------------------


def _language() -> TaggedLanguage:
    return TaggedLanguage.from_text(SMALL)


@pytest.mark.parametrize(
    ("result", "texts"),
    [
        ({"text": "rear tread four thirty seconds"}, ["rear tread four thirty seconds"]),
        ({"text": ""}, []),
        ({}, []),
        ({"text": "the"}, []),  # what silence sounds like
        ({"text": "huh the"}, []),
        ({"text": "[unk]"}, []),
        ({"text": "battery twelve [unk]"}, ["battery twelve [unk]"]),  # kept, never parsed
        (
            {
                "alternatives": [
                    {"text": " battery two volts ", "confidence": 9.0},
                    {"text": "battery three volts", "confidence": 8.0},
                    {"text": "battery two volts", "confidence": 7.0},
                    {"text": "", "confidence": 6.0},
                ]
            },
            ["battery two volts", "battery three volts"],
        ),
    ],
)
def test_results(result: dict[str, object], texts: list[str]) -> None:
    language = _language()
    hypotheses = read_result(json.dumps(result), language)
    assert [h.text for h in hypotheses] == texts
    for hypothesis in hypotheses:
        refused = "[unk]" in hypothesis.text
        assert (language.understand(hypothesis.text).decision is Decision.REFUSE) == refused


def test_confidence_and_times_are_evidence() -> None:
    words = [
        {"word": "battery", "start": 0.3, "end": 0.6, "conf": 1.0},
        {"word": "two", "start": 0.6, "end": 0.9, "conf": 0.5},
    ]
    (hypothesis,) = read_result(json.dumps({"text": "battery two", "result": words}), _language())
    assert hypothesis.evidence == {
        "unknown": 0.0,
        "start_s": 0.3,
        "end_s": 0.9,
        "confidence": 0.75,
    }


class _NeverEnding:
    """A recogniser that never sees an end, as in steady noise; counts what it holds."""

    def __init__(self) -> None:
        self.held = self.most = self.resets = 0

    def AcceptWaveform(self, data: bytes) -> int:
        self.held += len(data)
        self.most = max(self.most, self.held)
        return 0

    def PartialResult(self) -> str:
        return '{"partial": "rear"}'

    def FinalResult(self) -> str:
        self.held = 0
        return '{"text": "rear tread two thirty seconds"}'

    def Reset(self) -> None:
        self.resets += 1


def test_noise_without_an_end_is_cut_every_30_seconds() -> None:
    """Two hours of it never hold more than 30 s (alphacep/vosk-api#209)."""
    recogniser = _NeverEnding()
    stream = VoskStream(recogniser, _language(), 0.0)
    block = bytes(RATE)  # half a second
    answers = [stream.accept(block) for _ in range(2 * 60 * 60 * 2)]
    hearings = [answer for answer in answers if isinstance(answer, Hearing)]
    assert len(hearings) == recogniser.resets == 240
    assert recogniser.most <= LONGEST_S * RATE * 2
    assert answers[0] == Partial("rear")


def test_odd_bytes_are_kept_for_the_next_block() -> None:
    recogniser = _NeverEnding()
    stream = VoskStream(recogniser, _language(), 0.0)
    for piece in (b"", b"x", b"yz", b"abc"):
        assert stream.accept(piece) == Partial("rear")
    assert recogniser.held == 6


class _Quitting:
    class Model:
        def __init__(self, **_: object) -> None:
            sys.exit(1)


class _Failing:
    class Model:
        def __init__(self, model_path: str) -> None:
            raise Exception("Failed to create a model")


@pytest.mark.parametrize(
    ("library", "reason"), [(_Quitting, "gave up"), (_Failing, "cannot be loaded")]
)
def test_the_library_cannot_end_the_process(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, library: object, reason: str
) -> None:
    monkeypatch.setattr(vosk_listener, "_library", lambda: library)
    with pytest.raises(ModelError, match=reason):
        VoskListener(_model(tmp_path / "m")).load(_language())


def test_without_the_library_there_is_one_line(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """I2, I4: no wheel for this machine, or one that does not load."""
    monkeypatch.setitem(sys.modules, "vosk", None)
    with pytest.raises(ModelError, match=r"vosk cannot be imported here.*pip install"):
        VoskListener(_model(tmp_path / "m")).load(_language())


GARBLED = {
    "nothing": "",
    "null": "null",
    "a list": "[]",
    "text null": '{"text": null}',
    "alternatives null": '{"alternatives": null}',
    "an alternative null": '{"alternatives": [null]}',
    "cut off": '{"text": "battery two',
}


@pytest.mark.parametrize("result", GARBLED.values(), ids=GARBLED)
def test_an_answer_that_is_none_is_nothing_heard(result: str) -> None:
    assert read_result(result, _language()) == ()


def test_decimals_with_a_comma_and_words_without_times_are_read() -> None:
    """Under a locale that writes "0,93" the library's JSON is none."""
    word = '{"word": "two", "start": 0,3, "end": 0,9, "conf": 0,93}'
    garbled = f'{{"alternatives": [{{"confidence": 210,5, "text": "battery two volts", "result": [{word}]}}]}}'
    (hypothesis,) = read_result(garbled, _language())
    assert (hypothesis.text, hypothesis.score) == ("battery two volts", 210.5)
    assert hypothesis.evidence == {"unknown": 0.0, "start_s": 0.3, "end_s": 0.9, "confidence": 0.93}
    (bare,) = read_result('{"text": "battery two volts", "result": [{"word": "two"}]}', _language())
    assert bare.evidence == {"unknown": 0.0}


def test_a_result_that_comes_twice_is_one() -> None:
    said = (Hypothesis("battery two volts", 9.0, {"unknown": 0.0, "start_s": 0.3, "end_s": 1.2}),)
    later = (Hypothesis("battery two volts", 9.0, {"unknown": 0.0, "start_s": 6.3, "end_s": 7.2}),)
    assert [h.text for h in _joined([said, said])] == ["battery two volts"]
    assert [h.text for h in _joined([said, later])] == ["battery two volts battery two volts"]
