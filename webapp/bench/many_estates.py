"""One measurement over many simulated estates, case by case, in processes of their own."""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from typing import Any, Callable, Iterable, Iterator


def by_case(one: Callable[[Any], Any], cases: Iterable[Any], jobs: Callable[[Any], list], told: Callable[[Any], None], processes: int = 2) -> Iterator[tuple[Any, list]]:
    """(case, what ``one`` gave of each of its jobs, in their order); ``told`` hears of a case before it begins. ``one`` and the jobs must be picklable."""
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        for case in cases:
            told(case)
            yield case, list(pool.map(one, jobs(case)))
