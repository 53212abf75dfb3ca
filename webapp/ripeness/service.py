"""Ripeness as other rooms see it: one stored answer for the estate, one plot at once, draws, visits worth making."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np

from .. import answers, clock, settings
from ..answers import Answer
from ..database import Database, atomic
from ..land import service as land
from ..problems import Problem
from ..sentences import Sentence
from ..solver import Progress, no_progress
from ..survey import service as survey
from ..weeks import monday_of, weeks_from
from . import constants as k
from . import curve, readiness, ripening, visits, why
from .readiness import Z80, Z95, Limits

STAGE, WEEKS = "ripeness", 105
DEFAULT_AGE_MONTHS = 48.0
QUARTER_DAYS = 91.3125


def key(db: Database) -> str:
    return answers.key_of(data=survey.data_version(db), settings=settings.load(db).version, today=clock.of(db).today().isoformat())


def stale(answer: Answer, db: Database) -> bool:
    """Whether records, land, settings or the day have moved on since the answer was made."""
    return answer.key != key(db)


def limits(db: Database) -> Limits:
    s = settings.load(db)
    return Limits(**{name: float(s[name]) for name in Limits.__dataclass_fields__})


def _land(db: Database, today: date) -> tuple[list[str], ripening.Land, list[str], Any]:
    """Standing plots in order of code, their ages with uncertainty, and how each age is known."""
    frame = land.plots(db)
    frame = frame[frame["status"] == "standing"].sort_index()
    plots = list(frame.index)
    zones = tuple(sorted({z for z in frame["zone"] if z})) or ("",)
    checks = survey.age_checks(db).drop_duplicates("plot", keep="last").set_index("plot")
    planted, sd, how = np.zeros(len(plots)), np.zeros(len(plots)), []
    dated = [d.toordinal() for d in frame["planted_on"] if d]
    default = float(np.median(dated)) if dated else today.toordinal() - DEFAULT_AGE_MONTHS * 30.4375
    by_zone = {z: float(np.median([d.toordinal() for d, zz in zip(frame["planted_on"], frame["zone"]) if d and zz == z] or [default])) for z in zones}
    for i, code in enumerate(plots):
        day = frame.at[code, "planted_on"]
        if day:
            planted[i], how = day.toordinal(), [*how, "dated"]
        elif code in checks.index:
            planted[i] = date(int(checks.at[code, "planting_year"]), 7, 15).toordinal()
            sure = checks.at[code, "sure"] != 0
            sd[i], how = float(k.AGE_SURE_MONTHS if sure else k.AGE_UNSURE_MONTHS), [*how, "checked"]
        else:
            planted[i], sd[i], how = by_zone.get(frame.at[code, "zone"], default), float(k.AGE_NONE_MONTHS), [*how, "unknown"]
    zone = np.array([zones.index(z) if z in zones else 0 for z in frame["zone"]], int)
    return plots, ripening.Land(planted, sd, zone, zones), how, frame


def _visits(db: Database, plots: list[str]) -> visits.Visits:
    r = survey.readings(db)
    if len(plots) <= 2:
        r = r[r["plot"].isin(plots)]
    group = r["round"].where(r["round"].notna(), r["day"].astype(str))
    return visits.gather(plots, r["plot"].to_numpy(), group.to_numpy(), np.array([d.toordinal() for d in r["day"]], int), r["brix20_deg"].to_numpy(float), r["brix20_sd_deg"].to_numpy(float))


def fit(db: Database, progress: Progress = no_progress) -> str:
    """Fit the estate and store the answer; returns its key."""
    today = clock.of(db).today()
    plots, ground, how, frame = _land(db, today)
    seen = _visits(db, plots)
    lim = limits(db)
    progress(0.1, "work.ripeness")
    if plots:
        model, _ = ripening.fit_estate(seen, ground, lim.peak_age_months)
    else:
        empty = visits.gather(["–"], *(np.zeros(0) for _ in range(5)))
        model, _ = ripening.fit_estate(empty, ripening.Land(np.array([today.toordinal() - 1500.0]), np.zeros(1), np.zeros(1, int), ground.zones), lim.peak_age_months)
        model = ripening.Fit(**{**vars(model), "about": np.zeros(0)})
    progress(0.8, "work.ripeness")
    meta, arrays = _answer(model, plots, ground, how, frame, seen, lim, today)
    this = key(db)
    meta |= {"data_version": survey.data_version(db), "settings_version": settings.load(db).version}
    answers.put(db, STAGE, this, meta, arrays)
    _keep_said(db, this, plots, arrays, today)
    return this


def _answer(model: ripening.Fit, plots: list[str], ground: ripening.Land, how: list[str], frame: Any, seen: visits.Visits, lim: Limits, today: date) -> tuple[dict, dict]:
    weeks = weeks_from(today, WEEKS)
    post = ripening.posterior(model, seen, ground, model.about)
    out = ripening.ahead(model, post, np.array([monday_of(w).toordinal() + 3 for w in weeks], float))
    arrays = _curves(model, out, lim)
    by_plot = {code: _about(i, code, model, post, out, ground, how, frame, seen, arrays, lim, weeks, today) for i, code in enumerate(plots)}
    stored = {f"fit_{name}": np.asarray(value, float) for name, value in vars(model).items()}
    stored |= {f"visit_{name}": getattr(seen, name) for name in ("mean", "n", "day", "known", "mask")}
    stored |= {f"land_{name}": getattr(ground, name) for name in ("planted", "age_sd", "zone")}
    meta = {"plots": plots, "weeks": weeks, "today": today.isoformat(), "zones": list(ground.zones), "converged": model.converged,
            "fit": {f"{name}_{'months' if 'pace' in name else 'deg'}": float(model.sd(name)) for name in ripening.COMPONENTS}, "by_plot": by_plot, "oldest_months": model.oldest_months,
            "n_readings": int(seen.n.sum()), "n_visits": int(seen.mask.sum())}
    return meta, {name: value.astype(np.float32) if value.dtype == np.float64 else value for name, value in arrays.items()} | stored


def _curves(model: ripening.Fit, out: ripening.Outlook, lim: Limits) -> dict[str, np.ndarray]:
    sd = np.sqrt(out.var)
    plant = max(model.sd("plant"), 0.05)
    share, low, high = readiness.share(out.mean, sd, plant, model.residuals, lim.target_brix_deg)
    keep = readiness.keep_share(out.age, lim)
    return {"mean_deg": out.mean, "sd_deg": sd, "lo80": out.mean - Z80 * sd, "hi80": out.mean + Z80 * sd, "lo95": out.mean - Z95 * sd, "hi95": out.mean + Z95 * sd,
            "share": share, "share_lo": low, "share_hi": high, "chance": readiness.chance(out.mean, sd, lim.target_brix_deg), "keep_share": keep,
            "condition": readiness.condition(share, keep, out.age, lim)}


def _about(i: int, code: str, model: ripening.Fit, post: ripening.Posterior, out: ripening.Outlook, ground: ripening.Land, how: list[str], frame: Any, seen: visits.Visits,
           arrays: dict, lim: Limits, weeks: list[str], today: date) -> dict[str, Any]:
    n = int(seen.mask[i].sum())
    last = date.fromordinal(int(seen.day[i][seen.mask[i]].max())) if n else None
    own = model.sd("level") ** 2 + post.pace_var[i] * out.z[i, 0] ** 2 + model.sd("drift") ** 2
    prior_var = own + float(out.shared[i, 0] @ model.cov @ out.shared[i, 0])
    share_borrowed = float(why.borrowed(np.array(prior_var), out.var[i, 0])) if n else 1.0
    pace = float(ripening.pace_months(model, post)[i])
    year = curve.season(np.arange(365) + today.toordinal()) @ _season_of(model, ground, i)
    window = readiness.windows(arrays["share"][i: i + 1], arrays["keep_share"][i: i + 1], lim)[0]
    extrapolated = bool(out.age[i, 0] > model.oldest_months + 6)
    zone = frame.at[code, "zone"] or ""
    told = why.sentences(n, int(seen.n[i][seen.mask[i]][-1]) if n else 0, last, today, pace, share_borrowed, zone, how[i], float(year[0]), float(year.max()), extrapolated)
    return {"n_visits": n, "last_visit": last.isoformat() if last else None, "age_months": float((today.toordinal() - ground.planted[i]) / 30.4375), "age_how": how[i],
            "borrowed_share": share_borrowed, "pace_months": pace, "extrapolated": extrapolated,
            "window": [weeks[window[0]], weeks[window[1]] if window[1] is not None else None] if window else None, "why": [s.as_dict() for s in told]}


def _season_of(model: ripening.Fit, ground: ripening.Land, i: int) -> np.ndarray:
    where = ripening.columns(len(ground.zones))
    return model.theta[where["season"]] + model.theta[where["zone_season"]].reshape(-1, 4)[ground.zone[i]]


def _keep_said(db: Database, fit_key: str, plots: list[str], arrays: dict, today: date) -> None:
    """What is said today about 4, 12 and 26 weeks ahead, stored when it is said."""
    rows = [(fit_key, today.isoformat(), code, week, float(arrays["mean_deg"][i, at]), float(arrays["sd_deg"][i, at]), float(arrays["share"][i, at]), float(arrays["chance"][i, at]))
            for at, week in ((h, weeks_from(today, 27)[h]) for h in (4, 12, 26)) for i, code in enumerate(plots)]
    with atomic(db):
        db.conn.executemany("INSERT OR REPLACE INTO said (fit, on_day, plot, week, mean_deg, sd_deg, share, chance) VALUES (?, ?, ?, ?, ?, ?, ?, ?)", rows)


def answer(db: Database, fresh: bool = False) -> Answer:
    """The last stored answer (made now when there is none, or when ``fresh``)."""
    found = None if fresh else answers.latest(db, STAGE)
    return found if found is not None else answers.get(db, STAGE, fit(db))


def model_of(a: Answer) -> tuple[ripening.Fit, ripening.Land, visits.Visits]:
    """The stored fit, land and visits of an answer."""
    stored = {name[4:]: value for name, value in a.arrays.items() if name.startswith("fit_")}
    numbers = {name: float(stored[name]) for name in ("oldest_months", "peak_months")}
    model = ripening.Fit(**{**stored, **numbers, "converged": bool(stored["converged"])})
    ground = ripening.Land(a.arrays["land_planted"], a.arrays["land_age_sd"], a.arrays["land_zone"], tuple(a.meta["zones"]))
    seen = visits.Visits(*(a.arrays[f"visit_{n}"] for n in ("mean", "n", "day", "known", "mask")), 0.0, 0.0, np.zeros(0))
    return model, ground, seen


def plot_now(db: Database, code: str) -> dict[str, Any]:
    """One plot's answer [W] from the stored fit and today's records, in closed form; ``why`` and ``window`` included."""
    a = answer(db)
    if code not in a.meta["plots"]:
        raise Problem("plot_not_standing", where=code, status=404)
    if not stale(a, db):
        i = a.meta["plots"].index(code)
        return {"weeks": a.meta["weeks"], **{n: a.arrays[n][i] for n in _CURVES}, **a.meta["by_plot"][code]}
    model, ground, _ = model_of(a)
    today = clock.of(db).today()
    plots, now_ground, how, frame = _land(db, today)
    i, at = plots.index(code), a.meta["plots"].index(code)
    zone = a.meta["zones"].index(frame.at[code, "zone"]) if frame.at[code, "zone"] in a.meta["zones"] else int(ground.zone[at])
    one = ripening.Land(now_ground.planted[i: i + 1], now_ground.age_sd[i: i + 1], np.array([zone]), ground.zones)
    seen = _visits(db, [code])
    single = ripening.Fit(**{**vars(model), "about": model.about[at: at + 1]})
    meta, arrays = _answer(single, [code], one, [how[i]], frame, seen, limits(db), today)
    return {"weeks": meta["weeks"], **{n: arrays[n][0] for n in _CURVES}, **meta["by_plot"][code]}


def plot_curve(db: Database, code: str, days: list[date]) -> dict[str, np.ndarray]:
    """One plot's curve at any days, past ones too, in closed form: what the model says the plot was and will be."""
    a = answer(db)
    if code not in a.meta["plots"]:
        raise Problem("plot_not_standing", where=code, status=404)
    model, ground, stored = model_of(a)
    at = a.meta["plots"].index(code)
    one = ripening.Land(ground.planted[at: at + 1], ground.age_sd[at: at + 1], ground.zone[at: at + 1], ground.zones)
    seen = _visits(db, [code]) if stale(a, db) else visits.Visits(*(v[at: at + 1] for v in (stored.mean, stored.n, stored.day, stored.known, stored.mask)), 0.0, 0.0, np.zeros(0))
    post = ripening.posterior(model, seen, one, model.about[at: at + 1])
    out = ripening.ahead(model, post, np.array([d.toordinal() for d in days], float))
    return {name: value[0] for name, value in _curves(model, out, limits(db)).items()}


