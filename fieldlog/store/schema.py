"""The tables of the record as they are now; ``fieldlog.store.migrations`` leads to them.

Every table of ``CHAINED`` holds rows of the record (one ``record`` row each); a table of ``CHILDREN``
holds parts of such a row, covered by its parent's hash; ``limit_text`` holds texts under their own
hash; ``elsewhere`` names rows of which this store has only the hash, because part of a record came in as
a bundle. None of them is ever updated or deleted from: triggers refuse it. What begins with ``local_``
holds for this store alone: the numbers it gave, who writes here, its newest rows.

Instants are whole microseconds since 1970 in UTC. The zone of an inspection (IANA name or offset)
stands beside its start and holds for all that was said in it.
"""

from __future__ import annotations

CHAINED: tuple[str, ...] = (
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
    "review",
)
CHILDREN: dict[str, tuple[tuple[str, str], ...]] = {
    # parent -> (child table, column that names the parent)
    "utterance": (
        ("hypothesis", "utterance_id"),
        ("stretch", "utterance_id"),
        ("word", "utterance_id"),
    ),
    "finding": (("reading", "finding_id"),),
    "verdict": (("judgement", "verdict_id"),),
}
NUMBERED: dict[str, str | None] = {
    "vehicle": None,
    "inspection": None,
    "utterance": "inspection_id",
    "finding": "inspection_id",
}
"""Kinds whose rows a store counts, and the column within whose value it does (None: the store)."""
MEDIA: dict[str, str] = {"utterance": "clip", "photo": "media"}
"""Kinds that name an original, and the column that does."""

_EXACT = """
  value_num INTEGER, value_den INTEGER CHECK (value_den > 0),
  high_num INTEGER, high_den INTEGER CHECK (high_den > 0),
  uncertainty_num INTEGER, uncertainty_den INTEGER CHECK (uncertainty_den > 0),
  unit TEXT, qualifier TEXT, quantity_words TEXT,
"""
_WHOLE = """
  CHECK ((value_num IS NULL) = (value_den IS NULL)),
  CHECK ((high_num IS NULL) = (high_den IS NULL)),
  CHECK ((uncertainty_num IS NULL) = (uncertainty_den IS NULL)),
  CHECK ((value_num IS NULL) = (unit IS NULL)),
  CHECK (value_num IS NOT NULL OR (high_num IS NULL AND uncertainty_num IS NULL))
"""

