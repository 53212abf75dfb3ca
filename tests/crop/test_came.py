"""A plot's tonnes as said and as they came over the scale: the track record's own pairs where it was cut whole, parts told as parts."""

import re
import shutil

import pytest

from webapp.crop import came_service, tonnes_service, track_service
from webapp.database import open_estate
from webapp.land import service as land
from webapp.survey import service as survey

PART = "VS-04"


@pytest.fixture(scope="module")
def replayed(demo_made, tmp_path_factory):
    """A copy of the demo in which three past days were said again."""
    path = shutil.copy(demo_made, tmp_path_factory.mktemp("came") / "demo.db")
    db = open_estate(path)
    track_service.replay(db, count=3)
    yield path, db
    db.conn.close()


def test_a_plot_cut_whole_shows_the_track_records_own_pairs(replayed):
    _, db = replayed
    rows = [row for row in tonnes_service.record(tonnes_service.held(db))["plots"]]
    assert sum(bool(row["said"]) for row in rows) > 3
    for row in rows:
        found = came_service.of_plot(db, row["plot"])
        cut = found["cuts"][0]
        assert found["whole"] and cut["whole"] and cut["came_t"] == pytest.approx(row["came_t"]) and found["n"] == len(cut["said"]) == len(row["said"])
        for one in cut["said"]:
            told = row["said"][str(one["weeks"])]
            assert (one["said_t"], one["low80_t"], one["high80_t"]) == pytest.approx((told["said_t"], told["low80_t"], told["high80_t"])) and one["inside"] == told["inside"]


def test_passes_are_parts_and_not_judged(replayed):
    _, db = replayed
    found = came_service.of_plot(db, PART)
    loads = survey.loads(db)
    mine = loads[loads["plot"] == PART]
    assert not found["whole"] and found["n"] == 0 and all(one["inside"] is None for cut in found["cuts"] for one in cut["said"])
    assert sum(cut["came_t"] for cut in found["cuts"]) == pytest.approx(mine["net_kg"].fillna(0).sum() / 1000) and sum(cut["trucks"] for cut in found["cuts"]) == len(mine)
    assert any(cut["said"] for cut in found["cuts"]) and all(one["share"] < 1 for cut in found["cuts"] for one in cut["said"])
    assert [cut["began"] for cut in found["cuts"]] == sorted((cut["began"] for cut in found["cuts"]), reverse=True)
    uncut = next(code for code in land.plots(db).index if code not in set(loads["plot"]))
    assert came_service.of_plot(db, uncut) is None


def test_the_page_shows_both_and_that_they_are_too_few(replayed):
    from webapp import create_app
    from webapp.commands.seeding import SIGN_INS

    path, db = replayed
    client = create_app(path, testing=True).test_client()
    client.post("/sign-in", data={"login": "jefa", "password": next(p for _, name, p, _ in SIGN_INS if name == "jefa")})
    whole = next(row for row in tonnes_service.record(tonnes_service.held(db))["plots"] if row["said"])
    body = client.get(f"/plots/{whole['plot']}?lang=es").get_data(as_text=True)
    part = body[body.index('id="came"'):]
    for one in whole["said"].values():
        assert f"{one['low80_t']:,.0f} – {one['high80_t']:,.0f}" in part and f"{one['said_t']:,.0f}" in part
    assert f"{whole['came_t']:,.0f} t" in part and re.search(r"muy poc[ao]s? para juzgar", part)
    body = client.get(f"/plots/{PART}?lang=en").get_data(as_text=True)
    assert "Each cut took a part" in body and "Nothing to judge in this plot" in body