_CURVES = ("mean_deg", "sd_deg", "lo80", "hi80", "lo95", "hi95", "share", "share_lo", "share_hi", "chance", "keep_share", "condition")


def _draws(db: Database, a: Answer, n: int, seed: int, days: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    model, ground, seen = model_of(a)
    post = ripening.posterior(model, seen, ground, model.about)
    out = ripening.ahead(model, post, days)
    mean = ripening.draws(model, post, out, n, seed)
    share = readiness.plants_above((limits(db).target_brix_deg - mean) / max(model.sd("plant"), 0.05), model.residuals).astype(np.float32)
    return mean, share, readiness.keep_share(out.age, limits(db)).astype(np.float32)


def draws(db: Database, a: Answer, n: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """([n, P, W] °Bx, [n, P, W] ripe share) joint draws on the answer's weeks."""
    mean, share, _ = _draws(db, a, n, seed, np.array([monday_of(w).toordinal() + 3 for w in a.meta["weeks"]], float))
    return mean, share


def long_draws(db: Database, a: Answer, n: int, seed: int, quarters: int = 56) -> tuple[list[date], np.ndarray, np.ndarray, np.ndarray]:
    """(days, °Bx, ripe share [n, P, Q], keep share [P, Q]) on a quarterly grid from today, for the outlook."""
    today = date.fromisoformat(a.meta["today"])
    days = [today + timedelta(days=round(q * QUARTER_DAYS)) for q in range(quarters)]
    mean, share, keep = _draws(db, a, n, seed, np.array([d.toordinal() for d in days], float))
    return days, mean, share, keep


def prior_for_phone(db: Database) -> dict[str, dict[str, float]]:
    """Code → prior of the plot's mean today and the noise of readings, for «enough sampled»."""
    a = answer(db)
    visit, plant = max(a.meta["fit"]["visit_deg"], 0.05), max(a.meta["fit"]["plant_deg"], 0.05)
    return {code: {"mean_deg": round(float(a.arrays["mean_deg"][i, 0]), 3), "sd_deg": round(float(a.arrays["sd_deg"][i, 0]), 3), "visit_sd_deg": round(visit, 3), "plant_sd_deg": round(plant, 3)}
            for i, code in enumerate(a.meta["plots"])}


def visits_worth(db: Database, n: int = 10) -> list[dict[str, Any]]:
    """Plots whose ripe share one more visit would narrow most, by the cheap variance screen."""
    a, lim = answer(db), limits(db)
    model, _, _ = model_of(a)
    sd = a.arrays["sd_deg"][:, :26].astype(float).max(axis=1)
    noise = model.sd("visit") ** 2 + model.sd("plant") ** 2 / 12
    after = np.sqrt(1 / (1 / sd**2 + 1 / max(noise, 1e-6)))
    mean = a.arrays["mean_deg"][:, :26].astype(float)
    plant = max(model.sd("plant"), 0.05)
    width = lambda s: (readiness.plants_above((lim.target_brix_deg - mean - Z80 * s[:, None]) / plant, model.residuals)  # noqa: E731
                       - readiness.plants_above((lim.target_brix_deg - mean + Z80 * s[:, None]) / plant, model.residuals)).mean(axis=1)
    before, then = width(sd), width(after)
    order = sorted(range(len(sd)), key=lambda i: (-(before[i] - then[i]), a.meta["plots"][i]))[:n]
    return [{"code": a.meta["plots"][i], "from_width": float(before[i]), "to_width": float(then[i]),
             "why": Sentence("ripeness.visit.narrows", {"before": float(before[i]), "after": float(then[i])})} for i in order]


def what_one_more_visit(db: Database, code: str) -> dict[str, Any]:
    """What one more visit of twelve plants would change of this plot today."""
    now = plot_now(db, code)
    fitted = answer(db).meta["fit"]
    sd = float(now["sd_deg"][0])
    after = float(np.sqrt(1 / (1 / sd**2 + 1 / max(fitted["visit_deg"] ** 2 + fitted["plant_deg"] ** 2 / 12, 1e-6))))
    return {"sd_deg": sd, "after_deg": after, "sentence": Sentence("ripeness.visit.one_more", {"before": Z95 * sd, "after": Z95 * after, "plants": 12})}
