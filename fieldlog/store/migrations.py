"""The schema as named, ordered steps; each runs in a transaction and is recorded when applied.

Rules for the next one: add a function at the end, never change or reorder an applied one; only add
tables, nullable columns, indexes and triggers. Hashes of the record leave out empty columns, so a
new nullable column does not disturb the rows already chained (see ``fieldlog.store.chain``). What the
steps lead to is written down in ``fieldlog.store.schema``; a test holds the two together.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlite_utils import Migrations

from fieldlog.store import word_index
from fieldlog.store.schema import TABLES, create_indexes, create_table, guards
from fieldlog.store.to_writers import to_writers

if TYPE_CHECKING:
    from sqlite_utils import Database

APPLICATION_ID = 0x464C4F47
"""``FLOG`` in the database header (``PRAGMA application_id``): this file is ours."""

_FIRST_CHAINED: tuple[str, ...] = (
    "vehicle",
    "vehicle_fact",
    "vehicle_limit",
    "odometer",
    "inspection",
    "utterance",
    "finding",
    "verdict",
    "remark",
    "mark",
    "photo",
    "attachment",
    "camera_clock",
    "correction",
    "event",
)
_FIRST_CHILDREN = ("hypothesis", "reading", "judgement")

migrations = Migrations("fieldlog")

_EXACT = """
  value_num INTEGER, value_den INTEGER CHECK (value_den > 0),
  high_num INTEGER, high_den INTEGER CHECK (high_den > 0),
  uncertainty_num INTEGER, uncertainty_den INTEGER CHECK (uncertainty_den > 0),
  unit TEXT, qualifier TEXT, quantity_words TEXT
