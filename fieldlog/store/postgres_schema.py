"""The tables of the record as PostgreSQL has them, made from ``schema``, and whether they still are.

Types: TEXT in the order of its bytes (``COLLATE "C"``, SQLite's own), INTEGER as BIGINT, REAL as DOUBLE
PRECISION, BLOB as BYTEA. ``rowid`` counts rows as they arrive, as SQLite's does. Steps have the numbers of
``migrations``: a new database begins with all of them, one that is there takes those it has not.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache

from fieldlog.store import word_index
from fieldlog.store.migrations import NAMES
from fieldlog.store.schema import GUARDED, TABLES, create_indexes
from fieldlog.store.sql import Tables

STEPS = "fieldlog_step"
"""The table of the steps that were taken; it says that a database is ours."""
FIRST = "0010_remark_of"
"""The first step with which there were databases on a server; those before it are in every one."""
LATER: dict[str, tuple[str, ...]] = {
    "0011_search": ("local_found", "local_word"),
    "0012_language": (),
}
"""Step after ``FIRST`` -> the tables that it makes. A step of ``migrations`` without an entry fails a test."""
COLUMNS: dict[str, tuple[str, str]] = {"0012_language": ("inspection", "language TEXT")}
"""Step after ``FIRST`` -> the table to which it adds a column, and that column."""

SEARCH = "0011_search"
_TYPES = {"TEXT": 'TEXT COLLATE "C"', "INTEGER": "BIGINT", "REAL": "DOUBLE PRECISION", "BLOB": "BYTEA"}  # fmt: skip
_REFUSES = "BEGIN RAISE EXCEPTION 'the record is append-only'; END"
_HELPERS = (
    f"CREATE FUNCTION fieldlog_refuses() RETURNS trigger LANGUAGE plpgsql AS $$ {_REFUSES} $$",
    # SQLite's, as far as the record asks for them
    "CREATE FUNCTION json_valid(told TEXT) RETURNS boolean LANGUAGE plpgsql IMMUTABLE AS "
    "$$ BEGIN PERFORM told::json; RETURN true; EXCEPTION WHEN others THEN RETURN false; END $$",
    "CREATE FUNCTION json_extract(told TEXT, path TEXT) RETURNS TEXT LANGUAGE plpgsql IMMUTABLE AS "
    "$$ BEGIN RETURN told::json ->> substr(path, 3); EXCEPTION WHEN others THEN RETURN NULL; END $$",
)
_VERBS = ("UPDATE", "DELETE", "TRUNCATE")


def _typed(columns: str) -> str:
    return re.sub(r"\b(TEXT|INTEGER|REAL|BLOB)\b", lambda match: _TYPES[match[1]], columns)


def _table(table: str) -> str:
    columns = _typed(TABLES[table])
    columns = re.sub(r"\boffset\b", '"offset"', columns)
    if table == "record":
        columns += ", rowid BIGINT GENERATED ALWAYS AS IDENTITY"
    return f"CREATE TABLE {table} ({columns})"


def _guards() -> Iterator[str]:
    for table in GUARDED:
        for verb in _VERBS:
            name = f"{table}_no_{verb.lower()}"
            yield (
                f"CREATE TRIGGER {name} BEFORE {verb} ON {table} "
                "FOR EACH STATEMENT EXECUTE FUNCTION fieldlog_refuses()"
            )
            yield f"ALTER TABLE {table} ENABLE ALWAYS TRIGGER {name}"


def statements() -> Iterator[str]:
    """What makes an empty database a record of today."""
    yield from _HELPERS
    yield from map(_table, TABLES)
    yield from create_indexes()
    yield from _guards()
    yield f'CREATE TABLE {STEPS} (name TEXT COLLATE "C" PRIMARY KEY NOT NULL)'


def steps_taken(connection: Tables) -> tuple[str, ...] | None:
    """Names of the steps that a database has; None where it has no record."""
    there = connection.execute(f"SELECT to_regclass('{STEPS}') IS NOT NULL").fetchone()[0]
    if not there:
        return None
    return tuple(row[0] for row in connection.execute(f"SELECT name FROM {STEPS} ORDER BY name"))


def strangers(connection: Tables) -> int:
    """How many tables a database has where ours would be."""
    sql = "SELECT count(*) FROM pg_class WHERE relkind = 'r' AND relnamespace = current_schema()::regnamespace"
    return int(connection.execute(sql).fetchone()[0])


def take_steps(connection: Tables, taken: tuple[str, ...] | None) -> None:
    """Bring a database up to date, within a transaction of the only one that writes."""
    if taken is None:
        for statement in statements():
            connection.execute(statement)
    for name in NAMES if taken is None else [name for name in NAMES if name not in taken]:
        if taken is not None:
            for table in LATER[name]:
                connection.execute(_table(table))
            if name in COLUMNS:
                table, column = COLUMNS[name]
                connection.execute(f"ALTER TABLE {table} ADD COLUMN {_typed(column)}")
            if name == SEARCH:
                word_index.build(connection)
        connection.execute(f"INSERT INTO {STEPS} (name) VALUES (?)", (name,))


# -- whether it is as it was made -----------------------------------------------------------------

_COLUMNS = (
    "SELECT c.relname, a.attname, format_type(a.atttypid, a.atttypmod) AS type, a.attnotnull "
    "FROM pg_attribute a JOIN pg_class c ON c.oid = a.attrelid WHERE c.relkind = 'r' AND a.attnum > 0 "
    "AND NOT a.attisdropped AND c.relnamespace = current_schema()::regnamespace "
    "ORDER BY c.relname, a.attname"
)
_TRIGGERS = (
    "SELECT t.tgname, c.relname, t.tgenabled, t.tgtype, p.prosrc FROM pg_trigger t "
    "JOIN pg_class c ON c.oid = t.tgrelid JOIN pg_proc p ON p.oid = t.tgfoid "
    "WHERE NOT t.tgisinternal AND c.relnamespace = current_schema()::regnamespace ORDER BY t.tgname"
)
_INDEXES = "SELECT indexname FROM pg_indexes WHERE schemaname = current_schema() ORDER BY indexname"
_RULES = (
    "SELECT c.relname, k.contype, count(*) AS many FROM pg_constraint k "
    "JOIN pg_class c ON c.oid = k.conrelid WHERE k.convalidated AND k.contype IN ('c', 'f', 'u') "
    "AND c.relnamespace = current_schema()::regnamespace GROUP BY c.relname, k.contype "
    "ORDER BY c.relname, k.contype"
)
_NAMES = {"TEXT": "text", "INTEGER": "bigint", "REAL": "double precision", "BLOB": "bytea"}
_TRIGGER_TYPES = {"UPDATE": 2 + 16, "DELETE": 2 + 8, "TRUNCATE": 2 + 32}
"""BEFORE and the verb, for each statement (pg_trigger.h)."""
_REFERENCE = re.compile(r"(\w+) TEXT[A-Z ]* REFERENCES (\w+)\((\w+)\)")


@cache
def _expected_columns() -> dict[tuple[str, str], str]:
    found = {("record", "rowid"): "bigint", (STEPS, "name"): "text"}
    for table, text in TABLES.items():
        for name, kind in re.findall(r"(?:^|,)\s*(\w+) (TEXT|INTEGER|REAL|BLOB)\b", text):
            found[table, name] = _NAMES[kind]
    return found


def form_faults(connection: Tables) -> list[str]:
    """Tables, indexes, rules and triggers that are gone, are made otherwise, or were put in."""
    there = {(row[0], row[1]): row[2] for row in connection.execute(_COLUMNS).fetchall()}
    expected = _expected_columns()
    faults = [
        f"table {table}: column {name} is gone or made otherwise than fieldlog makes it"
        for (table, name), kind in sorted(expected.items())
        if there.get((table, name)) != kind
    ]
    faults += [
        f"table {table}: column {name} was put in; fieldlog makes none such"
        for table, name in sorted(there.keys() - expected.keys())
    ]
    guards = {
        f"{table}_no_{verb.lower()}": (table, "A", _TRIGGER_TYPES[verb], f" {_REFUSES} ")
        for table in GUARDED
        for verb in _VERBS
    }
    made = {row[0]: tuple(row)[1:] for row in connection.execute(_TRIGGERS).fetchall()}
    faults += [
        f"trigger {name}: gone or changed; the database no longer refuses such a change"
        for name in sorted(guards)
        if made.get(name) != guards[name]
    ]
    faults += [f"trigger {name}: put in" for name in sorted(made.keys() - guards.keys())]
    indexes = {row[0] for row in connection.execute(_INDEXES).fetchall()}
    wanted = {statement.split()[2] for statement in create_indexes()}
    faults += [f"index {name}: gone" for name in sorted(wanted - indexes)]
    rules = {(row[0], row[1]): row[2] for row in connection.execute(_RULES).fetchall()}
    for table, text in TABLES.items():
        unique = len(re.findall(r"\bUNIQUE\b", text))
        counts = {"c": text.count("CHECK"), "f": text.count("REFERENCES"), "u": unique}
        faults += [
            f"table {table}: {what} are gone or others"
            for kind, what in (("c", "checks"), ("f", "references"), ("u", "unique columns"))
            if rules.get((table, kind), 0) != counts[kind]
        ]
    return faults


def reference_faults(connection: Tables) -> list[str]:
    """Rows that refer to one that is not there, which only somebody with the server's own rights can make."""
    faults = []
    for table, text in TABLES.items():
        for column, parent, key in _REFERENCE.findall(text):
            if parent == "record":
                continue  # who puts in a row beside the record is told so by its name
            sql = (
                f"SELECT count(*) FROM {table} c LEFT JOIN {parent} p ON p.{key} = c.{column} "
                f"WHERE c.{column} IS NOT NULL AND p.{key} IS NULL"
            )
            if connection.execute(sql).fetchone()[0]:
                faults.append(f"{table}: a row of it refers to one of {parent} that is not there")
    return faults
