"""Quiotes: how many plants flower at an age, and what is lost where nobody cuts the quiote in time.

Share that has flowered by an age (from memory, not published): 4 years < 1 %, 5 years 2–5, 6 years 8–15, 7 years 20–35,
8 years 45–65, 10 years > 90; here a logistic through them. Rows counted with quiote or capón move the estate's level.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

MEDIAN_YEARS, SCALE_YEARS, OLDEST_YEARS = 7.8, 0.75, 10.0
PRIOR_QUIOTES, ALIKE = 2.0, 12.0
"""The curve counts like two independent quiotes; about a dozen counted together (one row, one visit) tell as much as one alone."""
LEVEL_LOG_SD = 0.7
"""How far an estate that counted nothing may be from the curve (assumption)."""


@dataclass(frozen=True)
class Bolting:
    """``level`` multiplies the curve's hazard, with its log sd; ``lost_share`` of the plants that flower is lost (assumption)."""

    level: float = 0.0
    log_sd: float = 0.0
    lost_share: float = 0.0

    def lost(self, age_years: np.ndarray | float) -> np.ndarray | float:
        """Cumulative hazard of being lost to an uncut quiote by an age."""
        return self.lost_share * self.level * hazard(age_years)

    def flowering(self, age_years: float, years: float = 1.0) -> float:
        """Share of the plants standing at an age that will flower within ``years``."""
        return float(1 - np.exp(-self.level * (hazard(age_years + years) - hazard(age_years))))


def flowered(age_years: np.ndarray | float) -> np.ndarray | float:
    """Share that has flowered by an age, by the curve."""
    return 1 / (1 + np.exp(-(np.asarray(age_years, float) - MEDIAN_YEARS) / SCALE_YEARS))


def hazard(age_years: np.ndarray | float) -> np.ndarray | float:
    """Cumulative hazard −log(1 − flowered), constant past the oldest age the figures speak of."""
    return -np.log1p(-flowered(np.clip(age_years, 0.0, OLDEST_YEARS)))


def learn(age_years: np.ndarray, standing: np.ndarray, with_quiote: np.ndarray, lost_share: float) -> Bolting:
    """The estate's level from counted rows: plants standing, and those with quiote or capón (gamma prior, counts that go together)."""
    expected = float((np.asarray(standing, float) * hazard(np.asarray(age_years, float))).sum()) / ALIKE
    seen = float(np.sum(with_quiote)) / ALIKE
    shape = PRIOR_QUIOTES + seen
    return Bolting(shape / (PRIOR_QUIOTES + expected), min(LEVEL_LOG_SD, float(1 / np.sqrt(shape))), lost_share)
