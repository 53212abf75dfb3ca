"""The office's part: mend, accept or set aside what is held; settle doubts; a record's whole history.

Mending never touches the record that came: a new record from install ``office`` takes its place.
"""

from __future__ import annotations

import json
from datetime import date, datetime, timedelta
from typing import Any

from .. import answers, clock, dictionary
from ..database import Database, atomic
from ..land import service as land
from ..people import service as people
from ..problems import Problem
from . import intake, service, store
from . import record as rec

OFFICE = "office"
LAND_CODES = {"unknown_plot", "no_plot", "before_planting", "beyond_registered", "age_impossible", "unknown_kind", "newer_schema", "future"}
"""Reasons that another state of the land, the day or the program may lift."""


def held(db: Database) -> list[dict]:
    """Held records with why, what to do, their fields as they came, and the proposal where there is one."""
    out = []
    for row in store.held(db):
        what, do = service.reason(row["code"], json.loads(row["params"]))
        fields = json.loads(row["fields"])
        raw = _raw(row)
        names = [f.name for f in dictionary.fields(row["kind"])] if row["kind"] in dictionary.kinds() else sorted(fields)
        shown = {"plot": raw.get("plot") or "", "taken_at": raw.get("taken_at") or "", **{n: "" if raw.get(n) is None else raw[n] for n in names if n in raw or n in fields}}
        proposal = json.loads(row["proposal"]) if row["proposal"] else None
        shown |= {n: shown.get(n, "") for n in proposal or {}}
        out.append({"id": row["id"], "kind": row["kind"], "kind_known": row["kind"] in dictionary.kinds(), "plot": row["plot"], "sender": row["sender"],
                    "received_at": row["received_at"], "code": row["code"], "what": what, "do": do, "shown": shown, "proposal": proposal})
    for row in store.conflicts(db):
        what, do = service.reason("same_id_other_bytes", {})
        raw = _loads(row["bytes"])
        out.append({"id": row["record"], "kind": raw.get("kind", ""), "kind_known": raw.get("kind") in dictionary.kinds(), "plot": raw.get("plot"), "sender": row["sender"],
                    "received_at": row["received_at"], "code": "same_id_other_bytes", "what": what, "do": do, "proposal": None,
                    "shown": {k: v for k, v in raw.items() if k not in ("id", "install", "seq", "round", "kind", "confirmed", "replaces", "position")}})
    return out


def _loads(data: bytes) -> dict:
    try:
        found = json.loads(data)
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}


def _raw(row: dict) -> dict:
    return _loads(row["bytes"])


def _waiting(db: Database, record_id: str) -> tuple[dict, dict]:
    row, why = store.record(db, record_id), store.held_one(db, record_id)
    if row is None or why is None or why["settled"]:
        if row is not None and any(c["record"] == record_id for c in store.conflicts(db)):
            return row, {"code": "same_id_other_bytes"}
        raise Problem("record_not_waiting", where=record_id, status=404)
    return row, why


def _typed(kind: str, changes: dict[str, Any]) -> dict[str, Any]:
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


def _write(db: Database, raw: dict, who: str, source: str) -> rec.Record:
    """A record of the office, judged like any other; Problem ``still_wrong`` when it can't be used."""
    now = clock.of(db).now()
    record, fault = intake.envelope(raw)
    if record is None:
        raise Problem("still_wrong", where=raw["id"], why=service.reason(*fault)[0])
    fixed = rec.repaired(record.taken, timedelta(), 0)
    code, params, _ = intake.judge(record, fixed, service._known(db, [], now.replace(hour=23, minute=59)))
    if code:
        raise Problem("still_wrong", where=params.get("field", record.kind), why=service.reason(code, params)[0])
    data = rec.canonical(raw)
    decision = intake.Decision(0, raw["id"], intake.KEPT, data, rec.digest(data), record, fixed)
    store.add(db, [service._row(decision, raw, rec.SCHEMA, intake.as_utc_text(now), source, who)])
    answers.bump(db, "survey")
    return record


def mend(db: Database, record_id: str, changes: dict[str, Any], who: str) -> str:
    """Use a held record with some fields changed; returns the new record's id. The old one stays as it came."""
    row, _ = _waiting(db, record_id)
    raw = _raw(row)
    kind = _typed("", {"kind": changes.get("kind", raw.get("kind"))})["kind"] or ""
    made = {**raw, **_typed(kind, changes), "install": OFFICE, "seq": None, "replaces": record_id, "confirmed": True}
    if not isinstance(made.get("round"), str):
        made["round"] = None
    made["id"] = rec.derived_id("mend", {**made, "id": record_id}, 0)
    at = clock.of(db).stamp()
    with atomic(db):
        _write(db, made, who, f"mend:{record_id}")
        store.settle(db, record_id, "mended", at, who)
        store.settle_conflicts(db, record_id, at, who)
        people.note(db, who, "mend_record", record_id, before={n: raw.get(n) for n in changes}, after=changes)
    return made["id"]


