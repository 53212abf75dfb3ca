"""Sales, stock in wood, agave bought outside and growth paths in the estate file."""

from __future__ import annotations

import sqlite_utils

from .. import answers
from ..database import rows

DOMAIN = "sales"
TABLES = {
    "sales": ("sale", ("market", "category", "class", "month"), ("litres",)),
    "stock": ("stock", ("category", "class", "age_years"), ("litres",)),
    "bought": ("agave_bought", ("year",), ("mass_t", "paid_mxn")),
}


def put(db: sqlite_utils.Database, kind: str, given: list[dict], source: str, *, replace: bool = False) -> dict[str, int]:
    """Insert or replace rows by their key (inside the caller's atomic block); ``replace`` empties the table first.

    Returns how many were new, changed and the same; the version rises only when something moved.
    """
    table, key, values = TABLES[kind]
    before = {tuple(r[k] for k in key): tuple(r[v] for v in values) for r in all_of(db, kind)}
    count = {"new": 0, "changed": 0, "same": 0, "gone": 0}
    after = {}
    for row in given:
        where, what = tuple(row[k] for k in key), tuple(row.get(v) for v in values)
        after[where] = what
        count["same" if before.get(where) == what else "changed" if where in before else "new"] += 1
    if replace:
        count["gone"] = len(before.keys() - after.keys())
        if count["gone"]:
            db.execute(f"DELETE FROM {table}")
            before = {}
    changed = [(where, what) for where, what in sorted(after.items()) if before.get(where) != what]
    names = (*key, *values, "source")
    updates = ", ".join(f"{v} = excluded.{v}" for v in (*values, "source"))
    db.conn.executemany(
        f"INSERT INTO {table} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))}) ON CONFLICT ({', '.join(key)}) DO UPDATE SET {updates}",
        [(*where, *what, source) for where, what in changed])
    if changed or count["gone"]:
        answers.bump(db, DOMAIN)
    return count


def all_of(db: sqlite_utils.Database, kind: str) -> list[dict]:
    table, key, values = TABLES[kind]
    return rows(db, f"SELECT {', '.join((*key, *values, 'source'))} FROM {table} ORDER BY {', '.join(key)}")


def paths(db: sqlite_utils.Database) -> list[dict]:
    return rows(db, "SELECT name, market, category, class, per_year, weight FROM growth_path ORDER BY name, market, category, class")


def set_path(db: sqlite_utils.Database, name: str, given: list[dict], weight: float) -> None:
    """Replace a named growth path by rows of market, category, class, per_year (inside the caller's atomic block)."""
    db.execute("DELETE FROM growth_path WHERE name = ?", [name])
    db.conn.executemany("INSERT INTO growth_path (name, market, category, class, per_year, weight) VALUES (?, ?, ?, ?, ?, ?)",
                        [(name, r["market"], r["category"], r["class"], r["per_year"], weight) for r in given])
    answers.bump(db, DOMAIN)


def version(db: sqlite_utils.Database) -> int:
    return answers.version(db, DOMAIN)
