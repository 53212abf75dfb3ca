"""SQL of people, sessions, phones, attempts and the trail."""

from __future__ import annotations

import json

from ..database import Database, rows


def add_person(db: Database, name: str, login: str, password_hash: str, roles: tuple[str, ...], at: str) -> int:
    return db["person"].insert({"name": name, "login": login, "password_hash": password_hash, "roles": json.dumps(sorted(roles)), "created_at": at}).last_pk


def persons(db: Database) -> list[dict]:
    found = rows(db, "SELECT id, name, login, roles, language, active, created_at FROM person ORDER BY name")
    return [{**row, "roles": tuple(json.loads(row["roles"])), "active": bool(row["active"])} for row in found]


def person(db: Database, where: str, value: object) -> dict | None:
    found = rows(db, f"SELECT * FROM person WHERE {'id' if where == 'id' else 'login'} = ?", [value])
    return {**found[0], "roles": tuple(json.loads(found[0]["roles"])), "active": bool(found[0]["active"])} if found else None


def set_person(db: Database, person_id: int, **values: object) -> None:
    db["person"].update(person_id, values)


def add_session(db: Database, token_hash: str, person_id: int, at: str, expires: str) -> None:
    db["session"].insert({"token_hash": token_hash, "person": person_id, "created_at": at, "expires_at": expires, "last_seen": at})


def session(db: Database, token_hash: str) -> dict | None:
    found = rows(db, "SELECT * FROM session WHERE token_hash = ?", [token_hash])
    return found[0] if found else None


def touch_session(db: Database, token_hash: str, at: str) -> None:
    db.execute("UPDATE session SET last_seen = ? WHERE token_hash = ?", [at, token_hash])


def drop_sessions(db: Database, *, token_hash: str | None = None, person_id: int | None = None) -> None:
    db.execute("DELETE FROM session WHERE token_hash = ? OR person = ?", [token_hash, person_id])


def attempts(db: Database, act: str, subject: str, since: str) -> int:
    return db.conn.execute("SELECT count(*) FROM attempt WHERE act = ? AND subject = ? AND at >= ?", [act, subject, since]).fetchone()[0]


def add_attempt(db: Database, act: str, subject: str, at: str, forget_before: str) -> None:
    db.execute("DELETE FROM attempt WHERE at < ?", [forget_before])
    db["attempt"].insert({"act": act, "subject": subject, "at": at})


def clear_attempts(db: Database, act: str, subject: str) -> None:
    db.execute("DELETE FROM attempt WHERE act = ? AND subject = ?", [act, subject])


def add_owner_link(db: Database, token_hash: str, at: str, expires: str) -> None:
    db["owner_link"].insert({"token_hash": token_hash, "created_at": at, "expires_at": expires})


def use_owner_link(db: Database, token_hash: str, at: str) -> bool:
    return db.execute("UPDATE owner_link SET used_at = ? WHERE token_hash = ? AND used_at IS NULL AND expires_at > ?", [at, token_hash, at]).rowcount == 1


def add_device(db: Database, device: str, name: str, crew: str, by: str, at: str) -> None:
    db["device"].insert({"id": device, "name": name, "crew": crew, "made_by": by, "made_at": at})


def add_code(db: Database, code_hash: str, device: str, expires: str) -> None:
    db["enrol_code"].insert({"code_hash": code_hash, "device": device, "expires_at": expires})


def drop_codes(db: Database, device: str) -> None:
    """Codes of a phone that nobody used are good no longer."""
    db["enrol_code"].delete_where("device = ? AND used_at IS NULL", [device])


def use_code(db: Database, code_hash: str, at: str) -> str | None:
    """The device of an unused, unexpired code, which is used up by this."""
    done = db.execute("UPDATE enrol_code SET used_at = ? WHERE code_hash = ? AND used_at IS NULL AND expires_at > ?", [at, code_hash, at])
    if done.rowcount != 1:
        return None
    return db.conn.execute("SELECT device FROM enrol_code WHERE code_hash = ?", [code_hash]).fetchone()[0]


def devices(db: Database) -> list[dict]:
    return rows(db, "SELECT id, name, crew, made_by, made_at, enrolled_at, last_seen, revoked_at FROM device ORDER BY revoked_at IS NOT NULL, name")


def device(db: Database, device_id: str) -> dict | None:
    found = rows(db, "SELECT * FROM device WHERE id = ?", [device_id])
    return found[0] if found else None


def seen(db: Database, devices: list[str], at: str) -> None:
    """Done with every batch of records, hence in plain SQL: finding out a table's key costs more than the rest of a batch's bookkeeping."""
    db.conn.execute("UPDATE device SET last_seen = ? WHERE id IN (SELECT value FROM json_each(?))", [at, json.dumps(devices)])


def set_device(db: Database, device_id: str, **values: object) -> None:
    db["device"].update(device_id, values)


def add_trail(db: Database, at: str, who: str, act: str, subject: str, before: str | None, after: str | None) -> None:
    db["trail"].insert({"at": at, "who": who, "act": act, "subject": subject, "before": before, "after": after})


def trail(db: Database, subjects: list[str] | None, limit: int) -> list[dict]:
    """Newest first; of some subjects, which go in as JSON so that there may be thousands, or of all."""
    if subjects is None:
        return rows(db, "SELECT * FROM trail ORDER BY id DESC LIMIT ?", [limit])
    return rows(db, "SELECT * FROM trail WHERE subject IN (SELECT value FROM json_each(?)) ORDER BY id DESC LIMIT ?", [json.dumps(subjects), limit])
