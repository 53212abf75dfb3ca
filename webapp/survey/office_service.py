"""The office's part: mend, accept or set aside what is held; settle doubts.

Mending never touches the record that came: a new record from install ``office`` takes its place.
"""

from __future__ import annotations

import json
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from .. import answers, clock, dictionary
from ..database import Database, atomic
from ..land import service as land
from ..people import service as people
from ..problems import Problem
from ..sentences import Sentence
from . import held_groups, intake, judging, store
from . import quality_scale
from .quality import LOOKED_AT
from . import record as rec
from .tables_service import in_force
from .taking_service import known, reason, row_of, settle_with_land

OFFICE = "office"
MAY_ACCEPT = frozenset(("net_not_gross_less_tare", "beyond_registered", "age_impossible", "age_before_planting", "before_planting"))
"""Reasons a person may overrule; the others leave a record that no estimate could use."""


def held(db: Database) -> list[dict]:
    """Held records with why, what to do, their fields as they came, and the proposal where there is one.

    ``labels`` name the fields shown, ``may_accept`` whether it can be used as it came, ``group`` what it shares with others
    held for the same reason (``held_groups``), ``taken`` when it says it was taken (None where it says no time).
    """
    settle_with_land(db)
    out, waiting, zone, called = [], store.held(db), clock.of(db).zone, land.called(db)
    for row in waiting:
        proposal = json.loads(row["proposal"]) if row["proposal"] else None
        raw = rec.loads(row["bytes"])
        names = [f.name for f in dictionary.fields(row["kind"]) if f.type != "outline"] if row["kind"] in dictionary.kinds() else sorted(json.loads(row["fields"]))
        shown = {"plot": raw.get("plot") or "", "taken_at": raw.get("taken_at") or "", **{n: "" if raw[n] is None else raw[n] for n in names if n in raw}}
        shown |= {n: shown.get(n, "") for n in proposal or {}}
        out.append(_listed(row, row["kind"], row["plot"] or raw.get("plot"), row["code"], json.loads(row["params"]), shown, proposal, zone, called))
    for row in store.conflicts(db):
        raw = {**rec.loads(row["bytes"]), "id": row["record"]}
        shown = {k: v for k, v in raw.items() if k not in ("id", "install", "seq", "round", "kind", "confirmed", "replaces", "position")}
        out.append(_listed({**row, "id": row["record"]}, raw.get("kind", ""), raw.get("plot"), "same_id_other_bytes", {}, shown, None, zone, called))
    return out


def _listed(row: dict, kind: str, plot: Any, code: str, params: dict, shown: dict, proposal: dict | None, zone: ZoneInfo, called: dict[str, str]) -> dict:
    labels = {name: Sentence(f"survey.field.{name}") if name in ("plot", "taken_at") else dictionary.name_of(kind, name) for name in shown}
    what, do = reason(code, params, kind, zone)
    taken, plot = _moment(shown.get("taken_at"), zone), plot if isinstance(plot, str) else None
    key = held_groups.key_of(code, kind, plot, row.get("round"), row.get("install"), taken.date().isoformat() if taken else "", row["id"])
    return {"id": row["id"], "kind": kind, "kind_known": kind in dictionary.kinds(), "plot": plot, "plot_name": called.get(plot or "", plot), "sender": row["sender"],
            "received_at": row["received_at"], "code": code, "what": what, "do": do, "shown": rec.cleaned(shown), "labels": labels, "proposal": proposal,
            "may_accept": code in MAY_ACCEPT or code == "same_id_other_bytes", "group": key, "taken": taken}


def _moment(value: Any, zone: ZoneInfo) -> datetime | None:
    """A time as the estate's clock shows it; None for what is no time."""
    try:
        at = datetime.fromisoformat(str(value).replace("Z", "+00:00"))
        return at.astimezone(zone) if at.tzinfo else at.replace(tzinfo=zone)
    except (ValueError, OverflowError):
        return None


def _waiting(db: Database, record_id: str) -> tuple[dict, dict]:
    row, why = store.record(db, record_id), store.held_one(db, record_id)
    if row is None or why is None or why["settled"]:
        if row is not None and any(c["record"] == record_id for c in store.conflicts(db)):
            return row, {"code": "same_id_other_bytes"}
        raise Problem("record_not_waiting", where=record_id, status=404)
    return row, why


def typed(kind: str, changes: dict[str, Any]) -> dict[str, Any]:
    """Form texts in the types of the dictionary (comma or point); what is no number stays text and is refused later."""
    types = {f.name: f.type for f in dictionary.fields(kind)} if kind in dictionary.kinds() else {}
    out = {}
    for name, value in changes.items():
        if isinstance(value, str) and types.get(name) in ("number", "whole", "yes_no"):
            try:
                number = float(value.strip().replace(",", "."))
                value = int(number) if number == int(number) and types[name] != "number" else number
            except (ValueError, OverflowError):
                value = value.strip() or None
        out[name] = value.strip() or None if isinstance(value, str) else value
    return out


