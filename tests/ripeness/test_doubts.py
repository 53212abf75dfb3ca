"""Faulty rounds put into the demo's own records: how many are found, and what is raised without cause."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from webapp.database import atomic, open_estate
from webapp.ripeness import doubts, doubts_service, fitting, ripening
from webapp.ripeness import service as ripeness
from webapp.survey import office_service
from webapp.survey import service as survey

from .thin_estates import load, plots, round_of, scattered


class Field:
    """The demo's rounds as a table; ``again`` gives the table had other means been read, the estate fitted anew."""

    def __init__(self, db):
        a = ripeness.answer(db)
        self.model, self.land, self.seen = ripeness.model_of(a)
        self.today, self.peak = float(pd.Timestamp(a.meta["today"]).toordinal()), ripeness.limits_of(a).peak_age_months
        self.rounds = doubts_service.rounds_of(db)
        self.at = self.rounds["i"].to_numpy(), self.rounds["j"].to_numpy()
        self.expected = (self.rounds["mean_deg"] - self.rounds["off_deg"]).to_numpy()
        self.sd = np.sqrt((self.rounds["var"] + self.rounds["noise"]).to_numpy())

    def again(self, mean, n=None):
        means, plants = self.seen.mean.copy(), self.seen.n.copy()
        means[self.at] += mean - self.rounds["mean_deg"]  # what passes took away stays given back
        plants[self.at] = self.rounds["n"] if n is None else n
        seen = replace(self.seen, mean=means, n=plants)
        f = fitting.fit_estate(seen, self.land, self.peak, self.today, widened=False)
        off = doubts.left_out(f, ripening.posterior(f, seen, self.land, f.about))
        return self.rounds.assign(mean_deg=mean, n=plants[self.at], off_deg=off.off_deg[self.at], var=off.var[self.at], noise=off.noise[self.at])

    def mean(self):
        return self.rounds["mean_deg"].to_numpy().copy()


@pytest.fixture(scope="module")
def field(demo_made):
    db = open_estate(demo_made)
    yield Field(db)
    db.conn.close()


def test_left_out_is_what_a_fit_without_the_visit_expects(field):
    """Closed form against taking visits out one by one (same standard deviations, coefficients solved again)."""
    off = doubts.left_out(field.model, ripening.posterior(field.model, field.seen, field.land, field.model.about))
    post = ripening.posterior(field.model, field.seen, field.land, field.model.about)
    for i in np.flatnonzero(field.seen.mask.sum(axis=1) >= 3)[[0, 20, 40]]:
        M = int(field.seen.mask[i].sum())
        Q = post.W[i][:M, :M] - post.T[i][:M] @ field.model.cov @ post.T[i][:M].T
        V = np.linalg.inv(Q)  # the plot's covariance with the coefficients of all other plots integrated out
        y = V @ post.q[i][:M]
        for j in range(M):
            rest = [k for k in range(M) if k != j]
            gain = V[j, rest] @ np.linalg.inv(V[np.ix_(rest, rest)])
            assert off.off_deg[i, j] == pytest.approx(y[j] - gain @ y[rest], abs=1e-6)
            assert V[j, j] - gain @ V[rest, j] == pytest.approx(1 / Q[j, j], rel=1e-6)


def test_the_sound_demo_raises_next_to_nothing(field):
    z = field.rounds["off_deg"] / np.sqrt(field.rounds["var"] + field.rounds["noise"])
    assert len(field.rounds) == field.seen.mask.sum() and 0.9 < z.std() < 1.1
    assert len(doubts.find(field.rounds)) <= 1


def test_swapped_plots_are_found_where_it_matters(field):
    """Pairs of a crew's day exchanged: those whose plots differ by more than four sds are found, hardly another is."""
    rng, rounds, found, wrong, far, near = np.random.default_rng(4), field.rounds, [], 0, 0, 0
    pairs = [(i, j) for _, part in rounds.groupby(["day", "crew"]) for k, i in enumerate(part.index) for j in part.index[k + 1:] if rounds["plot"][i] != rounds["plot"][j]]
    for _ in range(3):
        mean, n, chosen = field.mean(), rounds["n"].to_numpy().copy(), []
        for i, j in (pairs[k] for k in rng.permutation(len(pairs))):
            if len(chosen) < 4 and not {i, j} & {x for pair in chosen for x in pair}:
                chosen.append((i, j))
                mean[[i, j]], n[[i, j]] = mean[[j, i]], n[[j, i]]
        told = {frozenset((d["record"], d["params"]["second"])): d for d in doubts.find(field.again(mean, n)) if d["code"] == "swapped_plots"}
        real = {frozenset(rounds["round"][[i, j]]): abs(field.expected[i] - field.expected[j]) / max(field.sd[i], field.sd[j]) for i, j in chosen}
        wrong += len(set(told) - set(real))
        found += [pair in told for pair, gap in real.items() if gap > 4]
        for pair in set(told) & set(real):
            assert told[pair]["proposal"]["swap_with"] in pair
    assert len(found) >= 5 and np.mean(found) >= 0.85 and wrong <= 1


def test_an_instrument_off_for_a_day_is_found(field):
    rounds, rng = field.rounds, np.random.default_rng(6)
    days = [part.index for _, part in rounds.groupby(["instrument", "day"]) if len(part) >= 3]
    mean, picked = field.mean(), [days[k] for k in rng.permutation(len(days))[:4]]
    for at, sign in zip(picked, (1, -1, 1, -1)):
        mean[at] += 3.0 * sign
    told = [d for d in doubts.find(field.again(mean)) if d["code"] == "instrument_off"]
    named = [set(rounds["round"][at]) for at in picked]
    assert sum(any(set(d["proposal"]["void_readings_of"]) & names for d in told) for names in named) >= 3
    assert all(set(d["proposal"]["void_readings_of"]) & set().union(*named) and 1.5 < abs(d["params"]["shift"]) < 4.5 for d in told)


