"""People, sessions, phones and the trail: what other rooms and the pages call."""

from __future__ import annotations

import hmac
import json
import secrets
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Iterable
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from .. import clock
from ..database import Database, atomic
from ..problems import Problem
from . import devices as phones
from . import passwords, store
from .devices import Device
from .permissions import ROLES

IDLE, LONGEST = timedelta(hours=12), timedelta(days=30)
LINK_LIFE = timedelta(hours=24)
WINDOW, TRIES = timedelta(minutes=10), 10
SEEN_EVERY = timedelta(minutes=5)


@dataclass(frozen=True)
class Person:
    id: int
    name: str
    login: str
    roles: tuple[str, ...]
    language: str
    active: bool


def setup(db: Database, name: str, time_zone: str, frozen_today: str | None = None) -> None:
    """Make the estate's own row. Problems: ``estate_name``, ``time_zone_unknown``, ``estate_there``."""
    if not name.strip():
        raise Problem("estate_name", where="name")
    try:
        ZoneInfo(time_zone)
    except (ZoneInfoNotFoundError, ValueError):
        raise Problem("time_zone_unknown", where="time_zone", value=time_zone) from None
    if frozen_today:
        date.fromisoformat(frozen_today)
    with atomic(db):
        if db["estate"].count:
            raise Problem("estate_there", status=409)
        db["estate"].insert({"id": 1, "name": name.strip(), "time_zone": time_zone, "frozen_today": frozen_today,
                             "created_at": _now(), "store_epoch": secrets.token_hex(8)})


def _now(offset: timedelta = timedelta()) -> str:
    """Real UTC time as sortable text (sessions and codes run on real time, never on a frozen day)."""
    return (clock.utc_now() + offset).isoformat(timespec="microseconds")


def note(db: Database, who: str, act: str, subject: str, before: Any = None, after: Any = None) -> None:
    """One line of the trail, inside the caller's atomic block."""
    text = [None if v is None else v if isinstance(v, str) else json.dumps(v, ensure_ascii=False, sort_keys=True, default=str) for v in (before, after)]
    store.add_trail(db, clock.of(db).stamp(), who, act, subject, *text)


def trail(db: Database, subject: str | Iterable[str] | None = None, limit: int = 200) -> list[dict]:
    """Who did what, newest first: of one subject, of several, or (None) of all."""
    return store.trail(db, [subject] if isinstance(subject, str) else None if subject is None else list(subject), limit)


# --- people -----------------------------------------------------------------------------------------

def people(db: Database) -> list[dict]:
    return store.persons(db)


def add_person(db: Database, name: str, login: str, password: str, roles: Iterable[str], by: str) -> int:
    """A new person; returns the id. Problems: ``person_name``, ``login_taken``, ``role_unknown``, ``password_…``."""
    name, login, roles = name.strip()[:120], login.strip().lower()[:60], tuple(roles)
    if not name or not login:
        raise Problem("person_name", where="name" if not name else "login")
    _known(roles)
    hashed = passwords.hashed(passwords.accepted(password, login))
    with atomic(db):
        if store.person(db, "login", login):
            raise Problem("login_taken", where=login, status=409)
        person = store.add_person(db, name, login, hashed, roles, _now())
        note(db, by, "add_person", login, after=list(roles))
    return person


def _known(roles: tuple[str, ...]) -> None:
    unknown = [role for role in roles if role not in ROLES]
    if unknown or not roles:
        raise Problem("role_unknown", where=", ".join(unknown) or "roles", roles=", ".join(ROLES))


def _person(db: Database, person: int) -> dict:
    found = store.person(db, "id", person)
    if found is None:
        raise Problem("person_unknown", where=str(person), status=404)
    return found


def _keeps_a_head(db: Database, person: int, roles: tuple[str, ...], active: bool) -> None:
    """Somebody must be able to manage people, or the estate locks itself out."""
    others = any("head" in p["roles"] and p["active"] for p in store.persons(db) if p["id"] != person)
    if not others and not ("head" in roles and active):
        raise Problem("last_head", where=str(person), status=409)


