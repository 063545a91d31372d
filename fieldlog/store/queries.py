"""Reading the record: rows of one open connection into the types of ``records``."""

from __future__ import annotations

import json
from collections import Counter, defaultdict
from collections.abc import Iterable
from types import MappingProxyType
from typing import Any

from fieldlog.derived.odometer import COMPONENT, READING
from fieldlog.errors import UsageError
from fieldlog.model.finding import Finding
from fieldlog.model.limit import Limit
from fieldlog.model.state import State
from fieldlog.store.cells import taken
from fieldlog.store.entries import LOG, NAMED
from fieldlog.store.records import (
    EventName,
    HistoryRow,
    Inspection,
    LogEntry,
    Odometer,
    Vehicle,
)
from fieldlog.store.rows import instant_from, limit_from, pairs_from, quantity_from
from fieldlog.store.sql import Read, Rows, Tables
from fieldlog.store.standing import Correction, standing


def rows_of(connection: Tables, sql: str, *values: object) -> Rows:
    """All rows of one query."""
    return connection.execute(sql, values).fetchall()


# -- vehicles -------------------------------------------------------------------------------------


def vehicles(connection: Tables) -> tuple[Vehicle, ...]:
    """Every vehicle, oldest first."""
    rows = rows_of(
        connection,
        "SELECT v.id FROM vehicle v LEFT JOIN record r ON r.id = v.id ORDER BY r.turn, r.id",
    )
    return tuple(vehicle(connection, row["id"]) for row in rows)


NEWEST_NAME = (
    "coalesce((SELECT nullif(trim(CAST(json_extract(f.value, '$.name') AS TEXT)), '') "
    "FROM vehicle_fact f "
    f"JOIN record n ON n.id = f.id WHERE f.vehicle_id = v.id AND f.key = '{LOG}{NAMED}' AND json_valid(f.value) "
    "ORDER BY n.turn DESC, n.id DESC LIMIT 1), v.name)"
)
"""The newest name of vehicle ``v``."""


def vehicle(connection: Tables, key: str) -> Vehicle:
    """A vehicle by id, number or name (the newest of that name), in any case.

    Raises ``UsageError`` where there is none, and where several are called so in different cases.
    """
    head = _meant(connection, key)
    told = rows_of(
        connection,
        "SELECT f.key, f.value, r.made_at FROM vehicle_fact f JOIN record r ON r.id = f.id "
        "WHERE f.vehicle_id = ? ORDER BY r.turn, r.id",
        head["id"],
    )
    facts = {row["key"]: row["value"] for row in told if not row["key"].startswith(LOG)}
    odometer = _distances(connection, head["id"])
    own: dict[str, Limit | None] = {}
    for row in rows_of(
        connection,
        "SELECT v.limit_id, t.text FROM vehicle_limit v JOIN record r ON r.id = v.id "
        "LEFT JOIN limit_text t ON t.sha256 = v.limit_sha256 WHERE v.vehicle_id = ? "
        "ORDER BY r.turn, r.id",
        head["id"],
    ):
        own[row["limit_id"]] = limit_from(row["text"]) if row["text"] else None
    return Vehicle(
        id=head["id"],
        number=head["local_number"],
        name=head["now"],
        facts=MappingProxyType({key: value for key, value in facts.items() if value}),
        odometer=odometer,
        limits=tuple(limit for limit in own.values() if limit is not None),
        log=tuple(
            LogEntry(
                row["key"].removeprefix(LOG),
                instant_from(row["made_at"]),
                MappingProxyType(json.loads(row["value"])),
            )
            for row in told
            if row["key"].startswith(LOG)
        ),
    )


def _meant(connection: Tables, key: str) -> Read:
    """The row of the vehicle that ``key`` means, with its newest name as ``now``."""
    known = rows_of(
        connection,
        f"SELECT v.*, {NEWEST_NAME} AS now FROM vehicle v LEFT JOIN record r ON r.id = v.id "
        "WHERE v.id = ?1 OR CAST(v.local_number AS TEXT) = ?1 "
        "ORDER BY (v.id = ?1) DESC, r.turn DESC, r.id LIMIT 1",
        key,
    )
    if known:
        return known[0]
    rows = rows_of(
        connection,
        f"SELECT v.*, {NEWEST_NAME} AS now FROM vehicle v LEFT JOIN record r ON r.id = v.id "
        "ORDER BY r.turn DESC, r.id",
    )
    for row in rows:
        if row["now"] == key:
            return row
    plain = " ".join(key.split()).casefold()
    alike = [row for row in rows if " ".join(row["now"].split()).casefold() == plain]
    if len({row["now"] for row in alike}) > 1:
        told = ", ".join(f"{row['local_number']} ({row['now']})" for row in reversed(alike))
        raise UsageError(f"{key!r} can be vehicle {told}", todo="name it by its number")
    if not alike:
        raise UsageError(f"there is no vehicle {key!r}", todo="see `fieldlog vehicle list`")
    return alike[0]


