"""Tonnes said against tonnes come: only plots cut whole, the plain rule as known then, and nothing said of too few."""

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from webapp.crop import art, cut_sugar, cut_whole

DAY = date(2026, 6, 1)


def loads(*rows):
    frame = pd.DataFrame(rows, columns=["plot", "day", "clearing", "plants", "net_kg"])
    return frame.assign(day=[DAY + timedelta(days=d) for d in frame["day"]])


def test_only_plots_cut_whole_count():
    many = loads(("A", 0, 1, 300, 15_000), ("A", 20, 1, 100, 5_000), ("B", 0, 0, 300, 15_000), ("C", 0, 1, 300, np.nan), ("D", 0, 1, 300, 15_000), ("D", 200, 1, 9, 400),
                 ("E", -40, 0, 100, 5_000), ("E", 0, 1, 200, 10_000), ("F", 0, 1, 200, 10_000))
    came, out = cut_whole.whole(many, {"A": "cut", "B": "cut", "C": "cut", "D": "cut", "E": "fallow", "F": "standing"})
    assert list(came["plot"]) == ["A", "E"] and out == {"standing": 2, "unweighed": 1, "long": 1}  # B never cleared, F still being cut
    first = came.iloc[0]
    assert (first["day"], first["ended"], first["middle"], first["trucks"], first["came_t"]) == (DAY.toordinal(), DAY.toordinal() + 20, DAY.toordinal() + 5, 2, 20.0)
    assert came.iloc[1]["came_t"] == 10.0, "what a pass took before the clearing is not the clearing's"
    found = pd.DataFrame({"plot": ["E", "E", "A"], "on_day": [DAY.toordinal() - 60, DAY.toordinal() - 30, DAY.toordinal() - 60], "day": DAY.toordinal()})
    assert cut_whole.passed(found, many).tolist() == [True, False, False]


def test_what_was_said_moves_with_its_own_pace_and_keeps_its_width():
    on = DAY.toordinal()
    said = pd.DataFrame({"plot": "A", "on_day": on, "weeks": [4, 12, 26], "mass_t": [100.0, 104.0, 100 * np.exp(0.22)]})
    found = pd.DataFrame({"plot": ["A"], "on_day": [on], "target": [on + 84], "middle": [on + 98], "mass_t": [104.0], "mass_low80_t": [104 / 1.2], "mass_high80_t": [104 * 1.2]})
    mean, sd = cut_whole.said_then(found, said)
    assert mean == pytest.approx(np.log(104) + 2 * 0.01) and sd == pytest.approx(np.log(1.2) / 1.2815515655446004)
    assert cut_whole.said_then(found, said[said["weeks"] == 12])[0] == pytest.approx(np.log(104)), "with one week said there is no pace"


def test_the_plain_rule_knows_nothing_of_later():
    many = loads(("A", 0, 1, 400, 20_000), ("B", -30, 0, 100, 4_000), ("B", 50, 1, 900, 90_000))
    want = pd.DataFrame({"plot": ["A", "B"], "on_day": DAY.toordinal() - 10})
    weighings = pd.DataFrame({"plot": ["A"], "day": [DAY - timedelta(days=400)], "mass_kg": [33.0]})
    plants = {"A": [(0, 1000.0), (DAY.toordinal() + 5, 5.0)], "B": [(0, 900.0), (DAY.toordinal() - 60, 600.0)]}
    nobody = pd.DataFrame(columns=["plot", "day", "ended", "came_t"])
    mean, sd = cut_whole.by_plants(want, nobody, many, weighings, plants, 50.0)
    assert np.exp(mean) == pytest.approx([40.0, 20.0])  # 1,000 and 600 − 100 plants at the 40 kg of the only load by then
    assert (sd == cut_whole.PLAIN_LOG_SD).all()
    early = want.assign(on_day=DAY.toordinal() - 200)
    assert np.exp(cut_whole.by_plants(early, nobody, many, weighings, plants, 50.0)[0]) == pytest.approx([33.0, 0.9 * 33])
    before = pd.DataFrame({"plot": list("VWXYZ"), "day": DAY.toordinal() - 100, "ended": DAY.toordinal() - 90, "came_t": 33.0 * np.exp(0.1)})
    learned = cut_whole.by_plants(want, before, many, weighings, plants | {name: [(0, 1000.0)] for name in "VWXYZ"}, 50.0)[1]
    assert learned == pytest.approx(0.1)


def test_the_sugar_of_a_clearing_tells_its_plots_brix():
    rng = np.random.default_rng(4)
    brix = rng.uniform(22, 28, 200)
    line = art.fit(brix, brix * (0.93 + rng.normal(0, 0.03, 200)), ["Lab"] * 200, 0.90, 0.10, list(rng.choice(list("VWXYZ"), 200)))
    many = loads(*[("A", d, 1, 300, 15_000) for d in (0, 1, 2, 3, 40)], ("B", 0, 0, 300, 15_000), ("C", 0, 1, 300, 15_000)).assign(art_percent=[23.25] * 6 + [np.nan], lab_name="Lab")
    found = cut_sugar.of_clearings(many, line)
    assert found["plot"].tolist() == ["A", "A"] and found["loads"].tolist() == [4, 1] and found["day"].tolist() == [DAY.toordinal() + 2, DAY.toordinal() + 40]  # 1.5 is rounded to even
    assert found["seen"].to_numpy() == pytest.approx(23.25 / line.by_lab["Lab"][0])
    assert found["noise_deg"].iloc[1] == pytest.approx(25 / 0.93 * np.sqrt(line.by_lab["Lab"][1] ** 2 + art.PLOT_SD**2 + line.load_sd**2), rel=0.02) and found["noise_deg"].iloc[0] < found["noise_deg"].iloc[1]
    assert len(cut_sugar.of_clearings(many.iloc[5:], line)) == 0, "a pass takes the ripest: it does not tell the plot's mean"
