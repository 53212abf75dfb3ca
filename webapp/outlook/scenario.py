"""Two-stage stochastic linear programs over futures, in general: one decision now, recourse later.

minimise  cᵀx + Σₛ pₛ qₛᵀyₛ   subject to  first rows on x,  lowerₛ ≤ Tₛx + Wₛyₛ ≤ upperₛ  for each future.

The futures share one sparsity pattern and differ in their numbers, so the whole program is built as
arrays, never term by term. Measures: RP (recourse), WS (wait and see), EV (mean value), EEV, and
EVPI = WS − RP, VSS = RP − EEV in value terms (Birge & Louveaux, *Introduction to Stochastic Programming*).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse

from .model import Kept, LinearProgram, Solution, solve


@dataclass(frozen=True)
class TwoStage:
    """Data of a two-stage program with n first-stage columns, m second-stage columns, k rows, S futures.

    cost [n], low [n], high [n]; first_rows (csr [r, n]) with first_low, first_high [r];
    t_row, t_col [a] with t_value [S, a] (the matrix T); w_row, w_col [b] with w_value [S, b] (the matrix W);
    q [S, m]; y_low, y_high [S, m]; row_low, row_high [S, k]; weight [S] sums to one.
    """

    cost: np.ndarray
    low: np.ndarray
    high: np.ndarray
    first_rows: sparse.csr_matrix
    first_low: np.ndarray
    first_high: np.ndarray
    t_row: np.ndarray
    t_col: np.ndarray
    t_value: np.ndarray
    w_row: np.ndarray
    w_col: np.ndarray
    w_value: np.ndarray
    q: np.ndarray
    y_low: np.ndarray
    y_high: np.ndarray
    row_low: np.ndarray
    row_high: np.ndarray
    weight: np.ndarray

    @property
    def futures(self) -> int:
        return len(self.weight)

    def only(self, chosen: np.ndarray) -> "TwoStage":
        """The same program over some futures, weights rescaled."""
        weight = self.weight[chosen]
        per = {name: getattr(self, name)[chosen] for name in ("t_value", "w_value", "q", "y_low", "y_high", "row_low", "row_high")}
        return replace(self, weight=weight / weight.sum(), **per)

    def mean(self) -> "TwoStage":
        """The one future whose every number is the weighted mean (infinite bounds stay infinite)."""
        def averaged(values: np.ndarray) -> np.ndarray:
            return np.einsum("s,s...->...", self.weight, values)[None] if np.isfinite(values).all() else _mean_with_infinite(values, self.weight)
        per = {name: averaged(getattr(self, name)) for name in ("t_value", "w_value", "q", "y_low", "y_high", "row_low", "row_high")}
        return replace(self, weight=np.ones(1), **per)

    def fixed(self, x: np.ndarray) -> "TwoStage":
        """The program with its first stage held at ``x`` [n] (first-stage rows dropped: ``x`` is a fact)."""
        empty = sparse.csr_matrix((0, len(self.cost)))
        return replace(self, low=np.asarray(x, float), high=np.asarray(x, float), first_rows=empty, first_low=np.zeros(0), first_high=np.zeros(0))


def _mean_with_infinite(values: np.ndarray, weight: np.ndarray) -> np.ndarray:
    finite = np.isfinite(values)
    mean = np.einsum("s,s...->...", weight, np.where(finite, values, 0.0))
    return np.where(finite.all(axis=0), mean, values[0])[None]


@dataclass(frozen=True)
class Result:
    """x [n] (or [S, n] for wait-and-see), y [S, m], per-future total cost [S], the program's cost, seconds, iterations."""

    x: np.ndarray
    y: np.ndarray
    future_cost: np.ndarray
    cost: float
    seconds: float
    status: str


def recourse(program: TwoStage, risk_weight: float = 0.0, risk_tail: float = 0.1, method: str = "choose") -> Result:
    """Solve the program with one first stage for all futures.

    ``risk_weight`` λ minimises (1 − λ)·mean + λ·CVaR of the worst ``risk_tail`` share of futures' cost
    (Rockafellar & Uryasev 2000, *Journal of Risk* 2:21–41): a weight on bad-cost futures, not on shortage.
    """
    return _unpacked(program, solve(extensive(program, risk_weight, risk_tail), method=method))


class Repeated:
    """A solved program (``best``) asked again with other bounds, from the kept corner: several times faster than anew."""

    def __init__(self, program: TwoStage, risk_weight: float = 0.0, method: str = "ipm") -> None:
        self._risk_weight = risk_weight
        self._kept = Kept(extensive(program, risk_weight), method=method)
        self.best = _unpacked(program, self._kept.first)

    def again(self, program: TwoStage) -> Result:
        """``program`` may differ from the first in its bounds only (first stage, second stage, rows)."""
        lp = extensive(program, self._risk_weight)
        return _unpacked(program, self._kept.again(lp.low, lp.high, lp.row_low, lp.row_high))