def _distances(connection: Tables, vehicle_id: str) -> tuple[Odometer, ...]:
    """Every distance that was entered or found on the odometer and stands, in the order it was read."""
    entered = rows_of(
        connection,
        "SELECT o.*, o.read_at AS at FROM odometer o JOIN record r ON r.id = o.id "
        "WHERE o.vehicle_id = ? ORDER BY o.read_at, r.turn, r.id",
        vehicle_id,
    )
    found = rows_of(
        connection,
        "SELECT f.*, coalesce(u.said_at, i.started_at) AS at FROM inspection i "
        "JOIN finding f ON f.inspection_id = i.id JOIN record r ON r.id = f.id "
        "LEFT JOIN utterance u ON u.id = f.utterance_id "
        "WHERE i.vehicle_id = ? AND f.component = ? AND f.characteristic = ? "
        "ORDER BY at, r.turn, r.id",
        vehicle_id,
        COMPONENT,
        READING,
    )
    fallen = (
        standing(corrections(connection, "WHERE i.vehicle_id = ? ", vehicle_id)[0]).fallen
        if found
        else ()
    )
    read = [
        Odometer(quantity, instant_from(row["at"]), row["inspection_id"])
        for row in (*entered, *(row for row in found if row["id"] not in fallen))
        if (quantity := quantity_from(row)) is not None
    ]
    return tuple(sorted(read, key=lambda each: each.read_at))


# -- inspections ----------------------------------------------------------------------------------

_INSPECTION = (
    f"SELECT i.*, {NEWEST_NAME} AS vehicle_name, "
    "(SELECT count(*) FROM finding f WHERE f.inspection_id = i.id) AS findings "
    "FROM inspection i JOIN vehicle v ON v.id = i.vehicle_id LEFT JOIN record r ON r.id = i.id "
)


def inspections(connection: Tables, vehicle_id: str | None) -> tuple[Inspection, ...]:
    """Inspections of one vehicle, or all, oldest first."""
    where, values = ("", ()) if vehicle_id is None else ("WHERE i.vehicle_id = ? ", (vehicle_id,))
    rows = rows_of(connection, f"{_INSPECTION}{where}ORDER BY i.started_at, r.turn, r.id", *values)
    gone = _gone(connection, where, *values)
    return tuple(inspection_of(row, gone[row["id"]]) for row in rows)


def inspection(connection: Tables, key: str) -> Inspection:
    """An inspection by id, local number, or ``last`` (the one begun last)."""
    row = inspection_row(connection, key)
    return inspection_of(row, _gone(connection, "WHERE i.id = ? ", row["id"])[row["id"]])


def inspection_row(connection: Tables, key: str) -> Read:
    """The row of an inspection by id, local number, or ``last``, with the number of its findings."""
    if key == "last":
        rows = rows_of(connection, f"{_INSPECTION}ORDER BY r.turn DESC, r.id LIMIT 1")
    elif key.isdecimal() and len(key) < 19:
        rows = rows_of(connection, f"{_INSPECTION}WHERE i.local_number = ?", int(key))
    else:
        rows = rows_of(connection, f"{_INSPECTION}WHERE i.id = ?", key)
    if not rows and key == "last":
        raise UsageError(
            "the record holds no inspection yet", todo="fieldlog inspection start VEHICLE"
        )
    if not rows:
        raise UsageError(f"there is no inspection {key!r}", todo="see `fieldlog inspection list`")
    return rows[0]


def corrections(
    connection: Tables, where: str, *values: object
) -> tuple[tuple[Correction, ...], dict[str, str]]:
    """Corrections, oldest first, and finding -> inspection of what they speak of.

    ``where`` narrows inspections ``i``.
    """
    rows = rows_of(
        connection,
        "SELECT c.*, r.turn, r.hash FROM inspection i JOIN correction c ON c.inspection_id = i.id "
        f"JOIN record r ON r.id = c.id {where}ORDER BY r.turn, r.id",
        *values,
    )
    found = tuple(taken(Correction, row) for row in rows)
    inspection_of = {row["finding_id"]: row["inspection_id"] for row in rows}
    inspection_of |= {row["replacement_id"]: row["inspection_id"] for row in rows}
    return found, inspection_of


def _gone(connection: Tables, where: str, *values: object) -> Counter[str]:
    """Inspection -> how many of its findings no longer stand."""
    found, inspection_of = corrections(connection, where, *values)
    return Counter(inspection_of[name] for name in standing(found).fallen)


def inspection_of(row: Read, gone: int) -> Inspection:
    """The inspection of a row, of whose findings ``gone`` no longer stand."""
    findings = row["findings"] - gone
    return taken(
        Inspection,
        row,
        number=row["local_number"],
        findings=findings,
        language=row["language"] or "",
    )


def finding_from(row: Read, readings: Iterable[Any]) -> Finding:
    """The finding of a row, with its several readings."""
    return taken(
        Finding,
        row,
        quantity=quantity_from(row),
        readings=tuple(reading for reading in readings if reading is not None),
        given=pairs_from(row["given"] or "[]"),
    )


# -- history and single look-ups ------------------------------------------------------------------