"""

_TABLES = (
    """CREATE TABLE record (
  seq INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, kind TEXT NOT NULL,
  chain TEXT NOT NULL, n INTEGER NOT NULL, made_at TEXT NOT NULL,
  hash BLOB NOT NULL, link BLOB NOT NULL, UNIQUE (chain, n))""",
    "CREATE TABLE limit_text (sha256 TEXT PRIMARY KEY, text TEXT NOT NULL) WITHOUT ROWID",
    """CREATE TABLE vehicle (
  number INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE REFERENCES record(id), name TEXT NOT NULL)""",
    """CREATE TABLE vehicle_fact (
  id TEXT PRIMARY KEY REFERENCES record(id), vehicle_id TEXT NOT NULL REFERENCES vehicle(id),
  key TEXT NOT NULL, value TEXT NOT NULL)""",
    """CREATE TABLE vehicle_limit (
  id TEXT PRIMARY KEY REFERENCES record(id), vehicle_id TEXT NOT NULL REFERENCES vehicle(id),
  limit_id TEXT NOT NULL, limit_sha256 TEXT REFERENCES limit_text(sha256))""",
    """CREATE TABLE inspection (
  number INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE REFERENCES record(id),
  vehicle_id TEXT NOT NULL REFERENCES vehicle(id), started_at TEXT NOT NULL, zone TEXT NOT NULL,
  inspector TEXT NOT NULL, place TEXT NOT NULL, jurisdiction TEXT, settings TEXT NOT NULL,
  program TEXT NOT NULL)""",
    f"""CREATE TABLE odometer (
  id TEXT PRIMARY KEY REFERENCES record(id), vehicle_id TEXT NOT NULL REFERENCES vehicle(id),
  inspection_id TEXT REFERENCES inspection(id), read_at TEXT NOT NULL, {_EXACT})""",
    """CREATE TABLE utterance (
  id TEXT PRIMARY KEY REFERENCES record(id),
  inspection_id TEXT NOT NULL REFERENCES inspection(id), number INTEGER NOT NULL,
  said_at TEXT NOT NULL, start_s REAL NOT NULL, end_s REAL NOT NULL, source TEXT NOT NULL,
  clip TEXT, listener TEXT NOT NULL, model TEXT NOT NULL, grammar TEXT NOT NULL, latency_ms REAL,
  decision TEXT NOT NULL, kind TEXT NOT NULL, reason TEXT NOT NULL, text TEXT NOT NULL,
  question TEXT NOT NULL, dialogue TEXT, flags TEXT NOT NULL, UNIQUE (inspection_id, number))""",
    """CREATE TABLE hypothesis (
  utterance_id TEXT NOT NULL REFERENCES utterance(id), rank INTEGER NOT NULL,
  listener TEXT NOT NULL, text TEXT NOT NULL, score REAL, evidence TEXT NOT NULL,
  PRIMARY KEY (utterance_id, rank)) WITHOUT ROWID""",
    f"""CREATE TABLE finding (
  id TEXT PRIMARY KEY REFERENCES record(id),
  inspection_id TEXT NOT NULL REFERENCES inspection(id), number INTEGER NOT NULL,
  utterance_id TEXT REFERENCES utterance(id), component TEXT NOT NULL, position TEXT,
  characteristic TEXT, condition TEXT, code TEXT, words TEXT NOT NULL, {_EXACT},
  UNIQUE (inspection_id, number))""",
    f"""CREATE TABLE reading (
  finding_id TEXT NOT NULL REFERENCES finding(id), rank INTEGER NOT NULL, {_EXACT},
  PRIMARY KEY (finding_id, rank)) WITHOUT ROWID""",
    """CREATE TABLE verdict (
  id TEXT PRIMARY KEY REFERENCES record(id),
  inspection_id TEXT NOT NULL REFERENCES inspection(id),
  finding_id TEXT NOT NULL REFERENCES finding(id), state TEXT NOT NULL, severity TEXT,
  reason TEXT NOT NULL, cautions TEXT NOT NULL)""",
    """CREATE TABLE judgement (
  verdict_id TEXT NOT NULL REFERENCES verdict(id), rank INTEGER NOT NULL,
  gates INTEGER NOT NULL CHECK (gates IN (0, 1)),
  limit_sha256 TEXT NOT NULL REFERENCES limit_text(sha256), state TEXT NOT NULL,
  margin TEXT, guard_band TEXT, reading TEXT, probability REAL, reason TEXT NOT NULL, PRIMARY KEY (verdict_id, rank)) WITHOUT ROWID""",
    """CREATE TABLE remark (
  id TEXT PRIMARY KEY REFERENCES record(id),
  inspection_id TEXT NOT NULL REFERENCES inspection(id),
  utterance_id TEXT REFERENCES utterance(id), text TEXT NOT NULL)""",
    """CREATE TABLE mark (
  id TEXT PRIMARY KEY REFERENCES record(id),
  inspection_id TEXT NOT NULL REFERENCES inspection(id),
  utterance_id TEXT REFERENCES utterance(id), finding_id TEXT REFERENCES finding(id),
  name TEXT NOT NULL, at TEXT NOT NULL)""",
    """CREATE TABLE photo (
  id TEXT PRIMARY KEY REFERENCES record(id),
  inspection_id TEXT NOT NULL REFERENCES inspection(id), media TEXT NOT NULL, file TEXT NOT NULL,
  kind TEXT NOT NULL, capture_local TEXT, offset TEXT, utc TEXT, camera TEXT,
  orientation INTEGER, problem TEXT, UNIQUE (inspection_id, media))""",
    """CREATE TABLE attachment (
  id TEXT PRIMARY KEY REFERENCES record(id),
  inspection_id TEXT NOT NULL REFERENCES inspection(id),
  photo_id TEXT NOT NULL REFERENCES photo(id), finding_id TEXT REFERENCES finding(id),
  reason TEXT NOT NULL, gap_s REAL, uncertainty_s REAL, candidates TEXT NOT NULL)""",
    """CREATE TABLE camera_clock (
  id TEXT PRIMARY KEY REFERENCES record(id),
  inspection_id TEXT NOT NULL REFERENCES inspection(id), camera TEXT NOT NULL,
  offset_s REAL, uncertainty_s REAL, how TEXT NOT NULL, evidence TEXT NOT NULL)""",
    """CREATE TABLE correction (
  id TEXT PRIMARY KEY REFERENCES record(id),
  inspection_id TEXT NOT NULL REFERENCES inspection(id),
  finding_id TEXT NOT NULL UNIQUE REFERENCES finding(id),
  replacement_id TEXT UNIQUE REFERENCES finding(id), reason TEXT NOT NULL,
  made_by TEXT NOT NULL)""",
    """CREATE TABLE event (
  id TEXT PRIMARY KEY REFERENCES record(id),
  inspection_id TEXT NOT NULL REFERENCES inspection(id), name TEXT NOT NULL, at TEXT NOT NULL,
  text TEXT NOT NULL, data TEXT NOT NULL)""",
)


@migrations(name="0001_record")
def record_tables(db: Database) -> None:
    """The tables of the record, their chain and the limit texts."""
    for statement in _TABLES:
        db.execute(statement)


@migrations(name="0002_indexes")
def indexes(db: Database) -> None:
    """One inspection and one vehicle's history are looked up, never scanned."""
    for table in (
        "verdict",
        "remark",
        "mark",
        "attachment",
        "camera_clock",
        "correction",
        "event",
        "odometer",
    ):
        db.execute(f"CREATE INDEX {table}_of_inspection ON {table}(inspection_id)")
    for table in ("vehicle_fact", "vehicle_limit", "odometer", "inspection"):
        db.execute(f"CREATE INDEX {table}_of_vehicle ON {table}(vehicle_id)")
    db.execute("CREATE INDEX verdict_of_finding ON verdict(finding_id)")
    db.execute(
        "CREATE INDEX finding_history "
        "ON finding(inspection_id, component, characteristic, position)"
    )