def accept(db: Database, record_id: str, who: str) -> None:
    """Use a held record as it came, where the record itself is readable and in its limits. Problem ``still_wrong``."""
    row, why = _waiting(db, record_id)
    record, fault = intake.envelope(_raw(row))
    if record is None or row["kind"] not in dictionary.kinds() or dictionary.check(row["kind"], record.fields) or (row["plot"] and row["plot"] not in service._known(db, [], clock.of(db).now()).plots):
        raise Problem("still_wrong", where=record_id, why=service.reason(why["code"], json.loads(why.get("params", "{}")) if isinstance(why.get("params"), str) else {})[0])
    at = clock.of(db).stamp()
    with atomic(db):
        store.update(db, record_id, state=intake.KEPT, confirmed=1)
        store.settle(db, record_id, "accepted", at, who)
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


def rejudge(db: Database) -> int:
    """Judge again what is held for reasons the land may have lifted; returns how many are now in use."""
    freed = 0
    now = clock.of(db).now().replace(hour=23, minute=59)
    with atomic(db):
        for row in store.held(db):
            if row["code"] not in LAND_CODES or row["schema"] > rec.SCHEMA:
                continue
            record, _ = intake.envelope(_raw(row))
            if record is None:
                continue
            fixed = datetime.fromisoformat(row["taken_fixed"]) if row["taken_fixed"] else rec.repaired(record.taken, timedelta(), 0)
            code, params, proposal = intake.judge(record, fixed, service._known(db, [], now))
            if not code:
                store.update(db, row["id"], state=intake.KEPT, taken_fixed=intake.as_utc_text(fixed), plot=record.plot, kind=record.kind)
                store.settle(db, row["id"], "judged_again", clock.of(db).stamp(), "–")
                freed += 1
            elif code != row["code"]:
                store.reason(db, row["id"], code, params, proposal)
        if freed:
            answers.bump(db, "survey")
    return freed


def doubts(db: Database) -> list[dict]:
    return [{**row, "what": service.Sentence(f"survey.doubt.{row['code']}.what", row["params"]), "do": service.Sentence(f"survey.doubt.{row['code']}.do", row["params"])}
            for row in store.doubts(db)]


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
        people.note(db, who, f"doubt_{answer}", found["record"], after=found["proposal"])


def _apply(db: Database, record_id: str, proposal: dict, who: str) -> None:
    if record_id.startswith("plot:"):
        land.set_planting(db, record_id[5:], date.fromisoformat(proposal["planted_on"]), who)
    elif "void_round" in proposal:
        for row in store.kept(db):
            if row["round"] == record_id or row["id"] == record_id:
                _void(db, row["id"], row["plot"], who)
    elif "clear_in_round" in proposal:
        living = rec.in_force(store.kept(db))
        for row in store.kept(db):
            if row["round"] == record_id and row["kind"] == "reading" and row["id"] in living:
                _correct(db, row["id"], {proposal["clear_in_round"]: None}, who)
    elif proposal.get("void"):
        _void(db, record_id, store.record(db, record_id)["plot"], who)
    else:
        _correct(db, record_id, proposal, who)


def _correct(db: Database, record_id: str, changes: dict, who: str) -> None:
    row = store.record(db, record_id)
    raw = {**_raw(row), **changes, "install": OFFICE, "seq": None, "replaces": record_id, "confirmed": True, "taken_at": row["taken_fixed"]}
    raw["id"] = rec.derived_id("correct", {**raw, "id": record_id}, 0)
    _write(db, raw, who, f"correct:{record_id}")


def _void(db: Database, record_id: str, plot: str | None, who: str) -> None:
    raw = {"install": OFFICE, "seq": None, "round": None, "kind": "void", "plot": plot, "taken_at": clock.of(db).now().isoformat(timespec="milliseconds"), "position": None,
           "confirmed": True, "replaces": record_id}
    raw["id"] = rec.derived_id("void", raw, 0)
    _write(db, raw, who, f"void:{record_id}")


def history(db: Database, record_id: str) -> list[dict]:
    """Steps of one record: as it came, what replaced it, and what the office decided."""
    row = store.record(db, record_id)
    if row is None:
        raise Problem("record_unknown", where=record_id, status=404)
    steps = [{"at": row["received_at"], "who": row["sender"], "step": "came" if row["state"] == "kept" else f"came_{row['state']}", "fields": _raw(row)}]
    if row["replaces"] and (before := store.record(db, row["replaces"])):
        steps.insert(0, {"at": before["received_at"], "who": before["sender"], "step": "before", "fields": _raw(before)})
    why = store.held_one(db, record_id)
    if why and why["settled"]:
        steps.append({"at": why["settled_at"], "who": why["settled_by"], "step": why["settled"], "fields": {"why": why["why"]} if why["why"] else {}})
    steps += [{"at": r["received_at"], "who": r["sender"], "step": "voided" if r["kind"] == "void" else "replaced", "fields": _raw(r)} for r in store.answers_to(db, record_id)]
    return steps
