"""SQL of the append-only log, what is held, doubts, installs and photos."""

from __future__ import annotations

import json
from functools import lru_cache
from itertools import chain
from typing import Any, Callable, Iterable

from ..database import Database, rows
from . import record as rec

_COLUMNS = rec.Row._fields
_CHUNKS = (256, 64, 16, 4, 1)
"""Rows in one statement. Python lets other threads in after every statement, and a busy server then waits to be let back."""


def digests(db: Database, ids: list[str]) -> dict[str, str]:
    """Of those that are stored. They go in as JSON, so that it is one statement however many they are, which SQLite reads once and not with every group."""
    return dict(db.conn.execute("SELECT id, digest FROM record WHERE id IN (SELECT value FROM json_each(?))", [json.dumps(ids)]).fetchall())


def add(db: Database, records: Iterable[tuple]) -> None:
    """Rows in the order of ``record.Row``."""
    _insert(db, f"INSERT INTO record ({', '.join(_COLUMNS)}) VALUES ", list(records))


def _insert(db: Database, head: str, found: list[tuple], tail: str = "") -> None:
    """Rows by as few statements as there are chunks in them."""
    at = 0
    for n in _CHUNKS:
        while len(found) - at >= n:
            db.conn.execute(_statement(head, len(found[at]), n, tail), list(chain.from_iterable(found[at: at + n])))
            at += n


@lru_cache(maxsize=None)
def _statement(head: str, width: int, n: int, tail: str) -> str:
    return head + ", ".join([f"({', '.join('?' * width)})"] * n) + tail


def add_held(db: Database, held: Iterable[dict]) -> None:
    db.conn.executemany("INSERT INTO held (record, code, params, proposal, at) VALUES (?, ?, ?, ?, ?)",
                        [[h["record"], h["code"], json.dumps(h["params"], ensure_ascii=False, default=str),
                          json.dumps(h["proposal"], ensure_ascii=False) if h["proposal"] else None, h["at"]] for h in held])


def add_conflict(db: Database, record: str, data: bytes, digest: str, at: str, sender: str) -> None:
    if not db.conn.execute("SELECT 1 FROM conflict WHERE record = ? AND digest = ?", [record, digest]).fetchone():
        db["conflict"].insert({"record": record, "bytes": data, "digest": digest, "received_at": at, "sender": sender})


def conflicts(db: Database) -> list[dict]:
    return rows(db, "SELECT * FROM conflict WHERE settled_at IS NULL ORDER BY id")


def settle_conflicts(db: Database, record: str, at: str, by: str) -> None:
    db.execute("UPDATE conflict SET settled_at = ?, settled_by = ? WHERE record = ? AND settled_at IS NULL", [at, by, record])


def touch_installs(db: Database, found: list[tuple[str, str, str, str, float | None, int | None, int]]) -> None:
    """(install, sender, first and last time, its clock's error in s, highest seq and how many different): an install known before keeps its first time and sender."""
    _insert(db, "INSERT INTO install (id, sender, first_at, last_at, clock_error_s, seq_high, seq_count) VALUES ", found,
            " ON CONFLICT (id) DO UPDATE SET last_at = excluded.last_at, clock_error_s = coalesce(excluded.clock_error_s, clock_error_s), seq_high = excluded.seq_high, seq_count = excluded.seq_count")


def sequences(db: Database, installs: list[str]) -> dict[str, tuple[int, int]]:
    """Install → (highest seq, how many different seq) received from it, as kept with every write (``taking_service.write``); none for one without numbered records."""
    marks = next((n for n in reversed(_CHUNKS) if n >= len(installs)), len(installs))  # few different statements; not as JSON, in which SQLite ends a text at a zero byte
    return {install: (high, count) for install, high, count in db.conn.execute(
        f"SELECT id, seq_high, seq_count FROM install WHERE id IN ({', '.join('?' * marks)}) AND seq_count > 0", [*installs, *[None] * (marks - len(installs))])}


def how_many_there(db: Database, install: str, numbers: list[int]) -> int:
    """How many of these different numbers came from an install before."""
    return db.conn.execute("SELECT count(DISTINCT seq) FROM record WHERE install = ? AND seq IN (SELECT value FROM json_each(?))", [install, json.dumps(numbers)]).fetchone()[0]


def installs(db: Database) -> list[dict]:
    return rows(db, """SELECT i.id, i.sender, i.first_at, i.last_at, i.clock_error_s, coalesce(i.seq_high, 0) AS seq_high, i.seq_count,
        coalesce((SELECT min(r.seq) FROM record r WHERE r.install = i.id), 1) AS seq_low FROM install i ORDER BY i.last_at DESC""")


def holes(db: Database, install: str) -> list[tuple[int, int]]:
    """Runs of ``seq`` (first, last) that never came between the lowest and the highest that did, at most twenty."""
    found = rows(db, """SELECT before + 1 AS first, seq - 1 AS last FROM (SELECT seq, lag(seq) OVER (ORDER BY seq) AS before FROM
        (SELECT DISTINCT seq FROM record WHERE install = ? AND seq IS NOT NULL)) WHERE seq > before + 1 ORDER BY first LIMIT 20""", [install])
    return [(row["first"], row["last"]) for row in found]


