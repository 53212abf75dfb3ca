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


def solve(program: LinearProgram, *, method: str = "choose", seconds: float = 600.0) -> Solution:
    """An optimal solution, deterministic (one thread, fixed seed). ``method``: choose, simplex, ipm or interior.

    Raises Problem ``outlook_unsolved`` when HiGHS gives no optimum; there is no quiet half-answer.
    """
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
    solver = Quiet()
    chosen = "ipm" if method == "interior" else method
    options = {"output_flag": False, "log_to_console": False, "threads": 1, "random_seed": 1, "solver": chosen, "time_limit": float(seconds)}
    for name, value in options.items():
        solver.setOptionValue(name, value)
    if method == "interior":  # the optimal value without a corner: all that a range of hectares needs, in a third of the time
        solver.setOptionValue("run_crossover", "off")
    solver.passModel(lp)
    solver.run()
    status = solver.getModelStatus()
    if status != highspy.HighsModelStatus.kOptimal:
        raise Problem("outlook_unsolved", where="HiGHS", status=500, reason=solver.modelStatusToString(status))
    return Solution(np.array(solver.getSolution().col_value), float(solver.getInfo().objective_function_value), float(solver.getRunTime()), "optimal")
