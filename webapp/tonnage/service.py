"""Plants, piñas and tonnes as other rooms see them: one stored answer, joint draws on any grid of days."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np

from .. import answers, clock, settings
from ..answers import Answer
from ..database import Database, atomic
from ..land import service as land
from ..quantity import Estimate
from ..sentences import Sentence
from ..survey import service as survey
from ..weeks import monday_of, weeks_from
from . import accounting, believed, drawing, pina, reckoning, store, tied
from . import learned as teaching
from .accounting import Z80

STAGE, WEEKS = "tonnage", 105
DEFAULT_AGE_YEARS, WORTH_SAYING = 4.0, 0.005
CHECKED_AGE_SD_YEARS, UNKNOWN_AGE_SD_YEARS = 0.3, 2.0
"""Of a year a crew told, of no date at all (assumptions)."""
SAID_WEEKS = (4, 12, 26)
"""Weeks ahead that are kept when said."""


def key(db: Database) -> str:
    return answers.key_of(data=survey.data_version(db), settings=settings.load(db).version, today=clock.of(db).today().isoformat())


def stale(a: Answer, db: Database) -> bool:
    return a.key != key(db)


def answer(db: Database, fresh: bool = False) -> Answer:
    """The last stored answer (made now when there is none, or when ``fresh``)."""
    found = None if fresh else answers.latest(db, STAGE)
    return found if found is not None else make(db)


def make(db: Database) -> Answer:
    """Estimate every standing plot's plants, mean piña and tonnes by week, and store it."""
    this = key(db)
    made = answers.put(db, STAGE, this, *reckon(db, settings.load(db)))
    _keep_said(db, made)
    return made


def _keep_said(db: Database, a: Answer) -> None:
    """What is said today about piñas and tonnes 4, 12 and 26 weeks ahead, stored when it is said."""
    weeks, g = a.meta["weeks"], a.arrays
    rows = [(a.key, a.meta["today"], code, weeks[h], float(g["pina_kg"][i, h]), float(g["pina_log_sd"][i, 0]), *(float(g[name][i, h]) for name in ("mass_t", "mass_lo", "mass_hi")))
            for h in SAID_WEEKS for i, code in enumerate(a.meta["plots"])]
    with atomic(db):
        store.SAID.keep(db, rows)


def reckon(db: Database, s: settings.Settings) -> tuple[dict, dict]:
    """(meta, arrays) of an answer under these settings, from the records as they are; nothing is stored."""
    today = clock.of(db).today()
    frame = land.plots(db)
    all_plots = frame.sort_index()
    standing = all_plots[all_plots["status"] == "standing"]
    plots, weeks = list(standing.index), weeks_from(today, WEEKS)
    planted, age_sd = _planting(db, all_plots, today)
    found = reckoning.reckon(all_plots, plots, planted, today, _tables(db), s, age_sd)
    growth, accounts, losses, now_age = found.growth, found.accounts, found.losses, found.now_age
    days = np.array([monday_of(w).toordinal() + 3 for w in weeks], float)
    arrays = accounting.by_day(growth, accounts, now_age, days, today, losses)
    arrays |= drawing.stored(found)
    generations = reckoning.by_generation(found)
    by_plot = {code: {"generations": generations[i], "quiotes": reckoning.quiotes(found, i)} | _about(code, i, accounts[i], arrays, int(found.n_weighed[i]), int(found.n_loads[i]), age_sd[code] < UNKNOWN_AGE_SD_YEARS, bool(now_age[i] < 0)) for i, code in enumerate(plots)}
    meta = {"plots": plots, "weeks": weeks, "today": today.isoformat(), "by_plot": by_plot, "mortality_per_year": losses.mortality, "mortality_sd": losses.mortality_sd,
            "pina_level_log": float(growth.theta[0]), "pina_plot_log_sd": growth.plot_sd, "data_version": survey.data_version(db),
            "learned": teaching.about(found.spells, found.everyone, plots, arrays["pina_kg"][:, 0], found.kg_a_year_ago, found.widened, today)}
    return meta, {n: np.asarray(v, np.float32) if n in ("mass_t", "mass_lo", "mass_hi", "pina_kg") else np.asarray(v, float) for n, v in arrays.items()}


def _tables(db: Database) -> accounting.Tables:
    """Of a load out of scale the plants count and the mass does not; a weighing out of scale does not count."""
    odd, loads, weighings = survey.out_of_scale(db), survey.loads(db), survey.weighings(db)
    if odd:
        loads, weighings = loads.assign(net_kg=loads["net_kg"].mask(loads["id"].isin(odd))), weighings[~weighings["id"].isin(odd)]
    return accounting.Tables.of(survey.row_counts(db), survey.losses(db), survey.labors(db), loads, weighings)


def _planting(db: Database, frame: Any, today: date) -> tuple[dict[str, date], dict[str, float]]:
    """Planting date of every plot, and the sd of its age in years: of the papers, else of the crew's check (a year), else the estate's usual age."""
    checks = survey.age_checks(db).drop_duplicates("plot", keep="last").set_index("plot")["planting_year"].to_dict()
    known = {code: d for code, d in frame["planted_on"].items() if d}
    middle = date.fromordinal(int(np.median([d.toordinal() for d in known.values()]))) if known else date.fromordinal(today.toordinal() - int(DEFAULT_AGE_YEARS * 365.25))
    dates = {code: known.get(code) or (date(int(checks[code]), 7, 15) if code in checks else middle) for code in frame.index}
    return dates, {code: 0.0 if code in known else CHECKED_AGE_SD_YEARS if code in checks else UNKNOWN_AGE_SD_YEARS for code in frame.index}


