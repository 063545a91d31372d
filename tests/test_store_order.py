"""Every query that can return several rows says in which order, to the last tie."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

STORE = Path(__file__).resolve().parents[1] / "fieldlog" / "store"
LAST = r"(\bid|_id, [a-z.]*rank|\brank|sha256|\bhash|\bbehind|\bname|\bkey|\bplace|\b(att|tg|index)name|k\.contype|\{column\}|\{key\}|\bseq)( DESC)?"
"""What an order may end in: an id, or what else names a row of its table once."""
ONE_ROW = (
    r"SELECT (count|min|max|coalesce\(max|coalesce\(value|to_regclass|pg_advisory|set_config)",
    r"^SELECT$",
    r"WHERE (i\.|r\.|t\.)?(id|hash|sha256|i\.local_number) = \?$",
    r"WHERE o\.hash = \? AND o\.n = \? AND r\.owner = \?$",  # a hash is UNIQUE
)
ELSEWHERE = {
    # Pieces that another statement ends, or that put rows into a table, where there is no order.
    "_INSPECTION", "_PLACE", "_AWAY", "_FINDING",
}  # fmt: skip


def _text(node: ast.expr) -> str | None:
    """The text of a string, or of an f-string with its parts as ``{name}``."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(
            str(part.value)
            if isinstance(part, ast.Constant)
            else "{" + ast.unparse(part.value) + "}"
            for part in node.values
            if isinstance(part, ast.Constant | ast.FormattedValue)
        )
    return None


def statements(path: Path) -> Iterator[tuple[int, str]]:
    """``(line, SQL)`` of every query in a module that is not in a docstring."""
    tree = ast.parse(path.read_text("utf-8"))
    inside = {
        id(part)
        for node in ast.walk(tree)
        if isinstance(node, ast.JoinedStr)
        for part in ast.walk(node)
        if part is not node
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") in ELSEWHERE:
            inside |= {id(part) for part in ast.walk(node)}
        if not isinstance(node, ast.expr) or id(node) in inside:
            continue
        text = _text(node)
        if text and re.match(r"(SELECT|\{_INSPECTION\}|\{_PLACE\}|\{_AWAY\}|\{sql\})", text):
            yield node.lineno, " ".join(text.split())


def is_ordered(sql: str) -> bool:
    """Whether a query gives one row, or all of them in one order."""
    if any(re.search(pattern, sql) for pattern in ONE_ROW):
        return True
    _, found, order = sql.rpartition("ORDER BY ")
    whole = order.count("(") == order.count(")")  # not the order of a query within this one
    return bool(found) and whole and re.search(rf"{LAST}( LIMIT (1|{{.+}}))?$", order) is not None


MODULES = sorted(STORE.glob("*.py"))


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.name)
def test_every_query_of_the_store_has_a_total_order(path: Path) -> None:
    loose = [f"{line}: {sql}" for line, sql in statements(path) if not is_ordered(sql)]
    assert loose == []


def test_the_scan_finds_queries() -> None:
    assert sum(len(list(statements(path))) for path in MODULES) > 40


@pytest.mark.parametrize(
    ("sql", "ordered"),
    [
        ("SELECT * FROM odometer WHERE vehicle_id = ? ORDER BY read_at", False),
        ("SELECT * FROM odometer WHERE vehicle_id = ?", False),
        ("SELECT * FROM odometer ORDER BY id, read_at", False),
        ("SELECT * FROM odometer ORDER BY read_at, id", True),
        ("SELECT * FROM odometer WHERE id = ?", True),
        ("SELECT * FROM odometer WHERE id IN (SELECT id FROM record ORDER BY id)", False),
        ("SELECT * FROM odometer ORDER BY r.turn DESC, r.id LIMIT 1", True),
        ("SELECT * FROM odometer ORDER BY r.turn DESC LIMIT 1", False),
    ],
)
def test_the_scan_knows_the_difference(sql: str, ordered: bool) -> None:
    assert is_ordered(sql) == ordered
