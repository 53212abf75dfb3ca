"""The steps from an estate's tables to plants and piñas of every plot, in their order; pure, so that the bench runs the product's own."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Mapping

import numpy as np
import pandas as pd

from . import accounting, estimate, generations, known, learning, pina, weighed
from .accounting import Losses, Tables, Usual
from .balance import Account
from .pina import Growth
from .weighed import Equations, Generations, Sds


@dataclass(frozen=True)
class Found:
    """Of the standing plots [P], in their order: growth, accounts, age today in years, piñas weighed and loads used; of all plots: the
    equations and standard deviations the growth was found by, the place of each standing plot among them ``at``, and what loads
    showed of forecasts (``spells``, by place among all plots); ``kg_a_year_ago`` today's mean piña as the records of a year ago tell it."""

    growth: Growth
    accounts: list[Account]
    losses: Losses
    now_age: np.ndarray
    n_weighed: np.ndarray
    n_loads: np.ndarray
    equations: Equations
    sds: Sds
    everyone: list[str]
    at: np.ndarray
    generations: Generations
    spells: list[learning.Spell]
    widened: float
    kg_a_year_ago: np.ndarray
    facts: known.Known


def reckon(frame: pd.DataFrame, plots: list[str], planted: dict[str, date], today: date, tables: Tables, s: Mapping[str, Any], age_sd: Mapping[str, float] | None = None) -> Found:
    """``frame`` of all plots by code (loads of plots already cut teach the growth curve too), ``plots`` those standing, ``s`` the settings' values,
    ``age_sd`` years by which the age of a plot may be off."""
    everyone = list(frame.index)
    curve = pina.Curve(s["pina_asymptote_kg"], s["pina_shape"], s["pina_rate_per_year"], s["peak_age_months"] / 12, -12 * float(np.log1p(-s["loss_per_month"])))
    usual = Usual(s["planting_density_ha"], s["annual_mortality"], s["annual_mortality_sd"], s["quiote_lost_share"])
    plants = {code: n for code, (n, _) in accounting.planted_plants(everyone, frame, usual).items()}
    went_in = generations.of_plots(everyone, planted, plants, tables.labors, today, s["annual_mortality"])
    facts = known.gather(plants, tables.weighings, tables.loads, tables.labors, tables.counts)
    seen, n_weighed, n_loads = estimate.mass_seen(everyone, planted, tables.weighings, tables.loads, today, facts)
    standing_as = np.array([facts.row(code, today, None, None) for code in everyone], float).reshape(len(everyone), len(pina.EXTRAS))
    of_age = pina.age_variance(np.array([(today - planted[code]).days / 365.25 for code in everyone]), np.array([(age_sd or {}).get(code, 0.0) for code in everyone]), curve)
    growth, equations, sds = weighed.fit(seen, len(everyone), curve, s["pina_log_sd"], went_in, standing_as, tuple(float(np.log1p(s[name])) for name in ("leaf_pruning_mass", "fertilising_mass", "capon_mass")), of_age)
    place = {code: i for i, code in enumerate(everyone)}
    at = np.array([place[code] for code in plots], int)
    spells = learning.spells(equations, sds, growth)
    widened = learning.widening(spells)
    mine = growth.of(at).wider(widened)
    now_age = np.array([(today - planted[code]).days / 365.25 for code in plots])
    kg_now = np.exp(pina.log_mass(mine, now_age[:, None], np.zeros(1))[0][:, 0]) if plots else np.zeros(0)
    before = np.exp(pina.log_mass(learning.a_year_ago(equations, sds, growth).of(at), now_age[:, None], np.zeros(1))[0][:, 0]) if plots else np.zeros(0)
    accounts, losses = accounting.accounts(plots, frame, planted, today, tables, usual, kg_now)
    return Found(mine, accounts, losses, now_age, n_weighed[at], n_loads[at], equations, sds, everyone, at, Generations(went_in.lag[at], went_in.share[at]), spells, widened, before, facts)


def quiotes(f: Found, i: int) -> dict[str, Any]:
    """Share of a standing plot's plants expected to flower within a year, how many, and what the last rows counted showed (or None)."""
    share = f.losses.bolting.flowering(float(f.now_age[i]))
    seen = f.facts.quiotes.get(f.everyone[f.at[i]])
    return {"next_year_share": share, "next_year_plants": share * f.accounts[i].standing, "counted_share": seen[-1][1] if seen else None}


def by_generation(f: Found) -> list[list[dict[str, float]]]:
    """Of every standing plot its generations: years since planted, plants standing, mean piña in kg, each of its own age."""
    lag, share = f.generations.lag, f.generations.share
    alone = replace(f.growth, lag=np.zeros((len(lag), 1)), share=np.ones((len(lag), 1)))
    kg = np.exp(np.concatenate([pina.log_mass(alone, np.maximum(f.now_age - lag[:, g], 0.0)[:, None], np.zeros(1))[0] for g in range(lag.shape[1])], axis=1)) if len(lag) else np.zeros((0, 1))
    return [[{"age_years": float(f.now_age[i] - lag[i, g]), "plants": float(share[i, g] * f.accounts[i].standing), "mass_kg": float(kg[i, g])} for g in range(lag.shape[1]) if share[i, g] > 0] for i in range(len(lag))]
