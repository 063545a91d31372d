"""Is this folder a Vosk model that can take a grammar at run time? Asked before the library is.

The library answers every broken folder with the same "Failed to create a model", and a model with
a static graph by ending the process. What a usable folder holds: ``am/final.mdl``, ``conf/mfcc.conf``
(or ``conf/model.conf``) and, for a grammar given at run time, the look-ahead pair
``graph/HCLr.fst`` and ``graph/Gr.fst`` (vosk-api issue 2032).
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from fieldlog.errors import ModelError

GET = "download a small English model archive of Vosk, unpack it and name its folder with --model"

_LEAST_BYTES = 100_000
"""An acoustic model (final.mdl) or look-ahead graph is far larger; below this it was cut off."""


def check_folder(folder: Path) -> Path:
    """The folder itself; raises ``ModelError`` saying which of the known faults it has."""
    where = str(folder)
    if not folder.exists():
        raise ModelError("there is no such model folder", where=where, todo=GET)
    if not folder.is_dir():
        archive = folder.suffix.lower() in (".zip", ".gz", ".tar", ".tgz")
        raise ModelError(
            "this is an archive, not a folder" if archive else "this is a file, not a model folder",
            where=where,
            todo="unpack it and name the folder" if archive else "name the folder of the model",
        )
    names = {entry.name for entry in folder.iterdir()}
    if not names:
        raise ModelError("the model folder is empty", where=where, todo=GET)
    if not _looks_like_model(folder):
        _explain(folder, names)
    _check_parts(folder)
    if sys.platform == "win32" and not os.fspath(folder.resolve()).isascii():
        raise ModelError(
            "Vosk cannot open a path with letters outside ASCII on Windows",
            where=where,
            todo="move the model to a folder such as C:\\models\\vosk",
        )
    return folder


def _looks_like_model(folder: Path) -> bool:
    return (folder / "am" / "final.mdl").exists() or (folder / "final.mdl").exists()


def _explain(folder: Path, names: set[str]) -> None:
    where = str(folder)
    inner = [path for path in sorted(folder.iterdir()) if path.is_dir() and _looks_like_model(path)]
    if inner:
        raise ModelError(
            f"the model lies one folder deeper, in '{inner[0].name}'",
            where=where,
            todo=f"use --model '{inner[0]}'",
        )
    if any(name.endswith(".onnx") or name.startswith("multistream") for name in names) or (
        "db" in names or "dictionary" in names
    ):
        raise ModelError(
            "this is a speech synthesis (TTS) model, not a recogniser's",
            where=where,
            todo=GET,
        )
    if "final.raw" in names or (folder / "final.ext.raw").exists():
        raise ModelError("this is a speaker model, not a recogniser's", where=where, todo=GET)
    raise ModelError("no Vosk model here ('am/final.mdl' is missing)", where=where, todo=GET)


def _check_parts(folder: Path) -> None:
    where = str(folder)
    flat = not (folder / "am" / "final.mdl").exists()
    acoustic = folder / "final.mdl" if flat else folder / "am" / "final.mdl"
    graph = folder if flat else folder / "graph"
    size = acoustic.stat().st_size
    if size < _LEAST_BYTES or not _whole(acoustic):
        raise ModelError(
            f"'{acoustic.relative_to(folder)}' is cut off ({size:,} bytes)",
            where=where,
            todo="copy or unpack the model again",
        )
    lookahead = [graph / "HCLr.fst", graph / "Gr.fst"]
    missing = [path for path in lookahead if not path.exists()]
    if missing and (graph / "HCLG.fst").exists():
        raise ModelError(
            "static-graph model: it cannot take a grammar at run time",
            where=where,
            todo="use a small or an -lgraph model",
        )
    short = [path for path in lookahead if path.exists() and path.stat().st_size < _LEAST_BYTES]
    if missing or short:
        wrong = (missing or short)[0]
        raise ModelError(
            f"'{wrong.relative_to(folder)}' is {'missing' if missing else 'cut off'}",
            where=where,
            todo="copy or unpack the model again",
        )
    configurations = (
        [folder / "mfcc.conf"]
        if flat
        else [folder / "conf" / "mfcc.conf", folder / "conf" / "model.conf"]
    )
    if not any(path.exists() for path in configurations):
        raise ModelError(
            f"'{configurations[0].relative_to(folder)}' is missing",
            where=where,
            todo="copy or unpack the model again",
        )
    # Files that the graph needs to spell its words; an interrupted copy lacks some of them.
    for needed in ("phones/word_boundary.int",):
        if not (graph / needed).exists():
            raise ModelError(
                f"'{(graph / needed).relative_to(folder)}' is missing",
                where=where,
                todo="copy or unpack the model again",
            )


def _whole(acoustic: Path) -> bool:
    """Whether a Kaldi neural acoustic model has its last parts (they follow ``</Nnet3>``)."""
    with acoustic.open("rb") as file:
        head = file.read(2)
        file.seek(max(0, acoustic.stat().st_size - 262_144))
        tail = file.read()
    return head != b"\0B" or b"</Nnet3>" in tail
