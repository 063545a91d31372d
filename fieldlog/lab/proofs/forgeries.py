"""Every part of a record, and every way to tamper with it: what is done, or why there is nothing to do."""

from __future__ import annotations

from collections.abc import Mapping

from fieldlog.lab.proofs.forging import (
    Act,
    bundle_anew,
    exchange,
    flip,
    frames_changed,
    frames_exchanged,
    frames_rehashed,
    index_page,
    log_cut,
    note_edited,
    note_forged,
    note_resigned,
    note_signatures,
    other_original,
    removed,
    replaced,
    roots,
    rows_exchanged,
    schema_text,
    swap,
    to_bundle,
    to_checkpoints,
    to_copies,
    to_guards,
    to_log,
    to_originals,
    to_rows,
    to_schema,
    void,
    written_over,
)
from fieldlog.lab.proofs.rewriting import (
    altered,
    exchanged,
    without,
)
from fieldlog.lab.proofs.shops import picture
from fieldlog.store.database import FILE

WAYS = ("edit", "remove", "insert", "swap", "older copy", "rehash")
ONCE = "a row is written once, so there is no older one; an older database is an older whole store"
_FINDING = (
    "UPDATE finding SET {} WHERE id = (SELECT min(id) FROM finding WHERE value_num IS NOT NULL)"
)
_LAST = "SELECT id FROM record ORDER BY turn DESC LIMIT 1 OFFSET {}"
NOT_HASHED = "it has no hash: it is made from what has one"

Cells = Mapping[str, Act | str]
"""Way -> what is done, or why there is nothing to do."""

