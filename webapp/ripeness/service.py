"""Ripeness as other rooms see it: one stored answer for the estate, one plot at once, draws."""

from __future__ import annotations

from dataclasses import asdict, replace
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
from . import curve, fitting, futures, growth, picked, plot_effects, rare, readiness, ripening, store, terms, visits, weighing, why
from . import inputs_service as inputs
from .readiness import Limits

STAGE, WEEKS = "ripeness", 105
PLOTS_AT_ONCE = 400
QUARTER_DAYS = 91.3125
SAID_WEEKS = (4, 12, 26)
"""Weeks ahead that are kept when said."""


def key(db: Database) -> str:
    return answers.key_of(data=survey.data_version(db), settings=settings.load(db).version, today=clock.of(db).today().isoformat())


def stale(answer: Answer, db: Database) -> bool:
    """Whether records, land, settings or the day have moved on since the answer was made."""
    return answer.key != key(db)


def limits(db: Database, values: settings.Settings | None = None) -> Limits:
    """The thresholds as set, or as ``values`` would set them."""
    s = settings.load(db) if values is None else values
    return Limits(**{name: float(s[name]) for name in Limits.__dataclass_fields__})


def fit(db: Database, progress: Progress = no_progress) -> str:
    """Fit the estate and store the answer; returns its key."""
    this = key(db)
    meta, arrays = reckon(db, limits(db), progress)
    meta |= {"settings_version": settings.load(db).version}
    answers.put(db, STAGE, this, meta, arrays)
    _keep_said(db, this, meta["plots"], arrays, clock.of(db).today())
    return this


def reckon(db: Database, lim: Limits, progress: Progress = no_progress) -> tuple[dict, dict]:
    """(meta, arrays) of an answer under these limits, from the records as they are; nothing is stored."""
    today = clock.of(db).today()
    plots, ground, how, frame = inputs.ground(db, today)
    seen = inputs.seen(db, plots, ground)
    progress(0.1, "work.ripeness")
    if plots:
        model, seen = fitting.fit_weighed(seen, ground, lim.peak_age_months, float(today.toordinal()))
    else:
        empty = visits.gather(["–"], *(np.zeros(0) for _ in range(5)))
        nobody = ripening.Land(np.array([today.toordinal() - 1500.0]), np.zeros(1), np.zeros(1, int), ground.zones)
        model = fitting.fit_estate(empty, nobody, lim.peak_age_months, float(today.toordinal()))
        model = replace(model, about=np.zeros(0), widen=model.widen[:0])
    progress(0.8, "work.ripeness")
    meta, arrays = _answer(model, plots, ground, how, frame, seen, inputs.visits_aside(db, plots), lim, today)
    return meta | {"plain_curve": _plain(model, ground, seen), "data_version": survey.data_version(db)}, arrays


def fit_only(db: Database) -> ripening.Fit:
    """The fit alone, from the records as they are, nothing stored (for measuring)."""
    today = clock.of(db).today()
    plots, ground, _, _ = inputs.ground(db, today)
    return fitting.fit_estate(inputs.seen(db, plots, ground), ground, limits(db).peak_age_months, float(today.toordinal()))