def set_roles(db: Database, person: int, roles: Iterable[str], by: str) -> None:
    roles = tuple(roles)
    _known(roles)
    with atomic(db):
        before = _person(db, person)
        _keeps_a_head(db, person, roles, before["active"])
        if tuple(sorted(roles)) != tuple(sorted(before["roles"])):
            store.set_person(db, person, roles=json.dumps(sorted(roles)))
            note(db, by, "set_roles", before["login"], before=list(before["roles"]), after=sorted(roles))


def set_active(db: Database, person: int, active: bool, by: str) -> None:
    with atomic(db):
        before = _person(db, person)
        _keeps_a_head(db, person, before["roles"], active)
        if active != before["active"]:
            store.set_person(db, person, active=int(active))
            note(db, by, "set_active", before["login"], before=before["active"], after=active)
        if not active:
            store.drop_sessions(db, person_id=person)


def set_password(db: Database, person: int, password: str, by: str) -> None:
    before = _person(db, person)
    hashed = passwords.hashed(passwords.accepted(password, before["login"]))
    with atomic(db):
        store.set_person(db, person, password_hash=hashed)
        store.drop_sessions(db, person_id=person)
        note(db, by, "set_password", before["login"])


def set_language(db: Database, person: int, language: str) -> None:
    with atomic(db):
        store.set_person(db, person, language=language)


# --- sessions ---------------------------------------------------------------------------------------

def _limited(db: Database, act: str, subjects: tuple[str, ...]) -> None:
    since = _now(-WINDOW)
    if any(store.attempts(db, act, subject, since) >= TRIES for subject in subjects):
        raise Problem("too_many_tries", where=act, status=429, wait_s=int(WINDOW.total_seconds()), minutes=int(WINDOW.total_seconds() / 60))


def _failed(db: Database, act: str, subjects: tuple[str, ...]) -> None:
    with atomic(db):
        for subject in subjects:
            store.add_attempt(db, act, subject, _now(), _now(-10 * WINDOW))


def sign_in(db: Database, login: str, password: str, address: str) -> str:
    """A new session's token. Problems: ``sign_in_refused`` (401; never says which part was wrong), ``too_many_tries``."""
    login = login.strip().lower()[:60]
    subjects = (f"login:{login}", f"address:{address}")
    _limited(db, "sign_in", subjects)
    person = store.person(db, "login", login)
    right = passwords.matches(person["password_hash"] if person else passwords.decoy(), password[: passwords.LONGEST])
    if not (person and right and person["active"]):
        _failed(db, "sign_in", subjects)
        raise Problem("sign_in_refused", where="login", status=401)
    token = passwords.new_secret()
    with atomic(db):
        store.clear_attempts(db, "sign_in", subjects[0])
        store.add_session(db, passwords.digest(token), person["id"], _now(), _now(LONGEST))
    return token


def sign_out(db: Database, token: str) -> None:
    with atomic(db):
        store.drop_sessions(db, token_hash=passwords.digest(token))


def person_for(db: Database, token: str) -> Person | None:
    """The person of a live session: used within 12 hours, at most 30 days old, person active."""
    found = store.session(db, passwords.digest(token))
    if not found or found["expires_at"] <= _now() or found["last_seen"] <= _now(-IDLE):
        return None
    row = store.person(db, "id", found["person"])
    if row is None or not row["active"]:
        return None
    if found["last_seen"] < _now(-SEEN_EVERY):
        with atomic(db):
            store.touch_session(db, found["token_hash"], _now())
    return Person(row["id"], row["name"], row["login"], row["roles"], row["language"], True)


def owner_link(db: Database) -> str:
    """A one-time token for the first person of an estate; refused once there is anybody (``owner_there``)."""
    token = passwords.new_secret()
    with atomic(db):
        if store.persons(db):
            raise Problem("owner_there", status=409)
        store.add_owner_link(db, passwords.digest(token), _now(), _now(LINK_LIFE))
    return token


