"""Classes of cautions: which systems and components each belongs to, and what it says (pure)."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from fieldlog.catalogue.component import Catalogue, CautionClass, Component

_KEYS = frozenset(("name", "systems", "components", "never", "says", "at_start"))
_LISTS = ("systems", "components", "never", "says")


def with_cautions(catalogue: Catalogue, text: str, faults: list[str]) -> Catalogue:
    """``catalogue`` with the classes of the TOML ``text``; every fault of it goes into ``faults``."""
    try:
        rows = tomllib.loads(text).get("caution", [])
    except (ValueError, RecursionError) as error:
        faults.append(f"cautions.toml: {error}")
        return catalogue
    read = [(_class(row, catalogue, faults), row) for row in rows]
    components = {
        each.name: replace(each, classes=tuple(one for one, row in read if _is_of(row, each)))
        for each in catalogue
    }
    start = tuple(one for one, row in read if row.get("at_start"))
    return Catalogue(MappingProxyType(components), start)


def _class(row: Mapping[str, Any], catalogue: Catalogue, faults: list[str]) -> CautionClass:
    name = str(row.get("name", ""))

    def fault(what: str) -> None:
        faults.append(f"cautions.toml: {name or 'a caution'}: {what}")

    for key in sorted(row.keys() - _KEYS):
        fault(f"unknown key {key!r}")
    for key in _LISTS:
        given = row.get(key, [])
        if not isinstance(given, list) or not all(isinstance(one, str) and one for one in given):
            fault(f"{key}: a list of texts is needed")
    for system in row.get("systems", []):
        if system not in catalogue.systems:
            fault(f"systems: {system!r} is no system of the catalogue")
    for component in (*row.get("components", []), *row.get("never", [])):
        if component not in catalogue.components:
            fault(f"{component!r} is not in the catalogue")
    if not name or not row.get("says"):
        fault("a name and what it says are needed")
    return CautionClass(name, tuple(row.get("says", ())))


def _is_of(row: Mapping[str, Any], component: Component) -> bool:
    of_system = component.system in row.get("systems", ()) and component.name not in row.get(
        "never", ()
    )
    return of_system or component.name in row.get("components", ())