def _answer(model: ripening.Fit, plots: list[str], ground: ripening.Land, how: list[str], frame: Any, seen: visits.Visits, aside: np.ndarray, lim: Limits, today: date,
            measured: bool | None = None) -> tuple[dict, dict]:
    """``aside`` [P] visits of each plot that are not among those ``seen``; ``measured``: somebody has read some plot of the estate (None: as these visits say)."""
    weeks = weeks_from(today, WEEKS)
    measured = bool(seen.mask.any()) if measured is None else measured
    parts, by_plot, doubted = [], {}, aside + (seen.mask & ~seen.counts)[: len(plots)].sum(axis=1)
    for start in range(0, max(len(plots), 1), PLOTS_AT_ONCE):  # some at a time: memory stays flat
        at = np.arange(start, min(start + PLOTS_AT_ONCE, len(plots)))
        some, land_of, seen_of = ripening.part(model, ground, seen, at)
        post = ripening.posterior(some, seen_of, land_of, some.about)
        out = ripening.ahead(some, post, np.array([monday_of(w).toordinal() + 3 for w in weeks], float))
        arrays = _curves(some, out, lim, land_of) | {"sd_after_visit_deg": ripening.after_one_visit(some, post, out, int(float(k.VISIT_PLANTS)))}
        before, pace = ripening.before_visits(some, post, out), ripening.pace_months(some, post)
        by_plot |= {plots[i]: _about(j, plots[i], some, out, pace, before, land_of, how[i], frame, seen_of, int(doubted[i]), arrays, lim, weeks, today, measured) for j, i in enumerate(at)}
        parts.append({name: value.astype(np.float32) if value.dtype == np.float64 else value for name, value in arrays.items()})
    arrays = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    stored = {f"fit_{name}": np.asarray(value, float) for name, value in vars(model).items()}
    stored |= {f"visit_{name}": getattr(seen, name) for name in visits.PADDED}
    stored |= {f"land_{name}": getattr(ground, name) for name in ripening.LAND_ARRAYS if getattr(ground, name) is not None}
    stored |= {f"picked_{name}": getattr(ground.picked, name) for name in picked.ARRAYS} if ground.picked else {}
    meta = {"plots": plots, "weeks": weeks, "today": today.isoformat(), "zones": list(ground.zones), "converged": model.converged, "fit_step": model.step,
            "fit": {f"{name}_{'months' if 'pace' in name else 'deg'}": float(model.sd(name)) for name in ripening.COMPONENTS}, "by_plot": by_plot, "oldest_months": model.oldest_months, "limits": asdict(lim),
            "plants_sd_deg": visits.scatter_deg(seen), "n_readings": int(seen.n.sum()), "n_visits": int(seen.mask.sum()), "n_doubted": int(doubted.sum())}
    return meta, arrays | stored


def _plain(model: ripening.Fit, ground: ripening.Land, seen: visits.Visits) -> dict[str, float] | None:
    """A plain logistic through all visits beside the model's own curve, as a check that needs no prior: {top_brix_deg, half_age_months, gap_deg, visits}."""
    age = (seen.day - ground.planted[:, None]) / ripening.DAYS_PER_MONTH if len(ground.planted) else np.zeros((0, 1))
    at = seen.counts[: len(age)] & (age > 0)
    grown = growth.plain_curve(age[at], (seen.mean[: len(age)] - curve.season(seen.day[: len(age)]) @ curve.season_practice())[at], seen.n[: len(age)][at])
    if grown is None:
        return None
    grid = np.arange(np.quantile(age[at], 0.05), np.quantile(age[at], 0.95), 1.0)
    zones = len(ground.zones)
    weight = np.bincount(ground.zone, seen.mask[: len(age)].sum(axis=1), zones)
    paces, levels = (model.theta[terms.columns(zones)[name]] @ weight / weight.sum() for name in ("zone_pace", "zone"))
    ours = terms.height(grid + paces, model.theta, zones, model.peak_months) + levels
    return {"top_brix_deg": float(grown.b[0]), "half_age_months": float(grown.b[1] / grown.b[2]), "gap_deg": float(np.abs(ours - grown.at(grid)).mean()), "visits": int(at.sum())}


def _curves(model: ripening.Fit, out: ripening.Outlook, lim: Limits, land_of: ripening.Land) -> dict[str, np.ndarray]:
    """What is asked of the standing plants: passes took the ripest, and capones that are ready count as ripe."""
    sd = np.sqrt(out.var)
    plant = ripening.plants_sd(model, out, land_of)
    mean = out.mean + plant * picked.shift(out.taken)
    share, low, high, expected = picked.share_of_standing(mean, sd, plant, model.residuals, lim.target_brix_deg, out.taken, out.ready, out.rare_part)
    keep, (low80, high80), (low95, high95) = readiness.keep_share(out.age, lim), *((mean + side * sd for side in rare.ends(level, out.rare_part)) for level in (0.8, 0.95))
    return {"mean_deg": mean, "sd_deg": sd, "rare_part": out.rare_part, "lo80": np.maximum(low80, 0.0), "hi80": high80, "lo95": np.maximum(low95, 0.0), "hi95": high95,  # no juice has less than nought
            "share": share, "share_lo": low, "share_hi": high, "share_expected": expected, "chance": readiness.chance(mean, sd, lim.target_brix_deg, out.rare_part), "keep_share": keep, "plant_sd_deg": plant, "taken": out.taken, "ready": out.ready,
            "condition": readiness.condition(share, keep, out.age, lim)}