def kept_of(db: Database, kind: str) -> list[dict]:
    """Kept records of one kind with the bytes they came in, by time."""
    return rows(db, "SELECT id, bytes FROM record WHERE kind = ? AND state = 'kept' ORDER BY taken_fixed, id", [kind])


def kept_after(db: Database, n: int) -> list[tuple]:
    """(n, id, install, round, kind, plot, taken_fixed, confirmed, replaces, fields, schema) of kept records numbered above ``n``."""
    return db.conn.execute("SELECT n, id, install, round, kind, plot, taken_fixed, confirmed, replaces, fields, schema FROM record WHERE n > ? AND state = 'kept' ORDER BY n", [n]).fetchall()


def record(db: Database, record_id: str) -> dict | None:
    found = rows(db, "SELECT * FROM record WHERE id = ?", [record_id])
    return found[0] if found else None


def of_plot(db: Database, plot: str, kinds: tuple[str, ...]) -> list[dict]:
    """Records of a plot whatever their state, by time; ``voids`` counts the voids that name each."""
    return rows(db, f"""SELECT id, kind, round, state, replaces, taken_at, taken_fixed, fields, (SELECT count(*) FROM record v WHERE v.replaces = r.id AND v.kind = 'void' AND v.state = 'kept') AS voids
        FROM record r WHERE plot = ? AND kind IN ({', '.join('?' * len(kinds))}) ORDER BY taken_fixed, id""", [plot, *kinds])


def names_of_plot(db: Database, plot: str) -> list[str]:
    """Identifiers of a plot's records and of their rounds, and of what its records replaced."""
    return [row[0] for row in db.conn.execute("SELECT id FROM record WHERE plot = :plot UNION SELECT round FROM record WHERE plot = :plot AND round IS NOT NULL UNION SELECT replaces FROM record WHERE plot = :plot AND replaces IS NOT NULL", {"plot": plot})]


def kinds_of(db: Database, names: list[str]) -> dict[str, tuple[str, str | None]]:
    return {name: (kind, plot) for name, kind, plot in db.conn.execute("SELECT id, kind, plot FROM record WHERE id IN (SELECT value FROM json_each(?))", [json.dumps(names)])}


def answers_to(db: Database, record_id: str) -> list[dict]:
    return rows(db, "SELECT * FROM record WHERE replaces = ? ORDER BY n", [record_id])


def written_for(db: Database, source: str) -> list[dict]:
    return rows(db, "SELECT * FROM record WHERE source = ? ORDER BY n", [source])


def kept_around(db: Database, install: str, first: int, last: int) -> tuple[str | None, str | None]:
    """When a phone noted its last kept record before number ``first`` and its first after ``last`` (UTC text)."""
    found = [db.conn.execute(f"SELECT taken_fixed FROM record WHERE install = ? AND state = 'kept' AND seq {side} ? ORDER BY seq {way} LIMIT 1", [install, limit]).fetchone()
             for side, limit, way in (("<", first, "DESC"), (">", last, "ASC"))]
    return tuple(row[0] if row else None for row in found)


def free(db: Database, record_id: str, r: Any, taken_fixed: str | None) -> None:
    """A held record into use; its bytes and times stay as they came."""
    db.execute("UPDATE record SET state = 'kept', round = ?, kind = ?, plot = ?, taken_at = ?, taken_fixed = ?, lat = ?, lon = ?, accuracy_m = ?, confirmed = ?, replaces = ?, fields = ? WHERE id = ?",
               [r.round, r.kind, r.plot, r.taken_at, taken_fixed, r.lat, r.lon, r.accuracy_m, int(r.confirmed), r.replaces, rec.as_text(r.fields), record_id])


def marked(db: Database, name: str) -> str:
    found = db.conn.execute("SELECT mark FROM survey_mark WHERE name = ?", [name]).fetchone()
    return found[0] if found else ""


def mark(db: Database, name: str, value: str) -> None:
    """What a sweep over the log was last done for, so that it is done again only when that differs."""
    db.execute("INSERT INTO survey_mark (name, mark) VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET mark = excluded.mark", [name, value])


def update(db: Database, record_id: str, **values: Any) -> None:
    names = sorted(values)
    db.execute(f"UPDATE record SET {', '.join(f'{n} = ?' for n in names)} WHERE id = ?", [*(values[n] for n in names), record_id])


def held(db: Database) -> list[dict]:
    return rows(db, """SELECT r.*, h.code, h.params, h.proposal, h.at AS held_at FROM held h JOIN record r ON r.id = h.record
        WHERE h.settled IS NULL ORDER BY r.n""")


def held_one(db: Database, record_id: str) -> dict | None:
    found = rows(db, "SELECT * FROM held WHERE record = ?", [record_id])
    return found[0] if found else None


def settle(db: Database, record_id: str, how: str, at: str, by: str, why: str | None = None) -> None:
    db.execute("UPDATE held SET settled = ?, settled_at = ?, settled_by = ?, why = ? WHERE record = ?", [how, at, by, why, record_id])


