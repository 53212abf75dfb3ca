"""How many hectares to plant each coming year: the two-stage program over futures.

First stage: hectares of each planting season (the first is binding, later ones are shared by all futures and
decided again next year; an uneven plan costs what idle or hurried nurseries and crews cost). Recourse in each future: what to cut of each cohort in each ripe year, agave bought
outside up to a limit, surplus sold at a price that falls by steps, shortage at its price. Beyond the
horizon every planting still ripens into a need like the last years', in steps of value; without that the
last years would plant nothing. Money is in millions, agave in hundreds of standard tonnes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from .futures import Futures
from .scenario import Result, TwoStage

MILLION, HUNDRED = 1e6, 100.0
CARE_FREE_AGE = 6        # care to this age is spent on every planting; later care only on what still stands
SURPLUS_STEP = 0.15      # of the year's need: surplus sells at full surplus price to here, at half to twice this, then not at all
TYPICAL_CUT_AGE = 7


@dataclass(frozen=True)
class Terms:
    """Prices and limits: MXN and tonnes, per year where they flow."""

    planting_mxn_ha: float
    care_mxn_ha_year: float
    cut_mxn_t: float
    bought_mxn_t: float
    bought_limit_t: float
    surplus_mxn_t: float
    shortage_mxn_t: float
    own_value_mxn_t: float
    land_limit_ha: float
    discount: float
    change_mxn_ha: float = 6000.0
    risk_weight: float = 0.0


@dataclass(frozen=True)
class Layout:
    """Where everything stands in a future's columns: cuts of standing cohorts, of plantings, then by year."""

    cut_g: np.ndarray        # cohort of each standing cut
    cut_t: np.ndarray        # its period
    new_p: np.ndarray        # planting season of each cut of a planting
    new_a: np.ndarray        # age at that cut
    periods: int
    seasons: int             # first-stage columns
    pools: int               # years past the horizon
    reference_t: np.ndarray  # [G] standard tonnes that scale a cohort

    @property
    def bought(self) -> int:
        return len(self.cut_g) + len(self.new_p)

    def at(self, kind: str) -> slice:
        """Columns of bought, short, surplus (two steps) by period, and of the three value steps by pool."""
        start, t = self.bought, self.periods
        where = {"bought": (0, t), "short": (t, t), "surplus": (2 * t, t), "cheap": (3 * t, t),
                 "pool_need": (4 * t, self.pools), "pool_buy": (4 * t + self.pools, self.pools), "pool_surplus": (4 * t + 2 * self.pools, self.pools)}
        offset, size = where[kind]
        return slice(start + offset, start + offset + size)

    @property
    def columns(self) -> int:
        return self.bought + 4 * self.periods + 3 * self.pools


def layout(f: Futures) -> Layout:
    g, t = np.nonzero(f.standing.open & (f.standing.ripe.mean(axis=0) > 0.02))
    ages = np.flatnonzero(f.curve.open)
    seasons = len(f.years) - f.first
    pairs = [(p, a) for p in range(seasons) for a in ages if f.first + p + a < len(f.years)]
    new_p, new_a = (np.array(v, int) for v in zip(*pairs)) if pairs else (np.zeros(0, int), np.zeros(0, int))
    reference = np.maximum(f.standing.standard_t.mean(axis=0).max(axis=1, initial=0.0), 1.0)
    return Layout(g, t, new_p, new_a, len(f.years), seasons, TYPICAL_CUT_AGE, reference)


