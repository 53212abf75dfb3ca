"""What one plot's log holds beside the records in force: what was left out and why, and how it stood before the office's last corrections."""

from __future__ import annotations

import json
from datetime import date, timedelta
from math import isfinite
from typing import Any

from .. import clock
from ..database import Database
from . import chain, frames, store
from .office_service import OFFICE
from .tables_service import in_force, kept

SHOWN_DAYS = 60
"""For so long a plot's page tells what the last corrections changed."""
MOST_CAME = 40
"""Letters that are shown of what came in a number's place."""


def left_out(db: Database, plot: str) -> list[dict[str, Any]]:
    """Rounds and readings of a plot that came and do not count: {id, kind, round, day, brix_raw_deg (None where it is no number), came (what stood there), why}.

    ``why`` is ``held``, ``set_aside``, ``voided``, ``undone`` (a correction that was voided) or ``replaced`` (a later record took its place).
    """
    living = {row.id for kind in ("round", "reading") for row in in_force(db).get(kind, [])}
    zone, out = clock.of(db).zone, []
    for row in store.of_plot(db, plot, ("round", "reading")):
        if row["id"] in living:
            continue
        why = row["state"] if row["state"] != "kept" else ("undone" if row["replaces"] else "voided") if row["voids"] else "replaced"
        fields = json.loads(row["fields"])
        value = fields.get("brix_raw_deg")
        day = _day(row["taken_fixed"] or row["taken_at"], zone)
        out.append({"id": row["id"], "kind": row["kind"], "round": row["round"], "day": day, "why": why,
                    "brix_raw_deg": float(value) if isinstance(value, (int, float)) and not isinstance(value, bool) and isfinite(value) else None, "came": "" if value is None else str(value)[:MOST_CAME]})
    return out


def _day(text: str | None, zone: Any) -> date | None:
    from datetime import datetime

    try:
        return datetime.fromisoformat(text.replace("Z", "+00:00")).astimezone(zone).date() if text else None
    except (ValueError, OverflowError):
        return None


def last_corrections(db: Database, plot: str) -> dict[str, Any] | None:
    """What the office last corrected in a plot's rounds and readings, on one day, and the readings as they stood before it.

    {on: date, who, n records corrected or taken out, n_undone of whose correction was undone, record: the last one named, readings: table
    like ``service.readings``}; None when nothing was corrected for ``SHOWN_DAYS`` days.
    """
    rows = kept(db)
    by_id = {row.id: row for row in rows}
    ours = [row for row in rows if row.install == OFFICE and _of(row, by_id, plot)]
    if not ours:
        return None
    zone, last = clock.of(db).zone, store.record(db, ours[-1].id)
    on = _day(last["received_at"], zone)
    if on is None or on < clock.of(db).today() - timedelta(days=SHOWN_DAYS):
        return None
    undone = {row.id for row in ours if _day(store.record(db, row.id)["received_at"], zone) == on}
    here = {row.id for row in rows if row.plot == plot}
    near = here | {row.id for row in rows if row.replaces in here} | {row.replaces for row in rows if row.id in here and row.replaces}
    part = [row for row in rows if row.id in near and row.id not in undone]  # a plot's own log and what it is chained to: the estate's need not be walked
    links = [{"id": r.id, "kind": r.kind, "replaces": r.replaces, "taken_fixed": r.taken_fixed, "plot": r.plot, "round": r.round} for r in part]
    living, rounds = chain.in_force(links), chain.inherited_rounds(links)
    alive = [row._replace(round=rounds[row.id]) if row.id in rounds else row for row in part if row.id in living]
    tables = [frames.table(kind, [row for row in alive if row.kind == kind and row.plot == plot], zone) for kind in ("reading", "round")]
    touched, back = _counted([row for row in ours if row.id in undone], by_id)
    return {"on": on, "who": last["sender"], "n": len(touched), "n_undone": len(back), "record": last["replaces"] or last["id"], "readings": frames.readings(*tables)}


def _counted(ours: list[frames.Kept], by_id: dict[str, frames.Kept]) -> tuple[set[str], set[str]]:
    """First records of the chains that the office's records corrected or took out, and of those whose correction it undid and left standing."""
    touched, back, out = set(), set(), set()
    for row in ours:
        named = by_id.get(row.replaces) if row.replaces else None
        if row.kind == "void" and named is not None and named.replaces and named.kind != "void":
            back.add(_first(named, by_id))
        else:
            touched.add(_first(row, by_id))
            if row.kind == "void":
                out.add(_first(row, by_id))
    return touched, back - out


def _first(row: frames.Kept, by_id: dict[str, frames.Kept]) -> str:
    seen = {row.id}
    while (before := by_id.get(row.replaces) if row.replaces else None) is not None and before.id not in seen:
        seen.add(before.id)
        row = before
    return row.id


def _of(row: frames.Kept, by_id: dict[str, frames.Kept], plot: str) -> bool:
    """Whether an office record touches a round or reading of the plot: its own, or the one it replaces."""
    before = by_id.get(row.replaces) if row.replaces else None
    kinds = {row.kind, before.kind if before else row.kind}
    return bool(kinds & {"round", "reading"}) and plot in (row.plot, before.plot if before else None)


def photos_here(db: Database, digests: list[str]) -> set[str]:
    """Which of the pictures have come (a photo's record may come before its bytes)."""
    return store.photos_there(db, digests)

