"""Rows of the record as lines of a bundle, and back (pure).

``rows.jsonl`` has, for each row, exactly the text that its hash is of, so that anybody can hash the line:
``chain.canonical``, or what was hashed before records could merge (``old_chain``). ``places.jsonl`` has
beside each its hash, its turn and its place in the tree of the checkpoint.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping
from contextlib import closing
from functools import cache
from typing import Any

from fieldlog.store.base import Elsewhere, StoredRow
from fieldlog.store.chain import (
    LOCAL,
    ZERO,
    Cell,
    Place,
    canonical,
    digest,
    json_bytes,
    parts_of_row,
)
from fieldlog.store.old_chain import INSTANTS, OldPlace, old_text
from fieldlog.store.rows import instant_us
from fieldlog.store.schema import CHAINED, CHILDREN, TABLES, create_table

LONGEST_LINE = 4 << 20
Json = dict[str, Any]
_TYPES = {"TEXT": (str,), "INTEGER": (int,), "REAL": (float, int)}
_JSON_TYPES = {"TEXT": "string", "INTEGER": "integer", "REAL": "number"}


@cache
def columns_of(table: str) -> Mapping[str, tuple[str, bool]]:
    """Column -> its type, and whether it is always there; without what is local to one store."""
    with closing(sqlite3.connect(":memory:")) as connection:
        connection.execute(create_table(table))
        return {
            row[1]: (row[2], bool(row[3]))
            for row in connection.execute(f"PRAGMA table_info({table})")
            if not row[1].startswith(LOCAL)
        }


def row_line(row: StoredRow) -> bytes:
    """The text that the row's hash is of."""
    children = parts_of_row(row.children)
    place = row.place
    if row.old is not None:
        return old_text(place, row.old, row.columns, children)
    return canonical(place, row.columns, children)


def place_line(row: StoredRow, leaf: int) -> bytes:
    """What of a row's place is not in its hashed text."""
    told: Json = {"hash": row.place.hash.hex(), "turn": row.place.turn, "leaf": leaf}
    if row.old is not None:
        told["old"] = {
            "n": row.place.n,
            "previous": row.old.previous.hex(),
            "hash": row.old.hash.hex(),
            "parents": [each.hex() for each in row.place.parents],
        }
    return json_bytes(told)


def read_row(line: bytes, beside: bytes) -> tuple[StoredRow, int]:
    """The row of a line of ``rows.jsonl`` and of ``places.jsonl``, and its leaf.

    Raises ``ValueError`` (also where the hash is not that of the line) with what does not fit.
    """
    told, told_beside = _object(line), _object(beside)
    hash, turn, leaf = (
        _hash(told_beside["hash"]),
        _int(told_beside["turn"]),
        _int(told_beside["leaf"]),
    )
    old = told_beside.get("old")
    if set(told_beside) - {"hash", "turn", "leaf", "old"}:
        raise ValueError("says more of its place than there is")
    row = _new(told, hash, turn) if old is None else _old(told, _dict(old), hash, turn)
    if old is None and digest(line) != hash:
        raise ValueError("changed after it was written")
    if row_line(row) != line:
        raise ValueError("is not written as a row of the record is")
    return row, leaf


def _new(told: Json, hash: bytes, turn: int) -> StoredRow:
    parents = tuple(_hash(each) for each in _list(told["parents"]))
    place = Place(
        id=_str(told["id"]),
        kind=_str(told["kind"]),
        owner=_str(told["owner"]),
        writer=_str(told["writer"]),
        n=_int(told["n"]),
        made_at=_int(told["made_at"]),
        turn=turn,
        hash=hash,
        parents=parents,
    )
    if not place.writer:
        raise ValueError("nobody wrote it")
    return _stored(place, _dict(told["row"]), _list(told["children"]), None)


def _old(told: Json, beside: Json, hash: bytes, turn: int) -> StoredRow:
    row = dict(_dict(told["row"]))
    number = row.pop("number", None)
    kind = _str(told["kind"])
    instant = INSTANTS.get(kind)
    if instant is not None and instant in row:
        row[instant] = _instant(row[instant])
    old = OldPlace(
        _int(told["n"]),
        _hash(beside["previous"]),
        _hash(beside["hash"]),
        None if number is None else _int(number),
    )
    parents = tuple(_hash(each) for each in _list(beside["parents"]))
    place = Place(
        id=_str(told["id"]),
        kind=kind,
        owner=_str(told["chain"]),
        writer="",
        n=_int(beside["n"]),
        made_at=_instant(told["made_at"]),
        turn=turn,
        hash=hash,
        parents=parents,
    )
    stored = _stored(place, row, _list(told["children"]), old)
    if digest(old.previous, row_line(stored)) != old.hash:
        raise ValueError("changed after it was written")
    if digest(parents[0] if parents else ZERO, old.hash) != hash:
        raise ValueError("not in the order in which it was written")
    return stored


def _stored(place: Place, row: Json, parts: list[Any], old: OldPlace | None) -> StoredRow:
    if place.kind not in CHAINED:
        raise ValueError(f"there is no kind {place.kind[:40]!r}")
    columns = _cells(place.kind, row)
    if columns.get("id") != place.id:
        raise ValueError("its id is another one inside")
    children: dict[str, list[dict[str, Cell]]] = {
        child: [] for child, _ in CHILDREN.get(place.kind, ())
    }
    for part in map(_dict, parts):
        named = part.get("table")
        cells = {key: value for key, value in part.items() if key != "table"}
        table = next((t for t in children if _fits(t, cells) and named in (None, t)), None)
        if table is None:
            raise ValueError("has a part that is none of its kind")
        children[table].append(_cells(table, cells))
    return StoredRow(place, columns, children, {}, old)


