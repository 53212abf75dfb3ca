"""Neighbourhood search over form B: free some plots, let the others keep their windows with amounts free.

Steps: the linear relaxation (bound, prices) · the whole estate over its few best-priced windows · rounds
that free some plots with many windows each · the whole model from the best plan, for a tighter bound. Work is limited
by rounds and nodes, so that the same file gives the same plan; the clock is only an outer guard, and
``Found.hurried`` says when it cut the work short.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Callable

import numpy as np

from . import form, model
from .plan import Plan, account
from .problem import CuttingProblem
from .windows import Windows, all_windows

FIRST_WINDOWS, FIRST_NODES, FIRST_SECONDS = 8, 150, 12.0
ROUND_WINDOWS, ROUND_NODES, ROUND_SECONDS = 24, 60, 4.0
WHOLE_PART, WHOLE_SECONDS, WHOLE_NODES = (0.27, 0.45), 25.0, 2000
"""The whole model, with the best plan as its start, ends the search: its tree (or at least its root) tightens
the bound and now and then the plan. It gets the larger part of the time where few windows make it small."""
FEW_WINDOWS = 2500
FREE_FROM, FREE_MOST = 12, 40
ROUNDS = 40
PATIENCE = 10
"""Rounds in a row without gain after which the search rests."""
KINDS = ("regret", "weeks", "zone", "random")

Tell = Callable[[float, str], bool]


@dataclass(frozen=True)
class Found:
    """The best plan, the tightest bound (kMXN, incremental), prices by week, and how it went."""

    plan: Plan
    value: float
    bound: float | None
    prices: dict[str, np.ndarray]
    rounds: int
    log: tuple[tuple[str, float], ...]
    hurried: bool = False
    stopped: bool = False
    failed: str = ""


def improve(problem: CuttingProblem, start: Plan, left: Callable[[], float], seed: int = 1, tell: Tell = lambda done, code: True) -> Found:
    """Search from ``start``; ``left()`` seconds remain, ``tell`` returns False when the user stops it.

    Never worse than ``start``. A solver failure at any step ends the search with the best so far.
    """
    windows = all_windows(problem)
    reserve = min(WHOLE_SECONDS, WHOLE_PART[len(windows) <= FEW_WINDOWS] * left())
    state = Found(start, account(problem, start).incremental, None, {}, 0, (("start", account(problem, start).incremental),))
    if not len(windows):
        return replace(state, bound=state.value)
    try:
        built = form.build(problem, windows)
        relaxed = model.solve(built, whole=False, seconds=max(left(), 1.0))
        if relaxed.x is None:
            return replace(state, hurried=True)
        state = replace(state, bound=relaxed.value, prices=model.prices(built, relaxed), log=(*state.log, ("relaxed", relaxed.value)))
        loss = np.maximum(-relaxed.reduced[built.q], 0.0)
        if not tell(0.08, "cutting.progress.bound"):
            return replace(state, stopped=True)
        few = _least_loss(windows, loss, FIRST_WINDOWS)
        state, hurried = _attempt(problem, state, windows, few, np.zeros(0, int), min(FIRST_SECONDS, left() * 0.3), FIRST_NODES, seed, "first")
        state = _rounds(problem, replace(state, hurried=hurried), windows, loss, lambda: left() - reserve, seed, tell)
        if not state.stopped and left() > 2.0:
            tell(0.8, "cutting.progress.proof")
            state = _whole(problem, state, built, min(WHOLE_SECONDS, left() - 0.5), seed)
    except model.SolverFailed as error:
        state = replace(state, failed=str(error) or "solver")
    return state


def _least_loss(windows: Windows, loss: np.ndarray, count: int) -> np.ndarray:
    """[J] bool: each plot's ``count`` windows that lose least at the relaxation's prices."""
    order = np.lexsort((np.arange(len(loss)), loss, windows.plot))
    plots = windows.plot[order]
    rank = np.empty(len(loss), int)
    rank[order] = np.arange(len(loss)) - np.searchsorted(plots, plots)
    return rank < count


def _attempt(problem: CuttingProblem, state: Found, windows: Windows, allowed: np.ndarray, held: np.ndarray, seconds: float, nodes: int, seed: int,
             name: str, light: bool = True) -> tuple[Found, bool]:
    """Solve over ``allowed`` windows [J], the plots ``held`` keeping theirs; take the plan when better."""
    used = _used(windows, state.plan)
    kept = np.isin(windows.plot, held)
    rows = np.flatnonzero(np.where(kept, used, allowed | used))
    part = windows.take(rows)
    built = form.build(problem, part, fixed=kept[rows])
    gap = max(1e-4 * abs(state.value), 1e-3)
    solved = model.solve(built, seconds=seconds, nodes=nodes, gap=gap, start=used[rows].astype(float), seed=seed, light=light)
    hurried = not solved.proven and solved.nodes < nodes
    if solved.x is None:
        return state, hurried
    plan = model.plan_of(problem, built, solved.x, "search")
    value = account(problem, plan).incremental
    if value > state.value + 1e-6:
        return replace(state, plan=plan, value=value, log=(*state.log, (name, value))), hurried
    return state, hurried


def _used(windows: Windows, plan: Plan) -> np.ndarray:
    known = set(plan.windows)
    return np.array([key in known for key in windows.keys()], bool)


def _rounds(problem: CuttingProblem, state: Found, windows: Windows, loss: np.ndarray, left, seed: int, tell: Tell) -> Found:
    rng = np.random.default_rng(seed)
    plots = np.unique(windows.plot)
    allowed = _least_loss(windows, loss, ROUND_WINDOWS)
    size, weight, idle = float(min(FREE_FROM, len(plots))), np.ones(len(KINDS)), 0
    for turn in range(ROUNDS):
        if left() < 1.0:
            return replace(state, hurried=True)
        if not tell(0.2 + 0.6 * turn / ROUNDS, "cutting.progress.search"):
            return replace(state, stopped=True)
        kind = rng.choice(len(KINDS), p=weight / weight.sum())
        free = _choose(problem, KINDS[kind], state.plan, windows, loss, plots, int(size), rng)
        before = state.value
        held = np.setdiff1d(plots, free)
        state, hurried = _attempt(problem, state, windows, allowed, held, min(ROUND_SECONDS, left()), ROUND_NODES, seed + turn, KINDS[kind])
        gained = state.value > before + 1e-6
        weight[kind] = np.clip(weight[kind] * (1.3 if gained else 0.9), 0.4, 3.0)
        size = np.clip(size * (0.85 if hurried else 1.15), 6, min(FREE_MOST, len(plots)))
        idle = 0 if gained else idle + 1
        state = replace(state, rounds=turn + 1, hurried=state.hurried or hurried)
        if idle >= PATIENCE:
            break
    return state


def _choose(problem: CuttingProblem, kind: str, plan: Plan, windows: Windows, loss: np.ndarray, plots: np.ndarray, size: int, rng) -> np.ndarray:
    """Plots to free: those in the plan that lose most at the prices, with those that could replace them."""
    in_plan = np.unique([p for p, _, _ in plan.windows]).astype(int)
    best = np.full(len(problem.plots), np.inf)
    np.minimum.at(best, windows.plot, loss)
    chance = np.exp(-best[plots] / (np.median(best[plots]) + 1.0))
    if kind == "regret":
        used = _used(windows, plan)
        losing = np.zeros(len(problem.plots))
        np.add.at(losing, windows.plot[used], loss[used])
        chance = chance + 4 * losing[plots] / (losing.max() + 1e-9)
    elif kind == "weeks":
        first = rng.integers(0, len(problem.weeks))
        touching = [p for p, s, n in plan.windows if s < first + 6 and s + n > first]
        chance = chance * 0.5 + np.isin(plots, touching) * 2.0
    elif kind == "zone":
        zones = rng.permutation(len(problem.zones))[:2]
        chance = chance * np.isin(problem.zone_of[plots], zones) + 1e-6
    else:
        chance = chance + np.isin(plots, in_plan)
    return rng.choice(plots, size=min(size, len(plots)), replace=False, p=chance / chance.sum())


def _whole(problem: CuttingProblem, state: Found, built: form.Form, seconds: float, seed: int) -> Found:
    """The model over all windows: a tighter bound, now and then a better plan."""
    used = _used(built.windows, state.plan)
    solved = model.solve(built, seconds=seconds, nodes=WHOLE_NODES, gap=max(1e-4 * abs(state.value), 1e-3), start=used.astype(float), seed=seed)
    state = replace(state, hurried=state.hurried or (not solved.proven and solved.nodes < WHOLE_NODES))
    if solved.bound is not None:
        state = replace(state, bound=min(state.bound, solved.bound), log=(*state.log, ("whole", solved.bound)))
    if solved.x is not None:
        plan = model.plan_of(problem, built, solved.x, "search")
        value = account(problem, plan).incremental
        if value > state.value + 1e-6:
            state = replace(state, plan=plan, value=value, log=(*state.log, ("whole plan", value)))
    return state
