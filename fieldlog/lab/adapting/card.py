"""The shop and the features on a graphics card: many takes at once, new ones at every step (PyTorch).

What ``shop.py`` does to one take with numpy is done here to a whole batch: another throat
(``throats.py``), microphone, room, hiss, noise, and the features of Whisper. Noises are those of
``shop.py``, half of them with another colour, a fifth of them two at once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldlog.audio.clip import RATE
from fieldlog.lab.adapting.batches import as_written, plain
from fieldlog.lab.adapting.ear import torch_library
from fieldlog.lab.adapting.one_way import in_one_way
from fieldlog.lab.adapting.shop import BAND_EDGES, Shop
from fieldlog.lab.adapting.takes import TRADE, Take, takes
from fieldlog.lab.adapting.throats import changed, drawn
from fieldlog.lab.speech_set.bodies import BODIES, body
from fieldlog.listeners.whisper.adapter import CUE
from fieldlog.listeners.whisper.features import HOP, SILENT, WINDOW, mel_filters
from fieldlog.listeners.whisper.folder import ModelFolder

_POOL = 8
_NOTHING, _TALK = 0.03, 0.14
_UNCUED = 0.5
_NATURAL = 0.65
_IGNORED = -100
_SAMPLES, _FRAMES = RATE // 2, 50
"""Lengths are brought to multiples of these: the card prepares itself for each one anew."""
_ROOM_S = 1.1
_NOISY, _SNR_DB = 0.75, (0.0, 24.0)
_HARD_NOISY, _HARD_SNR_DB = 0.88, (-3.0, 17.0)
"""Share of the takes with noise, and how far it lies below the speech."""
_THROATS = (0.82, 1.22)
"""Played so many times as fast, pitch and formants included."""
_PLAYED = 0.65
"""Share of the takes that are."""
_COLOURED_DB, _TWO_AT_ONCE = 10.0, 0.2
"""Half of the noises favour some bands by up to so much; this share is two noises at once."""


class CardBatches:
    """Endless batches (features, tokens, tokens wanted) on ``device``; the same seed gives the same."""

    def __init__(
        self,
        folder: Path,
        model: ModelFolder,
        size: int,
        seed: int,
        device: str,
        *,
        hard: bool = False,
        found: Sequence[Take] | None = None,
        cue: str = CUE,
        writes: Callable[[Take], str] | None = None,
    ) -> None:
        """Read every take of ``folder`` and make the noises, which are louder where it is ``hard``.

        ``found``: these takes instead. ``writes``: the one way of writing a take behind ``cue``.
        """
        self._noisy, self._snr_db = (_HARD_NOISY, _HARD_SNR_DB) if hard else (_NOISY, _SNR_DB)
        torch = self._torch = torch_library()
        self._model, self._size, self._device = model, size, device
        self._rng = np.random.default_rng(seed)
        self._random = torch.Generator(device).manual_seed(seed)
        found = takes(folder) if found is None else found
        still = [Take("nothing", "", "", np.zeros(3 * RATE, np.int16))]
        still += [
            Take("nothing", "", "", (body(BODIES[n % len(BODIES)], n) * 32_767).astype(np.int16))
            for n in range(40)
        ]
        shop = Shop(found)
        everything = [*found, *still]
        self._lengths = np.array([len(take.sound) for take in everything])
        self._starts = np.cumsum(self._lengths) - self._lengths
        self._sound = torch.from_numpy(np.concatenate([t.sound for t in everything])).to(device)
        trade = [n for n, take in enumerate(found) if take.kind in TRADE]
        self._natural = [n for n in trade if found[n].natural]
        self._others = [n for n in trade if not found[n].natural]
        self._talk = [n for n, take in enumerate(found) if take.kind not in TRADE]
        self._still = list(range(len(found), len(everything)))
        self._texts = [
            model.encode(" " + (writes or _one_way)(take)) if take.words else ()
            for take in everything
        ]
        self._sentences = {n: model.encode(" " + as_written(found[n])) for n in self._talk}
        self._cue = (model.special.previous, *model.encode(cue))
        kinds = list(shop.noises)
        self._noises = torch.from_numpy(
            np.stack([noise for kind in kinds for noise in shop.noises[kind]])
        ).to(device)
        numbers = iter(range(len(self._noises)))
        by_kind = {kind: [next(numbers) for _ in shop.noises[kind]] for kind in kinds}
        self._all = [by_kind[kind] for kind in shop.drawn]
        self._machines = [by_kind[kind] for kind in shop.machines]
        self._mel = torch.from_numpy(mel_filters()).to(device)
        self._known_hats: dict[int, Any] = {}
        self._hann = torch.hann_window(WINDOW, device=device)

    def __iter__(self) -> Iterator[tuple[Any, Any, Any]]:
        """Batches without end."""
        while True:
            chosen = [self._drawn() for _ in range(self._size * _POOL)]
            speeds = np.where(
                self._rng.random(len(chosen)) < _PLAYED,
                self._rng.uniform(*_THROATS, len(chosen)),
                1.0,
            )
            lengths = np.array([self._lengths[n] for n, _ in chosen]) / speeds
            order = np.argsort(lengths)
            for turn in self._rng.permutation(_POOL):
                mine = order[turn * self._size : (turn + 1) * self._size]
                yield self._batch([chosen[n] for n in mine], speeds[mine])

    def _drawn(self) -> tuple[int, bool]:
        """A take, and whether the cue is given."""
        rng = self._rng
        draw = rng.random()
        if draw < _NOTHING:
            return self._one(self._still), True
        if draw < _NOTHING + _TALK and self._talk:
            return self._one(self._talk), bool(rng.random() >= _UNCUED)
        natural = not self._others or rng.random() < _NATURAL
        return self._one(self._natural if natural else self._others), True

    def _one(self, among: list[int]) -> int:
        return among[int(self._rng.integers(len(among)))]

    def _batch(
        self, drawn: list[tuple[int, bool]], speeds: NDArray[np.float64]
    ) -> tuple[Any, Any, Any]:
        numbers = np.array([n for n, _ in drawn])
        features = self._features(numbers, speeds)
        prompt, end = self._model.special.prompt, self._model.special.end
        rows = []
        for number, cued in drawn:
            text = self._texts[number] if cued else self._sentences[number]
            rows.append(((*(self._cue if cued else ()), *prompt), text))
        width = -(-max(len(before) + len(text) for before, text in rows) // 8) * 8
        tokens = np.full((len(rows), width), end, np.int64)
        wanted = np.full((len(rows), width), _IGNORED, np.int64)
        for row, (before, text) in enumerate(rows):
            tokens[row, : len(before) + len(text)] = [*before, *text]
            wanted[row, len(before) - 1 : len(before) + len(text)] = [*text, end]
        put = self._torch.from_numpy
        return features, put(tokens).to(self._device), put(wanted).to(self._device)

    # --- sound ---------------------------------------------------------------------------------

    def _on_card(self, values: Any, kind: Any = None) -> Any:
        torch = self._torch
        return torch.as_tensor(values, dtype=kind or torch.float32, device=self._device)

    def _features(self, numbers: NDArray[np.int64], speeds: NDArray[np.float64]) -> Any:
        torch, rng, size = self._torch, self._rng, len(numbers)
        is_still = numbers >= self._still[0]
        own = (self._lengths[numbers] / speeds).astype(np.int64)
        shortened = np.where(numbers == self._still[0], rng.uniform(1, 3, size) * RATE, own)
        own = np.minimum(own, shortened.astype(np.int64))
        lead = (rng.uniform(0.05, 0.45, size) * RATE).astype(np.int64)
        total = lead + own + (rng.uniform(0.2, 0.7, size) * RATE).astype(np.int64)
        longest = -(-int(total.max()) // _SAMPLES) * _SAMPLES
        at = (
            torch.arange(longest, device=self._device)[None]
            - self._on_card(lead, torch.int64)[:, None]
        )
        spoken = (at >= 0) & (at < self._on_card(own, torch.int64)[:, None])
        sound = self._played(numbers, speeds, at) * spoken
        sound = changed(torch, sound, drawn(rng, speeds, ~is_still), self._random)
        said = spoken.sum(1, keepdim=True).clamp(min=1)

        def level_of(x: Any) -> Any:
            return ((x * x * spoken).sum(1, keepdim=True) / said).sqrt().clamp(min=1e-9)

        peak = sound.abs().amax(1, keepdim=True) + 1e-9
        loud = self._on_card(10 ** (rng.uniform(-32, -18, size) / 20))[:, None] / level_of(sound)
        gain = torch.minimum(loud, 0.95 / peak)
        still = self._on_card(is_still, torch.bool)[:, None]
        sound = sound * torch.where(still, torch.ones_like(gain), gain)
        sound = self._in_rooms(sound, ~is_still)
        hiss = self._on_card(10 ** rng.uniform(-4.3, -3.2, size))[:, None]
        sound = sound + hiss * torch.randn(sound.shape, generator=self._random, device=self._device)
        noise = self._noise(is_still, longest)
        snr_db = rng.uniform(*self._snr_db, size)
        level = level_of(sound) / self._on_card(10 ** (snr_db / 20))[:, None]
        level = level * self._on_card(rng.random(size) < self._noisy)[:, None]
        alone = self._on_card(0.1 * 10 ** rng.uniform(-2.0, 0.3, size))[:, None]
        noise_rms = (noise * noise).mean(1, keepdim=True).sqrt().clamp(min=1e-9)
        sound = sound + noise * torch.where(still, alone, level) / noise_rms
        ends = self._on_card(total, torch.int64)[:, None]
        within = torch.arange(longest, device=self._device)[None] < ends
        return self._log_mel(sound.clamp(-1.2, 1.2) * within, total // HOP)

    def _played(self, numbers: NDArray[np.int64], speeds: NDArray[np.float64], at: Any) -> Any:
        torch = self._torch
        start = self._on_card(self._starts[numbers], torch.int64)[:, None]
        last = self._on_card(self._lengths[numbers] - 1, torch.int64)[:, None]
        where = at.clamp(min=0).to(torch.float64) * self._on_card(speeds, torch.float64)[:, None]
        left = where.floor().to(torch.int64)
        part = (where - left).float()
        low = self._sound[start + torch.minimum(left, last)].float()
        high = self._sound[start + torch.minimum(left + 1, last)].float()
        return (low * (1 - part) + high * part) / 32_768

    def _in_rooms(self, sound: Any, speech: NDArray[np.bool_]) -> Any:
        torch, rng, size = self._torch, self._rng, len(sound)
        draw = np.where(speech, rng.random(size), 0.0)
        near, wide = (draw >= 0.30) & (draw < 0.58), (draw >= 0.58) & (draw < 0.72)
        headset, clipped = (draw >= 0.72) & (draw < 0.80), (draw >= 0.80) & (draw < 0.84)
        far, quiet = (draw >= 0.84) & (draw < 0.98), draw >= 0.98
        decay = np.select(
            [near, wide, far],
            [
                rng.uniform(0.25, 0.55, size),
                rng.uniform(0.6, 1.1, size),
                rng.uniform(0.35, 0.8, size),
            ],
            0.3,
        )
        direct = np.select(
            [near, wide, far],
            [rng.uniform(2, 10, size), rng.uniform(0, 6, size), rng.uniform(-1, 5, size)],
            100.0,
        )
        length = sound.shape[1]
        points = 1 << (length + round(_ROOM_S * RATE)).bit_length()
        hertz = torch.fft.rfftfreq(points, 1 / RATE, device=self._device)
        gains = np.where(
            (speech & (rng.random(size) < 0.5))[:, None],
            rng.uniform(-6, 6, (size, len(BAND_EDGES))),
            0.0,
        )
        shape = 10 ** ((self._on_card(gains) @ self._hats(hertz)) / 20)
        edge = self._on_card(np.where(far, rng.uniform(3000, 6500, size), 1e9))[:, None]
        shape = shape / (1 + (hertz / edge) ** 2)
        band = ((1 + (250 / hertz.clamp(min=1)) ** 8) * (1 + (hertz / 3600) ** 12)) ** -0.5
        shape = torch.where(self._on_card(headset, torch.bool)[:, None], shape * band, shape)
        spectrum = torch.fft.rfft(sound, points) * shape
        spectrum = spectrum * torch.fft.rfft(self._responses(decay, direct), points)
        wet = torch.fft.irfft(spectrum, points)[:, :length]
        scale = (
            (sound**2).mean(1, keepdim=True) / (wet**2).mean(1, keepdim=True).clamp(min=1e-12)
        ).sqrt()
        roomy = self._on_card(near | wide | far, torch.bool)[:, None]
        wet = torch.where(roomy, wet * scale, wet)
        hard = wet / (2.2 * (wet**2).mean(1, keepdim=True).sqrt()).clamp(min=1e-6)
        wet = torch.where(self._on_card(clipped, torch.bool)[:, None], hard.clamp(-1, 1), wet)
        peak = wet.abs().amax(1, keepdim=True)
        wet = wet * torch.where(peak > 0.95, 0.95 / peak.clamp(min=1e-9), torch.ones_like(peak))
        return wet * self._on_card(np.select([far, quiet], [0.3, 0.05], 1.0))[:, None]

    def _hats(self, hertz: Any) -> Any:
        """Weights with which gains at the band edges give those between: ``[edges, points]``."""
        points = len(hertz)
        if points not in self._known_hats:
            edges, at = np.asarray(BAND_EDGES), hertz.cpu().numpy()
            hats = np.stack([np.interp(at, edges, row) for row in np.eye(len(edges))])
            self._known_hats[points] = self._on_card(hats.astype(np.float32))
        return self._known_hats[points]

    def _responses(self, decay: NDArray[np.float64], direct: NDArray[np.float64]) -> Any:
        """Rooms as ``effects.impulse_response`` makes them: ``[takes, samples]``."""
        torch, rng, size = self._torch, self._rng, len(decay)
        length = round(_ROOM_S * RATE)
        t = torch.arange(length, device=self._device)[None] / RATE
        fade = self._on_card(decay)[:, None]
        white = torch.randn((size, length), generator=self._random, device=self._device)
        hertz = torch.fft.rfftfreq(length, 1 / RATE, device=self._device)
        low = torch.fft.irfft(torch.fft.rfft(white) / (1 + (hertz / 2000) ** 2), length)
        tail = low * 10 ** (-3 * t / fade) + (white - low) * 10 ** (-6 * t / fade)
        tail = tail * torch.where(t < 0.02, 0.2, 1.0) * (t < fade)
        early = self._on_card(
            (rng.uniform(0.002, 0.03, (size, 8)) * RATE).astype(np.int64), torch.int64
        )
        strength = self._on_card(rng.choice([-1, 1], (size, 8)) * rng.uniform(1, 4, (size, 8)))
        tail = tail.scatter_add(1, early, strength)
        tail = (
            tail
            * self._on_card(10 ** (-direct / 20))[:, None]
            / tail.pow(2).sum(1, keepdim=True).sqrt()
        )
        tail[:, 0] += 1.0
        return tail

    def _noise(self, is_still: NDArray[np.bool_], length: int) -> Any:
        """Noise of unit power for each take: ``[takes, length]``."""
        torch, rng, size = self._torch, self._rng, len(is_still)
        first, second = (self._one_noise(is_still, length) for _ in range(2))
        share = np.where(rng.random(size) < _TWO_AT_ONCE, rng.uniform(0.2, 0.7, size), 0.0)
        part = self._on_card(share)[:, None]
        noise = first * (1.0 - part).sqrt() + second * part.sqrt()
        gains = rng.uniform(-_COLOURED_DB, _COLOURED_DB, (size, len(BAND_EDGES)))
        gains[rng.random(size) < 0.5] = 0.0
        points = 1 << (length - 1).bit_length()
        hertz = torch.fft.rfftfreq(points, 1 / RATE, device=self._device)
        shape = 10 ** ((self._on_card(gains) @ self._hats(hertz)) / 20)
        return torch.fft.irfft(torch.fft.rfft(noise, points) * shape, points)[:, :length]

    def _one_noise(self, is_still: NDArray[np.bool_], length: int) -> Any:
        torch, rng = self._torch, self._rng
        chosen = []
        for still in is_still:
            kinds = self._machines if still else self._all
            ways = kinds[int(rng.integers(len(kinds)))]
            chosen.append(ways[int(rng.integers(len(ways)))])
        have = self._noises.shape[1]
        first = self._on_card(rng.integers(0, have, len(chosen)), torch.int64)[:, None]
        at = (first + torch.arange(length, device=self._device)[None]) % have
        noise = self._noises[self._on_card(chosen, torch.int64)[:, None], at]
        return noise / (noise * noise).mean(1, keepdim=True).sqrt().clamp(min=1e-3)

    def _log_mel(self, sound: Any, frames: NDArray[np.int64]) -> Any:
        """Features as ``features.log_mel`` and ``pad_features`` make them, some of them hidden."""
        torch, rng, size = self._torch, self._rng, len(sound)
        edged = torch.nn.functional.pad(sound[:, None], (WINDOW // 2, WINDOW // 2), mode="reflect")[
            :, 0
        ]
        spectrum = torch.stft(
            edged, WINDOW, HOP, window=self._hann, center=False, return_complex=True
        )
        power = spectrum.real**2 + spectrum.imag**2
        log = (self._mel @ power).clamp(min=1e-10).log10()
        count = self._on_card(frames, torch.int64)[:, None, None]
        have = log.shape[2]
        step = torch.arange(have, device=self._device)[None, None]
        top = torch.where(step < count, log, torch.full_like(log, -10.0)).amax((1, 2), keepdim=True)
        bands = (torch.maximum(log, top - 8.0) + 4.0) / 4.0
        hidden = self._on_card(rng.random(size) < 0.25, torch.bool)[:, None, None]
        low, high = (
            self._on_card(x, torch.int64)[:, None, None] for x in _stretch(rng, 72, 2, 8, size)
        )
        from_, to = (
            self._on_card(x, torch.int64)[:, None, None]
            for x in _stretch(rng, max(1, have - 12), 2, 10, size)
        )
        band = torch.arange(80, device=self._device)[None, :, None]
        gone = hidden & (((band >= low) & (band < high)) | ((step >= from_) & (step < to)))
        bands = torch.where(gone, bands.mean((1, 2), keepdim=True), bands)
        lead, extra = rng.integers(10, 40, size), rng.integers(40, 101, size)
        wanted = -(-int((lead + frames + extra).max()) // _FRAMES) * _FRAMES
        at = (
            torch.arange(wanted, device=self._device)[None, None]
            - self._on_card(lead, torch.int64)[:, None, None]
        )
        inside = (at >= 0) & (at < count)
        picked = bands.gather(2, at.clamp(0, have - 1).expand(-1, 80, -1))
        return torch.where(inside, picked, torch.full_like(picked, SILENT))


def _stretch(
    rng: np.random.Generator, most: int, short: int, long: int, size: int
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    first = rng.integers(0, most, size)
    return first, first + rng.integers(short, long, size)


def _one_way(take: Take) -> str:
    return in_one_way(take.words) if take.kind in TRADE else plain(take.words)