def _about(i: int, code: str, model: ripening.Fit, out: ripening.Outlook, paces: np.ndarray, before: np.ndarray, ground: ripening.Land, how: str, frame: Any, seen: visits.Visits, doubted: int, arrays: dict,
            lim: Limits, weeks: list[str], today: date, measured: bool) -> dict[str, Any]:
    n = int(seen.counts[i].sum())
    age = float((today.toordinal() - ground.planted[i]) / ripening.DAYS_PER_MONTH)
    last = date.fromordinal(int(seen.day[i][seen.counts[i]].max())) if n else None
    share_borrowed = float(why.borrowed(before[i], out.var[i, 0] / out.wider[i, 0] ** 2)) if n else 1.0
    pace = float(paces[i])
    year = curve.season(np.arange(365) + today.toordinal()) @ _season_of(model, ground, i)
    ends = arrays["share"][i: i + 1], arrays["keep_share"][i: i + 1], lim
    window = readiness.windows(*ends)[0]
    beyond = out.age[i] > model.oldest_months + float(k.EXTRAPOLATED_MONTHS)
    zone = frame.at[code, "zone"] or ""
    told = why.sentences(n, doubted, int(np.maximum(seen.n, seen.alike)[i][seen.counts[i]][-1]) if n else 0, last, today, pace, share_borrowed, zone, how, float(year[0]), float(year.max()), bool(beyond[0]), (age + pace) if ground.age_sd[i] and n else None, measured)
    return {"n_visits": n, "n_doubted": doubted, "last_visit": last.isoformat() if last else None, "age_months": age, "age_how": how,
            "borrowed_share": share_borrowed, "pace_months": pace, "extrapolated": bool(beyond[0]), "extrapolated_from": weeks[int(np.argmax(beyond))] if beyond.any() else None,
            "window": [weeks[window[0]], weeks[window[1]] if window[1] is not None else None] if window else None, "window_kind": readiness.window_kinds(*ends)[0], "why": [s.as_dict() for s in told]}


def _season_of(model: ripening.Fit, ground: ripening.Land, i: int) -> np.ndarray:
    where = terms.columns(len(ground.zones))
    return curve.season_practice() + model.theta[where["season"]] + model.theta[where["zone_season"]].reshape(-1, 4)[ground.zone[i]]


def _keep_said(db: Database, fit_key: str, plots: list[str], arrays: dict, today: date) -> None:
    """What is said today about 4, 12 and 26 weeks ahead, stored when it is said."""
    weeks, visit = weeks_from(today, 28), max(float(arrays["fit_sds"][ripening.COMPONENTS.index("visit")]), 0.0)
    about = {name: arrays[name].tolist() for name in ("mean_deg", "sd_deg", "share", "chance", "plant_sd_deg", "rare_part")}
    kind = rare.kind()
    rows = [(fit_key, today.isoformat(), code, weeks[h], *(about[name][i][h] for name in ("mean_deg", "sd_deg", "share", "chance")),
             (about["mean_deg"][i][h + 1] - about["mean_deg"][i][h - 1]) / 2, visit, about["plant_sd_deg"][i][h], about["rare_part"][i][h], kind.chance, kind.up) for h in SAID_WEEKS for i, code in enumerate(plots)]
    with atomic(db):
        store.SAID.keep(db, rows)


def answer(db: Database, fresh: bool = False) -> Answer:
    """The last stored answer (made now when there is none, or when ``fresh``)."""
    found = None if fresh else answers.latest(db, STAGE)
    return found if found is not None else answers.get(db, STAGE, fit(db))


