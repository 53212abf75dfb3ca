"""From a problem to a plan, whatever happens to the solver: searched when it can be, else the best by hand."""

from __future__ import annotations

from typing import Callable

from . import by_hand, search
from .check import check
from .plan import Plan, account
from .problem import CuttingProblem
from .search import Found, Tell


def make(problem: CuttingProblem, left: Callable[[], float], seed: int, tell: Tell) -> tuple[Found, list[Plan]]:
    """(what was found, the plans by hand). ``Found.failed`` says what went wrong, "" when nothing did.

    The plan always passes the check and is never worth less than the best plan by hand.
    """
    hand = by_hand.all_plans(problem)
    start = max(hand, key=lambda plan: account(problem, plan).total)
    worth = account(problem, start).incremental
    try:
        found = search.improve(problem, start, left, seed, tell)
    except Exception as error:  # a solver may die in ways it doesn't name; the planner still gets a plan
        found = Found(start, worth, None, {}, 0, (("start", worth),), failed=f"{type(error).__name__}: {error}")
    broken = check(problem, found.plan, found.value)
    if broken and found.plan is not start:
        found = Found(start, worth, found.bound, found.prices, found.rounds, found.log, failed=f"check: {broken[0].rule}")
    return found, hand