def test_a_round_far_off_is_told_once_a_plot(field):
    rounds, rng = field.rounds, np.random.default_rng(8)
    mean, at = field.mean(), rng.permutation(len(rounds))[:6]
    mean[at] += 7.0 * rng.choice([-1, 1], 6)
    told = doubts.find(field.again(mean))
    assert sum(d["record"] in set(rounds["round"][at]) for d in told) >= 4
    assert len([d for d in told if d["record"] not in set(rounds["round"][at]) and d.get("params", {}).get("second") not in set(rounds["round"][at])]) <= 1
    plots = [d["params"]["plot"] for d in told if d["code"] == "round_far_off"]
    assert len(plots) == len(set(plots))


def test_a_flag_that_readings_contradict():
    """Rounds at 12–32 °C by an instrument said to compensate that does not: what tells is the slope on temperature."""
    rng = np.random.default_rng(3)
    add = rng.uniform(-0.6, 0.9, 90)  # what the correction would add
    base = pd.DataFrame({"round": [f"r{i}" for i in range(90)], "plot": [f"P{i}" for i in range(90)], "day": [pd.Timestamp("2026-03-01").date() + pd.Timedelta(days=3 * i) for i in range(90)], "crew": "Uno",
                         "instrument": "R-07", "atc": "yes", "n": 12, "mean_deg": 22.0, "var": 0.2, "noise": 0.5, "flag_deg": add})
    off = rng.normal(0, np.sqrt(0.7), 90)
    wrong = doubts.find(base.assign(off_deg=off - (add - add.mean())))
    assert [d["code"] for d in wrong] == ["atc_said_yes"] and wrong[0]["proposal"]["atc"] == "no" and len(wrong[0]["proposal"]["of_rounds"]) == 90
    assert doubts.find(base.assign(off_deg=off)) == [] and doubts.find(base.iloc[:0].assign(off_deg=[])) == []


def test_nothing_seen_nothing_doubted(db):
    assert doubts_service.review(db) == 0 and survey.doubts(db) == []


def test_a_swap_found_in_the_file_is_shown_taken_and_gone(demo):
    """Two rounds exchanged in the records themselves; the fit finds it, the office takes it, the plots have their own again."""
    table = doubts_service.rounds_of(demo)
    expected = table["mean_deg"] - table["off_deg"]
    a, b = max(((i, j) for _, part in table.groupby(["day", "crew"]) for i in part.index for j in part.index if i < j), key=lambda pair: abs(expected[pair[0]] - expected[pair[1]]))
    one, other = table["round"][a], table["round"][b]
    plots = {one: table["plot"][a], other: table["plot"][b]}
    held = survey.readings(demo)
    was = {name: held[held["round"] == name]["plot"].unique().tolist() for name in plots}
    with atomic(demo):
        for name, plot in ((one, plots[other]), (other, plots[one])):
            for record in [name, *held[held["round"] == name]["id"]]:
                office_service.write_correction(demo, record, {"plot": plot}, "prueba")
    ripeness.fit(demo)
    doubts_service.review(demo)
    told = [d for d in survey.doubts(demo) if d["code"] == "swapped_plots"]
    assert len(told) == 1 and {told[0]["record"], told[0]["proposal"]["swap_with"]} == {one, other}
    assert told[0]["what"].text("es") and told[0]["do"].text("en") and told[0]["is_record"]
    survey.review(demo)  # a look at the records alone leaves it standing
    assert [d["id"] for d in survey.doubts(demo) if d["code"] == "swapped_plots"] == [told[0]["id"]]
    survey.settle_doubt(demo, told[0]["id"], "take", "Ana")
    held = survey.readings(demo)
    after = {name: held[held["round"] == name]["plot"].unique().tolist() for name in plots}
    assert after == was and not [d for d in survey.doubts(demo) if d["code"] == "swapped_plots"]


def test_a_round_whose_plants_all_read_the_same_is_proposed_never_dropped(db):
    """Twenty times 22.0 beside two sound rounds: told on the page of records, in both languages; taken, one reading counts and all stay in the log."""
    plots(db, {"A": ("2020-07-01", "Vado", "azul"), "B": (None, "Vado", "azul")})
    load(db, [*round_of("A", 5, [22.0] * 20), *round_of("A", 90, scattered(21, 12, 1)), *round_of("B", 5, scattered(20, 12, 2)), *round_of("B", 40, [19.0] * 4)])
    assert doubts_service.review(db) == 1
    told = {d["code"]: d for d in survey.doubts(db)}
    one = told["all_equal"]
    assert one["params"] == {"plot": "A", "day": "2026-11-18", "n": 20, "value": 22.0} and one["is_record"] and len(one["proposal"]["void_records"]) == 19
    assert "las 20 plantas del muestreo leyeron lo mismo, 22 °Brix" in one["what"].text("es") and "all 20 plants of the round read the same" in one["what"].text("en") and one["do"].text("en")
    undated = told["no_planting_date"]  # no crew has said a year: the sentence doesn't speak of one
    assert undated["params"]["year"] is None and not undated["proposal"] and all("–" not in undated[part].text(language) and "None" not in undated[part].text(language) for part in ("what", "do") for language in ("es", "en"))
    assert len(survey.readings(db)) == 48  # nothing has changed by itself
    survey.settle_doubt(db, one["id"], "take", "Ana")
    left = survey.readings(db)
    assert len(left) == 29 and len(left[(left["plot"] == "A") & (left["brix_raw_deg"] == 22.0)]) == 1
    assert len(survey.left_out(db, "A")) == 19 and doubts_service.review(db) == 0