def _write(db: Database, raw: dict, who: str, source: str, overruled: frozenset[str] = frozenset()) -> rec.Record:
    """A record of the office, judged like any other but for what a person overruled; Problem ``still_wrong``."""
    now = clock.of(db).now()
    record, fault = intake.envelope(raw)
    if record is None:
        raise Problem("still_wrong", where=raw["id"], why=reason(*fault)[0])
    fixed = rec.repaired(record.taken, timedelta(), 0)
    code, params, _ = judging.judge(record, fixed, known(db, now.replace(hour=23, minute=59)))
    if code and code not in overruled:
        raise Problem("still_wrong", where=params.get("field", record.kind), why=reason(code, params, record.kind, clock.of(db).zone)[0])
    data = rec.canonical(raw)
    decision = intake.Decision(0, raw["id"], raw["id"], intake.KEPT, data, rec.digest(data), OFFICE, None, record, fixed)
    store.add(db, [row_of(decision, raw, rec.SCHEMA, intake.as_utc_text(now), source, who)])
    answers.bump(db, "survey")
    return record


def _came(db: Database, record_id: str, code: str) -> dict:
    """The waiting record as it came; of a conflict the one that came second, under its own name as what it corrects."""
    if code != "same_id_other_bytes":
        return rec.loads(store.record(db, record_id)["bytes"])
    other = [c for c in store.conflicts(db) if c["record"] == record_id][-1]
    return {**rec.loads(other["bytes"]), "replaces": record_id}


def mend(db: Database, record_id: str, changes: dict[str, Any], who: str) -> str:
    """Use a held record with some fields changed; returns the new record's id. The old one stays as it came.

    The new record stands where the held one would have stood: it replaces what that one replaced.
    Problems ``record_not_waiting``, ``still_wrong``.
    """
    _, why = _waiting(db, record_id)
    raw = _came(db, record_id, why["code"])
    kind = changes.get("kind", raw.get("kind"))
    made = {**intake.raised(raw, store.record(db, record_id)["schema"]), **typed(kind if isinstance(kind, str) else "", changes), "install": OFFICE, "seq": None, "confirmed": True}
    if changes.get("taken_at") and (at := _moment(changes["taken_at"], clock.of(db).zone)):
        made["taken_at"] = at.isoformat()  # typed without saying which time it is, it is the estate's
    for name in ("round", "replaces"):
        made[name] = made[name] if isinstance(made.get(name), str) else None
    made["position"] = made["position"] if isinstance(made.get("position"), dict) else None
    made["id"] = rec.derived_id("mend", {**made, "id": record_id}, 0)
    at = clock.of(db).stamp()
    with atomic(db):
        _write(db, rec.cleaned(made), who, f"mend:{record_id}", MAY_ACCEPT if why["code"] == "same_id_other_bytes" else frozenset())
        store.settle(db, record_id, "mended", at, who)
        store.settle_conflicts(db, record_id, at, who)
        people.note(db, who, "mend_record", record_id, before={n: raw.get(n) for n in changes}, after=changes)
    return made["id"]


def accept(db: Database, record_id: str, who: str) -> None:
    """Use a held record as it came, where nothing but the office's judgement stands against it. Problem ``still_wrong``."""
    row, why = _waiting(db, record_id)
    if why["code"] == "same_id_other_bytes":
        mend(db, record_id, {}, who)
        return
    if why["code"] not in MAY_ACCEPT:
        raise Problem("still_wrong", where=record_id, why=reason(why["code"], json.loads(why["params"]), row["kind"], clock.of(db).zone)[0])
    with atomic(db):
        store.update(db, record_id, state=intake.KEPT)
        store.settle(db, record_id, "accepted", clock.of(db).stamp(), who)
        answers.bump(db, "survey")
        people.note(db, who, "accept_record", record_id)


def set_aside(db: Database, record_id: str, who: str, why: str) -> None:
    """Keep a held record out of use, with the reason. Problem ``why_missing``."""
    row, held_as = _waiting(db, record_id)
    if not why.strip():
        raise Problem("why_missing", where=record_id)
    at = clock.of(db).stamp()
    with atomic(db):
        if held_as["code"] == "same_id_other_bytes":
            store.settle_conflicts(db, record_id, at, who)
        else:
            store.update(db, record_id, state="set_aside")
            store.settle(db, record_id, "set_aside", at, who, why.strip()[:500])
        answers.bump(db, "survey")
        people.note(db, who, "set_aside_record", record_id, after=why.strip()[:500])


