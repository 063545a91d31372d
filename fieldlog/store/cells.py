"""A frozen type as the cells of its row and back, by the types of its fields (pure).

A field and its column have one name. Instants are microseconds, enums their values, exact numbers
``num/den``, mappings and tuples JSON, and numbers that are not finite none.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import fields
from datetime import datetime
from enum import Enum
from fractions import Fraction
from functools import cache
from types import MappingProxyType, NoneType, UnionType
from typing import Any, TypeVar, get_args, get_origin, get_type_hints

from fieldlog.store.chain import Cell
from fieldlog.store.rows import (
    Columns,
    exact_from,
    exact_text,
    finite,
    instant_from,
    instant_us,
    texts_from,
    to_json,
)

_T = TypeVar("_T")
_Reader = Callable[[Any], object] | None


def cells(of: object, *apart: str) -> dict[str, Cell]:
    """A cell for each field of the dataclass ``of`` save those that are put down ``apart``."""
    return {name: _cell(getattr(of, name)) for name in _readers(type(of)) if name not in apart}


def taken(kind: type[_T], row: Columns, **given: object) -> _T:
    """A ``kind`` of the columns of ``row`` that are called like its fields, and of what is ``given``."""
    for name, read in _readers(kind).items():
        if name not in given:
            cell = row[name]
            given[name] = cell if read is None or cell is None else read(cell)
    return kind(**given)


def _cell(value: Any) -> Cell:
    if isinstance(value, bool):
        return int(value)
    if isinstance(value, Enum):
        return str(value.value)
    if isinstance(value, float):
        return finite(value)
    if isinstance(value, Fraction):
        return exact_text(value)
    if isinstance(value, datetime):
        return instant_us(value)
    if isinstance(value, Mapping):
        return to_json(dict(value))
    return to_json(list(value)) if isinstance(value, tuple) else value


def _each(kind: type) -> dict[str, _Reader]:
    """Field -> what makes its value of a cell that holds one; None where the cell is the value."""
    hints = get_type_hints(kind)
    return {each.name: _reader(hints[each.name]) for each in fields(kind)}


_readers: Callable[[Any], dict[str, _Reader]] = cache(_each)


def _reader(hint: Any) -> _Reader:
    if isinstance(hint, UnionType):
        hint = next(each for each in get_args(hint) if each is not NoneType)
    if isinstance(hint, type) and issubclass(hint, Enum | bool):
        return hint
    return _READERS.get(get_origin(hint) or hint)


def _mapping(cell: str) -> Mapping[str, Any]:
    return MappingProxyType(json.loads(cell))


_READERS: Mapping[object, _Reader] = MappingProxyType(
    {datetime: instant_from, Fraction: exact_from, tuple: texts_from, Mapping: _mapping}
)
"""A tuple is one of texts; what else a type holds is given by whoever reads it."""
