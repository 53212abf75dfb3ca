"""The made-up region of the map's bench is land as the office takes it, and the map answers for it; at five thousand plots: ``pinario bench map``."""

from __future__ import annotations

import json

from webapp.bench import map_region, page_times
from webapp.land import service as land


def test_a_small_region_is_drawn_whole(tmp_path):
    db = map_region.build(tmp_path / "region.db", 40)
    outlines = land.outlines(db)
    assert len(outlines) == 40 and not land.waiting(db) and all(len(g["coordinates"][0]) == 21 for g in outlines.values())
    db.conn.close()
    client = page_times.signed_in(str(tmp_path / "region.db"))
    for layer in ("share", "mass"):
        body = client.get(f"/map?layer={layer}").get_data(as_text=True)
        assert "nan" not in body and "</html>" in body
    data = client.get("/map/plots.bin").get_data()
    head = json.loads(data[4: 4 + int.from_bytes(data[:4], "little")])
    assert len(head["codes"]) == 40 and len(head["weeks"]) == 26