def claim_owner(db: Database, token: str, name: str, login: str, password: str) -> Person:
    """Use the owner link: head and keeper of the estate. Problem ``owner_link_spent``."""
    with atomic(db):
        if store.persons(db) or not store.use_owner_link(db, passwords.digest(token), _now()):
            raise Problem("owner_link_spent", status=403)
        person = add_person(db, name, login, password, ("head", "keeper"), by=name)
    row = _person(db, person)
    return Person(row["id"], row["name"], row["login"], row["roles"], row["language"], True)


# --- phones -----------------------------------------------------------------------------------------

def new_device(db: Database, name: str, crew: str, by: str) -> tuple[str, str]:
    """A phone to be and its one-time code, which is shown once and kept only hashed."""
    if not name.strip():
        raise Problem("device_name", where="name")
    device, code = phones.new_id(), phones.new_code()
    with atomic(db):
        store.add_device(db, device, name.strip()[:80], crew.strip()[:80], by, _now())
        store.add_code(db, passwords.digest(code), device, _now(timedelta(minutes=phones.CODE_MINUTES)))
        note(db, by, "new_device", name.strip()[:80])
    return device, code


def new_code(db: Database, device: str, by: str) -> tuple[str, str]:
    """Another one-time code for a phone that still waits for its first; the codes before it are void. Returns (name, code).

    Problems: ``device_missing`` (404); ``device_not_waiting`` (409) once it is enrolled or revoked: its key is then made
    with a new entry, so that the trail shows two keys as two.
    """
    code = phones.new_code()
    with atomic(db):
        row = store.device(db, device)
        if row is None:
            raise Problem("device_missing", where=device, status=404)
        if row["enrolled_at"] or row["revoked_at"]:
            raise Problem("device_not_waiting", where=row["name"], status=409)
        store.drop_codes(db, device)
        store.add_code(db, passwords.digest(code), device, _now(timedelta(minutes=phones.CODE_MINUTES)))
        note(db, by, "new_code", row["name"])
    return row["name"], code


def enrol(db: Database, code: str, address: str) -> tuple[str, str]:
    """Turn a code into a phone's cookie. Problems: ``enrol_code_spent`` (403), ``too_many_tries``."""
    _limited(db, "enrol", (f"address:{address}",))
    secret = passwords.new_secret()
    with atomic(db):
        device = store.use_code(db, passwords.digest(phones.tidy(code)), _now())
        if device is not None:
            store.set_device(db, device, secret_hash=passwords.digest(secret), enrolled_at=_now(), last_seen=_now())
            note(db, "–", "enrol", store.device(db, device)["name"])
    if device is None:
        _failed(db, "enrol", (f"address:{address}",))
        raise Problem("enrol_code_spent", where="code", status=403)
    return device, f"{device}.{secret}"


def device_for(db: Database, cookie: str, touch: bool = True) -> Device | None:
    """The enrolled, unrevoked phone a cookie belongs to; ``touch`` notes that it was seen (see ``phones_seen``)."""
    parts = phones.split_cookie(cookie)
    row = store.device(db, parts[0]) if parts else None
    if row is None or row["revoked_at"] or not row["secret_hash"] or not hmac.compare_digest(row["secret_hash"], passwords.digest(parts[1])):
        return None
    device = Device(row["id"], row["name"], row["crew"], seen_at=row["last_seen"] or "")
    if touch and seen_long_ago(device):
        with atomic(db):
            phones_seen(db, [device.id])
    return device


def seen_long_ago(device: Device) -> bool:
    return device.seen_at < _now(-SEEN_EVERY)


def phones_seen(db: Database, devices: list[str]) -> None:
    """Note that phones were here, inside the caller's atomic block: who writes records anyway needs no second wait for the disk."""
    if devices:
        store.seen(db, devices, _now())


def devices(db: Database) -> list[dict]:
    return store.devices(db)


def revoke_device(db: Database, device: str, by: str) -> None:
    with atomic(db):
        row = store.device(db, device)
        if row is None:
            raise Problem("device_missing", where=device, status=404)
        if not row["revoked_at"]:
            store.set_device(db, device, revoked_at=_now(), secret_hash=None)
            store.drop_codes(db, device)  # a code still in somebody's hand must not wake a phone that was revoked
            note(db, by, "revoke_device", row["name"])
