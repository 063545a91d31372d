"""Our own voice in the microphone: is anything of it taken, and is somebody heard over it?

A loudspeaker that bends loud sound a little, a room with early reflections and a tail, a delay, workshop
noise; then the way of a live session: canceller, endpointer, ear, meaning. Levels: the spoken part of a
person is at ``VOICE_RMS``; an echo of 0 dB is as loud.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.begins import Begins
from fieldlog.audio.clip import RATE, Clip
from fieldlog.audio.echo import EchoCanceller
from fieldlog.audio.endpointer import Endpointer
from fieldlog.audio.playback import Playback
from fieldlog.audio.vad import voice_activity
from fieldlog.audio.voice import bundled_voice
from fieldlog.hearing import Heard
from fieldlog.lab.benchmarks.claim import claim, share
from fieldlog.lab.benchmarks.noise_mix import excerpt, rms
from fieldlog.lab.speech_set.effects import impulse_response
from fieldlog.lab.speech_set.items import Item, SpeechSet
from fieldlog.language.inspection import InspectionLanguage
from fieldlog.model.finding import Finding
from fieldlog.model.understanding import Decision, Flag
from fieldlog.shop.conversation import Conversation
from fieldlog.shop.ears import Ears
from fieldlog.shop.mouth import Mouth
from fieldlog.shop.saying import Say, Saying
from fieldlog.words import questions, spoken
from fieldlog.words.aloud import aloud, sentence

Samples = NDArray[np.float32]

LEVELS_DB = (0.0, -6.0, -12.0)
DELAYS_S = (0.02, 0.1, 0.25, 0.4)
NOISE_DB = 15.0
"""Of the voice over the noise."""
VOICE_RMS = 0.05
BARGE_IN_DB = -6.0
_BLOCK = RATE // 50
_BEGIN_S = 1.0
_BETWEEN_S = 2.0
_SPEAKS_AFTER_S = 0.7
LOUD_DB = 6.0
_CLIPS_AT = 0.2
_JUMP_S = 0.1
"""By so much the delay grows in the midst of each sentence of the hard row."""


class Layers(StrEnum):
    """What stands between our own voice and the record."""

    ALL = "canceller and meaning"
    MEANING = "meaning alone"
    CANCELLER = "canceller alone"
    NONE = "neither"

    @property
    def cancels(self) -> bool:
        """Whether the canceller runs."""
        return self in (Layers.ALL, Layers.CANCELLER)

    @property
    def means(self) -> bool:
        """Whether what means the same is left out."""
        return self in (Layers.ALL, Layers.MEANING)


class Came(StrEnum):
    """What an utterance came to."""

    FINDING = "finding"
    COMMAND = "command"
    ASKED = "asked"
    REFUSED = "refused"
    OWN = "own voice"


@dataclass
class Own:
    """Read-backs without anybody: what came of them."""

    layers: Layers
    level_db: float | None
    gives_way: bool = False
    """Whether it fell silent when somebody was heard to begin to speak."""
    hard: bool = False
    """Whether the delay jumps in the midst of each sentence, and the microphone is overdriven."""
    takes: int = 0
    sentences: int = 0
    cuts: int = 0
    """How often it did, though nobody spoke."""
    came: Counter[Came] = field(default_factory=Counter)
    worst: list[str] = field(default_factory=list)
    """Sentence and what was taken for something of somebody."""


@dataclass
class Over:
    """Somebody speaks over a read-back: what came of what they said."""

    name: str
    noisy: bool = False
    echoes: bool = True
    """Whether anything is played at all."""
    second: bool = False
    """Whether something was read back before: the canceller knows the way then, as it does from then on."""
    gives_way: bool = True
    takes: int = 0
    right: int = 0
    asked: int = 0
    offered: int = 0
    """Of those asked about: "affirm" or one more word takes what was said."""
    refused: int = 0
    nothing: int = 0
    """No speech was found, or it was taken for our own voice."""
    wrong: list[str] = field(default_factory=list)


class _Plays:
    """A loudspeaker that plays at once into ``near``, by the way of ``echo``."""

    def __init__(self, near: Samples, echo: Echo) -> None:
        self.playback = Playback()
        self._near, self._echo = near, echo
        self.cuts = 0

    def play(self, samples: Samples, name: str = "") -> None:
        self.playback.begins(samples, name)
        self._echo.add(self._near, self.playback)

    def cut(self) -> None:
        sounding = [each for each in self.playback.around(0.0, 1e9, 0.0) if each.name]
        if sounding and sounding[-1].end_s > self.playback.position_s:
            self.cuts += 1
            self.playback.cut()
            self._echo.cut(self._near, self.playback)


@dataclass(frozen=True)
class Room:
    """What hears, and the noises."""

    ears: Ears
    noises: SpeechSet
    part: str = "test"

    def noise(self, kind: str, count: int, seed: int) -> Samples:
        """So much of a noise, at the level that ``NOISE_DB`` asks for."""
        rng = np.random.default_rng([seed, 91])
        sound = excerpt(self.noises.noise(kind, self.part, seed % 4), count, rng)
        level = VOICE_RMS * 10 ** (-NOISE_DB / 20)
        return np.asarray(sound * (level / max(rms(sound), 1e-9)), np.float32)

    def through(
        self,
        near: Samples,
        says: Sequence[tuple[float, Saying]],
        echo: Echo,
        layers: Layers,
        *,
        gives_way: bool = False,
    ) -> tuple[list[Heard], int]:
        """What a session makes of ``near``, while it says ``says`` from those seconds on, and how often
        it fell silent.

        ``gives_way``: whether it falls silent when somebody begins to speak, as it does in a session.
        """
        near = near.copy()
        plays = _Plays(near, echo)
        mouth = Mouth(Say.VALUES, plays, bundled_voice())
        canceller = EchoCanceller(plays.playback)
        conversation = Conversation(self.ears, keeps_left=True)
        if layers.means:
            conversation.overheard = mouth.overheard
        endpointer = Endpointer(voice=voice_activity().activity)
        waiting, clips, beginnings = list(says), list[Clip](), Begins()
        for at in range(0, len(near), _BLOCK):
            plays.playback.at(at / RATE)
            while waiting and waiting[0][0] * RATE < at + _BLOCK:
                mouth.say(waiting.pop(0)[1])
            block = np.clip(near[at : at + _BLOCK], -echo.clips_at, echo.clips_at)
            block = canceller.clean(block) if layers.cancels else block
            ended = endpointer.process(block)
            clips += ended
            begins = beginnings.push(block, speaking=endpointer.speaking, ended=bool(ended))
            if begins and gives_way:
                mouth.gives_way()
        clips += endpointer.process(canceller.flush()) if layers.cancels else []
        clips += endpointer.flush()
        ear = canceller.for_the_ear if layers.cancels else lambda clip: clip
        return [conversation.next(ear(clip), kept=True).heard for clip in clips], plays.cuts


@dataclass
class Echo:
    """The way from the loudspeaker to the microphone."""

    level_db: float
    delay_s: float
    seed: int
    jump_s: float = 0.0
    clips_at: float = 1.0
    steady: bool = False
    """Whether nothing in the room moves from one sound to the next."""
    done: int = 0
    _last: _Sounded | None = None

    def add(self, near: Samples, playback: Playback) -> None:
        """Put the echo of what began last into ``near``, where it will be heard."""
        sound = playback.around(0.0, 1e9, 0.0)[-1]
        rng = np.random.default_rng([self.seed, 0 if self.steady else self.done])
        self.done += 1
        response = impulse_response(rng.uniform(0.3, 0.5), rng.uniform(2.0, 8.0), rng)
        wet = self._wet(sound.samples, response, len(sound.samples) + RATE // 2)
        loud = wet[np.abs(wet) > 0.02 * np.abs(wet).max(initial=0.0)]
        gain = VOICE_RMS * 10 ** (self.level_db / 20) / max(rms(loud), 1e-9)
        at = round((sound.start_s + self.delay_s) * RATE)
        wet = wet[: max(0, len(near) - at)] * np.float32(gain)
        near[at : at + len(wet)] += wet
        self._last = _Sounded(at, wet, response, gain)

    def cut(self, near: Samples, playback: Playback) -> None:
        """What was put in last ends where ``playback`` says that it was cut."""
        last, sound = self._last, playback.around(0.0, 1e9, 0.0)[-1]
        assert last is not None
        left = self._wet(sound.samples, last.response, len(last.wet)) * np.float32(last.gain)
        near[last.at : last.at + len(left)] += left - last.wet
        self._last = replace(last, wet=left)

    def _wet(self, sound: Samples, response: NDArray[np.float64], count: int) -> Samples:
        wet, jump = _through_room(sound, response, count), round(self.jump_s * RATE)
        middle = min(RATE, count // 2)
        return np.concatenate([wet[:middle], np.zeros(jump, np.float32), wet[middle:]])[:count]


@dataclass(frozen=True)
class _Sounded:
    """An echo that was put into a microphone."""

    at: int
    wet: Samples
    response: NDArray[np.float64]
    gain: float


def _through_room(sound: Samples, response: NDArray[np.float64], count: int) -> Samples:
    """``count`` samples of ``sound``, bent as a loudspeaker bends it, in a room of that ``response``."""
    size = 1 << (max(count, len(sound)) + len(response)).bit_length()
    bent = np.tanh(2.0 * sound) / 2.0
    wet = np.fft.irfft(np.fft.rfft(bent, size) * np.fft.rfft(response, size), size)[:count]
    return np.asarray(wet, np.float32)


def own_takes(
    room: Room, findings: Sequence[Finding], row: Own, kinds: Sequence[str], draw: int = 0
) -> Iterator[tuple[list[Saying], list[Heard], int]]:
    """Two sentences in each delay and noise: one read back, one asked; no level: none is played.

    What was said, what was heard, and how often the tool fell silent.
    """
    level_db = row.level_db
    takes = [(delay_s, kind) for delay_s in DELAYS_S for kind in kinds]
    for number, (delay_s, kind) in enumerate(takes, draw * len(takes)):
        pick = np.random.default_rng([number, round(abs(level_db or 0.0))])
        one, two = (findings[int(n)] for n in pick.integers(0, len(findings), 2))
        says = [
            _read_back(one),
            Saying(None, aloud(questions.did_you_say_so(two)), (two,), asks=True),
        ]
        second_s = _BEGIN_S + length_s(says[0]) + _BETWEEN_S
        seconds = second_s + length_s(says[1]) + _BETWEEN_S
        near = room.noise(kind, round(seconds * RATE), number)
        timed = [] if level_db is None else [(_BEGIN_S, says[0]), (second_s, says[1])]
        echo = Echo(level_db or 0.0, delay_s, number)
        if row.hard:
            echo = replace(echo, jump_s=_JUMP_S, clips_at=_CLIPS_AT)
        heard, cuts = room.through(near, timed, echo, row.layers, gives_way=row.gives_way)
        yield says, heard, cuts


def count_own(row: Own, says: Sequence[Saying], heard: Sequence[Heard], cuts: int = 0) -> None:
    """Add one take to ``row``."""
    row.takes += 1
    row.cuts += cuts
    row.sentences += len(says)
    for each in heard:
        came = _came(each)
        row.came[came] += 1
        if came in (Came.FINDING, Came.COMMAND):
            row.worst.append(f"{each.text} <- {' '.join(said.words for said in says)}")


def _came(heard: Heard) -> Came:
    said = heard.understanding
    if Flag.OWN_VOICE in said.flags:
        return Came.OWN
    if said.decision is Decision.REFUSE:
        return Came.REFUSED
    if said.decision is Decision.ASK:
        return Came.ASKED
    return Came.FINDING if said.finding is not None or said.parts else Came.COMMAND


def over_take(
    room: Room,
    row: Over,
    item: Item,
    about: Finding,
    *,
    noise: str | None,
    echo_s: float | None,
    gives_way: bool = True,
    after: Finding | None = None,
) -> None:
    """``item`` said over a read-back of ``about`` (``echo_s``: delay of its echo; None: none is).

    ``after``: what was read back before in the same room, with nobody speaking; None: nothing was yet.
    """
    language = room.ears.language
    wanted = [one.meaning for one in language.understand(item.words).offered]
    speech = room.noises.clean(item)
    begin, end = int(item.speech_start_s * RATE), int(item.speech_end_s * RATE)
    speech = speech * np.float32(VOICE_RMS / max(rms(speech[begin:end]), 1e-9))
    before = [] if after is None else [_read_back(after)]
    begins_s = _BEGIN_S + sum(length_s(each) + _BETWEEN_S for each in before)
    lead = max(0, round((begins_s + _SPEAKS_AFTER_S) * RATE) - begin)
    near = np.zeros(lead + len(speech) + 2 * RATE, np.float32)
    near[lead : lead + len(speech)] += speech
    kind, seed = noise or "compressor", item.seed % 997
    near += room.noise(kind, len(near), seed) * np.float32(1.0 if noise else 0.02)
    says = [(_BEGIN_S, each) for each in before]
    says += [] if echo_s is None else [(begins_s, _read_back(about))]
    echo = Echo(BARGE_IN_DB, echo_s or 0.0, seed, steady=True)
    heard, _ = room.through(near, says, echo, Layers.ALL, gives_way=gives_way)
    row.takes += 1
    found = [one for each in heard for one in each.outcomes if each.accepted]
    taken = [one.finding.meaning for one in found if one.finding is not None]
    commands = [one for one in found if one.finding is None]
    if taken == wanted and not commands:
        row.right += 1
    elif taken or commands:
        row.wrong.append(f"{item.words} -> {[each.text for each in heard]} ({item.voice})")
    elif any(each.understanding.decision is Decision.ASK for each in heard):
        row.asked += 1
        each = next(h.understanding for h in heard if h.understanding.decision is Decision.ASK)
        row.offered += wanted[0] in [one.meaning for one in each.offered]
    elif any(Flag.OWN_VOICE not in each.understanding.flags for each in heard):
        row.refused += 1
    else:
        row.nothing += 1


def _read_back(finding: Finding) -> Saying:
    words = sentence(spoken.CONFIRM, spoken.DANGEROUS, spoken.read_back(finding))
    return Saying(None, words, (finding,))


def length_s(said: Saying) -> float:
    """How long it takes to say."""
    from fieldlog.shop.mouth import sound_of

    return len(sound_of(said, bundled_voice())) / RATE


def findings_of(
    noises: SpeechSet, language: InspectionLanguage, part: str = "test"
) -> list[tuple[Item, Finding]]:
    """The phrases of ``part`` that state one finding each."""
    found = []
    for item in noises.part(part):
        if item.kind == "phrase" and item.effect in ("dry", "garage", "far"):
            said = language.understand(item.words)
            if said.decision is Decision.ACCEPT and said.finding is not None:
                found.append((item, said.finding))
    return found


def page(
    owns: Sequence[Own],
    overs: Sequence[Over],
    command: str,
    *,
    interrupted: bool,
    part: str = "test",
) -> str:
    """``docs/hearing/echo.md``."""
    lines = [
        "# Our own voice in the microphone",
        "",
        f"Printed by `{command}`.{' Interrupted.' if interrupted else ''} {part.capitalize()} part of the speech set; the voice of the package, a",
        "loudspeaker that bends loud sound, synthetic rooms: no loudspeaker or headset of anybody's was measured.",
        "",
        "## Read-backs with nobody speaking",
        "",
        f"Each take: a finding read back and a question, delays of {', '.join(f'{d * 1000:.0f}' for d in DELAYS_S)} ms, each noise of the set "
        f"{NOISE_DB:.0f} dB below a voice (the radio says no phrase of the language: it would be heard, and rightly). A finding or",
        "command taken is wrong (upper 95 % bound of the share of sentences).",
        "",
        "Whether it falls silent when it hears somebody begin to speak is told apart: a read-back that is broken off leaves less to be taken",
        "for a finding. Where it did, nobody spoke, and it is said again. Hard: the delay grows by 0.1 s in the midst of each sentence, and the",
        "microphone is overdriven (cut at four times the voice's RMS).",
        "",
        "| what stands between | echo | sentences | findings | commands | asked | refused | known as own | fell silent |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for row in owns:
        level = "nothing is played" if row.level_db is None else f"{row.level_db:.0f} dB"
        lines.append(
            f"| {row.layers}{', hard' if row.hard else ''} | {level} | {row.sentences} | {claim(row.came[Came.FINDING], row.sentences)} "
            f"| {row.came[Came.COMMAND]} | {row.came[Came.ASKED]} | {row.came[Came.REFUSED]} | {row.came[Came.OWN]} "
            f"| {row.cuts if row.gives_way else 'goes on'} |"
        )
    lines += [
        "",
        *(f"- taken: {text}" for row in owns for text in row.worst if row.layers is Layers.ALL),
    ]
    lines += [
        "",
        "## Somebody speaks over a read-back",
        "",
        f"The echo is {-BARGE_IN_DB:.0f} dB below the voice, which begins {_SPEAKS_AFTER_S} s behind the beginning of a read-back of another finding. In",
        "a session the read-back is broken off as soon as the voice is heard; the rows where it goes on tell what the canceller alone comes to. Over a",
        "read-back that is the first sound of all, or the second in the same room, as from then on in any session.",
        "",
        "| | takes | right | asked | of these with what was said | refused and told | nothing | wrong |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for over in overs:
        lines.append(
            f"| {over.name} | {over.takes} | {share(over.right, over.takes)} | {share(over.asked, over.takes)} | {over.offered} "
            f"| {share(over.refused, over.takes)} | {share(over.nothing, over.takes)} | {claim(len(over.wrong), over.takes)} |"
        )
    lines += ["", *(f"- wrong, {over.name}: {text}" for over in overs for text in over.wrong)]
    return "\n".join(lines).rstrip() + "\n"


def write_page(folder: Path, text: str) -> Path:
    """Into ``folder``/echo.md."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "echo.md"
    path.write_text(text, encoding="utf-8")
    return path
