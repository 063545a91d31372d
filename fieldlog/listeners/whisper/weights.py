"""Reads the variables out of a CTranslate2 ``model.bin`` (pure: bytes in, arrays out).

Layout of binary version 6, little-endian, as CTranslate2 4.x writes it (``model_spec.py`` of
github.com/OpenNMT/CTranslate2): u32 version; spec name; u32 revision; u32 count; per variable its
name, u8 rank, u32 dims, u8 type, u32 byte count, data; then u32 alias count and pairs of names.
A name is u16 length including the closing NUL, then the bytes.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fieldlog.errors import ModelError

Array = NDArray[np.float32]

BINARY_VERSION = 6
_TYPES: dict[int, np.dtype[np.generic]] = {
    0: np.dtype("<f4"),
    1: np.dtype("i1"),
    2: np.dtype("<i2"),
    3: np.dtype("<i4"),
    4: np.dtype("<f2"),
}
_GET = "install the model again, or name another CTranslate2 Whisper folder with --model"


class _Cursor:
    """A reading position in the file's bytes; running off the end is a ``ModelError``."""

    def __init__(self, data: memoryview, where: str) -> None:
        self.data = data
        self.where = where
        self.at = 0

    def number(self, code: str) -> int:
        """The next unsigned little-endian number (``B``, ``H`` or ``I``)."""
        return int(struct.unpack("<" + code, self.take(struct.calcsize("<" + code)))[0])

    def name(self) -> str:
        """The next NUL-terminated name."""
        return bytes(self.take(self.number("H"))).rstrip(b"\0").decode("utf-8", "replace")

    def take(self, count: int) -> memoryview:
        """The next ``count`` bytes, not copied."""
        part = self.data[self.at : self.at + count]
        if len(part) != count:
            raise ModelError("model.bin ends too early (cut short?)", where=self.where, todo=_GET)
        self.at += count
        return part


@dataclass(frozen=True, slots=True)
class ModelWeights:
    """The variables of one model file, as views into its bytes."""

    spec: str
    """Kind of model, ``WhisperSpec`` for ours."""
    variables: Mapping[str, NDArray[np.generic]]
    where: str = ""

    def without_layers(self) -> ModelWeights:
        """All but the matrices of the layers: embeddings, norms, biases, numbers."""
        kept = {
            name: each
            for name, each in self.variables.items()
            if each.ndim < 2 or "/layer_" not in name
        }
        return replace(self, variables=kept)

    def has(self, name: str) -> bool:
        """Whether the file holds a variable of that name."""
        return name in self.variables

    def raw(self, name: str) -> NDArray[np.generic]:
        """The stored array of variable ``name``; raises ``ModelError`` when there is none."""
        try:
            return self.variables[name]
        except KeyError:
            raise ModelError(
                f"the model has no variable {name!r}, so it is no Whisper model this program knows",
                where=self.where,
                todo=_GET,
            ) from None

    def number(self, name: str) -> int:
        """A variable that holds a single integer."""
        return int(self.raw(name).reshape(-1)[0])

    def floats(self, name: str, rows: NDArray[np.intp] | None = None) -> Array:
        """Variable ``name`` (or some of its rows) as float32; int8 is divided by its row scale.

        CTranslate2 stores ``q = round(w * scale)`` with one scale per row in ``<name>_scale``.
        """
        stored = self.raw(name)
        picked = stored if rows is None else stored[rows]
        values = np.ascontiguousarray(picked, dtype=np.float32)
        if stored.dtype == np.int8:
            scale = np.asarray(self.raw(f"{name}_scale"), dtype=np.float32).reshape(-1)
            if scale.size > 1:
                scale = scale if rows is None else scale[rows]
                scale = scale[:, None]
            values /= scale
        return values


def read_weights(data: bytes | memoryview, where: str = "model.bin") -> ModelWeights:
    """Every variable of a ``model.bin``; raises ``ModelError`` for any other kind of file."""
    cursor = _Cursor(memoryview(data), where)
    version = cursor.number("I")
    if version != BINARY_VERSION:
        raise ModelError(
            f"binary version {version}, this program reads version {BINARY_VERSION}",
            where=where,
            todo="convert the model again with CTranslate2 4.x",
        )
    spec = cursor.name()
    cursor.number("I")  # revision of the spec: the names of the variables say all we need
    variables = dict(_variable(cursor) for _ in range(cursor.number("I")))
    for _ in range(cursor.number("I")):
        alias, target = cursor.name(), cursor.name()
        if target in variables:
            variables[alias] = variables[target]
    return ModelWeights(spec, variables, where)


def _variable(cursor: _Cursor) -> tuple[str, NDArray[np.generic]]:
    name = cursor.name()
    shape = tuple(cursor.number("I") for _ in range(cursor.number("B")))
    kind = cursor.number("B")
    size = cursor.number("I")
    dtype = _TYPES.get(kind)
    if dtype is None or size != math.prod(shape) * dtype.itemsize:
        raise ModelError(
            f"variable {name!r} has type {kind} and {size} bytes, which do not belong together",
            where=cursor.where,
            todo=_GET,
        )
    return name, np.frombuffer(cursor.take(size), dtype=dtype).reshape(shape)
