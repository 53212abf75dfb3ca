"""Condition words and letters as screens show them, and when a plot counts as little known."""

from __future__ import annotations

import numpy as np

from ..answers import Answer
from .layout import words

CODES = "TECMP"
LITTLE_KNOWN = 0.30
"""Width of the 80 % interval of the ripe share from which a picture is hatched."""


def letter(condition: int) -> str:
    """The language's letter of a condition (T E C M P in Spanish; Y F N R P in English)."""
    return words(f"condition.{CODES[int(condition)]}.letter")


def word(condition: int) -> str:
    return words(f"condition.{CODES[int(condition)]}.word")


def little_known(ripe: Answer) -> np.ndarray:
    """[plot, week] True where the ripe share is too uncertain to draw plainly."""
    return (ripe.arrays["share_hi"] - ripe.arrays["share_lo"]) > LITTLE_KNOWN