def limits_of(a: Answer) -> Limits:
    """The thresholds the answer was made with (today's settings may have moved on since)."""
    return Limits(**a.meta["limits"])


def unplanted(a: Answer) -> np.ndarray:
    """[P, W] True in the weeks before a plot's planting (the first week goes by the answer's day, others by their Thursday): none of its plants stands, so nobody says °Brix, share or condition of it."""
    out = a.arrays["land_planted"][:, None] > np.array([monday_of(w).toordinal() + 3 for w in a.meta["weeks"]])
    out[:, :1] = np.array([a.meta["by_plot"][code]["age_months"] < 0 for code in a.meta["plots"]], bool)[:, None]
    return out


def model_of(a: Answer) -> tuple[ripening.Fit, ripening.Land, visits.Visits]:
    """The stored fit, land and visits of an answer."""
    stored = {name[4:]: value for name, value in a.arrays.items() if name.startswith("fit_")}
    numbers = {name: float(stored[name]) for name in ("oldest_months", "peak_months", "spread_slope")} | {"step": int(stored.get("step", 0))}
    model = ripening.Fit(**{**stored, **numbers, "converged": bool(stored["converged"])})
    own = {name: a.arrays.get(f"land_{name}") for name in ripening.LAND_ARRAYS}
    stand = picked.Picked(*(a.arrays[f"picked_{name}"] for name in picked.ARRAYS)) if f"picked_{picked.ARRAYS[0]}" in a.arrays else None
    ground = ripening.Land(**own, zones=tuple(a.meta["zones"]), picked=stand)
    seen = visits.Visits(**{name: a.arrays.get(f"visit_{name}", np.zeros(a.arrays["visit_mask"].shape)) for name in visits.PADDED}, residuals=np.zeros(0), residual_plot=np.zeros(0, int), residual_day=np.zeros(0))
    return model, ground, seen


def _one(db: Database, a: Answer, code: str, readings: Any = None) -> tuple[ripening.Fit, ripening.Land, list[str], Any, visits.Visits]:
    """The stored fit cut down to one plot, with that plot's land and visits of today. Problem ``plot_not_standing``."""
    model, _, fitted = model_of(a)
    plots, now, how, frame = inputs.ground(db, clock.of(db).today())
    if code not in plots:
        raise Problem("plot_not_standing", where=code, status=404)
    i, zones = plots.index(code), a.meta["zones"]
    name = frame.at[code, "zone"] or ""
    one = replace(now.of(np.array([i])), zone=np.array([zones.index(name) if name in zones else 0]), zones=tuple(zones))
    if code in a.meta["plots"]:
        at = a.meta["plots"].index(code)
        about, widen, before = model.about[at: at + 1], model.widen[at: at + 1], fitted.of(np.array([at]))
    else:  # came after the fit: on the estate's curve, as wide as the widest of those fitted
        about, widen = np.zeros(1), model.widen.max(axis=0, keepdims=True, initial=1.0)
        before = None
    model = replace(model, about=about, widen=widen)
    return model, one, [how[i]], frame, weighing.again(model, inputs.seen(db, [code], one, a.meta.get("plants_sd_deg"), readings), one, a.meta.get("n_visits"), before)


def plot_now(db: Database, code: str, readings: Any = None) -> dict[str, Any]:
    """One plot's answer [W] from the stored fit and today's records, in closed form; ``why`` and ``window`` included.

    With ``readings`` (a table like survey's) it is what these would say in place of those in force.
    """
    a = answer(db)
    if readings is None and not stale(a, db) and code in a.meta["plots"]:
        i = a.meta["plots"].index(code)
        return {"weeks": a.meta["weeks"], **{n: a.arrays[n][i] for n in CURVES}, **a.meta["by_plot"][code]}
    model, one, how, frame, seen = _one(db, a, code, readings)
    meta, arrays = _answer(model, [code], one, how, frame, seen, inputs.visits_aside(db, [code], readings), limits(db), clock.of(db).today(), bool(a.meta.get("n_visits")) or None)
    return {"weeks": meta["weeks"], **{n: arrays[n][0] for n in CURVES}, **meta["by_plot"][code]}