def program(f: Futures, terms: Terms) -> tuple[TwoStage, Layout]:
    """Build the whole program as arrays (no term-by-term loop over futures)."""
    lay = layout(f)
    s, t, n, m = f.count, lay.periods, lay.seasons, lay.columns
    ages = np.flatnonzero(f.curve.open)
    last_age = ages.max() if len(ages) else 0
    disc = (1 + terms.discount) ** -np.arange(-f.first, t + lay.pools + 12, dtype=float)[:t + lay.pools + 12]
    care = terms.care_mxn_ha_year / MILLION
    yield_ = f.curve.standard_t_ha / HUNDRED
    w_row, w_col, w_value, t_row, t_col, t_value = [], [], [], [], [], []

    def put(rows, columns, values):
        w_row.append(np.atleast_1d(rows)), w_col.append(np.atleast_1d(columns))
        w_value.append(np.broadcast_to(values, (s, np.size(rows))))

    # rows 0…T−1: cut + bought + short − surplus = need
    cut = np.arange(len(lay.cut_g))
    factor = f.standing.standard_t[:, lay.cut_g, lay.cut_t] / lay.reference_t[lay.cut_g]  # a future's tonnes per reference tonne
    put(lay.cut_t, cut, factor)
    new = len(cut) + np.arange(len(lay.new_p))
    new_t = f.first + lay.new_p + lay.new_a
    new_yield = yield_[:, lay.new_a] * f.luck[:, f.first + lay.new_p]
    put(new_t, new, new_yield)
    period = np.arange(t)
    for kind, sign in (("bought", 1.0), ("short", 1.0), ("surplus", -1.0), ("cheap", -1.0)):
        put(period, np.arange(m)[lay.at(kind)], sign)
    need = f.need_t / HUNDRED
    row_low, row_high, k = [need], [need], t

    # a standing cohort can't give more than has ripened by then
    for row, (g, now) in enumerate(zip(lay.cut_g, lay.cut_t)):
        before = np.flatnonzero((lay.cut_g == g) & (lay.cut_t <= now))
        put(np.full(len(before), k + row), before, 1.0)
    row_high.append(f.standing.ripe[:, lay.cut_g, lay.cut_t] * lay.reference_t[lay.cut_g] / HUNDRED)
    row_low.append(np.full((s, len(cut)), -np.inf))
    k += len(cut)
    # nor a planting: Σ cut ≤ ripe share × hectares
    for row, (p, a) in enumerate(zip(lay.new_p, lay.new_a)):
        before = np.flatnonzero((lay.new_p == p) & (lay.new_a <= a))
        put(np.full(len(before), k + row), new[before], 1.0)
    t_row.append(k + np.arange(len(new))), t_col.append(lay.new_p), t_value.append(-f.curve.ripe[:, lay.new_a])
    row_low.append(np.full((s, len(new)), -np.inf)), row_high.append(np.zeros((s, len(new))))
    k += len(new)
    # past the horizon: what is left of each planting is worth its place in a year like the last ones
    pool_of = np.maximum(f.first + np.arange(n) + TYPICAL_CUT_AGE, t) - t
    pool_age = pool_of + t - f.first - np.arange(n)
    usable = (pool_age <= last_age) & (pool_of < lay.pools)
    end_ripe = f.curve.ripe[:, np.minimum(last_age, f.curve.ripe.shape[1] - 1)][:, None]
    end_yield = np.where(usable[None], yield_[:, np.minimum(pool_age, yield_.shape[1] - 1)] * f.luck[:, f.first + np.arange(n)], 0.0)
    t_row.append(k + pool_of), t_col.append(np.arange(n)), t_value.append(-end_yield * end_ripe)
    mine = usable[lay.new_p]
    put(k + pool_of[lay.new_p][mine], new[mine], end_yield[:, lay.new_p][:, mine])
    at_end = np.flatnonzero(_last_open(f)[lay.cut_g] == t - 1) if len(cut) else cut
    for g in np.unique(lay.cut_g[at_end]):
        mine = np.flatnonzero(lay.cut_g == g)
        put(np.full(len(mine), k), mine, f.standing.standard_t[:, [g], t - 1] / lay.reference_t[g])
    still = np.zeros((s, lay.pools))
    for g in np.unique(lay.cut_g[at_end]):
        still[:, 0] += f.standing.ripe[:, g, t - 1] * f.standing.standard_t[:, g, t - 1] / HUNDRED
    for kind in ("pool_need", "pool_buy", "pool_surplus"):
        put(k + np.arange(lay.pools), np.arange(m)[lay.at(kind)], 1.0)
    row_low.append(np.full((s, lay.pools), -np.inf)), row_high.append(still)
    k += lay.pools

    # bounds and costs
    y_high = np.full((s, m), np.inf)
    year_disc = disc[:t]
    q = np.zeros((s, m))
    per = HUNDRED / MILLION
    cut_disc = year_disc[lay.cut_t]
    area_per_reference = np.divide(f.standing.area_ha, lay.reference_t / HUNDRED)
    saved = _care_saved(f, lay, disc, care)
    q[:, cut] = factor * cut_disc * terms.cut_mxn_t * per - (area_per_reference[lay.cut_g] * saved)[None]
    refund = np.array([care * sum(disc[f.first + p + b] for b in range(a, last_age + 1)) for p, a in zip(lay.new_p, lay.new_a)]).reshape(1, -1)
    q[:, new] = new_yield * year_disc[new_t] * terms.cut_mxn_t * per - refund
    q[:, lay.at("bought")] = year_disc * terms.bought_mxn_t * per
    q[:, lay.at("short")] = year_disc * terms.shortage_mxn_t * per
    q[:, lay.at("surplus")] = -year_disc * terms.surplus_mxn_t * per
    q[:, lay.at("cheap")] = -year_disc * terms.surplus_mxn_t * 0.5 * per
    y_high[:, lay.at("bought")] = terms.bought_limit_t / HUNDRED * f.length
    y_high[:, lay.at("surplus")] = y_high[:, lay.at("cheap")] = SURPLUS_STEP * need
    end_need = need[:, -3:].mean(axis=1, keepdims=True)
    pool_disc = disc[t:t + lay.pools]
    q[:, lay.at("pool_need")] = -pool_disc * (terms.shortage_mxn_t - terms.cut_mxn_t) * per
    q[:, lay.at("pool_buy")] = -pool_disc * (terms.bought_mxn_t - terms.cut_mxn_t) * per
    q[:, lay.at("pool_surplus")] = -pool_disc * max(terms.surplus_mxn_t - terms.cut_mxn_t, 0.0) * per
    y_high[:, lay.at("pool_need")] = np.maximum(end_need - terms.bought_limit_t / HUNDRED, 0.0)
    y_high[:, lay.at("pool_buy")] = np.minimum(end_need, terms.bought_limit_t / HUNDRED)
    y_high[:, lay.at("pool_surplus")] = SURPLUS_STEP * end_need
    season_disc = disc[f.first:f.first + n]
    care_all = care * np.array([sum(disc[f.first + p + b] for b in range(0, last_age + 1)) for p in range(n)])
    change = season_disc[1:] * terms.change_mxn_ha / MILLION
    steps = sparse.diags([1.0, -1.0], [1, 0], shape=(n - 1, n))  # hectares of the next season less this one's = more − fewer
    built = TwoStage(
        cost=np.concatenate([season_disc * terms.planting_mxn_ha / MILLION + care_all, change, change]),
        low=np.zeros(3 * n - 2), high=np.concatenate([np.full(n, terms.land_limit_ha), np.full(2 * n - 2, np.inf)]),
        first_rows=sparse.hstack([steps, -sparse.identity(n - 1), sparse.identity(n - 1)]).tocsr(), first_low=np.zeros(n - 1), first_high=np.zeros(n - 1),
        t_row=np.concatenate(t_row), t_col=np.concatenate(t_col), t_value=np.concatenate(t_value, axis=1),
        w_row=np.concatenate(w_row), w_col=np.concatenate(w_col), w_value=np.concatenate(w_value, axis=1),
        q=q, y_low=np.zeros((s, m)), y_high=y_high, row_low=np.concatenate(row_low, axis=1), row_high=np.concatenate(row_high, axis=1),
        weight=np.full(s, 1.0 / s))
    return built, lay


