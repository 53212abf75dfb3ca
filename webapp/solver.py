"""A tiny vocabulary of solver outcomes, in our words; no solver is imported here.

A plan that ran out of time is not the same as a proven best one, and a page must say which.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Callable

BEST = "best"                # proven within the stated gap
USABLE = "usable"            # time ran out with a plan; the bound says how much better any plan could be
BY_HAND = "by_hand"          # no solver plan came; the best by-hand plan is given and named as such
IMPOSSIBLE = "impossible"    # no plan at all (never for cutting, where shortages are priced)
OUTCOMES = (BEST, USABLE, BY_HAND, IMPOSSIBLE)

Progress = Callable[[float, str], bool]
"""``progress(done 0…1, sentence code)`` → True to go on, False when the user asked to stop."""


def no_progress(done: float, code: str) -> bool:
    return True


@dataclass(frozen=True)
class Outcome:
    """What a solve brought. ``gap`` is (bound − value) / reference, in the stated reference."""

    word: str
    value: float
    bound: float | None
    reference: float
    seconds: float
    notes: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        if self.word not in OUTCOMES:
            raise ValueError(f"outcome {self.word!r} is not one of {OUTCOMES}")

    @property
    def gap(self) -> float | None:
        if self.bound is None or self.reference <= 0:
            return None
        return max(0.0, (self.bound - self.value) / self.reference)
