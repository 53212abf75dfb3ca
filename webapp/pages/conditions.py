"""Condition words and letters as screens show them, and when a plot counts as little known."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from ..answers import Answer
from ..ripeness.readiness import CONDITIONS, WORDS, words_of
from .layout import words

CODES = CONDITIONS
LITTLE_KNOWN = 0.30
"""Width of the 80 % interval of the ripe share from which a picture is hatched."""


def code_of(condition: int, read: bool = True) -> str:
    """Code of the word a plot bears; ``read``: somebody has read its plants (else near, ripe and passing are a *maybe*)."""
    return _code(int(condition), bool(read))


@lru_cache(maxsize=None)
def _code(condition: int, read: bool) -> str:
    return WORDS[int(words_of(np.array(condition), np.array(read)))]


def letters() -> list[list[str]]:
    """``[read][condition]`` → the letter, for lists that show tens of thousands."""
    return [[letter(condition, read) for condition in range(len(CONDITIONS))] for read in (False, True)]


def letter(condition: int, read: bool = True) -> str:
    """The language's letter of a condition (T E C M P in Spanish; Y F N R P in English), with a question mark where it is a *maybe*."""
    return words(f"condition.{code_of(condition, read)}.letter")


def word(condition: int, read: bool = True) -> str:
    return words(f"condition.{code_of(condition, read)}.word")


def read_plots(ripe: Answer) -> np.ndarray:
    """[plot] True where somebody has read the plot's plants."""
    return np.array([ripe.meta["by_plot"][code]["n_visits"] > 0 for code in ripe.meta["plots"]], bool)


def doubted(ripe: Answer) -> int:
    """Rounds in doubt of plots without any that counts: these have been sampled, but no more is known of them."""
    return sum(about.get("n_doubted", 0) for about in ripe.meta["by_plot"].values() if not about["n_visits"])


def to_come(ripe: Answer) -> np.ndarray:
    """[plot] True where the plot is planted after the answer's day: none of its plants stands."""
    return np.array([ripe.meta["by_plot"][code]["age_months"] < 0 for code in ripe.meta["plots"]], bool)


def little_known(ripe: Answer) -> np.ndarray:
    """[plot, week] True where the ripe share is too uncertain to draw plainly."""
    return (ripe.arrays["share_hi"] - ripe.arrays["share_lo"]) > LITTLE_KNOWN