def plot_curve(db: Database, code: str, days: list[date]) -> dict[str, np.ndarray]:
    """One plot's curve at any days, past ones too, in closed form: what the model says the plot was and will be; ``age_months`` counts its pace."""
    model, one, _, _, seen = _one(db, answer(db), code)
    out = ripening.ahead(model, ripening.posterior(model, seen, one, model.about), np.array([d.toordinal() for d in days], float))
    return {"age_months": np.maximum(out.age[0], 0.0), **{name: value[0] for name, value in _curves(model, out, limits(db), one).items()}}


def plot_end(db: Database, code: str) -> plot_effects.Ends:
    """When one plot's cutting window ends, in closed form, and what one more visit would leave of its sd."""
    model, one, _, _, seen = _one(db, answer(db), code)
    return plot_effects.ends(model, one, seen, monday_of(clock.of(db).week()).toordinal() + 3.0, limits(db), float(k.VISIT_PLANTS))


CURVES = ("mean_deg", "sd_deg", "rare_part", "lo80", "hi80", "lo95", "hi95", "share", "share_lo", "share_hi", "chance", "keep_share", "condition", "sd_after_visit_deg", "plant_sd_deg", "taken", "ready")


def _draws(db: Database, a: Answer, n: int, seed: int, days: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    model, ground, seen = model_of(a)
    post = ripening.posterior(model, seen, ground, model.about)
    out = ripening.ahead(model, post, days)
    mean = futures.draws(model, post, out, n, seed)
    lim = limits_of(a)
    plant = ripening.plants_sd(model, out, ground).astype(np.float32)
    share = picked.with_ready(picked.above((lim.target_brix_deg - mean) / plant, model.residuals, out.taken), out.ready).astype(np.float32)
    return mean + (plant * picked.shift(out.taken)).astype(np.float32), share, readiness.keep_share(out.age, lim).astype(np.float32), plant


def draws(db: Database, a: Answer, n: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """([n, P, W] °Bx, [n, P, W] ripe share) joint draws on the answer's weeks."""
    mean, share, _, _ = _draws(db, a, n, seed, np.array([monday_of(w).toordinal() + 3 for w in a.meta["weeks"]], float))
    return mean, share


def long_draws(db: Database, a: Answer, n: int, seed: int, quarters: int = 56) -> tuple[list[date], np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """(days, °Bx, ripe share [n, P, Q], keep share, sd of plants °Bx [P, Q]) on a quarterly grid from today, for the outlook."""
    today = date.fromisoformat(a.meta["today"])
    days = [today + timedelta(days=round(q * QUARTER_DAYS)) for q in range(quarters)]
    return days, *_draws(db, a, n, seed, np.array([d.toordinal() for d in days], float))


def prior_for_phone(db: Database) -> dict[str, dict[str, float]]:
    """Code → prior of the plot's mean today and the noise of readings, for «enough sampled»; none for a plot not yet planted."""
    a = answer(db)
    visit, plant = max(a.meta["fit"]["visit_deg"], ripening.LEAST_PLANT_SD_DEG), a.arrays["plant_sd_deg"][:, 0]
    return {code: {"mean_deg": round(float(a.arrays["mean_deg"][i, 0]), 3), "sd_deg": round(float(a.arrays["sd_deg"][i, 0]), 3), "visit_sd_deg": round(visit, 3), "plant_sd_deg": round(float(plant[i]), 3)}
            for i, code in enumerate(a.meta["plots"]) if a.meta["by_plot"][code]["age_months"] >= 0}


def what_one_more_visit(db: Database, code: str) -> dict[str, Any]:
    """What one more visit of ``VISIT_PLANTS`` plants would change of this plot today."""
    now = plot_now(db, code)
    sd, after, part = (float(now[name][0]) for name in ("sd_deg", "sd_after_visit_deg", "rare_part"))
    return {"sd_deg": sd, "after_deg": after, "sentence": Sentence("ripeness.visit.one_more", {"before": float(rare.half(0.95, part)) * sd, "after": float(rare.half(0.95, rare.thinned(part, sd, after))) * after, "plants": int(float(k.VISIT_PLANTS))})}
