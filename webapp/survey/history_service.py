"""One record's whole history: what came, each correction and each void of it, and which of them counts."""

from __future__ import annotations

from typing import Any

from ..database import Database
from ..people import service as people
from ..problems import Problem
from . import chain, store
from . import record as rec

ENVELOPE = frozenset(("id", "install", "seq", "round", "kind", "confirmed", "replaces", "position", "taken_at", "why"))
"""What a correction always has of its own, so that it is no difference between two of them."""


def _chain(db: Database, record_id: str) -> list[dict]:
    """Every record that the one named is chained to, by corrections, voids and mends, in the order of the log. Problem ``record_unknown``."""
    if (start := store.record(db, record_id)) is None:
        raise Problem("record_unknown", where=record_id, status=404)
    found, waiting = {record_id: start}, [start]
    while waiting:
        row = waiting.pop()
        above = [row["replaces"], row["source"][5:] if row["source"].startswith("mend:") else None]
        near = [*(store.record(db, name) for name in above if name), *store.answers_to(db, row["id"])]
        if (why := store.held_one(db, row["id"])) and why["settled"] == "mended":
            near += store.written_for(db, f"mend:{row['id']}")
        for one in near:
            if one and one["id"] not in found:
                found[one["id"]] = one
                waiting.append(one)
    return sorted(found.values(), key=lambda row: row["n"])


def _in_force(rows: list[dict], without: str = "") -> set[str]:
    """Which of a chain count; ``without`` as if that one had been voided."""
    return chain.in_force(row for row in rows if row["state"] == "kept" and row["id"] != without)


def history(db: Database, record_id: str) -> list[dict[str, Any]]:
    """Steps of the chain a record belongs to, the same whichever of them is asked for: {id, at, who, step, fields, was, counts}.

    ``step`` is how it came, ``replaced``, ``voided``, ``undone`` (a correction voided), ``restored`` (a void voided) or
    what the office decided of a held one; ``fields`` as it came, of an undone correction those of what it had replaced; ``was`` those that it changed
    (None where it changed none); ``why`` the reason typed for a void; ``counts`` whether it is in force. Problem ``record_unknown``.
    """
    rows = _chain(db, record_id)
    by_id, living, steps = {row["id"]: row for row in rows}, _in_force(rows), []
    for row in rows:
        named = by_id.get(row["replaces"])
        step = {"id": row["id"], "at": row["received_at"], "who": row["sender"], "counts": row["id"] in living, "fields": rec.loads(row["bytes"]), "kept_as": rec.loads(row["bytes"]), "was": None, "why": ""}
        if row["state"] != "kept":
            step["step"] = f"came_{row['state']}"
        elif row["kind"] == "void":
            step |= _void(db, row, named, by_id)
        elif row["replaces"] or row["source"].startswith("mend:"):
            step["step"] = "replaced"
        else:
            step["step"] = "came"
        if named is not None and row["kind"] != "void":
            step["was"] = rec.loads(named["bytes"])
        steps.append((row["n"], step))
        held = store.held_one(db, row["id"])
        if held and held["settled"]:
            mended = [one["n"] for one in rows if one["source"] == f"mend:{row['id']}"]
            steps.append((min(mended, default=row["n"] + 1) - 0.5, {"id": row["id"], "at": held["settled_at"], "who": held["settled_by"], "step": held["settled"], "fields": {}, "kept_as": {}, "was": None, "why": held["why"] or "", "counts": False}))
    return [step for _, step in sorted(steps, key=lambda item: item[0])]


def _void(db: Database, row: dict, named: dict | None, by_id: dict[str, dict]) -> dict[str, Any]:
    """What a void did: took a record out of use, undid a correction, or took back another void."""
    raw = rec.loads(row["bytes"])
    why = raw.get("why") or _told_then(db, row)
    if named is not None and named["kind"] == "void":
        return {"step": "restored", "why": why}
    before = by_id.get(named["replaces"]) if named is not None else None
    if before is None or named["state"] != "kept":
        return {"step": "voided", "why": why}
    return {"step": "undone", "why": why, "was": rec.loads(named["bytes"]), "fields": rec.loads(before["bytes"])}


def _told_then(db: Database, row: dict) -> str:
    """The reason of a void from before voids kept theirs: the trail has it under what was taken out."""
    if row["source"] != f"void:{row['replaces']}":
        return ""
    return next((told["after"] or "" for told in people.trail(db, [row["replaces"]]) if told["act"] == "take_out_record"), "")


def undoable(db: Database, record_id: str) -> dict[str, Any] | None:
    """The correction in use in a record's chain and what counts again without it: {correction, again, fields, fields_again}; None without one."""
    rows = _chain(db, record_id)
    by_id, living = {row["id"]: row for row in rows}, _in_force(rows)
    for name in sorted(living):
        before = by_id.get(by_id[name]["replaces"])
        back = _in_force(rows, name) - living
        if before is not None and before["kind"] == by_id[name]["kind"] and len(back) == 1:
            again = back.pop()
            return {"correction": name, "again": again, "fields": rec.loads(by_id[name]["bytes"]), "fields_again": rec.loads(by_id[again]["bytes"])}
    return None


def differing(one: dict[str, Any], other: dict[str, Any]) -> list[str]:
    """Names of what two records of a chain say differently."""
    return [name for name in {**other, **one} if name not in ENVELOPE and one.get(name) != other.get(name)]


def of_plot(db: Database, plot: str) -> list[str]:
    """Identifiers of a plot's records and rounds, and of those that its corrections replaced (they may have named another plot)."""
    return store.names_of_plot(db, plot)


def kinds_of(db: Database, names: list[str]) -> dict[str, tuple[str, str | None]]:
    """Identifier → (kind, plot) of those names that are records'."""
    return store.kinds_of(db, names)
