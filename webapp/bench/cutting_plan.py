"""The cutting plan against each by-hand rule, and what the solver reaches unaided in the same time."""

from __future__ import annotations

import time

from ..cutting import form, making, model, service
from ..cutting.plan import account
from ..cutting.problem import CuttingProblem
from ..cutting.windows import all_windows
from ..database import Database


def measure(db: Database, seconds: float = 60.0) -> dict[str, float]:
    """Figures of :func:`measure_problem` on the estate's own problem of today."""
    return measure_problem(service.problem_now(db), seconds)


def measure_problem(problem: CuttingProblem, seconds: float = 60.0, seed: int = 1) -> dict[str, float]:
    """Incremental MXN of the plan, its bound and gap; how much better than each rule (share of its incremental value);
    the unaided solver's value, bound and how much better the plan is than it. One core each, one after the other."""
    started = time.perf_counter()
    found, hand = making.make(problem, lambda: seconds - (time.perf_counter() - started), seed, lambda done, code: True)
    out = {"plan_mxn": 1e3 * found.value, "plan_s": time.perf_counter() - started, "rounds": float(found.rounds)}
    if found.bound is not None:
        out |= {"bound_mxn": 1e3 * found.bound, "room_mxn": 1e3 * (found.bound - found.value)}
    for plan in hand:
        value = account(problem, plan).incremental
        out[f"{plan.how}_mxn"] = 1e3 * value
        if found.value > 0:
            out[f"better_than_{plan.how}"] = (found.value - value) / found.value
    built = form.build(problem, all_windows(problem))
    started = time.perf_counter()
    alone = model.solve(built, seconds=seconds, seed=seed)
    out["unaided_s"] = time.perf_counter() - started
    if alone.x is not None:
        value = account(problem, model.plan_of(problem, built, alone.x, "unaided")).incremental
        out |= {"unaided_mxn": 1e3 * value, "unaided_nodes": float(alone.nodes)}
        if found.value > 0:
            out["better_than_unaided"] = (found.value - value) / found.value
    if alone.bound is not None:
        out["unaided_bound_mxn"] = 1e3 * alone.bound
    return out