@migrations(name="0003_append_only")
def append_only(db: Database) -> None:
    """Refuse every UPDATE and DELETE on the record, whoever sends it."""
    for table in ("record", "limit_text", *_FIRST_CHAINED, *_FIRST_CHILDREN):
        for verb in ("UPDATE", "DELETE"):
            db.execute(
                f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
                "BEGIN SELECT RAISE(ABORT, 'the record is append-only'); END"
            )


@migrations(name="0004_given")
def given(db: Database) -> None:
    """Settings of the check that were said with a value ("... at twenty five feet"), as JSON."""
    db.execute("ALTER TABLE finding ADD COLUMN given TEXT")


@migrations(name="0005_answers")
def answers(db: Database) -> None:
    """The utterance whose question an utterance answers."""
    db.execute("ALTER TABLE utterance ADD COLUMN answers TEXT REFERENCES utterance(id)")


@migrations(name="0006_writers")
def writers(db: Database) -> None:
    """One chain per writer; STRICT tables; instants as integers; numbers local to a store."""
    to_writers(db)


@migrations(name="0007_stretches")
def stretches(db: Database) -> None:
    """Where in an utterance each of its findings was said, and where something no word covers."""
    _make(db, "stretch")


@migrations(name="0008_review")
def reviews(db: Database) -> None:
    """What somebody decided who went through an inspection; when each word of an utterance was said."""
    if _make(db, "review"):
        db.execute("CREATE INDEX review_of_inspection ON review(inspection_id)")
    _make(db, "word")


@migrations(name="0009_elsewhere")
def elsewhere(db: Database) -> None:
    """Rows that others have and that are known here by their hash: parents of what a bundle brought."""
    _make(db, "elsewhere")


@migrations(name="0010_remark_of")
def remark_of(db: Database) -> None:
    """The finding that a remark was put to."""
    if "finding_id" not in db["remark"].columns_dict:  # 0006 makes every table as it is now
        db.execute("ALTER TABLE remark ADD COLUMN finding_id TEXT REFERENCES finding(id)")


@migrations(name="0011_search")
def search(db: Database) -> None:
    """The words by which findings are looked for."""
    for table in ("local_found", "local_word"):
        _make(db, table)
    word_index.build(db.conn)


@migrations(name="0012_language")
def language(db: Database) -> None:
    """The language in which an inspection is spoken and told; none is the reference language."""
    if "language" not in db["inspection"].columns_dict:  # 0006 makes every table as it is now
        db.execute("ALTER TABLE inspection ADD COLUMN language TEXT")


def _make(db: Database, table: str) -> bool:
    """Make ``table`` with its guards, where it is not there: 0006 makes every table as it is now."""
    if table in db.table_names():
        return False
    db.execute(create_table(table))
    for name, statement in guards().items():
        if name.startswith(f"{table}_no_"):
            db.execute(statement)
    return True


NAMES: tuple[str, ...] = (
    "0001_record",
    "0002_indexes",
    "0003_append_only",
    "0004_given",
    "0005_answers",
    "0006_writers",
    "0007_stretches",
    "0008_review",
    "0009_elsewhere",
    "0010_remark_of",
    "0011_search",
    "0012_language",
)
"""Every migration this version knows, oldest first; another name in a file means it is newer."""

at_once = Migrations("fieldlog")
"""The same steps for a database that holds nothing: the first makes all of it, a quarter of their time."""


def _everything(db: Database) -> None:
    for statement in (*map(create_table, TABLES), *create_indexes(), *guards().values()):
        db.conn.execute(statement)


def _done(db: Database) -> None:
    """Made by the first."""


for _name in NAMES:
    at_once(name=_name)(_everything if _name == NAMES[0] else _done)
