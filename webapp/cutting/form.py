"""Form B of the weekly cutting model as sparse arrays; pure numbers, no solver here.

Columns   x[p,w] ≥ 0   week-0 tonnes of plot p cut in week w
          q[j] ∈ {0,1} window j = (plot, first week s, weeks n) is used
          g[z,w] ∈ [0,1] some plot of zone z is active in w (whole by itself once q is)
          d[w], lo[w], hi[w] ≥ 0   t short of the need; t of sugar below, above the blend
Maximise  Σ (L·v − e)x − Σ cost_j q − c_z Σ g − p_s Σ d − p_b Σ (lo + hi)
Rows      high    ΣLx ≤ M⁺            low   ΣLx + d ≥ M⁻        crew, trips   Σ a L x ≤ C, R
          blend   Σ(S−lo)Lx + lo ≥ 0,  Σ(S−hi)Lx − hi ≤ 0
          plots   Σ_j∋w q ≤ N          zone  Σ_j∋w q[p] ≤ g[z(p),w]   one row per plot, not summed per zone
          rest    windows with their rest after them don't overlap    most  Σ_j q[p] ≤ passes
          week    x[p,w] ≤ share·T·Σ_j∋w q
          ripe    Σ_{≤w} x ≤ T·Σ_{s_j ≤ w} F[min(w, end_j)] q_j and ≤ F[w]·T
          least   Σ_{window} x ≥ share·T·q
          order   Σ_j∋w q = 1 in weeks already ordered, x fixed
(After the compact window formulation of our planning notes, §1.1; rows in kMXN and tonnes, blend ×10.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix

from .problem import CuttingProblem
from .windows import Windows

BLEND_SCALE = 10.0
LINKING = ("high", "low", "crew", "trips", "blend_low", "blend_high", "plots")


@dataclass(frozen=True)
class Form:
    """max cost·x, low ≤ A x ≤ high, 0 ≤ x ≤ upper (``lower`` for fixed ones); ``x_at`` [P,W] column or −1."""

    matrix: csr_matrix
    cost: np.ndarray
    lower: np.ndarray
    upper: np.ndarray
    row_low: np.ndarray
    row_high: np.ndarray
    x_at: np.ndarray
    q_first: int
    windows: Windows
    linking: dict[str, tuple[int, int]]   # rows of each linking family, one per week

    @property
    def q(self) -> slice:
        return slice(self.q_first, self.q_first + len(self.windows))


class _Rows:
    """Rows gathered as arrays; nothing is added term by term."""

    def __init__(self) -> None:
        self.row, self.col, self.val, self.low, self.high, self.n = [], [], [], [], [], 0

    def add(self, parts: list[tuple[np.ndarray, np.ndarray, np.ndarray]], low, high, count: int) -> int:
        """``parts`` = (row within family, column, value) arrays; returns the family's first row."""
        first = self.n
        for row, col, val in parts:
            self.row.append(np.asarray(row, int) + first)
            self.col.append(np.asarray(col, int))
            self.val.append(np.broadcast_to(np.asarray(val, float), np.shape(row)))
        self.low.append(np.broadcast_to(np.asarray(low, float), (count,)))
        self.high.append(np.broadcast_to(np.asarray(high, float), (count,)))
        self.n += count
        return first

    def matrix(self, columns: int) -> csr_matrix:
        data = coo_matrix((np.concatenate(self.val), (np.concatenate(self.row), np.concatenate(self.col))), shape=(self.n, columns))
        out = data.tocsr()
        out.sum_duplicates()
        return out


def build(problem: CuttingProblem, windows: Windows, fixed: np.ndarray | None = None) -> Form:
    """The form over a set of windows; windows marked in ``fixed`` [J] bool must be used."""
    (P, W), Z, J = problem.shape, len(problem.zones), len(windows)
    rules, costs, T = problem.rules, problem.costs, problem.stand_t
    ripe, cap = problem.ripe, problem.cap
    row, week = windows.cover()
    covered = np.zeros((P, W), bool)
    covered[windows.plot[row], week] = True
    xp, xw = np.nonzero(covered)
    n_x = len(xp)
    x_at = np.full((P, W), -1)
    x_at[xp, xw] = np.arange(n_x)
    q0, g0 = n_x, n_x + J
    d0 = g0 + Z * W
    lo0, hi0, n = d0 + W, d0 + 2 * W, d0 + 3 * W
    L, S = problem.keep[xp, xw], problem.sugar[xp, xw]
    cost = np.concatenate([problem.gain()[xp, xw], -(windows.cost + costs.plot_week * windows.length), np.full(Z * W, -costs.zone_week),
                           np.full(W, -costs.short_t), np.full(2 * W, -costs.blend_t / BLEND_SCALE)])
    lower, upper = np.zeros(n), np.full(n, np.inf)
    upper[:n_x], upper[q0:d0] = cap[xp, xw], 1.0
    inside = xw < problem.held_weeks
    lower[:n_x][inside] = cap[xp, xw][inside]
    if fixed is not None:
        lower[q0:q0 + J][fixed] = 1.0
    weeks, x = np.arange(W), np.arange(n_x)
    q = q0 + row
    rows = _Rows()
    link = {
        "high": rows.add([(xw, x, L)], -np.inf, problem.need_high, W),
        "low": rows.add([(xw, x, L), (weeks, d0 + weeks, 1.0)], problem.need_low, np.inf, W),
        "crew": rows.add([(xw, x, L)], -np.inf, problem.crew_t, W),
        "trips": rows.add([(xw, x, L * problem.trips_per_t[xp])], -np.inf, problem.trips, W),
        "blend_low": rows.add([(xw, x, BLEND_SCALE * (S - rules.blend_low) * L), (weeks, lo0 + weeks, 1.0)], 0.0, np.inf, W),
        "blend_high": rows.add([(xw, x, BLEND_SCALE * (S - rules.blend_high) * L), (weeks, hi0 + weeks, -1.0)], -np.inf, 0.0, W),
        "plots": rows.add([(week, q, 1.0)], -np.inf, float(problem.active_plots), W),
    }
    at = x_at[windows.plot[row], week]                       # the (p, w) row of each covered pair
    rows.add([(at, q, 1.0), (x, g0 + problem.zone_of[xp] * W + xw, -1.0)], -np.inf, 0.0, n_x)
    rows.add([(x, x, 1.0), (at, q, -cap[windows.plot[row], week])], -np.inf, 0.0, n_x)
    _rest_rows(rows, problem, windows, q0)
    _ripe_rows(rows, problem, windows, ripe, x_at, xp, xw, q0)
    _least_rows(rows, problem, windows, x_at, q0)
    if problem.held_weeks:
        hp, hw = np.nonzero(problem.held[:, : problem.held_weeks] > 0)
        number = np.full((P, W), -1)
        number[hp, hw] = np.arange(len(hp))
        mine = number[windows.plot[row], week] >= 0
        rows.add([(number[windows.plot[row], week][mine], q[mine], 1.0)], 1.0, 1.0, len(hp))
    return Form(rows.matrix(n), cost, lower, upper, np.concatenate(rows.low), np.concatenate(rows.high), x_at, q0, windows,
                {name: (first, first + W) for name, first in link.items()})


