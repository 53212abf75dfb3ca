"""Luck by topic: every topic of the demo has its own stream from the one seed, so a change in one leaves the others alone.

Only ``random.random`` is drawn from (its sequence for a seed is promised by the standard library); the
shapes are made here, so the files come out the same on every machine.
"""

from __future__ import annotations

import math
import random

SEED = 20261123


class Luck:
    """Draws of one topic."""

    def __init__(self, topic: str) -> None:
        self._next = random.Random(f"{SEED}:{topic}").random

    def uniform(self, low: float = 0.0, high: float = 1.0) -> float:
        return low + (high - low) * self._next()

    def normal(self, mean: float = 0.0, sd: float = 1.0) -> float:
        """Box–Muller, one value per two draws."""
        radius = math.sqrt(-2.0 * math.log(1.0 - self._next()))
        return mean + sd * radius * math.cos(2.0 * math.pi * self._next())

    def lognormal(self, middle: float, log_sd: float) -> float:
        return middle * math.exp(self.normal(0.0, log_sd))

    def whole(self, low: int, high: int) -> int:
        """A whole number from ``low`` to ``high``, both included."""
        return low + int(self._next() * (high - low + 1))

    def chance(self, share: float) -> bool:
        return self._next() < share

    def pick(self, things):
        return things[int(self._next() * len(things))]

    def shuffled(self, things) -> list:
        mixed = list(things)
        for i in range(len(mixed) - 1, 0, -1):
            j = int(self._next() * (i + 1))
            mixed[i], mixed[j] = mixed[j], mixed[i]
        return mixed

    def binomial(self, n: int, share: float) -> int:
        """Normal shape for large n, counted for small."""
        if n * share * (1 - share) > 30:
            return max(0, min(n, round(self.normal(n * share, math.sqrt(n * share * (1 - share))))))
        return sum(self._next() < share for _ in range(n))


def uuid7(milliseconds: int, luck: Luck) -> str:
    """A version 7 identifier (RFC 9562 §5.7) with its random bits from the seed."""
    text = f"{milliseconds & (2**48 - 1):012x}7{luck.whole(0, 4095):03x}{8 + luck.whole(0, 3):x}{luck.whole(0, 2**32 - 1):08x}{luck.whole(0, 2**28 - 1):07x}"
    return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"