def history(
    connection: Tables,
    vehicle_id: str,
    component: str | None,
    position: str | None,
    characteristic: str | None,
) -> tuple[HistoryRow, ...]:
    """Findings of a vehicle that stand, oldest first."""
    wanted = {"component": component, "characteristic": characteristic, "position": position}
    given = {column: value for column, value in wanted.items() if value is not None}
    where = "".join(f" AND f.{column} = ?" for column in given)
    rows = rows_of(
        connection,
        "SELECT f.*, i.id AS of_inspection, i.local_number AS of_number, i.started_at, "
        "coalesce(u.said_at, i.started_at) AS at, (SELECT v.state FROM verdict v JOIN record w "
        "ON w.id = v.id WHERE v.finding_id = f.id ORDER BY w.turn DESC, w.id DESC LIMIT 1) AS state "
        "FROM inspection i JOIN finding f ON f.inspection_id = i.id "
        "JOIN record r ON r.id = f.id LEFT JOIN utterance u ON u.id = f.utterance_id "
        f"WHERE i.vehicle_id = ?{where} "
        "ORDER BY i.started_at, f.inspection_id, r.turn, r.id",
        vehicle_id,
        *given.values(),
    )
    readings: dict[str, list[Any]] = defaultdict(list)
    for part in rows_of(
        connection,
        "SELECT x.* FROM inspection i JOIN finding f ON f.inspection_id = i.id "
        f"JOIN reading x ON x.finding_id = f.id WHERE i.vehicle_id = ?{where} "
        "ORDER BY x.finding_id, x.rank",
        vehicle_id,
        *given.values(),
    ):
        readings[part["finding_id"]].append(quantity_from(part))
    fallen = standing(corrections(connection, "WHERE i.vehicle_id = ? ", vehicle_id)[0]).fallen
    distances = {
        each.inspection_id: each.distance
        for each in _distances(connection, vehicle_id)
        if each.inspection_id is not None
    }
    return tuple(
        HistoryRow(
            inspection_id=row["of_inspection"],
            inspection_number=row["of_number"],
            at=instant_from(row["at"]),
            finding=finding_from(row, readings.get(row["id"], ())),
            state=State(row["state"]) if row["state"] else None,
            odometer=distances.get(row["of_inspection"]),
        )
        for row in rows
        if row["id"] not in fallen
    )


def taken_back(events: Iterable[Read]) -> frozenset[str]:
    """Ids of the remarks that somebody took back, by the rows of ``event``."""
    return frozenset(
        str(json.loads(row["data"]).get("remark", ""))
        for row in events
        if row["name"] == EventName.REMARK_TAKEN_BACK
    )


def remarks(connection: Tables, vehicle_id: str) -> tuple[tuple[Inspection, str], ...]:
    """Every remark on a vehicle that stands, with its inspection, oldest first."""
    heads = {each.id: each for each in inspections(connection, vehicle_id)}
    gone = taken_back(
        rows_of(
            connection,
            "SELECT e.name, e.data FROM event e JOIN inspection i ON i.id = e.inspection_id "
            "WHERE i.vehicle_id = ? AND e.name = ? ORDER BY e.id",
            *(vehicle_id, EventName.REMARK_TAKEN_BACK.value),
        )
    )
    rows = rows_of(
        connection,
        "SELECT m.id, m.inspection_id, m.text FROM remark m JOIN record r ON r.id = m.id "
        "JOIN inspection i ON i.id = m.inspection_id "
        "WHERE i.vehicle_id = ? ORDER BY i.started_at, r.turn, r.id",
        vehicle_id,
    )
    return tuple(
        (heads[row["inspection_id"]], row["text"]) for row in rows if row["id"] not in gone
    )


def inspection_of_finding(connection: Tables, finding_id: str) -> str | None:
    """Id of the inspection a finding belongs to, or None when there is no such finding."""
    rows = rows_of(connection, "SELECT inspection_id FROM finding WHERE id = ?", finding_id)
    return rows[0][0] if rows else None


def is_fallen(connection: Tables, inspection_id: str, finding_id: str) -> bool:
    """Whether a finding was corrected or withdrawn."""
    mine = "SELECT count(*) FROM correction WHERE inspection_id = ? AND finding_id = ?"
    if connection.execute(mine, (inspection_id, finding_id)).fetchone()[0]:
        return True
    twice = "SELECT count(*) - count(DISTINCT finding_id) FROM correction WHERE inspection_id = ?"
    if not connection.execute(twice, (inspection_id,)).fetchone()[0]:
        return False  # no two copies of the record corrected the same one
    found, _ = corrections(connection, "WHERE i.id = ? ", inspection_id)
    return finding_id in standing(found).fallen


def photo_id(connection: Tables, inspection_id: str, media: str) -> str | None:
    """Id of the photo with that original in an inspection, the first of them, or None."""
    rows = rows_of(
        connection,
        "SELECT p.id FROM photo p JOIN record r ON r.id = p.id "
        "WHERE p.inspection_id = ? AND p.media = ? ORDER BY r.turn, r.id LIMIT 1",
        inspection_id,
        media,
    )
    return rows[0][0] if rows else None