TABLES: dict[str, str] = {
    "record": """
  id TEXT PRIMARY KEY NOT NULL, kind TEXT NOT NULL, owner TEXT NOT NULL, writer TEXT NOT NULL,
  n INTEGER NOT NULL CHECK (n >= 0), made_at INTEGER NOT NULL, turn INTEGER NOT NULL,
  hash BLOB NOT NULL UNIQUE CHECK (length(hash) = 32),
  parents BLOB NOT NULL CHECK (length(parents) % 32 = 0)""",
    "old_chain": """
  id TEXT PRIMARY KEY NOT NULL REFERENCES record(id), n INTEGER NOT NULL,
  previous BLOB NOT NULL CHECK (length(previous) = 32),
  hash BLOB NOT NULL UNIQUE CHECK (length(hash) = 32), number INTEGER""",
    "limit_text": "sha256 TEXT PRIMARY KEY NOT NULL, text TEXT NOT NULL",
    "vehicle": """
  id TEXT PRIMARY KEY NOT NULL REFERENCES record(id), local_number INTEGER NOT NULL UNIQUE,
  name TEXT NOT NULL""",
    "vehicle_fact": """
  id TEXT PRIMARY KEY NOT NULL REFERENCES record(id),
  vehicle_id TEXT NOT NULL REFERENCES vehicle(id), key TEXT NOT NULL, value TEXT NOT NULL""",
    "vehicle_limit": """
  id TEXT PRIMARY KEY NOT NULL REFERENCES record(id),
  vehicle_id TEXT NOT NULL REFERENCES vehicle(id), limit_id TEXT NOT NULL,
  limit_sha256 TEXT REFERENCES limit_text(sha256)""",
    "inspection": """
  id TEXT PRIMARY KEY NOT NULL REFERENCES record(id), local_number INTEGER NOT NULL UNIQUE,
  vehicle_id TEXT NOT NULL REFERENCES vehicle(id), started_at INTEGER NOT NULL,
  zone TEXT NOT NULL, inspector TEXT NOT NULL, place TEXT NOT NULL, jurisdiction TEXT,
  settings TEXT NOT NULL, program TEXT NOT NULL, language TEXT""",
    "odometer": f"""
  id TEXT PRIMARY KEY NOT NULL REFERENCES record(id),
  vehicle_id TEXT NOT NULL REFERENCES vehicle(id),
  inspection_id TEXT REFERENCES inspection(id), read_at INTEGER NOT NULL, {_EXACT} {_WHOLE}""",
    "utterance": """
  id TEXT PRIMARY KEY NOT NULL REFERENCES record(id),
  inspection_id TEXT NOT NULL REFERENCES inspection(id), local_number INTEGER NOT NULL,
  said_at INTEGER NOT NULL, start_s REAL NOT NULL, end_s REAL NOT NULL, source TEXT NOT NULL,
  clip TEXT, listener TEXT NOT NULL, model TEXT NOT NULL, grammar TEXT NOT NULL, latency_ms REAL,
  decision TEXT NOT NULL, kind TEXT NOT NULL, reason TEXT NOT NULL, text TEXT NOT NULL,
  question TEXT NOT NULL, dialogue TEXT, flags TEXT NOT NULL,
  answers TEXT REFERENCES utterance(id), UNIQUE (inspection_id, local_number)""",
    "hypothesis": """
  utterance_id TEXT NOT NULL REFERENCES utterance(id), rank INTEGER NOT NULL,
  listener TEXT NOT NULL, text TEXT NOT NULL, score REAL, evidence TEXT NOT NULL,
  PRIMARY KEY (utterance_id, rank)""",
    "stretch": """
  utterance_id TEXT NOT NULL REFERENCES utterance(id), rank INTEGER NOT NULL,
  start_s REAL NOT NULL, end_s REAL NOT NULL, part INTEGER CHECK (part >= 0),
  PRIMARY KEY (utterance_id, rank)""",
    "word": """
  utterance_id TEXT NOT NULL REFERENCES utterance(id), rank INTEGER NOT NULL,
  start_s REAL NOT NULL, end_s REAL NOT NULL, PRIMARY KEY (utterance_id, rank)""",
    "finding": f"""
  id TEXT PRIMARY KEY NOT NULL REFERENCES record(id),
  inspection_id TEXT NOT NULL REFERENCES inspection(id), local_number INTEGER NOT NULL,
  utterance_id TEXT REFERENCES utterance(id), component TEXT NOT NULL, position TEXT,
  characteristic TEXT, condition TEXT, code TEXT, words TEXT NOT NULL, given TEXT, {_EXACT}
  UNIQUE (inspection_id, local_number), {_WHOLE}""",
    "reading": f"""
  finding_id TEXT NOT NULL REFERENCES finding(id), rank INTEGER NOT NULL, {_EXACT}
  PRIMARY KEY (finding_id, rank), {_WHOLE}""",
    "verdict": """
  id TEXT PRIMARY KEY NOT NULL REFERENCES record(id),
  inspection_id TEXT NOT NULL REFERENCES inspection(id),
  finding_id TEXT NOT NULL REFERENCES finding(id), state TEXT NOT NULL, severity TEXT,
  reason TEXT NOT NULL, cautions TEXT NOT NULL""",
    "judgement": """
  verdict_id TEXT NOT NULL REFERENCES verdict(id), rank INTEGER NOT NULL,
  gates INTEGER NOT NULL CHECK (gates IN (0, 1)),
  limit_sha256 TEXT NOT NULL REFERENCES limit_text(sha256), state TEXT NOT NULL,
  margin TEXT, guard_band TEXT, reading TEXT, probability REAL, reason TEXT NOT NULL,
  PRIMARY KEY (verdict_id, rank)""",
    "remark": """
  id TEXT PRIMARY KEY NOT NULL REFERENCES record(id),
  inspection_id TEXT NOT NULL REFERENCES inspection(id),
  utterance_id TEXT REFERENCES utterance(id), text TEXT NOT NULL, finding_id TEXT REFERENCES finding(id)""",
    "mark": """
  id TEXT PRIMARY KEY NOT NULL REFERENCES record(id),
  inspection_id TEXT NOT NULL REFERENCES inspection(id),
  utterance_id TEXT REFERENCES utterance(id), finding_id TEXT REFERENCES finding(id),
  name TEXT NOT NULL, at INTEGER NOT NULL""",
    "photo": """
  id TEXT PRIMARY KEY NOT NULL REFERENCES record(id),
  inspection_id TEXT NOT NULL REFERENCES inspection(id), media TEXT NOT NULL,
  file TEXT NOT NULL, kind TEXT NOT NULL, capture_local TEXT, offset TEXT, utc INTEGER,
  camera TEXT, orientation INTEGER, problem TEXT""",
    "attachment": """
  id TEXT PRIMARY KEY NOT NULL REFERENCES record(id),
  inspection_id TEXT NOT NULL REFERENCES inspection(id),
  photo_id TEXT NOT NULL REFERENCES photo(id), finding_id TEXT REFERENCES finding(id),
  reason TEXT NOT NULL, gap_s REAL, uncertainty_s REAL, candidates TEXT NOT NULL""",
    "camera_clock": """
  id TEXT PRIMARY KEY NOT NULL REFERENCES record(id),
  inspection_id TEXT NOT NULL REFERENCES inspection(id), camera TEXT NOT NULL,
  offset_s REAL, uncertainty_s REAL, how TEXT NOT NULL, evidence TEXT NOT NULL""",
    "correction": """
  id TEXT PRIMARY KEY NOT NULL REFERENCES record(id),
  inspection_id TEXT NOT NULL REFERENCES inspection(id),
  finding_id TEXT NOT NULL REFERENCES finding(id),
  replacement_id TEXT UNIQUE REFERENCES finding(id), reason TEXT NOT NULL,
  made_by TEXT NOT NULL""",
    "event": """
  id TEXT PRIMARY KEY NOT NULL REFERENCES record(id),
  inspection_id TEXT NOT NULL REFERENCES inspection(id), name TEXT NOT NULL,
  at INTEGER NOT NULL, text TEXT NOT NULL, data TEXT NOT NULL""",
    "review": """
  id TEXT PRIMARY KEY NOT NULL REFERENCES record(id),
  inspection_id TEXT NOT NULL REFERENCES inspection(id),
  utterance_id TEXT REFERENCES utterance(id), photo_id TEXT REFERENCES photo(id),
  was TEXT REFERENCES finding(id), finding_id TEXT REFERENCES finding(id),
  outcome TEXT NOT NULL, sampled INTEGER NOT NULL CHECK (sampled IN (0, 1)),
  reviewer TEXT NOT NULL, note TEXT NOT NULL, undoes TEXT REFERENCES review(id)""",
    "elsewhere": """
  hash BLOB NOT NULL CHECK (length(hash) = 32),
  behind BLOB NOT NULL CHECK (length(behind) % 32 = 0), writer TEXT NOT NULL,
  n INTEGER NOT NULL CHECK (n >= 0), turn INTEGER NOT NULL, PRIMARY KEY (hash, behind)""",
    "local_state": "key TEXT PRIMARY KEY NOT NULL, value TEXT NOT NULL",
    "local_found": """
  place INTEGER PRIMARY KEY NOT NULL, finding_id TEXT NOT NULL UNIQUE, state TEXT NOT NULL""",
    "local_word": """
  word TEXT NOT NULL, place INTEGER NOT NULL, PRIMARY KEY (word, place)""",
    "local_head": "hash BLOB PRIMARY KEY NOT NULL CHECK (length(hash) = 32), turn INTEGER NOT NULL",
}
"""Table -> its columns and constraints; every table is STRICT."""