def settle_doubt(db: Database, doubt: int, answer: str, who: str) -> None:
    """``take`` the proposal (as corrections by the office) or ``leave`` the record as it is. Problems ``doubt_unknown``, ``no_proposal``."""
    found = next((d for d in store.doubts(db) if d["id"] == doubt), None)
    if found is None or answer not in ("take", "leave"):
        raise Problem("doubt_unknown", where=str(doubt), status=404)
    with atomic(db):
        if answer == "take":
            if not found["proposal"]:
                raise Problem("no_proposal", where=found["record"])
            _apply(db, found["record"], found["proposal"], who)
        store.settle_doubt(db, doubt, answer, clock.of(db).stamp(), who)
        if answer == "leave" and found["code"] in LOOKED_AT | quality_scale.LOOKED_AT:
            answers.bump(db, "survey")  # from now on it counts in full
        people.note(db, who, f"doubt_{answer}", found["record"], after=found["proposal"])


def _apply(db: Database, record_id: str, proposal: dict, who: str) -> None:
    if record_id.startswith("plot:"):
        land.set_planting(db, record_id[5:], date.fromisoformat(proposal["planted_on"]), who)
        return
    living = [row for rows in in_force(db).values() for row in rows]
    if "void_round" in proposal:
        for row in living:
            if row.round == record_id or row.id == record_id:
                void_whole(db, row.id, row.plot, who)
    elif "clear_in_round" in proposal:
        for row in living:
            if row.round == record_id and row.kind == "reading":
                write_correction(db, row.id, {proposal["clear_in_round"]: None}, who)
    elif "swap_with" in proposal:
        plots = {row.round or row.id: row.plot for row in living if row.kind == "round" and (row.round or row.id) in (record_id, proposal["swap_with"])}
        _swap(db, living, record_id, proposal["swap_with"], plots, who)
    elif "void_readings_of" in proposal:
        for row in living:
            if row.round in proposal["void_readings_of"] and row.kind == "reading":
                void_whole(db, row.id, row.plot, who)
    elif "void_records" in proposal:
        for row in living:
            if row.id in proposal["void_records"]:
                void_whole(db, row.id, row.plot, who)
    elif "scale_records" in proposal:
        for row in living:
            if row.id in proposal["scale_records"]:
                write_correction(db, row.id, {"brix_raw_deg": round(json.loads(row.fields)["brix_raw_deg"] * proposal["by"], 2)}, who)
    elif "of_rounds" in proposal:
        for row in living:
            if row.kind == "round" and (row.round or row.id) in proposal["of_rounds"]:
                write_correction(db, row.id, {"atc": proposal["atc"]}, who)
    elif proposal.get("void"):
        void_whole(db, record_id, store.record(db, record_id)["plot"], who)
    else:
        write_correction(db, record_id, proposal, who)


def _swap(db: Database, living: list, one: str, other: str, plots: dict[str, str], who: str) -> None:
    """All records of two rounds get each other's plot. Problem ``doubt_unknown`` when one of the rounds is gone."""
    if len(plots) < 2:
        raise Problem("doubt_unknown", where=one, status=404)
    turned = {one: plots[other], other: plots[one]}
    for row in living:
        name = row.round or row.id
        if name in turned:
            write_correction(db, row.id, {"plot": turned[name]}, who)


def write_correction(db: Database, record_id: str, changes: dict, who: str) -> None:
    """The record again with some fields changed, at the time it was taken."""
    row = store.record(db, record_id)
    raw = {**intake.raised(rec.loads(row["bytes"]), row["schema"]), **changes, "install": OFFICE, "seq": None, "replaces": record_id, "confirmed": True, "taken_at": row["taken_fixed"]}
    raw["id"] = rec.derived_id("correct", {**raw, "id": record_id, "at": clock.of(db).stamp()}, 0)
    _write(db, raw, who, f"correct:{record_id}", MAY_ACCEPT)


def void_whole(db: Database, record_id: str, plot: str | None, who: str, why: str = "") -> None:
    """Take a record out of use with what it corrected: a correction voided alone would let its original count again."""
    kind = store.record(db, record_id)["kind"]
    write_void(db, record_id, plot, who, why)
    seen = {record_id}
    while (row := store.record(db, record_id)) and (before := row["replaces"] and store.record(db, row["replaces"])) and before["id"] not in seen:
        record_id = before["id"]
        seen.add(record_id)
        if before["kind"] == kind and before["state"] == intake.KEPT:
            write_void(db, record_id, before["plot"], who, why)


def write_void(db: Database, record_id: str, plot: str | None, who: str, why: str = "") -> None:
    """A void with its reason, where one was given: it travels with the record's history."""
    raw = {"install": OFFICE, "seq": None, "round": None, "kind": "void", "plot": plot, "taken_at": clock.of(db).now().isoformat(timespec="milliseconds"), "position": None,
           "confirmed": True, "replaces": record_id, **({"why": why.strip()[:500]} if why.strip() else {})}
    raw["id"] = rec.derived_id("void", {**raw, "at": clock.of(db).stamp()}, 0)
    _write(db, raw, who, f"void:{record_id}")
