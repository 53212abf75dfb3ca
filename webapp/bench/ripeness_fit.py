"""The ripeness fit against statsmodels MixedLM on the same readings, and the demo's truth against its intervals."""

from __future__ import annotations

import csv
import time
from pathlib import Path

import numpy as np

from ..answers import Answer
from ..database import Database
from ..land import service as land
from ..ripeness import service as ripeness
from ..survey import service as survey
from ..weeks import months_between


def speed(db: Database) -> dict[str, float]:
    """Seconds of our fit and of MixedLM (plot effect, visit component, season and age terms), and of our fit with its forecasts stored.

    Without ``re_formula`` MixedLM would leave the plot effect out as soon as there is a ``vc_formula``.
    """
    import pandas as pd
    import statsmodels.formula.api as smf

    readings = survey.readings(db)
    plots = land.plots(db)
    started = time.perf_counter()
    ripeness.fit(db)
    whole = time.perf_counter() - started
    started = time.perf_counter()
    ripeness.fit_only(db)
    ours = time.perf_counter() - started
    planted = plots["planted_on"].to_dict()
    frame = readings[[planted.get(p) is not None for p in readings["plot"]]].copy()
    frame = frame[np.isfinite(frame["brix20_deg"])]
    age = np.array([months_between(planted[p], d) for p, d in zip(frame["plot"], frame["day"])]) / 12
    turn = np.array([d.timetuple().tm_yday for d in frame["day"]]) / 365.25 * 2 * np.pi
    data = pd.DataFrame({"y": frame["brix20_deg"].to_numpy(float), "plot": frame["plot"].to_numpy(), "visit": frame["round"].fillna("").to_numpy(),
                         "zone": [plots.at[p, "zone"] or "" for p in frame["plot"]], "age": age, "age2": age**2, "age3": age**3, "s1": np.sin(turn), "c1": np.cos(turn)})
    started = time.perf_counter()
    smf.mixedlm("y ~ age + age2 + age3 + s1 + c1 + zone", data, groups="plot", re_formula="1", vc_formula={"visit": "0 + C(visit)"}).fit()
    theirs = time.perf_counter() - started
    return {"fit_s": ours, "fit_and_forecast_s": whole, "mixedlm_s": theirs, "ratio": theirs / ours, "readings": float(len(data))}


def coverage(answer: Answer, tonnage: Answer, truth: Path) -> dict[str, float]:
    """Share of plots whose true mean, ripe share and tonnes today lie inside the stated intervals."""
    with truth.open() as file:
        true = {row["code"]: row for row in csv.DictReader(file)}
    a, hits = answer.arrays, {"mean80": [], "mean95": [], "share80": [], "tonnes80": []}
    for i, code in enumerate(answer.meta["plots"]):
        if code not in true:
            continue
        mean, share, mass = (float(true[code][name]) for name in ("brix_today_deg", "share_today", "standing_t"))
        hits["mean80"].append(a["lo80"][i, 0] <= mean <= a["hi80"][i, 0])
        hits["mean95"].append(a["lo95"][i, 0] <= mean <= a["hi95"][i, 0])
        hits["share80"].append(a["share_lo"][i, 0] - 0.005 <= share <= a["share_hi"][i, 0] + 0.005)
        hits["tonnes80"].append(tonnage.arrays["mass_lo"][i, 0] <= mass <= tonnage.arrays["mass_hi"][i, 0])
    return {name: float(np.mean(found)) for name, found in hits.items()} | {"plots": float(len(hits["mean80"]))}