def first_stage(hectares: np.ndarray) -> np.ndarray:
    """All first-stage columns of given hectares by season [N]: the hectares, then what each season is more and fewer than the one before."""
    step = np.diff(hectares)
    return np.concatenate([hectares, np.maximum(step, 0.0), np.maximum(-step, 0.0)])


def _last_open(f: Futures) -> np.ndarray:
    """Last period in which each standing cohort can be cut."""
    t = f.standing.open.shape[1]
    return t - 1 - np.argmax(f.standing.open[:, ::-1], axis=1)


def _care_saved(f: Futures, lay: Layout, disc: np.ndarray, care: float) -> np.ndarray:
    """Care not spent on a standing hectare when it is cut in a period rather than kept to its last."""
    last = _last_open(f)
    return np.array([care * disc[t:last[g] + 1].sum() for g, t in zip(lay.cut_g, lay.cut_t)])


@dataclass(frozen=True)
class Flows:
    """What happens in each future: standard tonnes [S, T]; standing_t and new_t are cut (surplus included);
    lost_t is ripe agave whose last year passed uncut; balance: cohort hectares planted, cut, standing, lost [S, N]."""

    standing_t: np.ndarray
    new_t: np.ndarray
    bought_t: np.ndarray
    short_t: np.ndarray
    surplus_t: np.ndarray
    lost_t: np.ndarray
    planted_ha: np.ndarray
    cut_ha: np.ndarray
    still_ha: np.ndarray
    lost_ha: np.ndarray
    value_mxn: np.ndarray


