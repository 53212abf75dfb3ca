"""The ripeness fit against statsmodels MixedLM on the same readings."""

from __future__ import annotations

import time

import numpy as np

from .. import clock
from ..database import Database
from ..land import service as land
from ..ripeness import service as ripeness
from ..survey import service as survey
from ..weeks import months_between

ROUNDS = 5


def measure(db: Database, truth: dict[str, float] | None = None) -> dict[str, float]:
    """Seconds (median of five) of our fit and of MixedLM (plot effect, visit component, season and age terms), of our fit with its forecasts stored,
    and their ratio (ours over theirs). With ``truth`` (plot → mean °Brix today, demo only) also how far each is off today:
    root mean square over the plots that were visited.

    MixedLM's is the linear model that a statistician would write first; ours is a growth curve with a level and a pace for
    every plot. Without ``re_formula`` MixedLM would leave the plot effect out
    as soon as there is a ``vc_formula``. Ours includes gathering the visits from the (cached) records.
    """
    import statsmodels.formula.api as smf

    readings = survey.readings(db)
    plots = land.plots(db)
    ripeness.fit_only(db)  # warm: records read, libraries loaded
    started = time.perf_counter()
    ripeness.fit(db)
    whole = time.perf_counter() - started
    planted = plots["planted_on"].to_dict()
    frame = readings[[planted.get(p) is not None for p in readings["plot"]]].copy()
    frame = frame[np.isfinite(frame["brix20_deg"])]
    data = _frame(frame["plot"].to_numpy(), frame["day"], plots, planted)
    data["y"], data["visit"] = frame["brix20_deg"].to_numpy(float), frame["round"].fillna("").to_numpy()
    ours_s, theirs_s = [], []
    for _ in range(ROUNDS):  # in turns, so that a busy machine burdens both
        started = time.perf_counter()
        ripeness.fit_only(db)
        ours_s.append(time.perf_counter() - started)
        started = time.perf_counter()
        model = smf.mixedlm(FORMULA, data, groups="plot", re_formula="1", vc_formula={"visit": "0 + C(visit)"}).fit()
        theirs_s.append(time.perf_counter() - started)
    ours, theirs = float(np.median(ours_s)), float(np.median(theirs_s))
    out = {"fit_s": ours, "fit_and_forecast_s": whole, "mixedlm_s": theirs, "ratio": ours / theirs, "readings": float(len(data))}
    return out | (_errors(db, truth, model, plots, planted, set(data["plot"])) if truth else {})


FORMULA = "y ~ age + age2 + age3 + s1 + c1 + zone"


def _frame(codes, days, plots, planted):
    import pandas as pd

    age = np.array([months_between(planted[p], d) for p, d in zip(codes, days)]) / 12
    turn = np.array([d.timetuple().tm_yday for d in days]) / 365.25 * 2 * np.pi
    return pd.DataFrame({"plot": codes, "zone": [plots.at[p, "zone"] or "" for p in codes], "age": age, "age2": age**2, "age3": age**3, "s1": np.sin(turn), "c1": np.cos(turn)})


def _errors(db: Database, truth: dict[str, float], model, plots, planted, seen: set[str]) -> dict[str, float]:
    answer = ripeness.answer(db)
    codes = [code for code in answer.meta["plots"] if code in truth and code in seen]
    real = np.array([truth[code] for code in codes])
    ours = answer.arrays["mean_deg"][[answer.meta["plots"].index(code) for code in codes], 0]
    today = clock.of(db).today()
    effect = np.array([float(model.random_effects[code].iloc[0]) for code in codes])
    theirs = np.asarray(model.predict(_frame(codes, [today] * len(codes), plots, planted)), float) + effect
    rms = lambda error: float(np.sqrt(np.mean(error**2)))  # noqa: E731
    return {"error_deg": rms(ours - real), "mixedlm_error_deg": rms(theirs - real), "plots": float(len(codes))}
