"""How far each install has counted is kept beside it and equals what its log says, whatever came and in whatever order."""

import random
import shutil
from datetime import datetime, timezone

from tests.conftest import closed
from webapp.database import open_estate
from webapp.survey import service, store

from .conftest import batch, record

NOON = datetime(2026, 11, 23, 18, 0, tzinfo=timezone.utc)
SCAN = "SELECT install, max(seq), count(DISTINCT seq) FROM record WHERE install <> '' AND seq IS NOT NULL GROUP BY install"
INSTALLS = [f"0193aaaa-0000-7000-8000-00000000000{i}" for i in range(1, 5)] + ["otro\u00f1", "con\x00cero"]


def scanned(db) -> dict:
    return {install: (high, count) for install, high, count in db.conn.execute(SCAN)}


def agree(db) -> dict:
    found = scanned(db)
    assert store.sequences(db, [*INSTALLS, "nadie"]) == {name: found[name] for name in INSTALLS if name in found}
    for phone in store.installs(db):
        high, count = found.get(phone["id"], (0, 0))
        assert (phone["seq_high"], phone["seq_count"]) == (high, count)
    return found


def test_the_count_equals_the_log_whatever_comes(field):
    """Kept, held, already there, same id with other bytes, late, twice under two ids, without a number, from several phones."""
    rng, sent, made = random.Random(7), [], 0
    for _ in range(120):
        install, rows = rng.choice(INSTALLS[:4]), []
        for _ in range(rng.randint(1, 6)):
            kind = rng.random()
            if sent and kind < 0.2:
                rows.append(rng.choice(sent))  # again
            elif sent and kind < 0.3:
                rows.append({**rng.choice(sent), "brix_raw_deg": 20.0 + rng.random()})  # the same id, other bytes
            else:
                made += 1
                rows.append(record(made, install=install, seq=rng.choice([made, rng.randint(1, made), -made, None]), plot=rng.choice(["VS-04", "LA-07", "NO-99"]), **({"brix_raw_deg": 90.0} if kind > 0.9 else {})))
                sent.append(rows[-1])
        reply = service.receive(field, batch(*rows, schema=rng.choice([1, 1, 1, 99])), "tel-1", NOON)
        found = agree(field)
        assert (reply["seq_high"], reply["seq_count"]) == found.get(rows[-1]["install"], (0, 0))
    states = {state for (state,) in field.conn.execute("SELECT DISTINCT state FROM record")}
    assert states == {"kept", "held"} and field.conn.execute("SELECT count(*) FROM conflict").fetchone()[0] > 0 and len(agree(field)) == 4


def test_a_batch_of_several_installs_and_odd_names_counts_each(field):
    rows = [record(i + 1, install=INSTALLS[i % len(INSTALLS)], seq=i // len(INSTALLS) + 1) for i in range(24)]
    assert service.receive(field, batch(*rows), "tel-1", NOON)["seq_count"] == 4
    assert service.receive(field, batch(*rows[:7]), "tel-1", NOON)["seq_count"] == 4
    assert agree(field)[INSTALLS[0]] == (4, 4)


def test_a_file_from_before_is_counted_once_and_a_copy_goes_on_from_its_own(field, estate_path, tmp_path):
    service.receive(field, batch(*(record(i, seq=i) for i in (1, 2, 5))), "tel-1", NOON)
    field.conn.execute("ALTER TABLE install DROP COLUMN seq_high")
    field.conn.execute("ALTER TABLE install DROP COLUMN seq_count")
    field.conn.execute("DELETE FROM _sqlite_migrations WHERE name = 'm0017_sequences'")
    field.conn.commit()
    closed(field)
    db = open_estate(estate_path)
    assert agree(db)[INSTALLS[0]] == (5, 3)
    closed(db)
    kept = shutil.copy(estate_path, tmp_path / "backup.db")
    db = open_estate(estate_path)
    assert service.receive(db, batch(record(6, seq=6), record(7, seq=3)), "tel-1", NOON)["seq_count"] == 5
    restored = open_estate(kept)
    assert agree(restored)[INSTALLS[0]] == (5, 3)
    again = service.receive(restored, batch(*(record(i, seq=s) for i, s in ((5, 5), (6, 6), (7, 3)))), "tel-1", NOON)
    assert (again["seq_high"], again["seq_count"]) == (6, 5) and [r["status"] for r in again["results"]] == ["already", "kept", "kept"] and agree(restored)
    db.conn.close(), restored.conn.close()


def test_a_copy_cut_back_to_a_past_day_counts_what_it_has_left(field):
    service.receive(field, batch(record(1, seq=1, taken_at="2026-11-10T09:00:00-06:00"), record(2, seq=2)), "tel-1", NOON)
    store.drop_after(field, "2026-11-15T00:00:00.000Z")
    assert agree(field) == {INSTALLS[0]: (1, 1)}


def test_a_long_log_is_not_read_again_with_every_batch(field):
    """The statement asks for rows by their key; nothing of it walks the log."""
    service.receive(field, batch(*(record(i, seq=i) for i in range(1, 40))), "tel-1", NOON)
    asked: list[str] = []
    field.conn.set_trace_callback(asked.append)
    service.receive(field, batch(record(40, seq=40)), "tel-1", NOON)
    field.conn.set_trace_callback(None)
    assert asked and not [one for one in asked if "FROM record" in one and "install" in one], "a new number needs no look at the old ones"
    assert agree(field)[INSTALLS[0]] == (40, 40)
