"""The ripening model at the size of a region, one thread: ``python -m webapp.bench.ripeness_size PLOTS [full]`` prints one line of JSON.

In a process of its own, so that its peak memory is its own. ``full`` learns the standard deviations from all plots,
else from a sample of them.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np

SIZES, VISITS, PLANTS, WEEKS = (1000, 10_000), 10, 20, 104
CUT_DAY, ZONES, AT_ONCE = 740_000, 4, 400
TARGETS = {"fit_s": 3.0, "full_fit_s": 12.0, "forecast_s": 3.5, "rss_mb": 500.0, "growth": 1.1, "mixed_times": 8.0, "mixed_times_far": 40.0, "one_visit_ms": 50.0}
MIXED_PLOTS = (200, 400)


def readings(plots: int, seed: int = 1) -> tuple[np.ndarray, ...]:
    """(planted, zone, plot, visit, day, °Bx) of a Gompertz estate: ten visits of twenty plants a plot in three years."""
    rng = np.random.default_rng(seed)
    planted, zone = CUT_DAY - rng.uniform(40, 98, plots) * 30.4375, rng.integers(0, ZONES, plots)
    day = np.sort(rng.integers(CUT_DAY - 1090, CUT_DAY, (plots, VISITS)), axis=1)
    age = (day - planted[:, None]) / 30.4375 + rng.normal(0, 5.5, plots)[:, None]
    mean = 6 + 21 * np.exp(-4.0 * np.exp(-0.052 * age)) + rng.normal(0, 1.3, plots)[:, None] + 1.1 * np.cos(2 * np.pi * (day - 105) / 365.2425) + rng.normal(0, 0.5, day.shape)
    brix = mean[:, :, None] + rng.normal(0, 2.1, (plots, VISITS, PLANTS))
    number = np.arange(plots * VISITS)
    return np.round(planted), zone, np.repeat(np.arange(plots), VISITS * PLANTS), np.repeat(number, PLANTS), np.repeat(day.ravel(), PLANTS), brix.ravel()


def once(plots: int, full: bool) -> dict[str, float]:
    """Seconds of gathering, fitting, back-testing and forecasting 104 weeks with share, chance and intervals; ms of one new visit; peak MB."""
    from ..ripeness import fitting, readiness, ripening
    from ..ripeness.visits import gather

    planted, zone, plot, visit, day, brix = readings(plots)
    codes = [str(i) for i in range(plots)]
    started = time.perf_counter()
    seen = gather(codes, np.array(codes, object)[plot], visit, day, brix, np.full(len(plot), 0.05))
    gathered = time.perf_counter()
    del plot, visit, day, brix
    land = ripening.Land(planted, np.zeros(plots), zone, tuple(f"Z{z}" for z in range(ZONES)))
    sample = plots if full else fitting.SAMPLE_PLOTS
    begun = time.perf_counter()
    f, seen = fitting.fit_weighed(seen, land, 90.0, float(CUT_DAY), sample=sample, widened=False)
    fitted = time.perf_counter()
    days = CUT_DAY + 7.0 * np.arange(1, WEEKS + 1)
    told = np.empty((6, plots, WEEKS), np.float32)
    for start in range(0, plots, AT_ONCE):
        at = np.arange(start, min(start + AT_ONCE, plots))
        some, ground, visits = ripening.part(f, land, seen, at)
        out = ripening.ahead(some, ripening.posterior(some, visits, ground, some.about), days)
        sd = np.sqrt(out.var)
        what = out.mean, sd, ripening.plant_sd(some, out.age), some.residuals, 22.0
        told[:, at] = out.mean, sd, *readiness.share(*what, rare_part=out.rare_part), readiness.expected_share(*what, rare_part=out.rare_part)
    ahead = time.perf_counter()
    one, ground, visits = ripening.part(f, land, seen, np.arange(1))
    for _ in range(2):  # the first warms
        moved = time.perf_counter()
        out = ripening.ahead(one, ripening.posterior(one, visits, ground, one.about), days)
        what = out.mean, np.sqrt(out.var), ripening.plant_sd(one, out.age), one.residuals, 22.0
        readiness.share(*what, rare_part=out.rare_part), readiness.expected_share(*what, rare_part=out.rare_part)
        one_visit = time.perf_counter() - moved
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    tested = time.perf_counter()
    if not full:
        fitting.fit_estate(seen, land, 90.0, float(CUT_DAY), sample=sample)
    return {"plots": float(plots), "gather_s": gathered - started, "fit_s": fitted - begun, "forecast_s": ahead - fitted, "one_visit_ms": 1000 * one_visit, "rss_mb": peak,
            "back_test_s": max(time.perf_counter() - tested - (fitted - begun), 0.0), "finite": float(np.isfinite(told).all())}


def mixed(plots: int) -> float:
    """Seconds of statsmodels MixedLM on the same readings with the same kinds of components: plot level, plot slope of age, visit; age, season and zone fixed."""
    import warnings

    import pandas as pd
    import statsmodels.formula.api as smf

    planted, zone, plot, visit, day, brix = readings(plots)
    age, turn = (day - planted[plot]) / 30.4375 / 60, 2 * np.pi * (day % 365.2425) / 365.2425
    frame = pd.DataFrame({"y": brix, "plot": plot, "visit": visit, "age": age, "age2": age**2, "age3": age**3, "s1": np.sin(turn), "c1": np.cos(turn), "s2": np.sin(2 * turn), "c2": np.cos(2 * turn), "zone": zone[plot].astype(str)})
    started = time.perf_counter()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        smf.mixedlm("y ~ age + age2 + age3 + s1 + c1 + s2 + c2 + zone", frame, groups="plot", re_formula="1 + age", vc_formula={"visit": "0 + C(visit)"}).fit()
    return time.perf_counter() - started


def measure(told: Any = lambda what: None) -> dict[str, Any]:
    """All sizes, each in a fresh process with one thread, and MixedLM's growth from 200 to 400 plots carried on to 10,000."""
    found: dict[str, Any] = {}
    for plots in SIZES:
        told(plots)
        for full in (False, True):
            found[f"{plots}{'_full' if full else ''}"] = _apart(str(plots), *(["full"] if full else []))
    large = found[str(SIZES[1])]
    found["growth"] = {name: float(np.log(found[f"{SIZES[1]}{end}"][name] / found[f"{SIZES[0]}{end}"][name]) / np.log(SIZES[1] / SIZES[0])) for name, end in (("fit_s", "_full"), ("forecast_s", ""))}
    at = {plots: _apart("mixed", str(plots))["mixed_s"] for plots in MIXED_PLOTS}
    ours = _apart(str(MIXED_PLOTS[1]), "full")["fit_s"]
    power = float(np.log(at[MIXED_PLOTS[1]] / at[MIXED_PLOTS[0]]) / np.log(MIXED_PLOTS[1] / MIXED_PLOTS[0]))
    far = at[MIXED_PLOTS[1]] * (SIZES[1] / MIXED_PLOTS[1]) ** power
    found["mixed"] = {"seconds": at[MIXED_PLOTS[1]], "ours_s": ours, "times": at[MIXED_PLOTS[1]] / ours, "power": power, "far_s": far, "times_far": far / large["fit_s"]}
    return found


def _apart(*words: str) -> dict[str, float]:
    threads = {name: "1" for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")}
    done = subprocess.run([sys.executable, "-m", "webapp.bench.ripeness_size", *words], capture_output=True, text=True, check=True, env={**os.environ, **threads}, cwd=Path(__file__).parents[2])
    return json.loads(done.stdout.splitlines()[-1])


if __name__ == "__main__":
    if sys.argv[1] == "mixed":
        print(json.dumps({"mixed_s": mixed(int(sys.argv[2]))}))
    else:
        print(json.dumps(once(int(sys.argv[1]), "full" in sys.argv[2:])))
