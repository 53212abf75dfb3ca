"""The only place of cutting that knows the solver: form B on HiGHS, its bound, its prices, its start.

Every call says what came of it; a solver that fails or dies raises :class:`SolverFailed`, which the
service answers with the best plan there is, named as what it is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .form import LINKING, Form
from .plan import Plan, tidy
from .problem import CuttingProblem


class SolverFailed(RuntimeError):
    """The solver gave no usable answer; the text says at which step."""


@dataclass(frozen=True)
class Solved:
    """``value`` and ``bound`` in kMXN of incremental value; ``x`` None when no plan came."""

    x: np.ndarray | None
    value: float | None
    bound: float | None
    proven: bool
    nodes: int
    duals: np.ndarray | None = None
    reduced: np.ndarray | None = None


def solve(form: Form, *, whole: bool = True, seconds: float = 60.0, nodes: int | None = None, gap: float = 1e-4, start: np.ndarray | None = None,
          seed: int = 1, light: bool = False) -> Solved:
    """Solve the form; ``whole=False`` gives its LP (``duals`` per row), else the mixed-integer model.

    ``start`` [J] 0/1 marks the windows of a known plan (only whole columns are handed over; the solver
    finds their best amounts). ``gap`` is absolute, in kMXN. ``light`` suits many small solves: no
    restarts, no cuts below the root. ``nodes`` limits the work so that a repeat gives the same plan.
    """
    import highspy

    class Quiet(highspy.Highs):
        """The binding prints a banner when it switches its callbacks on; no callback is used here."""

        def enableCallbacks(self):
            self.setOptionValue("output_flag", False)

    h = Quiet()
    options = {"output_flag": False, "threads": 1, "random_seed": seed, "time_limit": float(max(seconds, 0.05)), "mip_rel_gap": 0.0,
               "mip_abs_gap": float(gap), "mip_feasibility_tolerance": 1e-7}
    if nodes is not None:
        options["mip_max_nodes"] = nodes
    if light:
        options |= {"mip_allow_restart": False, "mip_allow_cut_separation_at_nodes": False}
    for name, value in options.items():
        if h.setOptionValue(name, value) == highspy.HighsStatus.kError:
            raise SolverFailed(f"option {name}")
    if h.passModel(_as_lp(highspy, form, whole)) == highspy.HighsStatus.kError:
        raise SolverFailed("model")
    if whole and start is not None:
        columns = np.arange(form.q.start, form.q.stop, dtype=np.int32)
        h.setSolution(len(columns), columns, np.asarray(start, float))
    try:
        h.run()
    except Exception as error:
        raise SolverFailed(str(error)) from error
    status, info = h.getModelStatus(), h.getInfo()
    known = highspy.HighsModelStatus
    if status in (known.kInfeasible, known.kUnboundedOrInfeasible, known.kUnbounded, known.kSolveError, known.kModelError, known.kLoadError):
        raise SolverFailed(h.modelStatusToString(status))
    if not whole:
        if status != known.kOptimal:
            return Solved(None, None, None, False, 0)
        answer = h.getSolution()
        return Solved(np.array(answer.col_value), float(info.objective_function_value), float(info.objective_function_value), True, 0,
                      np.array(answer.row_dual), np.array(answer.col_dual))
    bound = float(info.mip_dual_bound)
    bound = bound if np.isfinite(bound) else None
    if info.primal_solution_status != 2:
        return Solved(None, None, bound, False, int(info.mip_node_count))
    return Solved(np.array(h.getSolution().col_value), float(info.objective_function_value), bound, status == known.kOptimal, int(info.mip_node_count))


def _as_lp(highspy, form: Form, whole: bool):
    lp = highspy.HighsLp()
    rows, columns = form.matrix.shape
    lp.num_row_, lp.num_col_, lp.sense_ = rows, columns, highspy.ObjSense.kMaximize
    lp.col_cost_, lp.col_lower_, lp.col_upper_ = form.cost, form.lower, form.upper
    lp.row_lower_, lp.row_upper_ = form.row_low, form.row_high
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_, lp.a_matrix_.index_, lp.a_matrix_.value_ = form.matrix.indptr, form.matrix.indices, form.matrix.data
    if whole:
        kind = [highspy.HighsVarType.kContinuous] * columns
        kind[form.q] = [highspy.HighsVarType.kInteger] * len(form.windows)
        lp.integrality_ = kind
    return lp


def plan_of(problem: CuttingProblem, form: Form, x: np.ndarray, how: str) -> Plan:
    """The plan that a solution stands for; amounts clipped to their window's weeks."""
    used = np.flatnonzero(x[form.q] > 0.5)
    windows = form.windows.take(used)
    cut = np.zeros(problem.shape)
    there = form.x_at >= 0
    cut[there] = np.maximum(x[form.x_at[there]], 0.0)
    plan = Plan(how, cut, tuple(sorted(windows.keys())))
    return tidy(problem, Plan(how, np.where(plan.active(), np.minimum(cut, problem.cap), 0.0), plan.windows))


def prices(form: Form, solved: Solved) -> dict[str, np.ndarray]:
    """kMXN per unit of each linking family and week [W]: ≥ 0 for what is scarce (crew t, trips, high),
    and for the need what one tonne less asked for would save."""
    return {name: np.abs(solved.duals[slice(*form.linking[name])]) for name in LINKING}