def wait_and_see(program: TwoStage, method: str = "choose") -> Result:
    """Each future with its own first stage: what perfect information would allow. ``x`` is [S, n]."""
    n, m, count = len(program.cost), program.q.shape[1], program.futures
    matrix, row_low, row_high = _rows(program, separate=True)
    p = program.weight
    tile = np.tile
    problem = LinearProgram(
        cost=np.concatenate([np.outer(p, program.cost).ravel(), (p[:, None] * program.q).ravel()]),
        low=np.concatenate([tile(program.low, count), program.y_low.ravel()]), high=np.concatenate([tile(program.high, count), program.y_high.ravel()]),
        rows=matrix, row_low=row_low, row_high=row_high)
    found = solve(problem, method=method)
    x, y = found.x[:count * n].reshape(count, n), found.x[count * n:].reshape(count, m)
    future_cost = x @ program.cost + np.einsum("sm,sm->s", program.q, y)
    return Result(x, y, future_cost, float(p @ future_cost), found.seconds, found.status)


def mean_value(program: TwoStage) -> Result:
    """The plan made for the mean future alone (EV)."""
    return recourse(program.mean())


def at(program: TwoStage, x: np.ndarray, method: str = "choose") -> Result:
    """What a given first stage costs over the futures, with the best recourse in each."""
    return recourse(program.fixed(x), method=method)


@dataclass(frozen=True)
class Measures:
    """Costs of RP, WS, EV, EEV and the two differences (never negative but for rounding)."""

    rp: float
    ws: float
    ev: float
    eev: float

    @property
    def evpi(self) -> float:
        return self.rp - self.ws

    @property
    def vss(self) -> float:
        return self.eev - self.rp


def measures(program: TwoStage) -> Measures:
    """RP, WS, EV and EEV as costs (turn signs for values)."""
    ev = mean_value(program)
    return Measures(recourse(program).cost, wait_and_see(program).cost, ev.cost, at(program, ev.x).cost)


def extensive(program: TwoStage, risk_weight: float = 0.0, risk_tail: float = 0.1) -> LinearProgram:
    """The deterministic equivalent as one linear program: columns x, y₁…y_S, then η and z for risk."""
    matrix, row_low, row_high = _rows(program, separate=False)
    p, count, n, m = program.weight, program.futures, len(program.cost), program.q.shape[1]
    cost = np.concatenate([program.cost, (p[:, None] * program.q).ravel()])
    low, high = np.concatenate([program.low, program.y_low.ravel()]), np.concatenate([program.high, program.y_high.ravel()])
    if risk_weight > 0:  # z_s ≥ cᵀx + qₛᵀyₛ − η
        column = np.arange(count * m).reshape(count, m)
        total = sparse.hstack([
            sparse.csr_matrix(np.tile(program.cost, (count, 1))),
            sparse.csr_matrix((program.q.ravel(), (np.repeat(np.arange(count), m), column.ravel())), shape=(count, count * m)),
            sparse.csr_matrix(-np.ones((count, 1))), -sparse.identity(count)]).tocsr()
        matrix = sparse.vstack([sparse.hstack([matrix, sparse.csr_matrix((matrix.shape[0], 1 + count))]), total]).tocsr()
        row_low, row_high = np.concatenate([row_low, np.full(count, -np.inf)]), np.concatenate([row_high, np.zeros(count)])
        cost = np.concatenate([(1 - risk_weight) * cost, [risk_weight], risk_weight * p / risk_tail])
        low, high = np.concatenate([low, [-np.inf], np.zeros(count)]), np.concatenate([high, np.full(1 + count, np.inf)])
    return LinearProgram(cost, low, high, matrix, row_low, row_high)


def _rows(program: TwoStage, *, separate: bool) -> tuple[sparse.csr_matrix, np.ndarray, np.ndarray]:
    count, n, m, k = program.futures, len(program.cost), program.q.shape[1], program.row_low.shape[1]
    future = np.arange(count)[:, None]
    first = count * n if separate else n
    rows = [(future * k + program.t_row).ravel(), (future * k + program.w_row).ravel()]
    columns = [((future * n if separate else future * 0) + program.t_col).ravel(), (first + future * m + program.w_col).ravel()]
    values = [program.t_value.ravel(), program.w_value.ravel()]
    matrix = sparse.csr_matrix((np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), shape=(count * k, first + count * m))
    row_low, row_high = program.row_low.ravel(), program.row_high.ravel()
    if program.first_rows.shape[0]:
        top = sparse.block_diag([program.first_rows] * count) if separate else program.first_rows
        repeat = count if separate else 1
        matrix = sparse.vstack([sparse.hstack([top, sparse.csr_matrix((top.shape[0], matrix.shape[1] - top.shape[1]))]), matrix]).tocsr()
        row_low = np.concatenate([np.tile(program.first_low, repeat), row_low])
        row_high = np.concatenate([np.tile(program.first_high, repeat), row_high])
    return matrix, row_low, row_high


def _unpacked(program: TwoStage, found: Solution) -> Result:
    n, m, count = len(program.cost), program.q.shape[1], program.futures
    x, y = found.x[:n], found.x[n:n + count * m].reshape(count, m)
    future_cost = float(program.cost @ x) + np.einsum("sm,sm->s", program.q, y)
    return Result(x, y, future_cost, float(program.weight @ future_cost), found.seconds, found.status)
