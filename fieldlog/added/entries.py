"""Which parts other installed packages bring, found without importing any of them.

An entry point (packaging.python.org, *Entry points specification*) names what a package adds. Packs of limits and
forms of the report are files: they are read where they lie, and nothing of the package runs. A recogniser is code: it
is imported by its name alone, in a process of its own.
"""

from __future__ import annotations

import importlib.util
from dataclasses import dataclass
from enum import StrEnum
from importlib import metadata
from pathlib import Path

from fieldlog.errors import ModelError, UsageError


class Adds(StrEnum):
    """What can be added; the value is the group of its entry points."""

    LISTENER = "fieldlog.listeners"
    """``module:callable``: called with the model's folder or None, returns a ``Listener``."""
    LIMITS = "fieldlog.limit_packs"
    """A package whose folder holds ``*.toml`` packs."""
    REPORT = "fieldlog.report_forms"
    """A package whose folder holds ``form.html``, a Jinja template."""


@dataclass(frozen=True, slots=True)
class AddedPart:
    """One thing a package adds: under which name, and where it is."""

    adds: Adds
    name: str
    value: str
    """As the package wrote it: ``module:callable`` or ``module``."""
    package: str
    version: str


def added(adds: Adds | None = None) -> tuple[AddedPart, ...]:
    """What installed packages add, by kind and name; nothing is imported."""
    kinds = tuple(Adds) if adds is None else (adds,)
    found = [
        AddedPart(
            kind,
            point.name,
            point.value,
            point.dist.name if point.dist else "?",
            point.dist.version if point.dist else "?",
        )
        for kind in kinds
        for point in metadata.entry_points(group=kind.value)
    ]
    return tuple(sorted(found, key=lambda each: (each.adds, each.name, each.package)))


def named(adds: Adds, name: str) -> AddedPart:
    """The one of that name. Raises ``UsageError`` where none is, or several packages bring it."""
    found = [each for each in added(adds) if each.name == name]
    if not found:
        raise UsageError(f"no installed package adds {name!r}", todo="see `fieldlog added list`")
    if len(found) > 1:
        packages = " and ".join(each.package for each in found)
        raise UsageError(f"{packages} both add {name!r}", todo="uninstall one of them")
    return found[0]


def folder_of(part: AddedPart) -> Path:
    """Where the files of a part lie; the package is looked up, not imported.

    Raises ``UsageError`` for a package that is not there, or no folder.
    """
    top, *inside = part.value.split(".")
    spec = importlib.util.find_spec(top)
    places = list(spec.submodule_search_locations or ()) if spec else []
    for place in places:
        folder = Path(place, *inside)
        if folder.is_dir():
            return folder
    raise UsageError(
        f"{part.value} is no folder of an installed package",
        where=f"{part.package} {part.version}",
        todo="ask who made it, or uninstall it",
    )


def open_added(name: str, model: Path | None) -> object:
    """Import and make the recogniser called ``name``: for the worker's process only.

    Whatever goes wrong in it is a ``ModelError`` that names the package.
    """
    part = named(Adds.LISTENER, name)
    try:
        made: object = metadata.EntryPoint(part.name, part.value, part.adds.value).load()(model)
    except Exception as error:
        raise ModelError(
            f"{type(error).__name__}: {error}",
            where=f"{part.name} of {part.package} {part.version}",
            todo="ask who made it, or uninstall it",
        ) from error
    return made