def flows(f: Futures, terms: Terms, lay: Layout, found: Result) -> Flows:
    """Read a solution back into tonnes, hectares and money, apart from the solver's own accounts."""
    s, t, n = f.count, lay.periods, lay.seasons
    x = np.broadcast_to(found.x[..., :n], (s, n))
    y = found.y
    cuts, news = y[:, :len(lay.cut_g)], y[:, len(lay.cut_g):lay.bought]
    standing_t, new_t, lost_t = np.zeros((s, t)), np.zeros((s, t)), np.zeros((s, t))
    factor = f.standing.standard_t[:, lay.cut_g, lay.cut_t] / lay.reference_t[lay.cut_g]
    np.add.at(standing_t.T, lay.cut_t, (cuts * factor).T * HUNDRED)
    yields = f.curve.standard_t_ha[:, lay.new_a] * f.luck[:, f.first + lay.new_p]
    np.add.at(new_t.T, f.first + lay.new_p + lay.new_a, (news * yields).T)
    for g in np.unique(lay.cut_g):
        end = _last_open(f)[g]
        if end < t - 1:
            left = f.standing.ripe[:, g, end] - cuts[:, lay.cut_g == g].sum(axis=1) * HUNDRED / lay.reference_t[g]
            lost_t[:, end] += np.maximum(left, 0) * f.standing.standard_t[:, g, end]
    last_age = int(lay.new_a.max(initial=0)) if not f.curve.open.any() else int(np.flatnonzero(f.curve.open).max())
    cut_ha, lost_ha, still_ha = np.zeros((s, n)), np.zeros((s, n)), np.zeros((s, n))
    for p in range(n):
        cut_ha[:, p] = news[:, lay.new_p == p].sum(axis=1)
        end = f.first + p + last_age
        rest = np.maximum(x[:, p] - cut_ha[:, p], 0.0)
        if end < t - 1:
            lost_ha[:, p] = rest
            lost_t[:, end] += rest * f.curve.ripe[:, last_age] * f.curve.standard_t_ha[:, last_age] * f.luck[:, f.first + p]
        else:
            still_ha[:, p] = rest
    own_value = (f.need_t * (1 + terms.discount) ** -(np.arange(t) - f.first)).sum(axis=1) * terms.own_value_mxn_t
    by = {kind: y[:, lay.at(kind)] * HUNDRED for kind in ("bought", "short", "surplus", "cheap")}
    return Flows(standing_t, new_t, by["bought"], by["short"], by["surplus"] + by["cheap"], lost_t,
                 x.copy(), cut_ha, still_ha, lost_ha, own_value - found.future_cost * MILLION)
