"""Linear programs solved by HiGHS: the one door to the solver in this domain."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from ..problems import Problem


@dataclass(frozen=True)
class LinearProgram:
    """minimise costᵀx, low ≤ x ≤ high, row_low ≤ rows·x ≤ row_high (csr)."""

    cost: np.ndarray
    low: np.ndarray
    high: np.ndarray
    rows: sparse.csr_matrix
    row_low: np.ndarray
    row_high: np.ndarray


@dataclass(frozen=True)
class Solution:
    x: np.ndarray
    cost: float
    seconds: float
    status: str


class Kept:
    """A solved program whose corner is kept: the same program with other bounds starts from there.

    Every repeat starts from the first solve's basis, never from the last repeat's, so that an answer
    does not depend on what was asked before it. One thread, fixed seed.
    """

    def __init__(self, program: LinearProgram, *, method: str = "choose", seconds: float = 600.0) -> None:
        import highspy

        class Quiet(highspy.Highs):
            """Switching callbacks on prints a banner before any option can forbid it; this domain uses none."""

            def enableCallbacks(self):
                pass

        matrix = program.rows.tocsr()
        matrix.sum_duplicates()
        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = matrix.shape[1], matrix.shape[0]
        lp.col_cost_, lp.col_lower_, lp.col_upper_ = program.cost, program.low, program.high
        lp.row_lower_, lp.row_upper_ = program.row_low, program.row_high
        lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        lp.a_matrix_.start_, lp.a_matrix_.index_, lp.a_matrix_.value_ = matrix.indptr, matrix.indices, matrix.data
        self._optimal, self._solver = highspy.HighsModelStatus.kOptimal, Quiet()
        for name, value in {"output_flag": False, "log_to_console": False, "threads": 1, "random_seed": 1, "solver": method, "time_limit": float(seconds)}.items():
            self._solver.setOptionValue(name, value)
        self._solver.passModel(lp)
        self.first = self._run()
        self._basis = self._solver.getBasis()

    def again(self, low: np.ndarray, high: np.ndarray, row_low: np.ndarray, row_high: np.ndarray) -> Solution:
        """Solve with other bounds; costs and matrix stay."""
        solver = self._solver
        solver.clearSolver()  # forget the last repeat's factors too, or the last bits would tell of them
        solver.setOptionValue("solver", "simplex")
        solver.changeColsBounds(len(low), np.arange(len(low), dtype=np.int32), low, high)
        solver.changeRowsBounds(len(row_low), np.arange(len(row_low), dtype=np.int32), row_low, row_high)
        solver.setBasis(self._basis)
        return self._run()

    def _run(self) -> Solution:
        solver = self._solver
        started = solver.getRunTime()
        solver.run()
        if solver.getModelStatus() != self._optimal:
            raise Problem("outlook_unsolved", where="HiGHS", status=500, reason=solver.modelStatusToString(solver.getModelStatus()))
        return Solution(np.array(solver.getSolution().col_value), float(solver.getInfo().objective_function_value), float(solver.getRunTime() - started), "optimal")


def solve(program: LinearProgram, *, method: str = "choose", seconds: float = 600.0) -> Solution:
    """An optimal solution, deterministic. ``method``: choose, simplex or ipm.

    Raises Problem ``outlook_unsolved`` when HiGHS gives no optimum; there is no quiet half-answer.
    """
    return Kept(program, method=method, seconds=seconds).first
