"""eSpeak NG in a process of its own: text in, samples out. Nothing else of fieldlog loads it.

The library (GPL-3.0-or-later) comes with the optional extra ``speak`` (``espeakng-loader``); this module is
only run as ``python -P -m fieldlog.apart fieldlog.apart.espeak:speaker``. The calls are those of its public
header ``speak_lib.h``.
"""

from __future__ import annotations

import ctypes
import importlib
from collections.abc import Callable
from typing import Any

_SYNCHRONOUS = 2
_UTF8 = 1
_POSITION_CHARACTER = 1
_VOICE = b"en"
_BUFFER_MS = 0
_CHUNK = ctypes.CFUNCTYPE(
    ctypes.c_int, ctypes.POINTER(ctypes.c_short), ctypes.c_int, ctypes.c_void_p
)


def speaker() -> Callable[[bytes], bytes]:
    """Answers UTF-8 text with 16-bit samples, their rate (Hz, four bytes) in front.

    A voice may stand before the text, with a NUL between ("de+f2"); it stays until another is named.
    """
    loader: Any = importlib.import_module("espeakng_loader")
    library = ctypes.CDLL(str(loader.get_library_path()))
    folder = str(loader.get_data_path()).encode()
    rate: int = library.espeak_Initialize(_SYNCHRONOUS, _BUFFER_MS, folder, 0)
    if rate <= 0 or library.espeak_SetVoiceByName(_VOICE) != 0:
        raise OSError("eSpeak NG cannot be started")
    chunks: list[bytes] = []

    def take(samples: Any, count: int, _events: object) -> int:
        if count > 0:
            chunks.append(ctypes.string_at(samples, 2 * count))
        return 0

    called = _CHUNK(take)
    library.espeak_SetSynthCallback(called)

    def say(asked: bytes) -> bytes:
        chunks.clear()
        voice, named, text = asked.rpartition(b"\0")
        if named and library.espeak_SetVoiceByName(voice) != 0:
            return rate.to_bytes(4, "big")
        size = ctypes.c_size_t(len(text) + 1)
        none = ctypes.c_uint(0)
        library.espeak_Synth(text, size, none, _POSITION_CHARACTER, none, _UTF8, None, None)
        library.espeak_Synchronize()
        kept = called  # the library holds only its address
        assert kept is not None
        return rate.to_bytes(4, "big") + b"".join(chunks)

    return say
