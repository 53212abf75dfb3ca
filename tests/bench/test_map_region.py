"""The made-up region of the map's bench is land as the office takes it, and the map answers for it; at five thousand plots: ``pinario bench map``."""

from __future__ import annotations

import json

from webapp import jobs
from webapp.bench import map_region, page_times
from webapp.database import atomic, open_estate
from webapp.land import service as land
from webapp.pages import resting


def test_a_small_region_is_drawn_whole(tmp_path):
    db = map_region.build(tmp_path / "region.db", 40)
    outlines = land.outlines(db)
    assert len(outlines) == 40 and not land.waiting(db) and all(len(g["coordinates"][0]) == 21 for g in outlines.values())
    db.conn.close()
    client = page_times.signed_in(str(tmp_path / "region.db"))
    for layer in ("share", "mass"):
        body = client.get(f"/map?layer={layer}").get_data(as_text=True)
        assert "nan" not in body and "</html>" in body
    assert [client.get(page).status_code for page in ("/estate", "/settings")] == [200, 200], "its answers are whole"
    data = client.get("/map/plots.bin").get_data()
    head = json.loads(data[4: 4 + int.from_bytes(data[:4], "little")])
    assert len(head["codes"]) == 40 and len(head["weeks"]) == 26


def test_no_page_reckons_a_large_estate_for_the_first_time(tmp_path, monkeypatch):
    """Without answers yet a page would keep somebody for minutes: it says so, the worker is asked, and settings open without what data say."""
    map_region.build(tmp_path / "region.db", 8).conn.close()
    db = open_estate(tmp_path / "region.db")
    with atomic(db):
        db.execute("DELETE FROM answer")
    client = page_times.signed_in(str(tmp_path / "region.db"))
    monkeypatch.setattr(resting, "MOST_AT_ONCE", 7)
    for page in ("/today", "/estate", "/map", "/ripeness", "/visits", "/track", "/plots/R0-0000"):
        reply = client.get(page, headers={"Accept": "text/html"})
        assert reply.status_code == 503 and reply.headers["Retry-After"] == "60" and "todavía se está calculando" in reply.get_data(as_text=True), page
    assert client.get("/settings").status_code == client.get("/land").status_code == 200
    assert len(jobs.pending(db, "estimates")) == 1 and not db.conn.execute("SELECT count(*) FROM answer").fetchone()[0]
    db.conn.close()