TABLE: dict[str, Cells] = {
    "value": {
        "edit": to_rows(_FINDING.format("value_num = value_num + 1")),
        "remove": to_rows(_FINDING.format("value_num = NULL, value_den = NULL, unit = NULL")),
        "insert": to_rows(
            "UPDATE verdict SET severity = 'minor' WHERE id = (SELECT min(id) FROM verdict)"
        ),
        "swap": swap("odometer", "value_num"),
        "older copy": ONCE,
        "rehash": written_over(altered("finding", 0, value_num=1)),
    },
    "row": {
        "edit": to_rows("UPDATE finding SET component = 'horn' WHERE condition = 'cracked'"),
        "remove": to_rows(*removed("remark", "id = (SELECT min(id) FROM remark)")),
        "insert": to_rows(
            "INSERT INTO remark (id, inspection_id, text) SELECT 'forged', min(id), 'all is well' "
            "FROM inspection"
        ),
        "swap": swap("remark", "inspection_id"),
        "older copy": ONCE,
        "rehash": written_over(without(lambda row: row.place.kind == "remark")),
    },
    "order": {
        "edit": to_rows(f"UPDATE record SET turn = turn + 9 WHERE id = ({_LAST.format(3)})"),
        "remove": "an order has no part of its own: see row",
        "insert": "an order has no part of its own: see row",
        "swap": swap("record", "turn"),
        "older copy": ONCE,
        "rehash": written_over(exchanged("remark")),
    },
    "link": {
        "edit": to_rows(f"UPDATE record SET parents = zeroblob(32) WHERE id = ({_LAST.format(2)})"),
        "remove": to_rows(f"UPDATE record SET parents = x'' WHERE id = ({_LAST.format(2)})"),
        "insert": to_rows(
            "UPDATE record SET parents = CAST(parents || (SELECT hash FROM record ORDER BY turn LIMIT 1) AS BLOB) "
            f"WHERE id = ({_LAST.format(2)})"
        ),
        "swap": swap("record", "parents"),
        "older copy": ONCE,
        "rehash": written_over(without(lambda row: row.place.kind == "attachment")),
    },
    "vehicle": {
        "edit": to_rows("UPDATE vehicle SET name = 'green twin' WHERE local_number = 1"),
        "remove": to_rows(
            "DELETE FROM vehicle WHERE local_number = 2",
            "DELETE FROM record WHERE kind = 'vehicle' AND id NOT IN (SELECT id FROM vehicle)",
        ),
        "insert": to_rows("INSERT INTO vehicle (id, local_number, name) VALUES ('forged', 3, 'x')"),
        "swap": swap("inspection", "vehicle_id"),
        "older copy": ONCE,
        "rehash": written_over(altered("vehicle", 0, name="green twin")),
    },
    "inspection": {
        "edit": to_rows("UPDATE inspection SET inspector = 'nobody' WHERE local_number = 1"),
        "remove": to_rows(
            "DELETE FROM inspection WHERE local_number = 2",
            "DELETE FROM record WHERE kind = 'inspection' AND id NOT IN (SELECT id FROM inspection)",
        ),
        "insert": to_rows(
            "INSERT INTO inspection (id, local_number, vehicle_id, started_at, zone, inspector, place, "
            "settings, program) SELECT 'forged', 3, min(id), 0, '', '', '', '{}', '' FROM vehicle"
        ),
        "swap": swap("inspection", "local_number"),
        "older copy": ONCE,
        "rehash": written_over(altered("inspection", 0, inspector="nobody")),
    },
    "verdict": {
        "edit": to_rows("UPDATE verdict SET state = 'within'"),
        "remove": to_rows(*removed("verdict", "state = 'faulty'")),
        "insert": to_rows(
            "INSERT INTO verdict (id, inspection_id, finding_id, state, reason, cautions) SELECT "
            "'forged', inspection_id, finding_id, 'within', '', '[]' FROM verdict LIMIT 1"
        ),
        "swap": to_rows(
            "UPDATE verdict SET state = CASE state WHEN 'beyond' THEN 'within' WHEN 'within' THEN "
            "'beyond' ELSE state END"
        ),
        "older copy": "the older verdict rules again when the newer is removed: see remove",
        "rehash": written_over(altered("verdict", 1, state="within", severity=None)),
    },
    "correction": {
        "edit": to_rows("UPDATE correction SET reason = 'measured again'"),
        "remove": to_rows(*removed("correction", "1")),
        "insert": to_rows(
            "INSERT INTO correction (id, inspection_id, finding_id, reason, made_by) SELECT 'forged', "
            "inspection_id, id, 'misheard', 'review' FROM finding WHERE condition = 'cracked' LIMIT 1"
        ),
        "swap": swap("correction", "finding_id"),
        "older copy": "the older finding stands again when the correction is removed: see remove",
        "rehash": written_over(without(lambda row: row.place.kind == "correction")),
    },
    "clip": {
        "edit": to_originals("flac", lambda paths: flip(paths[0])),
        "remove": to_originals("flac", lambda paths: paths[0].unlink()),
        "insert": "a file that no row names is shown nowhere; sound saved just before a crash is one",
        "swap": to_originals("flac", exchange),
        "older copy": "an original is written once, under its hash",
        "rehash": other_original("utterance", "clip", "flac"),
    },
    "photo": {
        "edit": to_originals("jpg", lambda paths: flip(paths[0])),
        "remove": to_originals("jpg", lambda paths: paths[0].unlink()),
        "insert": "a file that no row names is shown nowhere",
        "swap": to_originals("jpg", exchange),
        "older copy": "an original is written once, under its hash",
        "rehash": other_original("photo", "media", "jpg"),
    },
    "thumbnail": {
        "edit": to_copies(lambda paths: paths[0].write_bytes(picture(55))),
        "remove": "it is made again from its original when it is missing",
        "insert": "a copy of no photo is shown nowhere",
        "swap": to_copies(exchange),
        "older copy": "it is made from an original, which is written once",
        "rehash": NOT_HASHED,
    },
    "index page": {
        "edit": index_page,
        "remove": to_schema("DROP INDEX finding_history"),
        "insert": to_schema("CREATE INDEX forged ON finding(words)"),
        "swap": roots,
        "older copy": "an older page of one index is an edit of it",
        "rehash": NOT_HASHED,
    },
    "words of the search": {
        "edit": to_rows("UPDATE local_word SET word = 'forged' WHERE word = 'cracked'"),
        "remove": to_rows("DELETE FROM local_word WHERE word = 'cracked'"),
        "insert": to_rows(
            "INSERT INTO local_word (word, place) SELECT 'forged', min(place) FROM local_found"
        ),
        "swap": to_rows(
            "UPDATE local_word SET place = -1 WHERE place = (SELECT min(place) FROM local_found)",
            "UPDATE local_word SET place = (SELECT min(place) FROM local_found) "
            "WHERE place = (SELECT max(place) FROM local_found)",
            "UPDATE local_word SET place = (SELECT max(place) FROM local_found) WHERE place = -1",
        ),
        "older copy": to_rows(
            "DELETE FROM local_word WHERE place = (SELECT max(place) FROM local_found)",
            "DELETE FROM local_found WHERE place = (SELECT max(place) FROM local_found)",
        ),
        "rehash": NOT_HASHED,
    },
    "trigger": {
        "edit": to_guards(
            "CREATE TRIGGER remark_no_update BEFORE UPDATE ON remark BEGIN SELECT 1; END"
        ),
        "remove": to_schema("DROP TRIGGER remark_no_update"),
        "insert": to_schema(
            "CREATE TRIGGER forged AFTER INSERT ON finding BEGIN DELETE FROM local_state; END"
        ),
        "swap": to_guards(
            "CREATE TRIGGER remark_no_update BEFORE DELETE ON remark "
            "BEGIN SELECT RAISE(ABORT, 'the record is append-only'); END"
        ),
        "older copy": "triggers are the same in every version that has the table",
        "rehash": "it has no hash; its text is compared",
    },
    "schema": {
        "edit": schema_text("CHECK (value_den > 0)", "CHECK (value_den > 9)"),
        "remove": to_schema("DROP TABLE elsewhere"),
        "insert": to_schema("CREATE TABLE forged (a)"),
        "swap": to_schema(
            "ALTER TABLE local_state RENAME TO passing",
            "ALTER TABLE local_head RENAME TO local_state",
            "ALTER TABLE passing RENAME TO local_head",
        ),
        "older copy": "an older form is brought up to date step by step, in a copy when only read",
        "rehash": "it has no hash; its text is compared",
    },
    "WAL": {
        "edit": to_log(frames_changed),
        "remove": to_log(lambda log, page: None),
        "insert": "SQLite reads no frame without the marks and sums of its log; with them it is rehash",
        "swap": to_log(frames_exchanged),
        "older copy": to_log(log_cut),
        "rehash": to_log(frames_rehashed),
    },
    "whole store": {
        "edit": "it is one of those above",
        "remove": lambda folder: (folder / "shop" / FILE).unlink(),
        "insert": lambda folder: replaced(folder, "other", media=False),
        "swap": lambda folder: replaced(folder, "other"),
        "older copy": lambda folder: replaced(folder, "earlier"),
        "rehash": written_over(lambda rows: rows),
    },
    "checkpoint": {
        "edit": to_checkpoints(note_edited),
        "remove": to_rows(*removed("event", "name = 'checkpoint'")),
        "insert": to_checkpoints(note_forged),
        "swap": to_checkpoints(note_signatures),
        "older copy": "an older checkpoint still holds: the record only grows",
        "rehash": to_checkpoints(note_resigned),
    },
    "bundle file": {
        "edit": lambda folder: flip(folder / "bundle.zip", 2000),
        "remove": lambda folder: (folder / "bundle.zip").unlink(),
        "insert": to_bundle(lambda members: members.update({f"data/media/{'0' * 64}.jpg": b"x"})),
        "swap": to_bundle(rows_exchanged),
        "older copy": lambda folder: void((folder / "earlier.zip").replace(folder / "bundle.zip")),
        "rehash": bundle_anew,
    },
}