def _about(code: str, i: int, a: accounting.Account, arrays: dict, weighed: int, loads: int, dated: bool, to_come: bool = False) -> dict[str, Any]:
    """``to_come``: planted after today, so none of its plants stands yet (the account tells how many will)."""
    kg, log_sd = float(arrays["pina_kg"][i, 0]), float(arrays["pina_log_sd"][i, 0])
    plants = Estimate(a.standing, max(a.standing - Z80 * a.sd, 0.0), a.standing + Z80 * a.sd, "plants", a.n_counts, "tonnage.how.counts" if a.n_counts else "tonnage.how.planted")
    if to_come:
        plants = Estimate(0.0, 0.0, 0.0, "plants", 0, "tonnage.how.to_come")
    mass = Estimate(kg, kg * float(np.exp(-Z80 * log_sd)), kg * float(np.exp(Z80 * log_sd)), "kg", weighed + loads, "tonnage.how.loads" if loads else "tonnage.how.weighings" if weighed else "tonnage.how.curve")
    why = [Sentence(plants.how, {"n": a.n_counts}), Sentence(mass.how, {"n": weighed, "loads": loads})]
    if not dated:
        why.append(Sentence("tonnage.how.no_age", {}))
    return {"plants": plants.as_dict(), "mass_kg": mass.as_dict(), "n_counts": a.n_counts, "n_weighings": weighed, "n_loads": loads, "balance": a.as_dict(), "to_come": to_come, "why": [s.as_dict() for s in why]}


def learned(db: Database, plot: str | None = None, a: Answer | None = None) -> dict[str, Any] | None:
    """What weighed loads taught, with its ``sentence``: of a plot (its last spell of cutting: ``said_kg`` before, ``came_kg`` over the scale,
    ``says_kg`` now for the same days, 80 % intervals, ``bias_share``, ``left_share``; without loads what others' moved), or of the estate
    (``before`` and ``now`` of the last year's spells, ``quarters``). None for a plot nothing is known of.

    Shown, never applied: the loads are data of the fit, and what they show is taken out there, once.
    """
    told = (a or answer(db)).meta["learned"]
    if plot is None:
        return told["estate"] | {"sentence": teaching.of_estate(told["estate"])}
    one = told["plots"].get(plot)
    return one and one | {"sentence": teaching.of_plot(one)}


def expected_t(a: Answer) -> np.ndarray:
    """[P, T] mean tonnes of the log-normal whose median and 80 % interval the answer stores: as the mean of the crop's draws, which every page shows."""
    middle, high = a.arrays["mass_t"].astype(float), a.arrays["mass_hi"].astype(float)
    return middle * np.exp(0.5 * (np.log(np.maximum(high, 1e-9) / np.maximum(middle, 1e-9)) / Z80) ** 2)


def draws(a: Answer, n: int, seed: int, days: np.ndarray | None = None, told: tied.Told | None = None) -> tuple[np.ndarray, np.ndarray]:
    """(plants [n, P, T], piña kg [n, P, T]) joint draws; mortality and growth drawn once for the whole estate; ``told`` what else speaks of
    the plots' piñas in the same draws."""
    today = date.fromisoformat(a.meta["today"])
    if days is None:
        days = np.array([monday_of(w).toordinal() + 3 for w in a.meta["weeks"]], float)
    return drawing.draw(a.arrays, np.maximum((days - today.toordinal()) / 365.25, 0.0), n, seed, told)


def weighed(a: Answer, plots: list[str]) -> tied.Weighed | None:
    """What weighings and loads say of these plots' own effects, in this order; None from an answer made before it was kept, or of other plots."""
    return tied.weighed(a.arrays) if plots == a.meta["plots"] else None


def beliefs_of(a: Answer, s: settings.Settings) -> list[believed.Belief]:
    """What the estate's data say of piñas and losses, beside what was believed before them."""
    g = a.arrays
    return believed.beliefs(g["g_theta"], g["g_cov"], float(g["g_plot_sd"]), pina.Curve(*map(float, g["g_curve"])), s["pina_log_sd"], tuple(map(float, g["mortality"][:2])),
                           (s["annual_mortality"], s["annual_mortality_sd"]), float(g["g_plot_log_sd"]) if "g_plot_log_sd" in g else None)


def plant_sentences(db: Database, code: str) -> list[Sentence]:
    """What else there is to say of a plot's plants: quiotes to come, generations of replanted gaps."""
    about = answer(db).meta["by_plot"][code]
    q, parts = about["quiotes"], about["generations"]
    told = [] if q["next_year_share"] < WORTH_SAYING else [Sentence("tonnage.quiotes_uncounted" if q["counted_share"] is None else "tonnage.quiotes",
                     {"share": 100 * q["next_year_share"], "plants": q["next_year_plants"]} | ({} if q["counted_share"] is None else {"seen": 100 * q["counted_share"]}))]
    if len(parts) > 1:
        told.append(Sentence("tonnage.generations", {"n": len(parts), "share": 100 * sum(p["plants"] for p in parts[1:]) / max(sum(p["plants"] for p in parts), 1e-9)}))
    return told


def balance_sentence(db: Database, code: str) -> Sentence:
    """The plot's account in one sentence: planted + replanted − cut − lost = standing, and the last count's z."""
    about = answer(db).meta["by_plot"][code]
    b = about["balance"]
    if about.get("to_come"):
        return Sentence("tonnage.balance_to_come", {"planted": b["planted"]})
    name = "tonnage.balance" if b["count_z"] is not None else "tonnage.balance_uncounted"
    return Sentence(name, {"planted": b["planted"], "replanted": b["replanted"], "cut": b["cut"], "recorded": b["recorded_losses"], "estimated": b["estimated_losses"],
                           "standing": b["standing"], "z": b["count_z"] if b["count_z"] is not None else 0.0})