# Their keys come first: otherwise SQLite 3.40 finds a NULL where there is none (PRAGMA integrity_check).
_WITHOUT_ROWID = {
    *("limit_text", "hypothesis", "stretch", "word", "reading", "judgement", "elsewhere"),
    *("local_state", "local_head", "local_word"),
}
GUARDED: tuple[str, ...] = tuple(table for table in TABLES if not table.startswith("local_"))


def create_table(table: str) -> str:
    """The statement that makes ``table``."""
    kind = "STRICT, WITHOUT ROWID" if table in _WITHOUT_ROWID else "STRICT"
    return f"CREATE TABLE {table} ({TABLES[table]}) {kind}"


def create_indexes() -> tuple[str, ...]:
    """One inspection and one vehicle's history are looked up, never scanned."""
    of = {
        "inspection_id": (
            *("verdict", "remark", "mark", "photo", "attachment", "camera_clock", "correction"),
            *("event", "odometer", "review"),
        ),
        "vehicle_id": ("vehicle_fact", "vehicle_limit", "odometer", "inspection"),
        "finding_id": ("verdict",),
    }
    return (
        "CREATE INDEX record_of_owner ON record(owner, turn, id)",
        "CREATE INDEX record_in_turn ON record(turn, id)",
        "CREATE INDEX record_of_writer ON record(writer, n)",
        "CREATE INDEX finding_history "
        "ON finding(inspection_id, component, characteristic, position)",
        *(
            f"CREATE INDEX {table}_of_{column.removesuffix('_id')} ON {table}({column})"
            for column, tables in of.items()
            for table in tables
        ),
    )


def guards() -> dict[str, str]:
    """The triggers that keep the record append-only: name -> the statement that makes it.

    ``INSERT OR REPLACE`` deletes too; SQLite fires delete triggers for it only with
    ``recursive_triggers`` on (sqlite.org/lang_conflict.html), which sqlite-utils sets.
    """
    return {
        f"{table}_no_{verb.lower()}": (
            f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
            "BEGIN SELECT RAISE(ABORT, 'the record is append-only'); END"
        )
        for table in GUARDED
        for verb in ("UPDATE", "DELETE")
    }