def reason(db: Database, record_id: str, code: str, params: dict, proposal: dict | None) -> None:
    db.execute("UPDATE held SET code = ?, params = ?, proposal = ? WHERE record = ?",
               [code, json.dumps(params, ensure_ascii=False, default=str), json.dumps(proposal, ensure_ascii=False) if proposal else None, record_id])


def doubts(db: Database, open_only: bool = True) -> list[dict]:
    found = rows(db, f"SELECT * FROM doubt {'WHERE settled IS NULL' if open_only else ''} ORDER BY id")
    return [{**row, "params": json.loads(row["params"]), "proposal": json.loads(row["proposal"]) if row["proposal"] else None} for row in found]


def add_doubts(db: Database, found: Iterable[dict], at: str) -> None:
    """Doubts not told before; an open one gets its newest words, one left as it is is not raised again; one whose proposal was taken is,
    for then what was taken has been undone."""
    db.conn.executemany("INSERT INTO doubt (code, record, params, proposal, at) VALUES (?, ?, ?, ?, ?) ON CONFLICT (code, record) DO UPDATE "
                        "SET params = excluded.params, proposal = excluded.proposal, settled = NULL, settled_at = NULL, settled_by = NULL "
                        "WHERE settled = 'take' OR settled IS NULL AND (params <> excluded.params OR proposal IS NOT excluded.proposal)",
                        [[d["code"], d["record"], json.dumps(d["params"], ensure_ascii=False, sort_keys=True, default=str),
                          json.dumps(d["proposal"], ensure_ascii=False) if d["proposal"] else None, at] for d in found])


def drop_open_doubts(db: Database, keep: set[tuple[str, str]], looked_for: Callable[[str], bool] = lambda code: True) -> None:
    """Open doubts of the codes looked for that no longer hold (the record was corrected) go away."""
    for row in rows(db, "SELECT id, code, record FROM doubt WHERE settled IS NULL"):
        if looked_for(row["code"]) and (row["code"], row["record"]) not in keep:
            db.execute("DELETE FROM doubt WHERE id = ?", [row["id"]])


def left_as_they_are(db: Database, codes: frozenset[str]) -> set[str]:
    """Records of which somebody has looked at such a doubt and left them."""
    return {row["record"] for row in rows(db, f"SELECT record FROM doubt WHERE code IN ({', '.join('?' * len(codes))}) AND settled = 'leave'", sorted(codes))}


def settle_doubt(db: Database, doubt: int, how: str, at: str, by: str) -> None:
    db["doubt"].update(doubt, {"settled": how, "settled_at": at, "settled_by": by})


def add_photo(db: Database, digest: str, record_id: str, media: str, data: bytes, at: str) -> bool:
    done = db.execute("INSERT OR IGNORE INTO photo (digest, record, media, size, bytes, at) VALUES (?, ?, ?, ?, ?, ?)", [digest, record_id, media, len(data), data, at])
    return done.rowcount == 1


def photo(db: Database, digest: str) -> dict | None:
    found = rows(db, "SELECT media, bytes FROM photo WHERE digest = ?", [digest])
    return found[0] if found else None


def photos_there(db: Database, digests: list[str]) -> set[str]:
    return {row[0] for row in db.conn.execute(f"SELECT digest FROM photo WHERE digest IN ({', '.join('?' * len(digests))})", digests)} if digests else set()


def decide_walk(db: Database, record: str, action: str, plot: str | None, why: str, at: str, by: str) -> None:
    db["walk_decision"].insert({"record": record, "action": action, "plot": plot, "why": why, "at": at, "by": by})


def decided_walks(db: Database) -> dict[str, dict]:
    return {row["record"]: row for row in rows(db, "SELECT * FROM walk_decision")}


def last_number(db: Database) -> int:
    return db.conn.execute("SELECT coalesce((SELECT n FROM record WHERE state = 'kept' ORDER BY n DESC LIMIT 1), 0)").fetchone()[0]


def id_at(db: Database, n: int) -> str | None:
    found = db.conn.execute("SELECT id FROM record WHERE n = ?", [n]).fetchone()
    return found[0] if found else None


def epoch(db: Database) -> str:
    found = db.conn.execute("SELECT store_epoch FROM estate").fetchone()
    return found[0] if found else ""


def freeze(db: Database, day: str) -> None:
    """The estate's today, on a copy."""
    db.execute("UPDATE estate SET frozen_today = ?", [day])


def drop_after(db: Database, instant: str) -> None:
    """Take out of a *copy* what was taken at or after an instant (UTC text); the log of an estate only grows."""
    later = "SELECT id FROM record WHERE taken_fixed >= ?"
    for table in ("held", "walk_decision"):
        db.execute(f"DELETE FROM {table} WHERE record IN ({later})", [instant])
    db.execute("DELETE FROM record WHERE taken_fixed >= ?", [instant])
    db.execute("UPDATE install SET (seq_high, seq_count) = (SELECT max(r.seq), count(DISTINCT r.seq) FROM record r WHERE r.install = install.id)")
