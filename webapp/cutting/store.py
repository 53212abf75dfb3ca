"""Crews, weekly needs and cautions, plans with their inputs, orders: what cutting keeps in the estate file."""

from __future__ import annotations

import io
import json
from typing import Any

import numpy as np

from ..database import Database, rows
from .problem import CuttingProblem, from_arrays, to_arrays

KEPT_UNPUBLISHED = 12
"""Plans never published beyond the newest so many are forgotten; published ones stay with their inputs."""


def crews(db: Database, active_only: bool = False) -> list[dict]:
    return rows(db, f"SELECT name, people, home_zone, active FROM crew {'WHERE active = 1' if active_only else ''} ORDER BY name")


def put_crew(db: Database, name: str, people: int, home_zone: str | None, active: bool) -> None:
    db.execute("INSERT INTO crew (name, people, home_zone, active) VALUES (?, ?, ?, ?) ON CONFLICT (name) DO UPDATE SET "
               "people = excluded.people, home_zone = excluded.home_zone, active = excluded.active", [name, people, home_zone, int(active)])


def needs(db: Database) -> dict[str, float]:
    return {r["week"]: r["need_t"] for r in rows(db, "SELECT week, need_t FROM week_need ORDER BY week")}


def put_need(db: Database, week: str, need_t: float | None, by: str, at: str) -> None:
    db.execute("DELETE FROM week_need WHERE week = ?", [week])
    if need_t is not None:
        db.execute("INSERT INTO week_need (week, need_t, by, at) VALUES (?, ?, ?, ?)", [week, need_t, by, at])


def caution(db: Database, week: str) -> str:
    found = db.conn.execute("SELECT kind FROM week_caution WHERE week = ?", [week]).fetchone()
    return found[0] if found else ""


def put_caution(db: Database, week: str, kind: str, by: str, at: str) -> None:
    db.execute("DELETE FROM week_caution WHERE week = ?", [week])
    if kind:
        db.execute("INSERT INTO week_caution (week, kind, by, at) VALUES (?, ?, ?, ?)", [week, kind, by, at])


def add_plan(db: Database, row: dict[str, Any], problem: CuttingProblem, cuts: list[dict]) -> int:
    """Store a plan with everything it rests on; returns its number."""
    arrays, rest = to_arrays(problem)
    buffer = io.BytesIO()
    np.savez_compressed(buffer, **arrays)
    meta = {**row["meta"], "inputs": rest}
    made = db["plan"].insert({**row, "meta": json.dumps(meta, sort_keys=True, allow_nan=False, ensure_ascii=False), "inputs": buffer.getvalue()}).last_pk
    db["plan_cut"].insert_all([{"plan": made, **cut} for cut in cuts])
    old = [r["id"] for r in rows(db, "SELECT id FROM plan WHERE published_at IS NULL AND id NOT IN (SELECT plan FROM cutting_order) ORDER BY id DESC")][KEPT_UNPUBLISHED:]
    for number in old:
        db.execute("DELETE FROM plan_cut WHERE plan = ?", [number])
        db.execute("DELETE FROM plan WHERE id = ?", [number])
    return made


def plan_row(db: Database, number: int | None = None) -> dict | None:
    """One plan without its inputs; the latest when no number is given."""
    where, params = ("WHERE id = ?", [number]) if number is not None else ("", [])
    found = rows(db, f"SELECT id, made_at, made_by, how, key, first_week, weeks, outcome, value, bound, meta, published_at, published_by FROM plan {where} ORDER BY id DESC LIMIT 1", params)
    return {**found[0], "meta": json.loads(found[0]["meta"])} if found else None


def plan_rows(db: Database) -> list[dict]:
    return rows(db, "SELECT id, made_at, made_by, how, key, first_week, weeks, outcome, value, bound, published_at, published_by FROM plan ORDER BY id DESC")


def inputs(db: Database, number: int, rest: dict) -> CuttingProblem:
    """The problem that a plan was made for."""
    blob = db.conn.execute("SELECT inputs FROM plan WHERE id = ?", [number]).fetchone()[0]
    with np.load(io.BytesIO(blob), allow_pickle=False) as stored:
        return from_arrays({name: stored[name] for name in stored.files}, rest)


def cuts(db: Database, number: int, plot: str | None = None) -> list[dict]:
    return rows(db, "SELECT plot, week, pass, clearing, mass_t, plants, sugar_t FROM plan_cut WHERE plan = ? AND (? IS NULL OR plot = ?) ORDER BY week, plot", [number, plot, plot])


def mark_published(db: Database, number: int, at: str, who: str) -> None:
    db.execute("UPDATE plan SET published_at = ?, published_by = ? WHERE id = ?", [at, who, number])


def put_orders(db: Database, week: str, orders: list[dict]) -> None:
    """The orders of a week, in place of those it had."""
    db.execute("DELETE FROM cutting_order WHERE week = ?", [week])
    db["cutting_order"].insert_all(orders)


def orders_mark(db: Database) -> str:
    """Changes whenever orders are published or withdrawn."""
    count, last, newest = db.conn.execute("SELECT count(*), coalesce(max(published_at), ''), coalesce(max(rowid), 0) FROM cutting_order").fetchone()
    return f"{count}-{newest}-{last}"


def orders(db: Database, week: str | None = None, crew: str | None = None) -> list[dict]:
    found = rows(db, "SELECT id, day, plan, crew, week, plot, pass, clearing, mass_t, plants, pina_kg, cut_style, trucks, how_to_tell, cautions, published_at FROM cutting_order "
                     "WHERE (? IS NULL OR week = ?) AND (? IS NULL OR crew = ?) ORDER BY week, crew, day, plot", [week, week, crew, crew])
    return [{**r, **{name: json.loads(r[name]) for name in ("trucks", "how_to_tell", "cautions")}} for r in found]
