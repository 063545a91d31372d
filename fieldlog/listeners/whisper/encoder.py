"""Whisper's audio encoder through CTranslate2 (int8 weights, both cores)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldlog.errors import ModelError

Array = NDArray[np.float32]


class Encoder:
    """One loaded CTranslate2 Whisper model: encodes features, and transcribes without a grammar."""

    def __init__(
        self,
        folder: Path,
        threads: int = 2,
        compute_type: str = "int8",
        files: Mapping[str, bytes] | None = None,
    ) -> None:
        """Load the model, from ``files`` (by name) instead of the folder's own where given.

        They lie on the disk until the model is loaded: what CTranslate2 is given in memory it keeps as long as the
        model (72 MB of the bundled weights). Where the disk takes them not, it gets them in memory.

        Raises ``ModelError`` when CTranslate2 is missing or refuses the model.
        """
        try:
            import ctranslate2
        except (ImportError, OSError) as error:
            raise ModelError(
                f"CTranslate2 cannot be used here ({error})",
                where="ctranslate2",
                todo="pip install 'ctranslate2>=4.6,<5'",
            ) from error
        self._view = ctranslate2.StorageView
        laid = None if files is None else _laid_down(files)
        in_memory = None if files is None or laid is not None else dict(files)
        try:
            self._model: Any = ctranslate2.models.Whisper(
                str(folder) if laid is None else laid.name,
                device="cpu",
                compute_type=compute_type,
                intra_threads=threads,
                files=in_memory,
            )
        except (RuntimeError, ValueError) as error:
            raise ModelError(
                f"CTranslate2 does not take this folder as a Whisper model ({error})",
                where=str(folder),
                todo="name a CTranslate2 Whisper folder (model.bin, config.json, tokenizer.json)",
            ) from error
        finally:
            if laid is not None:
                laid.cleanup()
        self.bands: int = self._model.n_mels
        self.multilingual: bool = self._model.is_multilingual

    def encode(self, features: Array) -> Array:
        """``[bands, frames]`` (even, at most 3000 frames) -> ``[frames // 2, width]``."""
        view = self._view.from_array(np.ascontiguousarray(features[None], dtype=np.float32))
        encoded: Array = np.array(self._model.encode(view, to_cpu=True))[0]
        return encoded

    def transcribe(self, features: Array, prompt: Sequence[int], longest: int = 160) -> list[int]:
        """Token ids of a plain beam search, no grammar; ``features`` as for ``encode``.

        Repeated four-token runs are suppressed, because Whisper loops on noise.
        """
        view = self._view.from_array(np.ascontiguousarray(features[None], dtype=np.float32))
        found = self._model.generate(
            view, [list(prompt)], beam_size=3, max_length=longest, no_repeat_ngram_size=4
        )
        return [int(token) for token in found[0].sequences_ids[0]]

    def close(self) -> None:
        """Free the model; it cannot be used afterwards."""
        self._model.unload_model()


def _laid_down(files: Mapping[str, bytes]) -> TemporaryDirectory[str] | None:
    """A folder of ``files``, for us alone and for a moment; None where the disk does not take them."""
    try:
        laid = TemporaryDirectory(prefix="fieldlog-", ignore_cleanup_errors=True)
    except OSError:
        return None
    try:
        for name, content in files.items():
            Path(laid.name, name).write_bytes(content)
    except OSError:
        laid.cleanup()
        return None
    return laid