def _fits(table: str, part: Json) -> bool:
    columns = columns_of(table)
    needed = {name for name, (_, always) in columns.items() if always}
    return needed <= part.keys() <= columns.keys()


def _cells(table: str, row: Json) -> dict[str, Cell]:
    """Every column of ``table``, None where ``row`` has none; raises ``ValueError`` for another."""
    columns = columns_of(table)
    if not _fits(table, row):
        raise ValueError(f"has not the columns of {table}")
    for name, value in row.items():
        kinds = _TYPES.get(columns[name][0], ())
        if isinstance(value, bool) or not isinstance(value, kinds):
            raise ValueError(f"{name} is of another type")
        if isinstance(value, int) and not -(1 << 63) <= value < 1 << 63:
            raise ValueError(f"{name} is beyond 64 bits")
    return {name: row.get(name) for name in columns}


# -- what is besides the rows ---------------------------------------------------------------------


def elsewhere_line(each: Elsewhere) -> bytes:
    """A row that is not in the bundle and that one in it was written after."""
    return json_bytes(
        {
            "hash": each.hash.hex(),
            "writer": each.writer,
            "n": each.n,
            "turn": each.turn,
            "behind": [hash.hex() for hash in each.behind],
        }
    )


def read_elsewhere(line: bytes) -> Elsewhere:
    """The reverse; raises ``ValueError``."""
    told = _object(line)
    found = Elsewhere(
        _hash(told["hash"]),
        _str(told["writer"]),
        _int(told["n"]),
        _int(told["turn"]),
        tuple(sorted(_hash(each) for each in _list(told["behind"]))),
    )
    if found.n < 0 or elsewhere_line(found) != line:
        raise ValueError("is not written as such a line is")
    return found


def limit_line(sha256: str, text: str) -> bytes:
    """A limit text under its hash."""
    return json_bytes({"sha256": sha256, "text": text})


def read_limit(line: bytes) -> tuple[str, str]:
    """The reverse; raises ``ValueError``, also where the hash is another one."""
    told = _object(line)
    sha256, text = _str(told["sha256"]), _str(told["text"])
    if limit_line(sha256, text) != line or digest(text.encode("utf-8")).hex() != sha256:
        raise ValueError("changed after it was written")
    return sha256, text


def schema() -> bytes:
    """JSON Schema 2020-12 of a line of ``rows.jsonl``."""
    hash = {"type": "string", "pattern": "^[0-9a-f]{64}$"}
    kinds: list[Json] = []
    for kind in CHAINED:
        parts: list[Any] = [{"$ref": f"#/$defs/{table}"} for table, _ in CHILDREN.get(kind, ())]
        of_kind = {
            "row": {"$ref": f"#/$defs/{kind}"},
            "children": {"items": {"anyOf": parts or [False]}},
        }
        kinds.append(
            {"if": {"properties": {"kind": {"const": kind}}}, "then": {"properties": of_kind}}
        )
    tables = [*CHAINED, *(t for pairs in CHILDREN.values() for t, _ in pairs)]
    whole = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "A line of rows.jsonl: a row of the record, exactly as it is hashed",
        "type": "object",
        "required": ["id", "kind", "n", "made_at", "row", "children"],
        "properties": {
            "id": {"type": "string"},
            "kind": {"enum": list(CHAINED)},
            "owner": {"type": "string"},
            "chain": {"type": "string", "description": "the owner, in rows of earlier versions"},
            "writer": {"type": "string"},
            "n": {"type": "integer", "minimum": 0},
            "made_at": {"type": ["integer", "string"]},
            "parents": {"type": "array", "items": hash},
            "row": {"type": "object"},
            "children": {"type": "array", "items": {"type": "object"}},
        },
        "additionalProperties": False,
        "allOf": kinds,
        "$defs": {table: _table_schema(table) for table in tables if table in TABLES},
    }
    return (json.dumps(whole, indent=1, sort_keys=True) + "\n").encode()


def _table_schema(table: str) -> Json:
    columns = columns_of(table)
    old = {INSTANTS[table]} if table in INSTANTS else set()
    properties: Json = {
        name: {"type": ["integer", "string"] if name in old else _JSON_TYPES[kind]}
        for name, (kind, _) in columns.items()
    }
    if any(table == child for pairs in CHILDREN.values() for child, _ in pairs):
        properties["table"] = {"const": table}
    properties["number"] = {"type": "integer", "description": "in rows of earlier versions"}
    return {
        "type": "object",
        "properties": properties,
        "required": sorted(name for name, (_, always) in columns.items() if always),
        "additionalProperties": False,
    }


# -- with no trust --------------------------------------------------------------------------------


def _object(line: bytes) -> Json:
    try:
        found = json.loads(line.decode("utf-8"))
    except RecursionError:
        raise ValueError("is nested deeper than any line is") from None
    return _dict(found)


def _dict(value: object) -> Json:
    if not isinstance(value, dict):
        raise ValueError("is no object")
    return value


def _list(value: object) -> list[Any]:
    if not isinstance(value, list):
        raise ValueError("is no list")
    return value


def _str(value: object) -> str:
    if not isinstance(value, str):
        raise ValueError("is no text")
    return value


def _int(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not -(1 << 63) <= value < 1 << 63:
        raise ValueError("is no number of 64 bits")
    return value


def _hash(value: object) -> bytes:
    text = _str(value)
    if len(text) != 64 or set(text) - set("0123456789abcdef"):
        raise ValueError("is no hash")
    return bytes.fromhex(text)


def _instant(value: object) -> int:
    from datetime import datetime

    return instant_us(datetime.fromisoformat(_str(value)))
