"""A visit far from all the others: it weighs little until somebody has looked at it, and no other plot moves for it."""

import shutil
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm, t

from tests.ripeness.estates import PEAK, TODAY, simulate
from webapp.ripeness import ripening, weighing
from webapp.ripeness.fitting import fit_weighed


@pytest.fixture(scope="module")
def estate():
    return simulate(11, plots=40, visits=6)


def answers(visits, land):
    f, seen = fit_weighed(visits, land, PEAK, TODAY, widened=False)
    return f, seen, ripening.ahead(f, ripening.posterior(f, seen, land, f.about), np.array([TODAY]))


def spoilt(visits, by_deg, places):
    mean = visits.mean.copy()
    for place in places:
        mean[place] += by_deg
    return replace(visits, mean=mean)


def test_one_bad_visit_moves_nobody(estate):
    """All its decimals slipped: the plot itself stays where its five others leave it, the others where they were, the sizes of errors too."""
    f, seen, good = answers(estate.visits, estate.land)
    assert seen.doubt.sum() == 0.0
    f_bad, marked, bad = answers(spoilt(estate.visits, -20.0, [(3, 4)]), estate.land)
    assert [tuple(at) for at in np.argwhere(marked.doubt > 0)] == [(3, 4)] and marked.doubt[3, 4] ** 0.5 > 15.0
    others = np.arange(40) != 3
    assert np.abs(bad.mean - good.mean)[others].max() < 0.1 and f_bad.sd("visit") == pytest.approx(f.sd("visit"), abs=0.05)
    assert abs(bad.mean[3, 0] - good.mean[3, 0]) < 0.6 * np.sqrt(good.var[3, 0]) and np.sqrt(bad.var[3, 0] / good.var[3, 0]) < 1.3


def test_without_it_the_whole_estate_would_move(estate, monkeypatch):
    """What the weighing is for: the same bad visit counted in full."""
    _, _, good = answers(estate.visits, estate.land)
    monkeypatch.setattr(weighing, "limit", lambda visits: np.inf)
    f_bad, marked, bad = answers(spoilt(estate.visits, -20.0, [(3, 4)]), estate.land)
    assert marked.doubt.sum() == 0.0 and f_bad.sd("visit") > 0.9 and abs(bad.mean[3, 0] - good.mean[3, 0]) > 1.0


def test_faulty_visits_do_not_hide_each_other(estate):
    often = np.flatnonzero(estate.visits.mask.sum(axis=1) >= 5)[:5]
    places = [(int(i), j) for i, j in zip(often, (0, 2, 1, 3, 4))] + [(int(often[-1]), 1)]  # two of one plot
    _, marked, _ = answers(spoilt(estate.visits, -12.0, places), estate.land)
    assert {tuple(at) for at in np.argwhere(marked.doubt > 0)} == set(places)


def test_what_the_office_left_counts_in_full(estate):
    visits = spoilt(estate.visits, -20.0, [(3, 4)])
    sure = visits.sure.copy()
    sure[3, 4] = 1.0
    _, marked, told = answers(replace(visits, sure=sure), estate.land)
    _, _, wary = answers(visits, estate.land)
    assert marked.doubt[3, 4] == 0.0 and told.mean[3, 0] < wary.mean[3, 0] - 1.0


def test_the_limit_grows_with_very_many_visits_and_with_few():
    """Of N good visits none is called far in nineteen estates of twenty; few visits hardly tell how far visits lie, and below thirty none is judged."""
    assert 4.0 < weighing.limit(800) < 4.1 and 2 * norm.sf(weighing.limit(100_000)) * 100_000 == pytest.approx(0.05, rel=0.05)
    assert weighing.limit(30) == pytest.approx(-t.ppf(norm.sf(4.0), 30), rel=1e-9) and weighing.limit(30) > 4.6
    few = simulate(11, plots=5, visits=5)
    assert answers(spoilt(few.visits, -20.0, [(0, 0)]), few.land)[1].doubt.sum() == 0.0


def test_the_office_that_leaves_a_round_lets_it_count(demo_made, tmp_path):
    from webapp import database
    from webapp.ripeness import inputs_service
    from webapp.survey import service as survey

    db = database.open_estate(shutil.copy(demo_made, tmp_path / "demo.db"))
    try:
        readings = survey.readings(db)
        first = readings[readings["round"].notna()].iloc[0]
        survey.propose(db, frozenset(("round_far_off",)), [{"code": "round_far_off", "record": first["round"], "params": {"plot": first["plot"], "day": first["day"].isoformat(), "seen": 2.2, "expected": 23.6, "times": 9.0}, "proposal": {"void_round": first["round"]}}])
        [doubt] = [d for d in survey.doubts(db, look=False) if d["record"] == first["round"] and d["code"] == "round_far_off"]
        before, at = survey.data_version(db), inputs_service.seen(db, [first["plot"]])
        survey.settle_doubt(db, doubt["id"], "leave", "Ana")
        assert at.sure.sum() == 0 and inputs_service.seen(db, [first["plot"]]).sure.sum() == 1
        assert survey.data_version(db) != before, "the fit is made again with it"
    finally:
        db.close()


def test_one_plot_asked_alone_says_what_the_estate_said_of_it(demo_made, tmp_path):
    """Far rounds in three plots, fitted; then something changes elsewhere: their pages, reckoned from the stored fit, agree with the list to the last digit shown."""
    from webapp import database
    from webapp.ripeness import service
    from webapp.survey import correcting_service as correcting
    from webapp.survey import service as survey

    db = database.open_estate(shutil.copy(demo_made, tmp_path / "demo.db"))
    try:
        readings, plots = survey.readings(db), ("LA-13", "LA-23", "LA-26")
        for plot, by in zip(plots, (5.5, 6.5, 8.0)):
            rounds = readings[(readings["plot"] == plot) & readings["round"].notna()].sort_values("taken_at")
            for row in rounds[rounds["round"] == rounds["round"].iloc[-1]].itertuples():
                correcting.correct(db, row.id, {"brix_raw_deg": round(row.brix_raw_deg - by, 2)}, "Ana")
        service.fit(db)
        a = service.answer(db)
        assert a.arrays["visit_doubt"].max() > 0.5
        i = [a.meta["plots"].index(plot) for plot in plots]
        load = survey.loads(db).iloc[0]
        correcting.correct(db, load["id"], {"plants": int(load["plants"]) + 1}, "Ana")
        assert service.stale(service.answer(db), db)
        for at, plot in zip(i, plots):
            now = service.plot_now(db, plot)
            for name in ("mean_deg", "sd_deg", "share", "chance"):
                assert now[name] == pytest.approx(a.arrays[name][at], abs=1e-5), (plot, name)
            assert now["window"] == a.meta["by_plot"][plot]["window"]
    finally:
        db.close()
