"""Laws of the log: the order, repetition and splitting of batches leave no trace in it, nor does the day the land came."""

from __future__ import annotations

import itertools
import json
import tempfile
import uuid
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from webapp.database import open_estate
from webapp.land import service as land
from webapp.survey import chain, service

NOON = datetime(2026, 11, 23, 18, 0, tzinfo=timezone.utc)
SQUARE = [[-103.0, 20.6], [-102.997, 20.6], [-102.997, 20.603], [-103.0, 20.603], [-103.0, 20.6]]
LAND = json.dumps({"type": "FeatureCollection", "features": [
    {"type": "Feature", "properties": {"code": code, "name": name, "parcel": "P1", "planted_on": "2020-07-01", "registered_plants": 3000},
     "geometry": {"type": "Polygon", "coordinates": [[[x + dx, y] for x, y in SQUARE]]}} for code, name, dx in (("VS-04", "El Tapia", 0), ("LA-07", "Encinal", 0.02))]}).encode()
FEW = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def id_of(number: int) -> str:
    return str(uuid.UUID(int=(0x0193 << 112) | (7 << 76) | (2 << 62) | number))


@st.composite
def logs(draw):
    """Records of a few phones: good, faulty, correcting, voiding; some name records that come later or never."""
    count = draw(st.integers(1, 14))
    records = []
    for number in range(1, count + 1):
        kind = draw(st.sampled_from(["reading", "reading", "void", "load", "age_check", "dance", "round"]))
        record = {"id": id_of(number), "install": f"tel-{draw(st.integers(1, 2))}", "seq": number, "round": draw(st.sampled_from([None, id_of(1)])), "kind": kind,
                  "plot": draw(st.sampled_from(["VS-04", "LA-07", "VS-4", "ZZ", None])), "confirmed": draw(st.booleans()),
                  "taken_at": (NOON - timedelta(days=draw(st.sampled_from([1, 1, 1, 9, 4000, -40])), minutes=draw(st.integers(0, 3)))).isoformat(),
                  "replaces": draw(st.sampled_from([None, None, *map(id_of, range(1, count + 3))])) if kind != "void" else id_of(draw(st.integers(1, count + 2)))}
        own = {"reading": {"brix_raw_deg": draw(st.sampled_from([24.0, 25.5, 260, -2, "24,5", None])), "juice_temp_c": 22.5}, "load": {"plants": draw(st.sampled_from([400, 3500])), "net_kg": 20000},
               "age_check": {"planting_year": draw(st.sampled_from([2020, 2015, 1985]))}}
        records.append({**record, **own.get(kind, {})})
    return records


def state(db) -> dict:
    """The log apart from when things arrived: what waits and why, every record's fate, what counts, what is doubted."""
    waiting = sorted((h["id"], h["code"], json.dumps(h["shown"], sort_keys=True, default=str), json.dumps(h["proposal"])) for h in service.held(db))
    tables = {kind: service.table(db, kind).drop(columns="install").to_csv() for kind in ("reading", "round", "load", "age_check")}
    fates = sorted(db.conn.execute("SELECT id, state, kind, plot, taken_fixed, fields, bytes FROM record").fetchall())
    return {"fates": fates, "waiting": waiting, "tables": tables, "doubts": sorted((d["code"], d["record"]) for d in service.doubts(db))}


def estate(batches, land_after: int = 0) -> dict:
    """Send batches to a fresh estate whose land comes after so many of them."""
    with tempfile.TemporaryDirectory() as folder:
        db = open_estate(Path(folder) / "estate.db", create=True)
        db["estate"].insert({"id": 1, "name": "Ley", "time_zone": "America/Mexico_City", "frozen_today": "2026-11-23", "created_at": "2026-11-23T12:00:00Z", "store_epoch": "ley"})
        for number, records in enumerate([*batches, None]):
            if number == min(land_after, len(batches)):
                land.load(db, land.read(LAND, "t.geojson"), "Ana")
            if records is not None:
                reply = service.receive(db, json.dumps({"schema": 1, "sent_at": NOON.isoformat(), "records": records}).encode(), "tel", NOON)
                assert len(reply["results"]) == len(records)
        try:
            return state(db)
        finally:
            db.conn.close()


@given(logs(), st.data())
@FEW
def test_any_order_repetition_and_splitting_gives_the_same_log(records, data):
    shuffled = data.draw(st.permutations(records))
    cuts = sorted(data.draw(st.lists(st.integers(0, len(records)), max_size=4)))
    parts = [shuffled[a:b] for a, b in itertools.pairwise([0, *cuts, len(records)])]
    again = data.draw(st.lists(st.sampled_from(parts), max_size=2))
    assert estate([*parts, *again]) == estate([records])


@given(logs(), st.integers(0, 2))
@FEW
def test_it_does_not_matter_when_the_land_comes(records, after):
    half = len(records) // 2
    assert estate([records[:half], records[half:]], land_after=after) == estate([records])


@given(logs())
@FEW
def test_stored_equals_sent(records):
    fates = estate([records])["fates"]
    assert {row[0]: json.loads(row[6]) for row in fates} == {r["id"]: r for r in records}


ROWS = st.lists(st.tuples(st.integers(0, 8), st.sampled_from(["reading", "void"]), st.one_of(st.none(), st.integers(0, 8)), st.sampled_from(["a", "b"])), max_size=9, unique_by=lambda r: r[0]).map(
    lambda rows: [{"id": str(i), "kind": kind, "replaces": None if to is None else str(to), "taken_fixed": at} for i, kind, to, at in rows])


@given(ROWS, st.randoms(use_true_random=False))
def test_which_records_count_does_not_depend_on_order(rows, luck):
    mixed = list(rows)
    luck.shuffle(mixed)
    living = chain.in_force(rows)
    assert chain.in_force(mixed) == living and living <= {r["id"] for r in rows if r["kind"] != "void"}


@given(ROWS)
def test_a_void_and_a_void_of_it_change_nothing(rows):
    for target in sorted(r["id"] for r in rows if r["kind"] != "void"):
        void = {"id": "v", "kind": "void", "replaces": target, "taken_fixed": "c"}
        assert target not in chain.in_force([*rows, void])
        assert chain.in_force([*rows, void, {"id": "w", "kind": "void", "replaces": "v", "taken_fixed": "d"}]) == chain.in_force(rows)


@pytest.mark.parametrize("depth", [1, 2, 2001])
def test_a_long_chain_of_voids(depth):
    rows = [{"id": "0", "kind": "reading", "replaces": None, "taken_fixed": "a"}, *({"id": str(n), "kind": "void", "replaces": str(n - 1), "taken_fixed": "a"} for n in range(1, depth + 1))]
    assert chain.in_force(rows) == (set() if depth % 2 else {"0"})
