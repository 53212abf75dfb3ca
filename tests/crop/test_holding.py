"""Sums over plots keep what plots share; the estate's page adds up to the answers it comes from."""

import re

import numpy as np
import pytest

from webapp.crop import holding_service
from webapp.crop import service as crop
from webapp.crop.holding import sums
from webapp.crop.holding_service import ALL
from webapp.land import service as land


def test_a_sum_is_made_draw_by_draw():
    rng = np.random.default_rng(3)
    shared, own = rng.normal(0, 10, (400, 1)), rng.normal(0, 1, (400, 6))
    draws, names = 100 + shared + own, ["a", "b", "a", "a", "b", "a"]
    found = sums(draws, names)
    for name in "ab":
        total = draws[:, [n == name for n in names]].sum(axis=1)
        assert (found[name].value, found[name].low, found[name].high) == pytest.approx((total.mean(), *np.quantile(total, (0.1, 0.9))))
    alone = np.quantile(draws[:, 0], 0.9) - np.quantile(draws[:, 0], 0.1)
    assert found["a"].high - found["a"].low > 3.9 * alone  # four plots that move together: not twice, as if each moved for itself
    order = [5, 2, 0, 1, 4, 3]
    again = sums(draws[:, order], [names[i] for i in order])
    assert again["a"].value == pytest.approx(found["a"].value) and again["b"].high == pytest.approx(found["b"].high)
    assert sums(np.zeros((10, 0)), []) == {}


def test_the_estate_adds_up(demo):
    a = crop.answer(demo)
    ripe, tonnes = crop.basis(demo, a)
    found = holding_service.now(demo, a, ripe, tonnes)
    cells, whole = found["cells"], found["cells"][(ALL, ALL)]
    assert whole["mass_t"].value == pytest.approx(float(a.arrays["mass_total"][0]), rel=1e-4) and whole["ripe_t"].high == pytest.approx(float(a.arrays["ripe_total_hi"][0]), rel=1e-3)
    assert whole["n"] == found["n"] == len(a.meta["plots"])
    for measure in holding_service.MEASURES:
        for parts in ([(y, ALL) for y in found["years"]], [(ALL, z) for z in found["zones"]], [c for c in cells if ALL not in c]):
            assert sum(cells[c][measure].value for c in parts) == pytest.approx(whole[measure].value, rel=1e-5), measure
    assert whole["plants"].value == pytest.approx(float(tonnes.arrays["plants"].sum()), rel=0.02)
    apart = sum(c["mass_t"].high - c["mass_t"].low for name, c in cells.items() if ALL not in name)
    assert whole["mass_t"].high - whole["mass_t"].low < apart
    assert whole["passing_t"].value == pytest.approx(sum(float(a.arrays["tonnes"][a.meta["plots"].index(code), 0]) for code in found["passing"]), rel=1e-4)
    unread = [i for i, code in enumerate(a.meta["plots"]) if not ripe.meta["by_plot"][code]["n_visits"]]  # ripe by their age alone, told apart
    assert whole["unread_ripe_t"].value == pytest.approx(float(a.arrays["ripe_tonnes"][unread, 0].sum()), abs=0.05) and 0 <= whole["unread_ripe_t"].value < 0.05 * whole["ripe_t"].value


def test_the_page_says_what_the_answer_says(demo_site, sign_in):
    client = sign_in("agronoma")
    body = client.get("/estate").get_data(as_text=True)
    from webapp.database import open_estate

    db = open_estate(demo_site.config["ESTATE"])
    a = crop.answer(db)
    assert re.search(r'id="mass-all">([\d,]+) t', body)[1] == f"{a.arrays['mass_total'][0]:,.0f}" and re.search(r'id="ripe-all">([\d,]+) t', body)[1] == f"{a.arrays['ripe_total'][0]:,.0f}"
    for show in ("plants", "ripe", "passing", "area", "nonsense"):
        assert client.get(f"/estate?show={show}&lang=en").status_code == 200
    listed = client.get("/ripeness?year=2018").get_data(as_text=True)
    assert listed.count("data-code=") == sum(d is not None and d.year == 2018 for d in land.plots(db).loc[a.meta["plots"], "planted_on"])
    assert 'aria-current="true">Plants' in client.get("/estate?show=plants&lang=en").get_data(as_text=True)
    db.conn.close()


def test_a_track_record_of_one_day_is_counted_and_its_history_can_be_asked_for(demo_site, sign_in):
    client = sign_in("agronoma")
    body = client.get("/track?lang=en").get_data(as_text=True)
    assert "can&#39;t be judged yet" in body or "can't be judged yet" in body
    assert "December 21, 2026" in body and 'action="/track/replay"' in body
    assert 'action="/track/replay"' not in sign_in("cabo").get("/track").get_data(as_text=True)
    assert client.post("/track/replay", headers={"Sec-Fetch-Site": "same-origin"}).status_code == 303
    assert "data-job" in client.get("/track").get_data(as_text=True)