def _rest_rows(rows: _Rows, problem: CuttingProblem, windows: Windows, q0: int) -> None:
    """No two windows of a plot within each other's rest, and no more passes than allowed."""
    (P, W), rules = problem.shape, problem.rules
    row, week = windows.cover(rules.idle_weeks, W)
    spot = windows.plot[row] * W + week
    starts = np.unique(windows.plot * W + windows.start)     # rows elsewhere are dominated by the next start's
    number = np.full(P * W, -1)
    number[starts] = np.arange(len(starts))
    mine = number[spot] >= 0
    rows.add([(number[spot][mine], q0 + row[mine], 1.0)], -np.inf, 1.0, len(starts))
    rows.add([(windows.plot, q0 + np.arange(len(windows)), 1.0)], -np.inf, float(rules.most_passes), P)


def _ripe_rows(rows: _Rows, problem, windows, ripe, x_at, xp, xw, q0) -> None:
    """Cumulative cut under what is ripe, first through the windows begun, then as a plain cap."""
    T = problem.stand_t
    weeks_of = [np.flatnonzero(x_at[p] >= 0) for p in range(problem.shape[0])]
    count = np.array([len(w) for w in weeks_of])
    # pairs (column of x at w' ≤ w, row of w): each plot's weeks against each other
    n = np.repeat(count[xp], 1)
    rank = np.arange(len(xp)) - np.repeat(np.cumsum(count) - count, count)
    later = n - rank                                          # rows w ≥ w' of the same plot, itself included
    col = np.repeat(np.arange(len(xp)), later)
    row = col + np.arange(len(col)) - np.repeat(np.cumsum(later) - later, later)
    # windows begun by w
    first = np.cumsum(count) - count
    j_first = x_at[windows.plot, windows.start]
    long = first[windows.plot] + count[windows.plot] - j_first
    j = np.repeat(np.arange(len(windows)), long)
    j_row = j_first[j] + np.arange(len(j)) - np.repeat(np.cumsum(long) - long, long)
    upto = np.minimum(xw[j_row], windows.end[j])
    held = problem.held_weeks
    level = np.maximum(ripe, (np.cumsum(problem.held, axis=1) / np.maximum(T[:, None], 1e-9)) if held else 0.0)
    rows.add([(row, col, 1.0), (j_row, q0 + j, -T[windows.plot[j]] * level[windows.plot[j], upto])], -np.inf, 0.0, len(xp))
    soonest = np.full(problem.shape[0], np.iinfo(int).max)
    np.minimum.at(soonest, windows.plot, windows.end + problem.rules.idle_weeks + 1)
    second = xw >= soonest[xp]
    number = np.cumsum(second) - 1
    keep = second[row]
    rows.add([(number[row[keep]], col[keep], 1.0)], -np.inf, (level * T[:, None])[xp, xw][second], int(second.sum()))


def _least_rows(rows: _Rows, problem, windows, x_at, q0) -> None:
    """Each new pass takes at least its least share; one row per start when no other pass can fall inside."""
    rules, W = problem.rules, problem.shape[1]
    picky = np.flatnonzero(windows.least_t > 0)
    if not len(picky):
        return
    per_start = rules.longest_pass_weeks <= rules.idle_weeks + 1
    spot = windows.plot[picky] * W + windows.start[picky] if per_start else picky
    keys, number = np.unique(spot, return_inverse=True)
    length = np.zeros(len(keys), int)
    np.maximum.at(length, number, windows.length[picky])
    lead = np.zeros(len(keys), int)
    lead[number] = picky
    r = np.repeat(np.arange(len(keys)), length)
    w = windows.start[lead][r] + np.arange(len(r)) - np.repeat(np.cumsum(length) - length, length)
    rows.add([(r, x_at[windows.plot[lead][r], w], 1.0), (number, q0 + picky, -windows.least_t[picky])], 0.0, np.inf, len(keys))
